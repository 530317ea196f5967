# Fits an exported design with mgcv by full Laplace REML and writes what it found as JSON.
#
#   Rscript fit.R DIRECTORY OUT.json [POWER]
#
# Without POWER the Tweedie power is estimated with the smoothing parameters. Weights are in kilograms.

suppressPackageStartupMessages(library(mgcv))

arguments <- commandArgs(trailingOnly = TRUE)
directory <- arguments[1]
power <- if (length(arguments) > 2) as.numeric(arguments[3]) else NULL

doubles <- function(name) {
  path <- file.path(directory, name)
  readBin(path, "double", n = file.size(path) / 8, size = 8, endian = "little")
}

blocks <- read.csv(file.path(directory, "blocks.csv"), stringsAsFactors = FALSE)
club <- read.csv(file.path(directory, "club.csv"), stringsAsFactors = FALSE)
club <- setNames(as.list(club$value), club$key)
data <- list(kg = doubles("weight_kg.bin"), log_hours = doubles("log_hours.bin"))
columns <- matrix(doubles("columns.bin"), nrow = length(data$kg))
stopifnot(ncol(columns) == sum(blocks$size))
ends <- cumsum(blocks$size)
for (i in seq_len(nrow(blocks)))
  data[[blocks$name[i]]] <- columns[, (ends[i] - blocks$size[i] + 1):ends[i], drop = FALSE]

# One term a block, so that mgcv keeps each penalty at the size of its block. Symmetric: order is no matter.
values <- doubles("penalties.bin")
penalties <- list()
used <- 0
for (i in which(blocks$penalties > 0)) {
  size <- blocks$size[i]
  penalties[[blocks$name[i]]] <- lapply(seq_len(blocks$penalties[i]), function(j) {
    matrix(values[used + (j - 1) * size^2 + seq_len(size^2)], size)
  })
  used <- used + blocks$penalties[i] * size^2
}
stopifnot(used == length(values))

# Where to begin, if the export says so: it saves iterations, and the end is the same maximum.
start <- NULL
initial <- tw()
if (file.exists(file.path(directory, "start.csv"))) {
  near <- read.csv(file.path(directory, "start.csv"))
  precision <- exp(near$value[-(1:2)])
  start <- list(sp = precision * near$value[2], scale = near$value[2])
  # A negative power is where tw() begins, a positive one is kept.
  initial <- tw(theta = -near$value[1])
}

formula <- as.formula(paste("kg ~", paste(blocks$name, collapse = " + "), "- 1 + offset(log_hours)"))
tolerance <- 1e-9
control <- gam.control(newton = list(conv.tol = tolerance), epsilon = tolerance / 100)
seconds <- system.time(
  fit <- gam(formula, family = if (is.null(power)) initial else tw(theta = power), data = data,
             method = "REML", paraPen = penalties, control = control, in.out = start)
)[["elapsed"]]

chosen <- doubles("chosen.bin") + 1
rows <- lapply(data, function(value) if (is.matrix(value)) value[chosen, , drop = FALSE] else value[chosen])
conditional <- predict(fit, newdata = rows, se.fit = TRUE)
corrected <- predict(fit, newdata = rows, se.fit = TRUE, unconditional = TRUE)

smoothing <- blocks$name[rep(seq_len(nrow(blocks)), blocks$penalties)]
by_block <- function(value) {
  setNames(lapply(seq_len(nrow(blocks)), function(i) {
    unname(value[(ends[i] - blocks$size[i] + 1):ends[i]])
  }), blocks$name)
}

# sqrt(diag) of the inverse Hessian of the score: theta of the power, log sp, log scale, in that order.
hessian <- fit$outer.info$hess
attributes(hessian) <- list(dim = dim(hessian))

found <- list(
  club = list(rows = as.numeric(club$rows), seed = as.numeric(club$seed), used = as.numeric(club$used),
              column_sums = as.numeric(crossprod(columns, data$kg + data$log_hours)),
              penalty_squares = vapply(do.call(c, unname(penalties)), function(penalty) sum(penalty^2), 0)),
  versions = list(R = as.character(getRversion()), mgcv = as.character(packageVersion("mgcv"))),
  seconds = seconds,
  power_given = !is.null(power),
  start_given = !is.null(start),
  power = fit$family$getTheta(TRUE),
  scale_kg = fit$scale,
  reml_kg = as.numeric(fit$gcv.ubre),
  deviance_kg = fit$deviance,
  converged = fit$outer.info$conv,
  iterations = fit$outer.info$iter,
  largest_gradient = max(abs(fit$outer.info$grad)),
  penalty_blocks = smoothing,
  smoothing_parameters = as.numeric(fit$sp),
  log_precision = log(as.numeric(fit$sp) / fit$scale),
  gradient = as.numeric(fit$outer.info$grad),
  hessian = as.numeric(hessian),
  edf = lapply(by_block(fit$edf), sum),
  coefficients_kg = by_block(coef(fit)),
  eta_kg = as.numeric(conditional$fit),
  eta_se = as.numeric(conditional$se.fit),
  eta_se_corrected = as.numeric(corrected$se.fit)
)

json <- function(value) {
  if (is.list(value))
    return(paste0("{", paste0('"', names(value), '": ', vapply(value, json, ""), collapse = ", "), "}"))
  text <- if (is.character(value)) paste0('"', value, '"')
          else if (is.logical(value)) tolower(value)
          else ifelse(is.finite(value), sprintf("%.12g", value), "null")
  if (length(value) == 1) text else paste0("[", paste(text, collapse = ", "), "]")
}
lines <- paste0('  "', names(found), '": ', vapply(found, json, ""), collapse = ",\n")
writeLines(paste0("{\n", lines, "\n}"), arguments[2])

sd <- exp(-found$log_precision / 2)
cat(sprintf("power %.4f  scale %.4f  REML %.4f  gradient %.1e  %d iterations  %.0f s  %s\n", found$power,
            found$scale_kg, found$reml_kg, found$largest_gradient, found$iterations, seconds, found$converged))
cat(paste(sprintf("%-26s sd %9.4f  gradient %8.1e", smoothing, sd,
                  found$gradient[seq_along(sd) + is.null(power)]), collapse = "\n"), "\n")
