# Shared by the scripts of this folder: collect rows, write them beside the script with R's and the packages' versions.
# Run a script in this folder: Rscript kaplan_meier.R
options(digits = 15, warn = 1, stringsAsFactors = FALSE)
ROWS <- list()
record <- function(key, quantity, value, se = NA, lower = NA, upper = NA) {
  n <- length(quantity)
  ROWS[[length(ROWS) + 1]] <<- data.frame(key = rep_len(key, n), quantity = as.character(quantity), value = as.numeric(value),
    se = rep_len(as.numeric(se), n), lower = rep_len(as.numeric(lower), n), upper = rep_len(as.numeric(upper), n))
}
full <- function(x) ifelse(is.na(x), "", formatC(x, digits = 15, format = "g"))
write_rows <- function(file, packages) {
  out <- do.call(rbind, ROWS)
  for (column in c("value", "se", "lower", "upper")) out[[column]] <- full(out[[column]])
  out$quantity <- paste0("\"", out$quantity, "\"")
  versions <- sapply(packages, function(p) paste(p, packageVersion(p)))
  con <- file(file, "w")
  writeLines(paste0("# ", R.version.string, ", ", paste(versions, collapse = ", "), "; made by ", sub("csv$", "R", file)), con)
  write.csv(out, con, row.names = FALSE, quote = FALSE)
  close(con)
}
series <- function() read.csv("sim_implants_A.csv", na.strings = "")
