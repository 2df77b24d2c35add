# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "survival", packageVersion("survival"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("survival", packageVersion("survival"))), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(survival)

# monoclonal gammopathy, Kyle and others 2002 (N Engl J Med 346:564-9), as in survival::mgus2; progression, death before it the competing end
d <- with(mgus2, data.frame(months = ifelse(pstat == 0, futime, ptime), end = ifelse(pstat == 0, 2 * death, 1)))
save(d)
f <- survfit(Surv(months, factor(end, 0:2)) ~ 1, data = d)
z <- qnorm(.975)
for (t in c(1, 12, 60, 120, 240, 360)) {
  s <- summary(f, times = t)
  p <- s$pstate[1, 2:3]; e <- s$std.err[1, 2:3]
  add(paste0("neither_", t), s$pstate[1, 1], 1e-11, "survfit multi-state")
  for (j in 1:2) {
    end <- c("event", "competing")[j]
    add(paste0(end, "_", t), p[j], 1e-11, "survfit multi-state")
    add(paste0(end, "_se_", t), e[j], 1e-11, "survfit multi-state (infinitesimal jackknife)")
    if (p[j] > 0) for (k in c(-1, 1)) {
      free <- 1 - p[j]
      add(paste0(end, c("_low_", NA, "_high_")[k + 2], t), 1 - free^exp(k * z * e[j] / (free * -log(free))), 1e-10, "log-log on 1 - F from survfit's standard error")
    }
  }
}
done()
