# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- data.frame(t = BOD$Time, y = BOD$demand)
save(d)
curve <- deriv(~ A + (S - A) * exp(-exp(lk) * t), c("A", "lk"), function(S, A, lk, t) NULL)
m <- nls(y ~ curve(0, A, lrc, t), d, start = list(A = 19, lrc = -.6), control = nls.control(tol = 1e-9)); k <- summary(m)$coefficients
s <- "stats::nls on datasets::BOD (Bates & Watts 1988)"
add("plateau", k["A", 1], 1e-8, s); add("plateau_se", k["A", 2], 1e-7, s); add("log_rate", k["lrc", 1], 1e-7, s); add("log_rate_se", k["lrc", 2], 1e-7, s); add("rss", deviance(m), 1e-10, s)
# the same as printed for the rate itself: 0.5310914 (0.2030821); published values as remembered (M)
add("rate", exp(k["lrc", 1]), 1e-7, s); add("rate_se", exp(k["lrc", 1]) * k["lrc", 2], 1e-7, s)
done()
