# Reference values for the tests of drift and step. Made with
#   Rscript reference.R > reference-r.txt
# R 4.2.2 with its own data sets Nile (flow at Aswan 1871-1970) and LakeHuron (level
# 1875-1972). Kendall's test with continuity correction is cor.test; Pettitt's statistic
# comes from wilcox.test at every split, since 2W - t(n-t) is his U(t).
say <- function(name, ...) cat(name, sprintf("%.17g", c(...)), "\n")
for (set in c("Nile", "LakeHuron")) {
  y <- as.numeric(get(set)); n <- length(y); x <- seq_len(n)
  say(paste0(set, ".values"), y)
  suppressWarnings(k <- cor.test(x, y, method = "kendall", exact = FALSE, continuity = TRUE))
  say(paste0(set, ".kendall.p"), k$p.value)
  slopes <- unlist(lapply(1:(n - 1), function(i) (y[(i + 1):n] - y[i]) / (x[(i + 1):n] - x[i])))
  say(paste0(set, ".sen"), median(slopes))
  u <- sapply(1:(n - 1), function(t) {
    suppressWarnings(w <- wilcox.test(y[1:t], y[(t + 1):n], exact = FALSE)$statistic)
    2 * w - t * (n - t)
  })
  say(paste0(set, ".pettitt.k.after"), max(abs(u)), which.max(abs(u)))
}
# At most k rows of m failures among n cycles: the hypergeometric distribution.
for (c in list(c(100000, 5, 4), c(100, 20, 12), c(1000, 300, 190), c(50, 10, 10))) {
  say("rows", c, phyper(c[3], c[1] - c[2] + 1, c[2] - 1, c[2]))
}
