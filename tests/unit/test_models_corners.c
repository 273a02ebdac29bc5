/* Corners of the laws that machines seldom reach: combinations that are refused, tables over distance under soft soil,
 * stuck pedals, a starter that is pressed twice, laws at the end of their range. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "brake.h"
#include "check.h"
#include "component.h"
#include "contamination.h"
#include "engine.h"
#include "operator.h"
#include "profile.h"
#include "relief.h"
#include "rotary.h"
#include "tyre.h"
#include "viscosity_index.h"

/* ---- combinations that cannot be ---- */

/* The case is refused, at its line, with these words in the message. */
static void refused(const char *text, const char *words) {
  struct error error = {0};
  struct case_data data;
  char message[2048] = "accepted";
  if (case_load_text("c.yaml", text, NULL, 0, &data, &error)) {
    case_free(&data);
  } else {
    (void)error_text(&error, message, sizeof message);
  }
  if (strstr(message, words) == NULL || strncmp(message, "c.yaml:", 7) != 0) {
    print_error("%s: '%s', expected '%s...'\n", text, message, words);
    fail();
  }
}

static void accepted(const char *text) {
  struct bench *bench = bench_open(text);
  assert_true(bench->good);
  bench_close(bench);
}

static void test_refusals(void **state) {
  (void)state;
  refused("operator: {pedal: 50 %}\n", "operator.pedal and operator.direction");
  refused("operator: {direction: 100 %}\n", "operator.pedal and operator.direction");
  refused("operator: {layout: pedal_and_direction, forward_pedal: 50 %}\n", "operator.forward_pedal and");
  refused("operator: {layout: pedal_and_direction, reverse_pedal: 50 %}\n", "operator.forward_pedal and");
  refused("swash: {spring_begin: 10 bar, spring_full: 9 bar}\n", "swash.spring_full must lie above");
  refused("swash: {underspeed: on, underspeed_low: 1700 rpm, underspeed_high: 1700 rpm}\n", "swash.underspeed_high");
  refused("heat: {thermostat_begin: 60 degC, thermostat_open: 55 degC}\n", "heat.thermostat_open must lie above");
  refused("heat: {nodes: four, loop_oil_capacity: 70 kJ/K, loop_capacity: 60 kJ/K}\n", "heat.loop_oil_capacity");
  refused("engine: {torque_law: curve}\n", "engine.torque_curve is empty");
  refused("engine: {torque_curve: [[1000 rpm, 500 N m]]}\n", "engine.torque_curve belongs");
  refused("engine: {friction_law: curve}\n", "engine.friction_curve is empty");
  refused("engine: {friction_curve: [[1000 rpm, 50 N m]]}\n", "engine.friction_curve belongs");
  refused("vehicle: {second_motor: yes}\n", "vehicle.second_motor yes");
  refused("fuel: {consumption_map: [[600 rpm, 50 N m, 464 g/kWh], [600 rpm, 900 N m, 230 g/kWh], "
          "[2200 rpm, 50 N m, 480 g/kWh], [2200 rpm, 900 N m, 240 g/kWh]]}\n",
          "fuel.consumption_map belongs");
  refused("gearbox: {law: standstill, ratio_2: 0, ratio_3: 1}\n", "gearbox.ratio_3 without");
  refused("gearbox: {law: standstill, ratio_4: 1}\n", "gearbox.ratio_4 without");
  refused("gearbox: {law: standstill, ratio_2: 0, ratio_3: 1.5, ratio_4: 1}\n", "gearbox.ratio_4 without");
  refused("gearbox: {law: standstill}\noperator: {gear: {curve: smooth, points: [[0 s, 1], [1 s, 2]]}}\n",
          "operator.gear goes in steps");
  refused("transfer_case: {law: locked}\n", "transfer_case.law drives two axles");
  refused("vehicle: {axles: two, second_motor: yes}\ntransfer_case: {law: open}\n", "the front axle is driven by");
  refused("tyre: {ground: brixius}\nground: {grip: 0.5}\n", "ground.grip belongs");
  refused("ground: {cone_index: 9 bar}\n", "ground.cone_index belongs");
  refused("tyre: {ground: gee_clough}\nground: {rolling_resistance: 0.1}\n", "ground.rolling_resistance belongs");
  refused("circuit: valve_rig\nrelief: {return_to: gallery}\n", "relief.return_to: the valve rig");
  refused("circuit: valve_rig\nrelief: {settings: each}\n", "relief.settings: the valve rig");
  refused("operator: {layout: accelerator_and_direction, reverse_pedal: 50 %}\n", "operator.pedal, forward_pedal and");
  refused("circuit: valve_rig\nfluid: {viscosity_by: grade_and_index, grade: 47 mm2/s}\n", "fluid.grade");
}

/* The same laws where they can be. */
static void test_accepted(void **state) {
  (void)state;
  accepted("operator: {layout: pedal_and_direction, pedal: 50 %, direction: 100 %}\n");
  accepted("swash: {underspeed: on}\n");
  accepted("gearbox: {law: standstill, ratio_2: 2, ratio_3: 1.5, ratio_4: 1}\n");
  accepted("circuit: valve_rig\nrig: {feed_law: rise}\n");
  accepted("heat: {nodes: four}\n");
  accepted("engine: {torque_law: curve, torque_curve: [[800 rpm, 500 N m], [2400 rpm, 400 N m]]}\n");
  accepted("engine: {friction_law: curve, friction_curve: [[800 rpm, 50 N m], [2400 rpm, 90 N m]]}\n");
  accepted("vehicle: {axles: two, second_motor: yes}\n");
  accepted("vehicle: {axles: two}\ntransfer_case: {law: limited}\n");
  accepted("ground: {grip: 0.5, rolling_resistance: 0.1}\n");
  accepted("tyre: {ground: brixius}\nground: {cone_index: 9 bar}\n");
}

/* ---- whole runs ---- */

/* Soil that changes along the way, met going forward and again on the way back: the machine rolls on it as on the same
 * soil everywhere. */
static void test_soil_both_ways(void **state) {
  (void)state;
  static const char *const drive = "machine: ../machines/forwarder.yaml\n"
                                   "operator: {forward_pedal: [[0 s, 20 %], [3 s, 20 %], [4 s, 0 %]], "
                                   "reverse_pedal: [[0 s, 0 %], [5 s, 0 %], [6 s, 20 %]]}\n"
                                   "simulation: {end_time: 10 s, output_step: 0.1 s}\n";
  static const char *const grounds[][2] = {
      {"tyre: {ground: brixius, cone_index: 9 bar}\n", "tyre: {ground: brixius}\nground: {wheelbase: 0 m, cone_index: "
                                                       "[[0 m, 9 bar], [1 m, 9 bar], [1 m, 9.0000001 bar], "
                                                       "[2 m, 9 bar]]}\n"},
      {"tyre: {rolling_resistance: 0.05}\n",
       "ground: {wheelbase: 0 m, rolling_resistance: [[0 m, 0.05], [1 m, 0.05], [1 m, 0.0500000001], [2 m, 0.05]]}\n"}};
  for (int i = 0; i < 2; i++) {
    double ends[2];
    for (int k = 0; k < 2; k++) {
      char text[2048];
      (void)snprintf(text, sizeof text, "%s%s", drive, grounds[i][k]);
      ends[k] = bench_measure(text, MEASURE_vehicle_distance_end);
    }
    CHECK_NEAR(ends[1], ends[0], 1e-3);
    assert_true(fabs(ends[0]) < 20.0);
  }
}

/* Parked on a slope: at rest from the start, on hard ground and on soil whose tables say so. */
static void test_parked_by_tables(void **state) {
  (void)state;
  static const char *const grounds[] = {
      "ground: {wheelbase: 0 m, grade: 15 %, grip: 0.75}\n",
      "tyre: {ground: gee_clough}\nground: {wheelbase: 0 m, grade: 15 %, cone_index: 9 bar}\n"};
  for (int i = 0; i < 2; i++) {
    char text[1024];
    (void)snprintf(text, sizeof text,
                   "machine: ../machines/forwarder.yaml\noperator: {brake: 100 %%}\n"
                   "simulation: {end_time: 5 s, output_step: 0.1 s}\n%s",
                   grounds[i]);
    CHECK_NEAR(bench_measure(text, MEASURE_vehicle_distance_end), 0.0, 2e-3);
  }
}

/* A parked machine starts with what its brakes carry at that instant: those that are falling, too; and no more than
 * they can hold. On a slope of 20 %, wheels of the default radius. */
static void test_parked_as_the_brakes_are_at_the_start(void **state) {
  (void)state;
  static const struct {
    const char *brakes;
    double share; /* of the service brake's torque */
  } rows[] = {{"brake: 100 %", 1.0},
              {"brake: [[0 s, 100 %], [0.8 s, 0 %]]", 1.0},
              {"brake: [[0 s, 2 %], [5 s, 2 %]]", 0.02},
              {"brake: [[0 s, 3 %], [0.5 s, 0 %]]", 0.03},
              {"park_brake: [[0 s, 4.5 %], [0.5 s, 0 %]]", 0.02},
              {"park_brake: [[0 s, 100 %], [0.5 s, 0 %]]", 40.0 / 90.0}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char text[512];
    (void)snprintf(
        text, sizeof text,
        "operator: {%s}\nground: {grade: 20 %%}\nbrake: {law: stick, torque: 90 kN m, park_torque: 40 kN m}\n",
        rows[i].brakes);
    struct bench *bench = bench_open(text);
    double weight = *bench_parameter(bench, "vehicle", "mass") * *bench_parameter(bench, "vehicle", "gravity");
    double slope = weight * 0.2 / sqrt(1.0 + 0.04) * *bench_parameter(bench, "driveline", "wheel_radius");
    CHECK_CLOSE(*bench_state(bench, "brake_torque"), -fmin(slope, 90e3 * rows[i].share), 1e-9);
    assert_true(bench->good);
    bench_close(bench);
  }
}

/* Stuck pedals stay where they are, whatever is asked of them later; the brake is no pedal of the drive. */
static void test_stuck_pedals(void **state) {
  (void)state;
  const char *text = "machine: ../machines/forwarder.yaml\noperator: {forward_pedal: [[0 s, 0 %], [2 s, 40 %]]}\n"
                     "simulation: {end_time: 8 s, output_step: 0.1 s}\nactions:\n"
                     "  - {when: time > 3 s, move: pedals_stuck, to: 100 %}\n"
                     "  - {when: time > 4 s, move: forward_pedal, to: 0 %, over: 0.5 s}\n"
                     "  - {when: time > 4.5 s, move: exhaust_brake, to: 0 %}\n";
  double stuck = bench_measure(text, MEASURE_vehicle_speed_end);
  double free_run = bench_measure("machine: ../machines/forwarder.yaml\n"
                                  "operator: {forward_pedal: [[0 s, 0 %], [2 s, 40 %]]}\n"
                                  "simulation: {end_time: 8 s, output_step: 0.1 s}\n",
                                  MEASURE_vehicle_speed_end);
  CHECK_NEAR(stuck, free_run, 1e-3);
  /* a fault that is moved to nothing breaks nothing */
  double sound = bench_measure("machine: ../machines/forwarder.yaml\n"
                               "operator: {forward_pedal: [[0 s, 0 %], [2 s, 40 %]]}\n"
                               "simulation: {end_time: 8 s, output_step: 0.1 s}\nactions:\n"
                               "  - {when: time > 3 s, move: pedals_stuck, to: 0 %}\n"
                               "  - {when: time > 4 s, move: forward_pedal, to: 0 %, over: 0.5 s}\n",
                               MEASURE_vehicle_speed_end);
  CHECK_NEAR(sound, 0.0, 0.05);
}

/* A pedal that is pressed from the first point of its table falls from there, by one slope or by two. */
static void test_fall_from_the_first_point(void **state) {
  (void)state;
  static const char *const pedals[] = {"[[0.5 s, 50 %], [1 s, 0 %]]", "[[0.5 s, 50 %], [0.7 s, 20 %], [1 s, 0 %]]"};
  for (int i = 0; i < 2; i++) {
    char text[1024];
    (void)snprintf(text, sizeof text,
                   "operator: {forward_pedal: %s}\nsimulation: {end_time: 3 s, output_step: 0.1 s}\n", pedals[i]);
    CHECK_NEAR(bench_measure(text, MEASURE_stop_from), 0.5, 1e-12);
  }
}

/* The starter is pressed, moved while it is pressed, and let go. */
static void test_starter_moves_while_pressed(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(
      bench_whole_run("machine: ../machines/forwarder.yaml\nengine: {stall: held, start_speed: 0 %, "
                      "start_fuel: 0 %}\noperator: {starter: [[0 s, 0 %], [1 s, 0 %], [1 s, 80 %], [2 s, 100 %], "
                      "[4 s, 100 %], [4 s, 0 %]]}\nsimulation: {end_time: 8 s, output_step: 0.1 s}\n",
                      &outcome));
  assert_int_equal(outcome.status, RUN_COMPLETE);
  assert_true(outcome.measures[MEASURE_engine_speed_max] > 200.0);
  outcome_free(&outcome);
}

/* A valve rig whose feed is moved by an action while it is on its way. */
static void test_rig_feed_moves(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run("circuit: valve_rig\nrig: {feed: [[0 s, 0 %], [0.05 s, 100 %]]}\n"
                              "simulation: {end_time: 0.4 s, output_step: 1 ms}\n"
                              "actions: [{when: time > 0.1 s, move: feed, to: 20 %, over: 0.1 s}]\n",
                              &outcome));
  assert_int_equal(outcome.status, RUN_COMPLETE);
  outcome_free(&outcome);
}

/* Signals come and go with the laws. */
static void test_signals_by_law(void **state) {
  (void)state;
  static const struct {
    const char *text;
    const char *signal;
    bool there;
  } rows[] = {
      {"simulation: {end_time: 1 s}\n", "relief_a_lift", true},
      {"relief: {law: poppet}\n", "relief_a_lift", false},
      {"relief: {law: poppet}\n", "relief_b_poppet", true},
      {"simulation: {end_time: 1 s}\n", "relief_b_poppet", false},
      {"simulation: {end_time: 1 s}\n", "filter_drop", false},
      {"filter: {clean_drop: 0.3 bar}\n", "filter_bypass", true},
      {"heat: {nodes: four}\n", "loop_metal_temperature", true},
      {"heat: {nodes: two}\n", "case_temperature", false},
      {"simulation: {end_time: 1 s}\n", "gallery_temperature", true},
      {"heat: {nodes: two}\n", "gallery_temperature", false},
      {"heat: {nodes: two}\nrelief: {return_to: gallery}\n", "gallery_temperature", true},
      {"vehicle: {axles: two}\n", "rear_axle_load", true},
      {"gearbox: {law: under_load}\n", "gear_slip", true},
      {"gearbox: {law: none}\n", "gear", false},
      {"turbocharger: {fitted: yes}\n", "boost", true},
      {"turbocharger: {fitted: no}\n", "smoke_limit", false},
      {"implement: {law: power}\n", "implement_torque", true},
      {"implement: {law: power}\n", "implement_flow", false},
      {"implement: {law: flow_and_pressure}\n", "implement_flow", true},
      {"implement: {law: none}\n", "implement_power", false},
      {"vehicle: {axles: two}\n", "front_wheel_torque", true},
      {"vehicle: {axles: two}\n", "transfer_slip", false},
      {"vehicle: {axles: two}\ntransfer_case: {law: open}\n", "transfer_slip", true},
      {"vehicle: {axles: two}\ntransfer_case: {law: open}\n", "transfer_torque", false},
      {"vehicle: {axles: two}\ntransfer_case: {law: locked}\n", "transfer_torque", true},
      {"vehicle: {axles: two}\n", "second_motor_speed", false},
      {"vehicle: {axles: two, second_motor: yes}\n", "second_motor_flow", true},
      {"simulation: {end_time: 1 s}\n", "second_motor_displacement", false},
      {"simulation: {end_time: 1 s}\n", "front_wheel_slip", false},
      {"simulation: {end_time: 1 s}\n", "engine_speed", true},
      {"circuit: valve_rig\n", "relief_a_lift", true},
      {"circuit: valve_rig\nrelief: {law: poppet}\n", "relief_a_lift", false},
      {"circuit: valve_rig\nrelief: {law: poppet}\n", "relief_a_poppet", true},
      {"circuit: valve_rig\n", "relief_a_poppet", false},
      {"circuit: valve_rig\n", "line_a_pressure", true},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    struct bench *bench = bench_open(rows[i].text);
    assert_true(bench->good);
    int signal = registry_signal(bench->data.plant, rows[i].signal);
    assert_true(signal >= 0);
    if (bench->data.plant->signal_active(bench->data.parameters, signal) != rows[i].there) {
      print_error("%s of %s", rows[i].signal, rows[i].text);
      fail();
    }
    bench_close(bench);
  }
}

/* ---- kernels at the end of their range ---- */

static void test_brake_that_is_none(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  brake.torque = 0.0;
  brake.park_torque = 0.0;
  CHECK_NEAR(brake_share(&brake, 1.0, 1.0), 0.0, 0.0);
  CHECK_NEAR(brake_stored_energy(&brake, 10.0), 0.0, 0.0);
}

/* An element so full that everything goes by: nothing is caught any more. */
static void test_element_passes_nothing(void **state) {
  (void)state;
  DEFAULTS(contamination, dirt);
  DEFAULTS(filter, filter);
  filter.clean_drop = 1e5;
  filter.bypass_crack = 0.0; /* powers of two: the share is one to the last bit */
  filter.bypass_gradient = ldexp(1.0, -30);
  dirt.start_dirt = 1e3;
  dirt.dirt_capacity = 1e-15;
  dirt.loading_exponent = 20.0;
  dirt.duty_time = 3600.0;
  struct contamination_cycle cycle = {ldexp(1.0, -10), 1e-3, filter_resistance(&filter, 870.0, 0.0) * 0.02, 0.1};
  struct contamination_result result = contamination_duty(&dirt, &filter, &cycle);
  CHECK_NEAR(result.dirt, dirt.start_dirt, 0.0);
  CHECK_CLOSE(result.count[0], contamination_bound(dirt.start_code_4) + dirt.ingress_4 * 3600.0 / 0.1, 1e-9);
}

static void test_starter_without_a_stall_speed(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  engine.stall_speed = 0.0;
  CHECK_NEAR(engine_starter(&engine, 0.0, 1.0), 0.0, 0.0);
}

static void test_slope_of_a_step(void **state) {
  (void)state;
  real arguments[] = {0.0, 1.0, 1.0, 2.0};
  real values[] = {0.0, 1.0, 5.0, 5.0};
  struct profile profile = {.count = 4, .argument = arguments, .value = values};
  CHECK_NEAR(profile_slope(&profile, 1), 1.0, 0.0);
  CHECK_NEAR(profile_slope(&profile, 2), 0.0, 0.0);
  CHECK_NEAR(profile_slope(&profile, 4), 0.0, 0.0);
}

static void test_room_in_a_map(void **state) {
  (void)state;
  real speeds[] = {100.0, 200.0};
  real pressures[] = {1e7, 4e7};
  real share[] = {0.9, 0.9, 0.9, 0.9};
  real strokes[] = {1.0};
  struct map map = {2, 2, 1, speeds, pressures, strokes, share, share};
  struct rotary_losses losses = {.displacement = 1e-5, .map = NULL};
  CHECK_NEAR(rotary_map_speed_room(&losses, 1e9), 1.0, 0.0);
  CHECK_NEAR(rotary_map_pressure_room(&losses, 1e9), 1.0, 0.0);
  losses.map = &map;
  CHECK_CLOSE(rotary_map_speed_room(&losses, -150.0), 0.25, 1e-15);
  CHECK_CLOSE(rotary_map_pressure_room(&losses, -3e7), 0.25, 1e-15);
  assert_true(rotary_map_speed_room(&losses, 210.0) < 0.0);
}

/* On soil too soft to pull at all the tyre still turns against its resistance, with either sign of slip. */
static void test_no_pull_on_mud(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  tyre.ground = TYRE_GEE_CLOUGH;
  struct tyre_soil soil = {tyre.grip, 5e3, tyre.rolling_resistance};
  struct tyre_contact contact = tyre_contact_of(&tyre, &soil, 5e4, 1.0);
  assert_true(contact.mobility < 1.0);
  double resistance = contact.load * tyre_gee_clough_resistance(contact.mobility);
  CHECK_CLOSE(tyre_curve(&tyre, &contact, 0.5), resistance, 1e-12);
  CHECK_CLOSE(tyre_curve(&tyre, &contact, -0.5), -resistance, 1e-12);
}

static void test_index_out_of_reach(void **state) {
  (void)state;
  assert_true(isnan(viscosity_at_100_for(100.0, 1.0)));
  assert_true(isnan(viscosity_at_100_for(100.0, 1e9)));
  CHECK_CLOSE(viscosity_at_40_for(100.0, viscosity_at_100_for(100.0, 46.0)), 46.0, 1e-9);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_refusals),
      cmocka_unit_test(test_accepted),
      cmocka_unit_test(test_soil_both_ways),
      cmocka_unit_test(test_parked_by_tables),
      cmocka_unit_test(test_parked_as_the_brakes_are_at_the_start),
      cmocka_unit_test(test_stuck_pedals),
      cmocka_unit_test(test_fall_from_the_first_point),
      cmocka_unit_test(test_starter_moves_while_pressed),
      cmocka_unit_test(test_rig_feed_moves),
      cmocka_unit_test(test_signals_by_law),
      cmocka_unit_test(test_brake_that_is_none),
      cmocka_unit_test(test_element_passes_nothing),
      cmocka_unit_test(test_starter_without_a_stall_speed),
      cmocka_unit_test(test_slope_of_a_step),
      cmocka_unit_test(test_room_in_a_map),
      cmocka_unit_test(test_no_pull_on_mud),
      cmocka_unit_test(test_index_out_of_reach),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
