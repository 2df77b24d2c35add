# Run in this folder: Rscript make.R
suppressPackageStartupMessages(library(nlme))
out <- data.frame()
add <- function(quantity, value, rel_tol, source, made_by = paste0("nlme ", packageVersion("nlme"), " (C)"), abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))

d <- as.data.frame(Loblolly); d <- data.frame(subject = as.integer(as.character(d$Seed)), t = d$age, y = d$height)
write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
m <- nlme(y ~ SSasymp(t, Asym, R0, lrc), d, fixed = Asym + R0 + lrc ~ 1, random = Asym ~ 1 | subject,
  start = c(Asym = 103, R0 = -8.5, lrc = -3.3), control = nlmeControl(tolerance = 1e-9, pnlsTol = 1e-5, msTol = 1e-12, maxIter = 500))
k <- fixef(m); v <- sqrt(diag(m$varFix)); g <- as.numeric(VarCorr(m)[, "StdDev"])
s <- "nlme of datasets::Loblolly as in its help page"
add("asym", k["Asym"], 1e-6, s); add("r0", k["R0"], 1e-6, s); add("lrc", k["lrc"], 1e-6, s)
add("asym_sd", g[1], 1e-5, s); add("residual_sd", g[2], 1e-5, s); add("log_likelihood", as.numeric(logLik(m)), 1e-8, s)
# maximum likelihood without linearising: the asymptote enters linearly, so each subject's density is normal
parts <- split(d, d$subject)
minus <- function(q) -sum(sapply(parts, function(e) { z <- exp(-exp(q[3]) * e$t); r <- e$y - q[1] * (1 - z) - q[2] * z; V <- exp(2 * q[5]) * diag(nrow(e)) + q[4]^2 * (1 - z) %o% (1 - z)
  -.5 * (sum(r * solve(V, r)) + as.numeric(determinant(V)$modulus) + nrow(e) * log(2 * pi)) }))
q <- c(k, g[1], log(g[2])); for (i in 1:4) q <- optim(q, minus, method = "BFGS", control = list(reltol = 1e-16, maxit = 1000, parscale = abs(q), ndeps = rep(1e-5, 5)))$par
x <- "maximum likelihood"; r <- paste("R", getRversion(), "stats::optim (C)")
add("ml_asym", q[1], 1e-5, x, r); add("ml_r0", q[2], 1e-5, x, r); add("ml_lrc", q[3], 1e-5, x, r); add("ml_asym_sd", q[4], 1e-4, x, r); add("ml_residual_sd", exp(q[5]), 1e-5, x, r); add("ml_log_likelihood", -minus(q), 1e-10, x, r)
p <- "Pinheiro & Bates 2000; help page of datasets::Loblolly and nlme"
pub <- function(q, v, tol) add(paste0("published_", q), v, 0, p, "V2", tol)
pub("asym", 101.45, 0.005); pub("r0", -8.63, 0.005); pub("lrc", -3.23, 0.005); pub("asym_sd", 3.65, 0.005); pub("residual_sd", 0.719, 0.0005); pub("log_likelihood", -114.74, 0.005)
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(paste(R.version.string, "nlme", packageVersion("nlme")), "version.txt")
