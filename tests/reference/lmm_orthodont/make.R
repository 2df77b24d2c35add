# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)

library(nlme)
d <- data.frame(subject = as.integer(factor(as.character(Orthodont$Subject))), age = Orthodont$age, female = as.integer(Orthodont$Sex == "Female"), distance = Orthodont$distance)
save(d)
s <- paste("nlme::lme", packageVersion("nlme"), "on nlme::Orthodont (Pinheiro & Bates 2000)")
tight <- lmeControl(maxIter = 500, msMaxIter = 500, tolerance = 1e-10, msTol = 1e-12, niterEM = 100, opt = "nlminb")
for (method in c("REML", "ML")) {
  m <- lme(distance ~ age * female, d, random = ~ age | subject, method = method, control = tight)
  k <- tolower(method); g <- getVarCov(m)
  add(paste0(k, "_log_likelihood"), logLik(m), 1e-10, s)
  # lme's standard errors for ML carry sqrt(n / (n - p)) already; vcov() does not
  for (j in 1:4) { add(sprintf("%s_b%d", k, j), fixef(m)[j], 1e-7, s); add(sprintf("%s_b%d_se", k, j), sqrt(m$varFix[j, j]), 1e-4, s) }
  add(paste0(k, "_intercept_sd"), sqrt(g[1, 1]), 1e-3, s); add(paste0(k, "_slope_sd"), sqrt(g[2, 2]), 1e-3, s)
  add(paste0(k, "_covariance"), g[1, 2], 2e-3, s); add(paste0(k, "_sigma"), m$sigma, 1e-4, s)
}
done(paste("nlme", packageVersion("nlme")))
