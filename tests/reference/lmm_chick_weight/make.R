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
  add(paste0(prefix, "criterion"), if (isREML(m)) REMLcrit(m) else deviance(m), 1e-10, s)
  for (j in seq_along(n)) { add(sprintf("%sb%d", prefix, j), fixef(m)[j], 5e-6, s); add(sprintf("%sb%d_se", prefix, j), sqrt(vcov(m)[j, j]), 2e-5, s) }
  g <- VarCorr(m)[[1]]
  for (i in seq_len(nrow(g))) for (j in seq_len(i)) add(sprintf("%sg%d%d", prefix, i, j), g[i, j], 1e-4, s)
  add(paste0(prefix, "sigma"), sigma(m), 2e-5, s)
}

d <- data.frame(chick = as.integer(as.character(ChickWeight$Chick)), time = ChickWeight$Time, weight = ChickWeight$weight, diet = as.integer(ChickWeight$Diet))
save(d)
# natural cubic spline in log(1 + time) with knots at times 0, 8, 20, written out (Hastie, Tibshirani & Friedman, 2nd ed., 5.4)
x <- log1p(d$time); k <- log1p(c(0, 8, 20)); cube <- function(u) pmax(u, 0)^3
part <- function(j) (cube(x - k[j]) - cube(x - k[3])) / (k[3] - k[j])
d$b1 <- x; d$b2 <- (part(1) - part(2)) / (k[3] - k[1])^2
d$d3 <- as.integer(d$diet == 3)
s <- paste("lme4::lmer", packageVersion("lme4"), "on datasets::ChickWeight")
# from one start lme4 ends on a side of the boundary that is not the lowest: the best of many
best <- function(formula, REML) {
  set.seed(1); fits <- lapply(1:40, function(i) suppressMessages(lmer(formula, d, REML = REML, control = tight, start = c(1, 1, 4, 1, 2, 1) * c(runif(1), rnorm(2), runif(1), rnorm(1), runif(1)))))
  k <- sapply(fits, logLik); print(table(round(-2 * k, 3))); fits[[which.max(k)]]
}
m <- best(weight ~ b1 + b2 + d3 + d3:b1 + d3:b2 + (b1 + b2 | chick), TRUE); add_fit("reml_", m, s)
a <- best(weight ~ b1 + b2 + d3 + (b1 + b2 | chick), FALSE); add_fit("ml_", a, s)
# chick 5 (diet 1): its own curve at time 10
row <- which(d$chick == 5 & d$time == 10); add("ml_chick_5_at_10", fitted(a)[row], 1e-6, s)
done(paste("lme4", packageVersion("lme4")))
