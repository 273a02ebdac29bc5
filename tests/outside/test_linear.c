/* Section 4 of the outside checks by the other way: eigenvalues of the program's own Jacobian, with the states of the
 * law in question taking part and all others held. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "linear.h"
#include "rows.h"

/* Losses, air and valves away, walls rigid. */
static const char *const bare = "fluid: {air_content: 0 %, bulk_modulus_slope: 0, viscosity_at_40: 20 mm2/s, "
                                "viscosity_at_100: 20 mm2/s}\n"
                                "lines: {case_pressure: 0 bar}\n"
                                "pump: {slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, "
                                "viscous_exponent: 1, friction_coefficient: 0, constant_torque: 0 N m}\n"
                                "swash: {charge_loss: held, servo_volume: 0 L}\n"
                                "relief: {setting: 1000 bar}\n"
                                "charge: {check_crack: 20 bar, check_open: 50 bar}\n"
                                "flushing: {relief_gradient: 0 L/min/bar}\n"
                                "motor: {case_leak_coefficient: 0, viscous_exponent: 1, friction_coefficient: 0, "
                                "constant_torque: 0 N m, friction: smoothed, override_line: off}\n"
                                "driveline: {ratio: 1, efficiency: 100 %, friction: smoothed}\n"
                                "tyre: {law: slip_curve, grip: 0, rolling_resistance: 0}\n"
                                "brake: {torque: 0 N m}\n";

#define VISCOSITY (870.0 * 20e-6)

struct loop {
  double volume;       /* m3, of each line */
  double modulus;      /* Pa */
  double displacement; /* m3/rad, of the motor */
  double inertia;      /* kg m2 */
  double leak;         /* m3/s/Pa, across */
  double drag;         /* N m s */
};

static const struct loop p4_loop = {1e-3, 1e9, 55e-6 * PER_REVOLUTION, 0.8, 1e-11, 0.05};

static struct bench *loop_bench(const struct loop *loop) {
  struct bench *bench = bench_open(bare);
  *bench_parameter(bench, "fluid", "bulk_modulus") = loop->modulus;
  *bench_parameter(bench, "fluid", "wall_modulus") = 1e30;
  *bench_parameter(bench, "lines", "volume_a") = loop->volume;
  *bench_parameter(bench, "lines", "volume_b") = loop->volume;
  *bench_parameter(bench, "motor", "displacement") = loop->displacement;
  *bench_parameter(bench, "motor", "slip_coefficient") = loop->leak * VISCOSITY / loop->displacement;
  *bench_parameter(bench, "motor", "viscous_coefficient") = loop->drag / (loop->displacement * VISCOSITY);
  *bench_parameter(bench, "driveline", "wheel_inertia") = loop->inertia;
  bench_ready(bench);
  return bench;
}

/* The system of these states, NULL behind the last. */
static bool linear_of(struct bench *bench, const char *const *names, struct instant *instant, struct linear *linear) {
  bool take[PLANT_STATE_LIMIT] = {false};
  struct error error = {0};
  if (!bench->good) {
    return false;
  }
  instant_of(bench->data.plant, bench->model, bench->mode, 0.0, bench->state, instant);
  for (int i = 0; names[i] != NULL; i++) {
    take[instant_place(instant, names[i])] = true;
  }
  return linear_make(instant, take, linear, &error) || bench_complain(bench, error.text);
}

/* The fastest pair of the system, or NaN. */
static struct mode pair_of(struct bench *bench, const char *const *names) {
  struct instant instant;
  struct linear linear;
  struct modes modes;
  struct error error = {0};
  struct mode none = {.real = NAN, .imaginary = NAN};
  if (!linear_of(bench, names, &instant, &linear) || !modes_find(&linear, &modes, &error)) {
    return none;
  }
  for (int k = modes.count - 1; k >= 0; k--) {
    if (modes.modes[k].imaginary > 0.0) {
      return modes.modes[k];
    }
  }
  return none;
}

static const char *const one_line[] = {"line_a_compression", "wheel_speed", NULL};
static const char *const both_lines[] = {"line_a_compression", "line_b_compression", "wheel_speed", NULL};

static double p4_1(double none) {
  (void)none;
  double volume = 50.0 * INCH * INCH * INCH;
  struct loop cylinder = {volume, 175e3 * PSI, 5.0 * INCH * INCH, 2.59 * POUND_FORCE / INCH, 0.0, 0.0};
  struct bench *bench = loop_bench(&cylinder);
  struct mode mode = pair_of(bench, both_lines);
  bench_close(bench);
  return mode_frequency(&mode);
}

enum { REAL_PART, IMAGINARY_PART, NATURAL, DAMPING };

static double one_line_mode(const struct loop *loop, int which) {
  struct bench *bench = loop_bench(loop);
  struct mode mode = pair_of(bench, one_line);
  bench_close(bench);
  return which == REAL_PART        ? mode.real
         : which == IMAGINARY_PART ? mode.imaginary
         : which == NATURAL        ? mode_frequency(&mode)
                                   : mode_damping(&mode);
}

static double p4_2(double which) {
  return one_line_mode(&p4_loop, (int)which);
}

/* Motor speed over pump flow at rest: the response to a small stroke at a frequency of next to nothing, over the flow
 * that the stroke displaces. */
static double p4_3(double none) {
  (void)none;
  struct bench *bench = loop_bench(&p4_loop);
  struct instant instant;
  struct linear linear;
  struct linear_input input;
  double output[PLANT_STATE_LIMIT];
  double speed = NAN;
  double flow = NAN;
  double phase;
  if (linear_of(bench, one_line, &instant, &linear)) {
    int motor = registry_signal(bench->data.plant, "motor_speed");
    int pump = registry_signal(bench->data.plant, "pump_flow");
    int stroke = instant_place(&instant, "pump_stroke");
    linear_state_input(&instant, &linear, stroke, motor, &input);
    linear_output(&instant, &linear, motor, output);
    (void)linear_response(&linear, &input, output, 1e-6, &speed, &phase);
    linear_state_input(&instant, &linear, stroke, pump, &input);
    linear_output(&instant, &linear, pump, output);
    (void)linear_response(&linear, &input, output, 1e-6, &flow, &phase);
  }
  bench_close(bench);
  return speed / RPM / (flow / LITRE_PER_MINUTE);
}

static double p4_4(double none) {
  (void)none;
  struct bench *bench = loop_bench(&p4_loop);
  struct mode one = pair_of(bench, one_line);
  /* Without losses, so that the natural frequency has no constant term. */
  *bench_parameter(bench, "motor", "slip_coefficient") = 0.0;
  *bench_parameter(bench, "motor", "viscous_coefficient") = 0.0;
  bench_ready(bench);
  one = pair_of(bench, one_line);
  struct mode both = pair_of(bench, both_lines);
  bench_close(bench);
  return mode_frequency(&both) / mode_frequency(&one);
}

/* Line, limiter pilot and swash servo against a standing motor, third order: characteristic polynomial
 * t_s t_l s^3 + (t_s + t_l + a t_s t_l) s^2 + (1 + a (t_s + t_l)) s + a + g, a = K C/V, g = K D w/(V band). The gain is
 * put at `share` of the limit a2 a1 = a0 a3; what comes back is the growth of the swinging mode a radian. */
static double routh(double share) {
  const double servo = 0.04;
  const double pilot = 0.01;
  struct loop loop = {3e-3, 1.2e9, 1e-5, 1e15, 4e-11, 0.0};
  struct bench *bench = loop_bench(&loop);
  double a = loop.modulus * loop.leak / loop.volume;
  double a3 = servo * pilot;
  double limit = (servo + pilot + a * a3) * (1.0 + a * (servo + pilot)) / a3 - a;
  double speed = *bench_state(bench, "engine_speed");
  double band = 60.0 * BAR;
  *bench_parameter(bench, "pump", "displacement") = share * limit * loop.volume * band / (loop.modulus * speed);
  *bench_parameter(bench, "limiter", "band") = band;
  *bench_parameter(bench, "limiter", "lag") = pilot;
  *bench_parameter(bench, "limiter", "setting") = 300.0 * BAR;
  *bench_parameter(bench, "limiter", "servo_gain") = 0.0;
  *bench_parameter(bench, "swash", "servo_lag") = servo;
  *bench_parameter(bench, "swash", "rate_up") = *bench_parameter(bench, "swash", "rate_down") = 1e3;
  bench_ready(bench);
  bench_set_pressure(bench, "line_a_compression", 330.0 * BAR + bench->oil.ambient);
  *bench_state(bench, "control_pressure") = 1.0;
  *bench_state(bench, "limiter_a") = 0.5;
  *bench_state(bench, "pump_stroke") = 0.5;
  static const char *const names[] = {"line_a_compression", "limiter_a", "pump_stroke", NULL};
  struct mode mode = pair_of(bench, names);
  bench_close(bench);
  return mode.real / mode.imaginary;
}

/* Natural frequency over that of the loop as it is, the modulus and the displacement scaled. */
static double scaled_frequency(double modulus, double displacement) {
  struct loop loop = p4_loop;
  loop.modulus *= modulus;
  loop.displacement *= displacement;
  return one_line_mode(&loop, NATURAL) / one_line_mode(&p4_loop, NATURAL);
}

static double by_modulus(double factor) {
  return scaled_frequency(factor, 1.0);
}

static double by_displacement(double factor) {
  return scaled_frequency(1.0, factor);
}

static double damping_by_modulus(double factor) {
  struct loop loop = p4_loop;
  loop.modulus *= factor;
  return one_line_mode(&loop, DAMPING) / one_line_mode(&p4_loop, DAMPING);
}

/* Pump servo, hose and motor: how many real eigenvalues and pairs. */
static double chain(double pairs) {
  static const char *const names[] = {"pump_stroke", "line_a_compression", "wheel_speed", NULL};
  struct bench *bench = loop_bench(&p4_loop);
  struct instant instant;
  struct linear linear;
  struct modes modes;
  struct error error = {0};
  int counts[2] = {0, 0};
  if (linear_of(bench, names, &instant, &linear) && modes_find(&linear, &modes, &error)) {
    for (int k = 0; k < modes.count; k++) {
      counts[modes.modes[k].imaginary > 0.0]++;
    }
  }
  bench_close(bench);
  return counts[pairs > 0.0];
}

#define ESPOSITO_17 "A. Esposito, Fluid Power with Applications, Ex. 17-1, p. 610"
#define MERRITT_6 "H. E. Merritt, Hydraulic Control Systems (1967), ch. 6: form; number derived"
#define MANRING "N. D. Manring and G. R. Luecke, ASME J. Dyn. Syst. 120 (1998) 45: order; Routh"
#define RIG "Military Technical College (ASAT) paper on a drive on a rig: sensitive to modulus and displacement; theory"

static const struct row rows[] = {
    {"P4.1", "loop dynamics by the Jacobian", "natural frequency, both lines 50 in3, 175 000 psi, 5 in2, 2.59 lb s2/in",
     "rad/s", 259.94, 3e-3, RELATIVE, ESPOSITO_17, PUBLISHED, p4_1, 0, NULL},
    {"P4.2", "loop dynamics by the Jacobian", "pump-controlled motor, one line of 1 L: eigenvalue, real part", "1/s",
     -5.03125, 1e-5, RELATIVE, MERRITT_6, FROM_MEMORY, p4_2, REAL_PART, NULL},
    {"P4.2", "loop dynamics by the Jacobian", "imaginary part", "rad/s", 8.43159, 1e-5, RELATIVE, MERRITT_6,
     FROM_MEMORY, p4_2, IMAGINARY_PART, NULL},
    {"P4.2", "loop dynamics by the Jacobian", "natural frequency", "rad/s", 9.81861, 1e-5, RELATIVE, MERRITT_6,
     FROM_MEMORY, p4_2, NATURAL, NULL},
    {"P4.2", "loop dynamics by the Jacobian", "damping ratio", "", 0.512420, 1e-5, RELATIVE, MERRITT_6, FROM_MEMORY,
     p4_2, DAMPING, NULL},
    {"P4.3", "loop dynamics by the Jacobian", "speed over pump flow at rest, by the frequency response", "rpm/(L/min)",
     18.0639, 1e-5, RELATIVE, MERRITT_6, CLOSED_FORM, p4_3, 0, NULL},
    {"P4.4", "loop dynamics by the Jacobian", "natural frequency with both lines over one", "", 1.41421356, 1e-6,
     RELATIVE, MERRITT_6, FROM_MEMORY, p4_4, 0, NULL},
    {"P4.8", "loop dynamics by the Jacobian", "line, limiter and servo at the Routh limit: growth a radian", "", 0.0,
     1e-6, ABSOLUTE, MANRING, CLOSED_FORM, routh, 1.0, NULL},
    {"P4.8", "loop dynamics by the Jacobian", "at 99 % of the limiting gain", "", -1.0, -1e-5, BETWEEN, "Routh",
     CLOSED_FORM, routh, 0.99, NULL},
    {"P4.8", "loop dynamics by the Jacobian", "at 101 %", "", 1e-5, 1.0, BETWEEN, "Routh", CLOSED_FORM, routh, 1.01,
     NULL},
    {"C2", "loop dynamics by the Jacobian", "natural frequency with 1.2 times the modulus: sqrt(1.2)", "", 1.0954451,
     0.03, RELATIVE, RIG, CLOSED_FORM, by_modulus, 1.2, NULL},
    {"C2", "loop dynamics by the Jacobian", "with 0.8 times the modulus: sqrt(0.8)", "", 0.8944272, 0.03, RELATIVE, RIG,
     CLOSED_FORM, by_modulus, 0.8, NULL},
    {"C2", "loop dynamics by the Jacobian", "with 1.2 times the motor's displacement: 1.2", "", 1.2, 0.03, RELATIVE,
     RIG, CLOSED_FORM, by_displacement, 1.2, NULL},
    {"C2", "loop dynamics by the Jacobian", "with 0.8 times the motor's displacement: 0.8", "", 0.8, 0.03, RELATIVE,
     RIG, CLOSED_FORM, by_displacement, 0.8, NULL},
    {"C2", "loop dynamics by the Jacobian", "damping ratio with 1.2 times the modulus moves", "", 1.01, 1.2, BETWEEN,
     RIG, PUBLISHED, damping_by_modulus, 1.2, NULL},
    {"C3", "loop dynamics by the Jacobian", "pump servo, hose and motor: pairs", "", 1.0, 0.0, ABSOLUTE, MANRING,
     PUBLISHED, chain, 1.0, NULL},
    {"C3", "loop dynamics by the Jacobian", "real eigenvalues", "", 1.0, 0.0, ABSOLUTE, MANRING, PUBLISHED, chain, 0.0,
     NULL},
};

ROWS_MAIN(rows)
