# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

library(splines)
d <- data.frame(t = round(seq(0, 400, length.out = 41)^1 * (1 + (0:40) %% 3) / 3, 1)); d$y <- 50 * exp(-d$t / 30) + 3 * sin(1:41)
save(d)
# a regression on any basis of the natural cubic splines has the same fitted values, also beyond the outer knots
for (df in 1:3) {
  knots <- log1p(list(c(1, 200), c(1, 20, 200), c(1, 10, 50, 200))[[df]])
  inner <- knots[-c(1, df + 1)]
  m <- lm(y ~ ns(log1p(t), knots = inner, Boundary.knots = range(knots)), d)
  for (t in c(0, 7, 45, 150, 700)) add(sprintf("df%d_at_%d", df, t), predict(m, data.frame(t = t)), 1e-9, "splines::ns and stats::lm")
  add(sprintf("df%d_rss", df), deviance(m), 1e-11, "splines::ns and stats::lm")
}
done()
