# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- subset(as.data.frame(Loblolly), Seed == 329); d <- data.frame(t = d$age, y = d$height)
save(d)
curve <- deriv(~ A + (S - A) * exp(-exp(lk) * t), c("S", "A", "lk"), function(S, A, lk, t) NULL)
m <- nls(y ~ curve(R0, Asym, lrc, t), d, start = list(R0 = -8, Asym = 94, lrc = -3.2), control = nls.control(tol = 1e-7)); k <- summary(m)$coefficients
s <- "stats::nls on datasets::Loblolly seed 329 (as in R's help page; M)"
add("plateau", k["Asym", 1], 1e-8, s); add("plateau_se", k["Asym", 2], 1e-7, s); add("start", k["R0", 1], 1e-8, s); add("start_se", k["R0", 2], 1e-7, s)
add("log_rate", k["lrc", 1], 1e-8, s); add("log_rate_se", k["lrc", 2], 1e-7, s); add("residual_sd", sigma(m), 1e-9, s)
h <- log(2) / exp(k["lrc", 1]); f <- exp(qt(.975, 3) * k["lrc", 2]); add("half_time", h, 1e-8, s); add("half_time_low", h / f, 1e-6, s); add("half_time_high", h * f, 1e-6, s)
# mean at 12 by the delta method, with R's own numbers
b <- coef(m); e <- exp(-exp(b["lrc"]) * 12); g <- c(e, 1 - e, -(b["R0"] - b["Asym"]) * e * 12 * exp(b["lrc"])); se <- sqrt(drop(g %*% vcov(m) %*% g))
add("mean_12", b["Asym"] + (b["R0"] - b["Asym"]) * e, 1e-8, s); add("mean_12_se", se, 1e-6, s)
done()
