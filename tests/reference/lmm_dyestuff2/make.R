# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(lme4)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = .2, rhoend = 1e-9, maxfun = 1e5), calc.derivs = FALSE)
fit <- function(formula, REML) lmer(formula, d, REML = REML, control = tight)
add_fit <- function(prefix, m, s) {
  n <- names(fixef(m)); v <- as.data.frame(VarCorr(m), order = "lower.tri")
  add(paste0(prefix, "criterion"), if (isREML(m)) REMLcrit(m) else deviance(m), 1e-11, s)
  for (j in seq_along(n)) { add(sprintf("%sb%d", prefix, j), fixef(m)[j], 1e-6, s); add(sprintf("%sb%d_se", prefix, j), sqrt(vcov(m)[j, j]), 2e-5, s) }
  g <- VarCorr(m)[[1]]
  for (i in seq_len(nrow(g))) for (j in seq_len(i)) add(sprintf("%sg%d%d", prefix, i, j), g[i, j], 1e-4, s)
  add(paste0(prefix, "sigma"), sigma(m), 2e-5, s)
}

d <- data.frame(batch = as.integer(Dyestuff2$Batch), yield = Dyestuff2$Yield)
save(d)
s <- paste("lme4::lmer", packageVersion("lme4"), "on lme4::Dyestuff2 (Box & Tiao 1973)")
for (reml in c(TRUE, FALSE)) {
  k <- if (reml) "reml" else "ml"
  m <- lmer(yield ~ 1 + (1 | batch), d, REML = reml); stopifnot(isSingular(m))
  add(paste0(k, "_criterion"), if (reml) REMLcrit(m) else deviance(m), 1e-11, s)
  add(paste0(k, "_b1"), fixef(m), 1e-11, s); add(paste0(k, "_b1_se"), sqrt(vcov(m)[1, 1]), 1e-9, s)
  add(paste0(k, "_g11"), 0, 0, s); add(paste0(k, "_sigma"), sigma(m), 1e-9, s)
}
done(paste("lme4", packageVersion("lme4")))
