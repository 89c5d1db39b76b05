# Reference values for analyze/reliability. Made with
#   Rscript reliability.R > reliability.txt
# R 4.2.2 with package survival 3.5-3. Each line: a name and numbers.
library(survival)
say <- function(name, ...) cat(name, sprintf("%.15g", c(...)), "\n")
sets <- list(
  # NIST/SEMATECH e-Handbook 8.4.1.3: 10 failures, 10 stopped at 500 h.
  nist = data.frame(t = c(54, 187, 216, 240, 244, 335, 361, 373, 375, 386, rep(500, 10)), d = rep(1:0, each = 10)),
  # Ball bearings (Lieblein and Zelen 1956), million revolutions, all failed.
  bearings = data.frame(t = c(17.88, 28.92, 33, 41.52, 42.12, 45.6, 48.48, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64,
                              68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4), d = 1),
  # Diesel generator fans, hours; survival's own data.
  genfan = data.frame(t = genfan$hours, d = genfan$status),
  # Two failures among eight: invented.
  few = data.frame(t = c(90000, 150000, rep(200000, 6)), d = c(1, 1, rep(0, 6))))
for (name in names(sets)) {
  x <- sets[[name]]
  put <- function(what, ...) say(paste0(name, ".", what), ...)
  put("cycles", x$t); put("failed", x$d)
  f <- survreg(Surv(t, d) ~ 1, x, control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
  v <- vcov(f)
  put("scale.shape.loglik", exp(coef(f)), 1 / f$scale, f$loglik[1])
  put("covariance", v[1, 1], v[2, 2], -v[1, 2]) # of ln scale and ln shape = -ln(1/shape)
  e <- survreg(Surv(t, d) ~ 1, x, dist = "exponential")
  put("exponential.mean.p", exp(coef(e)), pchisq(2 * (f$loglik[1] - e$loglik[1]), 1, lower.tail = FALSE))
  b <- predict(f, newdata = data.frame(1), type = "uquantile", p = 0.1, se.fit = TRUE)
  put("b10.fisher", exp(b$fit[1] + c(0, -1, 1) * qnorm(0.95) * b$se.fit[1])) # two-sided 90 %
  # Likelihood-ratio bounds, two-sided 90 %: the best log-likelihood with one figure held.
  ll <- function(shape, scale) sum(ifelse(x$d == 1, dweibull(x$t, shape, scale, log = TRUE),
                                          pweibull(x$t, shape, scale, lower.tail = FALSE, log.p = TRUE)))
  top <- f$loglik[1] - qchisq(0.9, 1) / 2
  best <- function(g, a, b) optimize(g, c(a, b), maximum = TRUE, tol = 1e-10)$objective
  s <- 1 / f$scale; m <- coef(f)
  held <- list(
    shape = function(z) best(function(u) ll(exp(z), exp(u)), m - 5, m + 12),
    scale = function(z) best(function(k) ll(exp(k), exp(z)), log(s) - 3, log(s) + 3),
    b10 = function(z) best(function(k) ll(exp(k), exp(z) / (-log(0.9))^(1 / exp(k))), log(s) - 3, log(s) + 3))
  at <- c(shape = log(s), scale = unname(m), b10 = unname(b$fit[1]))
  for (h in names(held)) {
    g <- function(z) held[[h]](z) - top
    put(paste0(h, ".likelihood"), exp(c(uniroot(g, c(at[h] - 3, at[h]), tol = 1e-11)$root,
                                        uniroot(g, c(at[h], at[h] + 6), tol = 1e-11)$root)))
  }
}
for (c in list(c(1, 10), c(5, 100), c(682, 925), c(3, 100000), c(12, 1000000), c(999, 1000)))
  for (conf in c(0.9, 0.95))
    say("clopper", c, conf, binom.test(c[1], c[2], conf.level = conf)$conf.int,
        binom.test(c[1], c[2], conf.level = conf, alternative = "less")$conf.int[2])
for (r in c(1, 4, 20, 300)) for (conf in c(0.6, 0.95))
  say("exponential", r, conf, 2 / qchisq((1 + conf) / 2, 2 * r + 2), 2 / qchisq((1 - conf) / 2, 2 * r), 2 / qchisq(conf, 2 * r + 2))
for (n in c(1, 10, 37)) say(paste0("ranks.", n), qbeta(0.5, 1:n, n - 1:n + 1))
for (c in list(c(0.9, 0.9, 1), c(0.95, 0.95, 2), c(0.99, 0.9, 5), c(0.5, 0.6, 0), c(0.999, 0.95, 1)))
  say("size", c, which(pbinom(c[3], 1:20000, 1 - c[1]) <= 1 - c[2] + 1e-13)[1])
