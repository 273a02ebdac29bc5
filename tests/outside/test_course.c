/* Outside checks of a driver on a course: closed forms of its law, and work over a closed course by hand. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "course.h"
#include "driver.h"
#include "rows.h"

/* The speed allowed at a distance before a slower stretch or a stop. */
static double allowed(double distance) {
  double places[] = {-1e3, 100.0};
  double speeds[] = {8.0, 2.0};
  struct profile table = {2, places, speeds, false};
  double deceleration = 0.6;
  struct course_stretch stretch = course_stretch_at(&table, 100.0 - distance, 1.0, 0.0, true, 100.0, 1e6, deceleration);
  return fmin(stretch.speed, sqrt(2.0 * deceleration * (stretch.line - (100.0 - distance))));
}

static double approach(double distance) {
  DEFAULTS(driver, driver);
  driver.deceleration = 0.5;
  driver.approach_time = 2.0;
  return driver_approach(&driver, distance);
}

/* What is left of a steady slip of 1 m/s, with a drive that gives the speed for a pedal at once, after a time. */
static double slip_left(double time) {
  DEFAULTS(driver, driver);
  driver.top_speed = 5.0;
  driver.gain = 0.5;
  driver.reset = 0.5;
  double aim = 2.0;
  double integral = 0.0;
  double step = 1e-5;
  double speed = 0.0;
  for (int i = 0; i <= (int)(time / step + 0.5); i++) {
    speed = (aim * (1.0 + driver.gain) + driver.top_speed * integral - 1.0) / (1.0 + driver.gain);
    double known = driver_knows(&driver, aim);
    double asked = driver_asked(&driver, known, aim, speed, integral);
    integral += step * driver_integral_rate(&driver, asked, known, integral);
  }
  return aim - speed;
}

enum { ROLLING, SLOPE, CLOSED, MISS, RESIDUAL };

/* 100 m up 8 % with 12 t, 6 t loaded, and back in reverse. */
static double closed_course(double what) {
  struct outcome outcome;
  if (!bench_whole_run("machine: ../machines/forwarder.yaml\n"
                       "simulation: {end_time: 400 s, output_step: 1 s}\n"
                       "driver: {drives: yes, top_speed: 22 km/h, holds_by: park_brake}\n"
                       "vehicle: {mass: 12 t}\n"
                       "ground: {grade: 8 %, wheelbase: 0 m}\n"
                       "tyre: {rolling_resistance: 0.05}\n"
                       "course: {speed: 9 km/h, to: [[1, 100 m], [2, 0 m]], dwell: [[1, 20 s], [2, 20 s]],"
                       " load: [[1, 6 t], [2, 0 t]]}\n",
                       &outcome)) {
    return NAN;
  }
  double value = NAN;
  const struct plant *plant = &transmission_plant;
  for (int i = 0; i < plant->ledger_integrated; i++) {
    if (strcmp(plant->ledger[i].name, what == ROLLING ? "rolling" : "slope") == 0) {
      value = what == SLOPE && outcome.legs != NULL ? outcome.legs[0].energy[i] : outcome.ledger[i].energy;
    }
  }
  value *= 1e-3;
  if (what == MISS) {
    value = outcome.measures[MEASURE_stop_miss];
  } else if (what == RESIDUAL) {
    value = 1e6 * outcome.measures[MEASURE_energy_residual];
  }
  outcome_free(&outcome);
  return value;
}

#define UNIFORM "v^2 = v_0^2 + 2 a s, uniform deceleration (textbook)"
#define BY_HAND "m g s (c cos + sin), by hand"

static const struct row rows[] = {
    {"C1", "driver and course", "allowed 30 m before a stretch of 2 m/s, 0.6 m/s2", "m/s", 6.324555, 1e-6, RELATIVE,
     UNIFORM, CLOSED_FORM, allowed, 30.0, NULL},
    {"C1", "driver and course", "allowed 70 m before it: the stretch's own 8 m/s", "m/s", 8.0, 1e-9, RELATIVE, UNIFORM,
     CLOSED_FORM, allowed, 70.0, NULL},
    {"C2", "driver and course", "approach 50 m before a stop, 0.5 m/s2, straight within 2 m", "m/s", 7.0, 1e-9,
     RELATIVE, "sqrt(2 a (d - d_1/2))", CLOSED_FORM, approach, 50.0, NULL},
    {"C2", "driver and course", "where the straight line takes over, 2 m before it: a T", "m/s", 1.0, 1e-9, RELATIVE,
     "a T_s", CLOSED_FORM, approach, 2.0, NULL},
    {"C3", "driver and course", "slip of 1 m/s, PI of 0.5 and 0.5 s, drive without lag: left at once", "m/s", 0.666667,
     1e-4, RELATIVE, "1/(1 + K) e^(-K t/(T (1 + K)))", CLOSED_FORM, slip_left, 0.0, NULL},
    {"C3", "driver and course", "left after 3 s", "m/s", 0.0902235, 1e-3, RELATIVE, "the same", CLOSED_FORM, slip_left,
     3.0, NULL},
    {"C4", "driver and course", "100 m up 8 % with 12 t: work of the slope", "kJ", -938.761, 2e-3, RELATIVE, BY_HAND,
     CLOSED_FORM, closed_course, SLOPE, NULL},
    {"C4", "driver and course", "up empty and back with 6 t more: rolling at 0.05", "kJ", 1466.814, 3e-3, RELATIVE,
     BY_HAND, CLOSED_FORM, closed_course, ROLLING, NULL},
    {"C4", "driver and course", "over the closed course: the slope's work is the load's height", "kJ", 469.380, 5e-3,
     RELATIVE, BY_HAND, CLOSED_FORM, closed_course, CLOSED, NULL},
    {"C5", "driver and course", "largest distance from the place of a stop, stated 0.4 m", "m", 0.0, 0.4, BETWEEN,
     "the case's own driver.stop_within", PRACTICE, closed_course, MISS, NULL},
    {"C6", "driver and course", "energy that the ledger does not explain, millionths", "1e-6", 0.0, 1.0, BETWEEN,
     "conservation", CLOSED_FORM, closed_course, RESIDUAL, NULL},
};

ROWS_MAIN(rows)
