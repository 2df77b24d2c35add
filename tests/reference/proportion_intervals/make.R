# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- data.frame(successes = c(81, 1, 0, 20, 7, 431, 99001), trials = c(263, 29, 20, 20, 12, 50000, 200001), percent = c(95, 95, 95, 95, 80, 99.8, 95))
save(d)
for (i in seq_len(nrow(d))) with(d[i, ], {
  name <- function(method, end) paste(method, successes, trials, percent, end, sep = "_")
  w <- prop.test(successes, trials, conf.level = percent / 100, correct = FALSE)$conf.int
  for (j in 1:2) add(name("wilson", c("low", "high")[j]), w[j], 1e-12, "stats::prop.test without continuity correction")
})
done()
