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

d <- data.frame(days = sleepstudy$Days, reaction = sleepstudy$Reaction, subject = as.integer(as.character(sleepstudy$Subject)))
save(d)
s <- paste("lme4::lmer", packageVersion("lme4"), "on lme4::sleepstudy")
m <- fit(reaction ~ days + (days | subject), TRUE); add_fit("reml_", m, s)
add_fit("ml_", fit(reaction ~ days + (days | subject), FALSE), s)
add_fit("intercepts_", fit(reaction ~ days + (1 | subject), TRUE), s)
# as printed, so to the digits printed
p <- "Bates et al. 2015 (J Stat Softw 67(1)) section 1.2 and 5.2"; by <- "published (M)"
add("published_criterion", 1743.628, 0, p, 5e-4, by)
add("published_intercept", 251.405, 0, p, 5e-4, by); add("published_intercept_se", 6.825, 0, p, 5e-4, by)
add("published_slope", 10.467, 0, p, 5e-4, by); add("published_slope_se", 1.546, 0, p, 5e-4, by)
add("published_intercept_sd", 24.741, 0, p, 1e-3, by); add("published_slope_sd", 5.922, 0, p, 5e-4, by)
add("published_correlation", .066, 0, p, 5e-4, by); add("published_sigma", 25.592, 0, p, 5e-4, by)
done(paste("lme4", packageVersion("lme4")))
