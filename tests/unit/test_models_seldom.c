/* What machines seldom do, each branch of the models that no other test takes, with what physics or the contract of the
 * function asks there: a jet that shuts a valve, a lever at a gear that is not there, clutches that change over without
 * a gap, an open transfer case, smooth tables of pedals, hoses to one axle of two, parts of an evaluation in lanes.
 * tools/branch-coverage tells which branches are left. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "plant_lanes.h"
#include "profile.h"
#include "relief.h"
#include "transmission.h"

/* ---- valves and numbers ---- */

/* On the open poppet the drop pushes with its seat's area, and the jet closes with 2 C_d cos(phi) w x: beyond a lift of
 * area over that factor no drop is large enough, and the balance never reaches the stop. Short of it, it does. */
static void the_jet_may_keep_a_poppet_off_its_stop(void **state) {
  (void)state;
  DEFAULTS(relief, valve);
  valve.law = RELIEF_POPPET;
  double density = 870.0;
  double reach = relief_seat_area(&valve) / relief_flow_force_factor(&valve);
  valve.largest_lift = 1.01 * reach;
  assert_true(relief_poppet_stop_flow(&valve, density) == HUGE_VAL);
  assert_true(relief_stop_flow(&valve, density) == HUGE_VAL);
  valve.largest_lift = 0.5 * reach; /* half of the area is left: drop = 2 (setting + spring x lift / area) */
  double drop = 2.0 * (valve.setting + valve.spring_rate * valve.largest_lift / relief_seat_area(&valve));
  double flow = valve.discharge * valve.opening_width * valve.largest_lift * sqrt(2.0 * drop / density);
  CHECK_CLOSE(relief_stop_flow(&valve, density), flow, 1e-12);
  double lift;
  CHECK_CLOSE(relief_balance_drop(&valve, flow * (1.0 - 1e-9), density, &lift), drop, 1e-6);
  CHECK_CLOSE(lift, valve.largest_lift, 1e-6);
  CHECK_CLOSE(relief_stop_position(&valve), 0.5 * reach, 1e-12);
  valve.law = RELIEF_FIRST_ORDER; /* has neither lift nor stop */
  assert_true(relief_stop_position(&valve) == HUGE_VAL);
  assert_true(relief_stop_flow(&valve, density) == HUGE_VAL);
}

/* Beyond its ends a table holds its value: no kink there. At a step the line breaks. */
static void tables_are_straight_beyond_their_ends(void **state) {
  (void)state;
  static const double arguments[] = {0.0, 1.0, 1.0, 2.0};
  static const double values[] = {0.0, 0.0, 3.0, 3.0};
  struct profile step = {4, arguments, values, false};
  assert_true(profile_straight_at(&step, -1));
  assert_true(profile_straight_at(&step, 4));
  assert_true(profile_straight_at(&step, 0)); /* held before, level after */
  assert_false(profile_straight_at(&step, 1));
  assert_false(profile_straight_at(&step, 2));
}

/* What no int holds gives a negative number, so that a place in a table can be tested for. */
static void whole_numbers_that_no_int_holds(void **state) {
  (void)state;
  assert_int_equal(real_whole(-2.9), -2);
  assert_int_equal(real_whole(2147483647.5), 2147483647);
  assert_int_equal(real_whole(3e9), INT32_MIN);
  assert_int_equal(real_whole(-3e9), INT32_MIN);
  assert_int_equal(real_whole((double)NAN), INT32_MIN);
}

/* ---- gearbox and transfer case ---- */

static double told_at(const struct outcome *outcome, const char *words) {
  for (int i = 0; i < outcome->event_count; i++) {
    if (strstr(outcome->events[i].message, words) != NULL) {
      return outcome->events[i].time;
    }
  }
  return NAN;
}

/* A lever that stands at a gear that the box has not: the machine starts in gear 1, and is told so. */
static void a_start_in_a_gear_that_is_not_there(void **state) {
  (void)state;
  static const char text[] = "gearbox: {law: standstill, ratio_1: 2.5, ratio_2: 0}\noperator: {gear: 2}\n"
                             "simulation: {end_time: 0.1 s}\n";
  struct bench *bench = bench_open(text);
  CHECK_NEAR(bench_signal(bench, "gear"), 1.0, 0.0);
  bench_close(bench);
  struct outcome outcome;
  assert_true(bench_whole_run(text, &outcome));
  CHECK_NEAR(told_at(&outcome, "no such gear"), 0.0, 1e-9);
  assert_true(isnan(told_at(&outcome, "is engaged")));
  outcome_free(&outcome);
}

/* A shift begun at 1 s, each clutch moving for 0.4 s: the new one begins (1 - overlap) of that later. */
static void clutches_change_over_without_a_gap(void **state) {
  (void)state;
  static const double overlaps[] = {100.0, 75.0, 0.0};
  for (size_t i = 0; i < sizeof overlaps / sizeof overlaps[0]; i++) {
    char text[512];
    struct outcome outcome;
    (void)snprintf(text, sizeof text,
                   "gearbox: {law: under_load, shift_time: 0.4 s, overlap: %g %%}\nengine: {stall: none}\n"
                   "simulation: {end_time: 2.5 s}\nactions:\n  - {when: time > 1 s, move: gear, to: 2}\n",
                   overlaps[i]);
    assert_true(bench_whole_run(text, &outcome));
    CHECK_NEAR(told_at(&outcome, "begins to shift to gear 2"), 1.0, 1e-9);
    CHECK_NEAR(told_at(&outcome, "gear 2 is engaged"), 1.0 + 0.4 * (2.0 - overlaps[i] / 100.0), 1e-9);
    assert_true(outcome.measures[MEASURE_energy_residual] < 1e-6);
    outcome_free(&outcome);
  }
}

static double stored_row(struct bench *bench, const char *name) {
  const struct plant *plant = bench->data.plant;
  double energies[PLANT_LEDGER_LIMIT];
  if (!bench->good) {
    return NAN;
  }
  plant->stored(bench->model, bench->state, energies);
  for (int i = plant->ledger_integrated; i < plant->ledger_count; i++) {
    if (strcmp(plant->ledger[i].name, name) == 0) {
      return energies[i - plant->ledger_integrated];
    }
  }
  return NAN;
}

/* An open differential winds nothing up, however unlike its shafts turn; a locked one does: 0.5 T^2 / k. */
static void an_open_transfer_case_winds_nothing_up(void **state) {
  (void)state;
  struct bench *open = bench_open("vehicle: {axles: two}\ntransfer_case: {law: open}\n");
  *bench_state(open, "front_wheel_speed") = 3.0;
  CHECK_NEAR(stored_row(open, "shaft_wind_up"), 0.0, 0.0);
  assert_true(fabs(bench_signal(open, "transfer_slip")) > 1.0);
  bench_close(open);
  struct bench *locked = bench_open("vehicle: {axles: two}\ntransfer_case: {law: locked}\n");
  *bench_state(locked, "transfer_torque") = 100.0;
  double torque = *bench_parameter(locked, "transfer_case", "torque");
  double stiffness = torque / *bench_parameter(locked, "transfer_case", "wind_up_angle");
  CHECK_CLOSE(stored_row(locked, "shaft_wind_up"), 0.5 * 100.0 * 100.0 / stiffness, 1e-12);
  bench_close(locked);
}

/* A clutch that is let go entirely carries nothing, and so cannot be told to slip. */
static void a_clutch_let_go_does_not_slip(void **state) {
  (void)state;
  static const struct {
    const char *lever;
    double expected;
  } ways[] = {{"0 %", -1.0}, {"1 %", -1.0}, {"50 %", 2.0 - 0.99}, {"100 %", 1.0 - 0.99}};
  for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
    char text[256];
    double values[PLANT_EVENT_LIMIT];
    (void)snprintf(text, sizeof text,
                   "vehicle: {axles: two}\ntransfer_case: {law: clutch}\noperator: {transfer_clutch: %s}\n",
                   ways[i].lever);
    struct bench *bench = bench_open(text);
    *bench_state(bench, "transfer_torque") = -*bench_parameter(bench, "transfer_case", "torque");
    assert_true(bench->good);
    bench->data.plant->events_at(bench->model, bench->mode, 0.0, bench->state, values);
    CHECK_NEAR(values[EVENT_transfer_slip], ways[i].expected, 1e-12);
    bench_close(bench);
  }
}

/* ---- which signals there are, and which rates go by what ---- */

/* A machine without any of what can be added, and one with all: each signal is there where what it tells of is. */
static void signals_go_by_what_is_fitted(void **state) {
  (void)state;
  static const struct {
    int signal;
    const char *fitted; /* with this it is there, beside two axles */
    bool two_axles;     /* it needs them */
  } rows[] = {
      {SIGNAL_boost, "turbocharger: {fitted: yes}\n", false},
      {SIGNAL_smoke_limit, "turbocharger: {fitted: yes}\n", false},
      {SIGNAL_implement_power, "implement: {law: power}\n", false},
      {SIGNAL_implement_torque, "implement: {law: flow_and_pressure}\n", false},
      {SIGNAL_implement_flow, "implement: {law: flow_and_pressure}\n", false},
      {SIGNAL_gear, "gearbox: {law: standstill}\n", false},
      {SIGNAL_gear_slip, "gearbox: {law: under_load}\n", false},
      {SIGNAL_gear_clutch_heat, "gearbox: {law: standstill}\n", false},
      {SIGNAL_transfer_torque, "transfer_case: {law: locked}\n", true},
      {SIGNAL_transfer_slip, "transfer_case: {law: open}\n", true},
      {SIGNAL_brake_temperature, "brake: {heat: one_mass}\n", false},
      {SIGNAL_front_brake_temperature, "brake: {heat: one_mass}\n", true},
      {SIGNAL_hose_drop, "hoses: {length: 2 m}\n", false},
      {SIGNAL_motor_pressure_difference, "hoses: {length: 2 m}\n", false},
      {SIGNAL_case_pressure, "lines: {cases: drained}\ndrain: {length: 2 m}\n", false},
      {SIGNAL_charge_inlet_pressure, "charge: {suction_resistance: 1e8 1/m3}\n", false},
      {SIGNAL_second_motor_speed, "vehicle: {axles: two, second_motor: yes}\n", true},
      {SIGNAL_second_motor_flow, "vehicle: {axles: two, second_motor: yes}\n", true},
      {SIGNAL_accelerator, "operator: {layout: accelerator_and_direction}\n", false},
      {SIGNAL_engine_set_speed, "operator: {layout: accelerator_and_direction}\n", false},
      {SIGNAL_inching, "controls: {inching: cut}\n", false},
      {SIGNAL_ratio_command, "controls: {ramp: ratio}\n", false},
      {SIGNAL_engine_load, "controls: {anti_stall: by_load}\n", false},
      {SIGNAL_anti_stall_cut, "controls: {anti_stall: by_load}\n", false},
      {SIGNAL_rear_axle_load, "vehicle: {axles: two}\n", true},
      {SIGNAL_filter_drop, "filter: {clean_drop: 0.4 bar}\n", false},
      {SIGNAL_relief_a_poppet, "relief: {law: poppet}\n", false},
  };
  struct bench *bare = bench_open("filter: {clean_drop: 0 bar}\n");
  const struct plant *plant = &transmission_plant;
  assert_true(bare->good);
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    assert_false(plant->signal_active(bare->data.parameters, rows[i].signal));
    char text[256];
    bool says_axles = strstr(rows[i].fitted, "axles") != NULL;
    (void)snprintf(text, sizeof text, "%s%s", rows[i].fitted,
                   rows[i].two_axles && !says_axles ? "vehicle: {axles: two}\n" : "");
    struct bench *fitted = bench_open(text);
    assert_true(fitted->good);
    if (!plant->signal_active(fitted->data.parameters, rows[i].signal)) {
      fail_msg("%s is not there with %s", plant->signals[rows[i].signal].name, text);
    }
    if (rows[i].two_axles) { /* one axle alone has no such thing, whatever else is said */
      struct transmission_parameters *own = fitted->data.parameters;
      own->vehicle.axles = VEHICLE_TOGETHER;
      assert_false(plant->signal_active(own, rows[i].signal));
    }
    bench_close(fitted);
  }
  bench_close(bare);
}

/* No rate moves with a state that the pattern does not name, under way and with everything turning. */
static void pattern_holds(const char *text) {
  struct bench *bench = bench_open(text);
  const struct plant *plant = bench->data.plant;
  uint64_t pattern[PLANT_STATE_LIMIT];
  double here[PLANT_STATE_LIMIT];
  double there[PLANT_STATE_LIMIT];
  double moved[PLANT_STATE_LIMIT];
  bench_run(bench, 0.4);
  assert_true(bench->good);
  plant->sparsity_pattern(bench->model, pattern);
  plant->rates(bench->model, bench->mode, bench->time, bench->state, here);
  int depend = 0;
  for (int j = 0; j < bench->count; j++) {
    memcpy(moved, bench->state, sizeof moved);
    moved[j] += 100.0 * plant->states[bench->rows[j]].tolerance;
    plant->rates(bench->model, bench->mode, bench->time, moved, there);
    for (int i = 0; i < bench->count; i++) {
      bool depends = here[i] != there[i];
      depend += depends;
      if (depends && (pattern[i] >> j & 1) == 0) {
        fail_msg("the rate of %s depends on %s, and the pattern does not know", plant->states[bench->rows[i]].name,
                 plant->states[bench->rows[j]].name);
      }
    }
  }
  assert_true(depend > 3 * bench->count);
  bench_close(bench);
}

static void patterns_of_gears_before_a_transfer_case(void **state) {
  (void)state;
  static const char drive[] = "engine: {stall: none}\noperator: {forward_pedal: 40 %}\n";
  static const char *const laws[] = {
      "gearbox: {law: under_load}\nvehicle: {axles: two}\ntransfer_case: {law: locked}\ndriveline: {friction: stick}\n",
      "gearbox: {law: standstill}\ndriveline: {friction: stick}\n",
      "hoses: {length: 3 m}\nlines: {starved_flow: unlimited}\n",
      "hoses: {length: 3 m}\nlines: {starved_flow: unlimited}\nvehicle: {axles: two}\n",
      "lines: {starved_flow: by_content}\nvehicle: {axles: two}\n",
  };
  for (size_t i = 0; i < sizeof laws / sizeof laws[0]; i++) {
    char text[512];
    (void)snprintf(text, sizeof text, "%s%s", laws[i], drive);
    pattern_holds(text);
  }
}

/* Hoses lead to the motor that there is: the axle without one has no port, and the motor's drop is the lines' less what
 * both hoses take. */
static void hoses_lead_to_the_one_motor_of_two_axles(void **state) {
  (void)state;
  struct bench *bench = bench_open("hoses: {length: 4 m, bore: 16 mm}\nvehicle: {axles: two, second_motor: no}\n"
                                   "engine: {stall: none}\noperator: {forward_pedal: 40 %}\n");
  bench_run(bench, 1.5);
  double lines = bench_signal(bench, "line_pressure_difference");
  double lost = bench_signal(bench, "hose_drop");
  assert_true(bench_signal(bench, "motor_speed") > 1.0 && lost > 1e3);
  CHECK_CLOSE(bench_signal(bench, "motor_pressure_difference"), lines - lost, 1e-12);
  CHECK_CLOSE(bench_power(bench, "hoses"), lost * fabs(bench_signal(bench, "motor_flow")), 0.1); /* with leakage */
  CHECK_NEAR(bench_signal(bench, "second_motor_flow"), 0.0, 0.0);
  bench_close(bench);
}

/* ---- smooth tables of pedals ---- */

static double braking_from(const char *operator_text, const char **why) {
  char text[512];
  (void)snprintf(text, sizeof text, "engine: {stall: none}\noperator: {%s}\n", operator_text);
  struct bench *bench = bench_open(text);
  double from = bench->good ? bench->data.plant->braking_from(bench->mode, why) : -1.0;
  assert_true(bench->good);
  bench_close(bench);
  return from;
}

#define SMOOTH(points) "forward_pedal: {curve: smooth, points: [" points "]}"

/* A traced pedal has no kink at which a run could see it fall: braking counts from the top of its last fall to zero. */
static void a_traced_pedal_is_let_go_at_the_top_of_its_last_fall(void **state) {
  (void)state;
  const char *why = NULL;
  CHECK_NEAR(braking_from(SMOOTH("[0 s, 0 %], [1 s, 80 %], [3 s, 60 %], [4 s, 0 %], [5 s, 0 %]"), &why), 1.0, 0.0);
  assert_non_null(why);
  CHECK_NEAR(braking_from(SMOOTH("[0 s, 0 %], [1 s, 80 %], [2 s, 0 %], [3 s, 0 %], [4 s, 50 %]"), &why), 1.0, 0.0);
  CHECK_NEAR(braking_from(SMOOTH("[0 s, 80 %], [1 s, 60 %], [2 s, 0 %]"), &why), 0.0, 0.0);
  CHECK_NEAR(braking_from(SMOOTH("[0 s, 0 %], [1 s, 20 %], [2 s, 80 %], [3 s, 0 %]"), &why), 2.0, 0.0);
  assert_true(isnan(braking_from(SMOOTH("[0 s, 0 %], [1 s, 80 %], [2 s, 60 %]"), &why)));
  assert_true(isnan(braking_from(SMOOTH("[0 s, 0 %], [1 s, 0 %]"), &why)));
}

/* Where a traced pedal is never let go, the brake tells when braking begins: at its press, not as it
 * is pressed harder or let go. */
static void a_brake_counts_beside_a_traced_pedal(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(
      bench_whole_run("engine: {stall: none}\nsimulation: {end_time: 4 s}\noperator: {"
                      "forward_pedal: {curve: smooth, points: [[0 s, 0 %], [1 s, 40 %], [4 s, 30 %]]}, "
                      "brake: [[0 s, 0 %], [2 s, 0 %], [2.5 s, 20 %], [2.8 s, 30 %], [3 s, 0 %], [4 s, 0 %]]}\n",
                      &outcome));
  CHECK_NEAR(outcome.measures[MEASURE_stop_from], 2.0, 1e-9);
  outcome_free(&outcome);
}

/* An inching pedal that is traced brakes as one that is drawn by straight lines through the same points does. */
static void a_traced_inching_pedal_brakes(void **state) {
  (void)state;
  static const char *const curves[] = {"smooth", "straight"};
  double speeds[2];
  double brakes[2];
  for (int i = 0; i < 2; i++) {
    char text[640];
    struct bench *bench;
    (void)snprintf(text, sizeof text,
                   "engine: {stall: none}\nbrake: {law: stick}\ncontrols: {inching: cut_and_brake, "
                   "inching_begin: 0 %%, inching_full: 50 %%, inching_brake_begin: 50 %%, inching_brake_share: 50 %%}\n"
                   "vehicle: {start_speed: 8 km/h}\noperator: {inching: {curve: %s, points: [[0 s, 60 %%], [0.5 s, 80 "
                   "%%], [1 s, 100 %%], [9 s, 100 %%]]}}\n",
                   curves[i]);
    bench = bench_open(text);
    bench_run(bench, 0.3); /* within the first piece of both */
    speeds[i] = bench_signal(bench, "vehicle_speed");
    brakes[i] = bench_signal(bench, "brake_torque");
    bench_close(bench);
  }
  assert_true(brakes[0] > 100.0 && brakes[1] > 100.0);
  CHECK_CLOSE(brakes[0], brakes[1], 0.2);
  CHECK_CLOSE(speeds[0], speeds[1], 0.05);
}

/* ---- in lanes ---- */

/* Whatever part of an evaluation is asked for in lanes, it is the plain number to the last bit. And the number by which
 * cases find each other goes by laws and by which tables there are, not by amounts. */
static void parts_of_an_evaluation_in_lanes(void **state) {
  (void)state;
  static const char base[] = "engine: {stall: none}\noperator: {forward_pedal: 40 %}\n";
  struct bench *bench = bench_open(base);
  bench_run(bench, 0.5);
  assert_true(bench->good);
  const struct plant *plant = bench->data.plant;
  const struct plant_lanes *in_lanes = plant->lanes();
  static lanes t;
  static lanes x[PLANT_STATE_LIMIT];
  static lanes events[PLANT_EVENT_LIMIT];
  static lanes guards[PLANT_GUARD_LIMIT];
  static lanes powers[PLANT_LEDGER_LIMIT];
  void *model = aligned_alloc(64, (in_lanes->model_size + 63) / 64 * 64);
  void *mode = aligned_alloc(64, (in_lanes->mode_size + 63) / 64 * 64);
  assert_non_null(model);
  assert_non_null(mode);
  memset(model, 0, in_lanes->model_size);
  memset(mode, 0, in_lanes->mode_size);
  assert_null(in_lanes->load_model(model, LANES_ALL, bench->model));
  in_lanes->load_mode(mode, LANES_ALL, bench->mode);
  for (int lane = 0; lane < LANES; lane++) {
    t[lane] = bench->time;
    for (int i = 0; i < bench->count; i++) {
      x[i][lane] = bench->state[i];
    }
  }
  in_lanes->evaluate(model, mode, &t, x, &(struct lanes_evaluation){.events = events});
  in_lanes->evaluate(model, mode, &t, x, &(struct lanes_evaluation){.guards = guards});
  in_lanes->evaluate(model, mode, &t, x, &(struct lanes_evaluation){.powers = powers});
  double plain[PLANT_SIGNAL_LIMIT];
  plant->events_at(bench->model, bench->mode, bench->time, bench->state, plain);
  for (int i = 0; i < plant->event_count; i++) {
    assert_true(events[i][0] == plain[i] && events[i][LANES - 1] == plain[i]);
  }
  plant->guards(bench->model, bench->mode, bench->state, plain);
  for (int i = 0; i < plant->guard_count; i++) {
    assert_true(guards[i][0] == plain[i] && guards[i][LANES - 1] == plain[i]);
  }
  plant->powers(bench->model, bench->mode, bench->time, bench->state, plain);
  for (int i = 0; i < plant->ledger_integrated; i++) {
    assert_true(powers[i][0] == plain[i] && powers[i][LANES - 1] == plain[i]);
  }
  uint64_t here = in_lanes->laws(bench->data.parameters);
  static const struct {
    const char *text;
    bool same;
  } others[] = {{"engine: {stall: none, inertia: 3 kg m2}\noperator: {reverse_pedal: 10 %}\n", true},
                {"engine: {stall: held}\noperator: {forward_pedal: 40 %}\n", false},
                {"engine: {stall: none}\nground: {grade: [[0 m, 0 %], [9 m, 5 %]]}\n", false},
                {"engine: {stall: none}\nheat: {fan_curve: [[500 rpm, 50 %], [2000 rpm, 100 %]]}\n", false}};
  for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
    struct bench *other = bench_open(others[i].text);
    assert_true(other->good);
    assert_int_equal(in_lanes->laws(other->data.parameters) == here, others[i].same);
    bench_close(other);
  }
  free(model);
  free(mode);
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_jet_may_keep_a_poppet_off_its_stop),
      cmocka_unit_test(tables_are_straight_beyond_their_ends),
      cmocka_unit_test(whole_numbers_that_no_int_holds),
      cmocka_unit_test(a_start_in_a_gear_that_is_not_there),
      cmocka_unit_test(clutches_change_over_without_a_gap),
      cmocka_unit_test(an_open_transfer_case_winds_nothing_up),
      cmocka_unit_test(a_clutch_let_go_does_not_slip),
      cmocka_unit_test(signals_go_by_what_is_fitted),
      cmocka_unit_test(patterns_of_gears_before_a_transfer_case),
      cmocka_unit_test(hoses_lead_to_the_one_motor_of_two_axles),
      cmocka_unit_test(a_traced_pedal_is_let_go_at_the_top_of_its_last_fall),
      cmocka_unit_test(a_brake_counts_beside_a_traced_pedal),
      cmocka_unit_test(a_traced_inching_pedal_brakes),
      cmocka_unit_test(parts_of_an_evaluation_in_lanes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
