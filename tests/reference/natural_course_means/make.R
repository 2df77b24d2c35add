# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

# mean pain, 0 to 100, at weeks 0 6 26 52: Costa 2012 CMAJ 184:E613-24 (V), Wallwork 2024 CMAJ 196:E29-46 (V2)
# the fits of 'costa' and 'wallwork' with a fixed start agree with plateau 8.68 24.33 21.50 40.93, rate .1806 .1843 .3393 .1141
d <- data.frame(weeks = c(0, 6, 26, 52), costa_acute = c(52, 23, 12, 6), costa_persistent = c(51, 33, 26, 23), wallwork_acute = c(56, 26, 22, 21), wallwork_persistent = c(56, 48, 43, 40), wallwork_subacute = c(63, 29, 29, 31))
save(d)
fixed <- deriv(~ A + (S - A) * exp(-exp(lk) * t), c("A", "lk"), function(S, A, lk, t) NULL)
free <- deriv(~ A + (S - A) * exp(-exp(lk) * t), c("S", "A", "lk"), function(S, A, lk, t) NULL)
t <- d$weeks
for (n in names(d)[2:5]) {
  y <- d[[n]]; s <- "fitted here to the published means; start fixed at the first"
  m <- nls(y ~ fixed(y[1], A, lk, t), start = list(A = min(y), lk = log(.2)), control = nls.control(tol = 1e-8)); k <- summary(m)$coefficients
  add(paste0(n, "_plateau"), k["A", 1], 1e-6, s); add(paste0(n, "_plateau_se"), k["A", 2], 1e-6, s); add(paste0(n, "_rate"), exp(k["lk", 1]), 1e-6, s); add(paste0(n, "_log_rate_se"), k["lk", 2], 1e-6, s)
}
for (n in names(d)[2:5]) {
  y <- d[[n]]; s <- "fitted here to the published means; start free"
  m <- nls(y ~ free(R0, A, lk, t), start = list(R0 = y[1], A = min(y), lk = log(.2)), control = nls.control(tol = 1e-8)); k <- summary(m)$coefficients
  add(paste0(n, "_free_start"), k["R0", 1], 1e-6, s); add(paste0(n, "_free_plateau"), k["A", 1], 1e-6, s); add(paste0(n, "_free_rate"), exp(k["lk", 1]), 1e-6, s); add(paste0(n, "_free_log_rate_se"), k["lk", 2], 1e-6, s)
}
done()
