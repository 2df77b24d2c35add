# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "lme4", packageVersion("lme4"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
suppressMessages(library(lme4))
# contagious bovine pleuropneumonia in herds of zebu, Lesnoff and others 2004 (Prev Vet Med 64:97-108), as in lme4::cbpp
d <- with(cbpp, data.frame(herd = as.integer(herd), incidence, size, period2 = as.integer(period == 2), period3 = as.integer(period == 3), period4 = as.integer(period == 4)))
write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
control <- glmerControl(optimizer = "bobyqa", tolPwrss = 1e-13, optCtrl = list(rhobeg = 1e-2, rhoend = 1e-9, maxfun = 1e5))
for (k in c(1, 3, 9, 25)) {
  m <- glmer(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, binomial, nAGQ = k, control = control)
  # lme4 calls minus twice the log-likelihood deviance, and leaves the saturated model's out for more than one point
  add(paste0("k", k, if (k == 1) "_minus_twice" else "_deviance"), -2 * as.numeric(logLik(m)), 1e-9, "lme4::glmer")
  for (i in 1:4) { add(paste0("k", k, "_b", i), fixef(m)[[i]], 2e-5, "lme4::glmer"); add(paste0("k", k, "_b", i, "_se"), sqrt(diag(vcov(m)))[[i]], if (k == 1) 9e-3 else 2e-3, "lme4::glmer by differences") }
  add(paste0("k", k, "_sd"), getME(m, "theta")[[1]], 2e-5, "lme4::glmer")
  r <- ranef(m, condVar = TRUE)$herd
  for (i in 1:15) add(paste0("k", k, "_mode", i), r[i, 1], 1e-4, "lme4::ranef")
}
# the posterior of each herd's intercept at the estimates of 25 points, by R's adaptive integration
b <- fixef(m); sd <- getME(m, "theta")[[1]]; eta <- drop(model.matrix(m) %*% b); standard <- function(u) sapply(u, function(v) sum(cbpp$size * plogis(eta + v)) / sum(cbpp$size))
for (i in 1:15) {
  rows <- as.integer(cbpp$herd) == i
  f <- function(u) sapply(u, function(v) exp(sum(dbinom(cbpp$incidence[rows], cbpp$size[rows], plogis(eta[rows] + v), log = TRUE)) + dnorm(v, 0, sd, log = TRUE)))
  over <- function(g) integrate(function(u) g(u) * f(u), -6, 6, rel.tol = 1e-11, abs.tol = 0, subdivisions = 1000)$value
  # means near zero: integrated about -1
  one <- over(function(u) 1); mean <- over(function(u) u + 1) / one - 1
  add(paste0("mean", i), mean, 1e-3, "stats::integrate at lme4's estimates", 2e-5 * min(1, abs(mean) * 100)); spread <- sqrt(over(function(u) (u - mean)^2) / one); add(paste0("sd", i), spread, 1e-4, "stats::integrate at lme4's estimates")
  add(paste0("rate", i), over(standard) / one, 1e-4, "stats::integrate at lme4's estimates")
  add(paste0("rate_low", i), standard(mean - qnorm(.975) * spread), 3e-4, "stats::integrate at lme4's estimates"); add(paste0("rate_high", i), standard(mean + qnorm(.975) * spread), 3e-4, "stats::integrate at lme4's estimates")
}
source <- "lme4's help for cbpp with 9 points"
add("published_deviance", 100.0100, 0, source, 6e-5, "from memory (M)"); add("published_sd", .6475, 0, source, 6e-5, "from memory (M)")
for (i in 1:4) add(paste0("published_b", i), c(-1.3992, -.9914, -1.1278, -1.5795)[i], 0, source, 6e-5, "from memory (M)")
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("lme4", packageVersion("lme4"))), "version.txt")
