/* Losses by a measured efficiency map: the map's own numbers come back through the kernels, no quadrant gives power,
 * and a run ends where the map ends. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "case.h"
#include "check.h"
#include "component.h"
#include "motor.h"
#include "pump.h"
#include "run.h"
#include "parameter_ref.h"

#define RPM (TWO_PI / 60.0)
#define BAR 1e5
#define DISPLACEMENT (107e-6 / TWO_PI)

/* Full displacement of a variable axial piston unit at 32 mm2/s, 100, 200, 300 bar: table G1 (recomputed from fitted
 * coefficients of A. Pourmovahed et al. 1992, read at second hand). */
static const real speeds[3] = {1000 * RPM, 2000 * RPM, 3000 * RPM};
static const real pressures[3] = {100 * BAR, 200 * BAR, 300 * BAR};
static const real pump_volumetric[9] = {.980, .959, .939, .987, .974, .960, .989, .978, .968};
static const real pump_mechanical[9] = {.928, .938, .942, .881, .914, .925, .815, .877, .900};
static const real motor_volumetric[9] = {.980, .961, .942, .987, .974, .962, .989, .979, .969};
static const real motor_mechanical[9] = {.923, .934, .938, .865, .906, .919, .773, .860, .889};
static const real full_stroke[1] = {1.0};
static const struct map pump_map = {3, 3, 1, speeds, pressures, full_stroke, pump_volumetric, pump_mechanical};
static const struct map motor_map = {3, 3, 1, speeds, pressures, full_stroke, motor_volumetric, motor_mechanical};

static struct rotary_losses of_pump(void) {
  DEFAULTS(pump, pump);
  pump.displacement = DISPLACEMENT;
  struct rotary_losses losses = pump_losses(&pump, 1.0);
  losses.map = &pump_map;
  return losses;
}

static struct rotary_losses of_motor(void) {
  DEFAULTS(motor, motor);
  motor.displacement = DISPLACEMENT;
  struct rotary_losses losses = motor_losses(&motor, BAR);
  losses.map = &motor_map;
  return losses;
}

/* What a test stand would read off the pump: flow at the high port and torque, by ISO 4391. */
static void test_pump_gives_its_map_back(void **state) {
  (void)state;
  struct rotary_losses losses = of_pump();
  for (int i = 0; i < 9; i++) {
    real speed = speeds[i / 3];
    real pressure = pressures[i % 3];
    struct rotary_leaks leaks = rotary_leaks_of(&losses, pressure, pressure + 20 * BAR, 20 * BAR, 1.0, speed, 0.028);
    real flow = pump_displaced_flow(DISPLACEMENT, 1.0, speed) - leaks.slip - leaks.case_a;
    real torque =
        pump_pressure_torque(DISPLACEMENT, 1.0, pressure) + rotary_torque_of(&losses, pressure, 1.0, speed, 0.028);
    CHECK_CLOSE(flow / (DISPLACEMENT * speed), pump_volumetric[i], 1e-12);
    CHECK_CLOSE(DISPLACEMENT * pressure / torque, pump_mechanical[i], 1e-12);
    CHECK_CLOSE(leaks.case_a, 0.3 * (leaks.slip + leaks.case_a), 1e-12);
    assert_true(leaks.case_b == 0.0);
  }
}

static void test_motor_gives_its_map_back(void **state) {
  (void)state;
  struct rotary_losses losses = of_motor();
  for (int i = 0; i < 9; i++) {
    real speed = speeds[i / 3];
    real pressure = pressures[i % 3];
    struct rotary_leaks leaks = rotary_leaks_of(&losses, pressure, pressure + 20 * BAR, 20 * BAR, 1.0, speed, 0.028);
    real flow = motor_displaced_flow(DISPLACEMENT, 1.0, speed) + leaks.slip + leaks.case_a;
    real torque =
        motor_pressure_torque(DISPLACEMENT, 1.0, pressure) - rotary_torque_of(&losses, pressure, 1.0, speed, 0.028);
    CHECK_CLOSE(DISPLACEMENT * speed / flow, motor_volumetric[i], 1e-12);
    CHECK_CLOSE(torque / (DISPLACEMENT * pressure), motor_mechanical[i], 1e-12);
  }
}

/* Between the points losses lie on the bilinear surface; below the map leakage falls to zero with the pressure, the
 * rest is held. */
static void test_between_and_below(void **state) {
  (void)state;
  struct rotary_losses losses = of_pump();
  real corners = 0.25 * (rotary_map_leakage(&losses, 0, 0, 0, 1) + rotary_map_leakage(&losses, 0, 0, 1, 1) +
                         rotary_map_leakage(&losses, 0, 0, 0, 2) + rotary_map_leakage(&losses, 0, 0, 1, 2));
  struct rotary_leaks leaks = rotary_leaks_of(&losses, 250 * BAR, 270 * BAR, 20 * BAR, 1.0, 1500 * RPM, 0.028);
  CHECK_CLOSE(leaks.slip + leaks.case_a, corners, 1e-12);
  real torque = 0.25 * (rotary_map_torque(&losses, 0, 0, 0, 1) + rotary_map_torque(&losses, 0, 0, 1, 1) +
                        rotary_map_torque(&losses, 0, 0, 0, 2) + rotary_map_torque(&losses, 0, 0, 1, 2));
  CHECK_CLOSE(rotary_torque_of(&losses, 250 * BAR, 1.0, 1500 * RPM, 0.028), torque, 1e-12);
  leaks = rotary_leaks_of(&losses, 25 * BAR, 45 * BAR, 20 * BAR, 1.0, 500 * RPM, 0.028);
  CHECK_CLOSE(leaks.slip + leaks.case_a, 0.25 * rotary_map_leakage(&losses, 0, 0, 0, 0), 1e-12);
  CHECK_CLOSE(rotary_torque_of(&losses, 25 * BAR, 1.0, 500 * RPM, 0.028), rotary_map_torque(&losses, 0, 0, 0, 0),
              1e-12);
  CHECK_NEAR(rotary_torque_of(&losses, 25 * BAR, 1.0, 0.0, 0.028), 0.0, 0.0);
  /* a map of one point */
  static const real one_speed[1] = {1000 * RPM};
  static const real one_pressure[1] = {100 * BAR};
  struct map single = {1, 1, 1, one_speed, one_pressure, full_stroke, pump_volumetric, pump_mechanical};
  losses.map = &single;
  leaks = rotary_leaks_of(&losses, 100 * BAR, 120 * BAR, 20 * BAR, 1.0, 1000 * RPM, 0.028);
  CHECK_CLOSE(leaks.slip + leaks.case_a, 0.02 * DISPLACEMENT * 1000 * RPM, 1e-12);
}

/* Three strokes, the first zero, on two speeds and two pressures: full stroke and half stroke by efficiencies, what is
 * lost at zero stroke by itself. */
static const real plane_strokes[3] = {0.0, 0.5, 1.0};
static const real plane_volumetric[12] = {1e-5, 3e-5, 2e-5, 5e-5, .96, .90, .97, .92, .98, .95, .985, .96};
static const real plane_mechanical[12] = {4.0, 9.0, 6.0, 11.0, .86, .88, .80, .84, .93, .94, .88, .91};
static const struct map plane_map = {2, 2, 3, speeds, pressures, plane_strokes, plane_volumetric, plane_mechanical};

static void test_strokes(void **state) {
  (void)state;
  struct rotary_losses losses = of_pump();
  losses.map = &plane_map;
  for (int i = 0; i < 4; i++) {
    real speed = speeds[i / 2];
    real drop = pressures[i % 2];
    struct rotary_leaks leaks = rotary_leaks_of(&losses, drop, drop, 0.0, 0.0, speed, 0.028);
    CHECK_CLOSE(leaks.slip + leaks.case_a, plane_volumetric[i], 1e-12);
    CHECK_CLOSE(rotary_torque_of(&losses, drop, 0.0, -speed, 0.028), -plane_mechanical[i], 1e-12);
    for (int s = 1; s < 3; s++) {
      real stroke = plane_strokes[s];
      leaks = rotary_leaks_of(&losses, drop, drop, 0.0, -stroke, speed, 0.028);
      real flow = pump_displaced_flow(DISPLACEMENT, stroke, speed);
      CHECK_CLOSE((flow - leaks.slip - leaks.case_a) / flow, plane_volumetric[4 * s + i], 1e-12);
      real torque = pump_pressure_torque(DISPLACEMENT, stroke, drop);
      CHECK_CLOSE(torque / (torque + rotary_torque_of(&losses, drop, stroke, speed, 0.028)),
                  plane_mechanical[4 * s + i], 1e-12);
    }
    /* between two strokes half of each, never beyond either */
    real lower = rotary_torque_of(&losses, drop, 0.5, speed, 0.028);
    real upper = rotary_torque_of(&losses, drop, 1.0, speed, 0.028);
    CHECK_CLOSE(rotary_torque_of(&losses, drop, 0.75, speed, 0.028), 0.5 * (lower + upper), 1e-12);
    CHECK_CLOSE(rotary_torque_of(&losses, drop, 0.25, speed, 0.028), 0.5 * (plane_mechanical[i] + lower), 1e-12);
    CHECK_NEAR(rotary_torque_of(&losses, drop, 1.0 + 1e-9, speed, 0.028), upper, 0.0);
  }
  /* no plane of zero stroke: the losses of the lowest are held */
  struct map above = {2, 2, 2, speeds, pressures, plane_strokes + 1, plane_volumetric + 4, plane_mechanical + 4};
  losses.map = &above;
  CHECK_NEAR(rotary_torque_of(&losses, pressures[1], 0.0, speeds[0], 0.028),
             rotary_torque_of(&losses, pressures[1], 0.5, speeds[0], 0.028), 0.0);
  /* a motor's definitions */
  losses = of_motor();
  losses.map = &plane_map;
  struct rotary_leaks leaks = rotary_leaks_of(&losses, pressures[0], pressures[0], 0.0, 0.5, speeds[1], 0.028);
  real flow = motor_displaced_flow(DISPLACEMENT, 0.5, speeds[1]);
  CHECK_CLOSE(flow / (flow + leaks.slip + leaks.case_a), plane_volumetric[6], 1e-12);
}

/* All signs of speed and pressure, ports above and below the case: nothing gives power, and the laws are odd and even
 * as mirror symmetry asks. */
static void test_no_quadrant_gives_power(void **state) {
  (void)state;
  static const real ports[] = {-1.0, -0.5, 0.0, 0.5, 1.0, 20.0, 80.0, 150.0, 290.0};
  static const real turns[] = {0.0, 1e-3, 5.0, 900.0, 1800.0, 2900.0};
  struct rotary_losses both[3] = {of_pump(), of_motor(), of_pump()};
  both[2].map = &plane_map;
  for (int m = 0; m < 3; m++) {
    for (size_t i = 0; i < 9; i++) {
      for (size_t k = 0; k < 9; k++) {
        for (int s = 0; s < 12; s++) {
          real a = ports[i] * BAR;
          real b = ports[k] * BAR;
          real speed = turns[s % 6] * RPM * (s < 6 ? 1.0 : -1.0);
          struct rotary_leaks leaks = rotary_leaks_of(&both[m], a - b, a, b, 0.3, speed, 0.028);
          assert_true(leaks.slip * (a - b) >= 0.0);
          assert_true(leaks.case_a * a >= 0.0);
          assert_true(leaks.case_b * b >= 0.0);
          assert_true(rotary_torque_of(&both[m], a - b, 0.3, speed, 0.028) * speed >= 0.0);
          struct rotary_leaks mirror = rotary_leaks_of(&both[m], b - a, b, a, -0.3, -speed, 0.028);
          CHECK_NEAR(mirror.slip, -leaks.slip, 0.0);
          CHECK_NEAR(mirror.case_b, leaks.case_a, 0.0);
          CHECK_NEAR(rotary_torque_of(&both[m], b - a, -0.3, -speed, 0.028),
                     -rotary_torque_of(&both[m], a - b, 0.3, speed, 0.028), 0.0);
        }
      }
    }
  }
  CHECK_CLOSE(rotary_map_speed_room(&both[0], -1500 * RPM), 0.5, 1e-12);
  CHECK_CLOSE(rotary_map_pressure_room(&both[0], -330 * BAR), -0.1, 1e-12);
}

/* ---- in a case ---- */

#define PUMP_ROWS                                                                                                      \
  "  losses: map\n"                                                                                                    \
  "  efficiency_map:\n"                                                                                                \
  "    - [3000 rpm, 600 bar, 94 %, 90 %]\n"                                                                            \
  "    - [1000 rpm, 100 bar, 98 %, 92.8 %]\n"                                                                          \
  "    - [1000 rpm, 600 bar, 89 %, 94 %]\n"                                                                            \
  "    - [3000 rpm, 100 bar, 98.9 %, 81.5 %]\n"

static void check_error(const char *text, int line, int column, const char *words) {
  struct case_data data;
  struct error error = {0};
  assert_false(case_load_text("c.yaml", text, NULL, 0, &data, &error));
  if (strstr(error.text, words) == NULL) {
    print_error("'%s' does not say '%s'\n", error.text, words);
    fail();
  }
  assert_int_equal(error.line, line);
  assert_int_equal(error.column, column);
}

static void test_refusals(void **state) {
  (void)state;
  check_error("pump:\n  losses: map\n", 2, 3, "pump.efficiency_map is empty");
  check_error("pump:\n  efficiency_map: [[1000 rpm, 100 bar, 98 %, 93 %]]\n", 2, 3, "belongs to pump.losses map");
  check_error("motor:\n  losses: map\n", 2, 3, "motor.efficiency_map is empty");
  check_error("motor:\n  efficiency_map: [[1000 rpm, 100 bar, 98 %, 93 %]]\n", 2, 3, "belongs to motor.losses map");
  check_error("second_motor:\n  losses: map\n", 2, 3, "second_motor.efficiency_map is empty");
  check_error("second_motor:\n  efficiency_map: [[1 rpm, 1 bar, 98 %, 93 %]]\n", 2, 3, "second_motor.losses map");
  check_error("pump:\n  efficiency_map: 95 %\n", 2, 19, "expected none, {file: NAME.csv} or a list of rows");
  check_error("pump:\n  efficiency_map: [[1000 rpm, 100 bar, 98 %]]\n", 2, 20, "found a list of 3, expected a row");
  check_error("pump:\n  efficiency_map: [7]\n", 2, 20, "found a text, expected a row");
  check_error("pump:\n  efficiency_map: [[1000 rpm, 100 bar, 98 %, 101 %]]\n", 2, 46, "lies outside 1 % to 100 %");
  check_error("pump:\n  efficiency_map: [[0 rpm, 100 bar, 98 %, 90 %]]\n", 2, 21, "speed must lie above zero");
  check_error("pump:\n  efficiency_map: [[1000 bar, 100 bar, 98 %, 90 %]]\n", 2, 26, "pump.efficiency_map");
  check_error("pump:\n  losses: map\n  efficiency_map:\n"
              "    - [1000 rpm, 100 bar, 98 %, 93 %]\n    - [1000 rpm, 200 bar, 98 %, 93 %]\n"
              "    - [2000 rpm, 100 bar, 98 %, 93 %]\n",
              6, 7, "no row for 2000 rpm, 200 bar");
  check_error("pump:\n  losses: map\n  efficiency_map:\n"
              "    - [1000 rpm, 100 bar, 98 %, 93 %]\n    - [2000 rpm, 100 bar, 98 %, 93 %]\n"
              "    - [2000 rpm, 150 bar, 98 %, 93 %]\n",
              4, 7, "no row for 1000 rpm, 150 bar");
  check_error("pump:\n  losses: map\n  efficiency_map:\n"
              "    - [1000 rpm, 100 bar, 98 %, 93 %]\n    - [1000 rpm, 100 bar, 98 %, 93 %]\n",
              5, 7, "a second row for 1000 rpm, 100 bar");
}

static void test_refusals_of_strokes(void **state) {
  (void)state;
#define WITH_STROKES "pump:\n  losses: map\n  efficiency_map:\n"
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 100 %, 98 %, 93 %]\n    - [1000 rpm, 200 bar, 98 %, 93 %]\n", 5,
              7, "found a row of 4, expected 5 as in the first");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 50 %, 98 %, 93 %]\n", 4, 7, "no row has a stroke of 100 %");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 120 %, 98 %, 93 %]\n", 4, 27, "must lie within 0 % to 100 %");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 0 %, 98 %, 93 %]\n", 4, 35, "pump.efficiency_map");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 0 %, -1 L/min, 9 N m]\n", 4, 32,
              "lost_flow must not lie below zero");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 0 %, 1 L/min, -9 N m]\n", 4, 41,
              "lost_torque must not lie below");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 50 %, 98 %, 93 %]\n    - [1000 rpm, 100 bar, 100 %, 98 %, 93 %]\n"
                           "    - [1000 rpm, 200 bar, 100 %, 98 %, 93 %]\n",
              4, 7, "no row for 1000 rpm, 200 bar, 50 %");
  check_error(WITH_STROKES "    - [1000 rpm, 100 bar, 50 %, 98 %, 93 %]\n    - [1000 rpm, 100 bar, 100 %, 98 %, 93 %]\n"
                           "    - [2000 rpm, 100 bar, 100 %, 98 %, 93 %]\n",
              4, 7, "no row for 2000 rpm, 100 bar, 50 %");
  check_error(WITH_STROKES
              "    - [1000 rpm, 100 bar, 100 %, 98 %, 93 %]\n    - [1000 rpm, 100 bar, 100 %, 98 %, 93 %]\n",
              5, 7, "a second row for 1000 rpm, 100 bar");
}

/* A map with strokes reads back to the same bits, and what is lost at zero stroke can be set. */
static void test_case_keeps_strokes(void **state) {
  (void)state;
  struct case_data data;
  struct case_data again;
  struct error error = {0};
  const char *sets[] = {"pump.efficiency_map[1].lost_torque=8 N m"};
  assert_true(case_load_text("c.yaml",
                             WITH_STROKES "    - [1000 rpm, 600 bar, 100 %, 98 %, 93 %]\n"
                                          "    - [3000 rpm, 600 bar, 0 %, 2 L/min, 11 N m]\n"
                                          "    - [3000 rpm, 600 bar, 100 %, 97 %, 90 %]\n"
                                          "    - [1000 rpm, 600 bar, 0 %, 1 L/min, 9 N m]\n",
                             sets, 1, &data, &error));
  assert_true(case_load_text("d.yaml", data.resolved, NULL, 0, &again, &error));
  const struct group *group = registry_group(data.plant->groups, data.plant->group_count, "pump");
  struct parameter parameter = {group, registry_field(group, "efficiency_map")};
  const struct map *map = registry_member_const(data.parameters, parameter);
  const struct map *read = registry_member_const(again.parameters, parameter);
  assert_int_equal(map_rows(map), 4);
  assert_int_equal(map->strokes, 2);
  assert_true(map_row_idles(map, 1) && !map_row_idles(map, 2));
  CHECK_CLOSE(map->volumetric[1], 2e-3 / 60.0, 1e-14);
  CHECK_CLOSE(map->hydromechanical[0], 8.0, 1e-14);
  assert_memory_equal(map->volumetric, read->volumetric, 4 * sizeof(real));
  assert_memory_equal(map->hydromechanical, read->hydromechanical, 4 * sizeof(real));
  assert_memory_equal(map->stroke, read->stroke, 2 * sizeof(real));
  assert_string_equal(strstr(data.resolved, "circuit"), strstr(again.resolved, "circuit"));
  struct parameter_ref ref;
  assert_true(parameter_ref_find(&data, "pump.efficiency_map[2].lost_flow", &ref, &error));
  CHECK_CLOSE(parameter_ref_get(&data, &ref), 2e-3 / 60.0, 1e-14);
  assert_false(parameter_ref_find(&data, "pump.efficiency_map[1].volumetric", &ref, &error));
  assert_false(parameter_ref_find(&data, "pump.efficiency_map[3].lost_flow", &ref, &error));
  case_free(&again);
  case_free(&data);
}

/* Rows in any order; the resolved text reads back to the same bits; single efficiencies can be set and copied. */
static void test_case_keeps_the_map(void **state) {
  (void)state;
  struct case_data data;
  struct case_data again;
  struct case_data copy;
  struct error error = {0};
  const char *sets[] = {"pump.efficiency_map[2].volumetric=88 %"};
  assert_true(case_load_text("c.yaml", "pump:\n" PUMP_ROWS, sets, 1, &data, &error));
  assert_true(case_load_text("d.yaml", data.resolved, NULL, 0, &again, &error));
  const char *parameters = data.parameters;
  const struct group *group = registry_group(data.plant->groups, data.plant->group_count, "pump");
  struct parameter parameter = {group, registry_field(group, "efficiency_map")};
  const struct map *map = registry_member_const(parameters, parameter);
  const struct map *read = registry_member_const(again.parameters, parameter);
  assert_int_equal(map->speeds, 2);
  assert_int_equal(map->pressures, 2);
  CHECK_CLOSE(map->speed[1], 3000 * RPM, 1e-14);
  static const real volumetric[4] = {0.98, 0.88, 0.989, 0.94};
  for (int i = 0; i < 4; i++) {
    CHECK_CLOSE(map->volumetric[i], volumetric[i], 1e-14);
    assert_memory_equal(&map->volumetric[i], &read->volumetric[i], sizeof(real));
    assert_memory_equal(&map->hydromechanical[i], &read->hydromechanical[i], sizeof(real));
  }
  assert_string_equal(strstr(data.resolved, "circuit"), strstr(again.resolved, "circuit"));
  assert_true(case_copy(&data, &copy, &error));
  struct parameter_ref ref;
  assert_true(parameter_ref_find(&copy, "pump.efficiency_map[4].hydromechanical", &ref, &error));
  CHECK_CLOSE(parameter_ref_get(&copy, &ref), 0.90, 1e-14);
  parameter_ref_set(&copy, &ref, 0.5);
  CHECK_CLOSE(parameter_ref_get(&copy, &ref), 0.5, 0.0);
  CHECK_CLOSE(map->hydromechanical[3], 0.90, 1e-14);
  assert_false(parameter_ref_find(&copy, "pump.efficiency_map[5].volumetric", &ref, &error));
  assert_false(parameter_ref_find(&copy, "pump.efficiency_map[1].speed", &ref, &error));
  assert_false(parameter_ref_find(&copy, "pump.efficiency_map", &ref, &error));
  case_free(&copy);
  case_free(&again);
  case_free(&data);
}

static struct outcome run(const char *text) {
  struct case_data data;
  struct error error = {0};
  if (!case_load_text("c.yaml", text, NULL, 0, &data, &error)) {
    print_error("%d:%d: %s\n", error.line, error.column, error.text);
    fail();
  }
  struct outcome outcome;
  assert_true(run_case(&data, NULL, NULL, &outcome, &error));
  case_free(&data);
  return outcome;
}

#define DRIVE "operator: {forward_pedal: [[0 s, 0 %], [1 s, 80 %]]}\nsimulation: {end_time: 4 s}\n"

/* A whole run with maps on pump and motor closes its ledger. */
static void test_run_closes(void **state) {
  (void)state;
  struct outcome outcome = run("pump:\n" PUMP_ROWS "motor:\n  losses: map\n  efficiency_map:\n"
                               "    - [100 rpm, 50 bar, 90 %, 85 %]\n    - [100 rpm, 600 bar, 70 %, 90 %]\n"
                               "    - [6000 rpm, 50 bar, 99 %, 75 %]\n    - [6000 rpm, 600 bar, 97 %, 92 %]\n" DRIVE);
  assert_int_equal(outcome.status, RUN_COMPLETE);
  assert_true(outcome.measures[MEASURE_energy_residual] < 1e-6);
  assert_true(fabs(outcome.measures[MEASURE_oil_residual]) < 1e-9);
  assert_true(outcome.measures[MEASURE_vehicle_speed_end] > 0.5);
  outcome_free(&outcome);
}

/* The same with strokes, and by coefficients with every term by stroke and speed: driving off and braking down. */
static void test_runs_by_stroke_close(void **state) {
  (void)state;
  static const char *const units[] = {
      WITH_STROKES "    - [100 rpm, 50 bar, 0 %, 1 L/min, 5 N m]\n    - [100 rpm, 600 bar, 0 %, 4 L/min, 8 N m]\n"
                   "    - [5000 rpm, 50 bar, 0 %, 2 L/min, 15 N m]\n    - [5000 rpm, 600 bar, 0 %, 8 L/min, 18 N m]\n"
                   "    - [100 rpm, 50 bar, 100 %, 90 %, 90 %]\n    - [100 rpm, 600 bar, 100 %, 60 %, 92 %]\n"
                   "    - [5000 rpm, 50 bar, 100 %, 98 %, 80 %]\n    - [5000 rpm, 600 bar, 100 %, 95 %, 94 %]\n",
      "pump: {churning_coefficient: 60, churning_at_zero_stroke: 20 %, friction_at_zero_stroke: 70 %, "
      "compressed_at_zero_stroke: 60 %, compressed_at_full_stroke: 110 %}\nmotor: {churning_coefficient: 60, "
      "friction_at_zero_stroke: 70 %, "
      "compressed_at_zero_stroke: 60 %, compressed_at_full_stroke: 110 %}\n"};
  for (int i = 0; i < 2; i++) {
    char text[2048];
    (void)snprintf(text, sizeof text, "%sground: {grade: [[0 m, 10 %%], [6 m, -25 %%]]}\n%s", units[i], DRIVE);
    struct outcome outcome = run(text);
    assert_int_equal(outcome.status, RUN_COMPLETE);
    assert_true(outcome.measures[MEASURE_energy_residual] < 1e-6);
    assert_true(outcome.measures[MEASURE_heat_residual] < 1e-6);
    assert_true(fabs(outcome.measures[MEASURE_oil_residual]) < 1e-9);
    outcome_free(&outcome);
  }
}

/* Where the map ends the run fails, and says where. */
static void check_edge(const char *section, const char *words) {
  char text[1024];
  (void)snprintf(text, sizeof text, "%s%s", section, DRIVE);
  struct outcome outcome = run(text);
  assert_int_equal(outcome.status, RUN_FAILED);
  if (strstr(outcome.error.text, words) == NULL) {
    print_error("'%s' does not say '%s'\n", outcome.error.text, words);
    fail();
  }
  outcome_free(&outcome);
}

static void test_run_ends_with_the_map(void **state) {
  (void)state;
  check_edge(
      "pump:\n  losses: map\n  efficiency_map: [[1000 rpm, 100 bar, 98 %, 93 %], [3000 rpm, 100 bar, 98 %, 93 %]]\n",
      "the pressure across the pump leaves its efficiency map: 100 bar, and the map ends at 100 bar");
  check_edge("pump:\n  losses: map\n  efficiency_map: [[1000 rpm, 600 bar, 98 %, 93 %]]\n",
             "at t = 0 s the pump turns faster than its efficiency map goes: ");
  check_edge("motor:\n  losses: map\n  efficiency_map: [[100 rpm, 600 bar, 98 %, 93 %]]\n",
             "the motor turns faster than its efficiency map goes: 100 rpm, and the map ends at 100 rpm");
  check_edge("motor:\n  losses: map\n  efficiency_map: [[6000 rpm, 50 bar, 98 %, 93 %]]\n",
             "the pressure across the motor leaves its efficiency map: 50 bar");
  check_edge("vehicle: {axles: two, second_motor: yes}\nsecond_motor:\n  losses: map\n"
             "  efficiency_map: [[100 rpm, 600 bar, 98 %, 93 %]]\n",
             "the second motor turns faster than its efficiency map goes: 100 rpm");
  check_edge("vehicle: {axles: two, second_motor: yes}\nsecond_motor:\n  losses: map\n"
             "  efficiency_map: [[6000 rpm, 50 bar, 98 %, 93 %]]\n",
             "the pressure across the second motor leaves its efficiency map: 50 bar");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_pump_gives_its_map_back),
      cmocka_unit_test(test_motor_gives_its_map_back),
      cmocka_unit_test(test_between_and_below),
      cmocka_unit_test(test_no_quadrant_gives_power),
      cmocka_unit_test(test_strokes),
      cmocka_unit_test(test_refusals),
      cmocka_unit_test(test_refusals_of_strokes),
      cmocka_unit_test(test_case_keeps_strokes),
      cmocka_unit_test(test_runs_by_stroke_close),
      cmocka_unit_test(test_case_keeps_the_map),
      cmocka_unit_test(test_run_closes),
      cmocka_unit_test(test_run_ends_with_the_map),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
