/* Measures of whole runs against the histories that the same runs write: every extremum is the history's, at its time;
 * what is timed, counted and summed is what the history shows. And extremes that no history can show: between samples,
 * near the end of a step, of whatever sign. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "check.h"
#include "registry.h"
#include "run.h"
#include "thresholds.h"
#include "toy.h"

#define CASES SWASHLOOP_SOURCE "/cases/"

/* ---- whole runs ---- */

struct row {
  int measure;
  int time_measure; /* -1: none is told */
  const char *signal;
  int sign;      /* 1: largest, -1: smallest */
  bool absolute; /* either way */
  double from;   /* s */
};

static const struct row rows[] = {
    {MEASURE_peak_line_a_pressure, MEASURE_peak_line_a_pressure_time, "line_a_pressure", 1, false, 0.0},
    {MEASURE_peak_line_b_pressure, MEASURE_peak_line_b_pressure_time, "line_b_pressure", 1, false, 0.0},
    {MEASURE_lowest_low_side_pressure, MEASURE_lowest_low_side_pressure_time, "low_side_pressure", -1, false, 0.0},
    {MEASURE_lowest_low_side_pressure_after_settling, -1, "low_side_pressure", -1, false, 0.5},
    {MEASURE_least_line_oil, -1, "least_line_oil", -1, false, 0.0},
    {MEASURE_lowest_charge_pressure, MEASURE_lowest_charge_pressure_time, "charge_pressure", -1, false, 0.0},
    {MEASURE_peak_charge_pressure, -1, "charge_pressure", 1, false, 0.0},
    {MEASURE_peak_case_pressure, MEASURE_peak_case_pressure_time, "case_pressure", 1, false, 0.0},
    {MEASURE_engine_speed_max, MEASURE_engine_speed_max_time, "engine_speed", 1, false, 0.0},
    {MEASURE_engine_speed_min, MEASURE_engine_speed_min_time, "engine_speed", -1, false, 0.0},
    {MEASURE_motor_speed_max, -1, "motor_speed", 1, true, 0.0},
    {MEASURE_vehicle_speed_max, -1, "vehicle_speed", 1, true, 0.0},
    {MEASURE_largest_wheel_slip, -1, "wheel_slip", 1, true, 0.0},
    {MEASURE_largest_front_wheel_slip, -1, "front_wheel_slip", 1, true, 0.0},
    {MEASURE_relief_a_peak_flow, -1, "relief_a_flow", 1, false, 0.0},
    {MEASURE_relief_b_peak_flow, -1, "relief_b_flow", 1, false, 0.0},
    {MEASURE_loop_oil_temperature_max, -1, "loop_oil_temperature", 1, false, 0.0},
    {MEASURE_tank_oil_temperature_max, -1, "tank_oil_temperature", 1, false, 0.0},
    {MEASURE_brake_temperature_max, -1, "brake_temperature", 1, false, 0.0},
    {MEASURE_front_brake_temperature_max, -1, "front_brake_temperature", 1, false, 0.0},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

struct history {
  const struct plant *plant;
  int count, capacity;
  double *time;
  double *values; /* [sample][signal] */
};

static bool keep(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct history *history = context;
  int signals = history->plant->signal_count;
  for (int k = 0; k < count; k++) {
    if (history->count == history->capacity) {
      history->capacity = history->capacity > 0 ? 2 * history->capacity : 4096;
      history->time = realloc(history->time, (size_t)history->capacity * sizeof(double));
      history->values = realloc(history->values, (size_t)(history->capacity * signals) * sizeof(double));
      if (history->time == NULL || history->values == NULL) {
        return error_set(error, ERROR_MEMORY, "out of memory for the history");
      }
    }
    history->time[history->count] = time[k];
    for (int i = 0; i < signals; i++) {
      history->values[history->count * signals + i] = values[i][k];
    }
    history->count++;
  }
  return true;
}

static double value_at(const struct history *history, int sample, int signal) {
  return history->values[sample * history->plant->signal_count + signal];
}

static void check_row(const struct history *history, const struct outcome *outcome, const struct row *row,
                      const char *name) {
  int signal = registry_signal(history->plant, row->signal);
  double best = -HUGE_VAL;
  double lowest = HUGE_VAL;
  double jump = 0.0; /* the most that the signal moves between two samples near its best */
  int at = -1;
  for (int k = 0; k < history->count; k++) {
    double value = value_at(history, k, signal);
    double height = row->sign * (row->absolute ? fabs(value) : value);
    if (history->time[k] >= row->from && height > best) {
      best = height;
      at = k;
    }
    lowest = fmin(lowest, height);
  }
  for (int k = at > 1 ? at - 1 : 1; k <= at + 1 && k < history->count; k++) {
    jump = fmax(jump, fabs(value_at(history, k, signal) - value_at(history, k - 1, signal)));
  }
  double found = row->sign * outcome->measures[row->measure];
  double allowed = 1e-9 * fabs(best) + 1e-12;
  if (!(found >= best - allowed && found <= best + 2.0 * jump + allowed)) {
    fail_msg("%s: measure %d is %.12g, %s goes to %.12g at %g s (from %.6g, %.3g a sample)", name, row->measure,
             row->sign * found, row->signal, row->sign * best, history->time[at], row->sign * lowest, jump);
  }
  if (row->time_measure >= 0) {
    double time = outcome->measures[row->time_measure];
    double nearest = HUGE_VAL;
    for (int k = 0; k < history->count; k++) {
      double value = value_at(history, k, signal);
      double height = row->sign * (row->absolute ? fabs(value) : value);
      nearest = height >= best - jump - allowed ? fmin(nearest, fabs(history->time[k] - time)) : nearest;
    }
    if (!(nearest <= 1.01e-3)) {
      fail_msg("%s: %s is told at %.6g s, its history is there at %g s", name, row->signal, time, history->time[at]);
    }
  }
}

/* Time above OPEN_FLOW and how often, by the samples. */
static void check_timer(const struct history *history, const struct outcome *outcome, const char *name, char valve,
                        int total, int first, int openings) {
  char signal_name[32];
  (void)snprintf(signal_name, sizeof signal_name, "relief_%c_flow", valve);
  int signal = registry_signal(history->plant, signal_name);
  double above = 0.0;
  double begun = NAN;
  int count = 0;
  bool open = false;
  for (int k = 0; k < history->count; k++) {
    bool now = value_at(history, k, signal) > OPEN_FLOW;
    above += now && k > 0 ? history->time[k] - history->time[k - 1] : 0.0;
    count += now && !open;
    begun = now && isnan(begun) ? history->time[k] : begun;
    open = now;
  }
  CHECK_NEAR(outcome->measures[total], above, 1.01e-3 * (count + 1));
  /* What opens for less than a sample may be missed by the samples, and by nobody else. */
  assert_true(outcome->measures[openings] >= count && outcome->measures[openings] <= count + 2);
  if (count > 0) {
    CHECK_NEAR(outcome->measures[first], begun, 1.01e-3);
  }
  print_message("%s: relief valve %c open %d times, %.4f s\n", name, valve, count, above);
}

struct run_row {
  const char *path;
  const char *sets[4];
  bool both_reliefs; /* both crack */
};

/* Forwards, backwards, on two axles, with both reliefs and with none. */
static const struct run_row runs[] = {
    {CASES "baseline/downhill.yaml", {"simulation.output_step=1 ms", "simulation.end_time=16 s"}, false},
    {CASES "baseline/downhill.yaml",
     {"simulation.output_step=1 ms", "relief.setting=150 bar", "limiter.fitted=no", "simulation.method=rosenbrock"},
     true},
    {CASES "baseline/shuttle.yaml",
     {"simulation.output_step=1 ms", "relief.setting=180 bar", "limiter.fitted=no"},
     true},
    {CASES "axle_spins.yaml", {"simulation.output_step=1 ms", "simulation.end_time=12 s"}, false},
};

static void measures_are_those_of_the_history(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof runs / sizeof runs[0]; i++) {
    struct case_data data;
    struct outcome outcome;
    struct error error = {0};
    int sets = 0;
    while (sets < 4 && runs[i].sets[sets] != NULL) {
      sets++;
    }
    if (!case_load(runs[i].path, runs[i].sets, sets, &data, &error)) {
      fail_msg("%s", error.text);
    }
    struct history history = {.plant = data.plant};
    const struct recorder recorder = {&history, keep};
    assert_true(run_case(&data, &recorder, NULL, &outcome, &error));
    assert_true(outcome.status == RUN_COMPLETE);
    for (int k = 0; k < ROWS; k++) {
      int signal = registry_signal(data.plant, rows[k].signal);
      if (data.plant->signal_active(data.parameters, signal)) {
        check_row(&history, &outcome, &rows[k], runs[i].path);
      } else {
        assert_true(isnan(outcome.measures[rows[k].measure]));
      }
    }
    int speed = registry_signal(data.plant, "vehicle_speed");
    double least = 0.0;
    double most = 0.0;
    double path = 0.0; /* of the last second, by the trapezium rule */
    for (int k = 0; k < history.count; k++) {
      least = fmin(least, value_at(&history, k, speed));
      most = fmax(most, value_at(&history, k, speed));
      if (k > 0 && history.time[k] > outcome.end_time - 1.0 + 0.5e-3) {
        path += 0.5 * (history.time[k] - history.time[k - 1]) *
                (fabs(value_at(&history, k, speed)) + fabs(value_at(&history, k - 1, speed)));
      }
    }
    CHECK_NEAR(outcome.measures[MEASURE_creep_speed], path, 1e-4 * fmax(1.0, path));
    check_timer(&history, &outcome, runs[i].path, 'a', MEASURE_relief_a_open_time, MEASURE_relief_a_first_opening,
                MEASURE_relief_a_openings);
    check_timer(&history, &outcome, runs[i].path, 'b', MEASURE_relief_b_open_time, MEASURE_relief_b_first_opening,
                MEASURE_relief_b_openings);
    double heat[2] = {0.0, 0.0};
    for (int k = 0; k < data.plant->ledger_count; k++) {
      heat[0] += strcmp(data.plant->ledger[k].name, "relief_a") == 0 ? outcome.ledger[k].energy : 0.0;
      heat[1] += strcmp(data.plant->ledger[k].name, "relief_b") == 0 ? outcome.ledger[k].energy : 0.0;
    }
    CHECK_CLOSE(outcome.measures[MEASURE_relief_heat], heat[0] + heat[1], 1e-12);
    print_message("%s: relief heat %.4g and %.4g kJ, %.2f to %.2f m/s\n", runs[i].path, 1e-3 * heat[0], 1e-3 * heat[1],
                  least, most);
    assert_true(!runs[i].both_reliefs || (heat[0] > 1e3 && heat[1] > 1e3));
    free(history.time);
    free(history.values);
    outcome_free(&outcome);
    case_free(&data);
  }
}

/* ---- what a run that failed is evidence of ---- */

/* Does a measure only grow (1), or only fall (-1), as a run goes on, by its name? */
static int direction_by_name(const char *name) {
  static const char *const grow[] = {"peak_",    "_max",      "largest_",    "open_time",
                                     "openings", "peak_flow", "relief_heat", "oil_lost"};
  static const char *const fall[] = {"lowest_", "least_", "_min"};
  size_t length = strlen(name);
  if (length > 5 && strcmp(name + length - 5, "_time") == 0 && strstr(name, "open_time") == NULL) {
    return 0; /* when it was so */
  }
  for (size_t i = 0; i < sizeof grow / sizeof grow[0]; i++) {
    if (strstr(name, grow[i]) != NULL) {
      return 1;
    }
  }
  for (size_t i = 0; i < sizeof fall / sizeof fall[0]; i++) {
    if (strstr(name, fall[i]) != NULL) {
      return -1;
    }
  }
  return 0;
}

static void fail_at_work_limit(struct case_data *data, struct outcome *outcome) {
  struct error error = {0};
  assert_true(run_case(data, NULL, NULL, outcome, &error));
  assert_int_equal(outcome->status, RUN_FAILED);
}

/* A run that fails half way still shows that a peak is too high: it would have grown. It does not show that a peak
 * stays below a bound, nor anything about a mean or a last value. Every measure, bounded from both sides. */
static void a_failed_run_breaks_what_could_not_be_mended(void **state) {
  (void)state;
  static const char *const sets[] = {"simulation.work_limit=1000", "relief.setting=150 bar", "limiter.fitted=no"};
  struct case_data data;
  struct outcome outcome;
  struct error error = {0};
  int directed = 0;
  assert_true(case_load(CASES "baseline/downhill.yaml", sets, 3, &data, &error));
  fail_at_work_limit(&data, &outcome);
  for (int m = 0; m < MEASURE_COUNT; m++) {
    double value = outcome.measures[m];
    if (isnan(value) || m == MEASURE_stop_time || m == MEASURE_stop_distance) {
      continue;
    }
    const char *name = measure_rows[m].name;
    int direction = direction_by_name(name);
    directed += direction != 0;
    for (int above = 0; above <= 1; above++) {
      struct limit limit;
      memset(&limit, 0, sizeof limit);
      limit.keep = (struct condition){.signal = CONDITION_MEASURE, .measure = m, .above = above};
      for (int broken = 0; broken <= 1; broken++) {
        double room = (0.1 + fabs(value)) * (above == broken ? 1.0 : -1.0);
        limit.keep.level = value + room;
        data.limits = &limit;
        data.limit_count = 1;
        struct outcome judged;
        fail_at_work_limit(&data, &judged);
        bool evident = broken && direction == (above ? -1 : 1);
        if (judged.limits[0].verdict != (evident ? LIMIT_BROKEN : LIMIT_NOT_JUDGED)) {
          fail_msg("%s = %g %s %g: %s", name, value, above ? ">=" : "<=", limit.keep.level,
                   limit_verdict_names[judged.limits[0].verdict]);
        }
        outcome_free(&judged);
      }
    }
  }
  data.limits = NULL;
  data.limit_count = 0;
  print_message("%d measures grow or fall\n", directed);
  assert_true(directed > 15);
  outcome_free(&outcome);
  case_free(&data);
}

/* ---- between samples ---- */

static double phase;

/* -(3 + (1 + t/2000) sin(7 t + phase)): never above zero, each lowest point a little lower than the one before. */
static double dips(double t) {
  return -(3.0 + (1.0 + 5e-4 * t) * sin(7.0 * t + phase));
}

static void clock_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)y;
  rates[0] = 1.0;
  rates[1] = lever;
}

static void dips_signals(double t, double lever, const double *y, double *signals) {
  (void)t;
  (void)lever;
  signals[0] = -dips(y[0]);
  signals[1] = 0.0;
  signals[2] = dips(y[0]);
  signals[3] = y[1];
}

/* The largest speed either way, and the highest pressure, wherever in a step they lie: one is above zero, one below. */
static void extremes_are_found_on_either_side_of_zero(void **state) {
  (void)state;
  const struct toy dipping = {.rates = clock_rates, .signals = dips_signals, .release = NAN};
  const struct toy *ref;
  for (int k = 0; k < 12; k++) {
    phase = 0.1 + 0.03 * k;
    struct case_data data = toy_case(&ref, &dipping, 2.2);
    struct outcome outcome;
    struct error error = {0};
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    double lowest = 0.0;
    double at = NAN;
    for (int i = 0; i <= 2200000; i++) {
      if (dips(1e-6 * i) < lowest) {
        lowest = dips(1e-6 * i);
        at = 1e-6 * i;
      }
    }
    CHECK_CLOSE(outcome.measures[MEASURE_vehicle_speed_max], -lowest, 1e-9);
    CHECK_CLOSE(outcome.measures[MEASURE_peak_line_a_pressure], -lowest, 1e-9);
    CHECK_NEAR(outcome.measures[MEASURE_peak_line_a_pressure_time], at, 1e-4);
    outcome_free(&outcome);
  }
}

/* A clock that turns back after a second: whatever lies beyond that place is never reached. Close before it the signal
 * has its largest value; beyond it is a mountain that a search past the end of the step would find. */
static double mountain(double x) {
  return x <= 1.0 ? 1.0 - pow(x - 0.9995, 2.0) : 1.0 - 2.5e-7 + 1e6 * (x - 1.0);
}

static void there_and_back_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)y;
  rates[0] = lever;
}

static void mountain_signals(double t, double lever, const double *y, double *signals) {
  (void)t;
  (void)lever;
  signals[0] = mountain(y[0]);
  signals[1] = signals[2] = signals[3] = 0.0;
}

static void no_search_goes_beyond_its_step(void **state) {
  (void)state;
  static const real times[] = {1.0, 1.0};
  static const real values[] = {1.0, -1.0};
  struct toy turning = {.rates = there_and_back_rates, .signals = mountain_signals, .release = NAN};
  turning.lever = (struct profile){2, times, values, false};
  const struct toy *ref;
  static const double steps[] = {0.04, 0.03, 0.025, 0.021};
  for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
    struct case_data data = toy_case(&ref, &turning, 2.0);
    data.simulation.largest_step = steps[i];
    struct outcome outcome;
    struct error error = {0};
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    CHECK_NEAR(outcome.measures[MEASURE_peak_line_a_pressure], 1.0, 1e-10);
    outcome_free(&outcome);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(measures_are_those_of_the_history),
      cmocka_unit_test(a_failed_run_breaks_what_could_not_be_mended),
      cmocka_unit_test(extremes_are_found_on_either_side_of_zero),
      cmocka_unit_test(no_search_goes_beyond_its_step),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
