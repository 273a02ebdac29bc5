/* The brakes' heat: one stop, many stops, a long downhill, cooling, fade. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "brake.h"
#include "component.h"
#include "rows.h"

#define AIR 293.15

static struct brake_parameters lumped(double fade_least) {
  DEFAULTS(brake, brake);
  brake.heat = BRAKE_ONE_MASS;
  brake.heat_capacity = 50e3;
  brake.cooling = 200.0;
  brake.cooling_by_turning = 0.0;
  brake.fade_least = fade_least;
  return brake;
}

/* A machine that is all but its own mass is stopped from `speed` (km/h) by its brake on the level: rise of the brake's
 * temperature without cooling, K. */
static double b1_1(double speed) {
  char text[1024];
  (void)snprintf(text, sizeof text,
                 "vehicle: {mass: 10 t, start_speed: %.17g km/h}\nbrake: {heat: one_mass, heat_capacity: 50 kJ/K, "
                 "cooling: 0 W/K, cooling_by_turning: 0 W/K, start_temperature: 20 degC, torque: 30000 N m}\n"
                 "tyre: {rolling_resistance: 0, grip: 1, stiffness: 100}\nheat: {ambient: 20 degC}\n"
                 "driveline: {ratio: 0.2, efficiency: 100 %%, drag_torque: 0 N m, wheel_inertia: 0.1 kg m2}\n"
                 "motor: {displacement: 5 cm3/rev}\n"
                 "operator: {forward_pedal: 0 %%, brake: [[0 s, 0 %%], [0.5 s, 100 %%]]}\n"
                 "simulation: {end_time: 10 s, output_step: 0.1 s}\n",
                 speed);
  return bench_measure(text, MEASURE_brake_temperature_max) - AIR;
}

/* Temperature of the brake over the air after `seconds` of a power of 20 kW, K. */
static double b1_2(double seconds) {
  struct brake_parameters brake = lumped(1.0);
  double temperature = AIR;
  double step = 1e-3;
  for (int i = 0; i < (int)lrint(seconds / step); i++) {
    double middle =
        temperature + 0.5 * step * (20e3 - brake_cooling(&brake, temperature, AIR, 5.0)) / brake_heat_capacity(&brake);
    temperature += step * (20e3 - brake_cooling(&brake, middle, AIR, 5.0)) / brake_heat_capacity(&brake);
  }
  return temperature - AIR;
}

/* Highest temperature over the air of the `count`-th of stops of 400 kJ each, 60 s apart, K. */
static double b1_3(double count) {
  struct brake_parameters brake = lumped(1.0);
  double temperature = AIR;
  double step = 1e-3;
  for (int stop = 1; stop <= (int)count; stop++) {
    temperature += 400e3 / brake_heat_capacity(&brake);
    for (int i = 0; stop < (int)count && i < 60000; i++) {
      double middle =
          temperature - 0.5 * step * brake_cooling(&brake, temperature, AIR, 0.0) / brake_heat_capacity(&brake);
      temperature -= step * brake_cooling(&brake, middle, AIR, 0.0) / brake_heat_capacity(&brake);
    }
  }
  return temperature - AIR;
}

/* A machine that rolls down at a steady speed, held by its brake almost alone: where its brakes' temperature goes, K
 * over the air, over what the slope's power over the cooling says. */
static double b1_4(double none) {
  (void)none;
  const char *text = "vehicle: {mass: 10 t, start_speed: 18 km/h}\n"
                     "brake: {heat: one_mass, heat_capacity: 20 kJ/K, cooling: 300 W/K, cooling_by_turning: 0 W/K, "
                     "start_temperature: 20 degC, fade_begin: 1100 degC, fade_end: 1200 degC, torque: 30000 N m}\n"
                     "tyre: {rolling_resistance: 0, grip: 1, stiffness: 100}\nheat: {ambient: 20 degC}\n"
                     "driveline: {ratio: 0.2, efficiency: 100 %, drag_torque: 0 N m, wheel_inertia: 0.1 kg m2}\n"
                     "motor: {displacement: 5 cm3/rev}\n"
                     "ground: {grade: -10 %}\noperator: {forward_pedal: 0 %, brake: 20.172 %}\n"
                     "simulation: {end_time: 600 s, output_step: 1 s}\n";
  double speed = bench_measure(text, MEASURE_vehicle_speed_end);
  double slope = 10e3 * 9.81 * 0.1 / sqrt(1.01) * speed;
  return (bench_measure(text, MEASURE_brake_temperature_max) - AIR) * 300.0 / slope;
}

static double b2_1(double celsius) {
  DEFAULTS(brake, brake);
  brake.fade_begin = 273.15 + 200.0;
  brake.fade_end = 273.15 + 400.0;
  brake.fade_least = 0.6;
  return brake_fade(&brake, 273.15 + celsius);
}

#define LIMPERT "R. Limpert, Brake Design and Safety: lumped brake, single stop, repeated stops, continued braking"
#define NEWCOMB "T. P. Newcomb, J. Mech. Eng. Science 2 (1960) 167: repeated applications with cooling"

static const struct row rows[] = {
    {"B1.1", "brake heat", "10 t stopped from 20 km/h, 50 kJ/K: m v^2/(2 C)", "K", 3.0864, 1e-2, RELATIVE, LIMPERT,
     FROM_MEMORY, b1_1, 20.0, NULL},
    {"B1.1", "brake heat", "from 40 km/h: four times that", "K", 12.3457, 1e-2, RELATIVE, LIMPERT, FROM_MEMORY, b1_1,
     40.0, NULL},
    {"B1.2", "brake heat", "20 kW, 50 kJ/K, 200 W/K, after 250 s: P/G (1 - 1/e)", "K", 63.21206, 1e-5, RELATIVE,
     LIMPERT, FROM_MEMORY, b1_2, 250.0, NULL},
    {"B1.2", "brake heat", "after long: P/G", "K", 100.0, 1e-5, RELATIVE, LIMPERT, FROM_MEMORY, b1_2, 5000.0, NULL},
    {"B1.3", "brake heat", "400 kJ a stop, one a minute: after the fourth, d (1 - b^4)/(1 - b), b = exp(-G t/C)", "K",
     23.137308, 1e-5, RELATIVE, NEWCOMB, FROM_MEMORY, b1_3, 4.0, NULL},
    {"B1.3", "brake heat", "after very many: d/(1 - b)", "K", 37.493180, 1e-5, RELATIVE, NEWCOMB, FROM_MEMORY, b1_3,
     100.0, NULL},
    {"B1.4", "brake heat", "downhill on the brake, long: temperature over slope's power over cooling", "", 1.0, 2e-2,
     RELATIVE, LIMPERT, CLOSED_FORM, b1_4, 0.0, NULL},
    {"B2.1", "brake heat", "torque left at 300 degC, falling from 200 degC to 60 % at 400 degC", "", 0.8, 1e-9,
     RELATIVE, "straight line", CLOSED_FORM, b2_1, 300.0, NULL},
};

ROWS_MAIN(rows)
