/* Kinks that coincide, exactly or all but: points of tables over time and over distance, ends of ramps, actions, the
 * motor's delay, the start of braking and the end of the run, up to a nanosecond apart. Whatever falls together, a run
 * goes through, its energy and oil close, and what is all but together gives what falls together gives.
 *
 * SWASHLOOP_KINKS=N tries N cases instead of a few hundred, SWASHLOOP_KINKS_SEED=S others. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "case.h"
#include "check.h"
#include "registry.h"
#include "run.h"
#include "sample.h"

enum { TEXT = 16384, USUAL_CASES = 300, POINTS = 4 };

/* The end of all cases, s, and where kinks come together before it. Round numbers, as users write them. */
#define END 2.4
static const double times[] = {0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.1, 1.2, 1.7, 1.9, 2.2, END};
enum { TIMES = sizeof times / sizeof times[0] };

struct writer {
  struct sampler sampler;
  double spread; /* 0: what falls together does so to the bit */
  bool steady;   /* nothing hangs on which of two comes first: no delay */
  size_t used;
  char text[TEXT];
};

static void put(struct writer *writer, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void put(struct writer *writer, const char *format, ...) {
  va_list arguments;
  va_start(arguments, format);
  int wrote = vsnprintf(writer->text + writer->used, TEXT - writer->used, format, arguments);
  va_end(arguments);
  assert_true(wrote >= 0 && writer->used + (size_t)wrote < TEXT);
  writer->used += (size_t)wrote;
}

/* `value` or something all but it: some roundings off, or up to a nanosecond (a nanometre). Draws the same numbers
 * whatever the spread. */
static double nearly(struct writer *writer, double value) {
  int kind = sample_choice(&writer->sampler, 4);
  double side = sample_choice(&writer->sampler, 2) == 0 ? -1.0 : 1.0;
  double roundings = 1.0 + sample_choice(&writer->sampler, 12);
  double far = sample_decades(&writer->sampler, 1e-16, 1e-9);
  double off = 0.0;
  if (kind == 1) {
    off = roundings * (nextafter(value, HUGE_VAL) - value);
  } else if (kind >= 2) {
    off = far;
  }
  return value > 0.0 ? value + side * off * writer->spread : value;
}

/* Some of `places` in order, each nearly met, some twice, with values between low and high in `unit`. */
static void put_table(struct writer *writer, const char *name, const double *places, int count, const char *place_unit,
                      double low, double high, const char *unit) {
  double point[2 * POINTS];
  int points = 0;
  int first = sample_choice(&writer->sampler, 3);
  for (int i = first; i < count && points < 2 * POINTS - 1; i += 1 + sample_choice(&writer->sampler, 3)) {
    point[points++] = nearly(writer, places[i]);
    double again = nearly(writer, places[i]);
    if (sample_choice(&writer->sampler, 4) == 0) {
      point[points] = fmax(again, point[points - 1]);
      points++;
    }
  }
  put(writer, "  %s: [[0 %s, %.3g %s]", name, place_unit, sample_between(&writer->sampler, low, high), unit);
  for (int i = 0; i < points; i++) {
    put(writer, ", [%.17g %s, %.3g %s]", point[i], place_unit, sample_between(&writer->sampler, low, high), unit);
  }
  put(writer, "]\n");
}

struct lever {
  const char *name;
  double low, high; /* per cent */
};

static const struct lever levers[] = {
    {"forward_pedal", 0.0, 100.0}, {"reverse_pedal", 0.0, 3.0}, {"brake", 0.0, 20.0},  {"exhaust_brake", 0.0, 100.0},
    {"throttle", 80.0, 110.0},     {"park_brake", 0.0, 5.0},    {"draft", 0.0, 100.0}, {"starter", 0.0, 100.0},
};
enum { LEVERS = sizeof levers / sizeof levers[0] };

static const char *const faults[] = {"filter_blocked", "cooler_dead", "limiter_dead", "charge_lost"};
enum { FAULTS = sizeof faults / sizeof faults[0] };

static const double places[] = {0.1, 0.5, 1.0, 1.2, 1.5, 2.0, 3.0};
enum { PLACES = sizeof places / sizeof places[0] };

static void put_action(struct writer *writer, const char *channel, double low, double high) {
  bool by_place = sample_choice(&writer->sampler, 3) == 0;
  double when = by_place ? nearly(writer, places[sample_choice(&writer->sampler, PLACES)])
                         : nearly(writer, times[sample_choice(&writer->sampler, TIMES)]);
  put(writer, "  - {when: %s > %.17g %s, move: %s, to: %.3g %%", by_place ? "vehicle_distance" : "time", when,
      by_place ? "m" : "s", channel, sample_between(&writer->sampler, low, high));
  double over = nearly(writer, times[sample_choice(&writer->sampler, TIMES)]);
  if (sample_choice(&writer->sampler, 4) != 0) {
    put(writer, ", over: %.17g s", over);
  }
  put(writer, "}\n");
}

/* The case `index` of a seed, with what falls together `spread` apart (1) or not (0). */
static void write_case(struct writer *writer, uint64_t seed, int index, double spread) {
  writer->sampler.state = seed * 1000003U + (uint64_t)index;
  writer->spread = spread;
  writer->used = 0;
  put(writer, "machine: forwarder.yaml\nsimulation:\n  end_time: %.17g s\n  output_step: 0.1 s\n  method: %s\n",
      nearly(writer, END), sample_choice(&writer->sampler, 2) == 0 ? "bdf" : "rosenbrock");
  double from = nearly(writer, times[sample_choice(&writer->sampler, TIMES)]);
  if (sample_choice(&writer->sampler, 3) == 0) {
    put(writer, "  stop_from: %.17g s\n", from);
  }
  writer->steady = sample_choice(&writer->sampler, 2) == 0;
  if (writer->steady) {
    put(writer, "  relative_tolerance: 1e-9\n  pressure_tolerance: 1 Pa\n");
  }
  put(writer, "vehicle: {start_speed: 5 km/h, draft: 5 kN}\n");
  double delay = nearly(writer, times[sample_choice(&writer->sampler, TIMES)]);
  if (!writer->steady) {
    put(writer, "motor: {upstroke_delay: %.17g s}\n", delay);
  }
  /* A channel goes by its table or by an action: where a table steps, which comes first is no rounding. */
  bool by_action[LEVERS];
  put(writer, "operator:\n  pump_share: 33 %%\n");
  for (int i = 0; i < LEVERS; i++) {
    by_action[i] = sample_choice(&writer->sampler, 2) == 0;
    if (!by_action[i]) {
      put_table(writer, levers[i].name, times, TIMES, "s", levers[i].low, levers[i].high, "%");
    }
  }
  put(writer, "ground:\n");
  put_table(writer, "grade", places, PLACES, "m", -15.0, 10.0, "%");
  put_table(writer, "grip", places, PLACES, "m", 0.5, 0.8, "");
  put_table(writer, "rolling_resistance", places, PLACES, "m", 0.02, 0.05, "");
  if (sample_choice(&writer->sampler, 2) == 0) {
    put(writer, "  wheelbase: %.17g m\n", nearly(writer, places[sample_choice(&writer->sampler, PLACES)]));
  }
  put(writer, "actions:\n");
  for (int i = 0; i < LEVERS; i++) {
    if (by_action[i]) {
      put_action(writer, levers[i].name, levers[i].low, levers[i].high);
    }
  }
  put_action(writer, faults[sample_choice(&writer->sampler, FAULTS)], 0.0, 100.0);
}

/* Fails with the whole case: cmocka's own message would be cut. */
static void fail_in(const struct writer *writer, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void fail_in(const struct writer *writer, const char *format, ...) {
  va_list arguments;
  va_start(arguments, format);
  (void)vfprintf(stderr, format, arguments);
  va_end(arguments);
  (void)fprintf(stderr, "\nin\n%s", writer->text);
  fail();
}

static void run_text(const struct writer *writer, struct outcome *outcome) {
  struct error error = {0};
  struct case_data data = {0};
  char message[2048];
  *outcome = (struct outcome){0};
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/test.yaml", writer->text, NULL, 0, &data, &error) ||
      !run_case(&data, NULL, NULL, outcome, &error)) {
    fail_in(writer, "%s", error_text(&error, message, sizeof message));
  }
  if (outcome->status != RUN_COMPLETE && outcome->status != RUN_STOPPED) {
    fail_in(writer, "%s", error_text(&outcome->error, message, sizeof message));
  }
  if (outcome->status == RUN_COMPLETE && outcome->end_time != data.simulation.end_time) {
    fail_in(writer, "ended at %.17g s", outcome->end_time);
  }
  if (!(outcome->measures[MEASURE_energy_residual] < 1e-5) || !(fabs(outcome->measures[MEASURE_oil_residual]) < 1e-9)) {
    fail_in(writer, "energy residual %.3g, oil residual %.3g m3", outcome->measures[MEASURE_energy_residual],
            outcome->measures[MEASURE_oil_residual]);
  }
  case_free(&data);
}

/* What must not hang on a nanosecond, and what it may differ by: twice and more what 2936 pairs were apart at most
 * (0.005 bar, 0.0026 rad/s, 0.06 mm, 0.025 mm/s), which is the tolerances' doing: with the absolute ones at their
 * default, 300 times these, dragging brakes and lines run dry scatter by millimetres and 0.3 bar. A kink lost makes
 * more. */
static const struct {
  int measure;
  double apart;
} compared[] = {
    {MEASURE_peak_line_a_pressure, 1e3},    {MEASURE_peak_line_b_pressure, 1e3}, {MEASURE_engine_speed_min, 0.01},
    {MEASURE_vehicle_distance_end, 1.5e-4}, {MEASURE_vehicle_speed_end, 1e-4},
};

static void compare(const struct writer *writer, const struct outcome *a, const struct outcome *b) {
  for (size_t i = 0; i < sizeof compared / sizeof compared[0]; i++) {
    double one = a->measures[compared[i].measure];
    double other = b->measures[compared[i].measure];
    if (!(fabs(one - other) <= compared[i].apart)) {
      fail_in(writer, "%s: %.9g together, %.9g nearly so", measure_rows[compared[i].measure].name, one, other);
    }
  }
}

static long from_environment(const char *name, long otherwise) {
  const char *text = getenv(name);
  return text != NULL ? strtol(text, NULL, 10) : otherwise;
}

static void whatever_falls_together_goes_through(void **state) {
  (void)state;
  static struct writer writer;
  long cases = from_environment("SWASHLOOP_KINKS", USUAL_CASES);
  uint64_t seed = (uint64_t)from_environment("SWASHLOOP_KINKS_SEED", 20);
  for (int i = 0; i < cases; i++) {
    struct outcome together;
    struct outcome nearly_so;
    write_case(&writer, seed, i, 0.0);
    run_text(&writer, &together);
    write_case(&writer, seed, i, 1.0);
    run_text(&writer, &nearly_so);
    if (writer.steady && together.status == nearly_so.status) {
      compare(&writer, &together, &nearly_so);
    }
    outcome_free(&together);
    outcome_free(&nearly_so);
  }
}

/* The samples that were met first: a motor that waits just as long as the pedal takes. */
static void a_delay_may_last_as_long_as_a_ramp(void **state) {
  (void)state;
  static struct writer writer;
  static const double ramps[] = {0.05, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 1.0};
  for (size_t i = 0; i < sizeof ramps / sizeof ramps[0]; i++) {
    for (int rosenbrock = 0; rosenbrock < 2; rosenbrock++) {
      struct outcome outcome;
      writer.used = 0;
      put(&writer,
          "machine: forwarder.yaml\n"
          "simulation: {end_time: 4 s, method: %s}\n"
          "motor: {upstroke_delay: %.17g s}\n"
          "operator: {forward_pedal: [[0 s, 0 %%], [1 s, 90 %%]]}\n"
          "actions:\n  - {when: vehicle_distance > 1.3 m, move: forward_pedal, to: 0 %%, over: %.17g s}\n",
          rosenbrock ? "rosenbrock" : "bdf", ramps[i], ramps[i]);
      run_text(&writer, &outcome);
      outcome_free(&outcome);
    }
  }
}

/* A case of a delayed motor whose pedal is let go within half a second. */
static void load_delayed(struct writer *writer, double delay, struct case_data *data) {
  struct error error = {0};
  writer->used = 0;
  put(writer,
      "machine: forwarder.yaml\n"
      "simulation: {end_time: 4 s, relative_tolerance: 1e-8}\n"
      "motor: {upstroke_delay: %.17g s}\n"
      "operator: {forward_pedal: [[0 s, 0 %%], [1 s, 90 %%]]}\n"
      "actions:\n  - {when: vehicle_distance > 1.3 m, move: forward_pedal, to: 0 %%, over: 0.5 s}\n",
      delay);
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/test.yaml", writer->text, NULL, 0, data, &error)) {
    fail_in(writer, "%s", error.text);
  }
}

/* Derivatives to a delay, one that ends with the ramp among them: there the neighbours' kinks come in another order
 * than the run's, and that is told. */
static double slope_to_delay(double delay, long *unsure) {
  static struct writer writer;
  const double step = 1e-7;
  const double scale = 0.5;
  struct case_data data[3];
  load_delayed(&writer, delay, &data[0]);
  load_delayed(&writer, delay + step, &data[1]);
  load_delayed(&writer, delay - step, &data[2]);
  struct sensitivity_request request = {1, &data[1], &data[2], &step, &scale, 0, NULL, NULL, NULL};
  struct sensitivity_result result;
  struct outcome outcome;
  struct error error = {0};
  if (!run_sensitive(&data[0], &request, NULL, NULL, &outcome, &result, &error)) {
    fail_in(&writer, "%s", error.text);
  }
  double slope = result.measures[0][MEASURE_stop_distance];
  *unsure = result.unsure;
  free(result.measures);
  outcome_free(&outcome);
  for (int i = 0; i < 3; i++) {
    case_free(&data[i]);
  }
  return slope;
}

static void derivatives_go_through_as_well(void **state) {
  (void)state;
  long unsure[3];
  double before = slope_to_delay(0.499, &unsure[0]);
  double there = slope_to_delay(0.5, &unsure[1]);
  double behind = slope_to_delay(0.501, &unsure[2]);
  CHECK_CLOSE(there, before, 0.01);
  CHECK_CLOSE(there, behind, 0.01);
  assert_int_equal(unsure[0], 0);
  assert_int_equal(unsure[1], 1);
  assert_int_equal(unsure[2], 0);
}

/* When the displacement of each motor has grown by a hundredth since 2 s. */
struct risen {
  int signals[2];
  double start[2];
  double when[2];
};

static bool see_rise(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct risen *risen = context;
  (void)error;
  for (int i = 0; i < count; i++) {
    for (int m = 0; m < 2; m++) {
      double now = values[risen->signals[m]][i];
      if (time[i] <= 2.0) {
        risen->start[m] = now;
      } else if (isnan(risen->when[m]) && now > risen->start[m] + 0.01) {
        risen->when[m] = time[i];
      }
    }
  }
  return true;
}

/* Two motors, the pedal let go at 2 s: each begins to grow when its own delay is over. */
static void each_motor_waits_by_its_own_delay(void **state) {
  (void)state;
  static const double delays[][2] = {{0.0, 0.6}, {0.7, 0.0}, {0.3, 0.8}, {0.5, 0.5}};
  for (size_t k = 0; k < sizeof delays / sizeof delays[0]; k++) {
    static struct writer writer;
    struct case_data data;
    struct outcome outcome;
    struct error error = {0};
    writer.used = 0;
    put(&writer,
        "machine: forwarder_two_motors.yaml\nsimulation: {end_time: 3.5 s}\n"
        "motor: {override_line: off, upstroke_delay: %.17g s}\n"
        "second_motor: {override_line: off, upstroke_delay: %.17g s}\n"
        "operator: {forward_pedal: [[0 s, 0 %%], [1 s, 90 %%], [2 s, 90 %%], [2.2 s, 0 %%]]}\n",
        delays[k][0], delays[k][1]);
    if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/test.yaml", writer.text, NULL, 0, &data, &error)) {
      fail_in(&writer, "%s", error.text);
    }
    struct risen risen = {
        {registry_signal(data.plant, "motor_displacement"), registry_signal(data.plant, "second_motor_displacement")},
        {NAN, NAN},
        {NAN, NAN}};
    struct recorder recorder = {&risen, see_rise};
    assert_true(run_case(&data, &recorder, NULL, &outcome, &error));
    for (int m = 0; m < 2; m++) {
      assert_true(risen.when[m] > 2.0 + delays[k][m] && risen.when[m] < 2.0 + delays[k][m] + 0.1);
    }
    outcome_free(&outcome);
    case_free(&data);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_motor_waits_by_its_own_delay),
      cmocka_unit_test(a_delay_may_last_as_long_as_a_ramp),
      cmocka_unit_test(derivatives_go_through_as_well),
      cmocka_unit_test(whatever_falls_together_goes_through),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
