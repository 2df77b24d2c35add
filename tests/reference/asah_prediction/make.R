# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "pROC", packageVersion("pROC"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("pROC", packageVersion("pROC"))), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
suppressMessages(library(pROC))

# subarachnoid haemorrhage, Turck and others 2010 (Intensive Care Med 36:107-15), as in pROC::aSAH; the chance is an invented one, so that there is something to calibrate
d <- with(aSAH, data.frame(s100b, poor = as.integer(outcome == "Poor"), chance = round(plogis(-1 + 3 * s100b), 3)))
save(d)
for (n in c("s100b", "chance")) {
  r <- roc(d$poor, d[[n]], direction = "<", levels = 0:1)
  i <- ci.auc(r, method = "delong")
  add(paste0("auc_", n), i[2], 1e-12, "pROC::ci.auc DeLong"); add(paste0("auc_low_", n), i[1], 1e-11, "pROC::ci.auc DeLong"); add(paste0("auc_high_", n), i[3], 1e-11, "pROC::ci.auc DeLong")
  add(paste0("auc_se_", n), sqrt(var(r, method = "delong")), 1e-11, "pROC::var DeLong")
}
add("brier", mean((d$chance - d$poor)^2), 1e-13, "mean squared difference")
g <- summary(glm(poor ~ qlogis(chance), binomial, d, control = glm.control(epsilon = 1e-15, maxit = 100)))$coefficients
for (i in 1:2) { n <- c("intercept", "slope")[i]; add(n, g[i, 1], 1e-9, "stats::glm"); add(paste0(n, "_se"), g[i, 2], 1e-9, "stats::glm"); add(paste0(n, "_low"), g[i, 1] - qnorm(.975) * g[i, 2], 1e-9, "stats::glm and Wald") }
rate <- function(n, x, of) { w <- prop.test(x, of, correct = FALSE)$conf.int; add(n, x / of, 1e-13, "share"); add(paste0(n, "_low"), w[1], 1e-11, "prop.test without continuity correction"); add(paste0(n, "_high"), w[2], 1e-11, "prop.test without continuity correction") }
called <- d$s100b > .22
rate("sensitivity", sum(called & d$poor), sum(d$poor)); rate("specificity", sum(!called & !d$poor), sum(!d$poor)); rate("positive_predictive_value", sum(called & d$poor), sum(called))
rate("coverage", sum(d$s100b >= .05 & d$s100b <= .5), nrow(d))
done()
