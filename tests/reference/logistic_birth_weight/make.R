# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "MASS", packageVersion("MASS"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
# low birth weight as in MASS::birthwt; the model of Hosmer & Lemeshow 1989, table 2.2
d <- with(MASS::birthwt, data.frame(low, age, lwt, black = as.integer(race == 2), other = as.integer(race == 3), ftv))
write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
g <- glm(low ~ age + lwt + black + other + ftv, binomial, d, control = glm.control(epsilon = 1e-15, maxit = 100))
s <- summary(g)$coefficients
for (i in 1:6) { add(paste0("b", i), s[i, 1], 1e-10, "stats::glm on MASS::birthwt"); add(paste0("b", i, "_se"), s[i, 2], 1e-10, "stats::glm on MASS::birthwt") }
add("covariance_12", vcov(g)[1, 2], 1e-10, "stats::vcov"); add("deviance", deviance(g), 1e-12, "stats::deviance"); add("log_likelihood", as.numeric(logLik(g)), 1e-12, "stats::logLik")
add("chance_1", predict(g, type = "response")[[1]], 1e-10, "stats::predict of the first row")
source <- "Hosmer & Lemeshow 1989 table 2.2"
published <- c(1.2953, 1.0714, -.0238, .0337, -.0142, .00654, 1.0039, .4979, .4331, .3622, -.0493, .1672)
half <- c(6e-5, 6e-5, 6e-5, 6e-5, 6e-5, 6e-6, 6e-5, 6e-5, 6e-5, 6e-5, 6e-5, 6e-5)
half[1] <- 1.1e-4 # printed 1.2953 where 1.29537 is found
for (i in 1:6) { add(paste0("published_b", i), published[2 * i - 1], 0, source, half[2 * i - 1], "read in a transcription (V2)"); add(paste0("published_b", i, "_se"), published[2 * i], 0, source, half[2 * i], "read in a transcription (V2)") }
add("published_deviance", 222.573, 0, source, 6e-4, "read in a transcription (V2)")
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("MASS", packageVersion("MASS"))), "version.txt")
