/* What a fit may claim: intervals by the curvature and by profiles of the likelihood, and every reason not to. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fitting.h"
#include "units.h"

#define UNDETERMINED 0.5  /* a 95 % interval wider than this share of the number, either way, is no knowledge */
#define PART 0.3          /* of a unit vector: the number takes part in the direction */
#define TOGETHER 0.98     /* correlation from which two numbers are one to the traces */
#define NEAR_BOUND 1e-3   /* of the range */
#define LEAST_FREEDOM 5.0 /* of the noise that an interval rests on */
#define MOVED 0.5         /* deviations that a sensor's term may move a number and be passed over */
#define UNREST 4.0        /* deviations from noise that is the same at rest and in motion */
#define COARSE 2.0        /* quanta over the scale from which Huber's loss does not know what rounding does */
#define REMEMBERS 0.95    /* correlation from sample to sample that no noise of a logger has */
#define ROUNDS 3

static void refuse(struct fit_number *number, const char *why) {
  if (number->identified) {
    number->identified = false;
    number->established = false;
    (void)snprintf(number->why, sizeof number->why, "%s", why);
  }
}

static void doubt(struct fit_number *number, const char *why) {
  if (number->established) {
    number->established = false;
    (void)snprintf(number->why, sizeof number->why, "%s", why);
  }
}

/* Too wide an interval, with the numbers that it goes together with. */
static void refuse_wide(struct fit *fit, int i) {
  char names[200];
  char why[320];
  size_t used = 0;
  names[0] = '\0';
  for (int k = 0; k < fit->number_count; k++) {
    if (k != i && fabs(fit->correlation[i][k]) > TOGETHER && used < sizeof names) {
      used += (size_t)snprintf(names + used, sizeof names - used, "%s%s", used > 0 ? ", " : "",
                               fit->numbers[k].unknown.name);
    }
  }
  (void)snprintf(why, sizeof why,
                 names[0] != '\0' ? "the traces cannot tell it from %s"
                                  : "the traces say next to nothing of it%s: its interval is wider than half of it",
                 names);
  refuse(&fit->numbers[i], why);
}

/* Does the number take part in a direction that the traces say nothing of? */
static bool is_undetermined(const struct fit *fit, int i) {
  bool found = false;
  for (int d = 0; d < fit->direction_count; d++) {
    found = found || (fit->directions[d].undetermined && fabs(fit->directions[d].parts[i]) > PART);
  }
  return found && i < fit->parameter_count;
}

/* ---- intervals ---- */

static void put_linear(struct fit *fit, const struct information *information, const struct estimate_point *point) {
  const struct observation *observation = &fit->observation;
  int n = observation->unknown_count;
  fit->number_count = fit->direction_count = n;
  fit->condition = information->singular[0] / fmax(information->singular[n - 1], 1e-300);
  for (int i = 0; i < n; i++) {
    struct fit_number *number = &fit->numbers[i];
    number->unknown = observation->unknowns[i];
    number->value = point->values[i];
    number->deviation = sqrt(information->robust[i][i]) * observation->sizes[i];
    double half = information_student(information->freedom[i]) * number->deviation;
    number->linear_from = number->value - half;
    number->linear_to = number->value + half;
    number->from = fmax(number->linear_from, number->unknown.low);
    number->to = fmin(number->linear_to, number->unknown.high);
    for (int k = 0; k < n; k++) {
      fit->correlation[i][k] = information->robust[i][k] / sqrt(information->robust[i][i] * information->robust[k][k]);
    }
  }
  for (int d = 0; d < n; d++) {
    fit->directions[d].deviation = 1.0 / fmax(information->singular[d], 1e-12 * fmax(information->singular[0], 1e-300));
    fit->directions[d].undetermined = information_student(INFINITY) * fit->directions[d].deviation > UNDETERMINED;
    memcpy(fit->directions[d].parts, information->directions[d], sizeof fit->directions[d].parts);
  }
}

/* Rise of the deviance at the end of an unknown's interval. */
static double rise_of(const struct information *information, int i) {
  double student = information_student(fmax(information->freedom[i], 1.0));
  double wider = information->robust[i][i] / information->naive[i][i];
  return student * student * (isfinite(wider) && wider > 0.0 ? wider : 1.0);
}

/* Both ends of one unknown. False: there is a lower minimum, in point->values now. */
static bool put_profile(struct fit *fit, const struct estimate_model *model, const struct information *information,
                        struct estimate_point *point, int i) {
  struct fit_number *number = &fit->numbers[i];
  double moves[ESTIMATE_UNKNOWNS];
  double deviation = sqrt(information->naive[i][i]) * model->size[i];
  for (int k = 0; k < model->unknowns; k++) {
    moves[k] = information->naive[k][i] / information->naive[i][i];
  }
  for (int side = -1; side <= 1; side += 2) {
    struct estimate_profile profile;
    if (!estimate_profile_find(model, point, i, side, rise_of(information, i), deviation, moves, &profile)) {
      continue;
    }
    if (profile.lower) {
      memcpy(point->values, profile.lower_values, sizeof point->values);
      return false;
    }
    *(side < 0 ? &number->from : &number->to) = profile.end;
    *(side < 0 ? &number->open_low : &number->open_high) = profile.open;
  }
  return true;
}

/* Rivals that an interval does not exclude lie within it. */
static void put_rivals(struct fit *fit, const struct information *information) {
  for (int r = 0; r < fit->rival_count; r++) {
    struct fit_rival *rival = &fit->rivals[r];
    rival->excluded = true;
    for (int i = 0; i < fit->number_count; i++) {
      struct fit_number *number = &fit->numbers[i];
      if (rival->worse < rise_of(information, i)) {
        number->from = fmin(number->from, rival->values[i]);
        number->to = fmax(number->to, rival->values[i]);
        rival->excluded = false;
      }
    }
  }
}

/* ---- reasons ---- */

static void judge_number(struct fit *fit, int i) {
  struct fit_number *number = &fit->numbers[i];
  double range = number->unknown.high - number->unknown.low;
  number->identified = number->established = true;
  number->why[0] = '\0';
  if (!fit->converged) {
    refuse(number, "the search did not come to an end");
  }
  if (i >= fit->parameter_count) {
    return; /* of a sensor nothing is a sound answer as well, and its interval says how sure it is */
  }
  if (is_undetermined(fit, i)) {
    refuse_wide(fit, i);
  }
  if (number->value - number->unknown.low < NEAR_BOUND * range ||
      number->unknown.high - number->value < NEAR_BOUND * range) {
    refuse(number, "it ran to its bound: the traces want it beyond, or do not hold it");
  }
  double half = fmax(number->to - number->value, number->value - number->from);
  if (!(half <= UNDETERMINED * fit->observation.sizes[i]) || number->open_low || number->open_high) {
    refuse_wide(fit, i);
  }
}

/* What the search for sensors' faults found: which numbers would move with it. */
static void judge_sensors(struct fit *fit) {
  for (int f = 0; f < fit->diagnosis.count; f++) {
    const struct finding *finding = &fit->diagnosis.findings[f];
    char why[460];
    (void)snprintf(why, sizeof why, "%s; free or fix it in the mapping", finding->words);
    for (int i = 0; i < fit->number_count; i++) {
      struct fit_number *number = &fit->numbers[i];
      if (!(fabs(fit->diagnosis.values[i] - number->value) <= MOVED * number->deviation)) {
        doubt(number, why);
      }
    }
  }
}

static void judge_noise(struct fit *fit, const struct information *information) {
  for (int i = 0; i < fit->number_count; i++) {
    struct fit_number *number = &fit->numbers[i];
    char why[320];
    if (information->freedom[i] < LEAST_FREEDOM) {
      (void)snprintf(why, sizeof why, "its noise is known from %.1f free numbers only: give the noise in the mapping",
                     information->freedom[i]);
      doubt(number, why);
    }
    if (fit->memory > REMEMBERS) {
      doubt(number, "what is left over hardly changes from sample to sample: the model misses something");
    }
    if (fit->unrest > UNREST) {
      doubt(number, "what is left over is larger where the signals move: the model misses something there");
    }
    for (int n = 0; n < fit->observation.noise_count; n++) {
      const struct observation_noise *noise = &fit->observation.noises[n];
      if (fit->observation.loss == LOSS_HUBER && noise->quantum > COARSE * noise->scale) {
        doubt(number, "the trace is written in steps larger than its noise, which the loss 'huber' does not know: "
                      "use normal or student");
      }
    }
  }
}

/* ---- the whole ---- */

static double find_unrest(struct fit *fit, const struct estimate_point *point, double *slopes) {
  struct observation *observation = &fit->observation;
  struct observation_state state = observation_state_of(observation, point->values);
  if (!observation_model(observation, &state, observation->model)) {
    return 0.0;
  }
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    const struct observation_test *test = &observation->tests[observation->traces[channel->trace].test];
    const double *values = test->history.values[test->columns[channel->signal]];
    for (long k = 0; k < channel->count; k++) {
      double t = observation_run_time(observation, &state, channel, k);
      double step = k > 0 ? observation->times[channel->first + k] - observation->times[channel->first + k - 1] : 1.0;
      slopes[channel->first + k] = (history_at(test->history.time, values, test->history.count, t + 0.5 * step) -
                                    history_at(test->history.time, values, test->history.count, t - 0.5 * step)) /
                                   step;
    }
  }
  return information_unrest(observation, observation->model, slopes);
}

/* One round: derivatives, covariance, profiles. *lower: a lower minimum came by, and the point stands there now. */
static bool know_once(struct fit *fit, struct estimate_point *point, double *columns, struct information *information,
                      bool *lower) {
  struct observation *observation = &fit->observation;
  struct estimate_model model = observation_estimate(observation);
  struct observation_state state = observation_state_of(observation, point->values);
  double *at = columns + (size_t)observation->unknown_count * (size_t)observation->count;
  *lower = false;
  if (!observation_model(observation, &state, at) || !diagnosis_columns(observation, point->values, columns) ||
      !information_find(observation, at, columns, observation->unknown_count, information)) {
    return false;
  }
  put_linear(fit, information, point);
  for (int i = 0; i < fit->number_count && !*lower && !observation->interrupted; i++) {
    bool told = fit->numbers[i].unknown.kind != UNKNOWN_SHIFT && !is_undetermined(fit, i);
    *lower = told && !put_profile(fit, &model, information, point, i);
  }
  return true;
}

bool fit_know(struct fit *fit, struct estimate_point *point, struct error *error) {
  struct observation *observation = &fit->observation;
  struct estimate_model model = observation_estimate(observation);
  size_t room = ((size_t)observation->unknown_count + 1) * ((size_t)observation->count + 1);
  double *columns = malloc(room * sizeof *columns);
  struct information *information = malloc(sizeof *information);
  bool good = columns != NULL && information != NULL;
  bool lower = true;
  for (int round = 0; good && lower && round < ROUNDS; round++) {
    good = know_once(fit, point, columns, information, &lower);
    for (int i = 0; good && lower && i < 2; i++) {
      good = estimate_descend(&model, point, NULL, false, 1e-3);
      struct observation_state state = observation_state_of(observation, point->values);
      good = good && observation_model(observation, &state, observation->model);
      if (good && i == 0) {
        (void)observation_rescale(observation, observation->model);
      }
    }
  }
  if (good && !observation->interrupted) {
    fit->converged = point->ended && !lower;
    put_rivals(fit, information);
    fit->unrest = find_unrest(fit, point, columns);
    struct observation_noise noises[FIT_TESTS * MAPPING_SIGNALS];
    memcpy(noises, observation->noises, sizeof noises);
    for (int n = 0; n < observation->noise_count; n++) {
      fit->memory = fmax(fit->memory, information->memory[n]);
    }
    good = diagnosis_find(observation, point->values, &fit->diagnosis);
    memcpy(observation->noises, noises, sizeof noises);
    for (int i = 0; i < fit->number_count; i++) {
      judge_number(fit, i);
    }
    judge_sensors(fit);
    judge_noise(fit, information);
  }
  free(columns);
  free(information);
  if (observation->interrupted) {
    return error_set(error, ERROR_RUN, "interrupted");
  }
  return good || error_set(error, ERROR_RUN,
                           "what the traces say of the numbers could not be found (memory, or a run "
                           "beside the best that fails)");
}
