# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- data.frame(x = c(12.5, 3, 3, 47, 8.25, 19, -4, 30.5, 0, 11, 3))
save(d)
for (p in c(0, 5, 10, 25, 50, 66, 75, 90, 97.5, 100)) add(paste0("percent_", p), quantile(d$x, p / 100, type = 7), 1e-14, "stats::quantile type 7")
done()
