# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(lme4)
d <- data.frame(batch = as.integer(Pastes$batch), cask = as.integer(Pastes$cask), strength = Pastes$strength)
d <- d[order(d$batch, d$cask), ]
save(d)
s <- paste("lme4::lmer", packageVersion("lme4"), "on lme4::Pastes (Davies and Goldsmith 1972)")
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = .2, rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE)
m <- lmer(strength ~ 1 + (1 | batch/cask), d, control = tight)
add("criterion", REMLcrit(m), 1e-11, s)
add("mean", fixef(m), 1e-11, s); add("mean_se", sqrt(vcov(m)[1, 1]), 1e-6, s)
add("v0", VarCorr(m)$batch[1], 1e-5, s); add("v1", VarCorr(m)$"cask:batch"[1], 1e-5, s); add("v2", sigma(m)^2, 1e-5, s)
for (i in 1:10) add(paste0("batch_", i), ranef(m)$batch[i, 1], 1e-4, s)
# casks in the order of the rows
casks <- unique(paste(d$cask, d$batch, sep = ":"))
for (i in c(1, 5, 30)) add(paste0("cask_", i), ranef(m)$"cask:batch"[casks[i], 1], 1e-4, s)

# prediction error and profiles from V written out
s <- "the restricted likelihood with V written out by this script"
n <- nrow(d); zb <- model.matrix(~ 0 + factor(d$batch)); zc <- model.matrix(~ 0 + factor(paste(d$cask, d$batch), levels = sub(":", " ", casks)))
parts <- list(tcrossprod(zb), tcrossprod(zc), diag(n)); one <- rep(1, n)
D <- function(v) {
  V <- Reduce(`+`, Map(`*`, v, parts)); R <- tryCatch(chol(V), error = function(e) NULL); if (is.null(R)) return(1e10)
  x <- backsolve(R, one, transpose = TRUE); y <- backsolve(R, d$strength, transpose = TRUE); r <- y - x * sum(x * y) / sum(x * x)
  (n - 1) * log(2 * pi) + 2 * sum(log(diag(R))) + log(sum(x * x)) + sum(r * r)
}
v <- c(VarCorr(m)$batch[1], VarCorr(m)$"cask:batch"[1], sigma(m)^2)
V <- Reduce(`+`, Map(`*`, v, parts)); W <- solve(V); P <- W - W %*% one %*% t(one) %*% W / sum(W)
pev <- function(z, v) sqrt(v - v^2 * diag(t(z) %*% P %*% z))
add("batch_sd_1", pev(zb, v[1])[1], 1e-4, s); add("cask_sd_1", pev(zc, v[2])[1], 1e-4, s)
z2 <- qchisq(.95, 1)
least <- D(v)
rise <- function(k, at) {
  f <- function(u) { w <- numeric(3); w[-k] <- u^2; w[k] <- if (at$share) at$x / (1 - at$x) * sum(u^2) else at$x; D(w) }
  u <- sqrt(v[-k]) + .01
  for (i in 1:5) u <- optim(u, f, method = "BFGS", control = list(reltol = 1e-15, ndeps = rep(1e-5, 2), maxit = 500))$par
  f(u) - least - z2
}
root <- function(k, share, from, to) { g <- function(x) rise(k, list(share = share, x = x)); if (from == 0 && g(0) < 0) return(0); uniroot(g, c(from, to), tol = 1e-10)$root }
for (k in 1:3) {
  add(sprintf("v%d_low", k - 1), root(k, FALSE, if (k < 3) 0 else v[k] / 10, v[k]), 1e-4, s); add(sprintf("v%d_high", k - 1), root(k, FALSE, v[k], 20 * v[k]), 1e-4, s)
  p <- v[k] / sum(v)
  add(sprintf("share%d_low", k - 1), root(k, TRUE, if (k < 3) 0 else p / 30, p), 1e-4, s); add(sprintf("share%d_high", k - 1), root(k, TRUE, p, .9999), 1e-4, s)
}
done(paste("lme4", packageVersion("lme4")))
