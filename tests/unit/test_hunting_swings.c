/* What counts as hunting, on pressures that are written down: how many swings, how large, how slow, how regular, and
 * nobody moving the machine; and growth of a mode whose rate is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "check.h"
#include "hunting.h"
#include "integrator_method.h"
#include "integrators.h"
#include "toy.h"

#define PI 3.14159265358979323846

/* ---- a plant whose first signal is the pressure and whose second is the grade ---- */

static bool pedal_moves;

static bool is_time_dependent(const void *mode) {
  (void)mode;
  return pedal_moves;
}

static struct signal rows[TOY_STATES];
static struct plant plant;

static void make_plant(void) {
  memcpy(rows, toy_signal_rows, sizeof rows);
  rows[0].name = "line_pressure_difference";
  rows[1].name = "grade";
  plant = toy_plant;
  plant.signals = rows;
  plant.time_dependent = is_time_dependent;
}

/* A history of the pressure: value at t, with whatever else the test moves. */
struct history {
  double (*pressure)(const struct history *history, double t);
  double (*grade)(double t); /* NULL: level */
  double amplitude;          /* Pa */
  double frequency;          /* Hz */
  double decay;              /* of the amplitude, 1/s */
  double end;                /* s */
};

struct found {
  struct outcome outcome;
  bool hunts;
};

static void sample_at(const struct history *history, double t, struct sample *sample) {
  memset(sample, 0, sizeof *sample);
  sample->time = t;
  sample->signals[0] = history->pressure(history, t);
  sample->signals[1] = history->grade != NULL ? history->grade(t) : 0.0;
}

static void no_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  (void)rates;
}

/* The observer on a case of the toy, at the program's default tolerances. Its parts point at each other: not to be
 * moved. */
struct watched {
  const struct toy *toy;
  struct case_data data;
  struct toy_mode mode;
  struct view view;
  struct hunting hunting;
  struct error error;
  struct sample samples[3]; /* start, middle and end of the last step */
};

static void set_up(struct watched *watched, const struct toy *toy, double end) {
  memset(watched, 0, sizeof *watched);
  watched->data = toy_case(&watched->toy, toy, end);
  watched->data.plant = &plant;
  watched->data.simulation.relative_tolerance = 5e-7;
  watched->data.simulation.pressure_tolerance = 300.0;
  watched->view = (struct view){.data = &watched->data,
                                .plant = &plant,
                                .model = &watched->toy,
                                .mode = &watched->mode,
                                .state_count = TOY_STATES,
                                .no_events = true};
}

static void begin(struct watched *watched) {
  assert_true(hunting_begin(&watched->hunting, &watched->view, &watched->samples[0], &watched->error));
}

static void observe(struct watched *watched) {
  const struct step step = {&watched->samples[0], &watched->samples[1], &watched->samples[2]};
  hunting_observe(&watched->hunting, &watched->view, &step);
}

static void finish(struct watched *watched, struct outcome *outcome) {
  assert_true(hunting_end(&watched->hunting, &watched->view, &watched->samples[2], outcome, &watched->error));
}

/* Through the observer, in steps of a hundredth of a turn. */
static void watch(const struct history *history, struct found *found) {
  static const struct toy still = {.rates = no_rates, .release = NAN};
  struct watched watched;
  set_up(&watched, &still, 1e9);
  memset(found, 0, sizeof *found);
  double width = 0.01 / history->frequency;
  sample_at(history, 0.0, &watched.samples[0]);
  begin(&watched);
  for (double t = 0.0; t < history->end; t += width) {
    sample_at(history, t, &watched.samples[0]);
    sample_at(history, t + 0.5 * width, &watched.samples[1]);
    sample_at(history, t + width, &watched.samples[2]);
    observe(&watched);
  }
  finish(&watched, &found->outcome);
  found->hunts = found->outcome.measures[MEASURE_hunts] == 1.0;
  assert_true(found->hunts == (found->outcome.measures[MEASURE_vouched] == 0.0));
  assert_true(found->hunts == isfinite(found->outcome.measures[MEASURE_hunting_from]));
}

static double sine(const struct history *history, double t) {
  return 2e7 + history->amplitude * exp(-history->decay * t) * sin(2.0 * PI * history->frequency * t);
}

/* From its lowest point on. */
static double from_below(const struct history *history, double t) {
  return 2e7 - history->amplitude * cos(2.0 * PI * history->frequency * t);
}

/* 50 bar at 4 Hz: turns at 1/16 s, 3/16 s, ... The twelfth swing ends at 25/16 s. */
static void a_steady_swing_is_hunting(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = sine, .amplitude = 50e5, .frequency = 4.0, .end = 3.0};
  watch(&history, &found);
  assert_true(found.hunts);
  CHECK_CLOSE(found.outcome.measures[MEASURE_hunting_frequency], 4.0, 0.01);
  CHECK_CLOSE(found.outcome.measures[MEASURE_hunting_amplitude], 50e5, 0.002);
  double from = found.outcome.measures[MEASURE_hunting_from];
  assert_true(from > 1.0 / 16.0 - 0.005 && from < 3.0 / 16.0 + 0.005);
  assert_non_null(strstr(found.outcome.doubt, "hunts, 4 Hz, +-50 bar"));
  for (int way = -1; way <= 1; way += 2) { /* whichever way it begins */
    history.amplitude = way * 50e5;
    history.end = 1.5; /* eleven swings */
    watch(&history, &found);
    assert_false(found.hunts);
    history.end = 1.6; /* and the twelfth, once the pressure has turned */
    watch(&history, &found);
    assert_true(found.hunts);
  }
}

/* Four swings and the four that come eight later: a decay of 0.9 between them is the bound. */
static void a_swing_that_dies_away_is_none(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = sine, .amplitude = 50e5, .frequency = 4.0, .end = 3.0};
  history.decay = -log(0.88); /* over eight half turns, a second */
  watch(&history, &found);
  assert_false(found.hunts);
  history.decay = -log(0.92);
  watch(&history, &found);
  assert_true(found.hunts);
  CHECK_CLOSE(found.outcome.measures[MEASURE_hunting_amplitude], 50e5, 0.03); /* the largest counts */
  history.decay = -0.5;                                                       /* and where it grows that of the end */
  history.end = 4.0 + 1.0 / 12.0;
  watch(&history, &found);
  CHECK_CLOSE(found.outcome.measures[MEASURE_hunting_amplitude], 50e5 * exp(0.5 * 3.9375), 0.04);
}

/* Turning points at least a bar apart. */
static void small_swings_are_not_told(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = from_below, .amplitude = 0.47e5, .frequency = 4.0, .end = 5.0};
  watch(&history, &found);
  assert_false(found.hunts);
  history.amplitude = 0.53e5;
  watch(&history, &found);
  assert_true(found.hunts);
}

/* Half a turn takes two seconds at most. */
static void slow_swings_are_driving(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = sine, .amplitude = 50e5, .frequency = 0.24, .end = 60.0};
  watch(&history, &found);
  assert_false(found.hunts);
  history.frequency = 0.26;
  watch(&history, &found);
  assert_true(found.hunts);
}

/* 400 bar in ten seconds, up or down, however fine the steps: no turn at all. */
static double ramp(const struct history *history, double t) {
  return 2e7 + history->amplitude * t;
}

static void a_ramp_swings_with_nobody(void **state) {
  (void)state;
  struct found found;
  for (int way = -1; way <= 1; way += 2) {
    struct history history = {.pressure = ramp, .amplitude = way * 40e5, .frequency = 0.1, .end = 10.0};
    watch(&history, &found);
    assert_false(found.hunts);
    history.frequency = 4.0;
    watch(&history, &found);
    assert_false(found.hunts);
  }
}

/* Eight swings, a pause of as long as five of them, eight more. */
static double bursts(const struct history *history, double t) {
  double turn = 1.0 / history->frequency;
  double within = fmod(t, 6.5 * turn);
  return 2e7 + (within < 4.0 * turn ? history->amplitude * sin(2.0 * PI * within / turn) : 0.0);
}

static void bursts_are_no_hunting(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = bursts, .amplitude = 50e5, .frequency = 4.0, .end = 10.0};
  watch(&history, &found);
  assert_false(found.hunts);
}

/* Ground that goes up and down moves the pressure, and so does a pedal. */
static double waves(double t) {
  return 0.01 * sin(2.0 * PI * 4.0 * t + 0.3);
}

static double ripples(double t) {
  return 0.0004 * sin(2.0 * PI * 4.0 * t + 0.3);
}

static void what_is_moved_does_not_hunt(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = sine, .amplitude = 50e5, .frequency = 4.0, .end = 5.0, .grade = waves};
  watch(&history, &found);
  assert_false(found.hunts);
  history.grade = ripples; /* of less than a thousandth move nothing */
  watch(&history, &found);
  assert_true(found.hunts);
  history.grade = NULL;
  pedal_moves = true;
  watch(&history, &found);
  pedal_moves = false;
  assert_false(found.hunts);
}

/* ---- growth ---- */

/* v'' = 2 g v' - (w^2 + g^2) v: amplitudes go by exp(g t), w/2 pi Hz. */
static double growth_in_between; /* 1/s: g from 8.5 to 10.5 s, where one look falls */
static double growth_else;

static void growing_rates(double t, double lever, const double *y, double *rates) {
  double g = t >= 8.5 && t < 10.5 ? growth_in_between : growth_else;
  double w = 2.0 * PI * 3.0;
  (void)lever;
  rates[0] = y[1];
  rates[1] = 2.0 * g * y[1] - (w * w + g * g) * y[0];
}

/* Of a run of 32 s, in steps of which the method's looks are two seconds apart; the first at 1 s. */
static void grow(double end, struct outcome *outcome) {
  static const struct toy growing = {.rates = growing_rates, .release = NAN};
  struct watched watched;
  set_up(&watched, &growing, 32.0);
  memset(outcome, 0, sizeof *outcome);
  begin(&watched);
  const double width = 2.0 / integrator_listed(watched.data.simulation.method)->steps_between_looks;
  for (int k = 0; k < (int)(end / width + 0.5); k++) {
    watched.samples[0].time = width * k;
    watched.samples[1].time = width * (k + 0.5);
    watched.samples[2].time = width * (k + 1);
    observe(&watched);
  }
  finish(&watched, outcome);
  assert_true(outcome->measures[MEASURE_hunts] == 0.0);
}

/* Told once it has grown by exp(1.5) since the first look: 0.1 1/s takes fifteen seconds. */
static void a_mode_that_grows_is_told(void **state) {
  (void)state;
  struct outcome outcome;
  growth_else = growth_in_between = 0.1;
  grow(15.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 1.0);
  grow(19.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 0.0);
  assert_string_equal(outcome.doubt, "a mode of 3 Hz grows by 0.1 1/s: it may hunt");
  growth_else = growth_in_between = 0.9 * 0.02; /* slower than counts */
  grow(32.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 1.0);
  growth_else = growth_in_between = -0.5;
  grow(32.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 1.0);
}

/* Seen at one look only, it counts by the slower of two: nothing. A mode that does not grow at one look begins anew. */
static void growth_in_passing_does_not_count(void **state) {
  (void)state;
  struct outcome outcome;
  growth_else = -0.5;
  growth_in_between = 10.0;
  grow(32.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 1.0);
  growth_else = 0.13;
  growth_in_between = 0.13;
  grow(15.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 0.0);
  growth_in_between = -10.0;
  grow(15.0, &outcome);
  assert_true(outcome.measures[MEASURE_vouched] == 1.0);
}

/* Ripples of 1.2 bar, then a jolt of 200 bar at 2 s that rings away. */
static double jolted(const struct history *history, double t) {
  double ripple = 1.2e5 * sin(2.0 * PI * 2.0 * t);
  double ringing =
      history->amplitude * exp(-history->decay * (t - 2.0)) * cos(2.0 * PI * history->frequency * (t - 2.0));
  return 2e7 + (t < 2.0 ? ripple : ringing);
}

/* The small swings before a jolt are no measure of those after it. Where it rings on undamped it is told. */
static void a_jolt_and_its_ringing_is_no_hunting(void **state) {
  (void)state;
  struct found found;
  struct history history = {.pressure = jolted, .amplitude = 200e5, .frequency = 1.0, .decay = 0.5, .end = 14.0};
  watch(&history, &found);
  assert_false(found.hunts);
  history.decay = 0.0;
  watch(&history, &found);
  assert_true(found.hunts);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_steady_swing_is_hunting),        cmocka_unit_test(a_swing_that_dies_away_is_none),
      cmocka_unit_test(small_swings_are_not_told),        cmocka_unit_test(slow_swings_are_driving),
      cmocka_unit_test(a_ramp_swings_with_nobody),        cmocka_unit_test(bursts_are_no_hunting),
      cmocka_unit_test(what_is_moved_does_not_hunt),      cmocka_unit_test(a_mode_that_grows_is_told),
      cmocka_unit_test(growth_in_passing_does_not_count), cmocka_unit_test(a_jolt_and_its_ringing_is_no_hunting),
  };
  make_plant();
  return cmocka_run_group_tests(tests, NULL, NULL);
}
