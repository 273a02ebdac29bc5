/* Fuel of the engine: law, account and balance. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "fuel.h"
#include "sample.h"

static void an_engine_never_gives_fuel_back(void **state) {
  (void)state;
  DEFAULTS(fuel, fuel);
  struct sampler sampler = {15u};
  for (int i = 0; i < 2000; i++) {
    double power = sample_between(&sampler, -2e5, 2e5);
    double burns = fuel_rate(&fuel, power / 150.0, 90.0, 150.0);
    assert_true(burns >= 0.0 && (power > 0.0) == (burns > 0.0));
    assert_true(fuel.heating_value * burns >= power); /* it never makes more work than the fuel holds */
  }
  CHECK_CLOSE(fuel_rate(&fuel, 600.0, 90.0, 150.0), 90e3 / (0.45 * 43e6), 1e-15);
}

/* The map gives back its own points; below its lowest torque the fuel falls to none where the engine is just motored.
 */
static void a_map_of_consumption_is_read_as_measured(void **state) {
  (void)state;
  static const double speed[] = {100.0, 200.0};
  static const double torque[] = {100.0, 300.0, 500.0};
  static const double burns[] = {300e-3, 220e-3, 200e-3, 340e-3, 250e-3, 230e-3}; /* kg/kWh */
  double cells[6];
  double stroke = 1.0;
  for (int i = 0; i < 6; i++) {
    cells[i] = burns[i] / 3.6e6;
  }
  DEFAULTS(fuel, fuel);
  fuel.law = FUEL_MAP;
  fuel.consumption_map = (struct map){.speeds = 2,
                                      .pressures = 3,
                                      .strokes = 1,
                                      .speed = speed,
                                      .pressure = torque,
                                      .stroke = &stroke,
                                      .volumetric = cells,
                                      .hydromechanical = cells};
  for (int i = 0; i < 2; i++) {
    for (int k = 0; k < 3; k++) {
      CHECK_CLOSE(fuel_rate(&fuel, torque[k] + 80.0, 80.0, speed[i]), cells[3 * i + k] * torque[k] * speed[i], 1e-14);
    }
    const double *lowest = i == 0 ? &cells[0] : &cells[3];
    double idle = fuel_rate(&fuel, 80.0, 80.0, speed[i]); /* no torque at the flywheel */
    CHECK_CLOSE(idle, 80.0 / 180.0 * *lowest * 100.0 * speed[i], 1e-14);
    assert_true(fuel_rate(&fuel, 0.0, 80.0, speed[i]) == 0.0);
    assert_true(fuel_rate(&fuel, -10.0, 80.0, speed[i]) == 0.0);
  }
  CHECK_CLOSE(fuel_rate(&fuel, 480.0, 80.0, 150.0),
              0.25 * (3e4 * cells[1] + 5e4 * cells[2] + 6e4 * cells[4] + 1e5 * cells[5]), 1e-14);
  assert_true(fuel_rate(&fuel, 480.0, 80.0, -150.0) == 0.0);
  CHECK_CLOSE(fuel_map_speed_room(&fuel, 0.5, 190.0), 0.05, 1e-12);
  CHECK_CLOSE(fuel_map_speed_room(&fuel, 0.5, 110.0), 0.05, 1e-12);
  assert_true(fuel_map_speed_room(&fuel, 0.5, 210.0) < 0.0 && fuel_map_speed_room(&fuel, 0.5, 90.0) < 0.0);
  assert_true(fuel_map_speed_room(&fuel, 0.0, 300.0) == 1.0); /* overrun: nothing burns */
  assert_true(fuel_map_torque_room(&fuel, 510.0) < 0.0 && fuel_map_torque_room(&fuel, 490.0) > 0.0);
}

/* Points of a line of Willans entered as a map: the two laws agree where the map has its points. */
static void a_map_runs_as_its_law(void **state) {
  (void)state;
  static const char *const laws[] = {
      "law: willans", "law: map, consumption_map: [[600 rpm, 50 N m, 464.65 g/kWh], [600 rpm, 900 N m, "
                      "201.52 g/kWh], [2500 rpm, 50 N m, 464.65 g/kWh], [2500 rpm, 900 N m, 201.52 g/kWh]]"};
  double used[2];
  for (int i = 0; i < 2; i++) {
    char text[1024];
    struct outcome outcome;
    (void)snprintf(text, sizeof text,
                   "fuel: {%s}\nimplement: {law: power}\nengine: {stall: none, governor: isochronous, "
                   "friction_constant: 74.878 N m, friction_linear: 0 N m s, friction_quadratic: 0 N m s2}\n"
                   "operator: {forward_pedal: 0 %%, park_brake: 100 %%, implement_power: 0 kW}\n"
                   "simulation: {end_time: 5 s, output_step: 1 s}\n",
                   laws[i]);
    assert_true(bench_whole_run(text, &outcome));
    assert_int_equal(outcome.status, RUN_COMPLETE);
    assert_true(outcome.measures[MEASURE_fuel_residual] < 1e-6);
    used[i] = outcome.measures[MEASURE_fuel_used];
    outcome_free(&outcome);
  }
  CHECK_CLOSE(used[1], used[0], 1e-3);
}

/* Beyond the map a run fails and says why. */
static void beyond_the_map_nothing_is_known(void **state) {
  (void)state;
  static const char *const maps[] = {
      "[[600 rpm, 50 N m, 300 g/kWh], [600 rpm, 100 N m, 250 g/kWh], [2500 rpm, 50 N m, 300 g/kWh], [2500 rpm, 100 N "
      "m, 250 g/kWh]]",
      "[[600 rpm, 50 N m, 300 g/kWh], [600 rpm, 900 N m, 250 g/kWh], [2150 rpm, 50 N m, 300 g/kWh], [2150 rpm, 900 N "
      "m, 250 g/kWh]]"};
  static const char *const words[] = {"more torque than its map", "at a speed that its map"};
  for (int i = 0; i < 2; i++) {
    char text[1024];
    struct outcome outcome;
    (void)snprintf(text, sizeof text,
                   "fuel: {law: map, consumption_map: %s}\nimplement: {law: power}\n"
                   "operator: {forward_pedal: 0 %%, park_brake: 100 %%, implement_power: [[0 s, 0 kW], [2 s, 40 kW]]}\n"
                   "simulation: {end_time: 5 s, output_step: 1 s}\n",
                   maps[i]);
    struct error error = {0};
    struct case_data data;
    assert_true(case_load_text(SWASHLOOP_SOURCE "/cases/baseline/bench.yaml", text, NULL, 0, &data, &error));
    memset(&outcome, 0, sizeof outcome);
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    assert_int_equal(outcome.status, RUN_FAILED);
    assert_non_null(strstr(outcome.error.text, words[i]));
    case_free(&data);
    outcome_free(&outcome);
  }
}

static const char drives[] = "fuel: {law: %s}\nvehicle: {start_speed: 15 km/h, mass: 14 t}\nground: {grade: %s}\n"
                             "engine: {stall: held}\noperator: {forward_pedal: [[0 s, 60 %%], [3 s, 60 %%], [3.5 s, 0 "
                             "%%]]}\nsimulation: {end_time: 6 s, output_step: 0.5 s%s}\n";

/* The account: volume, carbon dioxide and mean follow from the mass; by either method the balance closes, and the
 * machine does not notice that its fuel is counted. */
static void what_is_burnt_is_accounted_for(void **state) {
  (void)state;
  static const char *const methods[] = {"", ", method: rosenbrock"};
  static const char *const grades[] = {"15 %", "-15 %"};
  for (int i = 0; i < 4; i++) {
    char text[512];
    struct outcome counted;
    struct outcome plain;
    (void)snprintf(text, sizeof text, drives, "willans", grades[i / 2], methods[i % 2]);
    assert_true(bench_whole_run(text, &counted));
    (void)snprintf(text, sizeof text, drives, "none", grades[i / 2], methods[i % 2]);
    assert_true(bench_whole_run(text, &plain));
    const double *measures = counted.measures;
    assert_true(counted.has_fuel && measures[MEASURE_fuel_residual] < 1e-6);
    assert_true(counted.fuel_energy > 0.0);
    CHECK_CLOSE(counted.fuel_energy, 43e6 * measures[MEASURE_fuel_used], 1e-12);
    CHECK_CLOSE(counted.fuel_work, 0.45 * counted.fuel_energy, 1e-6);
    CHECK_CLOSE(measures[MEASURE_fuel_volume], measures[MEASURE_fuel_used] / 835.0, 1e-12);
    CHECK_CLOSE(measures[MEASURE_carbon_dioxide], 3.186 * measures[MEASURE_fuel_used], 1e-12);
    CHECK_CLOSE(measures[MEASURE_fuel_per_time], measures[MEASURE_fuel_volume] / 6.0, 1e-12);
    assert_false(plain.has_fuel);
    assert_true(isnan(plain.measures[MEASURE_fuel_used]));
    assert_string_equal(plain.absent[MEASURE_fuel_used], "fuel.law is none: no fuel is counted");
    /* but for its steps: as close as two methods are */
    CHECK_CLOSE(plain.measures[MEASURE_vehicle_distance_end], measures[MEASURE_vehicle_distance_end], 1e-4);
    outcome_free(&counted);
    outcome_free(&plain);
  }
}

/* An engine that is cut off burns nothing, one that is only pushed by the machine neither. */
static void no_fuel_no_account(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run("fuel: {law: willans}\nengine: {stall: held, start_fuel: 0 %, start_speed: 0 %}\n"
                              "operator: {forward_pedal: 0 %, park_brake: 100 %}\n"
                              "simulation: {end_time: 1 s, output_step: 0.5 s}\n",
                              &outcome));
  assert_true(outcome.measures[MEASURE_fuel_used] == 0.0);
  assert_true(isnan(outcome.measures[MEASURE_fuel_residual]));
  assert_string_equal(outcome.absent[MEASURE_fuel_residual], "no fuel is burnt");
  assert_true(isnan(outcome.measures[MEASURE_specific_consumption]));
  outcome_free(&outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(an_engine_never_gives_fuel_back), cmocka_unit_test(a_map_of_consumption_is_read_as_measured),
      cmocka_unit_test(a_map_runs_as_its_law),           cmocka_unit_test(beyond_the_map_nothing_is_known),
      cmocka_unit_test(what_is_burnt_is_accounted_for),  cmocka_unit_test(no_fuel_no_account),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
