/* Traces read, mapped and laid over known curves. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "comparison.h"
#include "history.h"
#include "sample.h"
#include "trace.h"
#include "units.h"

static void read_ok(const char *text, struct trace *trace) {
  struct error error = {0};
  if (!trace_read_text("t.csv", text, strlen(text), trace, &error)) {
    fail_msg("%s", error.text);
  }
}

static void refused(const char *text, int line, int column, const char *words) {
  struct trace trace;
  struct error error = {0};
  assert_false(trace_read_text("t.csv", text, strlen(text), &trace, &error));
  assert_int_equal(error.line, line);
  assert_int_equal(error.column, column);
  assert_non_null(strstr(error.text, words));
}

static void traces_are_read(void **state) {
  (void)state;
  struct trace trace;
  read_ok("\xEF\xBB\xBF# logger\n\"time [ms]\", p_A [bar] ,n\r\n0, 1.5,2\n\n10,,3e2\r\n# a remark\n20,-4,5", &trace);
  assert_int_equal(trace.column_count, 3);
  assert_int_equal(trace.count, 3);
  assert_string_equal(trace.columns[0].name, "time");
  assert_string_equal(trace.columns[0].unit, "ms");
  assert_string_equal(trace.columns[1].name, "p_A");
  assert_string_equal(trace.columns[2].unit, "");
  CHECK_NEAR(trace.columns[0].values[2], 20.0, 0.0);
  assert_true(isnan(trace.columns[1].values[1]));
  CHECK_NEAR(trace.columns[2].values[1], 300.0, 0.0);
  trace_free(&trace);
  read_ok("t;x [bar]\n0;1,25\n1;-2,5\n", &trace);
  CHECK_NEAR(trace.columns[1].values[0], 1.25, 0.0);
  CHECK_NEAR(trace.columns[1].values[1], -2.5, 0.0);
  trace_free(&trace);
  read_ok("t\tx\n0\t1\n1\t2\n", &trace);
  CHECK_NEAR(trace.columns[1].values[1], 2.0, 0.0);
  struct error error = {0};
  assert_int_equal(trace_column(&trace, "x", &error), 1);
  assert_int_equal(trace_column(&trace, "y", &error), -1);
  trace_free(&trace);
}

/* A cell that is no number is a fault of who asks for its column. */
static void refused_column(const char *text, int line, int column, const char *words) {
  struct trace trace;
  struct error error = {0};
  read_ok(text, &trace);
  assert_true(trace_check(&trace, 0, TRACE_NUMBERS, &error));
  assert_false(trace_check(&trace, 1, TRACE_NUMBERS, &error));
  assert_int_equal(error.line, line);
  assert_int_equal(error.column, column);
  assert_non_null(strstr(error.text, words));
  trace_free(&trace);
}

static void wrong_traces_are_placed(void **state) {
  (void)state;
  refused("", 1, 1, "nothing is written");
  refused("t,x\n0,1\n", 2, 1, "two at least");
  refused("t,x\n0,1\n1\n", 3, 2, "1 cells");
  refused("t,x\n0,1\n1,2,3\n", 3, 5, "more than the heading's 2");
  refused_column("t,x\n0,1\n1,2x\n", 3, 3, "found '2x'");
  refused_column("t,x\n0,1\n1,0x10\n", 3, 3, "a number");
  refused_column("t;x\n0;1,5\n1;1,2,3\n", 3, 3, "a number");
}

static const char mapping_text[] = "time: {column: t}\n"
                                   "signals:\n"
                                   "  - {signal: line_a_pressure, column: p, unit: bar, band: 3 bar, noise: 0.5 bar}\n"
                                   "  - {signal: loop_oil_temperature, column: T, band: 2 K, factor: 2, offset: 1 K}\n"
                                   "shift: {largest: 20 ms}\n"
                                   "from: 1 s\n";

static void a_mapping_is_read_and_applied(void **state) {
  (void)state;
  struct mapping mapping;
  struct error error = {0};
  assert_true(mapping_read_text("m.yaml", mapping_text, strlen(mapping_text), &mapping, &error));
  assert_int_equal(mapping.count, 2);
  CHECK_CLOSE(mapping.signals[0].band, 3e5, 1e-12);
  CHECK_CLOSE(mapping.signals[0].noise, 0.5e5, 1e-12);
  assert_true(isnan(mapping.signals[0].rms));
  CHECK_NEAR(mapping.signals[1].band, 2.0, 1e-12);
  CHECK_NEAR(mapping.largest_shift, 0.02, 1e-15);
  CHECK_NEAR(mapping.from, 1.0, 0.0);
  assert_true(mapping.to == HUGE_VAL);
  struct trace trace;
  struct measured measured;
  read_ok("t [ms],T [degC],p\n0,10,1\n,20,2\n10,30,\n", &trace);
  assert_true(measured_make(&mapping, &trace, &measured, &error));
  assert_int_equal(measured.count, 2); /* a line without a time is none */
  CHECK_NEAR(measured.time[1], 0.01, 1e-15);
  CHECK_CLOSE(measured.values[0][0], 1e5, 1e-12);
  assert_true(isnan(measured.values[0][1]));
  CHECK_NEAR(measured.values[1][1], 60.0 + 273.15 + 1.0, 1e-9);
  measured_free(&measured);
  trace_free(&trace);
}

/* ---- shift and deviations on curves ---- */

enum { RUN = 4001, TRACE = 400 };

static double run_time[RUN];
static double run_values[2][RUN];

static double shape(int signal, double t) {
  double pulse = exp(-50.0 * (t - 2.0) * (t - 2.0));
  return signal == 0 ? 100.0 * pulse + 5.0 * sin(3.0 * t) : 1.0 / (1.0 + exp(-20.0 * (t - 1.7)));
}

static void make_curves(struct curve *curves) {
  for (int k = 0; k < RUN; k++) {
    run_time[k] = 4.0 * k / (RUN - 1);
    for (int s = 0; s < 2; s++) {
      run_values[s][k] = shape(s, run_time[k]);
    }
  }
  for (int s = 0; s < 2; s++) {
    curves[s] = (struct curve){RUN, run_time, run_values[s], NAN};
  }
}

static void make_measured(struct measured *measured, double shift, double noise, double offset, uint64_t seed) {
  struct sampler sampler = {seed};
  memset(measured, 0, sizeof *measured);
  measured->count = TRACE;
  measured->time = calloc(TRACE, sizeof(double));
  for (int s = 0; s < 2; s++) {
    measured->values[s] = calloc(TRACE, sizeof(double));
  }
  for (int k = 0; k < TRACE; k++) {
    double t = 0.5 + 3.0 * k / TRACE;
    measured->time[k] = t - shift;
    for (int s = 0; s < 2; s++) {
      double swing = s == 0 ? 100.0 : 1.0;
      measured->values[s][k] = shape(s, t) + offset + noise * swing * sample_between(&sampler, -1.0, 1.0);
    }
  }
}

static void a_shift_is_found(void **state) {
  (void)state;
  struct curve curves[2];
  make_curves(curves);
  const double shifts[] = {0.0, 0.1234567, -0.21987, 0.4};
  for (size_t i = 0; i < sizeof shifts / sizeof shifts[0]; i++) {
    struct measured measured;
    double shift;
    double correlation;
    make_measured(&measured, shifts[i], 0.0, 3.0, 1);
    assert_true(comparison_shift(&measured, curves, 2, 0.5, &shift, &correlation));
    CHECK_NEAR(shift, shifts[i], 2e-5); /* samples are 7.5 ms apart */
    CHECK_NEAR(correlation, 1.0, 1e-7);
    measured_free(&measured);
    /* noise of 5 % of the swing, 400 samples: a fraction of a sample */
    make_measured(&measured, shifts[i], 0.05, 0.0, 7 + i);
    assert_true(comparison_shift(&measured, curves, 2, 0.5, &shift, &correlation));
    CHECK_NEAR(shift, shifts[i], 2e-3);
    measured_free(&measured);
  }
}

static void without_anything_in_common_there_is_no_shift(void **state) {
  (void)state;
  struct curve curves[2];
  struct measured measured;
  double shift;
  double correlation;
  make_curves(curves);
  make_measured(&measured, 100.0, 0.0, 0.0, 1);
  assert_false(comparison_shift(&measured, curves, 2, 0.5, &shift, &correlation));
  measured_free(&measured);
}

static void deviations_are_counted(void **state) {
  (void)state;
  struct curve curves[2];
  struct measured measured;
  make_curves(curves);
  make_measured(&measured, 0.0, 0.0, 2.0, 1);
  measured.values[0][10] = NAN;
  measured.values[0][20] += 5.0;
  struct deviation found = comparison_deviation(&measured, 0, &curves[0], 0.0, -HUGE_VAL, HUGE_VAL);
  assert_int_equal(found.count, TRACE - 1);
  CHECK_NEAR(found.mean, -2.0 - 5.0 / (TRACE - 1), 1e-6);
  CHECK_NEAR(found.largest, 7.0, 1e-6);
  CHECK_NEAR(found.largest_time, measured.time[20], 0.0);
  CHECK_NEAR(found.rms, sqrt((4.0 * (TRACE - 2) + 49.0) / (TRACE - 1)), 1e-6);
  found = comparison_deviation(&measured, 0, &curves[0], 0.0, 1.0, 2.0);
  CHECK_NEAR(found.largest, 2.0, 1e-6);
  assert_true(found.count < TRACE / 2);
  found = comparison_deviation(&measured, 0, &curves[0], 50.0, -HUGE_VAL, HUGE_VAL);
  assert_int_equal(found.count, 0);
  assert_true(isnan(found.rms));
  measured_free(&measured);
}

/* A run thinned to what straight lines need, against itself whole: no cubic swings through the samples left, and what
 * is lost is within what thinning allows. */
static void thinned_runs_are_read_by_straight_lines(void **state) {
  (void)state;
  static int kept[RUN];
  static double thin_time[RUN];
  static double thin_values[RUN];
  struct curve curves[2];
  make_curves(curves);
  for (int k = 0; k < RUN; k++) { /* steps, as a valve makes them */
    run_values[0][k] = run_time[k] < 1.0 ? 0.0 : run_time[k] < 1.02 ? 5e3 * (run_time[k] - 1.0) : 100.0;
  }
  const double *columns[1] = {run_values[0]};
  int count = history_thin(run_time, columns, 1, RUN, 1e-3, kept);
  assert_true(count < 20);
  for (int k = 0; k < count; k++) {
    thin_time[k] = run_time[kept[k]];
    thin_values[k] = run_values[0][kept[k]];
  }
  struct curve thinned = {count, thin_time, thin_values, 2e-3 * 100.0};
  struct measured measured = {.count = RUN, .time = run_time, .values = {run_values[0]}};
  struct deviation found = comparison_deviation(&measured, 0, &thinned, 0.0, -HUGE_VAL, HUGE_VAL);
  assert_true(found.largest <= 0.2);
  assert_true(found.doubt <= 0.2 && found.doubt > 0.0);
  /* Where nobody says how it was thinned, its bends are what may be lost. */
  thinned.straight = NAN;
  found = comparison_deviation(&measured, 0, &thinned, 0.0, -HUGE_VAL, HUGE_VAL);
  assert_true(found.doubt > 10.0);
}

/* A run whose samples are too far apart cannot be told from its own trace: what it is off by lies within the doubt. */
static void coarse_runs_are_doubted(void **state) {
  (void)state;
  enum { EVERY = 200 };
  static double coarse_time[RUN / EVERY + 1];
  static double coarse_values[RUN / EVERY + 1];
  struct curve curves[2];
  make_curves(curves);
  for (int s = 0; s < 2; s++) {
    for (int k = 0; k < RUN; k += EVERY) {
      coarse_time[k / EVERY] = run_time[k];
      coarse_values[k / EVERY] = run_values[s][k];
    }
    struct curve coarse = {RUN / EVERY + 1, coarse_time, coarse_values, NAN};
    struct measured measured = {.count = RUN, .time = run_time, .values = {run_values[s]}};
    struct deviation found = comparison_deviation(&measured, 0, &coarse, 0.0, -HUGE_VAL, HUGE_VAL);
    assert_true(found.largest > (s == 0 ? 5.0 : 0.02));
    assert_true(found.least <= 1e-9);
    assert_true(found.most > found.largest);
    found = comparison_deviation(&measured, 0, &curves[s], 0.0, -HUGE_VAL, HUGE_VAL);
    CHECK_NEAR(found.doubt, 0.0, 0.0); /* at the samples nothing is read */
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(traces_are_read),
      cmocka_unit_test(wrong_traces_are_placed),
      cmocka_unit_test(a_mapping_is_read_and_applied),
      cmocka_unit_test(a_shift_is_found),
      cmocka_unit_test(without_anything_in_common_there_is_no_shift),
      cmocka_unit_test(deviations_are_counted),
      cmocka_unit_test(thinned_runs_are_read_by_straight_lines),
      cmocka_unit_test(coarse_runs_are_doubted),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
