/* The linear view against runs: a small step answers as the linear system says; hunting is found and named. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "bench.h"
#include "check.h"
#include "linear.h"
#include "units.h"
#include "window.h"

static struct window window_of(const char *name, double from, double to, const char *const *sets, int set_count) {
  struct error error = {0};
  struct case_data data;
  struct window window;
  char path[512];
  snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/baseline/%s.yaml", name);
  if (!case_load(path, sets, set_count, &data, &error) || !window_evaluate(&data, from, to, 400, &window, &error)) {
    fail_msg("%s", error.text);
  }
  case_free(&data);
  return window;
}

static void test_limiter_hunts(void **state) {
  (void)state;
  static const char *const narrow[] = {"limiter.band=10 bar"};
  struct window window = window_of("stall", 3.0, 4.0, narrow, 1);
  assert_int_equal(window.verdict, WINDOW_HUNTS);
  assert_non_null(strstr(window.words, "limiter pilot"));
  assert_non_null(strstr(window.words, "limiter.band"));
  /* Trap 6: 225 rad/s at a band of 50 bar, and faster the narrower it is. */
  assert_true(window.swing_frequency > 25.0 && window.swing_frequency < 60.0);
  window_free(&window);
}

/* Eigenvalues 0, -3, -1e4 of a matrix that is no longer simple: rounding must not make the zero grow, and what does
 * grow, however slowly, must. */
static void test_a_zero_neither_grows_nor_decays(void **state) {
  (void)state;
  static const double slowest[] = {0.0, 1e-6, -1e-6};
  static const double to[3][3] = {{1.0, 2.0, -1.0}, {0.5, -1.0, 3.0}, {2.0, 1.0, 1.0}};
  static const double back[3][3] = {
      {-4.0 / 4.5, -3.0 / 4.5, 5.0 / 4.5}, {5.5 / 4.5, 3.0 / 4.5, -3.5 / 4.5}, {2.5 / 4.5, 3.0 / 4.5, -2.0 / 4.5}};
  for (int which = 0; which < 3; which++) {
    const double values[3] = {slowest[which], -3.0, -1e4};
    struct linear linear = {.count = 3, .places = {0, 1, 2}, .sizes = {1.0, 1.0, 1.0}};
    for (int i = 0; i < 3; i++) {
      for (int k = 0; k < 3; k++) {
        double unit = 0.0;
        for (int j = 0; j < 3; j++) {
          linear.jacobian[3 * i + k] += to[i][j] * values[j] * back[j][k];
          unit += to[i][j] * back[j][k];
        }
        CHECK_NEAR(unit, i == k ? 1.0 : 0.0, 1e-12); /* `back` undoes `to` */
      }
    }
    struct modes modes;
    struct error error = {0};
    assert_true(modes_find(&linear, &modes, &error));
    assert_int_equal(modes.count, 3);
    if (which == 0) {
      assert_true(modes.modes[0].real == 0.0);
    } else {
      CHECK_CLOSE(modes.modes[0].real, slowest[which], 1e-3);
    }
    CHECK_CLOSE(modes.modes[1].real, -3.0, 1e-9);
    CHECK_CLOSE(modes.modes[2].real, -1e4, 1e-12);
  }
}

static void test_override_hunts(void **state) {
  (void)state;
  static const char *const narrow[] = {"motor.override_band=40 bar", "motor.servo_lag=80 ms",
                                       "motor.override_lag=10 ms"};
  struct window window = window_of("climb", 20.0, 30.0, narrow, 3);
  assert_int_equal(window.verdict, WINDOW_HUNTS);
  assert_non_null(strstr(window.words, "override"));
  window_free(&window);
}

static void test_sound_runs_are_sound(void **state) {
  (void)state;
  struct window stall = window_of("stall", 3.0, 7.0, NULL, 0);
  struct window climb = window_of("climb", 20.0, 35.0, NULL, 0);
  struct window downhill = window_of("downhill", 15.0, 20.0, NULL, 0);
  assert_int_equal(stall.verdict, WINDOW_SOUND);
  assert_int_equal(climb.verdict, WINDOW_SOUND);
  assert_int_equal(downhill.verdict, WINDOW_IN_PASSING);
  window_free(&stall);
  window_free(&climb);
  window_free(&downhill);
}

/* x' = J x by the classical fourth-order formula, for one step. */
static void linear_step(const struct linear *linear, double step, double *x) {
  int n = linear->count;
  double slopes[4][PLANT_STATE_LIMIT];
  for (int stage = 0; stage < 4; stage++) {
    double at[PLANT_STATE_LIMIT];
    double part = stage == 0 ? 0.0 : stage == 3 ? step : 0.5 * step;
    for (int i = 0; i < n; i++) {
      at[i] = x[i] + (stage > 0 ? part * slopes[stage - 1][i] : 0.0);
    }
    for (int i = 0; i < n; i++) {
      slopes[stage][i] = 0.0;
      for (int k = 0; k < n; k++) {
        slopes[stage][i] += linear->jacobian[i * n + k] * at[k];
      }
    }
  }
  for (int i = 0; i < n; i++) {
    x[i] += step / 6.0 * (slopes[0][i] + 2.0 * slopes[1][i] + 2.0 * slopes[2][i] + slopes[3][i]);
  }
}

/* A machine at rest, its engine nudged: what comes of the nudge is what the linear system says. */
static void test_free_motion(void **state) {
  (void)state;
  struct bench *bench = bench_open("machine: ../machines/forwarder.yaml\n");
  assert_true(bench->good);
  bench_run(bench, 5.0);
  struct instant instant;
  struct linear linear;
  struct error error = {0};
  instant_of(bench->data.plant, bench->model, bench->mode, bench->time, bench->state, &instant);
  assert_true(linear_make(&instant, NULL, &linear, &error));
  int engine = 0;
  while (linear.places[engine] != instant_place(&instant, "engine_speed")) {
    engine++;
  }
  const double nudge = 0.01;
  double x[PLANT_STATE_LIMIT] = {0.0};
  double start = bench->time;
  x[engine] = nudge;
  for (int k = 1; k <= 4; k++) {
    for (int i = 0; i < 1000; i++) {
      linear_step(&linear, 5e-5, x);
    }
    double ends[2];
    for (int side = 0; side < 2; side++) {
      memcpy(bench->state, instant.state, sizeof bench->state);
      bench->time = start;
      *bench_state(bench, "engine_speed") += side * nudge;
      bench_run(bench, start + 0.05 * k);
      ends[side] = *bench_state(bench, "engine_speed");
    }
    CHECK_NEAR(ends[1] - ends[0], x[engine], 2e-3 * nudge);
  }
  bench_close(bench);
}

/* Participation adds up, and the one mode of a lone lag is that lag's. */
static void test_participation(void **state) {
  (void)state;
  struct bench *bench = bench_open("title: bench\n");
  struct instant instant;
  struct linear linear;
  struct modes modes;
  struct error error = {0};
  instant_of(bench->data.plant, bench->model, bench->mode, 0.0, bench->state, &instant);
  assert_true(linear_make(&instant, NULL, &linear, &error));
  assert_true(modes_find(&linear, &modes, &error));
  for (int k = 0; k < modes.count; k++) {
    double sum = 0.0;
    for (int i = 0; i < linear.count; i++) {
      sum += modes.modes[k].share[i];
    }
    CHECK_CLOSE(sum, 1.0, 1e-12);
  }
  for (int i = 0; i < linear.count; i++) {
    assert_null(strstr(bench->data.plant->states[bench->rows[linear.places[i]]].name, "temperature"));
  }
  bench_close(bench);
}

/* A relief valve that stands open by a hair is at a kink, and that is reported. */
static void test_kinks(void **state) {
  (void)state;
  struct bench *bench = bench_open("title: bench\n");
  struct instant instant;
  struct linear linear;
  struct linear_kink kinks[KINK_LIMIT];
  struct error error = {0};
  bench_set_pressure(bench, "line_a_compression", 420e5 + 26e5);
  bench_set_pressure(bench, "line_b_compression", 26e5);
  *bench_parameter(bench, "relief", "setting") = 420e5;
  real kept[PLANT_STATE_LIMIT];
  memcpy(kept, bench->state, sizeof kept);
  bench_ready(bench);
  memcpy(bench->state, kept, sizeof kept);
  instant_of(bench->data.plant, bench->model, bench->mode, 0.0, bench->state, &instant);
  assert_true(linear_make(&instant, NULL, &linear, &error));
  int count = linear_kinks(&instant, &linear, kinks);
  bool told = false;
  for (int i = 0; i < count; i++) {
    told = told || (strcmp(bench->data.plant->states[bench->rows[kinks[i].rate]].name, "relief_a_opening") == 0);
  }
  assert_true(told);
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_limiter_hunts),
      cmocka_unit_test(test_override_hunts),
      cmocka_unit_test(test_sound_runs_are_sound),
      cmocka_unit_test(test_free_motion),
      cmocka_unit_test(test_a_zero_neither_grows_nor_decays),
      cmocka_unit_test(test_participation),
      cmocka_unit_test(test_kinks),
  };
  int failed = cmocka_run_group_tests(tests, NULL, NULL);
  return failed;
}
