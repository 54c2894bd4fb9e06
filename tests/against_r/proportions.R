# Clopper-Pearson and Wilson limits.
source("record.R")
for (x in list(c(0, 40), c(3, 100), c(7, 112), c(16, 232), c(1, 12))) {
  name <- paste0(x[1], "/", x[2])
  exact <- binom.test(x[1], x[2])$conf.int
  wilson <- suppressWarnings(prop.test(x[1], x[2], correct = FALSE))$conf.int
  record("exact", name, x[1] / x[2], lower = exact[1], upper = exact[2])
  record("wilson", name, x[1] / x[2], lower = wilson[1], upper = wilson[2])
}
write_rows("proportions.csv", "stats")
