# One fit of the course in benches/mixed_models.rs by lme4. Arguments: a CSV (subject, t, y), then the knots as times.
# Prints: seconds of lmer alone, REML criterion, version.
suppressPackageStartupMessages(library(lme4))
arguments <- commandArgs(TRUE)
d <- read.csv(arguments[1])
d$subject <- factor(d$subject)
x <- log1p(d$t); k <- log1p(as.numeric(arguments[-1])); cube <- function(u) pmax(u, 0)^3
part <- function(j) (cube(x - k[j]) - cube(x - k[3])) / (k[3] - k[j])
d$b1 <- x; d$b2 <- (part(1) - part(2)) / (k[3] - k[1])^2
# without the derivative checks after the fit, which cost lme4 more passes: its fastest
took <- system.time(m <- lmer(y ~ b1 + b2 + (b1 + b2 | subject), d, control = lmerControl(calc.derivs = FALSE)))
cat(sprintf("%.3f %.9f %s\n", took[["elapsed"]], REMLcrit(m), packageVersion("lme4")))
