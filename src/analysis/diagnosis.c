#include "diagnosis.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "units.h"

#define STANDS_OUT 3.5          /* deviations from nothing at which a term is tried */
#define MAD_TO_DEVIATION 1.4826 /* median of the absolute deviations, of normal errors */

enum { ROUNDS = 10, CANDIDATES = FIT_TESTS * (MAPPING_SIGNALS * SENSOR_TERMS + 1) };

bool diagnosis_columns(struct observation *observation, const double *values, double *columns) {
  struct observation_state state = observation_state_of(observation, values);
  bool good = true;
  for (int i = 0; good && i < observation->unknown_count; i++) {
    good = observation_column(observation, &state, &observation->unknowns[i], observation->sizes[i],
                              columns + (size_t)i * (size_t)observation->count);
  }
  return good;
}

/* ---- candidates ---- */

static bool is_unknown(const struct observation *observation, const struct unknown *unknown) {
  for (int i = 0; i < observation->unknown_count; i++) {
    const struct unknown *other = &observation->unknowns[i];
    if (other->kind == unknown->kind && other->place == unknown->place &&
        (unknown->kind != UNKNOWN_SENSOR || (other->signal == unknown->signal && other->term == unknown->term))) {
      return true;
    }
  }
  return false;
}

/* The clock of some trace of this mapping is sought. */
static bool clock_is_sought(const struct observation *observation, int mapping) {
  bool sought = false;
  for (int trace = 0; trace < observation->trace_count; trace++) {
    const struct observation_trace *own = &observation->traces[trace];
    sought = sought || (observation->tests[own->test].mapping == mapping && own->shift_high > own->shift_low);
  }
  return sought;
}

/* Every term of every channel that is no unknown yet, and each clock's drift. */
static int find_candidates(const struct observation *observation, struct unknown *candidates, double *sizes) {
  int count = 0;
  for (int m = 0; m < observation->mapping_count; m++) {
    const struct mapping *mapping = &observation->mappings[m];
    for (int s = 0; s < mapping->count; s++) {
      for (int term = 0; term < SENSOR_DRIFT; term++) {
        bool shift = term == SENSOR_DELAY && mapping->count == 1 && clock_is_sought(observation, m);
        candidates[count] = observation_term(observation, m, s, (enum sensor_term)term, &sizes[count]);
        count += !shift && !is_unknown(observation, &candidates[count]);
      }
    }
    candidates[count] = observation_drift(m, &sizes[count]);
    count += !is_unknown(observation, &candidates[count]);
  }
  return count;
}

/* ---- one round: what stands out the most ---- */

struct room {
  double *columns; /* of the unknowns, and one candidate behind them */
  double *model;
  struct information *information;
  struct estimate_point point;
};

/* How many deviations a candidate stands out, and where one step puts it. */
static double stands_out(struct observation *observation, struct room *room, const struct observation_state *state,
                         const struct unknown *candidate, double size, double *step) {
  int n = observation->unknown_count;
  double *column = room->columns + (size_t)n * (size_t)observation->count;
  if (!observation_column(observation, state, candidate, size, column) ||
      !information_find(observation, room->model, room->columns, n + 1, room->information)) {
    return 0.0;
  }
  /* By the curvature: what a term has not yet explained makes the others' errors remember each other. */
  double deviation = sqrt(room->information->naive[n][n]);
  *step = room->information->toward[n] * size;
  /* One that the others already are stands out of nothing. */
  bool told = room->information->singular[n] > 1e-6 * room->information->singular[0];
  return told && deviation > 0.0 ? room->information->toward[n] / deviation : 0.0;
}

/* Delays are told between channels when the clock is sought: the later one lags. */
static bool may_be(const struct observation *observation, const struct unknown *candidate, double step) {
  if (candidate->kind == UNKNOWN_SENSOR && candidate->term == SENSOR_LAG) {
    return step > 0.0;
  }
  bool between = candidate->kind == UNKNOWN_SENSOR && candidate->term == SENSOR_DELAY &&
                 clock_is_sought(observation, candidate->place);
  return !between || step > 0.0;
}

/* Try all; add the one that stands out the most, and go downhill with it. False: none does. */
static bool add_one(struct observation *observation, struct room *room, const struct unknown *candidates,
                    const double *sizes, int count) {
  int n = observation->unknown_count;
  struct observation_state state = observation_state_of(observation, room->point.values);
  int best = -1;
  double best_step = 0.0;
  double best_out = STANDS_OUT;
  if (n + 1 >= ESTIMATE_UNKNOWNS || !observation_model(observation, &state, room->model) ||
      !diagnosis_columns(observation, room->point.values, room->columns)) {
    return false;
  }
  for (int c = 0; c < count; c++) {
    double step = 0.0;
    if (is_unknown(observation, &candidates[c])) {
      continue;
    }
    double out = stands_out(observation, room, &state, &candidates[c], sizes[c], &step);
    if (fabs(out) > best_out && may_be(observation, &candidates[c], step)) {
      best = c;
      best_out = fabs(out);
      best_step = step;
    }
  }
  if (best < 0) {
    return false;
  }
  double neutral = *observation_slot(&state, &candidates[best]);
  observation_add(observation, &candidates[best], sizes[best]);
  room->point.values[n] = fmin(fmax(neutral + best_step, candidates[best].low), candidates[best].high);
  struct estimate_model model = observation_estimate(observation);
  if (estimate_descend(&model, &room->point, NULL, false, 0.01)) {
    return true;
  }
  observation->unknown_count = n;
  return false;
}

/* ---- words ---- */

static const char *amount(enum quantity quantity, double si, char *text, int size) {
  return units_show(quantity, fabs(si), text, size);
}

/* The channel that a delay is told against: the first other one of the mapping that has none itself. */
static const char *earlier_channel(const struct observation *observation, const struct unknown *unknown) {
  const struct mapping *mapping = &observation->mappings[unknown->place];
  for (int s = 0; s < mapping->count; s++) {
    struct unknown other = *unknown;
    other.signal = s;
    if (s != unknown->signal && !is_unknown(observation, &other)) {
      return mapping->signals[s].row.name;
    }
  }
  return "the run";
}

void diagnosis_words(const struct observation *observation, struct finding *finding) {
  const struct unknown *unknown = &finding->unknown;
  const struct mapping *mapping = &observation->mappings[unknown->place];
  const char *channel = mapping->signals[unknown->signal].row.name;
  char much[64];
  char least[64];
  char most[64];
  double neutral = sensor_rows[unknown->term].neutral;
  double by = finding->value - neutral;
  double near = fmin(fabs(finding->from - neutral), fabs(finding->to - neutral));
  double far = fmax(fabs(finding->from - neutral), fabs(finding->to - neutral));
  enum quantity quantity = unknown->term == SENSOR_GAIN ? QUANTITY_FRACTION : unknown->quantity;
  amount(quantity, by, much, sizeof much);
  amount(quantity, near, least, sizeof least);
  amount(quantity, far, most, sizeof most);
  if (quantity == QUANTITY_TIME && far < 1.0) {
    (void)snprintf(much, sizeof much, "%.3g ms", 1e3 * fabs(by));
    (void)snprintf(least, sizeof least, "%.3g ms", 1e3 * near);
    (void)snprintf(most, sizeof most, "%.3g ms", 1e3 * far);
  }
  switch (unknown->term) {
  case SENSOR_GAIN:
    (void)snprintf(finding->words, sizeof finding->words, "the gain of %s is %s %s (%s to %s)", channel, much,
                   by > 0.0 ? "high" : "low", least, most);
    break;
  case SENSOR_OFFSET:
    (void)snprintf(finding->words, sizeof finding->words, "the zero of %s is %s %s (%s to %s)", channel, much,
                   by > 0.0 ? "high" : "low", least, most);
    break;
  case SENSOR_LAG:
    (void)snprintf(finding->words, sizeof finding->words,
                   "the sensor of %s lags by %s (%s to %s), as a first-order filter does", channel, much, least, most);
    break;
  case SENSOR_DELAY:
    (void)snprintf(finding->words, sizeof finding->words, "the sensor of %s %s %s by %s (%s to %s)", channel,
                   by > 0.0 ? "lags" : "leads",
                   clock_is_sought(observation, unknown->place) ? earlier_channel(observation, unknown) : "the run",
                   much, least, most);
    break;
  case SENSOR_DRIFT:
    (void)snprintf(finding->words, sizeof finding->words, "the clock of the trace runs %s %s (%s to %s)", much,
                   by > 0.0 ? "fast" : "slow", least, most);
    break;
  }
}

/* Two-sided normal quantile for a chance of 5 % shared by `count` questions (Abramowitz and Stegun 26.2.23, to 5e-4).
 */
static double shared_quantile(long count) {
  double t = sqrt(-2.0 * log(0.025 / (double)(count > 0 ? count : 1)));
  return t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
}

static bool look(struct observation *observation, struct room *room) {
  struct observation_state state = observation_state_of(observation, room->point.values);
  return observation_model(observation, &state, room->model) &&
         diagnosis_columns(observation, room->point.values, room->columns) &&
         information_find(observation, room->model, room->columns, observation->unknown_count, room->information);
}

/* Half of the interval of an unknown, `candidates` questions taken together. */
static double half_of(const struct observation *observation, const struct room *room, int i, int candidates) {
  double wide = shared_quantile(candidates) / information_student(INFINITY) *
                information_student(fmax(room->information->freedom[i], 1.0));
  return wide * sqrt(room->information->robust[i][i]) * observation->sizes[i];
}

/* Take the terms away again whose interval holds what a plain channel has, the least sure first. */
static void drop_unsure(struct observation *observation, struct room *room, int own, int candidates) {
  while (observation->unknown_count > own && !observation->interrupted && look(observation, room)) {
    int worst = -1;
    double least = 1.0;
    for (int i = own; i < observation->unknown_count; i++) {
      double off = fabs(room->point.values[i] - sensor_rows[observation->unknowns[i].term].neutral);
      double sure = off / half_of(observation, room, i, candidates);
      if (!(sure >= least)) {
        least = sure;
        worst = i;
      }
    }
    if (worst < 0) {
      return;
    }
    observation->unknown_count--;
    for (int i = worst; i < observation->unknown_count; i++) {
      observation->unknowns[i] = observation->unknowns[i + 1];
      observation->sizes[i] = observation->sizes[i + 1];
      observation->lows[i] = observation->lows[i + 1];
      observation->highs[i] = observation->highs[i + 1];
      room->point.values[i] = room->point.values[i + 1];
    }
    struct estimate_model model = observation_estimate(observation);
    (void)estimate_descend(&model, &room->point, NULL, false, 0.01);
    struct observation_state state = observation_state_of(observation, room->point.values);
    if (observation_model(observation, &state, room->model)) {
      (void)observation_rescale(observation, room->model);
    }
  }
}

static void tell(struct observation *observation, struct room *room, int own, int candidates,
                 struct diagnosis *diagnosis) {
  if (!look(observation, room)) {
    return;
  }
  for (int i = own; i < observation->unknown_count && diagnosis->count < FINDINGS; i++) {
    struct finding *finding = &diagnosis->findings[diagnosis->count];
    double half = half_of(observation, room, i, candidates);
    *finding = (struct finding){.unknown = observation->unknowns[i], .value = room->point.values[i]};
    finding->from = finding->value - half;
    finding->to = finding->value + half;
    double neutral = sensor_rows[finding->unknown.term].neutral;
    if (half >= 0.0 && (finding->from > neutral || finding->to < neutral)) {
      diagnosis_words(observation, finding);
      diagnosis->count++;
    }
  }
}

bool diagnosis_find(struct observation *observation, const double *values, struct diagnosis *diagnosis) {
  int own = observation->unknown_count;
  memset(diagnosis, 0, sizeof *diagnosis);
  memcpy(diagnosis->values, values, (size_t)own * sizeof *values);
  size_t m = (size_t)observation->count + 1;
  size_t unknowns = (size_t)own + ROUNDS + 1;
  unknowns = unknowns < ESTIMATE_UNKNOWNS ? unknowns : ESTIMATE_UNKNOWNS;
  struct unknown *candidates = calloc(CANDIDATES, sizeof *candidates);
  double *sizes = calloc(CANDIDATES, sizeof *sizes);
  struct room room = {.columns = malloc(m * (unknowns + 1) * sizeof(double)),
                      .model = malloc(m * sizeof(double)),
                      .information = malloc(sizeof *room.information)};
  struct estimate_model largest = observation_estimate(observation);
  largest.unknowns = (int)unknowns;
  bool good = estimate_point_new(&largest, &room.point) && candidates != NULL && sizes != NULL &&
              room.columns != NULL && room.model != NULL && room.information != NULL;
  if (good) {
    int count = find_candidates(observation, candidates, sizes);
    memcpy(room.point.values, values, (size_t)own * sizeof *values);
    for (int round = 0; round < ROUNDS && observation->unknown_count + 1 < (int)unknowns && !observation->interrupted &&
                        add_one(observation, &room, candidates, sizes, count);
         round++) {
      struct observation_state state = observation_state_of(observation, room.point.values);
      if (observation_model(observation, &state, room.model)) {
        (void)observation_rescale(observation, room.model);
      }
    }
    drop_unsure(observation, &room, own, count);
    tell(observation, &room, own, count, diagnosis);
    memcpy(diagnosis->values, room.point.values, (size_t)own * sizeof *values);
  }
  observation->unknown_count = own;
  estimate_point_free(&room.point);
  free(room.columns);
  free(room.model);
  free(room.information);
  free(candidates);
  free(sizes);
  return good;
}

/* ---- outliers ---- */

static int compare_numbers(const void *one, const void *other) {
  double a = *(const double *)one;
  double b = *(const double *)other;
  return (a > b) - (a < b);
}

static int compare_outliers(const void *one, const void *other) {
  return -compare_numbers(&((const struct outlier *)one)->over, &((const struct outlier *)other)->over);
}

/* What the errors of a channel scatter by, whatever the farthest are; half a quantum is no scatter. */
static double scatter_of(const struct observation *observation, const double *model, int noise, double *buffer) {
  long count = 0;
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    for (long k = channel->first; channel->noise == noise && k < channel->first + channel->count; k++) {
      buffer[count++] = fabs(model[k] - observation->values[k]);
    }
  }
  qsort(buffer, (size_t)count, sizeof *buffer, compare_numbers);
  double median = count > 0 ? buffer[count / 2] : 0.0;
  return fmax(MAD_TO_DEVIATION * median, 0.3 * observation->noises[noise].quantum);
}

long diagnosis_outliers(const struct observation *observation, const double *model, struct outlier *outliers, int room,
                        double *limit) {
  long found = 0;
  int kept = 0;
  *limit = shared_quantile(observation->count);
  double *buffer = malloc(((size_t)observation->count + 1) * sizeof *buffer);
  for (int n = 0; buffer != NULL && n < observation->noise_count; n++) {
    double scatter = scatter_of(observation, model, n, buffer);
    for (int c = 0; c < observation->channel_count; c++) {
      const struct observation_channel *channel = &observation->channels[c];
      for (long k = channel->first; channel->noise == n && k < channel->first + channel->count; k++) {
        double off = model[k] - observation->values[k];
        struct outlier own = {channel->trace, channel->signal, observation->times[k], off, fabs(off) / scatter};
        if (!(own.over > *limit)) {
          continue;
        }
        found++;
        if (kept < room) {
          outliers[kept++] = own;
          qsort(outliers, (size_t)kept, sizeof *outliers, compare_outliers);
        } else if (own.over > outliers[kept - 1].over) {
          outliers[kept - 1] = own;
          qsort(outliers, (size_t)kept, sizeof *outliers, compare_outliers);
        }
      }
    }
  }
  free(buffer);
  return found;
}
