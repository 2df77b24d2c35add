# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
# grade of endometrial cancer (hg) by neovasculisation, pulsatility index and endometrium height, 79 women, Heinze & Schemper 2002 (Stat Med 21:2409-19);
# data.csv as distributed with Agresti 2015, Foundations of Linear and Generalized Linear Models. All 13 with neovasculisation have hg 1
d <- read.csv("data.csv"); x <- cbind(1, d$nv, d$pi, d$eh); y <- d$hg
# Firth's penalised likelihood written out anew: Newton steps with the derivatives of the penalised score by differences
penalised <- function(b) { p <- plogis(drop(x %*% b)); sum(dbinom(y, 1, p, log = TRUE)) + determinant(crossprod(x * sqrt(p * (1 - p))))$modulus[1] / 2 }
score <- function(b) { p <- plogis(drop(x %*% b)); w <- p * (1 - p); h <- w * rowSums((x %*% solve(crossprod(x * sqrt(w)))) * x); drop(crossprod(x, y - p + h * (.5 - p))) }
b <- rep(0, ncol(x))
for (step in 1:60) { j <- sapply(seq_along(b), function(k) { e <- replace(0 * b, k, 1e-5); (score(b + e) - score(b - e)) / 2e-5 }); full <- solve(j, -score(b)); s <- 1; while (penalised(b + s * full) < penalised(b) - 1e-12 && s > 1e-8) s <- s / 2; b <- b + s * full }
stopifnot(max(abs(score(b))) < 1e-9)
p <- plogis(drop(x %*% b)); se <- sqrt(diag(solve(crossprod(x * sqrt(p * (1 - p))))))
source <- "penalised likelihood written out in make.R"
for (i in seq_along(b)) { add(paste0("b", i), b[i], 1e-8, source); add(paste0("b", i, "_se"), se[i], 1e-8, source) }
add("penalised_log_likelihood", penalised(b), 1e-11, source); add("log_likelihood", sum(dbinom(y, 1, p, log = TRUE)), 1e-8, source)
source <- "R package logistf on the same data"; quoted <- "printed output quoted in a test suite (V2)"
published <- c(3.77455951, 2.92927330, -.03475175, -2.60416387)
for (i in 1:4) add(paste0("logistf_b", i), published[i], 1e-6, source, made_by = quoted)
limits <- rbind(c(1.0825371, 7.20928050), c(.6097244, 7.85463171), c(-.1244587, .04045547), c(-4.3651832, -1.23272106))
for (i in 1:4) { add(paste0("logistf_low", i), limits[i, 1], 5e-6, source, made_by = quoted); add(paste0("logistf_high", i), limits[i, 2], 5e-6, source, made_by = quoted) }
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt")
