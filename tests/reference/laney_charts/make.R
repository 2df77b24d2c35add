# Run in this folder: Rscript make.R. Laney's p' of an invented series with a wandering share, by his formulas written out in R.
set.seed(31)
n <- round(runif(30, 400, 6000))
x <- rbinom(30, n, plogis(-1 + rnorm(30, 0, 0.15)))
write.csv(data.frame(count = x, size = n), "data.csv", row.names = FALSE, quote = FALSE)
d2 <- integrate(function(r) 1 - (2 * pnorm(r / sqrt(2)) - 1), 0, Inf, rel.tol = 1e-12)$value  # mean range of two
rows <- "quantity,value,abs_tol,rel_tol,source,made_by"
centre <- sum(x) / sum(n)
s <- sqrt(centre * (1 - centre) / n)
z <- (x / n - centre) / s
sigma_z <- mean(abs(diff(z))) / d2
value <- c(centre, sigma_z, centre - 3 * s[1] * sigma_z, centre + 3 * s[30] * sigma_z, s[7])
quantity <- paste0("p_", c("centre", "sigma_z", "low_1", "high_30", "plain_sigma_7"))
rows <- c(rows, sprintf("%s,%.17g,0,1e-9,formulas of Laney 2002 Qual Eng 14:531-7 (M),R (C)", quantity, value))
writeLines(rows, "expected.csv")
writeLines(R.version.string, "version.txt")
