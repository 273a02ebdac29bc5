/* Section 5 of the outside checks: relief, cut-off, charge. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "charge.h"
#include "component.h"
#include "relief.h"
#include "linear.h"
#include "rows.h"

/* ---- power over a relief valve, settled on the rig ---- */

/* Power of the relief valve, W, when the rig feeds `flow` against a valve that passes it at `pressure`. */
static double relief_power(double flow, double pressure) {
  struct bench *bench = bench_open("circuit: valve_rig\nrig: {case_pressure: 0 bar, start_pressure: 1 bar}\n"
                                   "relief: {flow_width: 0.001 bar}\n");
  double gradient = 100.0 * LITRE_PER_MINUTE / BAR;
  *bench_parameter(bench, "rig", "feed_flow") = flow;
  *bench_parameter(bench, "relief", "gradient") = gradient;
  *bench_parameter(bench, "relief", "setting") = pressure - flow / gradient;
  bench_ready(bench);
  bench_run(bench, 5.0);
  double power = bench_power(bench, "relief_a");
  bench_close(bench);
  return power;
}

static double p5_2(double psi) {
  return relief_power(20.0 * GALLON / 60.0, psi * PSI) / HORSEPOWER;
}

static double p5_2_kilowatt(double psi) {
  return 1e-3 * relief_power(20.0 * GALLON / 60.0, psi * PSI);
}

static double p5_3(double none) {
  (void)none;
  return (relief_power(20.0 * GALLON / 60.0, 1200.0 * PSI) - relief_power(0.7 * GALLON / 60.0, 1200.0 * PSI)) /
         HORSEPOWER;
}

/* ---- first-order relief with override ---- */

/* Pressure over the setting, bar, at `t` (s) after the setting was reached; the valve's own lag taken away. */
static double p5_4(double t) {
  struct bench *bench = bench_open("circuit: valve_rig\nfluid: {air_content: 0 %, bulk_modulus_slope: 0}\n"
                                   "rig: {case_pressure: 0 bar, volume: 2.5 L}\n"
                                   "relief: {flow_width: 0.001 bar, setting: 400 bar}\n");
  *bench_parameter(bench, "fluid", "bulk_modulus") = 1.2e9;
  *bench_parameter(bench, "fluid", "wall_modulus") = 1e30;
  *bench_parameter(bench, "rig", "feed_flow") = 3.3e-3;
  *bench_parameter(bench, "relief", "gradient") = 3.3e-10;
  *bench_parameter(bench, "relief", "lag") = 1e-8;
  bench_ready(bench);
  bench_set_pressure(bench, "line_a_compression", 400.0 * BAR + bench->oil.ambient);
  bench_run(bench, t);
  double over = bench_signal(bench, "line_a_pressure") / BAR - 400.0;
  bench_close(bench);
  return over;
}

#define P5_4_TAU (2.5e-3 / (1.2e9 * 3.3e-10))

/* ---- poppet ---- */

/* Spring 2500 lb/in with 0.20 in of preload on 0.75 in2, no jet force; the pressure at a lift of 0.10 in. */
static double p5_1(double none) {
  (void)none;
  DEFAULTS(relief, relief);
  double area = 0.75 * INCH * INCH;
  relief.spring_rate = 2500.0 * POUND_FORCE / INCH;
  relief.seat_diameter = sqrt(4.0 * area / REAL_PI);
  relief.setting = relief.spring_rate * 0.20 * INCH / relief_seat_area(&relief);
  relief.jet_angle = 0.5 * REAL_PI;
  double low = 1e-6;
  double high = 1.0;
  double lift = 0.0;
  double drop = 0.0;
  while (high / low > 1.0 + 1e-13) {
    double flow = sqrt(low * high);
    drop = relief_poppet_drop(&relief, flow, 870.0, &lift);
    if (lift < 0.10 * INCH) {
      low = flow;
    } else {
      high = flow;
    }
  }
  return drop / PSI;
}

static double p5_1_crack(double none) {
  (void)none;
  DEFAULTS(relief, relief);
  relief.spring_rate = 2500.0 * POUND_FORCE / INCH;
  relief.seat_diameter = sqrt(4.0 * 0.75 * INCH * INCH / REAL_PI);
  relief.setting = 2500.0 * 0.20 / 0.75 * PSI;
  /* the poppet lifts as soon as its acceleration turns */
  double low = 0.0;
  double high = 1000.0 * PSI;
  while (high - low > 1e-6) {
    double middle = 0.5 * (low + high);
    if (relief_poppet_acceleration(&relief, 0.0, 0.0, middle, 1.0) > 0.0) {
      high = middle;
    } else {
      low = middle;
    }
  }
  return high / PSI;
}

static struct relief_parameters poppet(void) {
  DEFAULTS(relief, relief);
  relief.law = RELIEF_POPPET;
  relief.setting = 400.0 * BAR;
  relief.seat_diameter = 0.010;
  relief.spring_rate = 200e3;
  relief.opening_width = 0.020;
  relief.discharge = 0.65;
  relief.jet_angle = 69.0 * REAL_PI / 180.0;
  return relief;
}

/* The static curve's own closed form. */
static double p5_5(double flow) {
  struct relief_parameters relief = poppet();
  double lift;
  return relief_poppet_drop(&relief, flow, 870.0, &lift) / BAR;
}

static double p5_5_lift(double flow) {
  struct relief_parameters relief = poppet();
  double lift;
  relief_poppet_drop(&relief, flow, 870.0, &lift);
  return lift * 1e3;
}

/* The same by the moving poppet, settled on the rig. */
static double p5_5_run(double flow) {
  struct bench *bench = bench_open(
      "circuit: valve_rig\nrig: {case_pressure: 0 bar, volume: 5 L}\nfluid: {density: 870 kg/m3}\n"
      "relief: {law: poppet, setting: 400 bar, seat_diameter: 10 mm, spring_rate: 200 N/mm, opening_width: 20 mm, "
      "discharge: 0.65, jet_angle: 69 deg, poppet_damping: 800 N s/m, flow_width: 0.001 bar}\n");
  *bench_parameter(bench, "rig", "feed_flow") = flow;
  bench_ready(bench);
  bench_run(bench, 8.0);
  double drop = bench_signal(bench, "line_a_pressure") / BAR;
  bench_close(bench);
  return drop;
}

/* ---- a poppet on its spring, by the program's own Jacobian ----
 *
 * With its line's pressure held an open poppet is a mass on a spring: w0 = sqrt(K/m), ratio c/(2 sqrt(K m)), the steady
 * flow force standing beside the spring, K = k + 2 C_d cos(phi) w dp. A jet at right angles has none: K = k. */

#define POPPET_MASS 0.05
#define POPPET_SPRING 200e3
#define JET_FORCE (2.0 * 0.65 * 0.3583679495453 * 0.020) /* m, times the drop; cos 69 deg */

enum poppet_number { POPPET_FREQUENCY, POPPET_DAMPING, POPPET_FREQUENCY_WITHOUT_JET };

static double poppet_swing(double which) {
  static const char *const names[] = {"relief_a_lift", "relief_a_speed"};
  double damping = 10.0;
  bool jet = which != POPPET_FREQUENCY_WITHOUT_JET;
  struct bench *bench = bench_open(
      "circuit: valve_rig\nrig: {case_pressure: 0 bar, volume: 5 L}\nfluid: {density: 870 kg/m3}\n"
      "relief: {law: poppet, setting: 400 bar, seat_diameter: 10 mm, spring_rate: 200 N/mm, opening_width: 20 mm, "
      "poppet_mass: 0.05 kg, discharge: 0.65, poppet_damping: 800 N s/m, flow_width: 0.001 bar}\n");
  *bench_parameter(bench, "rig", "feed_flow") = 1e-3;
  *bench_parameter(bench, "relief", "jet_angle") = (jet ? 69.0 : 90.0) * 3.14159265358979323846 / 180.0;
  bench_ready(bench);
  bench_run(bench, 8.0);
  double drop = bench_signal(bench, "line_a_pressure");
  *bench_parameter(bench, "relief", "poppet_damping") = damping; /* so little that it swings */
  bool take[PLANT_STATE_LIMIT] = {false};
  struct instant instant;
  struct linear linear;
  struct modes modes;
  struct error error = {0};
  double value = NAN;
  if (bench->good && bench->data.plant->prepare(bench->data.parameters, bench->model) == NULL) {
    instant_of(bench->data.plant, bench->model, bench->mode, 0.0, bench->state, &instant);
    take[instant_place(&instant, names[0])] = take[instant_place(&instant, names[1])] = true;
    if (linear_make(&instant, take, &linear, &error) && modes_find(&linear, &modes, &error) && modes.count == 1) {
      double spring = POPPET_SPRING + (jet ? JET_FORCE * drop : 0.0);
      value = which == POPPET_DAMPING ? mode_damping(&modes.modes[0]) / (0.5 * damping / sqrt(spring * POPPET_MASS))
                                      : mode_frequency(&modes.modes[0]) / sqrt(spring / POPPET_MASS);
    }
  }
  bench_close(bench);
  return value;
}

/* ---- heat of a relief valve over a whole run ---- */

struct relief_sum {
  int flow, drop; /* signals */
  double step;
  long count;
  double sum; /* Simpson's rule; the last sample has weight one when the count is odd */
  double last;
};

static bool add_relief(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct relief_sum *sum = context;
  (void)time;
  (void)error;
  for (int i = 0; i < count; i++) {
    double power = values[sum->flow][i] * values[sum->drop][i];
    sum->sum += (sum->count == 0 ? 1.0 : sum->count % 2 == 1 ? 4.0 : 2.0) * power;
    sum->count++;
    sum->last = power;
  }
  return true;
}

/* The recorded flow times drop, summed by hand, over the measure relief_heat: the stall case without limiter. */
static double p5_6(double none) {
  (void)none;
  static const char *const sets[] = {"limiter.fitted=no", "simulation.end_time=4 s", "simulation.output_step=0.1 ms",
                                     "simulation.relative_tolerance=1e-9", "simulation.pressure_tolerance=1 Pa"};
  struct error error = {0};
  struct case_data data;
  if (!case_load(SWASHLOOP_SOURCE "/cases/baseline/stall.yaml", sets, 5, &data, &error)) {
    return NAN;
  }
  struct relief_sum sum = {.flow = registry_signal(data.plant, "relief_a_flow"),
                           .drop = registry_signal(data.plant, "line_pressure_difference")};
  struct recorder recorder = {&sum, add_relief};
  struct outcome outcome;
  double ratio = NAN;
  if (run_case(&data, &recorder, NULL, &outcome, &error)) {
    ratio = (sum.sum - sum.last) * 1e-4 / 3.0 / outcome.measures[MEASURE_relief_heat];
    outcome_free(&outcome);
  }
  case_free(&data);
  return ratio;
}

/* ---- charge ---- */

struct last_values {
  int signals[8];
  double values[8];
};

static bool keep_last(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct last_values *last = context;
  (void)time;
  (void)error;
  for (int i = 0; i < 8; i++) {
    last->values[i] = last->signals[i] >= 0 ? values[last->signals[i]][count - 1] : NAN;
  }
  return true;
}

/* Signals at the end of a whole run of the baseline machine in steady drive. */
static void steady_drive(const char *const *names, int count, double *values) {
  static const char *const sets[] = {"simulation.end_time=40 s", "simulation.relative_tolerance=1e-10",
                                     "simulation.pressure_tolerance=0.01 Pa", "ground.wheelbase=0 m"};
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  struct last_values last;
  for (int i = 0; i < count; i++) {
    values[i] = NAN;
  }
  if (!case_load(SWASHLOOP_SOURCE "/cases/baseline/climb.yaml", sets, 4, &data, &error)) {
    return;
  }
  for (int i = 0; i < 8; i++) {
    last.signals[i] = i < count ? registry_signal(data.plant, names[i]) : -1;
  }
  struct recorder recorder = {&last, keep_last};
  if (run_case(&data, &recorder, NULL, &outcome, &error)) {
    for (int i = 0; i < count; i++) {
      values[i] = last.values[i];
    }
    outcome_free(&outcome);
  }
  case_free(&data);
}

static double p5_7(double none) {
  (void)none;
  static const char *const names[] = {"low_side_pressure"};
  double low;
  steady_drive(names, 1, &low);
  return low / BAR;
}

static double p5_8(double none) {
  (void)none;
  struct bench *bench = bench_open("simulation: {end_time: 1 s}\n");
  DEFAULTS(charge, charge);
  double flow = charge.displacement * *bench_parameter(bench, "engine", "set_speed");
  double dwell = *bench_parameter(bench, "lines", "tank_volume") / flow;
  bench_close(bench);
  return dwell;
}

/* What the charge pump delivers goes to the lines and over its relief: residual over the delivery. */
static double p5_9(double none) {
  (void)none;
  static const char *const names[] = {"charge_flow", "check_a_flow", "check_b_flow", "charge_relief_flow"};
  double q[4];
  steady_drive(names, 4, q);
  return (q[0] - q[1] - q[2] - q[3]) / q[0];
}

static double p5_9_oil(double none) {
  (void)none;
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  double residual = NAN;
  if (!case_load(SWASHLOOP_SOURCE "/cases/baseline/climb.yaml", NULL, 0, &data, &error)) {
    return NAN;
  }
  if (run_case(&data, NULL, NULL, &outcome, &error)) {
    residual = outcome.measures[MEASURE_oil_residual];
    outcome_free(&outcome);
  }
  case_free(&data);
  return residual;
}

static struct bench *draining(double air) {
  struct bench *bench = bench_open("circuit: valve_rig\nfluid: {bulk_modulus_slope: 0}\nrig: {volume: 2.5 L}\n");
  *bench_parameter(bench, "fluid", "bulk_modulus") = 1.2e9;
  *bench_parameter(bench, "fluid", "wall_modulus") = 1e30;
  *bench_parameter(bench, "fluid", "air_content") = air;
  *bench_parameter(bench, "rig", "feed_flow") = -5.0 * LITRE_PER_MINUTE;
  *bench_parameter(bench, "rig", "start_pressure") = 25.0 * BAR;
  bench_ready(bench);
  return bench;
}

/* Time until the line has fallen from 25 to 1 bar. */
static double p5_10(double air) {
  struct bench *bench = draining(air);
  double low = 0.0;
  double high = 1.0;
  while (high - low > 1e-9) {
    double middle = 0.5 * (low + high);
    bench_ready(bench);
    bench_run(bench, middle);
    if (bench_signal(bench, "line_a_pressure") > 1.0 * BAR) {
      low = middle;
    } else {
      high = middle;
    }
  }
  bench_close(bench);
  return high;
}

#define MERRITT "force balance, jet force after H. E. Merritt (1967)"
#define ESPOSITO(place) "A. Esposito, Fluid Power with Applications, " place

static const struct row rows[] = {
    {"P5.1", "poppet relief", "0.75 in2, 2500 lb/in, preload 0.20 in: cracking (published as 667)", "psi", 666.7, 1e-3,
     RELATIVE, ESPOSITO("Ex. 8-1, p. 293"), PUBLISHED, p5_1_crack, 0.0, NULL},
    {"P5.1", "poppet relief", "at a lift of 0.10 in", "psi", 1000.0, 1e-3, RELATIVE, ESPOSITO("Ex. 8-1, p. 293"),
     PUBLISHED, p5_1, 0.0, NULL},
    {"P5.2", "relief valves", "20 gal/min over a relief valve at 1000 psi", "hp", 11.7, 5e-3, RELATIVE,
     ESPOSITO("Ex. 8-2, p. 299"), PUBLISHED, p5_2, 1000.0, NULL},
    {"P5.2", "relief valves", "the same", "kW", 8.700, 5e-3, RELATIVE, ESPOSITO("Ex. 8-2"), PUBLISHED, p5_2_kilowatt,
     1000.0, NULL},
    {"P5.2", "relief valves", "unloaded at 25 psi", "hp", 0.29, 1e-2, RELATIVE, ESPOSITO("Ex. 8-3, p. 299"), PUBLISHED,
     p5_2, 25.0, NULL},
    {"P5.3", "relief valves", "20 gal/min over the relief at 1200 psi against 0.7 gal/min of leakage: saving", "hp",
     13.5, 3e-3, RELATIVE, ESPOSITO("Ex. 5-5, p. 178"), PUBLISHED, p5_3, 0.0, NULL},
    {"P5.4", "relief valves", "flow step on 2.5 L: pressure over the setting after one time constant", "bar", 63.212056,
     1e-4, RELATIVE, "(Q/K)(1 - exp(-t/tau)), tau = 6.3131 ms", CLOSED_FORM, p5_4, P5_4_TAU, NULL},
    {"P5.4", "relief valves", "after three", "bar", 95.021293, 1e-4, RELATIVE, "the same", CLOSED_FORM, p5_4,
     3.0 * P5_4_TAU, NULL},
    {"P5.4", "relief valves", "at the end", "bar", 100.0, 1e-4, RELATIVE, "the same", CLOSED_FORM, p5_4, 0.5, NULL},
    {"P5.5", "poppet relief", "seat 10 mm, 200 N/mm, 69 deg, 400 bar: drop at 0.5 L/s", "bar", 409.281, 1e-4, RELATIVE,
     MERRITT, CLOSED_FORM, p5_5, 0.5e-3, NULL},
    {"P5.5", "poppet relief", "at 1 L/s", "bar", 418.629, 1e-4, RELATIVE, MERRITT, CLOSED_FORM, p5_5, 1e-3, NULL},
    {"P5.5", "poppet relief", "at 2 L/s", "bar", 437.532, 1e-4, RELATIVE, MERRITT, CLOSED_FORM, p5_5, 2e-3, NULL},
    {"P5.5", "poppet relief", "lift at 2 L/s", "mm", 0.485094, 1e-4, RELATIVE, MERRITT, CLOSED_FORM, p5_5_lift, 2e-3,
     NULL},
    {"P5.5", "poppet relief", "the moving poppet settled on the rig at 1 L/s", "bar", 418.629, 1e-4, RELATIVE, MERRITT,
     CLOSED_FORM, p5_5_run, 1e-3, NULL},
    {"P5.5", "poppet relief", "at 2 L/s", "bar", 437.532, 1e-4, RELATIVE, MERRITT, CLOSED_FORM, p5_5_run, 2e-3, NULL},
    {"P5.11", "poppet relief", "natural frequency of an open poppet over sqrt((k + 2 Cd cos(phi) w dp)/m), line held",
     "", 1.0, 1e-5, RELATIVE, MERRITT, CLOSED_FORM, poppet_swing, POPPET_FREQUENCY, NULL},
    {"P5.11", "poppet relief", "its damping ratio over c/(2 sqrt(K m))", "", 1.0, 1e-4, RELATIVE, MERRITT, CLOSED_FORM,
     poppet_swing, POPPET_DAMPING, NULL},
    {"P5.11", "poppet relief", "jet at right angles: natural frequency over sqrt(k/m)", "", 1.0, 1e-5, RELATIVE,
     "mass on a spring", CLOSED_FORM, poppet_swing, POPPET_FREQUENCY_WITHOUT_JET, NULL},
    {"P5.6", "relief valves", "recorded flow times drop over the measure relief_heat, stall without limiter", "", 1.0,
     1e-6, RELATIVE, "first law", CLOSED_FORM, p5_6, 0.0, NULL},
    {"P5.7", "charge circuit", "low side of the baseline machine in steady drive (222 to 300 psi)", "bar", 15.3, 20.7,
     BETWEEN, "public trade article on charge pumps", PUBLISHED, p5_7, 0.0,
     "the invented machine sets its charge relief to 25 bar over case, within the 18 to 30 bar of handbooks (from "
     "memory) "
     "but above this guidance: a number of the machine, no law"},
    {"P5.8", "charge circuit", "default tank over charge flow: dwell", "s", 30.0, 0.0, AT_LEAST,
     "public guidance on closed-circuit pumps", PUBLISHED, p5_8, 0.0, NULL},
    {"P5.9", "charge circuit", "steady climb: charge delivery less check valves and charge relief, over it", "", 0.0,
     1e-6, ABSOLUTE, "continuity", CLOSED_FORM, p5_9, 0.0, NULL},
    {"P5.9", "charge circuit", "oil in tank and lines, drift over the climb", "m3", 0.0, 1e-9, ABSOLUTE, "continuity",
     CLOSED_FORM, p5_9_oil, 0.0, NULL},
    {"P5.10", "charge circuit", "2.5 L losing 5 L/min, no air: time from 25 to 1 bar", "s", 0.060, 1e-6, RELATIVE,
     "V dp/(K Q)", CLOSED_FORM, p5_10, 0.0, NULL},
    {"P5.10", "charge circuit", "with 1 % of air: slower", "s", 0.060, 0.0, AT_LEAST, "V dp/(K Q)", CLOSED_FORM, p5_10,
     0.01, NULL},
};

ROWS_MAIN(rows)
