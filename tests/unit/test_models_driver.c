/* The driver and the course: each law against its closed form and mirrored; the backward pass against a search; in the
 * circuit the places where it stops, its brakes, loads, repeats, and a mirrored course. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "course.h"
#include "driver.h"
#include "sample.h"

/* The approach: v^2 = 2 a (d - d1/2) far away (uniform deceleration, textbook), a straight line near, both with the
 * same speed and slope where they meet, and a deceleration that is nowhere above the comfortable one. */
static void the_approach_is_smooth_and_comfortable(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  double a = driver.deceleration;
  double turns = a * driver.approach_time * driver.approach_time;
  CHECK_CLOSE(driver_approach(&driver, turns), a * driver.approach_time, 1e-12);
  CHECK_CLOSE(driver_approach(&driver, 40.0), sqrt(2.0 * a * (40.0 - 0.5 * turns)), 1e-12);
  assert_true(driver_approach(&driver, 0.0) == 0.0);
  CHECK_CLOSE(driver_approach(&driver, -0.3), -0.3 / driver.approach_time, 1e-12);
  double h = 1e-6;
  double below = (driver_approach(&driver, turns) - driver_approach(&driver, turns - h)) / h;
  double above = (driver_approach(&driver, turns + h) - driver_approach(&driver, turns)) / h;
  CHECK_CLOSE(below, above, 1e-5);
  for (double d = 0.01; d < 100.0; d *= 1.1) {
    double slope = (driver_approach(&driver, d + h) - driver_approach(&driver, d - h)) / (2.0 * h);
    assert_true(driver_approach(&driver, d) * slope <= a * (1.0 + 1e-6));
  }
}

/* v_f for a speed that rises as a t, from rest: a (t - T (1 - e^(-t/T))); the lag of a ramp by a first-order lag,
 * textbook. */
static void what_is_felt_lags_by_the_reaction_time(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  double felt = 0.0;
  double dt = 1e-4;
  int steps = 20000;
  for (int i = 0; i < steps; i++) { /* midpoint rule */
    double t = i * dt;
    double half = felt + 0.5 * dt * driver_felt_rate(&driver, felt, 0.7 * t);
    felt += dt * driver_felt_rate(&driver, half, 0.7 * (t + 0.5 * dt));
  }
  double end = steps * dt;
  CHECK_CLOSE(felt, 0.7 * (end - driver.reaction_time * (1.0 - exp(-end / driver.reaction_time))), 1e-7);
}

/* What a driver with quick feet and senses does with a plain mass that goes at v = v_top u - delta (a drive that gives
 * a speed for a pedal, less a steady slip): (1 + K) (v - v_a) = v_top (z - z_end), and with T z' = K (v_a - v)/v_top:
 * v_a - v = delta/(1 + K) e^(-K t/(T (1 + K))). */
static void a_slip_is_taken_back_as_in_the_closed_form(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  driver.gain = 0.4;
  driver.reset = 0.8;
  double aim = 0.5 * driver.top_speed;
  double delta = 0.1 * driver.top_speed;
  double known = driver_knows(&driver, aim);
  CHECK_CLOSE(known, 0.5, 1e-12);
  double integral = 0.0;
  double dt = 1e-5;
  for (int i = 1; i <= 300000; i++) {
    double gain = driver.gain;
    /* u = v_a/v_top + K (v_a - v)/v_top + z and v = v_top u - delta, solved for v */
    double speed = (aim * (1.0 + gain) + driver.top_speed * integral - delta) / (1.0 + gain);
    double asked = driver_asked(&driver, known, aim, speed, integral);
    CHECK_NEAR(driver.top_speed * asked - delta, speed, 1e-9);
    integral += dt * driver_integral_rate(&driver, asked, known, integral);
    if (i % 50000 == 0) {
      double t = i * dt;
      speed = (aim * (1.0 + gain) + driver.top_speed * integral - delta) / (1.0 + gain);
      CHECK_NEAR(aim - speed, delta / (1.0 + gain) * exp(-gain * t / (driver.reset * (1.0 + gain))), 1e-4 * delta);
    }
  }
}

/* What the driver knows of the pedal, by a table: the same both ways. */
static void a_known_pedal_is_the_same_both_ways(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  double speeds[] = {0.0, 2.0, 6.0};
  double pedals[] = {0.0, 0.4, 1.0};
  struct profile table = {3, speeds, pedals, false};
  driver.pedal = table;
  CHECK_CLOSE(driver_knows(&driver, 4.0), 0.7, 1e-12);
  CHECK_CLOSE(driver_knows(&driver, -4.0), -0.7, 1e-12);
  CHECK_CLOSE(driver_knows(&driver, 9.0), 1.0, 1e-12);
}

/* At its bound the integral follows the bound, so that it does not wind up. */
static void the_integral_does_not_wind_up(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  double aim = 0.9 * driver.top_speed;
  double integral = 0.0;
  for (int i = 0; i < 400000; i++) {
    integral += 1e-3 * driver_integral_rate(&driver, driver_asked(&driver, 0.9, aim, 0.0, integral), 0.9, integral);
    assert_true(integral <= 0.1 + 1e-9);
  }
  CHECK_NEAR(integral, 0.1, 1e-6); /* what is left above aim/top_speed */
}

/* The foot: no faster than its rates, pressed away from zero, let go toward it. */
static void the_foot_keeps_its_rates(void **state) {
  (void)state;
  DEFAULTS(driver, driver);
  struct sampler sampler = {5u};
  for (int i = 0; i < 5000; i++) {
    double pedal = sample_between(&sampler, -1.0, 1.0);
    double asked = sample_between(&sampler, -1.0, 1.0);
    double rate = driver_pedal_rate(&driver, pedal, asked);
    CHECK_NEAR(driver_pedal_rate(&driver, -pedal, -asked), -rate, 1e-15);
    if (fabs(pedal) > 0.02) {
      double most = rate * pedal > 0.0 ? driver.press_rate : driver.release_rate;
      CHECK_NEAR(rate, copysign(fmin(fabs(asked - pedal) / driver.pedal_lag, most), asked - pedal), 1e-12);
    }
  }
}

/* The allowed speed at a place as a search finds it: the least over all stretches ahead of sqrt(c^2 + 2 a d). */
static double searched(const struct profile *table, double x, int way, double a, double top) {
  int here = way > 0 ? profile_index(table, x) : profile_index_before(table, x);
  double least = fmin(top, table->value[here > 0 ? here - 1 : 0]);
  for (int i = 0; i <= table->count; i++) { /* the stretch with i points at or left of it */
    double begins = way > 0 ? (i > 0 ? table->argument[i - 1] : -1e9) : (i < table->count ? table->argument[i] : 1e9);
    double away = way * (begins - x);
    if (away >= 0.0 && i != here) {
      double speed = table->value[i > 0 ? i - 1 : 0];
      least = fmin(least, sqrt(speed * speed + 2.0 * a * away));
    }
  }
  return least;
}

static void the_backward_pass_agrees_with_a_search(void **state) {
  (void)state;
  struct sampler sampler = {11u};
  for (int round = 0; round < 300; round++) {
    enum { POINTS = 9 };
    double argument[POINTS];
    double value[POINTS];
    double at = sample_between(&sampler, -100.0, 0.0);
    for (int i = 0; i < POINTS; i++) {
      at += sample_between(&sampler, 0.5, 40.0);
      argument[i] = at;
      value[i] = sample_between(&sampler, 0.2, 12.0);
    }
    struct profile table = {1 + round % POINTS, argument, value, false};
    double a = sample_between(&sampler, 0.2, 2.0);
    double top = sample_between(&sampler, 3.0, 14.0);
    for (int k = 0; k < 40; k++) {
      int way = k % 2 == 0 ? 1 : -1;
      double x = sample_between(&sampler, -150.0, 300.0);
      struct course_stretch stretch = course_stretch_at(&table, way * x, way, 0.0, true, top, 1e6, a);
      assert_true(stretch.low <= way * x && stretch.high >= way * x);
      double allowed = fmin(stretch.speed, sqrt(2.0 * a * fmax(stretch.line - way * x, 0.0)));
      CHECK_CLOSE(allowed, searched(&table, x, way, a, top), 1e-9);
      /* laid on again further along */
      struct course_stretch moved = course_stretch_at(&table, way * (x + 512.0), way, 512.0, true, top, 1e6, a);
      CHECK_NEAR(moved.speed, stretch.speed, 0.0);
      CHECK_CLOSE(moved.line, stretch.line + (stretch.line < COURSE_FAR ? way * 512.0 : 0.0), 1e-9);
    }
  }
}

/* ---- in the circuit ---- */

#define MACHINE "machine: ../machines/forwarder.yaml\n"

/* How often the words stand in a message of the run. */
static int told(const struct outcome *outcome, const char *words) {
  int count = 0;
  for (int i = 0; i < outcome->event_count; i++) {
    count += strstr(outcome->events[i].message, words) != NULL;
  }
  return count;
}

/* When they do for the `nth` time, from 1. */
static double told_at(const struct outcome *outcome, const char *words, int nth) {
  for (int i = 0; i < outcome->event_count; i++) {
    if (strstr(outcome->events[i].message, words) != NULL && --nth == 0) {
      return outcome->events[i].time;
    }
  }
  return NAN;
}

/* Out and back, loaded, stopping within what is stated; the course ends the run, its ledger closed. */
static void a_course_is_driven_and_ends_the_run(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE "simulation: {end_time: 200 s, output_step: 1 s}\n"
                                      "driver: {drives: yes, top_speed: 22 km/h, stop_within: 0.3 m}\n"
                                      "course:\n"
                                      "  speed: [[0 m, 12 km/h], [60 m, 6 km/h]]\n"
                                      "  to: [[1, 100 m], [2, 40 m]]\n"
                                      "  dwell: [[1, 10 s]]\n"
                                      "  load: [[1, 6 t]]\n",
                              &outcome));
  assert_int_equal(outcome.status, RUN_COMPLETE);
  assert_true(outcome.end_time < 100.0);
  assert_int_equal(told(&outcome, "the driver has stopped"), 2);
  assert_int_equal(told(&outcome, "the course is done"), 1);
  assert_int_equal(told(&outcome, "service brake"), 0);
  CHECK_NEAR(told_at(&outcome, "sets off", 1) - told_at(&outcome, "has stopped", 1), 10.0, 1e-9);
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 40.0, 0.3);
  assert_true(fabs(outcome.measures[MEASURE_energy_residual]) < 1e-6);
  assert_true(outcome.measures[MEASURE_vehicle_speed_max] < 13.5 / 3.6);
  outcome_free(&outcome);
}

/* The mirrored course gives the mirrored run: hills, stretches, stops, and a brake where the drive does not suffice. */
static void a_mirrored_course_gives_the_mirrored_run(void **state) {
  (void)state;
  static const char *const texts[] = {
      MACHINE
      "simulation: {end_time: 100 s, output_step: 1 s}\n"
      "driver: {drives: yes, top_speed: 22 km/h}\n"
      "ground: {grade: [[0 m, 0 %], [50 m, 0 %], [60 m, 12 %], [110 m, 12 %], [120 m, -15 %]], wheelbase: 0 m}\n"
      "course:\n"
      "  speed: [[-1 m, 12 km/h], [70 m, 6 km/h], [130 m, 18 km/h]]\n"
      "  to: [[1, 150 m], [2, 135 m]]\n"
      "  dwell: [[1, 5 s], [2, 5 s]]\n"
      "  load: [[1, 6 t]]\n",
      MACHINE
      "simulation: {end_time: 100 s, output_step: 1 s}\n"
      "driver: {drives: yes, top_speed: 22 km/h}\n"
      "ground: {grade: [[-120 m, 15 %], [-110 m, -12 %], [-60 m, -12 %], [-50 m, 0 %], [0 m, 0 %]], wheelbase: 0 m}\n"
      "course:\n"
      "  speed: [[-1000 m, 18 km/h], [-130 m, 6 km/h], [-70 m, 12 km/h]]\n"
      "  to: [[1, -150 m], [2, -135 m]]\n"
      "  dwell: [[1, 5 s], [2, 5 s]]\n"
      "  load: [[1, 6 t]]\n"};
  struct outcome runs[2];
  for (int i = 0; i < 2; i++) {
    assert_true(bench_whole_run(texts[i], &runs[i]));
  }
  assert_int_equal(told(&runs[0], "has stopped"), 2);
  CHECK_NEAR(runs[0].end_time, runs[1].end_time, 1e-3);
  CHECK_NEAR(runs[0].measures[MEASURE_vehicle_distance_end], -runs[1].measures[MEASURE_vehicle_distance_end], 1e-3);
  CHECK_CLOSE(runs[0].measures[MEASURE_vehicle_speed_max], runs[1].measures[MEASURE_vehicle_speed_max], 1e-4);
  CHECK_CLOSE(runs[0].measures[MEASURE_peak_line_a_pressure], runs[1].measures[MEASURE_peak_line_b_pressure], 1e-3);
  for (int i = 1; i <= 2; i++) {
    CHECK_NEAR(told_at(&runs[0], "has stopped", i), told_at(&runs[1], "has stopped", i), 1e-3);
  }
  outcome_free(&runs[0]);
  outcome_free(&runs[1]);
}

/* Where the engine brakes little, the service brake is taken, and let go again; not on the level. */
static void the_service_brake_is_taken_where_the_drive_does_not_suffice(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(
      MACHINE "simulation: {end_time: 60 s, output_step: 1 s}\n"
              "driver: {drives: yes, top_speed: 22 km/h}\n"
              "vehicle: {mass: 22 t}\n"
              "ground: {grade: [[0 m, 0 %], [40 m, 0 %], [60 m, -35 %], [100 m, -35 %], [110 m, 0 %]]}\n"
              "course: {speed: 20 km/h, to: [[1, 180 m]]}\n",
      &outcome));
  assert_true(told(&outcome, "takes the service brake") >= 1);
  assert_int_equal(told(&outcome, "takes the service brake"), told(&outcome, "lets the service brake go"));
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 180.0, 0.2);
  assert_true(fabs(outcome.measures[MEASURE_energy_residual]) < 1e-6);
  outcome_free(&outcome);
}

/* A repeated course lies on again behind its end: the second lap takes the time of the first but for its start. */
static void a_course_is_repeated_on_the_same_ground(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE
                              "simulation: {end_time: 300 s, output_step: 1 s}\n"
                              "driver: {drives: yes, top_speed: 22 km/h, holds_by: park_brake, park_delay: 1 s}\n"
                              "ground: {grade: [[0 m, 0 %], [20 m, 0 %], [30 m, 15 %], [60 m, 15 %], [70 m, 0 %]]}\n"
                              "course:\n"
                              "  speed: [[0 m, 10 km/h], [40 m, 5 km/h], [60 m, 10 km/h]]\n"
                              "  to: [[1, 50 m], [2, 90 m]]\n"
                              "  dwell: [[1, 6 s], [2, 6 s]]\n"
                              "  load: [[1, 3 t], [2, 0 t]]\n"
                              "  repeats: 3\n",
                              &outcome));
  assert_int_equal(told(&outcome, "has stopped"), 6);
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 270.0, 0.2);
  double lap[3];
  for (int i = 0; i < 3; i++) {
    lap[i] = told_at(&outcome, "has stopped", 2 * i + 2) - told_at(&outcome, "has stopped", 2 * i + 1);
  }
  CHECK_CLOSE(lap[1], lap[0], 0.01); /* oil a little warmer */
  CHECK_CLOSE(lap[2], lap[1], 0.01);
  assert_true(fabs(outcome.measures[MEASURE_energy_residual]) < 1e-6);
  outcome_free(&outcome);
}

/* The park brake holds at a stop on a grade, with the pedals let go. */
static void the_park_brake_holds(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(MACHINE "simulation: {end_time: 60 s, output_step: 1 s}\n"
                                      "driver: {drives: yes, top_speed: 22 km/h, holds_by: park_brake}\n"
                                      "ground: {grade: 15 %}\n"
                                      "course: {speed: 8 km/h, to: [[1, 20 m]], at_end: hold, dwell: [[1, 10 s]]}\n",
                              &outcome));
  assert_int_equal(told(&outcome, "the course is done: the machine holds"), 1);
  CHECK_NEAR(outcome.end_time, 60.0, 1e-9);
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 20.0, 0.2);
  assert_true(outcome.measures[MEASURE_creep_speed] < 1e-6);
  outcome_free(&outcome);
}

/* What cannot be is refused by name. */
static void what_cannot_be_is_refused(void **state) {
  (void)state;
  static const struct {
    const char *text;
    const char *word;
  } rows[] = {
      {"driver: {drives: yes}\n", "course.to"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]]}\noperator: {layout: accelerator_and_direction}\n",
       "two_pedals"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]]}\noperator: {forward_pedal: 10 %}\n", "presses the pedals"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m], [3, 9 m]]}\n", "without gaps"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]], dwell: [[2, 1 s]]}\n", "course.dwell"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]], load: [[0.5, 1 t]]}\n", "course.dwell"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m], [2, 9 m]], dwell: [[1, 5 s]], load: [[2, 1 t]]}\n",
       "a course.dwell"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]], repeats: 1.5}\n", "course.repeats"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]], dwell: [[1, 1 s], [1, 2 s]]}\n", "each once"},
      {"driver: {drives: yes}\ncourse: {to: [[1, 5 m]], dwell: [[0.5, 1 s]]}\n", "whole"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    assert_true(bench_refuses(rows[i].text, rows[i].word));
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_approach_is_smooth_and_comfortable),
      cmocka_unit_test(what_is_felt_lags_by_the_reaction_time),
      cmocka_unit_test(a_slip_is_taken_back_as_in_the_closed_form),
      cmocka_unit_test(a_known_pedal_is_the_same_both_ways),
      cmocka_unit_test(the_integral_does_not_wind_up),
      cmocka_unit_test(the_foot_keeps_its_rates),
      cmocka_unit_test(the_backward_pass_agrees_with_a_search),
      cmocka_unit_test(a_course_is_driven_and_ends_the_run),
      cmocka_unit_test(a_mirrored_course_gives_the_mirrored_run),
      cmocka_unit_test(the_service_brake_is_taken_where_the_drive_does_not_suffice),
      cmocka_unit_test(a_course_is_repeated_on_the_same_ground),
      cmocka_unit_test(the_park_brake_holds),
      cmocka_unit_test(what_cannot_be_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
