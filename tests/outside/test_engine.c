/* Section 6 of the outside checks: the engine. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "engine.h"
#include "pump.h"
#include "rows.h"

/* Speed, rpm, at which the governor holds a fuel share. */
static double p6_1(double fuel) {
  DEFAULTS(engine, engine);
  engine.set_speed = 2200.0 * RPM;
  engine.droop = 0.08;
  double low = 2200.0 * RPM;
  double high = 1.1 * low;
  while (high - low > 1e-11) {
    double middle = 0.5 * (low + high);
    if (engine_fuel_rate(&engine, fuel, engine_asked_fuel(&engine, middle, 1.0, 0.0), 1.0) > 0.0) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return high / RPM;
}

static double p6_2(double none) {
  (void)none;
  DEFAULTS(engine, engine);
  return 100.0 * engine.droop;
}

/* An engine of 500 N m at any speed, governed from 2200 to 2376 rpm, without friction and auxiliaries, its fuel at
 * once; the pump a constant load. */
static struct bench *governed(double load) {
  struct bench *bench =
      bench_open("engine: {stall: none, set_speed: 2200 rpm, droop: 8 %, inertia: 2.5 kg m2, friction_constant: 0 N m, "
                 "friction_linear: 0 N m s, friction_quadratic: 0 N m s2, auxiliaries: 0 N m s2, start_speed: 108 %, "
                 "start_fuel: 0 %}\n"
                 "pump: {viscous_coefficient: 0, friction_coefficient: 0}\n"
                 "charge: {displacement: 0 cm3/rev, leak: 0 L/min/bar, constant_torque: 0 N m}\n");
  *bench_parameter(bench, "engine", "peak_torque") = 500.0;
  *bench_parameter(bench, "engine", "torque_half_width") = 1e12;
  *bench_parameter(bench, "engine", "fuel_lag") = 1e-8;
  *bench_parameter(bench, "pump", "constant_torque") = load;
  bench_ready(bench);
  return bench;
}

/* Speed, rpm, at t after a load of 300 N m. */
static double p6_4(double t) {
  struct bench *bench = governed(300.0);
  bench_run(bench, t);
  double speed = bench_signal(bench, "engine_speed") / RPM;
  bench_close(bench);
  return speed;
}

#define P6_4_GAIN (500.0 / (176.0 * RPM))
#define P6_4_TAU (2.5 / P6_4_GAIN)

/* Torque over speed when the governor's line is followed: two readings of the settled engine. */
static double p6_4_gain(double none) {
  (void)none;
  return 300.0 / ((2376.0 - p6_4(5.0)) * RPM);
}

static double friction_torque(double constant, double linear, double quadratic, double speed) {
  DEFAULTS(engine, engine);
  engine.friction_constant = constant;
  engine.friction_linear = linear;
  engine.friction_quadratic = quadratic;
  return engine_friction(&engine, speed);
}

/* The published mean pressures are quadratic in speed, and so is the law: coefficients by comparison. */
#define DISPLACED (4.5e-3 / (4.0 * REAL_PI)) /* torque over mean pressure, four stroke */
#define STROKE 0.124

static double p6_5_torque(double none) {
  (void)none;
  return friction_torque(75e3 * DISPLACED, 48e3 / 1000.0 / RPM * DISPLACED,
                         400.0 * STROKE * STROKE / (REAL_PI * REAL_PI) * DISPLACED, 2200.0 * RPM);
}

static double p6_5_power(double none) {
  return p6_5_torque(none) * 2200.0 * RPM * 1e-3;
}

static double p6_6(double none) {
  (void)none;
  double per_speed = STROKE / REAL_PI;
  return friction_torque((0.4 + 0.005 * 80.0) * BAR * DISPLACED, 0.09 * per_speed * BAR * DISPLACED,
                         0.0009 * per_speed * per_speed * BAR * DISPLACED, 2200.0 * RPM) /
         DISPLACED / BAR;
}

/* Engine and pump: 90 cm3, stroke 0.6, 250 bar, friction so that eta_hm is 0.92. The speed at which nothing changes. */
static struct bench *driving(void) {
  struct bench *bench = governed(0.0);
  *bench_parameter(bench, "pump", "displacement") = 90e-6 * PER_REVOLUTION;
  *bench_parameter(bench, "pump", "friction_coefficient") = 0.6 * (1.0 / 0.92 - 1.0);
  *bench_parameter(bench, "pump", "pressure_width") = 1e-3;
  bench_ready(bench);
  *bench_state(bench, "pump_stroke") = 0.6;
  double low = fluid_pressure(&bench->oil, *bench_state(bench, "line_b_compression"));
  bench_set_pressure(bench, "line_a_compression", low + 250.0 * BAR);
  double slow = 2200.0 * RPM;
  double fast = 2376.0 * RPM;
  while (bench->good && fast - slow > 1e-10) {
    double middle = 0.5 * (slow + fast);
    *bench_state(bench, "engine_speed") = middle;
    *bench_state(bench, "fuel") = 0.0;
    *bench_state(bench, "fuel") = bench_rate(bench, "fuel") * 1e-8; /* what the governor asks for */
    if (bench_rate(bench, "engine_speed") > 0.0) {
      slow = middle;
    } else {
      fast = middle;
    }
  }
  return bench;
}

static double p6_7_torque(double none) {
  (void)none;
  struct bench *bench = driving();
  double torque = bench_signal(bench, "pump_torque");
  bench_close(bench);
  return torque;
}

static double p6_7_speed(double none) {
  (void)none;
  struct bench *bench = driving();
  double speed = bench_signal(bench, "engine_speed") / RPM;
  bench_close(bench);
  return speed;
}

static double p6_7_flow(double none) {
  (void)none;
  struct bench *bench = driving();
  double flow = pump_displaced_flow(*bench_parameter(bench, "pump", "displacement"), *bench_state(bench, "pump_stroke"),
                                    *bench_state(bench, "engine_speed"));
  bench_close(bench);
  return flow / LITRE_PER_MINUTE;
}

static double p6_8(double none) {
  (void)none;
  DEFAULTS(engine, engine);
  double rated = engine_full_torque(&engine, engine.set_speed);
  return 100.0 * (engine_full_torque(&engine, engine.peak_torque_speed) - rated) / rated;
}

#define DROOP "definition of speed droop, ISO 3046-4"
#define LINEAR "first-order closed form"
#define HEYWOOD "J. B. Heywood, Internal Combustion Engine Fundamentals (1988), ch. 13"
#define CHEN_FLYNN "S. K. Chen and P. F. Flynn, SAE 650733 (1965), usual coefficients"

static const struct row rows[] = {
    {"P6.1", "engine", "2200 rpm, 8 % droop: no load", "rpm", 2376.0, 1e-9, RELATIVE, DROOP, FROM_MEMORY, p6_1, 0.0,
     NULL},
    {"P6.1", "engine", "half load", "rpm", 2288.0, 1e-9, RELATIVE, DROOP, FROM_MEMORY, p6_1, 0.5, NULL},
    {"P6.1", "engine", "60 % load", "rpm", 2270.4, 1e-9, RELATIVE, DROOP, FROM_MEMORY, p6_1, 0.6, NULL},
    {"P6.2", "engine", "default droop, within the classes G3 to G1 of generating sets", "%", 3.0, 8.0, BETWEEN,
     "ISO 8528-5 as tabulated in a standby-power handbook, Table 1.1", PUBLISHED, p6_2, 0.0, NULL},
    {"P6.4", "engine", "500 N m over 2200 to 2376 rpm: torque over speed", "N m s", 27.1287, 1e-4, RELATIVE, LINEAR,
     CLOSED_FORM, p6_4_gain, 0.0, NULL},
    {"P6.4", "engine", "load step of 300 N m, 2.5 kg m2: speed after one time constant of 92.15 ms", "rpm", 2309.25,
     1e-4, RELATIVE, LINEAR, CLOSED_FORM, p6_4, P6_4_TAU, NULL},
    {"P6.4", "engine", "settled", "rpm", 2270.4, 1e-4, RELATIVE, LINEAR, CLOSED_FORM, p6_4, 5.0, NULL},
    {"P6.5", "engine", "motoring torque, 4.5 L, stroke 124 mm, 2200 rpm, coefficients of the correlation", "N m", 76.52,
     1e-3, RELATIVE, HEYWOOD, FROM_MEMORY, p6_5_torque, 0.0, NULL},
    {"P6.5", "engine", "motoring power", "kW", 17.63, 1e-3, RELATIVE, HEYWOOD, FROM_MEMORY, p6_5_power, 0.0, NULL},
    {"P6.6", "engine", "friction mean pressure at 80 bar peak pressure, the same engine", "bar", 1.6928, 1e-3, RELATIVE,
     CHEN_FLYNN, FROM_MEMORY, p6_6, 0.0, NULL},
    {"P6.7", "engine", "engine and pump of 90 cm3 at stroke 0.6, 250 bar, 92 %: torque", "N m", 233.543, 1e-4, RELATIVE,
     LINEAR, CLOSED_FORM, p6_7_torque, 0.0, NULL},
    {"P6.7", "engine", "speed", "rpm", 2293.79, 1e-4, RELATIVE, LINEAR, CLOSED_FORM, p6_7_speed, 0.0, NULL},
    {"P6.7", "engine", "ideal flow", "L/min", 123.865, 1e-4, RELATIVE, LINEAR, CLOSED_FORM, p6_7_flow, 0.0, NULL},
    {"P6.8", "engine", "torque reserve of the default engine (off-road diesels)", "%", 15.0, 45.0, BETWEEN,
     "usage of ISO 1585; range from memory", FROM_MEMORY, p6_8, 0.0, NULL},
};

ROWS_MAIN(rows)
