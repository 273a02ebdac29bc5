/* Dry friction of motor, gear and brake: loops of a friction that winds up, stick-slip, starting torque, a machine that
 * stalls, creeps up and down, and stands. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "driveline.h"
#include "friction.h"
#include "motor.h"
#include "rows.h"
#include "steady.h"

/* One body of friction, moved or pulled in small steps of time. */
struct body {
  double capacity;
  double stiffness;
  double torque;
};

/* Turns it by `angle` (rad) in steps so small that their size does not show; returns the work done on it, J. */
static double turn(struct body *body, double angle) {
  enum { STEPS = 400000 };
  const double step = 1e-6;
  double speed = angle / (STEPS * step);
  double work = 0.0;
  for (int i = 0; i < STEPS; i++) {
    double before = body->torque;
    double rate = friction_torque_rate(body->capacity, body->stiffness, 1.0, before, speed);
    double middle = before + 0.5 * step * rate;
    body->torque = before + step * friction_torque_rate(body->capacity, body->stiffness, 1.0, middle, speed);
    work += step * speed * middle;
  }
  return work;
}

/* First loading: q/T after a turn of T/k times `share`. */
static double f1_1(double share) {
  struct body body = {80.0, 4000.0, 0.0};
  (void)turn(&body, share * body.capacity / body.stiffness);
  return body.torque / body.capacity;
}

/* Work over T^2/k of one closed loop between -a and a, a of `share` times T/k, after some to settle. */
static double f1_2(double share) {
  struct body body = {80.0, 4000.0, 0.0};
  double reach = share * body.capacity / body.stiffness;
  (void)turn(&body, reach);
  double work = 0.0;
  for (int loop = 0; loop < 4; loop++) {
    work = turn(&body, -2.0 * reach) + turn(&body, 2.0 * reach);
  }
  return work * body.stiffness / (body.capacity * body.capacity);
}

/* A mass of 1 kg pulled slowly over a spring of 2 N/m; friction 1.5 N at rest, 1 N in motion. How far the first slip
 * takes it, m. */
static double f1_3(double none) {
  (void)none;
  const double step = 2e-5;
  const double spring = 2.0;
  double pulled = 0.744;
  double place = 0.0;
  double speed = 0.0;
  double torque = spring * pulled;
  double began = NAN;
  for (int i = 0; i < 4000000; i++) {
    double capacity = friction_capacity(1.5, 1.0, 5e-3, speed, 1.0);
    double force = friction_torque(capacity, 2000.0, 3e-3, torque, speed);
    torque += step * friction_torque_rate(capacity, 2000.0, 1e-3, torque, speed);
    speed += step * (spring * (pulled - place) - force);
    place += step * speed;
    pulled += step * 2e-4;
    if (isnan(began) && speed > 0.02) {
      began = place;
    }
    if (!isnan(began) && speed < 1e-3) {
      return place;
    }
  }
  return NAN;
}

/* Starting torque over theoretical torque of a motor that is held, its friction wound up against the pressure, %. */
static double f2_1(double bar) {
  DEFAULTS(motor, motor);
  motor.starting_efficiency = 0.92;
  struct rotary_losses losses = motor_losses(&motor, 1e5);
  double theoretical = motor_pressure_torque(motor.displacement, 1.0, bar * 1e5);
  return 100.0 * (1.0 - motor_friction_capacity(&motor, &losses, bar * 1e5, 1.0, 0.0) / theoretical);
}

static double f2_2(double none) {
  (void)none;
  DEFAULTS(motor, motor);
  return motor.starting_efficiency * 100.0;
}

/* ---- a machine ---- */

enum { PULLS, HOLDS_BACK, BOTH };

/* Steady drive of a machine without rolling resistance on a grade, far below the speeds at which
 * starting ends: line pressure difference, bar. */
static double pressure_on(const char *text, double speed, double grade) {
  struct machine *machine = calloc(1, sizeof *machine);
  struct case_data data;
  struct error error = {0};
  double found = NAN;
  if (machine != NULL && case_load_text(SWASHLOOP_SOURCE "/cases/friction.yaml", text, NULL, 0, &data, &error)) {
    if (machine_open(&data, machine, &error)) {
      struct machine_point point;
      struct steady_given given = {speed, grade, NAN, NAN};
      double signals[PLANT_SIGNAL_LIMIT];
      if (steady_find(machine, &given, &point, &error)) {
        machine_signals(machine, &point, signals);
        found = signals[machine_signal(machine, READ_line_pressure_difference)] / 1e5;
      }
      machine_close(machine);
    }
    case_free(&data);
  }
  free(machine);
  return found;
}

#define CRAWLER                                                                                                        \
  "machine: machines/forwarder.yaml\ntyre: {rolling_resistance: 0}\n"                                                  \
  "driveline: {efficiency: 95 %, drag_torque: 0 N m, breakaway: 140 %, starting_speed: 100 rpm, torque_width: 1e-3 N " \
  "m}\n"                                                                                                               \
  "motor: {starting_efficiency: 92 %, starting_speed: 1000 rpm, viscous_coefficient: 0, override_line: "               \
  "off}\nlimiter: {fitted: no}\n"

/* Torque at the wheels of a grade of 15 % over ratio and displacement, bar: what a drive without friction needs. */
static double ideal_pressure(void) {
  double pull = 14e3 * 9.81 * 0.15 / sqrt(1.0 + 0.15 * 0.15);
  return pull * 0.62 / 53.0 / (160e-6 / TWO_PI) / 1e5;
}

static double f3_1(double which) {
  double up = which != HOLDS_BACK ? pressure_on(CRAWLER, 0.05, 0.15) : NAN;
  double down = which != PULLS ? pressure_on(CRAWLER, 0.05, -0.15) : NAN;
  return which == PULLS ? ideal_pressure() / up : which == HOLDS_BACK ? -down / ideal_pressure() : -up / down;
}

/* How far the pressure at 0.5 km/h, 30 % uphill lies above that at `speed` (km/h), bar. */
static double f3_2(double speed) {
  static const char text[] = "machine: machines/forwarder.yaml\n";
  return pressure_on(text, speed / 3.6, 0.30) - pressure_on(text, 0.5 / 3.6, 0.30);
}

/* A machine at rest on a grade with its engine running and its foot off, after `until` seconds, distance in um. Its
 * lines have the same pressure, what holds it is dry friction alone. */
static double f3_3(double percent) {
  char text[512];
  (void)snprintf(
      text, sizeof text,
      "machine: ../machines/forwarder.yaml\ntyre: {rolling_resistance: 0}\noperator: {forward_pedal: 0 %%}\n"
      "ground: {grade: %.17g %%}\nsimulation: {end_time: 60 s, output_step: 1 s, relative_tolerance: 1e-9}\n",
      percent);
  return 1e6 * (bench_measure(text, MEASURE_vehicle_distance_end));
}

#define DAHL "P. R. Dahl, A Solid Friction Model (1968), solution for exponent 1"
#define STICK_SLIP "quasi-static stick-slip, 2 (F_s - F_c)/k, as in E. Rabinowicz, Friction and Wear of Materials"
#define STARTING "definition of starting torque efficiency (words of ISO 4392)"
#define STATICS "statics of a crawler: torque at the wheels, losses at breakaway"

static const struct row rows[] = {
    {"F1.1", "dry friction", "first loading, torque over capacity after a turn of T/k: 1 - 1/e", "", 0.632121, 1e-5,
     RELATIVE, DAHL, FROM_MEMORY, f1_1, 1.0, NULL},
    {"F1.1", "dry friction", "after three times that", "", 0.950213, 1e-5, RELATIVE, DAHL, FROM_MEMORY, f1_1, 3.0,
     NULL},
    {"F1.2", "dry friction", "work of a closed loop of half width T/k over T^2/k: 4 (1 - tanh 1)", "", 0.953624, 1e-4,
     RELATIVE, DAHL, CLOSED_FORM, f1_2, 1.0, NULL},
    {"F1.2", "dry friction", "of half width 5 T/k, sliding: 4 (5 - tanh 5)", "", 16.000363, 1e-4, RELATIVE, DAHL,
     CLOSED_FORM, f1_2, 5.0, NULL},
    {"F1.3", "dry friction", "mass on a spring of 2 N/m, friction of 1.5 N at rest and 1 N in motion: first slip", "m",
     0.5, 2e-2, RELATIVE, STICK_SLIP, FROM_MEMORY, f1_3, 0.0, NULL},
    {"F2.1", "dry friction", "starting torque of a motor of 92 % over theoretical torque, 350 bar", "%", 92.0, 1e-3,
     RELATIVE, STARTING, FROM_MEMORY, f2_1, 350.0, NULL},
    {"F2.1", "dry friction", "torque that turns it back against 200 bar, over theoretical torque", "%", 108.0, 1e-3,
     RELATIVE, STARTING, FROM_MEMORY, f2_1, -200.0, NULL},
    {"F2.2", "dry friction", "default of the starting torque efficiency, bent axis", "%", 90.0, 95.0, BETWEEN,
     "common practice, no source", PRACTICE, f2_2, 0.0, NULL},
    {"F3.1", "dry friction", "15 % uphill at a crawl: pressure without friction over pressure, 0.92 (1 - 1.4 5 %)", "",
     0.8556, 3e-3, RELATIVE, STATICS, CLOSED_FORM, f3_1, PULLS, NULL},
    {"F3.1", "dry friction", "15 % downhill at a crawl: pressure over that without friction, 1/(1.08 (1 + 1.4 5 %))",
     "", 0.865352, 3e-3, RELATIVE, STATICS, CLOSED_FORM, f3_1, HOLDS_BACK, NULL},
    {"F3.2", "dry friction", "uphill, pressure at 0.05 km/h less that at 0.5 km/h (starting takes more than running)",
     "bar", 0.0, 0.0, AT_LEAST, "starting torque lies below running torque (ISO 4392)", FROM_MEMORY, f3_2, 0.05, NULL},
    {"F3.3", "dry friction", "at rest on 0.5 %, lines at one pressure: way from 60 s to 120 s", "um", 0.0, 5.0,
     ABSOLUTE, "friction at rest holds what lies below it", CLOSED_FORM, f3_3, 0.0, NULL},
};

ROWS_MAIN(rows)
