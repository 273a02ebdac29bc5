#include "fitting.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "comparison.h"
#include "registry.h"
#include "units.h"

/* Differences of runs must stand out of their noise: runs at a tight tolerance. */
#define TIGHT 1e-8
#define TIGHT_PRESSURE 1.0 /* Pa */
#define USUAL_LOW 0.2      /* bounds that nobody gave: of the number in the case */
#define USUAL_HIGH 5.0
#define LARGEST_SAMPLES 2e5 /* of a run */
#define DOUBT 3e-4          /* of a signal's range, rms: what a run read between its samples may be off by */

enum { HALVINGS = 5, WORDS = 512, PARTS = FIT_TRACES + 2 };

/* ---- parameters ---- */

static bool usual_bounds(struct fit_parameter *parameter, struct error *error) {
  const struct varied_parameter *varied = &parameter->varied;
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

/* "relief.lag=1 ms..20 ms", in the first case that has it. */
static bool read_parameter(struct fit *fit, const char *text, struct fit_parameter *parameter, struct error *error) {
  struct observation *observation = &fit->observation;
  const char *equals = strchr(text, '=');
  int length = equals != NULL ? (int)(equals - text) : (int)strlen(text);
  int place = (int)(parameter - fit->parameters);
  bool found = false;
  (void)snprintf(parameter->path, sizeof parameter->path, "%.*s", length < 255 ? length : 255, text);
  for (int test = 0; test < observation->test_count; test++) {
    struct observation_test *own = &observation->tests[test];
    struct error inner = {0};
    own->has[place] =
        varied_parameter_find(own->data, parameter->path, &own->varied[place], test == 0 ? error : &inner);
    if (own->has[place] && !found) {
      parameter->varied = own->varied[place];
      found = true;
    }
  }
  if (!found) {
    return false;
  }
  struct varied_parameter *varied = &parameter->varied;
  varied->path = parameter->path;
  if (equals == NULL) {
    return usual_bounds(parameter, error);
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

/* What counts as large for a parameter of this value: the value itself, where a share of it means something. */
static double parameter_size(const struct varied_parameter *varied, double value) {
  bool fixed = varied->value == 0.0 || varied->ref.quantity == QUANTITY_TEMPERATURE ||
               varied->ref.kind == REF_ARGUMENT || varied->ref.kind == REF_WHEN;
  return fixed ? varied->size : fmax(fabs(value), 1e-3 * varied->size);
}

/* ---- tests, traces, mappings ---- */

/* The mapping of this file, read once. -1: the error is filled. */
static int take_mapping(struct observation *observation, const char *path, struct error *error) {
  for (int m = 0; m < observation->mapping_count; m++) {
    if (strcmp(observation->mappings[m].file, path) == 0) {
      return m;
    }
  }
  if (!mapping_read(path, &observation->mappings[observation->mapping_count], error)) {
    return -1;
  }
  return observation->mapping_count++;
}

static bool take_trace(struct observation *observation, int test, const char *path, struct error *error) {
  if (observation->trace_count == FIT_TRACES) {
    return error_set(error, ERROR_USAGE, "more than %d traces", FIT_TRACES);
  }
  struct observation_trace *own = &observation->traces[observation->trace_count];
  own->test = test;
  (void)snprintf(own->file, sizeof own->file, "%s", path);
  const struct mapping *mapping = &observation->mappings[observation->tests[test].mapping];
  bool good = measured_read(mapping, path, &own->measured, error);
  observation->trace_count += good;
  return good;
}

/* A copy of a case as the next test. */
static struct observation_test *take_test(struct observation *observation, const struct case_data *data, int mapping,
                                          struct error *error) {
  struct observation_test *test = &observation->tests[observation->test_count];
  struct case_data *copy = calloc(1, sizeof *copy);
  test->mapping = mapping;
  if (copy == NULL || !case_copy(data, copy, error)) {
    free(copy);
    return NULL;
  }
  test->data = copy;
  observation->test_count++;
  test->workspace = run_workspace_new(copy->plant, false, error);
  for (int s = 0; s < MAPPING_SIGNALS; s++) {
    test->lags[s] = NAN;
  }
  return test->workspace != NULL ? test : NULL;
}

/* "CASE,TRACE...,MAPPING"; without a mapping that of the first test. */
static bool take_further(struct observation *observation, const struct fit_options *options, const char *text,
                         struct error *error) {
  char words[WORDS];
  char *parts[PARTS];
  int count = 0;
  if (strlen(text) >= sizeof words) {
    return error_set(error, ERROR_USAGE, "--test '%.40s...' is too long", text);
  }
  (void)snprintf(words, sizeof words, "%s", text);
  char *rest = words;
  while (count < PARTS && rest != NULL) {
    char *comma = strchr(rest, ',');
    if (comma != NULL) {
      *comma = '\0';
    }
    parts[count++] = rest;
    rest = comma != NULL ? comma + 1 : NULL;
  }
  const char *ending = strrchr(parts[count - 1], '.');
  bool own = count > 1 && ending != NULL && (strcmp(ending, ".yaml") == 0 || strcmp(ending, ".yml") == 0);
  int last = own ? count - 1 : count;
  if (rest != NULL || last < 2) {
    return error_set(error, ERROR_USAGE,
                     "--test '%s': expected CASE.yaml,TRACE.csv... and, if it has its own, MAPPING.yaml", text);
  }
  if (observation->test_count == FIT_TESTS) {
    return error_set(error, ERROR_USAGE, "more than %d tests", FIT_TESTS);
  }
  struct case_data data;
  int mapping = take_mapping(observation, own ? parts[count - 1] : options->mapping, error);
  if (mapping < 0 || !case_load(parts[0], options->sets, options->set_count, &data, error)) {
    return false;
  }
  int test = observation->test_count;
  bool good = take_test(observation, &data, mapping, error) != NULL;
  for (int i = 1; good && i < last; i++) {
    good = take_trace(observation, test, parts[i], error);
  }
  case_free(&data);
  return good;
}

static bool read_options(const struct case_data *data, const struct fit_options *options, struct fit *fit,
                         struct error *error) {
  struct observation *observation = &fit->observation;
  if (options->parameter_count > FIT_PARAMETERS) {
    return error_set(error, ERROR_USAGE, "--parameters: found %d, expected 1 to %d", options->parameter_count,
                     FIT_PARAMETERS);
  }
  if (take_mapping(observation, options->mapping, error) < 0 || take_test(observation, data, 0, error) == NULL) {
    return false;
  }
  for (int i = 0; i < options->trace_count; i++) {
    if (!take_trace(observation, 0, options->traces[i], error)) {
      return false;
    }
  }
  for (int i = 0; i < options->test_count; i++) {
    if (!take_further(observation, options, options->tests[i], error)) {
      return false;
    }
  }
  for (int i = 0; i < options->parameter_count; i++) {
    if (!read_parameter(fit, options->parameters[i], &fit->parameters[i], error)) {
      return false;
    }
    fit->parameter_count++;
  }
  observation->parameter_count = fit->parameter_count;
  return true;
}

static bool want_signals(struct observation *observation, struct error *error) {
  for (int i = 0; i < observation->test_count; i++) {
    struct observation_test *test = &observation->tests[i];
    const struct mapping *mapping = &observation->mappings[test->mapping];
    const struct plant *plant = test->data->plant;
    for (int s = 0; s < mapping->count; s++) {
      const struct mapped *mapped = &mapping->signals[s];
      int signal = registry_signal(plant, mapped->row.name);
      if (signal < 0 || !plant->signal_active(test->data->parameters, signal)) {
        return error_at(error, mapping->file, mapped->line, 0, "this circuit with its laws has no signal '%s'",
                        mapped->row.name);
      }
      if (!history_want(&test->history, signal, &test->columns[s], error)) {
        return false;
      }
    }
  }
  return true;
}

/* ---- the first runs ---- */

static double sample_of(const struct measured *measured) {
  return (measured->time[measured->count - 1] - measured->time[0]) / (measured->count - 1);
}

/* What a test's run, read at the instants of its traces, may be off by, over each signal's range; the largest. */
static double doubt_of(const struct observation *observation, int test) {
  const struct observation_test *own = &observation->tests[test];
  const struct history *history = &own->history;
  double worst = 0.0;
  for (int s = 0; s < observation->mappings[own->mapping].count; s++) {
    const double *values = history->values[own->columns[s]];
    double low = INFINITY;
    double high = -INFINITY;
    double squares = 0.0;
    for (int k = 0; k < history->count; k++) {
      low = fmin(low, values[k]);
      high = fmax(high, values[k]);
    }
    for (int k = 0; k + 1 < history->count; k++) { /* half way between samples */
      double doubt =
          history_doubt(history->time, values, history->count, 0.5 * (history->time[k] + history->time[k + 1]), NAN);
      squares += doubt * doubt;
    }
    worst = high > low ? fmax(worst, sqrt(squares / history->count) / (high - low)) : worst;
  }
  return worst;
}

/* Runs fine enough: a tenth of the finest trace, then halved until what lies between samples is no error of the fit. */
static bool first_run(struct observation *observation, int test, struct error *error) {
  struct observation_test *own = &observation->tests[test];
  struct simulation_parameters *simulation = &own->data->simulation;
  simulation->relative_tolerance = fmin(simulation->relative_tolerance, TIGHT);
  simulation->pressure_tolerance = fmin(simulation->pressure_tolerance, TIGHT_PRESSURE);
  double finest = simulation->end_time / LARGEST_SAMPLES;
  for (int trace = 0; trace < observation->trace_count; trace++) {
    if (observation->traces[trace].test == test) {
      double sample = sample_of(&observation->traces[trace].measured);
      simulation->output_step = fmin(simulation->output_step, fmax(0.1 * sample, finest));
    }
  }
  for (int i = 0; i < HALVINGS; i++) {
    own->ran = false;
    if (!observation_run(observation, test, observation->known.parameters)) {
      return observation->interrupted
                 ? error_set(error, ERROR_RUN, "interrupted")
                 : error_set(error, ERROR_RUN, "%s: the run of the case as it is failed", own->data->source);
    }
    if (simulation->output_step <= 2.0 * finest || doubt_of(observation, test) < DOUBT) {
      break;
    }
    simulation->output_step *= 0.5;
  }
  return true;
}

/* Where a trace's clock stands, with the case as it is, and within what it is sought. */
static bool first_shift(struct observation *observation, int trace, struct error *error) {
  struct observation_trace *own = &observation->traces[trace];
  const struct observation_test *test = &observation->tests[own->test];
  const struct mapping *mapping = &observation->mappings[test->mapping];
  struct curve curves[MAPPING_SIGNALS];
  for (int s = 0; s < mapping->count; s++) {
    curves[s] = (struct curve){test->history.count, test->history.time, test->history.values[test->columns[s]], NAN};
  }
  double correlation;
  double *shift = &observation->known.shifts[trace];
  if (!comparison_clock(mapping, &own->measured, curves, shift, &correlation)) {
    return error_set(error, ERROR_INPUT, "%s and the run have less than half of the trace in common at every shift",
                     own->file);
  }
  double largest = mapping->largest_shift;
  bool beside = fabs(*shift) > largest; /* a clock of its own: it is sought about where it was found */
  double reach = fmax(largest, beside ? 2.0 * sample_of(&own->measured) : 0.0);
  own->shift_low = (beside ? *shift : 0.0) - reach;
  own->shift_high = (beside ? *shift : 0.0) + reach;
  return true;
}

/* ---- unknowns ---- */

static void add_parameters(struct fit *fit) {
  for (int i = 0; i < fit->parameter_count; i++) {
    const struct fit_parameter *parameter = &fit->parameters[i];
    struct unknown unknown = {.kind = UNKNOWN_PARAMETER,
                              .place = i,
                              .quantity = parameter->varied.ref.quantity,
                              .low = parameter->low,
                              .high = parameter->high};
    (void)snprintf(unknown.name, sizeof unknown.name, "%.*s", (int)sizeof unknown.name - 1, parameter->path);
    observation_add(&fit->observation, &unknown, parameter_size(&parameter->varied, parameter->varied.value));
  }
}

static bool solve(struct fit *fit, int starts, struct error *error) {
  struct observation *observation = &fit->observation;
  struct estimate_point point;
  struct estimate_model model = observation_estimate(observation);
  bool good = estimate_point_new(&model, &point) || error_set(error, ERROR_MEMORY, "out of memory for the fit");
  for (int i = 0; good && i < observation->unknown_count; i++) {
    point.values[i] = *observation_slot(&observation->known, &observation->unknowns[i]);
    point.values[i] = fmin(fmax(point.values[i], observation->lows[i]), observation->highs[i]);
  }
  good = good && fit_search(fit, starts, &point, error);
  if (good) { /* from here on in units of what was found */
    for (int i = 0; i < fit->parameter_count; i++) {
      observation->sizes[i] = parameter_size(&fit->parameters[i].varied, point.values[i]);
    }
    good = estimate_descend(&model, &point, NULL, false, 1e-3) ||
           error_set(error, ERROR_RUN, "the run with what was found failed");
  }
  good = good && fit_know(fit, &point, error);
  estimate_point_free(&point);
  return good;
}

/* What the traces would show at all their instants, and what of them is no noise. */
static bool keep_models(struct fit *fit, struct error *error) {
  struct observation *observation = &fit->observation;
  double values[ESTIMATE_UNKNOWNS] = {0.0};
  for (int i = 0; i < fit->number_count; i++) {
    values[i] = fit->numbers[i].value;
  }
  struct observation_state state = observation_state_of(observation, values);
  observation->known = state;
  if (!observation_model(observation, &state, observation->model)) {
    return error_set(error, ERROR_RUN, "the run with what was found failed");
  }
  fit->outlier_count =
      diagnosis_outliers(observation, observation->model, fit->outliers, FIT_OUTLIERS, &fit->outlier_limit);
  for (int trace = 0; trace < observation->trace_count; trace++) {
    const struct observation_trace *own = &observation->traces[trace];
    int signals = observation->mappings[observation->tests[own->test].mapping].count;
    for (int s = 0; s < signals; s++) {
      fit->models[trace][s] = malloc(((size_t)own->measured.count + 1) * sizeof(double));
      if (fit->models[trace][s] == NULL || !observation_show(observation, trace, s, fit->models[trace][s])) {
        return error_set(error, ERROR_MEMORY, "out of memory for the fit");
      }
    }
  }
  return true;
}

bool fit_find(struct case_data *data, const struct fit_options *options, const struct watcher *watcher, struct fit *fit,
              struct error *error) {
  memset(fit, 0, sizeof *fit);
  struct observation *observation = &fit->observation;
  observation->watcher = watcher;
  observation->loss = options->loss;
  if (!read_options(data, options, fit, error) || !want_signals(observation, error)) {
    return false;
  }
  observation_know(observation);
  for (int i = 0; i < fit->parameter_count; i++) {
    observation->known.parameters[i] = fit->parameters[i].varied.value;
  }
  for (int test = 0; test < observation->test_count; test++) {
    if (!first_run(observation, test, error)) {
      return false;
    }
  }
  for (int trace = 0; trace < observation->trace_count; trace++) {
    if (!first_shift(observation, trace, error)) {
      return false;
    }
  }
  if (!observation_gather(observation, error)) {
    return false;
  }
  add_parameters(fit);
  observation_add_sensors(observation);
  if (observation->unknown_count == 0) {
    return error_set(error, ERROR_USAGE,
                     "nothing to find: name a number with --parameters, or free one of the mapping");
  }
  if (observation->count <= 2L * observation->unknown_count) {
    return error_set(error, ERROR_INPUT, "the traces have %ld numbers for %d unknowns: too few", observation->count,
                     observation->unknown_count);
  }
  return solve(fit, options->starts, error) && keep_models(fit, error);
}

double fit_shift(const struct fit *fit, int trace) {
  return fit->observation.known.shifts[trace];
}

void fit_free(struct fit *fit) {
  observation_free(&fit->observation);
  for (int trace = 0; trace < FIT_TRACES; trace++) {
    for (int s = 0; s < MAPPING_SIGNALS; s++) {
      free(fit->models[trace][s]);
    }
  }
}
