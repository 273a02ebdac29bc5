#include "observation.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "run.h"

#define FIRST_NOISE 0.02 /* of a channel's range, until what is left over tells the noise */
#define STEP 2e-3        /* of a number's size: differences of runs must stand out of their noise */
#define FINE_TEXT 1e-9   /* of a channel's range: levels nearer together are one */

static const struct mapping *mapping_of(const struct observation *observation, int trace) {
  return &observation->mappings[observation->tests[observation->traces[trace].test].mapping];
}

static const double *measured_of(const struct observation *observation, int trace, int signal) {
  return observation->traces[trace].measured.values[signal];
}

/* ---- unknowns ---- */

void observation_add(struct observation *observation, const struct unknown *unknown, double size) {
  if (observation->unknown_count < ESTIMATE_UNKNOWNS) {
    int i = observation->unknown_count++;
    observation->unknowns[i] = *unknown;
    observation->sizes[i] = size;
    observation->lows[i] = unknown->low;
    observation->highs[i] = unknown->high;
  }
}

double *observation_slot(struct observation_state *state, const struct unknown *unknown) {
  switch (unknown->kind) {
  case UNKNOWN_PARAMETER:
    return &state->parameters[unknown->place];
  case UNKNOWN_SHIFT:
    return &state->shifts[unknown->place];
  case UNKNOWN_DRIFT:
    return &state->drifts[unknown->place];
  case UNKNOWN_SENSOR:
    break;
  }
  return &state->sensors[unknown->place][unknown->signal][unknown->term];
}

struct observation_state observation_state_of(const struct observation *observation, const double *values) {
  struct observation_state state = observation->known;
  for (int i = 0; i < observation->unknown_count; i++) {
    *observation_slot(&state, &observation->unknowns[i]) = values[i];
  }
  return state;
}

void observation_know(struct observation *observation) {
  for (int m = 0; m < observation->mapping_count; m++) {
    const struct mapping *mapping = &observation->mappings[m];
    observation->known.drifts[m] = mapping->drift.value;
    for (int s = 0; s < mapping->count; s++) {
      for (int term = 0; term < SENSOR_TERMS; term++) {
        observation->known.sensors[m][s][term] = mapping->signals[s].sensor.terms[term].value;
      }
    }
  }
}

/* Finest sample and length of the traces of a mapping. */
static void times_of(const struct observation *observation, int mapping, double *sample, double *whole) {
  *sample = HUGE_VAL;
  *whole = 0.0;
  for (int trace = 0; trace < observation->trace_count; trace++) {
    const struct measured *measured = &observation->traces[trace].measured;
    double own = measured->time[measured->count - 1] - measured->time[0];
    if (observation->tests[observation->traces[trace].test].mapping == mapping) {
      *sample = fmin(*sample, own / (measured->count - 1));
      *whole = fmax(*whole, own);
    }
  }
}

struct unknown observation_term(const struct observation *observation, int mapping, int signal, enum sensor_term term,
                                double *size) {
  const struct mapped *mapped = &observation->mappings[mapping].signals[signal];
  struct unknown unknown = {.kind = UNKNOWN_SENSOR,
                            .place = mapping,
                            .signal = signal,
                            .term = term,
                            .quantity = sensor_quantity(term, mapped->row.quantity)};
  double sample;
  double whole;
  double range = 0.0;
  times_of(observation, mapping, &sample, &whole);
  for (int n = 0; n < observation->noise_count; n++) {
    const struct observation_noise *noise = &observation->noises[n];
    range = noise->mapping == mapping && noise->signal == signal ? noise->range : range;
  }
  switch (term) {
  case SENSOR_GAIN:
    *size = 1.0;
    unknown.low = 0.2;
    unknown.high = 5.0;
    break;
  case SENSOR_OFFSET:
    *size = 0.1 * range;
    unknown.low = -range;
    unknown.high = range;
    break;
  case SENSOR_LAG:
  case SENSOR_DELAY:
    *size = sample;
    unknown.high = fmin(0.25 * whole, sensor_rows[term].most);
    unknown.low = term == SENSOR_LAG ? 0.0 : -unknown.high;
    break;
  case SENSOR_DRIFT:
    *size = 0.01;
    unknown.low = sensor_rows[term].least;
    unknown.high = sensor_rows[term].most;
    break;
  }
  (void)snprintf(unknown.name, sizeof unknown.name, "%s of %s", sensor_rows[term].name, mapped->row.name);
  return unknown;
}

struct unknown observation_drift(int mapping, double *size) {
  struct unknown unknown = {.kind = UNKNOWN_DRIFT,
                            .place = mapping,
                            .term = SENSOR_DRIFT,
                            .quantity = QUANTITY_FRACTION,
                            .low = sensor_rows[SENSOR_DRIFT].least,
                            .high = sensor_rows[SENSOR_DRIFT].most};
  *size = 0.01;
  (void)snprintf(unknown.name, sizeof unknown.name, "drift of the clock");
  return unknown;
}

/* Free in the mapping: within the bounds that it gives, from a little inside of them. */
static void add_free(struct observation *observation, const struct sensor_number *number, struct unknown *unknown,
                     double size) {
  if (!number->free) {
    return;
  }
  unknown->low = isnan(number->low) ? unknown->low : number->low;
  unknown->high = isnan(number->high) ? unknown->high : number->high;
  double begin = unknown->kind == UNKNOWN_SENSOR && unknown->term == SENSOR_LAG ? 0.5 * size : number->value;
  *observation_slot(&observation->known, unknown) = fmin(fmax(begin, unknown->low), unknown->high);
  observation_add(observation, unknown, size);
}

void observation_add_sensors(struct observation *observation) {
  double size;
  struct unknown unknown;
  for (int m = 0; m < observation->mapping_count; m++) {
    for (int s = 0; s < observation->mappings[m].count; s++) {
      for (int term = 0; term < SENSOR_TERMS; term++) {
        unknown = observation_term(observation, m, s, (enum sensor_term)term, &size);
        add_free(observation, &observation->mappings[m].signals[s].sensor.terms[term], &unknown, size);
      }
    }
    unknown = observation_drift(m, &size);
    add_free(observation, &observation->mappings[m].drift, &unknown, size);
  }
  for (int trace = 0; trace < observation->trace_count; trace++) {
    const struct observation_trace *own = &observation->traces[trace];
    if (own->shift_high > own->shift_low) {
      unknown = (struct unknown){.kind = UNKNOWN_SHIFT,
                                 .place = trace,
                                 .quantity = QUANTITY_TIME,
                                 .low = own->shift_low,
                                 .high = own->shift_high};
      (void)snprintf(unknown.name, sizeof unknown.name, "shift of trace %d", trace + 1);
      const struct measured *measured = &observation->traces[trace].measured;
      observation_add(observation, &unknown,
                      (measured->time[measured->count - 1] - measured->time[0]) / (measured->count - 1));
    }
  }
}

/* ---- the model ---- */

bool observation_run(struct observation *observation, int index, const double *parameters) {
  struct observation_test *test = &observation->tests[index];
  size_t bytes = (size_t)observation->parameter_count * sizeof(double);
  if (test->data == NULL || (test->ran && memcmp(test->parameters, parameters, bytes) == 0)) {
    return true;
  }
  struct outcome outcome = {0};
  struct error error = {0};
  for (int i = 0; i < observation->parameter_count; i++) {
    if (test->has[i]) {
      varied_parameter_write(test->data, &test->varied[i], parameters[i]);
    }
  }
  history_clear(&test->history);
  for (int s = 0; s < MAPPING_SIGNALS; s++) {
    test->lags[s] = NAN;
  }
  struct recorder recorder = {&test->history, history_block};
  bool good = run_in(test->workspace, test->data, &recorder, observation->watcher, &outcome, &error);
  observation->runs++;
  observation->interrupted = observation->interrupted || (good && outcome.status == RUN_INTERRUPTED);
  test->ran = good && outcome.status != RUN_FAILED && outcome.status != RUN_INTERRUPTED && test->history.count >= 4;
  memcpy(test->parameters, parameters, bytes);
  outcome_free(&outcome);
  return test->ran;
}

/* A signal's history behind its lag; NULL: no memory. */
static const double *behind_lag(struct observation_test *test, int signal, double lag) {
  const double *plain = test->history.values[test->columns[signal]];
  if (!(lag > 0.0)) {
    return plain;
  }
  if (test->room < test->history.count) {
    for (int s = 0; s < MAPPING_SIGNALS; s++) {
      free(test->lagged[s]);
      test->lagged[s] = NULL;
      test->lags[s] = NAN;
    }
    test->room = test->history.count;
  }
  if (test->lagged[signal] == NULL) {
    test->lagged[signal] = malloc((size_t)test->room * sizeof(double));
    test->lags[signal] = NAN;
  }
  if (test->lagged[signal] != NULL && test->lags[signal] != lag) {
    sensor_lag(test->history.time, plain, test->history.count, lag, test->lagged[signal]);
    test->lags[signal] = lag;
  }
  return test->lagged[signal];
}

static double run_time(const struct observation *observation, const struct observation_state *state, int trace,
                       int signal, double t) {
  int mapping = observation->tests[observation->traces[trace].test].mapping;
  double begin = observation->traces[trace].measured.time[0];
  double fast = 1.0 + state->drifts[mapping] + state->sensors[mapping][signal][SENSOR_DRIFT];
  return begin + (t - begin) / fast + state->shifts[trace];
}

double observation_run_time(const struct observation *observation, const struct observation_state *state,
                            const struct observation_channel *channel, long k) {
  return run_time(observation, state, channel->trace, channel->signal, observation->times[channel->first + k]);
}

static bool model_channel(struct observation *observation, const struct observation_state *state,
                          const struct observation_channel *channel, double *model) {
  struct observation_test *test = &observation->tests[observation->traces[channel->trace].test];
  const double *terms = state->sensors[test->mapping][channel->signal];
  const double *shown = behind_lag(test, channel->signal, terms[SENSOR_LAG]);
  if (shown == NULL) {
    return false;
  }
  for (long k = 0; k < channel->count; k++) {
    double t = observation_run_time(observation, state, channel, k) - terms[SENSOR_DELAY];
    model[channel->first + k] =
        terms[SENSOR_GAIN] * history_at(test->history.time, shown, test->history.count, t) + terms[SENSOR_OFFSET];
  }
  return true;
}

bool observation_model(struct observation *observation, const struct observation_state *state, double *model) {
  bool good = true;
  for (int test = 0; good && test < observation->test_count; test++) {
    good = observation_run(observation, test, state->parameters);
  }
  for (int c = 0; good && c < observation->channel_count; c++) {
    good = model_channel(observation, state, &observation->channels[c], model);
  }
  return good;
}

bool observation_show(struct observation *observation, int trace, int signal, double *shown) {
  const struct observation_state *state = &observation->known;
  const struct measured *measured = &observation->traces[trace].measured;
  struct observation_test *test = &observation->tests[observation->traces[trace].test];
  const double *terms = state->sensors[test->mapping][signal];
  const double *values = behind_lag(test, signal, terms[SENSOR_LAG]);
  for (int k = 0; values != NULL && k < measured->count; k++) {
    double t = run_time(observation, state, trace, signal, measured->time[k]) - terms[SENSOR_DELAY];
    shown[k] =
        terms[SENSOR_GAIN] * history_at(test->history.time, values, test->history.count, t) + terms[SENSOR_OFFSET];
  }
  return values != NULL;
}

bool observation_column(struct observation *observation, const struct observation_state *state,
                        const struct unknown *unknown, double size, double *column) {
  struct observation_state moved = *state;
  double *slot = observation_slot(&moved, unknown);
  double middle = *slot;
  double up = fmin(middle + STEP * size, unknown->high);
  double down = fmax(middle - STEP * size, unknown->low);
  *slot = up;
  bool good = observation_model(observation, &moved, column);
  *slot = down;
  good = good && observation_model(observation, &moved, observation->other);
  double apart = (up - down) / size;
  for (long k = 0; good && k < observation->count; k++) {
    column[k] = (column[k] - observation->other[k]) / apart;
  }
  return good && apart > 0.0;
}

/* ---- for the estimator ---- */

/* The residual whose square is the deviance, and what it gains with the deviation over the scale. */
static double residual_of(const struct observation *observation, const struct observation_noise *noise, double off,
                          double *gain) {
  struct loss_point point = loss_at(observation->loss, off / noise->scale, 0.5 * noise->quantum / noise->scale);
  double residual = copysign(sqrt(fmax(2.0 * point.cost, 0.0)), off);
  /* At no deviation the root of a parabola is straight. */
  *gain = fabs(residual) > 1e-6 ? fabs(point.score / residual) : sqrt(fmax(point.curve, 0.0));
  return residual;
}

static bool call_residuals(void *context, const double *values, double *residuals) {
  struct observation *observation = context;
  struct observation_state state = observation_state_of(observation, values);
  if (!observation_model(observation, &state, observation->model)) {
    return false;
  }
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    for (long k = channel->first; k < channel->first + channel->count; k++) {
      double gain;
      residuals[k] = residual_of(observation, &observation->noises[channel->noise],
                                 observation->model[k] - observation->values[k], &gain);
    }
  }
  return true;
}

static bool call_jacobian(void *context, const double *values, const bool *held, double *jacobian) {
  struct observation *observation = context;
  struct observation_state state = observation_state_of(observation, values);
  if (!observation_model(observation, &state, observation->model)) {
    return false;
  }
  double *middle = malloc((size_t)observation->count * sizeof *middle);
  bool good = middle != NULL;
  if (good) {
    memcpy(middle, observation->model, (size_t)observation->count * sizeof *middle);
  }
  for (int i = 0; good && i < observation->unknown_count; i++) {
    double *column = jacobian + (size_t)i * (size_t)observation->count;
    if (held[i]) {
      memset(column, 0, (size_t)observation->count * sizeof *column);
      continue;
    }
    good = observation_column(observation, &state, &observation->unknowns[i], observation->sizes[i], column);
    for (int c = 0; good && c < observation->channel_count; c++) {
      const struct observation_channel *channel = &observation->channels[c];
      const struct observation_noise *noise = &observation->noises[channel->noise];
      for (long k = channel->first; k < channel->first + channel->count; k++) {
        double gain;
        (void)residual_of(observation, noise, middle[k] - observation->values[k], &gain);
        column[k] *= gain / noise->scale;
      }
    }
  }
  free(middle);
  return good;
}

static bool call_stopped(void *context) {
  return ((const struct observation *)context)->interrupted;
}

struct estimate_model observation_estimate(struct observation *observation) {
  return (struct estimate_model){.context = observation,
                                 .unknowns = observation->unknown_count,
                                 .count = observation->count,
                                 .low = observation->lows,
                                 .high = observation->highs,
                                 .size = observation->sizes,
                                 .residuals = call_residuals,
                                 .jacobian = call_jacobian,
                                 .stopped = call_stopped};
}

/* ---- noise ---- */

double observation_rescale(struct observation *observation, const double *model) {
  double change = 0.0;
  double *off = observation->other;
  for (int n = 0; n < observation->noise_count; n++) {
    struct observation_noise *noise = &observation->noises[n];
    long count = 0;
    for (int c = 0; c < observation->channel_count; c++) {
      const struct observation_channel *channel = &observation->channels[c];
      for (long k = channel->first; channel->noise == n && k < channel->first + channel->count; k++) {
        off[count++] = model[k] - observation->values[k];
      }
    }
    double taken = (double)observation->unknown_count * (double)count / (double)observation->count;
    double worth;
    double scale = loss_scale(observation->loss, off, count, noise->quantum, taken, &worth);
    if (noise->given || !(scale > 0.0)) {
      continue;
    }
    change = fmax(change, fabs(scale / noise->scale - 1.0));
    noise->scale = scale;
    noise->worth = worth;
  }
  return change;
}

static double range_of(const struct observation *observation, int noise) {
  double low = INFINITY;
  double high = -INFINITY;
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    for (long k = channel->first; channel->noise == noise && k < channel->first + channel->count; k++) {
      low = fmin(low, observation->values[k]);
      high = fmax(high, observation->values[k]);
    }
  }
  return high > low ? high - low : fmax(fabs(high), 1.0);
}

/* ---- gathering ---- */

static int noise_of(struct observation *observation, int mapping, int signal) {
  int n = 0;
  while (n < observation->noise_count &&
         (observation->noises[n].mapping != mapping || observation->noises[n].signal != signal)) {
    n++;
  }
  if (n == observation->noise_count) {
    observation->noises[observation->noise_count++] =
        (struct observation_noise){.mapping = mapping, .signal = signal, .scale = 1.0, .worth = INFINITY};
  }
  return n;
}

static bool counts(const struct observation *observation, int trace, int signal, int k) {
  const struct mapping *mapping = mapping_of(observation, trace);
  const struct history *history = &observation->tests[observation->traces[trace].test].history;
  double t = run_time(observation, &observation->known, trace, signal, observation->traces[trace].measured.time[k]);
  bool within = history->count < 2 || (t >= history->time[0] && t <= history->time[history->count - 1]);
  return !isnan(measured_of(observation, trace, signal)[k]) && t >= mapping->from && t <= mapping->to && within;
}

static bool first_noise(struct observation *observation) {
  bool good = true;
  for (int n = 0; n < observation->noise_count; n++) {
    struct observation_noise *noise = &observation->noises[n];
    const struct mapped *mapped = &observation->mappings[noise->mapping].signals[noise->signal];
    double range = range_of(observation, n);
    noise->range = range;
    noise->given = !isnan(mapped->noise);
    noise->scale = noise->given ? mapped->noise : FIRST_NOISE * range;
    noise->quantum = mapped->sensor.quantum;
    for (int trace = 0; isnan(mapped->sensor.quantum) && trace < observation->trace_count; trace++) {
      double found = 0.0;
      if (observation->tests[observation->traces[trace].test].mapping == noise->mapping) {
        good = good && sensor_find_quantum(measured_of(observation, trace, noise->signal),
                                           observation->traces[trace].measured.count, FINE_TEXT * range, &found);
        noise->quantum = isnan(noise->quantum) ? found : fmin(noise->quantum, found);
      }
    }
    noise->quantum = isnan(noise->quantum) ? 0.0 : noise->quantum;
  }
  return good;
}

bool observation_gather(struct observation *observation, struct error *error) {
  long room = 0;
  int channels = 0;
  for (int trace = 0; trace < observation->trace_count; trace++) {
    int signals = mapping_of(observation, trace)->count;
    room += (long)signals * observation->traces[trace].measured.count;
    channels += signals;
  }
  size_t bytes = ((size_t)room + 1) * sizeof(double);
  observation->channels = calloc((size_t)channels + 1, sizeof *observation->channels);
  observation->times = malloc(bytes);
  observation->values = malloc(bytes);
  observation->model = malloc(bytes);
  observation->other = malloc(bytes);
  bool good = observation->channels != NULL && observation->times != NULL && observation->values != NULL &&
              observation->model != NULL && observation->other != NULL;
  for (int trace = 0; good && trace < observation->trace_count; trace++) {
    const struct observation_trace *own = &observation->traces[trace];
    int mapping = observation->tests[own->test].mapping;
    for (int s = 0; s < mapping_of(observation, trace)->count; s++) {
      struct observation_channel *channel = &observation->channels[observation->channel_count++];
      *channel = (struct observation_channel){trace, s, noise_of(observation, mapping, s), observation->count, 0};
      for (int k = 0; k < own->measured.count; k++) {
        if (counts(observation, trace, s, k)) {
          observation->times[observation->count] = own->measured.time[k];
          observation->values[observation->count++] = own->measured.values[s][k];
          channel->count++;
        }
      }
    }
  }
  if (!good || !first_noise(observation)) {
    return error_set(error, ERROR_MEMORY, "no memory for the traces");
  }
  return true;
}

void observation_free(struct observation *observation) {
  for (int i = 0; i < observation->test_count; i++) {
    struct observation_test *test = &observation->tests[i];
    for (int s = 0; s < MAPPING_SIGNALS; s++) {
      free(test->lagged[s]);
    }
    history_free(&test->history);
    run_workspace_free(test->workspace);
    if (test->data != NULL) {
      case_free(test->data);
      free(test->data);
    }
  }
  for (int i = 0; i < observation->trace_count; i++) {
    measured_free(&observation->traces[i].measured);
  }
  free(observation->channels);
  free(observation->times);
  free(observation->values);
  free(observation->model);
  free(observation->other);
}
