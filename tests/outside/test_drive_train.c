/* The drive train between motor and ground, and what loads the engine beside it: transfer case and load on both axles,
 * implement, turbocharger; shifts of a gearbox. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "implement.h"
#include "rows.h"
#include "transfer_case.h"
#include "turbocharger.h"

/* A machine of two axles comes at a crawl to a climb, its drive stronger than its grip, without rolling resistance. Is
 * it still going up a while later? */
static bool climbs(const char *transfer_case, double grade) {
  char text[2048];
  (void)snprintf(
      text, sizeof text,
      "vehicle: {axles: two, mass: 5 t, rear_share: 55 %%, wheelbase: 3.2 m, gravity_height: 1.2 m}\n"
      "transfer_case: %s\nengine: {stall: none}\ntyre: {grip: 0.5, rolling_resistance: 0, shape: 1.45, stiffness: 10}\n"
      "driveline: {ratio: 100}\nsecond_driveline: {ratio: 100}\n"
      "ground: {wheelbase: 0 m, grade: [[1 m, 0 1], [1.5 m, %.17g 1]]}\noperator: {forward_pedal: 12 %%}\n"
      "simulation: {end_time: 15 s, output_step: 1 s, stop_from: 7 s}\n",
      transfer_case, grade);
  return bench_measure(text, MEASURE_vehicle_distance_end) > 2.5;
}

enum { REAR_ONLY, LOCKED, OPEN };

/* The steepest grade of it, tangent, by halving. */
static double t1_1(double which) {
  static const char *const laws[] = {"{law: none}", "{law: locked}", "{law: open, front_share: 50 %}"};
  double low = 0.1;
  double high = 0.9;
  for (int i = 0; i < 11; i++) {
    double middle = 0.5 * (low + high);
    if (climbs(laws[(int)which], middle)) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return 0.5 * (low + high);
}

/* A heavy machine rolls at 10 km/h with nearly no motor; its axles are locked, its wheels have 0.62 and 0.60 m and its
 * tyres a straight curve of 0.1 over load. With u = v/w and no torque from outside r_r k_r + r_f k_f = 0, k_r = 1 -
 * u/r_r, k_f = r_f/u - 1, so u^2 - (r_r - r_f) u - r_f^2 = 0. */
static double t1_2(double torque) {
  struct bench *bench =
      bench_open("vehicle: {axles: two, mass: 1000 t, rear_share: 50 %, gravity_height: 0 m, start_speed: 10 km/h}\n"
                 "transfer_case: {law: locked, torque: 100000 N m, wind_up_angle: 1 deg}\nmotor: {displacement: 5 "
                 "cm3/rev, viscous_coefficient: 0, "
                 "friction_coefficient: 0, constant_torque: 0 N m}\n"
                 "tyre: {law: relaxation, grip: 1, stiffness: 0.1, shape: 1, rolling_resistance: 0}\n"
                 "driveline: {ratio: 1, efficiency: 100 %, drag_torque: 0 N m, wheel_radius: 0.62 m}\n"
                 "second_driveline: {ratio: 1, efficiency: 100 %, drag_torque: 0 N m, wheel_radius: 0.60 m}\n"
                 "operator: {forward_pedal: 0 %}\n");
  bench_run(bench, 2.0);
  double found = bench_signal(bench, torque != 0.0 ? "front_wheel_torque" : "wheel_slip");
  bench_close(bench);
  return torque != 0.0 ? found / 1e3 : 100.0 * found;
}

static double t1_3(double which) {
  DEFAULTS(transfer_case, box);
  box.law = TRANSFER_CASE_OPEN;
  box.front_share = 0.3;
  return which == 0.0 ? transfer_case_speed(&box, 100.0, 0.0) : transfer_case_speed(&box, 0.0, 100.0);
}

/* Torque, N m, that 50 kW takes at a speed in rpm. */
static double t2_1(double speed) {
  DEFAULTS(implement, implement);
  return implement_shaft_torque(&implement, 50e3, speed * RPM);
}

/* Power, kW, at the shaft for 100 L/min at 200 bar, at 2000 rpm; an efficiency in %. */
static double t2_2(double percent) {
  DEFAULTS(implement, implement);
  implement.efficiency = 0.01 * percent;
  return implement_pump_torque(&implement, 100.0 * LITRE_PER_MINUTE, 200.0 * BAR, 2000.0 * RPM, 1.0) * 2000.0 * RPM /
         1e3;
}

/* An engine of 500 N m at any speed, governed from 2200 to 2376 rpm, without friction and auxiliaries, its fuel within
 * 0.1 ms; it begins at a share of 2200 rpm. */
static struct bench *plain_engine(const char *more, double start) {
  char text[2048];
  (void)snprintf(
      text, sizeof text,
      "engine: {stall: none, set_speed: 2200 rpm, droop: 8 %%, inertia: 2.5 kg m2, friction_constant: 0 N m, "
      "friction_linear: 0 N m s, friction_quadratic: 0 N m s2, auxiliaries: 0 N m s2, start_speed: %.17g %%}\n"
      "pump: {viscous_coefficient: 0, friction_coefficient: 0, constant_torque: 0 N m}\n"
      "charge: {displacement: 0 cm3/rev, leak: 0 L/min/bar, constant_torque: 0 N m}\n%s",
      100.0 * start, more);
  struct bench *bench = bench_open(text);
  *bench_parameter(bench, "engine", "peak_torque") = 500.0;
  *bench_parameter(bench, "engine", "torque_half_width") = 1e12;
  *bench_parameter(bench, "engine", "fuel_lag") = 1e-4;
  return bench;
}

/* Speed, rpm, at which the governor carries a constant power. */
static double t2_3(double power) {
  char text[256];
  (void)snprintf(text, sizeof text, "implement: {law: power}\noperator: {implement_power: %.17g kW}\n", power);
  struct bench *bench = plain_engine(text, 1.05);
  bench_ready(bench);
  bench_run(bench, 5.0);
  double speed = bench_signal(bench, "engine_speed") / RPM;
  bench_close(bench);
  return speed;
}

/* Full fuel is asked for from the start, at 95 % of the set speed, from a boost of 20 %; n = 0.6, lag 0.57 s, so that
 * T = 0.6 s. The inertia is so large that the speed hardly changes; `load` is a torque from the first instant on. */
static struct bench *boosting(double load) {
  struct bench *bench = plain_engine("turbocharger: {fitted: yes, natural_share: 60 %, lag: 0.57 s}\n", 0.95);
  *bench_parameter(bench, "engine", "inertia") = 1e4;
  *bench_parameter(bench, "engine", "start_fuel") = 0.2;
  *bench_parameter(bench, "pump", "constant_torque") = load;
  bench_ready(bench);
  return bench;
}

static double t3_1(double t) {
  struct bench *bench = boosting(500.0);
  bench_run(bench, t);
  double fuel = 100.0 * bench_signal(bench, "fuel_fraction");
  bench_close(bench);
  return fuel;
}

/* Speed lost, rad/s, under a step to the engine's full torque, scaled to an inertia of 2.5 kg m2. */
static double t3_2(double none) {
  (void)none;
  struct bench *bench = boosting(500.0);
  double before = bench_signal(bench, "engine_speed");
  bench_run(bench, 20.0);
  double dip = (before - bench_signal(bench, "engine_speed")) * 1e4 / 2.5;
  bench_close(bench);
  return dip;
}

/* Time, s, from 20 % to 90 % of full fuel with the defaults. */
static double t3_3(double none) {
  (void)none;
  DEFAULTS(turbocharger, turbocharger);
  double boost = 0.2;
  double t = 0.0;
  while (turbocharger_smoke_limit(&turbocharger, boost) < 0.9 && t < 100.0) {
    double fuel = turbocharger_smoke_limit(&turbocharger, boost);
    boost += 1e-4 * turbocharger_boost_rate(&turbocharger, boost, fuel, 200.0, 200.0);
    t += 1e-4;
  }
  return t;
}

/* A clutch of 500 N m brings a motor of 5 kg m2 from 200 to the 100 rad/s of a machine too heavy to feel it: speed,
 * rad/s, and heat in the clutch, kJ, after `t`. */
static double synchronised(double t, bool heat) {
  struct bench *bench = bench_open(
      "vehicle: {mass: 1000 t, start_speed: 10 m/s}\ntyre: {law: slip_curve, rolling_resistance: 0, grip: 2, "
      "stiffness: 100}\n"
      "gearbox: {law: under_load, ratio_1: 1, efficiency_1: 100 %, motor_inertia: 5 kg m2, clutch_torque: 500 N m, "
      "wind_up_angle: 0.5 deg}\nmotor: {displacement: 5 cm3/rev, viscous_coefficient: 0, friction_coefficient: 0, "
      "constant_torque: 0 N m}\ndriveline: {ratio: 10, wheel_radius: 1 m, efficiency: 100 %, drag_torque: 0 N m}\n"
      "engine: {stall: none}\n");
  *bench_parameter(bench, "motor", "displacement") = 1e-15; /* no oil turns the shaft */
  bench_ready(bench);
  *bench_state(bench, "motor_shaft_speed") = 200.0;
  double before = bench->good ? bench_signal(bench, "motor_speed") : NAN;
  bench_run(bench, t);
  double found = before == 200.0 ? bench_signal(bench, "motor_speed") : NAN;
  for (int i = 0; heat && i < bench->data.plant->ledger_integrated; i++) {
    if (strcmp(bench->data.plant->ledger[i].name, "clutches") == 0) {
      found = bench->integrals[i] / 1e3;
    }
  }
  bench_close(bench);
  return found;
}

static double t4_1(double t) {
  return synchronised(t, false);
}

static double t4_2(double t) {
  return synchronised(t, true);
}

#define AXLES "moments about the axles, as in J. Y. Wong, Theory of Ground Vehicles"

static const struct row rows[] = {
    {"T1.1", "transfer case", "steepest grade at grip 0.5, rear axle alone: mu s/(1 - mu h/L)", "", 0.338462, 1e-2,
     RELATIVE, AXLES, FROM_MEMORY, t1_1, REAR_ONLY, NULL},
    {"T1.1", "transfer case", "both axles locked: mu", "", 0.5, 1e-2, RELATIVE, AXLES, FROM_MEMORY, t1_1, LOCKED, NULL},
    {"T1.1", "transfer case", "open differential, half to each axle: 2 mu (1 - s)/(1 + 2 mu h/L)", "", 0.327273, 1e-2,
     RELATIVE, AXLES, FROM_MEMORY, t1_1, OPEN, NULL},
    {"T1.2", "transfer case", "wheels of 0.62 and 0.60 m locked: slip of the rear ones", "%", 1.599463, 1e-3, RELATIVE,
     "closed form of linear tyres", CLOSED_FORM, t1_2, 0.0, NULL},
    {"T1.2", "transfer case", "torque that the front wheels hand back", "kN m", -4.864128, 1e-3, RELATIVE,
     "closed form of linear tyres", CLOSED_FORM, t1_2, 1.0, NULL},
    {"T1.3", "transfer case", "differential of 70:30, front wheels at rest: input over rear speed", "%", 70.0, 1e-9,
     RELATIVE, "textbook kinematics", CLOSED_FORM, t1_3, 0.0, NULL},
    {"T1.3", "transfer case", "rear wheels at rest: input over front speed", "%", 30.0, 1e-9, RELATIVE,
     "textbook kinematics", CLOSED_FORM, t1_3, 1.0, NULL},
    {"T2.1", "implement", "torque of 50 kW at 2000 rpm: 9549 P/n", "N m", 238.725, 1e-4, RELATIVE, "rule of the trade",
     PRACTICE, t2_1, 2000.0, NULL},
    {"T2.2", "implement", "100 L/min at 200 bar: Q p/600", "kW", 33.333, 1e-4, RELATIVE, "rule of the trade", PRACTICE,
     t2_2, 100.0, NULL},
    {"T2.2", "implement", "the same from a pump of 85 %", "kW", 39.216, 1e-4, RELATIVE, "rule of the trade", PRACTICE,
     t2_2, 85.0, NULL},
    {"T2.3", "implement", "governed speed under 60 kW: T_max (1.08 w_0 - w)/(0.08 w_0) w = P", "rpm", 2287.84674, 1e-6,
     RELATIVE, "closed form of the droop", CLOSED_FORM, t2_3, 60.0, NULL},
    {"T2.3", "implement", "under 100 kW", "rpm", 2224.92274, 1e-6, RELATIVE, "closed form of the droop", CLOSED_FORM,
     t2_3, 100.0, NULL},
    {"T3.1", "turbocharger", "2 ms after full load, from a boost of 20 %: n + (1 - n) b", "%", 68.0639, 1e-3, RELATIVE,
     "closed form", CLOSED_FORM, t3_1, 2e-3, NULL},
    {"T3.1", "turbocharger", "after 0.6 s: 1 - (1 - n)(1 - b) exp(-n t/T)", "%", 82.438, 1e-3, RELATIVE, "closed form",
     CLOSED_FORM, t3_1, 0.6, NULL},
    {"T3.1", "turbocharger", "after 2 s", "%", 95.6693, 1e-3, RELATIVE, "closed form", CLOSED_FORM, t3_1, 2.0, NULL},
    {"T3.2", "turbocharger", "speed lost under a step to full torque: T_max (1 - n)(1 - b) T/(n J)", "rad/s", 64.0,
     2e-3, RELATIVE, "closed form", CLOSED_FORM, t3_2, 0.0, NULL},
    {"T3.3", "turbocharger", "defaults: from 20 % to 90 % of full fuel", "s", 0.5, 3.0, BETWEEN,
     "turbocharged diesels of this size", PRACTICE, t3_3, 0.0, NULL},
    {"T4.1", "gearbox", "clutch of 500 N m, 5 kg m2 from 200 to 100 rad/s: speed half way, w - T t/J", "rad/s", 150.0,
     2e-3, RELATIVE, "closed form of two shafts", CLOSED_FORM, t4_1, 0.5, NULL},
    {"T4.1", "gearbox", "speed after J dw/T", "rad/s", 100.0, 5e-3, RELATIVE, "closed form of two shafts", CLOSED_FORM,
     t4_1, 1.05, NULL},
    {"T4.2", "gearbox", "heat in the clutch: J dw^2/2", "kJ", 25.0, 5e-3, RELATIVE, "closed form of two shafts",
     CLOSED_FORM, t4_2, 1.2, NULL},
};

ROWS_MAIN(rows)
