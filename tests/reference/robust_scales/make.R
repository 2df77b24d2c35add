# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(robustbase)
d <- data.frame(feed = as.integer(chickwts$feed), weight = chickwts$weight)
save(d)
s <- "datasets::chickwts"
groups <- split(d$weight, d$feed)
exact <- 1 / qnorm(.75)
z <- qnorm(.995)
se <- function(x) { x <- sort(x); n <- length(x); k <- max(1, round((n + 1) / 2 - z * sqrt(n / 4))); (x[n - k + 1] - x[k]) / (2 * z) }
for (i in seq_along(groups)) {
  x <- groups[[i]]
  add(paste0("mad_", i), mad(x, constant = exact), 1e-12, paste("mad on", s))
  add(paste0("qn_", i), Qn(x, constant = 1 / (sqrt(2) * qnorm(5 / 8)), finite.corr = FALSE), 1e-12, paste("robustbase::Qn", packageVersion("robustbase"), "on", s))
  add(paste0("median_", i), median(x), 1e-12, paste("median on", s))
  add(paste0("se_", i), se(x), 1e-12, paste("the formula of robust.rs by this script on", s))
}
add("qn_all", Qn(d$weight, constant = 1 / (sqrt(2) * qnorm(5 / 8)), finite.corr = FALSE), 1e-12, paste("robustbase::Qn", packageVersion("robustbase"), "on", s))
m <- sapply(groups, median); e <- sapply(groups, se)
spread2 <- max(0, mad(m, constant = exact)^2 - median(e^2))
add("centre", median(m), 1e-12, paste("median of medians on", s)); add("spread", sqrt(spread2), 1e-10, paste("mad of medians less chance on", s))
for (i in seq_along(groups)) { add(paste0("chance_", i), (m[i] - median(m)) / e[i], 1e-10, paste("by this script on", s)); add(paste0("among_", i), (m[i] - median(m)) / sqrt(e[i]^2 + spread2), 1e-10, paste("by this script on", s)) }
done(paste("robustbase", packageVersion("robustbase")))
