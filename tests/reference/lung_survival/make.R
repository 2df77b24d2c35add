# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "survival", packageVersion("survival"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("survival", packageVersion("survival"))), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(survival)

# advanced lung cancer, Loprinzi and others 1994 (J Clin Oncol 12:601-7), as in survival::lung; groups by performance status, the last of one subject
d <- with(lung[!is.na(lung$ph.ecog), ], data.frame(time, died = status - 1, ecog = ph.ecog))
save(d)
f <- survfit(Surv(time, died) ~ 1, data = d, conf.type = "log-log")
for (t in c(5, 100, 365, 500, 883)) {
  s <- summary(f, times = t)
  add(paste0("survival_", t), s$surv, 1e-12, "survfit")
  add(paste0("se_", t), s$std.err, 1e-12, "survfit Greenwood")
  add(paste0("low_", t), s$lower, 1e-11, "survfit log-log")
  add(paste0("high_", t), s$upper, 1e-12, "survfit log-log")
}
q <- quantile(f, .5)
add("median", q$quantile, 0, "quantile of survfit"); add("median_low", q$lower, 0, "quantile of survfit"); add("median_high", q$upper, 0, "quantile of survfit")
l <- survdiff(Surv(time, died) ~ ecog, data = d)
add("chi_square", l$chisq, 1e-11, "survdiff in four groups")
add("p_value", pchisq(l$chisq, 3, lower.tail = FALSE), 1e-9, "survdiff and pchisq")
for (i in 1:4) { add(paste0("observed_", i - 1), l$obs[i], 0, "survdiff"); add(paste0("expected_", i - 1), l$exp[i], 1e-12, "survdiff") }
done()
