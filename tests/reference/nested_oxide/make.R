# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(nlme)
d <- data.frame(lot = as.integer(as.character(Oxide$Lot)), wafer = as.integer(as.character(Oxide$Wafer)), thickness = Oxide$Thickness)
d <- d[order(d$lot, d$wafer), ]
save(d)
fit <- function(d, prefix, s) {
  # nlme stops on a tolerance of its own: ask for more
  m <- lme(thickness ~ 1, d, random = ~ 1 | lot/wafer, control = lmeControl(tolerance = 1e-12, msTol = 1e-14, opt = "nlminb"))
  v <- as.numeric(VarCorr(m)[c(2, 4, 5), "Variance"])
  sd <- c(exp(attr(m$apVar, "Pars")))
  add(paste0(prefix, "log_likelihood"), as.numeric(logLik(m)), 1e-10, s)
  add(paste0(prefix, "mean"), fixef(m), 1e-9, s)
  for (k in 0:2) add(paste0(prefix, "sd", k), sd[c(2, 1, 3)[k + 1]], 1e-5, s) # kept from the lowest level up
  for (i in c(1, 8)) if (as.character(i) %in% rownames(ranef(m)$lot)) add(sprintf("%slot_%d", prefix, i), ranef(m)$lot[as.character(i), 1], 1e-4, s)
}
s <- paste("nlme::lme", packageVersion("nlme"), "on nlme::Oxide (Littell et al. 1996)")
fit(d, "", s)
# unbalanced: every fifth row left out
fit(d[seq_len(nrow(d)) %% 5 != 0, ], "unbalanced_", paste(s, "without every fifth row"))
p <- "Pinheiro and Bates 2000: Mixed-Effects Models in S and S-PLUS; section 4.2.3"
for (q in list(list("mean", 2000.153), list("lot", 11.398), list("wafer", 5.9888), list("residual", 3.5453))) add(paste0("published_", q[[1]]), q[[2]], 1e-4, p, made_by = "(M)")
add("published_log_likelihood", -227.011, 1e-5, p, made_by = "(M)")
done(paste("nlme", packageVersion("nlme")))
