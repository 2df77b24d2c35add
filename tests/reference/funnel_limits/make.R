# Run in this folder: Rscript make.R. Control limits by the published formula and by its mirror image, from R's own binomial.
set.seed(1)
units <- expand.grid(target = c(0.08, 0.3, 0.65), n = c(4, 15, 40, 210, 3000))
write.csv(data.frame(target = units$target, n = units$n), "data.csv", row.names = FALSE, quote = FALSE)
f <- function(x) formatC(x, digits = 17, format = "g")
rows <- "quantity,value,abs_tol,rel_tol,source,made_by"
add <- function(q, v) rows <<- c(rows, sprintf("%s,%s,%s,1e-9,formula of Spiegelhalter 2005 Stat Med 24:1185 appendix (M),R (C)", q, f(v), if (v == 0) "1e-15" else "0"))
# the quantile of any distribution on 0..n from its cumulative probabilities
published <- function(cdf, p) {
  r <- which(cdf >= p)[1] - 1
  a <- (cdf[r + 1] - p) / (cdf[r + 1] - (if (r == 0) 0 else cdf[r]))
  max(0, r - a)
}
emit <- function(label, mass, unit) {
  n <- length(mass) - 1
  cdf <- cumsum(mass); mirrored <- cumsum(rev(mass))
  for (level in c(95, 99.8)) {
    tail <- (1 - level / 100) / 2
    low <- published(cdf, tail)
    add(sprintf("low_%s_%s", label, level), low / unit)
    add(sprintf("published_%s_%s", label, level), published(cdf, 1 - tail) / unit)
    high <- n - published(mirrored, tail)
    add(sprintf("inside_%s_%s", label, level), high / unit)
  }
}
for (i in seq_len(nrow(units))) {
  u <- units[i, ]
  emit(sprintf("%s_%s", u$target, u$n), dbinom(0:u$n, u$n, u$target), u$n)
}
# observed over expected: 90 trials at 0.1, 60 at 0.45, 12 at 0.9, convolved
mass <- 1
for (g in list(c(90, 0.1), c(60, 0.45), c(12, 0.9))) {
  b <- dbinom(0:g[1], g[1], g[2])
  mass <- rowSums(sapply(seq_along(mass), function(i) c(rep(0, i - 1), mass[i] * b, rep(0, length(mass) - i))))
}
emit("mixed", mass, 90 * 0.1 + 60 * 0.45 + 12 * 0.9)
writeLines(rows, "expected.csv")
writeLines(R.version.string, "version.txt")
