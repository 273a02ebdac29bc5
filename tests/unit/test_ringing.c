/* Ringing of high-order formulas at a plant at rest (ringing.h): the watch, and the integrator that listens to it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "check.h"
#include "integrator.h"
#include "ringing.h"

/* ---- the watch ---- */

/* One state that oscillates, 20 steps a turn, by amplitude `high` (in tolerances) that goes with `decay` a step, on a
 * slope. Returns the verdict of the last full window after `steps` steps. */
static enum ringing_verdict verdict_of(double high, double decay, int steps) {
  struct ringing ringing = {0};
  const double absolute[1] = {1e-3};
  const double relative[1] = {0.0};
  enum ringing_verdict last = RINGING_UNKNOWN;
  assert_true(ringing_make(&ringing, 1));
  for (int i = 0; i <= steps; i++) {
    double state[1] = {7.0 + 0.3 * i + 1e-3 * high * pow(decay, i) * sin(0.314 * i)};
    enum ringing_verdict now = ringing_note(&ringing, 0.01 * i, state, absolute, relative);
    last = now != RINGING_UNKNOWN ? now : last;
  }
  ringing_free(&ringing);
  return last;
}

static void what_stays_is_ringing(void **state) {
  (void)state;
  assert_int_equal(verdict_of(100.0, 1.0, 2 * RINGING_STEPS), RINGING_NOT); /* not long enough to tell */
  assert_int_equal(verdict_of(100.0, 1.0, 4 * RINGING_STEPS), RINGING_IS);
}

static void what_decays_is_none(void **state) {
  (void)state;
  assert_int_equal(verdict_of(2000.0, 0.98, 8 * RINGING_STEPS), RINGING_NOT);
}

static void what_is_large_is_a_plant_that_moves(void **state) {
  (void)state;
  assert_int_equal(verdict_of(1e4, 1.0, 8 * RINGING_STEPS), RINGING_NOT);
  assert_int_equal(verdict_of(1e6, 1.0, 8 * RINGING_STEPS), RINGING_MOVES);
}

/* ---- the integrator ---- */

/* A lightly damped mode (120 rad/s, 1 % of critical) that follows a level which settles in seconds: place, speed,
 * level. Exact: the place is the level, but for 1e-4 of it, once the start has decayed (rate 1.2 1/s). */
static void rates_of_mode(void *context, double t, const double *y, double *rates) {
  const double frequency = 120.0;
  (void)context;
  (void)t;
  rates[0] = y[1];
  rates[1] = -2.0 * 0.01 * frequency * y[1] - frequency * frequency * (y[0] - y[2]);
  rates[2] = (1.0 - y[2]) / 3.0;
}

static void a_plant_at_rest_is_at_rest(void **state) {
  (void)state;
  const double tolerances[3] = {1e-6, 1e-4, 1e-6};
  const char *names[3] = {"place", "speed", "level"};
  struct integrator_problem problem = {
      .state_count = 3,
      .rates = rates_of_mode,
      .tolerances = tolerances,
      .state_names = names,
      .relative_tolerance = 1e-6,
      .nonlinear_tolerance = 0.01,
      .largest_order = 5,
      .largest_step = 1e6,
  };
  struct error error = {0};
  double y[3] = {0.0, 0.0, 0.0};
  double worst = 0.0;
  long late = 0;
  struct integrator *integrator = integrator_new(&problem, &error);
  assert_non_null(integrator);
  assert_true(integrator_start(integrator, 0.0, y, NULL, &error));
  while (integrator_time(integrator) < 40.0) {
    assert_true(integrator_step(integrator, 40.0, &error));
    double t = integrator_time(integrator);
    if (t > 20.0) { /* the start has decayed to 4e-11 */
      integrator_state_at(integrator, t, y);
      worst = fmax(worst, fabs(y[1] - exp(-t / 3.0) / 3.0));
      late++;
    }
  }
  integrator_free(integrator);
  print_message("speed off by at most %.2g, %ld steps in the last 20 s\n", worst, late);
  CHECK_NEAR(worst, 0.0, 1e-3); /* ten tolerances */
  assert_in_range(late, 1, 400);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_stays_is_ringing),
      cmocka_unit_test(what_decays_is_none),
      cmocka_unit_test(what_is_large_is_a_plant_that_moves),
      cmocka_unit_test(a_plant_at_rest_is_at_rest),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
