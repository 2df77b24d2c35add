# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

d <- data.frame(drug1 = sleep$extra[1:10], drug2 = sleep$extra[11:20])
save(d)
p <- t.test(d$drug2, d$drug1, paired = TRUE); w <- t.test(d$drug1, d$drug2); o <- t.test(d$drug1, conf.level = .9)
s <- "stats::t.test on datasets::sleep (Student 1908)"
add("change", p$estimate, 1e-13, s); add("change_se", p$stderr, 1e-12, s); add("change_low", p$conf.int[1], 1e-12, s); add("change_high", p$conf.int[2], 1e-12, s)
add("correlation", cor(d$drug1, d$drug2), 1e-12, "stats::cor"); add("baseline_sd", sd(d$drug1), 1e-13, "stats::sd")
add("welch_difference", w$estimate[1] - w$estimate[2], 1e-13, s); add("welch_df", w$parameter, 1e-12, s); add("welch_se", w$stderr, 1e-12, s); add("welch_low", w$conf.int[1], 1e-12, s); add("welch_high", w$conf.int[2], 1e-12, s)
add("mean_low_90", o$conf.int[1], 1e-12, s); add("mean_high_90", o$conf.int[2], 1e-12, s)
done()
