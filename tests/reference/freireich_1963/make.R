# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "survival", packageVersion("survival"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("survival", packageVersion("survival"))), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(survival)

# the 42 children of Freireich and others 1963 (Blood 21:699-716), as in MASS::gehan
d <- with(MASS::gehan, data.frame(weeks = time, relapsed = cens, on_6mp = as.integer(treat == "6-MP")))
save(d)
f <- survfit(Surv(weeks, relapsed) ~ 1, data = d[d$on_6mp == 1, ], conf.type = "log-log")
s <- summary(f)
for (i in seq_along(s$time)) {
  t <- s$time[i]
  add(paste0("se_", t), s$std.err[i], 1e-12, "survfit Greenwood")
  add(paste0("low_", t), s$lower[i], 1e-12, "survfit log-log")
  add(paste0("high_", t), s$upper[i], 1e-12, "survfit log-log")
}
published <- c("6" = .857, "7" = .807, "10" = .753, "13" = .690, "16" = .627, "22" = .538, "23" = .448)
for (t in names(published)) add(paste0("published_", t), published[[t]], 0, "Freireich and others 1963; three decimals as in textbooks of survival analysis", 5e-4, "M")
q <- quantile(f, .5)
add("median_6mp", 23, 0, "Freireich and others 1963: 23 weeks", 0, "M")
add("median_6mp_low", q$lower, 0, "quantile of survfit log-log (Brookmeyer & Crowley); upper limit not reached")
g <- quantile(survfit(Surv(weeks, relapsed) ~ 1, data = d[d$on_6mp == 0, ], conf.type = "log-log"), .5)
add("median_placebo", 8, 0, "Freireich and others 1963: 8 weeks", 0, "M")
add("median_placebo_low", g$lower, 0, "quantile of survfit log-log (Brookmeyer & Crowley)")
add("median_placebo_high", g$upper, 0, "quantile of survfit log-log (Brookmeyer & Crowley)")
l <- survdiff(Surv(weeks, relapsed) ~ on_6mp, data = d)
add("published_chi_square", 16.8, 0, "log-rank of the Freireich data as in textbooks of survival analysis", .05, "M")
add("chi_square", l$chisq, 1e-12, "survdiff")
add("p_value", pchisq(l$chisq, 1, lower.tail = FALSE), 1e-9, "survdiff and pchisq")
for (i in 1:2) { add(paste0("observed_", i - 1), l$obs[i], 0, "survdiff"); add(paste0("expected_", i - 1), l$exp[i], 1e-12, "survdiff") }
done()
