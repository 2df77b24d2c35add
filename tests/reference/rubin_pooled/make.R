# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "mice", packageVersion("mice"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("mice", packageVersion("mice"))), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
suppressMessages(library(mice))

# mean cholesterol of mice::nhanes (25 adults, Schafer 1997) and share above 190 in ten completed copies
imp <- mice(nhanes, m = 10, seed = 1987, printFlag = FALSE)
chl <- sapply(1:10, function(i) complete(imp, i)$chl)
d <- data.frame(estimate = colMeans(chl), variance = apply(chl, 2, var) / 25, successes = colSums(chl > 190), trials = 25)
save(d)
d <- read.csv("data.csv")
q <- function(p) qt(.975, p$df) * sqrt(p$t)
for (k in 1:2) {
  n <- c("rubin", "barnard_rubin")[k]
  p <- pool.scalar(d$estimate, d$variance, n = c(Inf, 25)[k], k = 1)
  if (k == 1) { add("value", p$qbar, 1e-13, "mice::pool.scalar"); add("within", p$ubar, 1e-13, "mice::pool.scalar"); add("between", p$b, 1e-12, "mice::pool.scalar"); add("se", sqrt(p$t), 1e-13, "mice::pool.scalar"); add("share_between", (1 + 1 / 10) * p$b / p$t, 1e-12, "mice::pool.scalar") }
  # mice takes 999999 complete-data degrees of freedom for infinitely many
  df <- if (k == 1) 9 / ((1 + 1 / 10) * p$b / p$t)^2 else p$df
  source <- if (k == 1) "Rubin 1987 by hand from mice::pool.scalar" else "mice::pool.scalar"
  add(paste0(n, "_df"), df, 1e-11, source); add(paste0(n, "_low"), p$qbar - qt(.975, df) * sqrt(p$t), 1e-12, source)
  add(paste0(n, "_fmi"), if (k == 1) (p$r + 2 / (df + 3)) / (p$r + 1) else p$fmi, 1e-11, source)
}
x <- d$successes; m <- d$trials - x
p <- pool.scalar(qlogis(x / d$trials), 1 / x + 1 / m, n = 25, k = 1)
add("share", plogis(p$qbar), 1e-12, "mice::pool.scalar on log odds"); add("share_low", plogis(p$qbar - q(p)), 1e-11, "mice::pool.scalar on log odds"); add("share_high", plogis(p$qbar + q(p)), 1e-11, "mice::pool.scalar on log odds"); add("share_fmi", p$fmi, 1e-11, "mice::pool.scalar on log odds")
done()
