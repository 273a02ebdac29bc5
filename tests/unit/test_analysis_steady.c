/* Balance: roots, steady drive against long runs, starts from balance, maps that agree with runs, and reasons. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "check.h"
#include "registry.h"
#include "nonlinear.h"
#include "run.h"
#include "steady.h"
#include "units.h"

/* ---- roots ---- */

static bool circle_and_line(void *context, const double *u, double *f) {
  (void)context;
  f[0] = u[0] * u[0] + u[1] * u[1] - 25.0;
  f[1] = 1e6 * (u[0] - 0.75 * u[1]);
  return true;
}

static bool no_root(void *context, const double *u, double *f) {
  (void)context;
  f[0] = u[0] * u[0] + 1.0;
  return true;
}

static bool only_positive(void *context, const double *u, double *f) {
  (void)context;
  f[0] = log(u[0]) - 2.0;
  return u[0] > 0.0;
}

static void test_roots(void **state) {
  (void)state;
  double sizes[2] = {1.0, 1.0};
  double u[2] = {10.0, 1.0};
  struct nonlinear_problem problem = {2, NULL, circle_and_line, sizes};
  assert_true(nonlinear_solve(&problem, u, NULL));
  CHECK_CLOSE(u[0], 3.0, 1e-9);
  CHECK_CLOSE(u[1], 4.0, 1e-9);
  double v[1] = {0.3};
  struct nonlinear_problem none = {1, NULL, no_root, sizes};
  assert_false(nonlinear_solve(&none, v, NULL));
  double w[1] = {0.1};
  struct nonlinear_problem half = {1, NULL, only_positive, sizes};
  assert_true(nonlinear_solve(&half, w, NULL));
  CHECK_CLOSE(w[0], exp(2.0), 1e-9);
}

/* ---- machines ---- */

static struct case_data load(const char *name, const char *const *sets, int set_count) {
  struct error error = {0};
  struct case_data data;
  char path[512];
  char message[2048];
  snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/%s.yaml", name);
  if (!case_load(path, sets, set_count, &data, &error)) {
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
  return data;
}

static struct case_data load_text(const char *text) {
  struct error error = {0};
  struct case_data data;
  char message[2048];
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/test.yaml", text, NULL, 0, &data, &error)) {
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
  return data;
}

static struct machine *open_machine(const struct case_data *data) {
  struct error error = {0};
  struct machine *machine = calloc(1, sizeof *machine);
  assert_non_null(machine);
  if (!machine_open(data, machine, &error)) {
    fail_msg("%s", error.text);
  }
  return machine;
}

static void close_machine(struct machine *machine) {
  machine_close(machine);
  free(machine);
}

/* The last sample of a run. */
struct last {
  int count;
  double values[PLANT_SIGNAL_LIMIT];
  double first[PLANT_SIGNAL_LIMIT];
  bool any;
};

static bool keep_last(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct last *last = context;
  (void)time;
  (void)error;
  for (int i = 0; i < last->count; i++) {
    if (!last->any) {
      last->first[i] = values[i][0];
    }
    last->values[i] = values[i][count - 1];
  }
  last->any = true;
  return true;
}

static struct last run_to_end(const struct case_data *data) {
  struct error error = {0};
  struct outcome outcome;
  struct last last = {.count = data->plant->signal_count};
  struct recorder recorder = {&last, keep_last};
  if (!run_case(data, &recorder, NULL, &outcome, &error)) {
    fail_msg("%s", error.text);
  }
  assert_int_equal(outcome.status, RUN_COMPLETE);
  outcome_free(&outcome);
  return last;
}

/* A long run comes to rest at the point. */
static void check_where_it_settles(const struct case_data *data, struct machine *machine,
                                   const struct machine_point *point) {
  static const char *const told[] = {"vehicle_speed",   "engine_speed",    "line_a_pressure",
                                     "line_b_pressure", "charge_pressure", "fuel_fraction"};
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, point, signals);
  struct last last = run_to_end(data);
  for (size_t k = 0; k < sizeof told / sizeof told[0]; k++) {
    int signal = registry_signal(data->plant, told[k]);
    CHECK_CLOSE(last.values[signal], signals[signal], 2e-4);
  }
}

#define HELD_HEAT                                                                                                      \
  "heat: {nodes: two, loop_capacity: 100000 kJ/K, tank_capacity: 1000000 kJ/K}\n" /* temperatures stand still, as in   \
                                                                                     balance */

/* A long run of a machine on a steady grade comes to where the balance says it is. */
static void test_balance_is_where_a_run_comes_to(void **state) {
  (void)state;
  static const char *const grades[] = {"-8", "0", "12"};
  for (int i = 0; i < 3; i++) {
    char text[512];
    snprintf(text, sizeof text,
             "machine: machines/forwarder.yaml\nsimulation: {end_time: 60 s, output_step: 1 s}\n" HELD_HEAT
             "operator: {forward_pedal: [[0 s, 55 %%]]}\nground: {grade: [[0 m, %s %%]]}\n",
             grades[i]);
    struct case_data data = load_text(text);
    struct machine *machine = open_machine(&data);
    struct steady_given given = {NAN, NAN, NAN, NAN};
    struct machine_point point;
    struct error error = {0};
    assert_true(steady_find(machine, &given, &point, &error));
    check_where_it_settles(&data, machine, &point);
    close_machine(machine);
    case_free(&data);
  }
}

/* A run that starts in balance stays there. */
static void test_start_steady_stays(void **state) {
  (void)state;
  struct case_data data = load_text("machine: machines/forwarder.yaml\n"
                                    "simulation: {end_time: 5 s, output_step: 0.1 s, start: steady}\n" HELD_HEAT
                                    "operator: {forward_pedal: [[0 s, 60 %]]}\nground: {grade: [[0 m, 6 %]]}\n");
  struct last last = run_to_end(&data);
  int speed = registry_signal(data.plant, "vehicle_speed");
  int line = registry_signal(data.plant, "line_a_pressure");
  assert_true(last.first[speed] > 1.0);
  CHECK_CLOSE(last.values[speed], last.first[speed], 1e-5);
  CHECK_CLOSE(last.values[line], last.first[line], 1e-4);
  case_free(&data);
}

#define LOSSLESS_UNIT                                                                                                  \
  "{slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, friction_coefficient: 0, constant_torque: " \
  "0 N m}\n"

/* A drive without losses has its points like any other, however they are asked for; the pressures by hand. Its lines
 * may stand at any level: balance is a line, not a point. */
static void test_a_lossless_drive_has_points(void **state) {
  (void)state;
  struct case_data data =
      load_text("machine: machines/forwarder.yaml\nsimulation: {end_time: 1 s}\npump: " LOSSLESS_UNIT
                "motor: " LOSSLESS_UNIT "driveline: {efficiency: 100 %}\ntyre: {rolling_resistance: 0}\n"
                "flushing: {orifice: 0 L/min/bar^0.5}\ncharge: {leak: 0 L/min/bar}\n");
  struct machine *machine = open_machine(&data);
  static const double grades[] = {0.05, 0.0, -0.05};
  for (int i = 0; i < 3; i++) {
    struct steady_given by_speed = {10.0 / 3.6, grades[i], NAN, NAN};
    struct machine_point point;
    struct error error = {0};
    double signals[PLANT_SIGNAL_LIMIT];
    if (!steady_find(machine, &by_speed, &point, &error)) {
      fail_msg("%s", error.text);
    }
    machine_signals(machine, &point, signals);
    double drop = signals[registry_signal(data.plant, "line_pressure_difference")];
    double share = signals[registry_signal(data.plant, "motor_displacement")];
    double slope = 14000.0 * 9.81 * grades[i] / sqrt(1.0 + grades[i] * grades[i]);
    /* the drag of the gear's own turning, 0 here, and the width over which a lossless gear turns round leave 0.1 bar */
    double by_hand = slope * 0.62 / (53.0 * 160e-6 / (2.0 * 3.14159265358979323846) * share);
    CHECK_NEAR(drop, by_hand, 4e5);
    struct steady_given by_pedal = {NAN, grades[i], NAN, point.inputs[MACHINE_PEDAL]};
    struct machine_point again;
    if (!steady_find(machine, &by_pedal, &again, &error)) {
      fail_msg("%s", error.text);
    }
    machine_signals(machine, &again, signals);
    CHECK_CLOSE(signals[registry_signal(data.plant, "vehicle_speed")], 10.0 / 3.6, 1e-4);
    CHECK_NEAR(signals[registry_signal(data.plant, "line_pressure_difference")], drop, 2e3);
  }
  close_machine(machine);
  case_free(&data);
}

/* A start that cannot be is refused in words. */
static void test_start_steady_refused(void **state) {
  (void)state;
  struct case_data data = load_text("machine: machines/forwarder.yaml\n"
                                    "simulation: {end_time: 5 s, start: steady}\n"
                                    "engine: {peak_torque: 60 N m}\n"
                                    "operator: {forward_pedal: [[0 s, 100 %]]}\nground: {grade: [[0 m, 30 %]]}\n");
  struct error error = {0};
  struct outcome outcome;
  assert_false(run_case(&data, NULL, NULL, &outcome, &error));
  assert_non_null(strstr(error.text, "no steady start"));
  assert_non_null(strstr(error.text, "stalls"));
  case_free(&data);
}

/* Speed and pedal give a grade; speed and that grade give the pedal back; so do grade and pedal the speed. */
static void test_questions_agree(void **state) {
  (void)state;
  struct case_data data = load("climb", NULL, 0);
  struct machine *machine = open_machine(&data);
  struct error error = {0};
  for (int i = 0; i < 4; i++) {
    double speed = (4.0 + 4.0 * i) / 3.6;
    struct steady_given by_pedal = {speed, NAN, NAN, 0.3 + 0.2 * i};
    struct machine_point first;
    struct machine_point second;
    struct machine_point third;
    assert_true(steady_find(machine, &by_pedal, &first, &error));
    struct steady_given by_grade = {speed, first.inputs[MACHINE_GRADE], NAN, NAN};
    assert_true(steady_find(machine, &by_grade, &second, &error));
    /* Under the pressure limiter more than one pedal gives the same: compare what the machine does. */
    CHECK_NEAR(second.inputs[MACHINE_GRADE], first.inputs[MACHINE_GRADE], 1e-9);
    machine_set_all(machine, second.inputs);
    third = second;
    third.state[machine->speed] *= 1.01;
    assert_true(machine_find_speed(machine, &third));
    CHECK_CLOSE(third.state[machine->speed], speed, 1e-6);
  }
  close_machine(machine);
  case_free(&data);
}

/* No solution is an answer, with a reason in words. */
static void test_reasons(void **state) {
  (void)state;
  static const struct {
    double speed, grade; /* km/h, share */
    const char *set;
    const char *reason;
  } questions[] = {
      {8.0, 0.35, "tyre.grip=0.75", "engine is at full fuel"},
      {2.0, 0.75, "tyre.grip=0.75", "pressure limiter"},
      {2.0, 0.60, "tyre.grip=0.5", "grip is used up"},
      {8.0, -0.9, "tyre.grip=0.75", "grip is used up"},
      {45.0, 0.0, "tyre.grip=0.75", "full pedal"},
  };
  for (size_t i = 0; i < sizeof questions / sizeof questions[0]; i++) {
    struct case_data data = load("climb", &questions[i].set, 1);
    struct machine *machine = open_machine(&data);
    struct error error = {0};
    struct machine_point point;
    struct steady_given given = {questions[i].speed / 3.6, questions[i].grade, NAN, NAN};
    assert_false(steady_find(machine, &given, &point, &error));
    if (strstr(error.text, questions[i].reason) == NULL) {
      fail_msg("expected '%s' in: %s", questions[i].reason, error.text);
    }
    close_machine(machine);
    case_free(&data);
  }
}

static struct steady_answer *hold_back(const char *name, const char *const *sets, int set_count, double exhaust_brake,
                                       int steps) {
  struct case_data data = load(name, sets, set_count);
  struct machine *machine = open_machine(&data);
  struct steady_answer *answer = calloc(1, sizeof *answer);
  struct steady_options options = {NAN, 368.15, 3.0 / 3.6, 24.0 / 3.6, steps, NAN, NAN, 0};
  struct error error = {0};
  assert_non_null(answer);
  machine_set(machine, MACHINE_EXHAUST_BRAKE, exhaust_brake);
  assert_true(steady_hold_back(machine, &options, answer, &error));
  close_machine(machine);
  case_free(&data);
  return answer;
}

static void free_answer(struct steady_answer *answer) {
  steady_answer_free(answer);
  free(answer);
}

/* The map says how steep the engine holds: a run on that grade with that pedal keeps the engine there. */
static void test_hold_back_against_a_run(void **state) {
  (void)state;
  struct steady_answer *answer = hold_back("downhill", NULL, 0, 0.0, 4);
  const struct chart *chart = &answer->charts[0];
  double grade = chart_find(chart, "grade_held")->values[1];
  double pedal = chart_find(chart, "pedal")->values[1];
  double speed = chart->axes[0].values[1];
  assert_string_equal(chart_find_texts(chart, "limit")->values[1], "engine braking");
  char text[700];
  snprintf(text, sizeof text,
           "machine: machines/forwarder.yaml\n"
           "simulation: {end_time: 40 s, output_step: 1 s}\n" HELD_HEAT "vehicle: {start_speed: %.9g m/s}\n"
           "operator: {forward_pedal: [[0 s, %.12g %%]]}\nground: {grade: [[0 m, %.12g %%]]}\n",
           speed, 100.0 * pedal, 100.0 * grade);
  struct case_data data = load_text(text);
  struct last last = run_to_end(&data);
  CHECK_CLOSE(last.values[registry_signal(data.plant, "vehicle_speed")], speed, 1e-3);
  CHECK_CLOSE(last.values[registry_signal(data.plant, "engine_speed")], 2520.0 * 2.0 * 3.14159265358979323846 / 60.0,
              1e-3);
  case_free(&data);
  free_answer(answer);
}

/* An exhaust brake holds more; a low relief valve ends the hold where it cracks. */
static void test_hold_back_answers_to_parts(void **state) {
  (void)state;
  static const char *const low_relief[] = {"relief.setting=150 bar", "limiter.setting=130 bar"};
  struct steady_answer *plain = hold_back("downhill", NULL, 0, 0.0, 4);
  struct steady_answer *braked = hold_back("downhill", NULL, 0, 1.0, 4);
  struct steady_answer *relieved = hold_back("downhill", low_relief, 2, 0.0, 4);
  int met = 0;
  for (int i = 0; i < 3; i++) {
    double without = chart_find(&plain->charts[0], "grade_engine_braking")->values[i];
    double with = chart_find(&braked->charts[0], "grade_engine_braking")->values[i];
    /* At some speeds the foot is off before the engine is too fast: then with the brake as well. */
    if (isnan(without)) {
      assert_true(isnan(with));
    } else {
      assert_true(with < without);
      met++;
    }
  }
  assert_true(met > 0);
  assert_string_equal(chart_find_texts(&relieved->charts[0], "limit")->values[0], "relief valve");
  free_answer(plain);
  free_answer(braked);
  free_answer(relieved);
}

/* What is put in is what is lost, at every point of the map. */
static void test_powers_close(void **state) {
  (void)state;
  struct case_data data = load("climb", NULL, 0);
  struct machine *machine = open_machine(&data);
  struct error error = {0};
  struct steady_given given = {7.0 / 3.6, 0.1, NAN, NAN};
  struct machine_point point;
  double powers[PLANT_LEDGER_LIMIT];
  assert_true(steady_find(machine, &given, &point, &error));
  machine_powers(machine, &point, powers);
  double balance = 0.0;
  double in = 0.0;
  for (int i = 0; i < data.plant->ledger_integrated; i++) {
    enum ledger_kind kind = data.plant->ledger[i].kind;
    balance += kind == LEDGER_SOURCE ? powers[i] : ledger_is_loss(kind) ? -powers[i] : 0.0;
    in += kind == LEDGER_SOURCE && powers[i] > 0.0 ? powers[i] : 0.0;
  }
  CHECK_NEAR(balance, 0.0, 1e-7 * in);
  close_machine(machine);
  case_free(&data);
}

static int state_place(const struct machine *machine, const char *name) {
  int rows[PLANT_STATE_LIMIT];
  int count = machine->data.plant->active_states(machine->model, rows);
  for (int i = 0; i < count; i++) {
    if (strcmp(machine->data.plant->states[rows[i]].name, name) == 0) {
      return i;
    }
  }
  fail_msg("no state %s", name);
  return 0;
}

/* A relief valve counts as open above 0.6 L/min (docs/commands.md), either of them. */
static void test_a_relief_valve_is_open_above_its_leak(void **state) {
  (void)state;
  static const char *const names[2][3] = {{"relief_a_opening", "relief_a_flow", "line_a_compression"},
                                          {"relief_b_opening", "relief_b_flow", "line_b_compression"}};
  struct case_data data = load("climb", NULL, 0);
  struct machine *machine = open_machine(&data);
  struct error error = {0};
  struct steady_given given = {7.0 / 3.6, 0.1, NAN, NAN};
  struct machine_point point;
  assert_true(steady_find(machine, &given, &point, &error));
  assert_int_equal(machine_bounds(machine, &point) & (1u << BOUND_relief), 0);
  double high = point.state[state_place(machine, "line_a_compression")];
  double low = point.state[state_place(machine, "line_b_compression")];
  for (int valve = 0; valve < 2; valve++) {
    struct machine_point opened = point;
    double signals[PLANT_SIGNAL_LIMIT];
    double *opening = &opened.state[state_place(machine, names[valve][0])];
    opened.state[state_place(machine, names[1 - valve][2])] = low;
    opened.state[state_place(machine, names[valve][2])] = high;
    *opening = 1e4;
    machine_signals(machine, &opened, signals);
    double per_opening = signals[registry_signal(data.plant, names[valve][1])] / 1e4;
    assert_true(per_opening > 0.0);
    *opening = 1.01e-5 / per_opening;
    assert_int_equal(machine_bounds(machine, &opened) & (1u << BOUND_relief), 1u << BOUND_relief);
    *opening = 0.99e-5 / per_opening;
    assert_int_equal(machine_bounds(machine, &opened) & (1u << BOUND_relief), 0);
  }
  close_machine(machine);
  case_free(&data);
}

/* ---- stroke by engine speed: the accelerator is the pedal ---- */

#define BY_ACCELERATOR "controls: {idle_speed: 900 rpm, drive_begin: 1100 rpm, drive_full: 2050 rpm, ramp: ratio}\n"

/* A long run with the accelerator held comes to where the balance says it is, uphill, on the level and in overrun,
 * either way round; asked by speed and grade the balance gives that accelerator back. */
static void test_accelerator_balance_is_where_a_run_comes_to(void **state) {
  (void)state;
  static const double grades[] = {-8.0, 0.0, 12.0};
  static const double ways[] = {100.0, -100.0};
  for (int i = 0; i < 6; i++) {
    char text[700];
    double way = ways[i % 2];
    snprintf(
        text, sizeof text,
        "machine: machines/forwarder.yaml\nsimulation: {end_time: 60 s, output_step: 1 s}\n" HELD_HEAT BY_ACCELERATOR
        "operator: {layout: accelerator_and_direction, direction: %g %%, accelerator: [[0 s, 60 %%]]}\n"
        "ground: {grade: [[0 m, %g %%]]}\n",
        way, grades[i / 2] * way / 100.0);
    struct case_data data = load_text(text);
    struct machine *machine = open_machine(&data);
    struct steady_given given = {NAN, NAN, NAN, NAN};
    struct machine_point point;
    struct machine_point again;
    struct error error = {0};
    assert_true(steady_find(machine, &given, &point, &error));
    check_where_it_settles(&data, machine, &point);
    struct steady_given by_speed = {point.state[machine->speed], point.inputs[MACHINE_GRADE], NAN, NAN};
    assert_true(steady_find(machine, &by_speed, &again, &error));
    CHECK_NEAR(again.inputs[MACHINE_PEDAL], 0.6 * way / 100.0, 1e-5);
    close_machine(machine);
    case_free(&data);
  }
}

/* By hand: a drive without losses goes at w D_p r R / (D_m i), r the ratio that the engine's speed commands
 * (controls.h); the engine turns between its set speed, idle + a (full - idle), and that and the droop. */
static void test_accelerator_by_hand(void **state) {
  (void)state;
  const double rpm = 2.0 * 3.14159265358979323846 / 60.0;
  static const double pressed[] = {0.4, 0.6, 0.9};
  struct case_data data =
      load_text("machine: machines/forwarder.yaml\nsimulation: {end_time: 1 s}\n" BY_ACCELERATOR "pump: " LOSSLESS_UNIT
                "motor: " LOSSLESS_UNIT "driveline: {efficiency: 100 %}\ntyre: {rolling_resistance: 0}\n"
                "flushing: {orifice: 0 L/min/bar^0.5}\ncharge: {leak: 0 L/min/bar}\n"
                "operator: {layout: accelerator_and_direction}\n");
  struct machine *machine = open_machine(&data);
  for (int i = 0; i < 6; i++) {
    double side = i < 3 ? 1.0 : -1.0;
    struct steady_given given = {NAN, 0.0, NAN, side * pressed[i % 3]};
    struct machine_point point;
    struct error error = {0};
    double signals[PLANT_SIGNAL_LIMIT];
    if (!steady_find(machine, &given, &point, &error)) {
      fail_msg("%s", error.text);
    }
    machine_signals(machine, &point, signals);
    double w = signals[registry_signal(data.plant, "engine_speed")];
    double set = (900.0 + pressed[i % 3] * (2100.0 - 900.0)) * rpm;
    CHECK_CLOSE(signals[registry_signal(data.plant, "engine_set_speed")], set, 1e-12);
    assert_true(w > set && w < 1.07 * set);
    /* The split of the pedal is a third: up to there the pump, then the motor from all to 31.25 %. */
    double drive = fmin((w - 1100.0 * rpm) / (950.0 * rpm), 1.0);
    double stroke = fmin(3.0 * drive, 1.0);
    double share = 1.0 - 0.6875 * fmax((drive - 1.0 / 3.0) / (2.0 / 3.0), 0.0);
    double speed = side * w * 125.0 * stroke * 0.62 / (160.0 * share * 53.0);
    /* The width over which a lossless gear turns round leaves a little pressure, and so compression; the tyre slips. */
    CHECK_CLOSE(signals[registry_signal(data.plant, "vehicle_speed")], speed, 2e-3);
  }
  close_machine(machine);
  case_free(&data);
}

/* Foot off, forward and back alike: the map says what is held and that up to the full drive a faster machine is held
 * less; beyond that a run on that grade comes to that speed. */
static void test_accelerator_hold_back_against_a_run(void **state) {
  (void)state;
  static const char text[] =
      "machine: machines/forwarder.yaml\nsimulation: {end_time: 150 s, output_step: 1 s}\n" HELD_HEAT BY_ACCELERATOR
      "vehicle: {start_speed: 24 km/h}\n"
      "operator: {layout: accelerator_and_direction, accelerator: [[0 s, 100 %%], [8 s, 100 %%], [10 s, 0 "
      "%%]]}\nground: {grade: [[0 m, %.12g %%]]}\n";
  char filled[900];
  snprintf(filled, sizeof filled, text, 0.0);
  struct case_data data = load_text(filled);
  struct machine *machine = open_machine(&data);
  struct steady_answer *answer = calloc(1, sizeof *answer);
  struct steady_options options = {NAN, 473.15, 8.0 / 3.6, 24.5 / 3.6, 12, NAN, NAN, 0};
  struct error error = {0};
  assert_non_null(answer);
  assert_true(steady_hold_back(machine, &options, answer, &error));
  const struct chart *chart = &answer->charts[0];
  const double *held = chart_find(chart, "grade_held")->values;
  for (int i = 0; i < 12; i += 11) {
    struct steady_given backward = {-chart->axes[0].values[i], NAN, NAN, 0.0};
    struct machine_point point;
    assert_string_equal(chart_find_texts(chart, "limit")->values[i], "foot off");
    assert_true(steady_find(machine, &backward, &point, &error));
    CHECK_CLOSE(point.inputs[MACHINE_GRADE], -held[i], 1e-6);
  }
  assert_true(answer->word_count > 0 && strstr(answer->words[0], "with the foot off") != NULL);
  assert_true(held[0] < held[6]); /* steeper where it is slower */
  snprintf(filled, sizeof filled, text, 100.0 * held[11]);
  struct case_data rolling = load_text(filled);
  struct last last = run_to_end(&rolling);
  CHECK_CLOSE(last.values[registry_signal(data.plant, "vehicle_speed")], 24.5 / 3.6, 1e-3);
  CHECK_CLOSE(last.values[registry_signal(data.plant, "engine_speed")], chart_find(chart, "engine_speed")->values[11],
              1e-3);
  case_free(&rolling);
  close_machine(machine);
  case_free(&data);
  free_answer(answer);
}

/* The most pull of the map is that of full fuel: more accelerator gives the same, less gives less; what cannot be says
 * why in words of an accelerator. */
static void test_accelerator_pull_and_reasons(void **state) {
  (void)state;
  struct case_data data = load("drive_off", NULL, 0);
  struct machine *machine = open_machine(&data);
  struct steady_answer *answer = calloc(1, sizeof *answer);
  struct steady_options options = {NAN, 368.15, 6.0 / 3.6, 18.0 / 3.6, 3, NAN, NAN, 0};
  struct error error = {0};
  struct machine_point point;
  assert_non_null(answer);
  assert_true(steady_tractive_effort(machine, &options, answer, &error));
  const struct chart *chart = &answer->charts[0];
  for (int i = 0; i < 3; i++) {
    double pull = chart_find(chart, "pull")->values[i];
    double pedal = chart_find(chart, "pedal")->values[i];
    double speed = chart->axes[0].values[i];
    assert_string_equal(chart_find_texts(chart, "limit")->values[i], "engine power");
    /* Full fuel is asked for up to the set speed, idle + a (full - idle) (engine.h, controls.h). */
    double rpm = chart_find(chart, "engine_speed")->values[i] * 60.0 / (2.0 * 3.14159265358979323846);
    CHECK_NEAR(900.0 + pedal * 1200.0, rpm, 0.1);
    struct steady_given more = {speed, NAN, NAN, fmin(pedal + 0.05, 1.0)};
    struct steady_given less = {speed, NAN, NAN, pedal - 0.01};
    machine_set(machine, MACHINE_PULL, 0.0);
    assert_true(steady_find(machine, &more, &point, &error));
    double grade = point.inputs[MACHINE_GRADE];
    struct steady_given by_pull = {speed, NAN, pull, NAN};
    machine_set(machine, MACHINE_GRADE, 0.0);
    assert_true(steady_find(machine, &by_pull, &point, &error));
    CHECK_NEAR(point.inputs[MACHINE_PULL], pull, 1e-3);
    machine_set(machine, MACHINE_PULL, 0.0);
    assert_true(steady_find(machine, &less, &point, &error));
    assert_true(point.inputs[MACHINE_GRADE] < grade - 1e-4);
  }
  /* Eight accelerators in place of settings of pump and motor. */
  const struct chart *settings = &answer->charts[2];
  CHECK_CLOSE(chart_find(settings, "setting_pedal")->values[7], 1.0, 1e-12);
  assert_true(isnan(chart_find(settings, "setting_stroke")->values[7]));
  free_answer(answer);
  static const struct {
    double speed, grade; /* km/h, share */
    const char *reason;
  } questions[] = {{8.0, -0.2, "with the foot off the engine burns nothing"},
                   {-8.0, 0.2, "with the foot off the engine burns nothing"},
                   {40.0, 0.0, "full accelerator is no faster"},
                   {8.0, 0.4, "engine is at full fuel"}};
  for (size_t i = 0; i < sizeof questions / sizeof questions[0]; i++) {
    struct steady_given given = {questions[i].speed / 3.6, questions[i].grade, NAN, NAN};
    memset(&error, 0, sizeof error);
    assert_false(steady_find(machine, &given, &point, &error));
    if (strstr(error.text, questions[i].reason) == NULL) {
      fail_msg("expected '%s' in: %s", questions[i].reason, error.text);
    }
  }
  close_machine(machine);
  case_free(&data);
}

/* ---- more than one balance ---- */

/* By hand: F = mu N sin(C atan(B k)) gives the same force at k and at tan(pi/C - atan(B k))/B (tyre.h, C 1.45, B 7), so
 * a climb near the end of its grip has a second balance with wheels that spin; well below it there is none. */
static void test_wheels_that_spin_balance_too(void **state) {
  (void)state;
  static const char *const grip[] = {"tyre.grip=0.5"};
  static const struct steady_question asked = {MACHINE_GRADE, MACHINE_GRADE, false, true};
  struct case_data data = load("climb", grip, 1);
  struct machine *machine = open_machine(&data);
  int slip = registry_signal(data.plant, "wheel_slip");
  static const double grades[] = {0.40, 0.44, 0.45}; /* less steep they spin faster than the engine has power for */
  for (int i = 0; i < 3; i++) {
    struct steady_given given = {2.0 / 3.6, grades[i], NAN, NAN};
    struct machine_point point;
    struct steady_others others;
    struct error error = {0};
    double signals[PLANT_SIGNAL_LIMIT];
    if (!steady_find(machine, &given, &point, &error)) {
      fail_msg("%s", error.text);
    }
    machine_signals(machine, &point, signals);
    double second = tan(3.14159265358979323846 / 1.45 - atan(7.0 * signals[slip])) / 7.0;
    steady_others(machine, &asked, &point, &others);
    if (second > 1.0) {
      assert_int_equal(others.count, 0);
      continue;
    }
    assert_int_equal(others.count, 1);
    machine_signals(machine, &others.at[0], signals);
    CHECK_CLOSE(signals[slip], second, 1e-5);
    CHECK_CLOSE(others.at[0].inputs[MACHINE_GRADE], given.grade, 1e-9);
    assert_true(steady_growth(machine, &others.at[0]) > 0.0);
  }
  close_machine(machine);
  case_free(&data);
}

/* Two motors on the same lines hold a downgrade with both axles gripping, or with the rear wheels sliding. */
static void test_axles_share_in_two_ways(void **state) {
  (void)state;
  struct case_data data = load("axle_spins", NULL, 0);
  struct machine *machine = open_machine(&data);
  struct steady_given given = {0.3, -0.55, NAN, NAN};
  struct steady_answer *answer = calloc(1, sizeof *answer);
  struct error error = {0};
  assert_non_null(answer);
  assert_true(steady_point(machine, &given, answer, &error));
  assert_true(chart_find(&answer->charts[0], "other_balances")->values[0] >= 1.0);
  assert_string_equal(answer->charts[2].name, "others");
  double shown = chart_find(&answer->charts[0], "wheel_slip")->values[0];
  double other = chart_find(&answer->charts[2], "wheel_slip")->values[0];
  assert_true(shown > -0.2 && other < -0.4);
  CHECK_CLOSE(chart_find(&answer->charts[2], "grade")->values[0], -0.55, 1e-9);
  bool told = false;
  for (int i = 0; i < answer->word_count; i++) {
    told = told || strstr(answer->words[i], "another balance answers the same") != NULL;
  }
  assert_true(told);
  free_answer(answer);
  close_machine(machine);
  case_free(&data);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_roots),
      cmocka_unit_test(test_balance_is_where_a_run_comes_to),
      cmocka_unit_test(test_start_steady_stays),
      cmocka_unit_test(test_a_lossless_drive_has_points),
      cmocka_unit_test(test_start_steady_refused),
      cmocka_unit_test(test_questions_agree),
      cmocka_unit_test(test_reasons),
      cmocka_unit_test(test_hold_back_against_a_run),
      cmocka_unit_test(test_hold_back_answers_to_parts),
      cmocka_unit_test(test_powers_close),
      cmocka_unit_test(test_a_relief_valve_is_open_above_its_leak),
      cmocka_unit_test(test_accelerator_balance_is_where_a_run_comes_to),
      cmocka_unit_test(test_accelerator_by_hand),
      cmocka_unit_test(test_accelerator_hold_back_against_a_run),
      cmocka_unit_test(test_accelerator_pull_and_reasons),
      cmocka_unit_test(test_wheels_that_spin_balance_too),
      cmocka_unit_test(test_axles_share_in_two_ways),
  };
  int failed = cmocka_run_group_tests(tests, NULL, NULL);
  return failed;
}
