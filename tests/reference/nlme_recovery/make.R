# Run in this folder: Rscript make.R
suppressPackageStartupMessages(library(nlme))
out <- data.frame()
made <- paste0("nlme ", packageVersion("nlme"), " (C)")
add <- function(quantity, value, rel_tol, source) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol = 0, rel_tol, source, made_by = made))

# invented: 80 subjects, 9 readings each, baseline, plateau and log tau correlated; one covariate moves all three
set.seed(20261125)
n <- 80; times <- c(0, 3, 7, 14, 21, 35, 56, 84, 120)
sd <- c(1.2, 1.3, 0.5); r <- matrix(c(1, .4, .1, .4, 1, -.2, .1, -.2, 1), 3); L <- t(chol(diag(sd) %*% r %*% diag(sd)))
d <- do.call(rbind, lapply(1:n, function(i) {
  x <- round(rnorm(1), 3); b <- c(6.8, 2.5, log(18)) + c(.3, .4, .15) * x + L %*% rnorm(3)
  t <- c(0, times[-1] + sample(-1:1, 8, TRUE)); keep <- sort(c(1, sample(2:9, sample(5:8, 1))))
  data.frame(subject = i, t = t, y = round(b[2] + (b[1] - b[2]) * exp(-t / exp(b[3])) + rnorm(9, 0, .7), 2), x = x)[keep, ] }))
write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
curve <- deriv(~ p + (b - p) * exp(-t * exp(-lt)), c("b", "p", "lt"), function(b, p, lt, t) NULL)
control <- nlmeControl(tolerance = 1e-8, pnlsTol = 1e-6, msTol = 1e-12, maxIter = 1000, pnlsMaxIter = 50, msMaxIter = 500)
cov <- function(m) matrix(as.numeric(pdMatrix(m$modelStruct$reStruct)[[1]]) * m$sigma^2, 3)
report <- function(k, G, sigma, ll, tag, tol, s) {
  for (j in seq_along(k)) add(paste0(tag, "beta", j), k[j], tol, s)
  for (i in 1:3) for (j in 1:i) add(paste0(tag, "g", i, j), G[i, j], 5 * tol, s)
  add(paste0(tag, "residual_sd"), sigma, tol, s); add(paste0(tag, "log_likelihood"), ll, 1e-9, s)
}
m1 <- nlme(y ~ curve(b, p, lt, t), d, fixed = b + p + lt ~ 1, random = b + p + lt ~ 1 | subject, start = c(7, 2.5, 3), control = control)
mx <- nlme(y ~ curve(b, p, lt, t), d, fixed = b + p + lt ~ x, random = b + p + lt ~ 1 | subject, start = c(7, 0, 2.5, 0, 3, 0), control = control)

# maximum likelihood without linearising: given log tau the rest is a normal model, so each subject is one integral; here by Gauss-Hermite with
# 151 fixed nodes (Golub & Welsch), dense covariances solved through their 2 x 2 part, and optim
K <- 151; e <- eigen(rbind(cbind(0, diag(sqrt(1:(K - 1)))), 0) + t(rbind(cbind(0, diag(sqrt(1:(K - 1)))), 0)), symmetric = TRUE); node <- e$values; lw <- 2 * log(abs(e$vectors[1, ]))
one <- function(y, t, mu, S, sg) { # S lower triangular, rows (lt, b, p)
  lt <- mu[3] + S[1, 1] * node; z <- exp(-outer(t, exp(-lt))); mb <- mu[1] + S[2, 1] * node; mp <- mu[2] + S[3, 1] * node
  r <- y - rep(mp, each = length(t)) - z * rep(mb - mp, each = length(t)); zu <- z * S[2, 2] + (1 - z) * S[3, 2]; zv <- (1 - z) * S[3, 3]
  a <- 1 + colSums(zu^2) / sg^2; b <- colSums(zu * zv) / sg^2; c <- 1 + colSums(zv^2) / sg^2; u <- colSums(zu * r) / sg^2; v <- colSums(zv * r) / sg^2; D <- a * c - b^2
  l <- -.5 * (length(t) * log(2 * pi * sg^2) + log(D) + colSums(r^2) / sg^2 - (c * u^2 - 2 * b * u * v + a * v^2) / D) + lw
  max(l) + log(sum(exp(l - max(l)))) }
parts <- split(d, d$subject)
exact <- function(q, X) { # q: fixed effects, six elements of S, log sigma; X: subject -> design of the three means
  k <- length(q) - 7; S <- matrix(0, 3, 3); S[lower.tri(S, TRUE)] <- q[k + 1:6]
  -sum(sapply(parts, function(e) one(e$y, e$t, as.vector(X(e$x[1]) %*% q[1:k]), S, exp(q[k + 7])))) }
climb <- function(m, X) { G <- cov(m); o <- c(3, 1, 2); S <- t(chol(G[o, o])); q <- c(fixef(m), S[lower.tri(S, TRUE)], log(m$sigma))
  for (i in 1:3) q <- optim(q, exact, X = X, method = "BFGS", control = list(reltol = 1e-15, maxit = 500, parscale = pmax(abs(q), .2), ndeps = rep(1e-4, length(q))))$par
  k <- length(q) - 7; S <- matrix(0, 3, 3); S[lower.tri(S, TRUE)] <- q[k + 1:6]; G <- (S %*% t(S))[order(o), order(o)]
  H <- optimHess(q, exact, X = X, control = list(ndeps = rep(1e-3, length(q)))); list(q = q, k = q[1:k], G = G, sigma = exp(q[k + 7]), ll = -exact(q, X), se = sqrt(diag(solve(H)))[1:k]) }
made <- paste(gsub(",", "", R.version.string), "stats::optim (C)")
f <- climb(m1, function(x) diag(3)); report(f$k, f$G, f$sigma, f$ll, "", 2e-4, "invented course; no covariate; maximum likelihood")
for (j in 1:3) add(paste0("beta", j, "_se"), f$se[j], 1e-3, "observed information")
f <- climb(mx, function(x) kronecker(diag(3), t(c(1, x)))); report(f$k, f$G, f$sigma, f$ll, "x_", 5e-4, "invented course; covariate on all three; maximum likelihood")
for (j in 1:6) add(paste0("x_beta", j, "_se"), f$se[j], 2e-3, "observed information")
made <- paste0("nlme ", packageVersion("nlme"), " (C)")

made <- paste0("nlme ", packageVersion("nlme"), " (C)"); s <- "its alternating algorithm; its log-likelihood is that of its linear approximation"
for (j in 1:3) add(paste0("nlme_beta", j), fixef(m1)[j], 2e-5, s)
add("nlme_residual_sd", m1$sigma, 1e-5, s); add("nlme_log_likelihood", as.numeric(logLik(m1)), 1e-7, s)

# exact marginal densities and posterior means of the first fit, by adaptive quadrature over log tau; given log tau the rest is a normal model
made <- paste(R.version.string, "stats::integrate (C)"); s <- "exact marginal of the fit without covariate (arithmetic of R on the printed fit)"
made <- gsub(",", "", made)
G <- cov(m1); mu <- fixef(m1); sg <- m1$sigma
for (j in 1:3) add(paste0("at_mu", j), mu[j], 0, s); for (i in 1:3) for (j in 1:i) add(paste0("at_g", i, j), G[i, j], 0, s); add("at_sigma", sg, 0, s)
G2 <- G[1:2, 1:2] - G[1:2, 3] %o% G[3, 1:2] / G[3, 3]
given <- function(e, lt) { z <- exp(-e$t * exp(-lt)); Z <- cbind(z, 1 - z); m <- mu[1:2] + G[1:2, 3] / G[3, 3] * (lt - mu[3]); V <- Z %*% G2 %*% t(Z) + sg^2 * diag(nrow(Z)); r <- e$y - Z %*% m
  dens <- exp(-.5 * (sum(r * solve(V, r)) + as.numeric(determinant(V)$modulus) + nrow(Z) * log(2 * pi))) * dnorm(lt, mu[3], sqrt(G[3, 3]))
  c(dens, m + G2 %*% t(Z) %*% solve(V, r)) }
whole <- function(e, f) { peak <- optimize(function(l) given(e, l)[1], mu[3] + c(-3, 3) * sqrt(G[3, 3]), maximum = TRUE)$objective
  integrate(Vectorize(function(l) { g <- given(e, l); g[1] / peak * f(g, l) }), mu[3] - 8 * sqrt(G[3, 3]), mu[3] + 8 * sqrt(G[3, 3]), rel.tol = 1e-10, subdivisions = 2000)$value * c(relative = 1, absolute = peak) }
total <- 0
for (i in unique(d$subject)) total <- total + log(whole(d[d$subject == i, ], function(g, l) 1)[2])
add("exact_log_likelihood", total, 1e-8, s)
for (i in 1:3) { e <- d[d$subject == i, ][1:3, ]; w <- whole(e, function(g, l) 1)[1]; at <- 60
  value <- function(g, l) { z <- exp(-at * exp(-l)); g[2] * z + g[3] * (1 - z) }
  add(paste0("exact_density_", i), log(whole(e, function(g, l) 1)[2]), 1e-8, s)
  add(paste0("posterior_mean_", i), whole(e, value)[1] / w, 1e-7, s) }
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(paste(R.version.string, "nlme", packageVersion("nlme")), "version.txt")
