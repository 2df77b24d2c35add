# Run in this folder: Rscript make.R. Winsorised phi and tau2 of 24 invented units around 0.4, by the formulas written out in R.
set.seed(20)
n <- round(exp(runif(24, log(20), log(900))))
x <- rbinom(24, n, plogis(qlogis(0.4) + rnorm(24, 0, 0.35)))
x[5] <- round(0.62 * n[5])
write.csv(data.frame(successes = x, trials = n), "data.csv", row.names = FALSE, quote = FALSE)
s <- sqrt(0.4 * 0.6 / n); y <- x / n; z <- (y - 0.4) / s
g <- floor(0.1 * 24); o <- sort(z)
w <- pmin(pmax(z, o[g + 1]), o[24 - g])
phi <- mean(w^2); v <- 1 / s^2
tau2 <- max(0, (24 * phi - 23) / (sum(v) - sum(v^2) / sum(v)))
additive <- (y - 0.4) / sqrt(s^2 + tau2)
f <- function(x) formatC(x, digits = 17, format = "g")
rows <- c("quantity,value,abs_tol,rel_tol,source,made_by",
  sprintf("%s,%s,0,1e-10,formulas of Spiegelhalter 2005 Stat Med 24:1185 (M),R (C)",
    c("phi", "tau2", "p", paste0("z_", 1:24), paste0("additive_", 1:24)),
    f(c(phi, tau2, pchisq(sum(z^2), 24, lower.tail = FALSE), z, additive))))
rows[4] <- sub("1e-10", "1e-6", rows[4])
writeLines(rows, "expected.csv")
writeLines(R.version.string, "version.txt")
