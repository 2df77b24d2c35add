# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "MASS", packageVersion("MASS"), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
# age at menarche of girls in Warsaw, Milicer & Szczotka 1966 (Hum Biol 38:199-203), as in MASS::menarche
d <- with(MASS::menarche, data.frame(age = Age, total = Total, menarche = Menarche))
write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
g <- glm(cbind(menarche, total - menarche) ~ age, binomial, d, control = glm.control(epsilon = 1e-15, maxit = 100))
s <- summary(g)$coefficients
for (i in 1:2) { add(paste0("b", i), s[i, 1], 1e-10, "stats::glm on MASS::menarche"); add(paste0("b", i, "_se"), s[i, 2], 1e-10, "stats::glm on MASS::menarche") }
add("deviance", deviance(g), 1e-11, "stats::deviance"); add("log_likelihood", as.numeric(logLik(g)), 1e-11, "stats::logLik")
write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, paste("MASS", packageVersion("MASS"))), "version.txt")
