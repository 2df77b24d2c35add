# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- data.frame(p = c(.5001, .9, .975, .999, 1e-9, .3), df = c(1, 2.5, 7, 40, 1000, 20000), t = c(.1, -2, 2.2, 4, 1, 30))
save(d)
for (i in seq_len(nrow(d))) with(d[i, ], {
  add(paste0("normal_", i), qnorm(p), 1e-13, "stats::qnorm")
  add(paste0("t_", i), qt(p, df), 1e-11, "stats::qt")
  add(paste0("two_sided_", i), 2 * pt(-abs(t), df), 1e-10, "stats::pt")
})
done()
