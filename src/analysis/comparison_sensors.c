/* The sensors of a comparison: those that the mapping gives or frees are laid between run and trace; what of the others
 * stands out is told in words. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "comparison.h"

#define WORTH 1e-3 /* fall of the deviance that is not worth a step */

enum { LOOKED_AT = 20000, ROUNDS = 6 };

/* Every so many instants of the trace, so that a long one is looked at in no time. */
static bool copy_trace(const struct comparison *comparison, struct measured *copy) {
  const struct measured *measured = &comparison->measured;
  int stride = measured->count * comparison->mapping.count / LOOKED_AT + 1;
  memset(copy, 0, sizeof *copy);
  size_t bytes = ((size_t)measured->count / (size_t)stride + 2) * sizeof(double);
  copy->time = malloc(bytes);
  bool good = copy->time != NULL;
  for (int s = 0; s < comparison->mapping.count; s++) {
    copy->values[s] = malloc(bytes);
    good = good && copy->values[s] != NULL;
  }
  for (int k = 0; good && k < measured->count; k += stride) {
    copy->time[copy->count] = measured->time[k];
    for (int s = 0; s < comparison->mapping.count; s++) {
      copy->values[s][copy->count] = measured->values[s][k];
    }
    copy->count++;
  }
  return good;
}

/* The run of the file as the history of the one test. */
static bool copy_run(const struct comparison *comparison, struct history *history) {
  size_t bytes = (size_t)comparison->run_count * sizeof(double);
  history->count = history->capacity = comparison->run_count;
  history->time = malloc(bytes);
  bool good = history->time != NULL;
  if (good) {
    memcpy(history->time, comparison->run_time, bytes);
  }
  for (int s = 0; good && s < comparison->mapping.count; s++) {
    history->values[s] = malloc(bytes);
    good = history->values[s] != NULL;
    if (good) {
      memcpy(history->values[s], comparison->run_values[s], bytes);
    }
  }
  return good;
}

static bool set_up(const struct comparison *comparison, struct observation *observation, struct error *error) {
  memset(observation, 0, sizeof *observation);
  observation->mappings[0] = comparison->mapping;
  observation->mapping_count = observation->test_count = observation->trace_count = 1;
  struct observation_test *test = &observation->tests[0];
  struct observation_trace *trace = &observation->traces[0];
  for (int s = 0; s < comparison->mapping.count; s++) {
    test->columns[s] = s;
    test->lags[s] = NAN;
  }
  test->ran = true;
  double sought = comparison->mapping.largest_shift;
  trace->shift_low = comparison->shift - sought;
  trace->shift_high = comparison->shift + sought;
  observation_know(observation);
  observation->known.shifts[0] = comparison->shift;
  if (!copy_run(comparison, &test->history) || !copy_trace(comparison, &trace->measured)) {
    return error_set(error, ERROR_MEMORY, "no memory for the comparison");
  }
  return observation_gather(observation, error);
}

/* Downhill over what is free, with the errors that are left. */
static bool settle(struct observation *observation, struct estimate_point *point) {
  struct estimate_model model = observation_estimate(observation);
  bool good = estimate_descend(&model, point, NULL, false, WORTH);
  for (int i = 0; good && i < ROUNDS; i++) {
    struct observation_state state = observation_state_of(observation, point->values);
    good = observation_model(observation, &state, observation->model);
    double change = good ? observation_rescale(observation, observation->model) : 0.0;
    good = good && estimate_descend(&model, point, NULL, false, WORTH);
    if (change < 0.01) {
      break;
    }
  }
  return good;
}

/* What was found of the free terms, with intervals by the curvature. */
static bool keep_found(struct comparison *comparison, struct observation *observation,
                       const struct estimate_point *point) {
  size_t room = ((size_t)observation->unknown_count + 1) * ((size_t)observation->count + 1);
  double *columns = malloc(room * sizeof *columns);
  struct information *information = malloc(sizeof *information);
  struct observation_state state = observation_state_of(observation, point->values);
  bool good = columns != NULL && information != NULL;
  double *at = good ? columns + (size_t)observation->unknown_count * (size_t)observation->count : NULL;
  good = good && observation_model(observation, &state, at) && diagnosis_columns(observation, point->values, columns) &&
         information_find(observation, at, columns, observation->unknown_count, information);
  for (int i = 0; good && i < observation->unknown_count && comparison->found_count < FINDINGS; i++) {
    if (observation->unknowns[i].kind != UNKNOWN_SHIFT) {
      double half = information_student(fmax(information->freedom[i], 1.0)) * sqrt(information->robust[i][i]) *
                    observation->sizes[i];
      struct finding *found = &comparison->found[comparison->found_count++];
      *found = (struct finding){.unknown = observation->unknowns[i], .value = point->values[i]};
      found->from = found->value - half;
      found->to = found->value + half;
      diagnosis_words(observation, found);
    }
  }
  free(columns);
  free(information);
  return good;
}

/* The run as the sensors would show it, and the trace's clock as it should run. */
static bool lay_between(struct comparison *comparison, const struct observation_state *state) {
  double begin = comparison->measured.time[0];
  int count = comparison->run_count;
  double *lagged = malloc(((size_t)count + 1) * sizeof *lagged);
  if (lagged == NULL) {
    return false;
  }
  comparison->shift = state->shifts[0];
  for (int s = 0; s < comparison->mapping.count; s++) {
    const double *terms = state->sensors[0][s];
    double *values = comparison->run_values[s];
    sensor_lag(comparison->run_time, values, count, terms[SENSOR_LAG], lagged);
    double slower = (1.0 + state->drifts[0]) / (1.0 + state->drifts[0] + terms[SENSOR_DRIFT]);
    for (int k = 0; k < count; k++) {
      double from = comparison->run_time[k];
      double t = begin + comparison->shift + (from - begin - comparison->shift) * slower - terms[SENSOR_DELAY];
      double shown = t == from ? lagged[k] : history_at(comparison->run_time, lagged, count, t);
      values[k] = terms[SENSOR_GAIN] * shown + terms[SENSOR_OFFSET];
    }
  }
  for (int k = 0; state->drifts[0] != 0.0 && k < comparison->measured.count; k++) {
    comparison->measured.time[k] = begin + (comparison->measured.time[k] - begin) / (1.0 + state->drifts[0]);
  }
  free(lagged);
  return true;
}

/* Says the mapping anything of sensors? Where it does not, the clock stays where run and trace are most alike. */
static bool sensors_are_plain(const struct mapping *mapping) {
  bool plain = !mapping->drift.given;
  for (int s = 0; s < mapping->count; s++) {
    for (int term = 0; term < SENSOR_TERMS; term++) {
      plain = plain && !mapping->signals[s].sensor.terms[term].given;
    }
  }
  return plain;
}

bool comparison_sensors(struct comparison *comparison, struct error *error) {
  struct observation *observation = malloc(sizeof *observation);
  struct diagnosis *diagnosis = malloc(sizeof *diagnosis);
  struct estimate_point point = {0};
  bool good = observation != NULL && diagnosis != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the comparison");
  } else {
    good = set_up(comparison, observation, error);
    if (good) {
      observation_add_sensors(observation);
    }
    struct estimate_model model = observation_estimate(observation);
    if (good && observation->count > 2L * observation->unknown_count + 2 && estimate_point_new(&model, &point)) {
      struct observation_state state = observation->known;
      bool plain = sensors_are_plain(&comparison->mapping);
      for (int i = 0; i < observation->unknown_count; i++) {
        point.values[i] = *observation_slot(&state, &observation->unknowns[i]);
      }
      if (settle(observation, &point)) {
        (void)keep_found(comparison, observation, &point);
        state = plain ? state : observation_state_of(observation, point.values);
        if (diagnosis_find(observation, point.values, diagnosis)) {
          comparison->diagnosis = *diagnosis;
        }
      }
      good = lay_between(comparison, &state) || error_set(error, ERROR_MEMORY, "no memory for the comparison");
    }
    observation_free(observation);
  }
  estimate_point_free(&point);
  free(diagnosis);
  free(observation);
  return good;
}
