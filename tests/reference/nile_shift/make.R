# Run in this folder: Rscript make.R. The Nile at Aswan, 1871-1970 (R datasets; Cobb 1978), cut by strucchange.
library(strucchange)
write.csv(data.frame(year = 1871:1970, flow = as.numeric(Nile)), "data.csv", row.names = FALSE, quote = FALSE)
b <- breakpoints(Nile ~ 1, h = 10, breaks = 4)
s <- summary(b)$RSS
source <- paste("strucchange::breakpoints", packageVersion("strucchange"), "on datasets::Nile; h = 10")
rows <- c("quantity,value,abs_tol,rel_tol,source,made_by",
  sprintf("bic_%d,%.17g,0,1e-10,%s,R (C)", 0:4, s["BIC", ], source),
  sprintf("rss_1,%.17g,0,1e-10,%s,R (C)", s["RSS", 2], source),
  sprintf("last_year_before,1898,0,0,Cobb 1978 Biometrika 65:243-51,from memory (M); agrees with strucchange (C)"))
for (k in 1:4) for (j in seq_len(k)) rows <- c(rows, sprintf("last_before_%d_%d,%d,0,0,%s,R (C)", k, j, breakpoints(b, breaks = k)$breakpoints[j], source))
stopifnot(breakpoints(b, breaks = 1)$breakpoints == 28)
m <- tapply(as.numeric(Nile), 1:100 > 28, mean)
rows <- c(rows, sprintf("mean_%d,%.17g,0,1e-12,mean,R (C)", 1:2, m))
writeLines(rows, "expected.csv")
writeLines(c(R.version.string, paste("strucchange", packageVersion("strucchange"))), "version.txt")
