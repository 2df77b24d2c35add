# Fits the recovery curve with nlme to the file named, prints seconds, estimates and version. Called by recovery_curve.rs.
suppressPackageStartupMessages(library(nlme))
d <- read.csv(commandArgs(TRUE)[1])
curve <- deriv(~ p + (b - p) * exp(-t * exp(-lt)), c("b", "p", "lt"), function(b, p, lt, t) NULL)
seconds <- system.time(m <- nlme(y ~ curve(b, p, lt, t), d, fixed = b + p + lt ~ 1, random = b + p + lt ~ 1 | subject, start = c(6.5, 2.5, 2.9),
  control = nlmeControl(maxIter = 200)))[["elapsed"]]
G <- as.numeric(pdMatrix(m$modelStruct$reStruct)[[1]]) * m$sigma^2
cat(sprintf("%.17g", c(seconds, fixef(m), G, m$sigma, as.numeric(logLik(m)))), sep = "\n")
cat("\n", R.version.string, ", nlme ", as.character(packageVersion("nlme")), "\n", sep = "")
