# Run in this folder: Rscript make.R
out <- data.frame()
add <- function(quantity, value, rel_tol, source, abs_tol = 0, made_by = paste("R", getRversion(), "(C)")) out <<- rbind(out, data.frame(quantity, value = sprintf("%.15g", value), abs_tol, rel_tol, source, made_by))
done <- function(...) { write.csv(out, "expected.csv", row.names = FALSE, quote = FALSE); writeLines(c(R.version.string, ...), "version.txt") }
save <- function(d) write.csv(d, "data.csv", row.names = FALSE, quote = FALSE)


d <- with(infert, data.frame(case = case, age = age, spontaneous = spontaneous, few_years = as.integer(education == "0-5yrs"), many_years = as.integer(education == "12+ yrs")))
save(d)
s <- "stats::anova.glm(test = 'Rao') on datasets::infert (Trichopoulos et al. 1976)"
m <- glm(case ~ age + spontaneous, binomial, d, control = list(epsilon = 1e-14, maxit = 50))
for (g in c("few_years", "many_years")) {
  with_g <- update(m, as.formula(paste(". ~ . +", g)))
  inside <- d[[g]] == 1
  add(paste0(g, "_observed"), sum(d$case[inside]), 1e-12, s)
  add(paste0(g, "_expected"), sum(fitted(m)[inside]), 1e-9, s)
  add(paste0(g, "_chi_square"), anova(m, with_g, test = "Rao")$Rao[2], 1e-7, s)
}
done()
