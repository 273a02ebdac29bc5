#include "fitting.h"

#include <cminpack.h>
#include <lapacke.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "comparison.h"
#include "history.h"
#include "registry.h"
#include "units.h"

#define FIRST_NOISE 0.01 /* of a signal's range, until what is left over tells the noise */
/* Differences of runs must stand out of their noise: runs at a tight tolerance, steps of some per mille. */
#define TIGHT 1e-8
#define TIGHT_PRESSURE 1.0 /* Pa */
#define DIFFERENCE 1e-5    /* square of the relative step of the library's own differences */
#define JACOBIAN_STEP 2e-3 /* of a number's size */
#define UNDETERMINED 0.5   /* a 95 % interval wider than this share of the number, either way, is no knowledge */
#define PART 0.3           /* of a unit vector: the number takes part in the direction */
#define TOGETHER 0.98      /* correlation from which two numbers are one to the traces */
#define NEAR_BOUND 1e-3    /* of the range */
#define USUAL_LOW 0.2      /* bounds that nobody gave: of the number in the case */
#define USUAL_HIGH 5.0
#define LARGEST_SAMPLES 2e5 /* of a run */
#define PENALTY 1e4         /* residual of a run that fails */

struct problem {
  struct case_data *data; /* a copy of the case, written to */
  struct run_workspace *workspace;
  const struct watcher *watcher;
  struct fit *fit;
  struct history history;
  int columns[MAPPING_SIGNALS];
  int unknowns;
  double weights[MAPPING_SIGNALS]; /* one over the noise */
  bool interrupted;
};

/* ---- unknowns: each lives in its bounds by a sine ---- */

static double bounded(double low, double high, double u) {
  return low + 0.5 * (high - low) * (1.0 + sin(u));
}

static double unbounded(double low, double high, double value) {
  double share = 2.0 * (value - low) / (high - low) - 1.0;
  return asin(fmin(fmax(share, -0.98), 0.98)); /* at a bound the sine has no slope: begin a little inside */
}

static void bounds_of(const struct fit *fit, int i, double *low, double *high) {
  *low = i < fit->parameter_count ? fit->parameters[i].low : -fit->mapping.largest_shift;
  *high = i < fit->parameter_count ? fit->parameters[i].high : fit->mapping.largest_shift;
}

static void to_values(const struct problem *problem, const double *u, double *values) {
  for (int i = 0; i < problem->unknowns; i++) {
    double low;
    double high;
    bounds_of(problem->fit, i, &low, &high);
    values[i] = bounded(low, high, u[i]);
  }
}

/* What counts as large for an unknown that has this value: the value itself, where a share of it means something. */
static double size_of(const struct fit *fit, int i, double value) {
  if (i >= fit->parameter_count) {
    return fit->mapping.largest_shift;
  }
  const struct varied_parameter *varied = &fit->parameters[i].varied;
  bool fixed = varied->value == 0.0 || varied->ref.quantity == QUANTITY_TEMPERATURE ||
               varied->ref.kind == REF_ARGUMENT || varied->ref.kind == REF_WHEN;
  return fixed ? varied->size : fmax(fabs(value), 1e-3 * varied->size);
}

/* ---- residuals ---- */

static bool counts(const struct fit *fit, int trace, int signal, int k) {
  double t = fit->measured[trace].time[k];
  return !isnan(fit->measured[trace].values[signal][k]) && t >= fit->mapping.from && t <= fit->mapping.to;
}

static long count_residuals(const struct fit *fit) {
  long count = 0;
  for (int trace = 0; trace < fit->trace_count; trace++) {
    for (int s = 0; s < fit->mapping.count; s++) {
      for (int k = 0; k < fit->measured[trace].count; k++) {
        count += counts(fit, trace, s, k);
      }
    }
  }
  return count;
}

/* The histories at these values of the unknowns. */
static bool run_at(struct problem *problem, const double *values) {
  struct outcome outcome = {0};
  struct error error = {0};
  for (int i = 0; i < problem->fit->parameter_count; i++) {
    varied_parameter_write(problem->data, &problem->fit->parameters[i].varied, values[i]);
  }
  history_clear(&problem->history);
  struct recorder recorder = {&problem->history, history_block};
  bool good = run_in(problem->workspace, problem->data, &recorder, problem->watcher, &outcome, &error);
  problem->fit->runs++;
  problem->interrupted = problem->interrupted || (good && outcome.status == RUN_INTERRUPTED);
  good = good && outcome.status != RUN_FAILED && problem->history.count >= 4;
  outcome_free(&outcome);
  return good;
}

static double shift_of(const struct problem *problem, const double *values, int trace) {
  return problem->fit->shifts_fitted ? values[problem->fit->parameter_count + trace] : problem->fit->shifts[trace];
}

static double model_at(const struct problem *problem, const double *values, int trace, int signal, int k) {
  double t = problem->fit->measured[trace].time[k] + shift_of(problem, values, trace);
  return history_at(problem->history.time, problem->history.values[problem->columns[signal]], problem->history.count,
                    t);
}

static void residuals_at(struct problem *problem, const double *values, double *residuals) {
  const struct fit *fit = problem->fit;
  bool good = run_at(problem, values);
  long place = 0;
  for (int trace = 0; trace < fit->trace_count; trace++) {
    for (int s = 0; s < fit->mapping.count; s++) {
      for (int k = 0; k < fit->measured[trace].count; k++) {
        if (counts(fit, trace, s, k)) {
          residuals[place++] =
              good ? problem->weights[s] * (model_at(problem, values, trace, s, k) - fit->measured[trace].values[s][k])
                   : PENALTY;
        }
      }
    }
  }
}

/* What the library calls. */
static int call_residuals(void *context, int count, int unknowns, const double *u, double *residuals, int flag) {
  struct problem *problem = context;
  double values[FIT_UNKNOWNS] = {0.0};
  (void)count;
  (void)unknowns;
  (void)flag;
  to_values(problem, u, values);
  residuals_at(problem, values, residuals);
  return problem->interrupted ? -1 : 0;
}

static double sum_of_squares(const double *values, long count) {
  double sum = 0.0;
  for (long i = 0; i < count; i++) {
    sum += values[i] * values[i];
  }
  return sum;
}

/* ---- the search ---- */

struct work {
  double *residuals;
  double *jacobian; /* column by column */
  double *scratch;
};

/* From `u` downhill; returns the sum of squares. */
static double descend(struct problem *problem, struct work *work, double *u) {
  int n = problem->unknowns;
  int m = (int)problem->fit->residual_count;
  int pivots[FIT_UNKNOWNS];
  double diagonal[FIT_UNKNOWNS];
  double qtf[FIT_UNKNOWNS];
  double wa1[FIT_UNKNOWNS];
  double wa2[FIT_UNKNOWNS];
  double wa3[FIT_UNKNOWNS];
  int calls = 0;
  int flag = lmdif(call_residuals, problem, m, n, u, work->residuals, 1e-10, 1e-8, 0.0, 100 * (n + 1), DIFFERENCE,
                   diagonal, 1, 1.0, 0, &calls, work->jacobian, m, pivots, qtf, wa1, wa2, wa3, work->scratch);
  problem->fit->converged = (flag >= 1 && flag <= 4) || (flag >= 6 && flag <= 8);
  return sum_of_squares(work->residuals, m);
}

/* Standard deviation of what is left of each signal, and its correlation from sample to sample. */
static void find_noise(struct problem *problem, const double *values, double *noise, double *memory) {
  const struct fit *fit = problem->fit;
  *memory = 0.0;
  run_at(problem, values);
  for (int s = 0; s < fit->mapping.count; s++) {
    double squares = 0.0;
    double products = 0.0;
    long count = 0;
    for (int trace = 0; trace < fit->trace_count; trace++) {
      double before = NAN;
      for (int k = 0; k < fit->measured[trace].count; k++) {
        if (!counts(fit, trace, s, k)) {
          before = NAN;
          continue;
        }
        double left = model_at(problem, values, trace, s, k) - fit->measured[trace].values[s][k];
        squares += left * left;
        products += isnan(before) ? 0.0 : left * before;
        before = left;
        count++;
      }
    }
    double share = (double)count / (double)fit->residual_count;
    double freedom = fmax((double)count - share * problem->unknowns, 1.0);
    noise[s] = sqrt(squares / freedom);
    double correlation = squares > 0.0 ? products / squares : 0.0;
    *memory = correlation > 2.0 / sqrt((double)count) ? fmax(*memory, correlation) : *memory;
  }
}

static void first_weights(struct problem *problem) {
  const struct fit *fit = problem->fit;
  for (int s = 0; s < fit->mapping.count; s++) {
    double low = INFINITY;
    double high = -INFINITY;
    for (int trace = 0; trace < fit->trace_count; trace++) {
      for (int k = 0; k < fit->measured[trace].count; k++) {
        if (counts(fit, trace, s, k)) {
          low = fmin(low, fit->measured[trace].values[s][k]);
          high = fmax(high, fit->measured[trace].values[s][k]);
        }
      }
    }
    double given = fit->mapping.signals[s].noise;
    double range = high > low ? high - low : 1.0;
    problem->weights[s] = 1.0 / (isnan(given) ? FIRST_NOISE * range : given);
  }
}

/* Evenly in (-1.2, 1.2), the same every time. */
static double place_of(int start, int i) {
  double share = fmod(0.5 + 0.6180339887498949 * (start * 7 + i * 3 + 1) + 0.7548776662466927 * start * (i + 1), 1.0);
  return 2.4 * share - 1.2;
}

static void search(struct problem *problem, struct work *work, int starts, double *values) {
  struct fit *fit = problem->fit;
  double best_u[FIT_UNKNOWNS] = {0.0};
  double best = INFINITY;
  bool best_converged = false;
  for (int start = 0; start <= starts && !problem->interrupted; start++) {
    double u[FIT_UNKNOWNS];
    for (int i = 0; i < problem->unknowns; i++) {
      double low;
      double high;
      bounds_of(fit, i, &low, &high);
      double begin = i < fit->parameter_count ? fit->parameters[i].varied.value : fit->shifts[i - fit->parameter_count];
      u[i] = start == 0 || i >= fit->parameter_count ? unbounded(low, high, begin) : place_of(start, i);
    }
    double squares = descend(problem, work, u);
    if (squares < best) {
      best = squares;
      best_converged = fit->converged;
      memcpy(best_u, u, sizeof best_u);
    }
  }
  /* Again with the noise that is left as the weight of each signal. */
  bool known = true;
  for (int s = 0; s < fit->mapping.count; s++) {
    known = known && !isnan(fit->mapping.signals[s].noise);
  }
  to_values(problem, best_u, values);
  fit->converged = best_converged;
  if (!known && !problem->interrupted) {
    find_noise(problem, values, fit->noise, &fit->memory);
    for (int s = 0; s < fit->mapping.count; s++) {
      double given = fit->mapping.signals[s].noise;
      problem->weights[s] = 1.0 / fmax(isnan(given) ? fit->noise[s] : given, 1e-300);
    }
    (void)descend(problem, work, best_u);
    to_values(problem, best_u, values);
  }
}

/* ---- what the traces can tell ---- */

/* Column i of the Jacobian: residuals over the unknown in units of its size. */
static void differentiate(struct problem *problem, struct work *work, const double *values, int i, double *column) {
  double moved[FIT_UNKNOWNS] = {0.0};
  long m = problem->fit->residual_count;
  double low;
  double high;
  bounds_of(problem->fit, i, &low, &high);
  double step = JACOBIAN_STEP * size_of(problem->fit, i, values[i]);
  memcpy(moved, values, sizeof moved);
  moved[i] = fmin(values[i] + step, high);
  double up = moved[i];
  residuals_at(problem, moved, column);
  moved[i] = fmax(values[i] - step, low);
  double apart = (up - moved[i]) / size_of(problem->fit, i, values[i]);
  residuals_at(problem, moved, work->scratch);
  for (long k = 0; k < m; k++) {
    column[k] = (column[k] - work->scratch[k]) / apart;
  }
}

/* Quantile of Student's distribution for 95 % (both sides), by its expansion about the normal one. */
static double student(double freedom) {
  const double z = 1.959963984540054;
  double z3 = z * z * z;
  double z5 = z3 * z * z;
  return z + (z3 + z) / (4.0 * freedom) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * freedom * freedom);
}

static bool decompose(struct problem *problem, struct work *work, double *singular, double *rows) {
  int n = problem->unknowns;
  int m = (int)problem->fit->residual_count;
  double super[FIT_UNKNOWNS];
  double left[1];
  return LAPACKE_dgesvd(LAPACK_COL_MAJOR, 'N', 'S', m, n, work->jacobian, m, singular, left, m, rows, n, super) == 0;
}

static void refuse(struct fit_parameter *parameter, const char *why) {
  if (parameter->identified) {
    parameter->identified = false;
    (void)snprintf(parameter->why, sizeof parameter->why, "%s", why);
  }
}

/* Too wide an interval, with the numbers that it goes together with. */
static void refuse_wide(struct fit *fit, int i) {
  char names[120];
  char why[200];
  size_t used = 0;
  names[0] = '\0';
  for (int k = 0; k < fit->parameter_count; k++) {
    if (k != i && fabs(fit->correlation[i][k]) > TOGETHER && used < sizeof names) {
      used +=
          (size_t)snprintf(names + used, sizeof names - used, "%s%s", used > 0 ? ", " : "", fit->parameters[k].path);
    }
  }
  (void)snprintf(why, sizeof why,
                 names[0] != '\0' ? "the traces cannot tell it from %s"
                                  : "the traces say next to nothing of it%s: its interval is wider than half of it",
                 names);
  refuse(&fit->parameters[i], why);
}

static void judge(struct fit *fit) {
  for (int i = 0; i < fit->parameter_count; i++) {
    struct fit_parameter *parameter = &fit->parameters[i];
    double range = parameter->high - parameter->low;
    parameter->identified = true;
    parameter->at_bound = parameter->value - parameter->low < NEAR_BOUND * range ||
                          parameter->high - parameter->value < NEAR_BOUND * range;
    if (!fit->converged) {
      refuse(parameter, "the search did not come to an end");
    }
    for (int d = 0; d < fit->direction_count; d++) {
      const struct fit_direction *direction = &fit->directions[d];
      if (direction->undetermined && fabs(direction->parts[i]) > PART) {
        refuse_wide(fit, i);
      }
    }
    if (parameter->at_bound) {
      refuse(parameter, "it ran to its bound: the traces want it beyond, or do not hold it");
    }
    double half = parameter->to - parameter->value;
    if (!(half <= UNDETERMINED * size_of(fit, i, parameter->value))) {
      refuse_wide(fit, i);
    }
  }
}

static bool find_knowledge(struct problem *problem, struct work *work, const double *values, struct error *error) {
  struct fit *fit = problem->fit;
  int n = problem->unknowns;
  long m = fit->residual_count;
  double singular[FIT_UNKNOWNS] = {0.0};
  double rows[FIT_UNKNOWNS * FIT_UNKNOWNS] = {0.0};
  double covariance[FIT_UNKNOWNS][FIT_UNKNOWNS] = {{0}};
  find_noise(problem, values, fit->noise, &fit->memory);
  residuals_at(problem, values, work->residuals);
  double freedom = fmax((double)(m - n), 1.0);
  /* Errors that remember their neighbours are worth fewer samples. */
  double scale = sum_of_squares(work->residuals, m) / freedom * (1.0 + fit->memory) / (1.0 - fmin(fit->memory, 0.99));
  for (int i = 0; i < n; i++) {
    differentiate(problem, work, values, i, work->jacobian + (size_t)i * (size_t)m);
  }
  if (!decompose(problem, work, singular, rows)) {
    return error_set(error, ERROR_RUN, "the singular values of the fit could not be found");
  }
  fit->direction_count = n;
  fit->condition = singular[0] / fmax(singular[n - 1], 1e-300);
  for (int d = 0; d < n; d++) {
    double deviation = sqrt(scale) / fmax(singular[d], 1e-12 * fmax(singular[0], 1e-300));
    fit->directions[d].deviation = deviation;
    fit->directions[d].undetermined = student(freedom) * deviation > UNDETERMINED;
    for (int i = 0; i < fit->parameter_count; i++) {
      fit->directions[d].parts[i] = rows[d + i * n];
    }
    for (int i = 0; i < n; i++) {
      for (int k = 0; k < n; k++) {
        covariance[i][k] += deviation * deviation * rows[d + i * n] * rows[d + k * n];
      }
    }
  }
  for (int i = 0; i < fit->parameter_count; i++) {
    struct fit_parameter *parameter = &fit->parameters[i];
    parameter->value = values[i];
    parameter->deviation = sqrt(covariance[i][i]) * size_of(fit, i, values[i]);
    parameter->from = parameter->value - student(freedom) * parameter->deviation;
    parameter->to = parameter->value + student(freedom) * parameter->deviation;
    for (int k = 0; k < fit->parameter_count; k++) {
      fit->correlation[i][k] = covariance[i][k] / sqrt(covariance[i][i] * covariance[k][k]);
    }
  }
  for (int trace = 0; trace < fit->trace_count; trace++) {
    fit->shifts[trace] = shift_of(problem, values, trace);
  }
  judge(fit);
  return true;
}

static bool keep_models(struct problem *problem, const double *values, struct error *error) {
  struct fit *fit = problem->fit;
  if (!run_at(problem, values)) {
    return error_set(error, ERROR_RUN, "the run with what was found failed");
  }
  for (int trace = 0; trace < fit->trace_count; trace++) {
    for (int s = 0; s < fit->mapping.count; s++) {
      int count = fit->measured[trace].count;
      fit->models[trace][s] = malloc(((size_t)count + 1) * sizeof(double));
      if (fit->models[trace][s] == NULL) {
        return error_set(error, ERROR_MEMORY, "out of memory for the fit");
      }
      for (int k = 0; k < count; k++) {
        fit->models[trace][s][k] = model_at(problem, values, trace, s, k);
      }
    }
  }
  return true;
}

/* ---- getting ready ---- */

/* "relief.lag=1 ms..20 ms" */
static bool read_parameter(const struct case_data *data, const char *text, struct fit_parameter *parameter,
                           struct error *error) {
  const char *equals = strchr(text, '=');
  int length = equals != NULL ? (int)(equals - text) : (int)strlen(text);
  (void)snprintf(parameter->path, sizeof parameter->path, "%.*s", length < 255 ? length : 255, text);
  struct varied_parameter *varied = &parameter->varied;
  if (!varied_parameter_find(data, parameter->path, varied, error)) {
    return false;
  }
  if (equals == NULL) {
    double one = USUAL_LOW * varied->value;
    double other = USUAL_HIGH * varied->value;
    if (varied->value == 0.0) {
      return error_set(error, ERROR_USAGE, "%s is zero in the case: give its bounds, %s=LOW..HIGH", parameter->path,
                       parameter->path);
    }
    if (varied->ref.quantity == QUANTITY_TEMPERATURE || varied->ref.kind == REF_ARGUMENT) {
      one = varied->value - 5.0 * varied->change;
      other = varied->value + 5.0 * varied->change;
    }
    parameter->low = fmax(fmin(one, other), varied->ref.low);
    parameter->high = fmin(fmax(one, other), varied->ref.high);
    return true;
  }
  const char *dots = strstr(equals, "..");
  struct error inner = {0};
  char low[96];
  if (dots == NULL || dots - equals - 1 >= (long)sizeof low) {
    return error_set(error, ERROR_USAGE, "'%s': expected PATH=LOW..HIGH, as in relief.lag=\"1 ms..20 ms\"", text);
  }
  (void)snprintf(low, sizeof low, "%.*s", (int)(dots - equals - 1), equals + 1);
  if (!units_read(varied->ref.quantity, low, &parameter->low, &inner) ||
      !units_read(varied->ref.quantity, dots + 2, &parameter->high, &inner)) {
    return error_set(error, ERROR_USAGE, "'%s': %s", text, inner.text);
  }
  if (!(parameter->low < parameter->high) || parameter->low < varied->ref.low || parameter->high > varied->ref.high) {
    char from[64];
    char to[64];
    return error_set(error, ERROR_USAGE, "'%s': the bounds must rise and lie within %s to %s", text,
                     units_show(varied->ref.quantity, varied->ref.low, from, sizeof from),
                     units_show(varied->ref.quantity, varied->ref.high, to, sizeof to));
  }
  return true;
}

static bool read_traces(const struct fit_options *options, struct fit *fit, struct error *error) {
  for (int i = 0; i < options->trace_count; i++) {
    if (!measured_read(&fit->mapping, options->traces[i], &fit->measured[i], error)) {
      return false;
    }
    fit->trace_count++;
  }
  return true;
}

static bool read_options(const struct case_data *data, const struct fit_options *options, struct fit *fit,
                         struct error *error) {
  if (options->parameter_count < 1 || options->parameter_count > FIT_PARAMETERS) {
    return error_set(error, ERROR_USAGE, "--parameters: found %d, expected 1 to %d", options->parameter_count,
                     FIT_PARAMETERS);
  }
  if (options->trace_count < 1 || options->trace_count > FIT_TRACES) {
    return error_set(error, ERROR_USAGE, "found %d traces, expected 1 to %d", options->trace_count, FIT_TRACES);
  }
  for (int i = 0; i < options->parameter_count; i++) {
    if (!read_parameter(data, options->parameters[i], &fit->parameters[i], error)) {
      return false;
    }
    fit->parameters[i].varied.path = fit->parameters[i].path;
  }
  fit->parameter_count = options->parameter_count;
  if (!mapping_read(options->mapping, &fit->mapping, error) || !read_traces(options, fit, error)) {
    return false;
  }
  fit->shifts_fitted = fit->mapping.largest_shift > 0.0;
  fit->residual_count = count_residuals(fit);
  int unknowns = fit->parameter_count + (fit->shifts_fitted ? fit->trace_count : 0);
  return fit->residual_count > 2L * unknowns ||
         error_set(error, ERROR_INPUT, "the traces have %ld numbers for %d unknowns: too few", fit->residual_count,
                   unknowns);
}

static bool want_signals(struct problem *problem, struct error *error) {
  const struct plant *plant = problem->data->plant;
  for (int s = 0; s < problem->fit->mapping.count; s++) {
    const struct mapped *mapped = &problem->fit->mapping.signals[s];
    int signal = registry_signal(plant, mapped->row.name);
    if (signal < 0 || !plant->signal_active(problem->data->parameters, signal)) {
      return error_at(error, problem->fit->mapping.file, mapped->line, 0,
                      "this circuit with its laws has no signal '%s'", mapped->row.name);
    }
    if (!history_want(&problem->history, signal, &problem->columns[s], error)) {
      return false;
    }
  }
  return true;
}

/* Output a tenth of the finest trace: the run has kinks between samples, and what is laid between its own samples must
 * not be an error of the fit. Tolerances: see above. */
static void set_output(const struct fit *fit, struct case_data *data) {
  data->simulation.relative_tolerance = fmin(data->simulation.relative_tolerance, TIGHT);
  data->simulation.pressure_tolerance = fmin(data->simulation.pressure_tolerance, TIGHT_PRESSURE);
  for (int trace = 0; trace < fit->trace_count; trace++) {
    const struct measured *measured = &fit->measured[trace];
    double sample = (measured->time[measured->count - 1] - measured->time[0]) / (measured->count - 1);
    double finest = data->simulation.end_time / LARGEST_SAMPLES;
    data->simulation.output_step = fmin(data->simulation.output_step, fmax(0.1 * sample, finest));
  }
}

/* Where the clocks stand, with the case as it is. */
static void first_shifts(struct problem *problem) {
  struct fit *fit = problem->fit;
  double values[FIT_UNKNOWNS] = {0.0};
  for (int i = 0; i < fit->parameter_count; i++) {
    values[i] = fit->parameters[i].varied.value;
  }
  if (!fit->shifts_fitted || !run_at(problem, values)) {
    return;
  }
  struct curve curves[MAPPING_SIGNALS];
  for (int s = 0; s < fit->mapping.count; s++) {
    curves[s] = (struct curve){problem->history.count, problem->history.time,
                               problem->history.values[problem->columns[s]], NAN};
  }
  for (int trace = 0; trace < fit->trace_count; trace++) {
    double correlation;
    (void)comparison_shift(&fit->measured[trace], curves, fit->mapping.count, fit->mapping.largest_shift,
                           &fit->shifts[trace], &correlation);
  }
}

static bool solve(struct problem *problem, int starts, struct error *error) {
  size_t m = (size_t)problem->fit->residual_count;
  size_t n = (size_t)problem->unknowns;
  double values[FIT_UNKNOWNS] = {0.0};
  struct work work = {calloc(m, sizeof(double)), calloc(m * n, sizeof(double)), calloc(m, sizeof(double))};
  bool good = work.residuals != NULL && work.jacobian != NULL && work.scratch != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "out of memory for the fit");
  } else {
    first_shifts(problem);
    first_weights(problem);
    search(problem, &work, starts, values);
    good =
        !problem->interrupted && find_knowledge(problem, &work, values, error) && keep_models(problem, values, error);
    if (problem->interrupted) {
      error_set(error, ERROR_RUN, "interrupted");
    }
  }
  free(work.residuals);
  free(work.jacobian);
  free(work.scratch);
  return good;
}

bool fit_find(struct case_data *data, const struct fit_options *options, const struct watcher *watcher, struct fit *fit,
              struct error *error) {
  memset(fit, 0, sizeof *fit);
  if (!read_options(data, options, fit, error)) {
    return false;
  }
  set_output(fit, data);
  struct case_data copy;
  if (!case_copy(data, &copy, error)) {
    return false;
  }
  struct problem problem = {.data = &copy, .watcher = watcher, .fit = fit};
  problem.unknowns = fit->parameter_count + (fit->shifts_fitted ? fit->trace_count : 0);
  problem.workspace = run_workspace_new(data->plant, false, error);
  bool good = problem.workspace != NULL && want_signals(&problem, error) && solve(&problem, options->starts, error);
  history_free(&problem.history);
  run_workspace_free(problem.workspace);
  case_free(&copy);
  return good;
}

void fit_free(struct fit *fit) {
  for (int trace = 0; trace < fit->trace_count; trace++) {
    measured_free(&fit->measured[trace]);
    for (int s = 0; s < MAPPING_SIGNALS; s++) {
      free(fit->models[trace][s]);
    }
  }
}
