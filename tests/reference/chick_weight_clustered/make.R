# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by = paste("R", getRversion(), "(C)")))
done <- function() { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(R.version.string, "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

library(sandwich)
d <- subset(as.data.frame(ChickWeight), Diet == 1); d <- data.frame(chick = as.integer(as.character(d$Chick)), weight = d$weight)
save(d)
m <- lm(weight ~ 1, d); se <- sqrt(vcovCL(m, cluster = d$chick, type = "HC0", cadjust = TRUE)[1, 1]); g <- length(unique(d$chick))
s <- paste("sandwich::vcovCL", packageVersion("sandwich"), "on datasets::ChickWeight diet 1")
add("mean", coef(m), 1e-13, s); add("standard_error", se, 1e-12, s); add("groups", g, 1e-13, s)
add("low", coef(m) - qt(.975, g - 1) * se, 1e-12, s); add("high", coef(m) + qt(.975, g - 1) * se, 1e-12, s); add("design_effect", se^2 / vcov(m)[1, 1], 1e-12, s)
done()
