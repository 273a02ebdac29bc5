#include "hunting.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "balance.h"
#include "eigenvalues.h"
#include "event_log.h"
#include "integrator_method.h"
#include "integrators.h"

_Static_assert((int)PLANT_STATE_LIMIT <= (int)EIGENVALUES_LIMIT, "a mode may be made of every state");

/* The swing. */
#define LEAST_SWING 1e5   /* Pa between turning points; smaller ones are not told */
#define STAYS 0.9         /* the last four swings over the first four: a mode of 0.4 % damping comes to this */
#define LONGEST_SWING 2.0 /* s: slower is driving, not hunting */
#define IRREGULAR 4.0     /* a swing that took this many times as long as the one before is of another oscillation */
#define LEAPS 20.0        /* a swing so many times as large as the one before is a jolt, and what follows its ringing */
#define GRADE_CHANGES 1e-3 /* the ground moves the pressure */

/* Growth. */
#define LOOKS_IN_A_RUN 32.0     /* at most about so many */
#define GROWTH_COUNTS 0.02      /* 1/s: slower is no growth that anybody meets */
#define FOLDS_TOLD 1.5          /* a small oscillation has grown to 4.5 times */
#define SHIFT_OF_TOLERANCE 10.0 /* how far a state is moved for its derivatives */

bool hunting_begin(struct hunting *hunting, const struct view *view, const struct sample *sample, struct error *error) {
  const struct plant *plant = view->plant;
  struct balance balance;
  *hunting = (struct hunting){.looked = -1.0, .growth_then = -1.0};
  hunting->steps_between = integrator_listed(view->data->simulation.method)->steps_between_looks;
  hunting->steps = hunting->steps_between / 2;
  if (!registry_place(plant, "line_pressure_difference", &hunting->pressure, error) ||
      !registry_place(plant, "grade", &hunting->grade, error)) {
    return false;
  }
  if (!hunting->pressure.there) {
    return true;
  }
  hunting->extremum = sample->signals[hunting->pressure.index];
  hunting->extremum_time = sample->time;
  hunting->last_turn = NAN;
  balance_begin(&balance, plant, view->model, NULL, sample->time);
  for (int i = 0; i < balance.state_count; i++) {
    if (balance.sought[i]) {
      hunting->sizes[hunting->place_count] = plant->states[balance.rows[i]].tolerance;
      hunting->places[hunting->place_count++] = i;
    }
  }
  return true;
}

/* ---- the swing ---- */

static bool is_moved(struct hunting *hunting, const struct view *view, const struct sample *sample) {
  double grade = hunting->grade.there ? sample->signals[hunting->grade.index] : 0.0;
  return (view->plant->time_dependent != NULL && view->plant->time_dependent(view->mode)) ||
         fabs(grade - hunting->grade_then) > GRADE_CHANGES;
}

static void forget_swings(struct hunting *hunting, const struct sample *sample) {
  hunting->swings = 0;
  hunting->grade_then = hunting->grade.there ? sample->signals[hunting->grade.index] : 0.0;
}

/* HUNTING_SWINGS swings are there: do they stay as large as they were? */
static void judge_swings(struct hunting *hunting) {
  double first = 0.0;
  double last = 0.0;
  double largest = 0.0;
  int oldest = hunting->swings % HUNTING_SWINGS;
  for (int i = 0; i < HUNTING_SWINGS; i++) {
    double half = hunting->halves[(oldest + i) % HUNTING_SWINGS];
    first += i < HUNTING_SWINGS / 3 ? half : 0.0;
    last += i >= HUNTING_SWINGS - HUNTING_SWINGS / 3 ? half : 0.0;
    largest = fmax(largest, half);
  }
  if (last < STAYS * first) {
    return;
  }
  double began = hunting->times[oldest];
  double ended = hunting->times[(oldest + HUNTING_SWINGS - 1) % HUNTING_SWINGS];
  if (!hunting->hunts) {
    hunting->hunts = true;
    hunting->from = began;
  }
  if (largest > hunting->half) {
    hunting->half = largest;
    hunting->frequency = 0.5 * (HUNTING_SWINGS - 1) / (ended - began);
  }
}

/* The pressure has turned where the last extremum stands. */
static void turn(struct hunting *hunting, const struct view *view, const struct sample *sample) {
  double half = 0.5 * fabs(hunting->extremum - hunting->last_turn);
  if (hunting->swings > 0) {
    double now = hunting->extremum_time - hunting->times[(hunting->swings - 1) % HUNTING_SWINGS];
    double before = hunting->swings > 1 ? hunting->times[(hunting->swings - 1) % HUNTING_SWINGS] -
                                              hunting->times[(hunting->swings - 2) % HUNTING_SWINGS]
                                        : now;
    bool leaps = half > LEAPS * hunting->halves[(hunting->swings - 1) % HUNTING_SWINGS];
    if (now > LONGEST_SWING || now > IRREGULAR * before || leaps || is_moved(hunting, view, sample)) {
      forget_swings(hunting, sample);
    }
  } else {
    forget_swings(hunting, sample);
  }
  if (!isnan(hunting->last_turn)) {
    int at = hunting->swings++ % HUNTING_SWINGS;
    hunting->halves[at] = half;
    hunting->times[at] = hunting->extremum_time;
    if (hunting->swings >= HUNTING_SWINGS) {
      judge_swings(hunting);
    }
  }
  hunting->last_turn = hunting->extremum;
}

static void watch_swing(struct hunting *hunting, const struct view *view, const struct sample *sample) {
  double now = sample->signals[hunting->pressure.index];
  double beyond = now - hunting->extremum;
  if (hunting->way == 0) {
    hunting->way = beyond > LEAST_SWING ? 1 : beyond < -LEAST_SWING ? -1 : 0;
    if (hunting->way == 0) {
      return;
    }
  } else if (hunting->way * beyond < 0.0) {
    if (fabs(beyond) <= LEAST_SWING) {
      return;
    }
    turn(hunting, view, sample);
    hunting->way = -hunting->way;
  }
  hunting->extremum = now;
  hunting->extremum_time = sample->time;
}

/* ---- growth ---- */

/* The least damped pair at an instant. False where nothing swings. */
static bool find_pair(const struct hunting *hunting, const struct view *view, const struct sample *sample,
                      struct eigenvalue_pair *pair) {
  double matrix[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  double state[PLANT_STATE_LIMIT];
  double here[PLANT_STATE_LIMIT];
  double there[PLANT_STATE_LIMIT];
  int n = hunting->place_count;
  memcpy(state, sample->state, (size_t)view->state_count * sizeof *state);
  view->plant->rates(view->model, view->mode, sample->time, state, here);
  for (int k = 0; k < n; k++) {
    int place = hunting->places[k];
    state[place] = sample->state[place] + SHIFT_OF_TOLERANCE * hunting->sizes[k];
    double shift = state[place] - sample->state[place];
    view->plant->rates(view->model, view->mode, sample->time, state, there);
    state[place] = sample->state[place];
    for (int i = 0; i < n; i++) {
      double change = there[hunting->places[i]] - here[hunting->places[i]];
      matrix[i * n + k] = change / shift * (hunting->sizes[k] / hunting->sizes[i]);
    }
  }
  return eigenvalues_least_damped(matrix, n, pair);
}

/* What grew between two looks counts by the slower of the two: what grows in passing shows in one only. */
static void count_growth(struct hunting *hunting, double growth, double frequency, double gone) {
  double slower = fmin(growth, hunting->growth_then);
  hunting->folds = slower > GROWTH_COUNTS ? hunting->folds + slower * gone : 0.0;
  if (hunting->folds > hunting->most_folds) {
    hunting->most_folds = hunting->folds;
    hunting->growth = slower;
    hunting->growth_frequency = frequency;
  }
}

/* Looks at the least damped mode. */
static void look(struct hunting *hunting, const struct view *view, const struct sample *sample) {
  struct eigenvalue_pair pair = {-1.0, 0.0};
  if (!find_pair(hunting, view, sample, &pair)) {
    pair.real = -1.0;
  }
  if (hunting->looked >= 0.0) {
    count_growth(hunting, pair.real, pair.imaginary / 6.283185307179586, sample->time - hunting->looked);
  }
  hunting->looked = sample->time;
  hunting->growth_then = pair.real;
  hunting->frequency_then = pair.imaginary / 6.283185307179586;
  hunting->steps = 0;
}

/* Is it time for one, at the end of the `steps`-th step since the last? */
static bool look_is_due(const struct hunting *hunting, const struct view *view, int steps, double t) {
  return steps >= hunting->steps_between && t - hunting->looked >= view->data->simulation.end_time / LOOKS_IN_A_RUN;
}

static void watch_growth(struct hunting *hunting, const struct view *view, const struct sample *sample) {
  hunting->steps++;
  if (look_is_due(hunting, view, hunting->steps, sample->time)) {
    look(hunting, view, sample);
  }
}

void hunting_observe(struct hunting *hunting, const struct view *view, const struct step *step) {
  if (hunting->pressure.there) {
    watch_swing(hunting, view, step->middle);
    watch_swing(hunting, view, step->end);
    watch_growth(hunting, view, step->end);
  }
}

bool hunting_idle(const struct hunting *hunting, const struct view *view, const double *times,
                  const double *pressures) {
  if (!hunting->pressure.there) {
    return true;
  }
  double extremum = hunting->extremum;
  for (int i = 1; i < 3; i++) {
    double beyond = pressures[i] - extremum;
    bool back = hunting->way == 0 || hunting->way * beyond < 0.0;
    if (back && !(fabs(beyond) <= LEAST_SWING)) {
      return false;
    }
    extremum = back ? extremum : pressures[i];
  }
  return !look_is_due(hunting, view, hunting->steps + 1, times[2]);
}

void hunting_glide(struct hunting *hunting, const double *times, const double *pressures) {
  for (int i = 1; i < 3 && hunting->pressure.there; i++) {
    if (hunting->way != 0 && !(hunting->way * (pressures[i] - hunting->extremum) < 0.0)) {
      hunting->extremum = pressures[i];
      hunting->extremum_time = times[i];
    }
  }
  hunting->steps += hunting->pressure.there;
}

void hunting_follow(const struct hunting *hunting, bool *needed) {
  if (hunting->pressure.there) {
    needed[hunting->pressure.index] = true;
  }
  if (hunting->grade.there) {
    needed[hunting->grade.index] = true;
  }
}

/* ---- what is told ---- */

/* Settings at which nobody has tried the method, in words; none for those that were. */
static void find_looseness(const struct simulation_parameters *simulation, char *words, int size) {
  const struct integrator_method *method = integrator_listed(simulation->method);
  struct simulation_parameters usual;
  registry_defaults(&simulation_group, 1, &usual);
  double looseness = fmax(simulation->relative_tolerance / usual.relative_tolerance,
                          simulation->pressure_tolerance / usual.pressure_tolerance);
  if (looseness > method->vouched * (1.0 + 1e-9)) {
    (void)snprintf(words, (size_t)size, "tolerances more than %.3g times the default, method %s", method->vouched,
                   method->name);
  } else if (method->iterates && simulation->nonlinear_tolerance > usual.nonlinear_tolerance * (1.0 + 1e-9)) {
    (void)snprintf(words, (size_t)size, "nonlinear tolerance above the default, method %s", method->name);
  }
}

static const char *find_doubt(const struct hunting *hunting, const struct simulation_parameters *simulation,
                              char *words, int size) {
  words[0] = '\0';
  if (hunting->hunts) {
    (void)snprintf(words, (size_t)size, "hunts, %.3g Hz, +-%.3g bar", hunting->frequency, 1e-5 * hunting->half);
  } else if (hunting->most_folds > FOLDS_TOLD) {
    (void)snprintf(words, (size_t)size, "a mode of %.3g Hz grows by %.3g 1/s: it may hunt", hunting->growth_frequency,
                   hunting->growth);
  } else {
    find_looseness(simulation, words, size);
  }
  return words;
}

bool hunting_end(struct hunting *hunting, const struct view *view, const struct sample *sample, struct outcome *outcome,
                 struct error *error) {
  if (!hunting->pressure.there) {
    return true;
  }
  /* A machine at rest takes so few steps that nobody has looked; and nothing says that what grew has stopped. */
  double gone = sample->time - fmax(hunting->looked, 0.0);
  if (hunting->looked < 0.0) {
    look(hunting, view, sample);
  }
  count_growth(hunting, hunting->growth_then, hunting->frequency_then, gone);
  char *doubt = outcome->doubt;
  (void)find_doubt(hunting, &view->data->simulation, doubt, sizeof outcome->doubt);
  outcome_give(outcome, MEASURE_hunts, hunting->hunts ? 1.0 : 0.0);
  outcome_give(outcome, MEASURE_vouched, doubt[0] == '\0' ? 1.0 : 0.0);
  if (hunting->hunts) {
    outcome_give(outcome, MEASURE_hunting_from, hunting->from);
    outcome_give(outcome, MEASURE_hunting_frequency, hunting->frequency);
    outcome_give(outcome, MEASURE_hunting_amplitude, hunting->half);
  } else {
    outcome_lack(outcome, MEASURE_hunting_from, "it does not hunt");
    outcome_lack(outcome, MEASURE_hunting_frequency, "it does not hunt");
    outcome_lack(outcome, MEASURE_hunting_amplitude, "it does not hunt");
  }
  if (view->no_events || doubt[0] == '\0') {
    return true;
  }
  char words[200];
  (void)snprintf(words, sizeof words, "%s; extremes are not vouched for", doubt);
  return event_log_add(outcome, view->plant, hunting->hunts ? hunting->from : sample->time, "hunting", words, -1, NAN,
                       error);
}
