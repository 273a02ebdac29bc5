/* Fuel: what an engine burns, and what comes of it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "engine.h"
#include "fuel.h"
#include "rows.h"

/* A parked machine whose engine turns at a set speed and gives `power` (kW) to an implement, for long; `engine`: more
 * of its parameters. */
static double standing(const char *engine, double speed, double power, int measure) {
  char text[1024];
  (void)snprintf(text, sizeof text,
                 "fuel: {law: willans}\nimplement: {law: power, full_power_speed: 300 rpm}\n"
                 "engine: {governor: isochronous, set_speed: %.17g rpm, start_speed: 100 %%, stall: none%s}\n"
                 "operator: {forward_pedal: 0 %%, park_brake: 100 %%, implement_power: %.17g kW}\n"
                 "simulation: {end_time: 60 s, output_step: 1 s}\n",
                 speed, engine, power);
  return bench_measure(text, measure);
}

static const char frictionless[] = ", friction_constant: 0 N m, friction_linear: 0 N m s, friction_quadratic: 0 N m s2";

/* Mean specific consumption at the flywheel of an engine without friction, g/kWh. */
static double f1_1(double power) {
  return standing(frictionless, 1400.0, power, MEASURE_specific_consumption) * 3.6e9;
}

/* The line through the fuel of two loads at one speed, drawn on to no fuel: torque there, N m. Flow of fuel is that of
 * the last of two runs of 60 s whose start is the same. */
static double f1_2(double speed) {
  double turns = speed * TWO_PI / 60.0;
  double mass[2];
  double flywheel[2];
  for (int i = 0; i < 2; i++) {
    double power = i == 0 ? 20.0 : 60.0;
    mass[i] = standing("", speed, power, MEASURE_fuel_used);
    flywheel[i] = mass[i] / standing("", speed, power, MEASURE_specific_consumption) / 60.0 / turns; /* N m, mean */
  }
  return flywheel[0] - mass[0] * (flywheel[1] - flywheel[0]) / (mass[1] - mass[0]);
}

static double f1_3(double none) {
  (void)none;
  DEFAULTS(fuel, fuel);
  return fuel.carbon_dioxide * fuel.density / 1e3;
}

static double f1_4(double none) {
  (void)none;
  DEFAULTS(fuel, fuel);
  return fuel.heating_value * fuel.density / 1e9;
}

static double f1_5(double none) {
  (void)none;
  DEFAULTS(fuel, fuel);
  return fuel.density;
}

/* Least specific consumption of the engine as it stands, g/kWh, at full fuel over all speeds. */
static double f1_6(double none) {
  (void)none;
  DEFAULTS(fuel, fuel);
  DEFAULTS(engine, engine);
  double least = HUGE_VAL;
  for (double rpm = 800.0; rpm <= 2100.0; rpm += 10.0) {
    double speed = rpm * TWO_PI / 60.0;
    double torque = engine_full_torque(&engine, speed);
    double burns = fuel_rate(&fuel, torque + engine_friction(&engine, speed), engine_friction(&engine, speed), speed);
    least = fmin(least, burns / (torque * speed) * 3.6e9);
  }
  return least;
}

/* Work of the flywheel for a litre, throttled back to the same power in a higher gear, over that at the set speed: half
 * of the power of full load. */
static double f2_1(double share_of_speed) {
  double rated = 2100.0;
  DEFAULTS(engine, engine);
  double turns = rated * TWO_PI / 60.0;
  double half = 0.5 * (engine_full_torque(&engine, turns) - engine_auxiliaries(&engine, turns)) * turns / 1e3;
  return standing("", rated, half, MEASURE_fuel_volume) /
         standing("", rated * share_of_speed, half, MEASURE_fuel_volume);
}

#define HEYWOOD2 "J. B. Heywood, Internal Combustion Engine Fundamentals (1988), ch. 2: sfc = 1/(efficiency Q)"
#define HEYWOOD13 "J. B. Heywood, the same, ch. 13: friction by Willans' line"
#define PART98 "40 CFR 98, table C-1: distillate fuel oil no. 2, 0.138 mmBtu/US gal and 73.96 kg CO2/mmBtu"
#define TRACTOR "Nebraska Tractor Test 1255, as rounded in a university extension text: 10.02 and 13.39 hp h/US gal"

static const struct row rows[] = {
    {"F1.1", "fuel", "engine without friction, 45 % of 43 MJ/kg: specific consumption 3600/(e H)", "g/kWh", 186.0465,
     1e-5, RELATIVE, HEYWOOD2, FROM_MEMORY, f1_1, 60.0, NULL},
    {"F1.2", "fuel", "line of Willans at 1400 rpm: torque without fuel, less the engine's own friction", "N m", -88.664,
     2e-3, RELATIVE, HEYWOOD13, FROM_MEMORY, f1_2, 1400.0, NULL},
    {"F1.2", "fuel", "the same at 2100 rpm", "N m", -127.507, 2e-3, RELATIVE, HEYWOOD13, FROM_MEMORY, f1_2, 2100.0,
     NULL},
    {"F1.3", "fuel", "carbon dioxide of a litre", "kg", 2.6963, 2e-2, RELATIVE, PART98, PUBLISHED, f1_3, 0.0, NULL},
    {"F1.4", "fuel", "energy of a litre: the table's higher value less the 5 % of the water's heat", "MJ", 36.54, 2e-2,
     RELATIVE, PART98 "; 5 %: IPCC Guidelines 2006, volume 2, from memory", FROM_MEMORY, f1_4, 0.0, NULL},
    {"F1.5", "fuel", "density at 15 degC", "kg/m3", 820.0, 845.0, BETWEEN, "EN 590", FROM_MEMORY, f1_5, 0.0, NULL},
    {"F1.6", "fuel", "the default engine's best point at full load", "g/kWh", 190.0, 225.0, BETWEEN,
     "turbocharged direct injection diesels of some 100 kW", PRACTICE, f1_6, 0.0, NULL},
    {"A2", "fuel", "half load, throttled back to 70 % of the speed: work for a litre", "", 1.20, 1.40, BETWEEN, TRACTOR,
     PUBLISHED, f2_1, 0.7, NULL},
};

ROWS_MAIN(rows)
