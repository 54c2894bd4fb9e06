# Refits three models of results.csv in R from the files alone, and prints both beside each other.
#
#     cd output && Rscript models/refit.R
#
# Needs the packages survival, geepack and lme4 (Debian: r-cran-survival, r-cran-geepack, r-cran-lme4). geepack estimates
# the correlation over N where we take N - p, so that its odds differ a little; the others agree.

suppressMessages({
  library(survival)
  library(geepack)
  library(lme4)
})

read <- function(file) read.csv(file, na.strings = "", colClasses = "character", check.names = FALSE)
beside <- function(one, other, key) cbind(one, other[match(one[[key]], other[[key]]), setdiff(names(other), names(one))])

sites <- beside(beside(read("clean/sites.csv"), read("derived/sites.csv"), "site_id"), read("clean/patients.csv"), "patient_id")
tables <- list(
  perforation.gee = sites,
  survival.cox = beside(read("derived/implants.csv"), sites, "site_id"),
  gain.mixed = subset(beside(read("derived/visits.csv"), sites, "site_id"), !is.na(gain_mm))
)
models <- read("models/formula.csv")
results <- read("results.csv")

# The sites used, levels in the order of the model with the reference first, numbers as numbers, patients together.
data_of <- function(model) {
  used <- read(file.path("models/used", paste0(model$model, ".csv")))
  data <- tables[[model$model]]
  data <- data[data$site_id %in% used$site_id[used$used == "true"], ]
  written <- if (is.na(model$levels)) character() else strsplit(model$levels, "; ", fixed = TRUE)[[1]]
  levels <- strsplit(sub("^[^:]*: ", "", written), " | ", fixed = TRUE)
  names(levels) <- sub(": .*$", "", written)
  for (name in names(levels)) data[[name]] <- factor(data[[name]], levels[[name]])
  other <- setdiff(names(data), c("site_id", "patient_id", names(levels)))
  data[other] <- lapply(data[other], function(x) if (all(x %in% c("true", "false", NA))) x == "true" else type.convert(x, as.is = TRUE))
  list(data = data[order(data$patient_id), ], levels = levels)
}

fit_of <- function(model, data) {
  formula <- as.formula(model$formula)
  if (model$model == "perforation.gee") {
    correlation <- if (grepl("exchangeable", model$family)) "exchangeable" else "independence"
    data$patient <- factor(data$patient_id)
    fit <- geeglm(formula, family = binomial, data = data, id = patient, corstr = correlation)
    return(list(estimate = coef(fit), std_error = summary(fit)$coefficients[["Std.err"]]))
  }
  if (model$model == "survival.cox") {
    fit <- coxph(formula, data = data, cluster = patient_id, ties = "efron")
    return(list(estimate = coef(fit), std_error = sqrt(diag(vcov(fit)))))
  }
  fit <- lmer(formula, data = data, REML = TRUE)
  list(estimate = fixef(fit), std_error = sqrt(diag(as.matrix(vcov(fit)))))
}

# `approachguided`, as R names it, is `approach[guided]` in results.csv.
terms_of <- function(names, levels) {
  for (column in names(levels)) {
    of_column <- match(names, paste0(column, levels[[column]]))
    names <- ifelse(is.na(of_column), names, paste0(column, "[", levels[[column]][of_column], "]"))
  }
  sub("(Intercept)", "(intercept)", names, fixed = TRUE)
}

found <- lapply(names(tables), function(name) {
  model <- models[models$model == name, ]
  if (nrow(read(file.path("models/covariance", paste0(name, ".csv")))) == 0) return(NULL) # no estimate to compare with
  taken <- data_of(model)
  fit <- fit_of(model, taken$data)
  terms <- terms_of(names(fit$estimate), taken$levels)
  ours <- results[results$analysis == name & results$subset == "all" & results$method == model$method, ]
  ours <- ours[match(terms, ours$term), ]
  data.frame(
    model = name, term = terms,
    estimate = as.numeric(ours$estimate), refit_estimate = unname(fit$estimate),
    std_error = as.numeric(ours$std_error), refit_std_error = unname(fit$std_error)
  )
})
options(digits = 15)
write.csv(do.call(rbind, found), stdout(), row.names = FALSE)
