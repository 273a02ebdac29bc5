/* The search of a fit: several places and shifts, downhill from the best of them, the noise found on the way. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fitting.h"

#define SETTLED 0.01    /* change of a scale that is none */
#define WORTH 1e-3      /* fall of the deviance that is not worth a step */
#define ROUGH 1e-6      /* of the sum where a search begins: enough to tell where it ends */
#define SAME 1.0        /* root of the sum of squared differences, in scales: minima nearer together are one */
#define NEAR_SAMPLES 60 /* to either side of the clock found first, in samples */

enum { GRID = 240, SEEN = 300, SHIFTS = 2, DESCENTS = 4, RESCALES = 8 };

/* A place to begin from. */
struct place {
  double values[ESTIMATE_UNKNOWNS];
  double cost;
};

/* ---- clocks ---- */

/* What a trace costs with its clock at a shift; the runs are there. Only every so many numbers are looked at. */
static double cost_of_shift(struct observation *observation, struct observation_state *state, int trace, double shift) {
  struct observation_test *test = &observation->tests[observation->traces[trace].test];
  double sum = 0.0;
  state->shifts[trace] = shift;
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    const struct observation_noise *noise = &observation->noises[channel->noise];
    const double *terms = state->sensors[test->mapping][channel->signal];
    const double *values = test->history.values[test->columns[channel->signal]];
    long stride = channel->count / SEEN + 1;
    for (long k = 0; channel->trace == trace && k < channel->count; k += stride) {
      double t = observation_run_time(observation, state, channel, k) - terms[SENSOR_DELAY] - terms[SENSOR_LAG];
      double model =
          terms[SENSOR_GAIN] * history_at(test->history.time, values, test->history.count, t) + terms[SENSOR_OFFSET];
      sum += loss_at(LOSS_STUDENT, (model - observation->values[channel->first + k]) / noise->scale, 0.0).cost *
             (double)stride;
    }
  }
  return sum;
}

/* The lowest places of a trace's cost over its shift, lowest first; returns how many there are, at most SHIFTS. */
static int find_shifts(struct observation *observation, const struct observation_state *state, int trace,
                       double *shifts) {
  struct observation_state moved = *state;
  const struct observation_trace *own = &observation->traces[trace];
  double sample = (own->measured.time[own->measured.count - 1] - own->measured.time[0]) / (own->measured.count - 1);
  double low = fmax(state->shifts[trace] - NEAR_SAMPLES * sample, own->shift_low);
  double high = fmin(state->shifts[trace] + NEAR_SAMPLES * sample, own->shift_high);
  double costs[GRID + 1];
  double lowest[SHIFTS] = {0.0};
  int found = 0;
  for (int i = 0; i <= GRID; i++) {
    costs[i] = cost_of_shift(observation, &moved, trace, low + (high - low) * i / GRID);
  }
  for (int i = 0; i <= GRID; i++) {
    bool valley = (i == 0 || costs[i] <= costs[i - 1]) && (i == GRID || costs[i] < costs[i + 1]);
    int place = found;
    while (valley && place > 0 && costs[i] < lowest[place - 1]) {
      place--;
    }
    if (!valley || place == SHIFTS) {
      continue;
    }
    for (int k = (found < SHIFTS ? found : SHIFTS - 1); k > place; k--) {
      shifts[k] = shifts[k - 1];
      lowest[k] = lowest[k - 1];
    }
    shifts[place] = low + (high - low) * i / GRID;
    lowest[place] = costs[i];
    found = found < SHIFTS ? found + 1 : SHIFTS;
  }
  return found;
}

/* ---- places ---- */

/* Evenly in 0 to 1, the same every time: a lattice of the golden ratio's kin (Roberts' R sequence). */
static double spread(int start, int i, int unknowns) {
  double root = 2.0;
  for (int k = 0; k < 30; k++) {
    root = pow(1.0 + root, 1.0 / (unknowns + 1));
  }
  return fmod(0.5 + start * pow(1.0 / root, i + 1), 1.0);
}

/* The start-th place: the parameters anywhere within their bounds, over powers of ten where these are far apart. */
static void put_place(const struct fit *fit, int start, double *values) {
  for (int i = 0; start > 0 && i < fit->parameter_count; i++) {
    double share = 0.05 + 0.9 * spread(start, i, fit->parameter_count);
    double low = fit->observation.lows[i];
    double high = fit->observation.highs[i];
    values[i] = low > 0.0 ? low * pow(high / low, share) : low + share * (high - low);
  }
}

static double cost_of(const struct estimate_model *model, struct estimate_point *point, const double *values) {
  double sum = 0.0;
  if (!model->residuals(model->context, values, point->residuals)) {
    return INFINITY;
  }
  for (long k = 0; k < model->count; k++) {
    sum += point->residuals[k] * point->residuals[k];
  }
  return sum;
}

/* Every place with the clocks where they fit it best, one more for the case's values with a second clock. */
static int find_places(struct fit *fit, int starts, const double *begin, struct estimate_point *point,
                       struct place *places) {
  struct observation *observation = &fit->observation;
  struct estimate_model model = observation_estimate(observation);
  int count = 0;
  for (int start = 0; start <= starts && !observation->interrupted; start++) {
    double shifts[SHIFTS] = {0.0};
    int shift_count = 1;
    struct place *place = &places[count];
    memcpy(place->values, begin, sizeof place->values);
    put_place(fit, start, place->values);
    struct observation_state state = observation_state_of(observation, place->values);
    if (!observation_model(observation, &state, observation->model)) {
      continue;
    }
    int seen = -1;
    for (int i = 0; i < observation->unknown_count; i++) {
      if (observation->unknowns[i].kind == UNKNOWN_SHIFT) {
        shift_count = find_shifts(observation, &state, observation->unknowns[i].place, shifts);
        place->values[i] = shift_count > 0 ? shifts[0] : place->values[i];
        seen = i;
      }
    }
    place->cost = cost_of(&model, point, place->values);
    count++;
    if (start == 0 && shift_count > 1 && observation->trace_count == 1) {
      places[count] = places[count - 1];
      places[count].values[seen] = shifts[1];
      places[count].cost = cost_of(&model, point, places[count].values);
      count++;
    }
  }
  return count;
}

static int compare_places(const void *one, const void *other) {
  double a = ((const struct place *)one)->cost;
  double b = ((const struct place *)other)->cost;
  return (a > b) - (a < b);
}

/* ---- downhill ---- */

/* Downhill, the noise found anew after each descent, until it stays. */
static bool settle(struct observation *observation, const struct estimate_model *model, struct estimate_point *point) {
  bool good = true;
  for (int i = 0; good && i < RESCALES; i++) {
    struct observation_state state = observation_state_of(observation, point->values);
    good = observation_model(observation, &state, observation->model);
    double change = good ? observation_rescale(observation, observation->model) : 0.0;
    good = good && estimate_descend(model, point, NULL, false, WORTH);
    if (change < SETTLED) {
      break;
    }
  }
  return good;
}

/* Two minima that say the same of every number are one. */
static bool same_place(const struct observation *observation, const struct estimate_point *best,
                       const struct estimate_point *own) {
  double apart = 0.0;
  for (long k = 0; k < observation->count; k++) {
    double off = own->residuals[k] - best->residuals[k];
    apart += off * off;
  }
  return apart < SAME * SAME;
}

/* The minima that are not the best: each again downhill with the noise of the best. A lower one becomes the best. */
static bool find_rivals(struct fit *fit, const struct estimate_model *model, struct estimate_point *best,
                        struct estimate_point *own, const struct place *ends, int count) {
  struct observation *observation = &fit->observation;
  fit->rival_count = 0;
  fit->minima = 1;
  for (int e = 0; e < count && !observation->interrupted; e++) {
    memcpy(own->values, ends[e].values, sizeof own->values);
    if (!estimate_descend(model, own, NULL, false, WORTH) || same_place(observation, best, own) || !own->ended) {
      continue;
    }
    if (own->sum < best->sum - 0.1) {
      estimate_point_copy(model, own, best);
      return false;
    }
    bool seen = false;
    for (int r = 0; r < fit->rival_count; r++) {
      bool near = fabs(fit->rivals[r].worse - (own->sum - best->sum)) < 0.1 * (1.0 + fit->rivals[r].worse);
      for (int i = 0; i < fit->parameter_count; i++) {
        near = near && fabs(own->values[i] - fit->rivals[r].values[i]) < 0.02 * observation->sizes[i];
      }
      seen = seen || near;
    }
    if (!seen && fit->rival_count < FIT_RIVALS) {
      struct fit_rival *rival = &fit->rivals[fit->rival_count++];
      memcpy(rival->values, own->values, sizeof rival->values);
      rival->worse = own->sum - best->sum;
      fit->minima++;
    }
  }
  return true;
}

static int compare_rivals(const void *one, const void *other) {
  double a = ((const struct fit_rival *)one)->worse;
  double b = ((const struct fit_rival *)other)->worse;
  return (a > b) - (a < b);
}

/* Are the first numbers of two places the same? */
static bool same_values(const struct place *one, const struct place *other, int unknowns) {
  for (int u = 0; u < unknowns; u++) {
    if (one->values[u] != other->values[u]) {
      return false;
    }
  }
  return true;
}

/* From the best places downhill with the first guess of the noise, then on from the best end. */
static bool descend_all(struct fit *fit, const struct estimate_model *model, struct place *places, int count,
                        struct estimate_point *point, struct estimate_point *own) {
  struct observation *observation = &fit->observation;
  struct place *ends = calloc(DESCENTS + 1, sizeof *ends);
  int end_count = 0;
  double best = INFINITY;
  struct place first = places[0]; /* the case as it is has its turn in any case */
  bool taken = false;
  qsort(places, (size_t)count, sizeof *places, compare_places);
  for (int p = 0; ends != NULL && p < count && !observation->interrupted; p++) {
    bool is_first = same_values(&places[p], &first, observation->unknown_count);
    if ((end_count >= DESCENTS || (end_count == DESCENTS - 1 && !taken)) && !is_first) {
      continue;
    }
    memcpy(own->values, places[p].values, sizeof own->values);
    double worth = fmax(WORTH, ROUGH * places[p].cost);
    if (end_count > DESCENTS || !estimate_descend(model, own, NULL, false, worth)) {
      continue;
    }
    taken = taken || is_first;
    memcpy(ends[end_count].values, own->values, sizeof own->values);
    ends[end_count++].cost = own->sum;
    if (own->sum < best) {
      best = own->sum;
      estimate_point_copy(model, own, point);
    }
  }
  bool good = ends != NULL && isfinite(best) && settle(observation, model, point);
  for (int round = 0; good && round < 3 && !find_rivals(fit, model, point, own, ends, end_count); round++) {
    good = settle(observation, model, point);
  }
  qsort(fit->rivals, (size_t)fit->rival_count, sizeof *fit->rivals, compare_rivals);
  free(ends);
  return good;
}

bool fit_search(struct fit *fit, int starts, struct estimate_point *point, struct error *error) {
  struct observation *observation = &fit->observation;
  struct estimate_model model = observation_estimate(observation);
  struct estimate_point own;
  struct place *places = calloc((size_t)starts + 3, sizeof *places);
  bool room = estimate_point_new(&model, &own) && places != NULL;
  bool good = room;
  if (room) {
    int count = find_places(fit, starts, point->values, point, places);
    good = count > 0 && descend_all(fit, &model, places, count, point, &own);
  }
  estimate_point_free(&own);
  free(places);
  if (observation->interrupted) {
    return error_set(error, ERROR_RUN, "interrupted");
  }
  if (!room) {
    return error_set(error, ERROR_MEMORY, "out of memory for the fit");
  }
  return good || error_set(error, ERROR_RUN,
                           "no run of the case, at its own values or at others within the bounds, "
                           "could be laid over the traces");
}
