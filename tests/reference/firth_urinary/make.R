# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
# urinary tract infection (case) of 239 college women, Foxman and others 1997 (Epidemiology 8:637-41); data.csv as distributed with the R package logistf (sex2).
# All 7 users of a diaphragm (dia) are cases
d <- read.csv("data.csv"); x <- cbind(1, d$age, d$oc, d$vic, d$vicl, d$vis, d$dia); y <- d$case
# Firth's penalised likelihood written out anew: Newton steps with the derivatives of the penalised score by differences
penalised <- function(b) { p <- plogis(drop(x %*% b)); sum(dbinom(y, 1, p, log = TRUE)) + determinant(crossprod(x * sqrt(p * (1 - p))))$modulus[1] / 2 }
score <- function(b) { p <- plogis(drop(x %*% b)); w <- p * (1 - p); h <- w * rowSums((x %*% solve(crossprod(x * sqrt(w)))) * x); drop(crossprod(x, y - p + h * (.5 - p))) }
b <- rep(0, ncol(x))
for (step in 1:60) { j <- sapply(seq_along(b), function(k) { e <- replace(0 * b, k, 1e-5); (score(b + e) - score(b - e)) / 2e-5 }); full <- solve(j, -score(b)); s <- 1; while (penalised(b + s * full) < penalised(b) - 1e-12 && s > 1e-8) s <- s / 2; b <- b + s * full }
stopifnot(max(abs(score(b))) < 1e-9)
p <- plogis(drop(x %*% b)); se <- sqrt(diag(solve(crossprod(x * sqrt(p * (1 - p))))))
source <- "penalised likelihood written out in make.R"
for (i in seq_along(b)) { add(paste0("b", i), b[i], 1e-8, source); add(paste0("b", i, "_se"), se[i], 1e-8, source) }
add("penalised_log_likelihood", penalised(b), 1e-11, source); add("log_likelihood", sum(dbinom(y, 1, p, log = TRUE)), 1e-8, source)
source <- "R package logistf on the same data"; quoted <- "printed output quoted in its own test suite and in others' (V2)"
published <- c(.12025404, -1.10598130, -.06881673, 2.26887464, -2.11140816, -.78831694, 3.09601263)
for (i in 1:7) add(paste0("logistf_b", i), published[i], 1e-6, source, made_by = quoted)
add("logistf_wald_low7", -.1869446, 2e-6, source, made_by = quoted); add("logistf_wald_high7", 6.37896984, 1e-6, source, made_by = quoted)
limits <- rbind(c(-.8185591, 1.07315122), c(-1.9737884, -.30742514), c(-.9414363, .78920202), c(1.2730216, 3.43543273), c(-3.2608611, -1.11773495), c(-1.6080879, .01518468), c(.7745682, 8.03029352))
for (i in 1:7) { add(paste0("logistf_low", i), limits[i, 1], 5e-6, source, made_by = quoted); add(paste0("logistf_high", i), limits[i, 2], 5e-6, source, made_by = quoted) }
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt")
