/* Studies: every arrangement, every refusal with its place, and that case k depends on nothing but the study and k. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"
#include "plan.h"
#include "run.h"
#include "units.h"

static char folder[64];

static const char *beside(const char *name) {
  static char path[128];
  (void)snprintf(path, sizeof path, "%s/%s", folder, name);
  return path;
}

static void write_file(const char *name, const char *text) {
  FILE *file = fopen(beside(name), "wb");
  assert_non_null(file);
  (void)fputs(text, file);
  assert_int_equal(fclose(file), 0);
}

static int set_up(void **state) {
  (void)state;
  (void)snprintf(folder, sizeof folder, "/tmp/swashloop-plan-XXXXXX");
  if (!mkdtemp(folder)) {
    return -1;
  }
  write_file("case.yaml", "title: A case\n"
                          "simulation: {end_time: 2 s}\n"
                          "operator: {forward_pedal: [[0 s, 0 %], [1 s, 60 %]]}\n"
                          "ground: {grade: [[0 m, 0 %], [10 m, -5 %]]}\n"
                          "actions:\n"
                          "  - {when: vehicle_distance > 1 m, move: forward_pedal, to: 0 %, over: 0.5 s}\n"
                          "limits:\n"
                          "  - engine_speed <= 2500 rpm\n");
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  static const char *const names[] = {"case.yaml", "study.yaml", "points.csv"};
  for (size_t i = 0; i < 3; i++) {
    (void)unlink(beside(names[i]));
  }
  return rmdir(folder);
}

static void load(const char *text, struct plan *plan) {
  struct error error = {0};
  char message[1600];
  write_file("study.yaml", text);
  if (!plan_load(beside("study.yaml"), NULL, plan, &error)) {
    fail_msg("%s", error_text(&error, message, (int)sizeof message));
  }
}

/* ---- arrangements ---- */

static void test_grid(void **state) {
  (void)state;
  struct plan plan;
  load("case: case.yaml\n"
       "vary:\n"
       "  - {path: vehicle.mass, values: [10 t, 12 t]}\n"
       "  - {path: relief.setting, from: 400 bar, to: 440 bar, count: 3}\n"
       "  - {path: relief.lag, from: 1 ms, to: 100 ms, count: 3, spacing: logarithmic}\n",
       &plan);
  assert_int_equal(plan.cases, 18);
  CHECK_CLOSE(plan_value(&plan, 0, 0), 10e3, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 9, 0), 12e3, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 3, 1), 420e5, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 17, 1), 440e5, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 0, 2), 1e-3, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 1, 2), 10e-3, 1e-14); /* the last varies fastest */
  assert_true(plan_value(&plan, 2, 2) == 0.1);        /* ends are met exactly */
  plan_free(&plan);
}

static void test_together(void **state) {
  (void)state;
  struct plan plan;
  load("case: case.yaml\narrange: together\n"
       "vary:\n"
       "  - {path: vehicle.mass, values: [10 t, 12 t, 15 t]}\n"
       "  - path: \"ground.grade[2].value\"\n"
       "    from: 0 %\n"
       "    to: -20 %\n"
       "    count: 3\n",
       &plan);
  assert_int_equal(plan.cases, 3);
  CHECK_CLOSE(plan_value(&plan, 1, 0), 12e3, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 1, 1), -0.1, 1e-15);
  plan_free(&plan);
}

static void test_latin_hypercube(void **state) {
  (void)state;
  struct plan plan;
  enum { CASES = 50 };
  load("case: case.yaml\narrange: latin_hypercube\ncount: 50\nseed: 3\n"
       "vary:\n"
       "  - {path: vehicle.mass, distribution: uniform, low: 10 t, high: 15 t}\n"
       "  - {path: relief.setting, from: 400 bar, to: 450 bar}\n",
       &plan);
  assert_int_equal(plan.cases, CASES);
  for (int axis = 0; axis < 2; axis++) {
    int held[CASES] = {0};
    double low = axis == 0 ? 10e3 : 400e5;
    double width = axis == 0 ? 5e3 : 50e5;
    for (int k = 0; k < CASES; k++) {
      held[(int)((plan_value(&plan, k, axis) - low) / width * CASES)]++;
    }
    for (int i = 0; i < CASES; i++) {
      assert_int_equal(held[i], 1);
    }
  }
  plan_free(&plan);
}

/* Group by group: A, B, A with one number of B; numbers that a study of other things varied has, too. */
static void test_saltelli(void **state) {
  (void)state;
  struct plan plan;
  struct error error = {0};
  write_file("study.yaml", "case: case.yaml\narrange: saltelli\ncount: 16\nseed: 3\ncase_budget: 0.5 s\n"
                           "vary:\n  - {path: vehicle.mass, from: 10 t, to: 20 t}\n"
                           "  - {path: relief.setting, from: 300 bar, to: 400 bar}\n");
  assert_true(plan_load(beside("study.yaml"), NULL, &plan, &error));
  assert_int_equal(plan.cases, 16 * 4);
  CHECK_NEAR(plan.case_budget, 0.5, 1e-15);
  for (int64_t group = 0; group < 16; group++) {
    double value[4][2];
    for (int place = 0; place < 4; place++) {
      for (int axis = 0; axis < 2; axis++) {
        value[place][axis] = plan_value(&plan, 4 * group + place, axis);
      }
    }
    for (int axis = 0; axis < 2; axis++) {
      assert_true(value[0][axis] != value[1][axis]);
      assert_true(value[2 + axis][axis] == value[1][axis]);
      assert_true(value[3 - axis][axis] == value[0][axis]);
    }
  }
  plan_free(&plan);
}

/* Each case by itself: means of a uniform distribution, and another seed gives other numbers. */
static void test_random(void **state) {
  (void)state;
  static const char *const text = "case: case.yaml\narrange: random\ncount: 4000\nseed: %d\n"
                                  "vary: [{path: vehicle.mass, from: 10 t, to: 20 t}]\n";
  double first[2];
  for (int seed = 1; seed <= 2; seed++) {
    struct plan plan;
    struct error error = {0};
    char study[256];
    (void)snprintf(study, sizeof study, text, seed);
    write_file("study.yaml", study);
    assert_true(plan_load(beside("study.yaml"), NULL, &plan, &error));
    double mean = 0.0;
    for (int64_t k = 0; k < plan.cases; k++) {
      mean += plan_value(&plan, k, 0) / (double)plan.cases;
    }
    CHECK_NEAR(mean, 15000.0, 4.0 * 10000.0 / sqrt(12.0 * 4000.0));
    first[seed - 1] = plan_value(&plan, 0, 0);
    plan_free(&plan);
  }
  assert_true(first[0] != first[1]);
}

static void test_distributions(void **state) {
  (void)state;
  struct plan plan;
  load("case: case.yaml\narrange: sobol\ncount: 4096\nscramble: no\n"
       "vary:\n"
       "  - {path: vehicle.mass, distribution: normal, mean: 14 t, deviation: 1 t}\n"
       "  - {path: relief.lag, distribution: log_normal, median: 8 ms, factor: 1.5}\n"
       "  - {path: tyre.grip, distribution: triangular, low: 0.4, peak: 0.7, high: 0.8}\n"
       "  - {path: relief.gradient, distribution: log_uniform, low: 2 L/min/bar, high: 20 L/min/bar}\n"
       "  - {path: heat.ambient, distribution: normal, mean: 20 degC, deviation: 10 K, low: 0 degC, high: 40 degC}\n"
       "  - {path: flushing.orifice, values: [1e-7 m3/s/Pa^0.5, 2e-7 m3/s/Pa^0.5]}\n",
       &plan);
  double sum[6] = {0};
  double square[6] = {0};
  long second = 0;
  for (int k = 0; k < 4096; k++) {
    for (int a = 0; a < 6; a++) {
      double value = plan_value(&plan, k, a);
      value = a == 1 || a == 3 ? log(value) : value;
      sum[a] += value / 4096.0;
      square[a] += value * value / 4096.0;
    }
    double ambient = plan_value(&plan, k, 4);
    assert_true(ambient >= 273.15 && ambient <= 313.15);
    second += plan_value(&plan, k, 5) > 1.5e-7;
  }
  CHECK_NEAR(sum[0], 14e3, 2.0);
  CHECK_NEAR(sqrt(square[0] - sum[0] * sum[0]), 1e3, 3.0);
  CHECK_NEAR(exp(sum[1]), 8e-3, 8e-6);
  CHECK_NEAR(exp(sqrt(square[1] - sum[1] * sum[1])), 1.5, 2e-3);
  CHECK_NEAR(sum[2], (0.4 + 0.7 + 0.8) / 3.0, 1e-4);
  CHECK_NEAR(sqrt(square[2] - sum[2] * sum[2]), sqrt((0.16 + 0.49 + 0.64 - 0.28 - 0.32 - 0.56) / 18.0), 1e-4);
  CHECK_NEAR(exp(sum[3]), sqrt(2.0 * 20.0) / 60000.0 / 1e5, 1e-12);
  CHECK_NEAR(sum[4], 293.15, 0.01);
  assert_int_equal(second, 2048);
  plan_free(&plan);
}

static void test_points_of_a_table(void **state) {
  (void)state;
  struct plan plan;
  write_file("points.csv",
             "# measured\r\nvehicle.mass [t], ground.grade[2].value [%],  heat.ambient [degC], tyre.law\r\n"
             "12, -10, 20, relaxation\r\n\r\n 13.5 ,-12.5,-5,slip_curve\n");
  load("case: case.yaml\narrange: points\npoints: points.csv\n", &plan);
  assert_int_equal(plan.cases, 2);
  assert_int_equal(plan.axis_count, 4);
  CHECK_CLOSE(plan_value(&plan, 1, 0), 13500.0, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 1, 1), -0.125, 1e-15);
  CHECK_CLOSE(plan_value(&plan, 1, 2), 268.15, 1e-15);
  char text[256];
  plan_describe(&plan, 1, text, (int)sizeof text);
  assert_non_null(strstr(text, "tyre.law slip_curve"));
  plan_free(&plan);
}

/* ---- case k ---- */

static const char drawn[] = "case: case.yaml\narrange: sobol\ncount: 100\nseed: 11\n"
                            "set: {relief.setting: 430 bar}\n"
                            "vary:\n"
                            "  - {path: [lines.volume_a, lines.volume_b], from: 2 L, to: 5 L}\n"
                            "  - path: ground.grade[2].value\n"
                            "    from: 0 %\n"
                            "    to: -20 %\n"
                            "  - path: actions[1].over\n"
                            "    from: 0.1 s\n"
                            "    to: 2 s\n"
                            "  - path: simulation.end_time\n"
                            "    values: [1 s, 2 s]\n";

static void test_case_k_is_what_its_numbers_say(void **state) {
  (void)state;
  struct plan plan;
  struct error error = {0};
  struct case_data own;
  load(drawn, &plan);
  assert_true(case_copy(&plan.base, &own, &error));
  /* Backwards and forwards: what was put before leaves no trace. */
  for (int turn = 0; turn < 200; turn++) {
    int64_t k = turn < 100 ? 99 - turn : turn - 100;
    struct case_data whole;
    assert_true(plan_put(&plan, k, &own, &error));
    assert_true(plan_case(&plan, k, &whole, &error));
    assert_memory_equal(&own.simulation, &whole.simulation, sizeof own.simulation);
    assert_true(own.actions[0].duration == plan_value(&plan, k, 2));
    assert_true(own.actions[0].duration == whole.actions[0].duration);
    assert_true(own.simulation.end_time == plan_value(&plan, k, 3));
    /* The text of the case reads back to the same numbers. */
    struct case_data read;
    assert_true(case_load_text(beside("case.yaml"), whole.resolved, NULL, 0, &read, &error));
    static const char *const paths[] = {"lines.volume_a", "lines.volume_b", "ground.grade[2].value", "relief.setting"};
    for (size_t i = 0; i < 4; i++) {
      struct parameter_ref ref;
      assert_true(parameter_ref_find(&read, paths[i], &ref, &error));
      assert_true(parameter_ref_get(&read, &ref) == parameter_ref_get(&own, &ref));
      assert_true(parameter_ref_get(&whole, &ref) == parameter_ref_get(&own, &ref));
    }
    case_free(&read);
    case_free(&whole);
  }
  struct parameter_ref relief;
  assert_true(parameter_ref_find(&own, "relief.setting", &relief, &error));
  CHECK_CLOSE(parameter_ref_get(&own, &relief), 430e5, 1e-15);
  case_free(&own);
  /* The case that all are made of is as it was. */
  struct parameter_ref grade;
  assert_true(parameter_ref_find(&plan.base, "ground.grade[2].value", &grade, &error));
  CHECK_CLOSE(parameter_ref_get(&plan.base, &grade), -0.05, 1e-15);
  plan_free(&plan);
}

static void test_settings_are_compared_over_the_same_cases(void **state) {
  (void)state;
  struct plan plan;
  struct error error = {0};
  struct case_data own;
  load("case: case.yaml\narrange: sobol\ncount: 10\n"
       "vary: [{path: vehicle.mass, from: 10 t, to: 15 t}]\n"
       "compare:\n"
       "  - {name: as it is}\n"
       "  - {name: softer, set: {relief.setting: 380 bar}}\n"
       "  - {name: slower, set: {swash.rate_down: 50 %/s}}\n",
       &plan);
  assert_int_equal(plan.cases, 30);
  assert_true(case_copy(&plan.base, &own, &error));
  struct parameter_ref relief;
  struct parameter_ref rate;
  assert_true(parameter_ref_find(&own, "relief.setting", &relief, &error));
  assert_true(parameter_ref_find(&own, "swash.rate_down", &rate, &error));
  double relief_before = parameter_ref_get(&own, &relief);
  double rate_before = parameter_ref_get(&own, &rate);
  for (int64_t k = 29; k >= 0; k--) {
    assert_true(plan_put(&plan, k, &own, &error));
    assert_int_equal(plan_setting(&plan, k), k % 3);
    assert_true(parameter_ref_get(&own, &relief) == (k % 3 == 1 ? 380e5 : relief_before));
    assert_true(parameter_ref_get(&own, &rate) == (k % 3 == 2 ? 0.5 : rate_before));
    assert_true(plan_value(&plan, k, 0) == plan_value(&plan, k - k % 3, 0));
  }
  case_free(&own);
  plan_free(&plan);
}

static void test_numbers_that_do_not_go_together(void **state) {
  (void)state;
  struct plan plan;
  struct error error = {0};
  struct case_data own;
  load("case: case.yaml\nset: {ground.grade: [[0 m, 0 %], [10 m, -5 %], [20 m, -5 %]]}\n"
       "vary:\n  - path: ground.grade[2].argument\n    values: [5 m, 25 m]\n",
       &plan);
  assert_true(case_copy(&plan.base, &own, &error));
  assert_true(plan_put(&plan, 0, &own, &error));
  assert_false(plan_put(&plan, 1, &own, &error));
  assert_non_null(strstr(error.text, "ground.grade[2].argument: the table's arguments fall"));
  assert_true(plan_put(&plan, 0, &own, &error));
  case_free(&own);
  plan_free(&plan);
}

/* The fingerprint is that of the numbers, not of the file. */
static void test_fingerprint(void **state) {
  (void)state;
  static const char *const texts[] = {
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 12 t]}]\n",
      "# the same\nvary:\n  - path: vehicle.mass\n    values: [10000 kg, 12 t]\ncase: ./case.yaml\n",
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 13 t]}]\n",
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 12 t]}]\nset: {relief.setting: 401 bar}\n",
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 12 t]}]\nlimits: [stop_time <= 3 s]\n",
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 12 t]}]\nmeasures: [stop_time]\n",
      "case: case.yaml\nvary: [{path: vehicle.gravity, values: [10 m/s2, 12 m/s2]}]\n",
      "case: case.yaml\nvary: [{path: vehicle.mass, values: [10 t, 12 t]}]\nkeep_histories: {failed: yes}\n",
  };
  enum { TEXTS = sizeof texts / sizeof texts[0] };
  uint64_t prints[TEXTS];
  for (int i = 0; i < TEXTS; i++) {
    struct plan plan;
    load(texts[i], &plan);
    prints[i] = plan.fingerprint;
    plan_free(&plan);
    for (int other = 0; other < i; other++) {
      assert_int_equal(prints[i] == prints[other], i == 1 && other == 0);
    }
  }
}

/* ---- refusals ---- */

struct refusal {
  const char *text;
  int line;
  int column;
  const char *words;
};

#define VARY "vary: [{path: vehicle.mass, values: [10 t]}]\n"

static const struct refusal refusals[] = {
    {VARY, 1, 1, "no 'case:'"},
    {"case: case.yaml\n", 1, 1, "no 'vary:'"},
    {"case: none.yaml\n" VARY, 1, 7, "cannot be read"},
    {"case: case.yaml\ncase_budget: 2 bar\nvary: [{path: vehicle.mass, values: [9 t]}]\n", 2, 16, "bar"},
    {"case: case.yaml\ncase_budget: 0 s\nvary: [{path: vehicle.mass, values: [9 t]}]\n", 2, 14, "0.001 s"},
    {"case: case.yaml\narrange: saltelli\ncount: 4\nvary: [{path: vehicle.mass, from: 9 t, to: 10 t}]\ncompare: "
     "[{name: a}]\n",
     5, 1, "no meaning with the arrangement"},
    {"case: case.yaml\nvari: 3\n", 2, 1, "'vari' is no part of a study; did you mean 'vary'?"},
    {"case: case.yaml\nvary: 3\n", 2, 7, "expected a list"},
    {"case: case.yaml\nvary:\n  - vehicle.mass\n", 3, 5, "expected 'path:'"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mas, values: [1 t]}\n", 3, 20, "did you mean 'mass'"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass}\n", 3, 5, "how it varies is not said"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, values: [10 bar]}\n", 3, 38, "bar"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, values: [10 t, -3 t]}\n", 3, 41, "outside"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, values: []}\n", 3, 34, "expected a list"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, from: 10 t}\n", 3, 5, "no 'to:'"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, from: 10 t, to: 12 t}\n", 3, 5, "needs 'values:'"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, from: 10 t, to: 12 t, cout: 3}\n", 3, 48, "'cout' does not go"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, from: 10 t, to: 12 t, count: 2.5}\n", 3, 55, "whole number"},
    {"case: case.yaml\nvary:\n  - {path: ground.grade, values: [1 %]}\n", 3, 12, "ground.grade[1].value"},
    {"case: case.yaml\nvary:\n  - path: ground.grade[3].value\n    values: [1 %]\n", 3, 24, "has 2 points"},
    {"case: case.yaml\nvary:\n  - path: actions[1].ovr\n    values: [1 s]\n", 3, 22, "did you mean 'over'"},
    {"case: case.yaml\nvary:\n  - {path: tyre.law, from: 1, to: 2, count: 2}\n", 3, 5, "a choice has no range"},
    {"case: case.yaml\nvary:\n  - {path: tyre.law, values: [slip_curv]}\n", 3, 31, "did you mean 'slip_curve'"},
    {"case: case.yaml\nvary:\n  - {path: vehicle.mass, values: [1 t]}\n  - {path: vehicle.mass, values: [1 t]}\n", 4, 5,
     "varies already, in line 3"},
    {"case: case.yaml\nvary:\n  - {path: [vehicle.mass, relief.setting], values: [10 t]}\n", 3, 27, "another quantity"},
    {"case: case.yaml\narrange: gird\n" VARY, 2, 10, "did you mean 'grid'"},
    {"case: case.yaml\ncount: 5\n" VARY, 2, 1, "'count' has no meaning with the arrangement 'grid'"},
    {"case: case.yaml\nseed: 5\n" VARY, 2, 1, "'seed' has no meaning"},
    {"case: case.yaml\narrange: sobol\n" VARY, 1, 1, "needs 'count:'"},
    {"case: case.yaml\narrange: sobol\ncount: 0\n" VARY, 3, 8, "whole number"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nscramble: maybe\n" VARY, 4, 11, "no or yes"},
    {"case: case.yaml\narrange: together\nvary:\n  - {path: vehicle.mass, values: [10 t, 11 t]}\n"
     "  - {path: relief.setting, values: [400 bar]}\n",
     5, 5, "together all have as many"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nvary:\n"
     "  - {path: vehicle.mass, distribution: normal, mean: 14 t}\n",
     5, 5, "no 'deviation:'"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nvary:\n"
     "  - {path: vehicle.mass, distribution: norml, mean: 14 t}\n",
     5, 40, "did you mean 'normal'"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nvary:\n"
     "  - {path: tyre.grip, distribution: normal, mean: 0.3, deviation: 0.2}\n",
     5, 5, "cut it with 'low:' and 'high:'"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nvary:\n"
     "  - {path: vehicle.mass, distribution: uniform, low: 14 t, high: 12 t}\n",
     5, 66, "must lie above low"},
    {"case: case.yaml\narrange: sobol\ncount: 5\nvary:\n"
     "  - {path: vehicle.mass, distribution: uniform, low: 14 t, peak: 15 t, high: 16 t}\n",
     5, 60, "'peak' does not go with distribution uniform"},
    {"case: case.yaml\n" VARY "set: {relief.seting: 3 bar}\n", 3, 14, "did you mean 'setting'"},
    {"case: case.yaml\n" VARY "set: {relief.setting: 3 baar}\n", 3, 25, "baar"},
    {"case: case.yaml\n" VARY "set: {charge.check_open: 0.1 bar}\n", 3, 7, "must lie above charge.check_crack"},
    {"case: case.yaml\n" VARY "measures: [stop_tim]\n", 3, 12, "did you mean 'stop_time'"},
    {"case: case.yaml\n" VARY "measures: [stop_time, stop_time]\n", 3, 23, "twice"},
    {"case: case.yaml\n" VARY "limits: [stop_time < 3 s]\n", 3, 20, "write <="},
    {"case: case.yaml\n" VARY "keep_histories: {cases: [1]}\n", 3, 26, "whole number from 0 to 0"},
    {"case: case.yaml\n" VARY "keep_histories: {when: engine_speed >= 3 rpm}\n", 3, 24, "is a signal"},
    {"case: case.yaml\n" VARY "keep_histories: {always: yes}\n", 3, 18, "'always' is no part"},
    {"case: case.yaml\n" VARY "compare: [{set: {relief.lag: 3 ms}}]\n", 3, 11, "no 'name:'"},
    {"case: case.yaml\n" VARY "compare: [{name: a}, {name: a}]\n", 3, 22, "two settings are named 'a'"},
    {"case: case.yaml\n" VARY "compare: [{name: a, set: {vehicle.mass: 3 t}}]\n", 3, 27, "varies over the cases"},
    {"case: case.yaml\narrange: points\n", 1, 1, "no 'points:'"},
    {"case: case.yaml\narrange: points\npoints: none.csv\n", 3, 9, "cannot be read"},
};

static void test_refusals(void **state) {
  (void)state;
  int wrong = 0;
  for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
    const struct refusal *refusal = &refusals[i];
    struct plan plan;
    struct error error = {0};
    write_file("study.yaml", refusal->text);
    if (plan_load(beside("study.yaml"), NULL, &plan, &error)) {
      fail_msg("accepted:\n%s", refusal->text);
    }
    if (error.line != refusal->line || error.column != refusal->column || strstr(error.text, refusal->words) == NULL) {
      print_error("%s\n%s:%d:%d: %s\nexpected %d:%d and '%s'\n", refusal->text, error.file, error.line, error.column,
                  error.text, refusal->line, refusal->column, refusal->words);
      wrong++;
    }
    assert_int_equal(error_exit_status(error.code), 2);
  }
  assert_int_equal(wrong, 0);
}

static const struct refusal table_refusals[] = {
    {"", 1, 1, "nothing is written"},
    {"vehicle.mass [t]\n", 1, 1, "no rows"},
    {"vehicle.mas [t]\n3\n", 1, 9, "did you mean 'mass'"},
    {"relief.lag [ms], vehicle.mass [t]\n3, 12\n4\n", 3, 2, "1 cells, the heading 2"},
    {"relief.lag [ms], vehicle.mass [t]\n3, 12\n4, twelve\n", 3, 4, "vehicle.mass"},
    {"relief.lag [ms], vehicle.mass [tt]\n3, 12\n", 2, 7, "tt"},
    {"relief.lag [ms], vehicle.mass [t]\n3, 1e9\n", 2, 4, "outside"},
    {"relief.lag [ms], relief.lag [ms]\n3, 4\n", 1, 18, "in two columns"},
    {"tyre.law\nslip_curv\n", 2, 1, "did you mean 'slip_curve'"},
    {"relief.lag [ms]\n3\x01\n", 2, 2, "no unit"},
};

static void test_refusals_of_tables(void **state) {
  (void)state;
  write_file("study.yaml", "case: case.yaml\narrange: points\npoints: points.csv\n");
  for (size_t i = 0; i < sizeof table_refusals / sizeof table_refusals[0]; i++) {
    const struct refusal *refusal = &table_refusals[i];
    struct plan plan;
    struct error error = {0};
    write_file("points.csv", refusal->text);
    if (plan_load(beside("study.yaml"), NULL, &plan, &error)) {
      fail_msg("accepted:\n%s", refusal->text);
    }
    if (error.line != refusal->line || error.column != refusal->column || strstr(error.text, refusal->words) == NULL ||
        strstr(error.file, "points.csv") == NULL) {
      fail_msg("%s\n%s:%d:%d: %s\nexpected %d:%d and '%s'", refusal->text, error.file, error.line, error.column,
               error.text, refusal->line, refusal->column, refusal->words);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_grid),
      cmocka_unit_test(test_together),
      cmocka_unit_test(test_latin_hypercube),
      cmocka_unit_test(test_saltelli),
      cmocka_unit_test(test_random),
      cmocka_unit_test(test_distributions),
      cmocka_unit_test(test_points_of_a_table),
      cmocka_unit_test(test_case_k_is_what_its_numbers_say),
      cmocka_unit_test(test_settings_are_compared_over_the_same_cases),
      cmocka_unit_test(test_numbers_that_do_not_go_together),
      cmocka_unit_test(test_fingerprint),
      cmocka_unit_test(test_refusals),
      cmocka_unit_test(test_refusals_of_tables),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
