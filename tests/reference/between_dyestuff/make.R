# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)
library(lme4)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = .2, rhoend = 1e-9, maxfun = 1e5), calc.derivs = FALSE)

d <- data.frame(batch = as.integer(Dyestuff$Batch), yield = Dyestuff$Yield)
save(d)
s <- paste("lme4::lmer", packageVersion("lme4"), "on lme4::Dyestuff (Davies & Goldsmith 1972)")
m <- lmer(yield ~ 1 + (1 | batch), d, control = tight)
add("average", fixef(m), 1e-11, s)
add("sd", sqrt(VarCorr(m)[[1]][1, 1]), 1e-5, s)
add("residual_sd", sigma(m), 1e-5, s)
u <- ranef(m, condVar = TRUE)$batch
for (i in 1:6) { add(sprintf("effect_%d", i), u[i, 1], 1e-5, s); add(sprintf("effect_%d_sd", i), sqrt(attr(u, "postVar")[1, 1, i]), 1e-5, s) }
done(paste("lme4", packageVersion("lme4")))
