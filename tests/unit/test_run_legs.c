/* The legs of a course as the run tells of them: they cover the run without gaps, their energies add up to the
 * ledger's, and work against rolling resistance and slope is what it is by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"

#define MACHINE "machine: ../machines/forwarder.yaml\n"
#define DRIVER "driver: {drives: yes, top_speed: 22 km/h, holds_by: park_brake, park_delay: 1 s}\n"

static int row_of(const char *name) {
  for (int i = 0; i < transmission_plant.ledger_count; i++) {
    if (strcmp(transmission_plant.ledger[i].name, name) == 0) {
      return i;
    }
  }
  fail_msg("%s", name);
  return -1;
}

static double energy(const struct run_leg *leg, const char *name) {
  return leg->energy[row_of(name)];
}

/* Every phase begins where the one before ended, and what the rows took in all of them is what they took in the run. */
static void check_cover(const struct outcome *outcome) {
  const struct run_leg *legs = outcome->legs;
  if (legs == NULL || outcome->leg_count == 0) {
    fail_msg("no legs");
    return;
  }
  assert_true(legs[0].from == 0.0);
  for (int i = 1; i < outcome->leg_count; i++) {
    assert_true(legs[i].from == legs[i - 1].until && legs[i].began_at == legs[i - 1].ended_at);
    assert_true(legs[i].stands != legs[i - 1].stands);
  }
  assert_true(legs[outcome->leg_count - 1].until == outcome->end_time);
  for (int row = 0; row < transmission_plant.ledger_integrated; row++) {
    double sum = 0.0;
    double size = 0.0;
    for (int i = 0; i < outcome->leg_count; i++) {
      sum += legs[i].energy[row];
      size += fabs(legs[i].energy[row]);
    }
    CHECK_NEAR(sum, outcome->ledger[row].energy, 1e-9 * size + 1e-6);
  }
}

/* Out and back on the level and up a slope, loaded at its top. By hand: a rolling resistance c takes c m g cos(slope)
 * s, the slope m g sin(slope) s; the laws' turn-round about standstill and the wheels' slip take next to nothing of it.
 */
static void work_on_a_closed_course_is_that_by_hand(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE DRIVER "simulation: {end_time: 400 s, output_step: 1 s}\n"
                                             "ground: {grade: 10 %, wheelbase: 0 m}\n"
                                             "fuel: {law: willans}\n"
                                             "tyre: {rolling_resistance: 0.04}\n"
                                             "course:\n"
                                             "  speed: 10 km/h\n"
                                             "  to: [[1, 150 m], [2, 0 m]]\n"
                                             "  dwell: [[1, 20 s], [2, 20 s]]\n"
                                             "  load: [[1, 8 t], [2, 0 t]]\n",
                              &outcome));
  check_cover(&outcome);
  assert_int_equal(outcome.leg_count, 4);
  const struct run_leg *legs = outcome.legs;
  if (legs == NULL) {
    return; /* check_cover has failed */
  }
  double cosine = 1.0 / sqrt(1.0 + 0.1 * 0.1);
  double sine = 0.1 * cosine;
  double up = legs[0].ended_at - legs[0].began_at;
  double down = legs[2].began_at - legs[2].ended_at;
  assert_true(legs[0].number == 1 && legs[2].number == 2 && legs[1].stands && legs[3].stands);
  CHECK_CLOSE(energy(&legs[0], "rolling"), 0.04 * 14e3 * 9.81 * cosine * up, 2e-3);
  CHECK_CLOSE(energy(&legs[2], "rolling"), 0.04 * 22e3 * 9.81 * cosine * down, 2e-3);
  CHECK_CLOSE(energy(&legs[0], "slope"), -14e3 * 9.81 * sine * up, 1e-6);
  CHECK_CLOSE(energy(&legs[2], "slope"), 22e3 * 9.81 * sine * down, 1e-6);
  /* over the closed course the machine's own weight does nothing: what is left is the load's potential energy */
  double all = outcome.ledger[row_of("slope")].energy;
  CHECK_CLOSE(all, 8e3 * 9.81 * sine * 150.0, 5e-3);
  CHECK_NEAR(legs[1].until - legs[1].from, 20.0, 1e-9);
  CHECK_CLOSE(legs[1].load, 8e3, 1e-9);
  CHECK_NEAR(legs[3].load, 0.0, 1e-6);
  CHECK_CLOSE(outcome.measures[MEASURE_load_delivered], 8e3, 1e-9);
  CHECK_CLOSE(outcome.measures[MEASURE_transport_work], 8e3 * down, 1e-6);
  CHECK_CLOSE(outcome.measures[MEASURE_course_time], outcome.end_time, 1e-12);
  double burnt = outcome.measures[MEASURE_fuel_volume];
  assert_true(burnt > 0.0);
  CHECK_CLOSE(outcome.measures[MEASURE_fuel_per_transport], burnt / (8e3 * down), 1e-6);
  CHECK_CLOSE(outcome.measures[MEASURE_fuel_per_loaded_way], burnt / down, 1e-6);
  CHECK_CLOSE(outcome.measures[MEASURE_delivery_rate], 8e3 / outcome.end_time, 1e-9);
  CHECK_CLOSE(outcome.measures[MEASURE_driving_speed],
              (up + down) / (legs[0].until - legs[0].from + legs[2].until - legs[2].from), 1e-9);
  CHECK_NEAR(outcome.measures[MEASURE_legs_done], 2.0, 0.0);
  CHECK_NEAR(outcome.measures[MEASURE_brake_uses], 0.0, 0.0);
  assert_true(outcome.measures[MEASURE_stop_miss] < 0.2);
  assert_true(fabs(outcome.measures[MEASURE_energy_residual]) < 1e-6);
  outcome_free(&outcome);
}

/* The implement's power is drawn while the machine stands, and only then. */
static void the_implement_is_driven_while_the_machine_stands(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE DRIVER "simulation: {end_time: 200 s, output_step: 1 s}\n"
                                             "implement: {law: power}\n"
                                             "course: {speed: 10 km/h, to: [[1, 30 m], [2, 60 m]], dwell: [[1, 20 s]],"
                                             " dwell_power: [[1, 25 kW]]}\n",
                              &outcome));
  check_cover(&outcome);
  const struct run_leg *legs = outcome.legs;
  if (legs == NULL) {
    return; /* check_cover has failed */
  }
  /* ramps of half a second at both ends: up within the dwell, down behind it */
  CHECK_CLOSE(energy(&legs[0], "implement") + energy(&legs[1], "implement") + energy(&legs[2], "implement"),
              25e3 * 20.0, 1e-3);
  assert_true(energy(&legs[0], "implement") == 0.0);
  CHECK_CLOSE(energy(&legs[2], "implement"), 0.25 * 25e3, 1e-2);
  outcome_free(&outcome);
}

/* The settled temperature from three courses is that of a run that goes on until it has settled. */
static void temperatures_settle_where_three_courses_say(void **state) {
  (void)state;
#define SHORT_COURSE                                                                                                   \
  MACHINE DRIVER                                                                                                       \
      "simulation: {end_time: 6000 s, output_step: 10 s}\n"                                                            \
      "heat: {tank_capacity: 8 kJ/K, tank_start: 30 degC, loop_capacity: 12 kJ/K, loop_oil_capacity: 6 kJ/K,"          \
      " loop_start: 40 degC}\n"                                                                                        \
      "ground: {grade: [[0 m, 0 %], [10 m, 0 %], [14 m, 12 %], [40 m, 12 %], [44 m, 0 %]]}\n"
  struct outcome few;
  struct outcome many;
  assert_true(bench_whole_run(
      SHORT_COURSE "course: {speed: 8 km/h, to: [[1, 50 m], [2, 0 m]], dwell: [[1, 5 s], [2, 5 s]], repeats: 4}\n",
      &few));
  assert_true(bench_whole_run(SHORT_COURSE
                              "course: {speed: 8 km/h, to: [[1, 50 m], [2, 0 m]], dwell: [[1, 5 s], [2, 5 s]],"
                              " repeats: 100, ends: when_settled, settled_within: 0.005 K}\n",
                              &many));
  assert_int_equal(few.leg_count, 16);
  assert_true(many.leg_count > 4 * 6 && many.leg_count < 4 * 100);
  double tank = many.legs != NULL ? many.legs[many.leg_count - 1].tank : NAN;
  double first = few.legs != NULL ? few.legs[3].tank : NAN;
  assert_true(fabs(tank - first) > 3.0); /* it had a way to go */
  CHECK_NEAR(few.measures[MEASURE_course_tank_temperature], tank, 0.15);
  CHECK_NEAR(many.measures[MEASURE_course_tank_temperature], tank, 0.05);
  outcome_free(&few);
  outcome_free(&many);
}

/* A run that ends on the way leaves its leg unfinished; one without a driver has none, and says so. */
static void what_is_under_way_is_told_as_unfinished(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE DRIVER "simulation: {end_time: 20 s, output_step: 1 s}\n"
                                             "course: {speed: 10 km/h, to: [[1, 300 m]]}\n",
                              &outcome));
  check_cover(&outcome);
  assert_int_equal(outcome.leg_count, 1);
  assert_false(outcome.legs != NULL && outcome.legs[0].done);
  CHECK_NEAR(outcome.measures[MEASURE_legs_done], 0.0, 0.0);
  assert_true(isnan(outcome.measures[MEASURE_stop_miss]));
  outcome_free(&outcome);
  assert_true(bench_whole_run(MACHINE "simulation: {end_time: 1 s}\n", &outcome));
  assert_int_equal(outcome.leg_count, 0);
  assert_true(isnan(outcome.measures[MEASURE_course_time]));
  assert_string_equal(outcome.absent[MEASURE_course_time], "no driver follows a course");
  outcome_free(&outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(work_on_a_closed_course_is_that_by_hand),
      cmocka_unit_test(the_implement_is_driven_while_the_machine_stands),
      cmocka_unit_test(temperatures_settle_where_three_courses_say),
      cmocka_unit_test(what_is_under_way_is_told_as_unfinished),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
