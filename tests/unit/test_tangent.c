/* Derivatives of runs whose solutions are known in closed form: through smooth stretches, through changes of mode whose
 * time moves, through what such a change does to the states, and through actions. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdlib.h>

#include "check.h"
#include "toy.h"

#define STEP 1e-4

enum { SAMPLES_KEPT = 4096 };

struct kept {
  int signal_count;
  int count;
  double time[SAMPLES_KEPT];
  double derivative[SAMPLES_KEPT][TOY_STATES];
};

static bool keep(void *context, double time, const double *derivatives, struct error *error) {
  struct kept *kept = context;
  (void)error;
  if (kept->count < SAMPLES_KEPT) {
    kept->time[kept->count] = time;
    memcpy(kept->derivative[kept->count], derivatives, sizeof kept->derivative[0]);
    kept->count++;
  }
  return true;
}

static bool ignore(void *context, int count, const double *time, const double *const *values, struct error *error) {
  (void)context;
  (void)count;
  (void)time;
  (void)values;
  (void)error;
  return true;
}

/* The run of `data` with one parameter, by its neighbours; everything known about its derivative. */
static struct sensitivity_result differentiate(const struct case_data *data, const struct case_data *up,
                                               const struct case_data *down, struct kept *kept,
                                               struct outcome *outcome) {
  static const int signals[TOY_STATES] = {0, 1, 2, 3};
  const double step = STEP;
  const double scale = 1.0;
  struct sensitivity_request request = {1, up, down, &step, &scale, TOY_STATES, signals, kept, keep};
  struct recorder recorder = {NULL, ignore};
  struct sensitivity_result result;
  struct error error = {0};
  kept->count = 0;
  if (!run_sensitive(data, &request, &recorder, NULL, outcome, &result, &error)) {
    fail_msg("%s", error.text);
  }
  return result;
}

/* Three cases of a toy whose start value `which` differs. */
static struct sensitivity_result by_start(const struct toy *toy, int which, double end_time, struct action *action,
                                          struct kept *kept, struct outcome *outcome) {
  struct toy up_toy = *toy;
  struct toy down_toy = *toy;
  up_toy.start[which] += STEP;
  down_toy.start[which] -= STEP;
  const struct toy *refs[3];
  struct case_data data = toy_case(&refs[0], toy, end_time);
  struct case_data up = toy_case(&refs[1], &up_toy, end_time);
  struct case_data down = toy_case(&refs[2], &down_toy, end_time);
  if (action != NULL) {
    data.actions = up.actions = down.actions = action;
    data.action_count = up.action_count = down.action_count = 1;
  }
  return differentiate(&data, &up, &down, kept, outcome);
}

static void finish(struct sensitivity_result *result, struct outcome *outcome) {
  free(result->measures);
  outcome_free(outcome);
}

static struct kept kept;

/* ---- smooth: y' = -k y, k the second state ---- */

static void decay_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = -y[1] * y[0];
}

static void decay_powers(double t, const double *y, double *in, double *lost) {
  (void)t;
  *in = y[0];
  *lost = 2.0 * y[0];
}

static void a_smooth_run(void **state) {
  (void)state;
  struct toy toy = {.start = {2.0, 1.5}, .rates = decay_rates, .powers = decay_powers, .release = NAN};
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 1, 2.0, NULL, &kept, &outcome);
  assert_true(kept.count > 100);
  for (int k = 0; k < kept.count; k++) {
    double t = kept.time[k];
    CHECK_NEAR(kept.derivative[k][0], -2.0 * t * exp(-1.5 * t), 1e-7);
    CHECK_NEAR(kept.derivative[k][1], 1.0, 1e-9);
  }
  /* relief heat: integral of 2 y = 4 (1 - e^{-k t})/k */
  double e = exp(-3.0);
  CHECK_CLOSE(result.measures[0][MEASURE_relief_heat], 4.0 * (2.0 * e / 1.5 - (1.0 - e) / 2.25), 1e-6);
  assert_int_equal(result.moved, 0);
  finish(&result, &outcome);
}

/* ---- a ball that falls and bounces: the states jump at a time that depends on the height ---- */

static void fall_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = y[1];
  rates[1] = -y[2];
}

static double height(const double *y) {
  return y[0];
}

static enum plant_verdict bounce(double *y, const char **message) {
  (void)message;
  y[0] = 0.0;
  y[1] = -0.5 * y[1];
  return PLANT_GOES_ON;
}

static const struct toy ball = {
    .start = {1.0, 0.0, 8.0}, .rates = fall_rates, .falls = height, .change = bounce, .release = NAN};

static void a_bounce_moves_with_the_height(void **state) {
  (void)state;
  struct outcome outcome;
  /* h = 1, g = 8: down at t1 = sqrt(2 h/g) = 0.5 with 4; up again with 2, back at t2 = 1. */
  struct sensitivity_result result = by_start(&ball, 0, 0.95, NULL, &kept, &outcome);
  double moved = 1.0 / (8.0 * 0.5); /* dt1/dh = 1/(g t1) */
  double faster = 8.0 * moved;      /* d(impact speed)/dh = g dt1/dh */
  for (int k = 0; k < kept.count; k++) {
    double t = kept.time[k];
    if (t < 0.499) {
      CHECK_NEAR(kept.derivative[k][0], 1.0, 1e-7);
    } else if (t > 0.501) {
      /* height e v1 (t - t1) - g (t - t1)^2/2 */
      double after = t - 0.5;
      CHECK_NEAR(kept.derivative[k][0], 0.5 * faster * after - 2.0 * moved + 8.0 * after * moved, 1e-6);
      CHECK_NEAR(kept.derivative[k][1], 0.5 * faster + 8.0 * moved, 1e-6);
    }
  }
  assert_int_equal(result.moved, 1);
  assert_int_equal(result.unsure, 0);
  finish(&result, &outcome);
}

static void a_bounce_moves_with_the_pull(void **state) {
  (void)state;
  struct outcome outcome;
  struct sensitivity_result result = by_start(&ball, 2, 0.95, NULL, &kept, &outcome);
  double moved = -0.5 * 0.5 / 8.0; /* dt1/dg = -t1/(2 g) */
  double faster = 0.5 * 4.0 / 8.0; /* v1 = sqrt(2 g h) */
  double t = kept.time[kept.count - 1];
  double after = t - 0.5;
  CHECK_NEAR(kept.derivative[kept.count - 1][0],
             0.5 * faster * after - 2.0 * moved - 0.5 * after * after + 8.0 * after * moved, 1e-6);
  finish(&result, &outcome);
}

static enum plant_verdict end_here(double *y, const char **message) {
  (void)y;
  *message = "down";
  return PLANT_ENDS_RUN;
}

static void fall_powers(double t, const double *y, double *in, double *lost) {
  (void)t;
  (void)y;
  *in = 0.0;
  *lost = 3.0;
}

/* A run that ends by itself: what its end makes of the measures moves with the end. */
static void an_end_moves(void **state) {
  (void)state;
  struct toy toy = ball;
  toy.change = end_here;
  toy.powers = fall_powers;
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 0, 2.0, NULL, &kept, &outcome);
  assert_int_equal(outcome.status, RUN_STOPPED);
  CHECK_CLOSE(result.measures[0][MEASURE_relief_heat], 3.0 * 0.25, 1e-6);
  finish(&result, &outcome);
}

/* ---- a table whose point is the parameter ---- */

static void lever_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  rates[0] = lever;
  rates[1] = y[0];
}

static void a_step_of_a_table_moves(void **state) {
  (void)state;
  double arguments[3][3] = {{0.0, 0.7, 0.7}, {0.0, 0.7 + STEP, 0.7 + STEP}, {0.0, 0.7 - STEP, 0.7 - STEP}};
  double values[] = {1.0, 1.0, 3.0};
  struct toy toys[3];
  const struct toy *refs[3];
  struct case_data cases[3];
  for (int i = 0; i < 3; i++) {
    toys[i] = (struct toy){.rates = lever_rates, .release = NAN};
    toys[i].lever = (struct profile){.count = 3, .argument = arguments[i], .value = values};
    cases[i] = toy_case(&refs[i], &toys[i], 1.5);
  }
  struct outcome outcome;
  struct sensitivity_result result = differentiate(&cases[0], &cases[1], &cases[2], &kept, &outcome);
  for (int k = 0; k < kept.count; k++) {
    double t = kept.time[k];
    double after = fmax(0.0, t - 0.7);
    if (fabs(t - 0.7) > 1e-3) {
      /* y0 = T + 3 (t - T), y1 = ... its integral */
      CHECK_NEAR(kept.derivative[k][0], t > 0.7 ? -2.0 : 0.0, 1e-7);
      CHECK_NEAR(kept.derivative[k][1], -2.0 * after, 1e-7);
    }
  }
  finish(&result, &outcome);
}

/* ---- an action that waits for a signal: a ramp that begins when y0 passes 1 ---- */

static void race_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  rates[0] = y[2];
  rates[1] = lever;
}

static void an_action_moves(void **state) {
  (void)state;
  struct toy toy = {.start = {0.0, 0.0, 2.0}, .rates = race_rates, .release = NAN};
  struct action action = {
      .name = "go", .when = {.signal = 0, .above = true, .level = 1.0}, .target = 4.0, .duration = 0.5};
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 2, 2.0, &action, &kept, &outcome);
  /* Passes at T = 1/v = 0.5, dT/dv = -1/v^2 = -0.25. The lever rises by 8 a second for 0.5 s, then rests at 4. */
  for (int k = 0; k < kept.count; k++) {
    double after = kept.time[k] - 0.5;
    if (after > 1e-3 && after < 0.499) {
      CHECK_NEAR(kept.derivative[k][1], 8.0 * after * 0.25, 1e-6);
    } else if (after > 0.501) {
      CHECK_NEAR(kept.derivative[k][1], 4.0 * 0.25, 1e-6);
    }
  }
  assert_int_equal(result.moved, 2); /* begin and end of the ramp */
  finish(&result, &outcome);
}

/* ---- measures: extremes and spans of the neighbours ---- */

static void wave_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = 2.0 * y[1];
  rates[1] = -2.0 * y[0];
}

/* relief_a_flow is y1 = a cos(2 t) here, open above 1e-5 m3/s. */
static void measures_have_derivatives(void **state) {
  (void)state;
  struct toy toy = {.start = {0.0, 1e-4}, .rates = wave_rates, .release = NAN};
  struct toy up_toy = toy;
  struct toy down_toy = toy;
  const double step = 1e-8;
  const double scale = 1e-4;
  up_toy.start[1] += step;
  down_toy.start[1] -= step;
  const struct toy *refs[3];
  struct case_data data = toy_case(&refs[0], &toy, 3.0);
  struct case_data up = toy_case(&refs[1], &up_toy, 3.0);
  struct case_data down = toy_case(&refs[2], &down_toy, 3.0);
  data.simulation.pressure_tolerance = 1e-3; /* the states are small */
  up.simulation = down.simulation = data.simulation;
  struct sensitivity_request request = {1, &up, &down, &step, &scale, 0, NULL, NULL, NULL};
  struct sensitivity_result result;
  struct outcome outcome;
  struct error error = {0};
  assert_true(run_sensitive(&data, &request, NULL, NULL, &outcome, &result, &error));
  CHECK_NEAR(result.measures[0][MEASURE_peak_line_a_pressure], 1.0, 1e-6);
  /* Open until cos(2 t) = c/a and again from 2 pi less that, to the end: d/da of both crossings is
   * 1/(2 a) (c/a)/sqrt(1 - (c/a)^2), once to the later, once to the earlier. */
  double ratio = 0.1;
  double shift = 0.5 / 1e-4 * ratio / sqrt(1.0 - ratio * ratio);
  CHECK_CLOSE(result.measures[0][MEASURE_relief_a_open_time], 2.0 * shift, 1e-4);
  CHECK_NEAR(result.measures[0][MEASURE_relief_a_openings], 0.0, 0.0);
  finish(&result, &outcome);
}

/* A crossing that only touches has no derivative, and that is reported. */
/* ---- a change that any of the states may make: it falls from 0.5 to zero, is lifted by 5, and another begins to rise
 * by 3 a second ---- */

static int falling_state;

static void any_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[falling_state] = -1.0;
  rates[(falling_state + 1) % TOY_STATES] = y[falling_state] > 2.0 ? 3.0 : 0.0;
}

static double any_falls(const double *y) {
  return y[falling_state];
}

static enum plant_verdict any_change(double *y, const char **message) {
  (void)message;
  y[falling_state] += 5.0;
  return PLANT_GOES_ON;
}

static void a_change_moves_with_whichever_state_makes_it(void **state) {
  (void)state;
  for (falling_state = 0; falling_state < TOY_STATES; falling_state++) {
    int rises = (falling_state + 1) % TOY_STATES;
    struct toy toy = {.rates = any_rates, .falls = any_falls, .change = any_change, .release = NAN};
    toy.start[falling_state] = 0.5;
    struct outcome outcome;
    struct sensitivity_result result = by_start(&toy, falling_state, 1.5, NULL, &kept, &outcome);
    assert_true(kept.count > 0 && kept.time[kept.count - 1] > 1.4);
    for (int i = 0; i < TOY_STATES; i++) {
      double expected = i == falling_state ? 1.0 : i == rises ? -3.0 : 0.0; /* it changes later by the parameter */
      CHECK_NEAR(kept.derivative[kept.count - 1][i], expected, 1e-6);
    }
    assert_int_equal(result.moved, 1);
    assert_int_equal(result.unsure, 0);
    finish(&result, &outcome);
  }
}

/* However large the states are, a trigger is differentiated over microseconds: place x = 1e6 + t, and 1 - (x - 1e6)^3
 * falls through zero a second after the start, or as much earlier as the start lies farther on. */
static void far_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = 1.0;
  rates[1] = y[2] > 0.5 ? 3.0 : 0.0;
}

static double far_falls(const double *y) {
  return y[2] > 0.5 ? 1.0 : 1.0 - pow(y[0] - 1e6, 3.0);
}

static enum plant_verdict far_change(double *y, const char **message) {
  (void)message;
  y[2] = 1.0;
  return PLANT_GOES_ON;
}

static void a_curved_trigger_far_out(void **state) {
  (void)state;
  struct toy toy = {.start = {1e6}, .rates = far_rates, .falls = far_falls, .change = far_change, .release = NAN};
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 0, 1.5, NULL, &kept, &outcome);
  assert_true(kept.count > 0 && kept.time[kept.count - 1] > 1.4);
  CHECK_NEAR(kept.derivative[kept.count - 1][0], 1.0, 1e-6);
  CHECK_NEAR(kept.derivative[kept.count - 1][1], 3.0, 1e-3);
  finish(&result, &outcome);
}

/* What a run stands at when it ends by itself moves with its end: a speed that grows by 2 and a distance by 3 a second,
 * the end being later by the parameter. */
static void to_the_end_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  rates[0] = -1.0;
  rates[2] = 2.0;
  rates[3] = 3.0;
}

static void what_a_run_ends_at_moves_with_its_end(void **state) {
  (void)state;
  struct toy toy = {.start = {0.5}, .rates = to_the_end_rates, .falls = height, .change = end_here, .release = NAN};
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 0, 2.0, NULL, &kept, &outcome);
  assert_int_equal(outcome.status, RUN_STOPPED);
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 1.5, 1e-9);
  CHECK_NEAR(result.measures[0][MEASURE_vehicle_speed_end], 2.0, 1e-6);
  CHECK_NEAR(result.measures[0][MEASURE_vehicle_distance_end], 3.0, 1e-6);
  finish(&result, &outcome);
}

/* ---- two clocks that strike together: the lever's step at 1 s moves with the parameter, a bell at 1 s does not ----
 */

struct belled_mode {
  struct toy_mode toy;
  bool rung;
};

static void belled_start(const void *model, void *mode, real *state) {
  toy_start(model, mode, state);
  ((struct belled_mode *)mode)->rung = false;
}

static real belled_next_time(const void *mode) {
  const struct belled_mode *belled = mode;
  return fmin(toy_next_time(&belled->toy), belled->rung ? HUGE_VAL : 1.0);
}

static enum plant_verdict belled_change(const void *model, void *mode, real t, real *state, int which,
                                        const char **message) {
  struct belled_mode *belled = mode;
  *message = NULL;
  belled->rung = belled->rung || t + clock_apart(t) >= 1.0;
  return toy_next_time(&belled->toy) <= t + clock_apart(t) ? toy_change(model, mode, t, state, which, message)
                                                           : PLANT_GOES_ON;
}

/* A neighbour whose step comes after the bell stops at the bell first: the time moves as on the other side, where the
 * step comes first. The first state is the lever's integral: at 2 s the lever has been at 3 for 2 s less the step's
 * time. With the step later, or earlier, by twice the parameter. */
static void clocks_that_strike_together(void **state) {
  (void)state;
  struct plant plant = toy_plant;
  plant.mode_size = sizeof(struct belled_mode);
  plant.start = belled_start;
  plant.next_time = belled_next_time;
  plant.change = belled_change;
  static const real values[] = {0.0, 3.0};
  for (int way = -1; way <= 1; way += 2) {
    real times[3][2];
    struct toy toys[3];
    const struct toy *refs[3];
    struct case_data data[3];
    for (int k = 0; k < 3; k++) {
      double moved = k == 0 ? 0.0 : (k == 1 ? 2.0 : -2.0) * way * STEP;
      times[k][0] = times[k][1] = 1.0 + moved;
      toys[k] = (struct toy){.rates = lever_rates, .release = NAN};
      toys[k].lever = (struct profile){2, times[k], values, false};
      data[k] = toy_case(&refs[k], &toys[k], 2.0);
      data[k].plant = &plant;
    }
    struct outcome outcome;
    struct sensitivity_result result = differentiate(&data[0], &data[1], &data[2], &kept, &outcome);
    assert_true(kept.count > 0 && kept.time[kept.count - 1] > 1.9);
    CHECK_NEAR(kept.derivative[kept.count - 1][0], -3.0 * 2.0 * way, 1e-6);
    assert_int_equal(result.unsure, 1); /* it is told */
    finish(&result, &outcome);
  }
}

/* ---- the start of braking moves: v = 2 - t to its stop at 1.95 s, whatever braking means ---- */

static void stop_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[2] = y[2] > 0.0 ? -1.0 : 0.0;
  rates[3] = y[2];
}

static void a_stop_moves_with_the_start_of_braking(void **state) {
  (void)state;
  struct toy toy = {.start = {0.0, 0.0, 2.0, 0.0}, .rates = stop_rates, .release = 0.5};
  struct toy up_toy = toy;
  struct toy down_toy = toy;
  up_toy.release += 3.0 * STEP;
  down_toy.release -= 3.0 * STEP;
  const struct toy *refs[3];
  struct case_data data = toy_case(&refs[0], &toy, 4.0);
  struct case_data up = toy_case(&refs[1], &up_toy, 4.0);
  struct case_data down = toy_case(&refs[2], &down_toy, 4.0);
  struct outcome outcome;
  struct sensitivity_result result = differentiate(&data, &up, &down, &kept, &outcome);
  CHECK_NEAR(outcome.measures[MEASURE_stop_from_speed], 1.5, 1e-9);
  CHECK_NEAR(result.measures[0][MEASURE_stop_from], 3.0, 1e-9);
  CHECK_NEAR(result.measures[0][MEASURE_stop_time], -3.0, 1e-6);
  CHECK_NEAR(result.measures[0][MEASURE_stop_distance], -4.5, 1e-6); /* braking later: shorter by v dt */
  assert_true(isnan(result.measures[0][MEASURE_stop_from_speed]));
  finish(&result, &outcome);
}

/* Where only one of the neighbours ever brakes, nothing tells how the start of braking moves: it counts as at rest. */
static void a_start_of_braking_on_one_side_does_not_move(void **state) {
  (void)state;
  struct toy toy = {.start = {0.0, 0.0, 2.0, 0.0}, .rates = stop_rates, .release = 0.5};
  for (int side = 0; side < 2; side++) {
    struct toy toys[2] = {toy, toy};
    toys[side].release = NAN;
    const struct toy *refs[3];
    struct case_data data = toy_case(&refs[0], &toy, 4.0);
    struct case_data up = toy_case(&refs[1], &toys[0], 4.0);
    struct case_data down = toy_case(&refs[2], &toys[1], 4.0);
    struct outcome outcome;
    struct sensitivity_result result = differentiate(&data, &up, &down, &kept, &outcome);
    CHECK_NEAR(result.measures[0][MEASURE_stop_from], 0.0, 0.0);
    CHECK_NEAR(result.measures[0][MEASURE_stop_time], 0.0, 1e-9);
    CHECK_NEAR(result.measures[0][MEASURE_stop_distance], 0.0, 1e-9);
    finish(&result, &outcome);
  }
}

static void touch_rates(double t, double lever, const double *y, double *rates) {
  (void)lever;
  (void)y;
  rates[0] = -3.0 * (t - 1.0) * (t - 1.0);
}

static enum plant_verdict no_change(double *y, const char **message) {
  (void)message;
  y[0] += 5.0;
  return PLANT_GOES_ON;
}

static void a_touch_is_told(void **state) {
  (void)state;
  /* y0 = -(t - 1)^3 comes to zero at t = 1 with no slope. */
  struct toy toy = {.start = {1.0}, .rates = touch_rates, .falls = height, .change = no_change, .release = NAN};
  struct outcome outcome;
  struct sensitivity_result result = by_start(&toy, 0, 2.0, NULL, &kept, &outcome);
  assert_int_equal(result.unsure, 1);
  CHECK_NEAR(result.first_unsure, 1.0, 0.01);
  finish(&result, &outcome);
}

/* A run with derivatives is the run without. */
static void the_run_itself_is_the_same(void **state) {
  (void)state;
  struct outcome outcome;
  struct sensitivity_result result = by_start(&ball, 0, 0.95, NULL, &kept, &outcome);
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &ball, 0.95);
  struct outcome plain;
  struct error error = {0};
  assert_true(run_case(&data, NULL, NULL, &plain, &error));
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_speed_end], plain.measures[MEASURE_vehicle_speed_end], 1e-9);
  CHECK_NEAR(outcome.measures[MEASURE_peak_line_a_pressure], plain.measures[MEASURE_peak_line_a_pressure], 1e-9);
  outcome_free(&plain);
  finish(&result, &outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_smooth_run),
      cmocka_unit_test(a_bounce_moves_with_the_height),
      cmocka_unit_test(a_bounce_moves_with_the_pull),
      cmocka_unit_test(an_end_moves),
      cmocka_unit_test(a_step_of_a_table_moves),
      cmocka_unit_test(an_action_moves),
      cmocka_unit_test(measures_have_derivatives),
      cmocka_unit_test(a_change_moves_with_whichever_state_makes_it),
      cmocka_unit_test(a_curved_trigger_far_out),
      cmocka_unit_test(what_a_run_ends_at_moves_with_its_end),
      cmocka_unit_test(clocks_that_strike_together),
      cmocka_unit_test(a_stop_moves_with_the_start_of_braking),
      cmocka_unit_test(a_start_of_braking_on_one_side_does_not_move),
      cmocka_unit_test(a_touch_is_told),
      cmocka_unit_test(the_run_itself_is_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
