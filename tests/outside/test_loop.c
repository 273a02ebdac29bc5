/* Section 4 of the outside checks: dynamics of the closed loop. The whole plant, its losses, air and valves taken away
 * until only the law in question is left, run through the integrator. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "rows.h"

static const char *const bare_loop =
    "fluid: {air_content: 0 %, bulk_modulus_slope: 0, viscosity_at_40: 20 mm2/s, "
    "viscosity_at_100: 20 mm2/s}\n"
    "lines: {case_pressure: 0 bar, start_drop: 0 bar}\n"
    "engine: {stall: none}\n"
    "pump: {slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, "
    "viscous_exponent: 1, friction_coefficient: 0, constant_torque: 0 N m}\n"
    "swash: {charge_loss: held, servo_volume: 0 L}\n"
    "relief: {setting: 1000 bar}\n"
    "charge: {displacement: 0 cm3/rev, leak: 0 L/min/bar, check_crack: 20 bar, "
    "check_open: 50 bar, relief_start: 0 bar, relief_setting: 100 bar}\n"
    "flushing: {relief_gradient: 0 L/min/bar}\n"
    "motor: {slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, "
    "viscous_exponent: 1, friction_coefficient: 0, constant_torque: 0 N m, "
    "override_line: off, displacement: 55 cm3/rev, friction: smoothed}\n"
    "driveline: {ratio: 1, efficiency: 100 %, friction: smoothed, wheel_inertia: 0.8 kg m2}\n"
    "tyre: {law: slip_curve, grip: 0, rolling_resistance: 0}\n"
    "brake: {torque: 0 N m}\n";

#define VISCOSITY (870.0 * 20e-6)

/* The bare loop with walls rigid, engine unshakable, and the numbers of a linear model. */
struct linear {
  double volume_a, volume_b; /* m3 */
  double modulus;            /* Pa */
  double displacement;       /* m3/rad */
  double inertia;            /* kg m2 */
  double leak;               /* m3/s/Pa, across */
  double drag;               /* N m s */
};

static struct bench *linear_bench(const struct linear *linear, const char *more) {
  char text[4096];
  (void)snprintf(text, sizeof text, "%s%s%s", bare_loop, more,
                 strstr(more, "limiter:") == NULL ? "limiter: {fitted: no}\n" : "");
  struct bench *bench = bench_open(text);
  *bench_parameter(bench, "fluid", "bulk_modulus") = linear->modulus;
  *bench_parameter(bench, "fluid", "wall_modulus") = 1e30;
  *bench_parameter(bench, "lines", "volume_a") = linear->volume_a;
  *bench_parameter(bench, "lines", "volume_b") = linear->volume_b;
  *bench_parameter(bench, "engine", "inertia") = 1e15;
  *bench_parameter(bench, "motor", "displacement") = linear->displacement;
  *bench_parameter(bench, "motor", "slip_coefficient") = linear->leak * VISCOSITY / linear->displacement;
  *bench_parameter(bench, "motor", "viscous_coefficient") = linear->drag / (linear->displacement * VISCOSITY);
  *bench_parameter(bench, "driveline", "wheel_inertia") = linear->inertia;
  bench_ready(bench);
  return bench;
}

/* Pump-controlled motor with line A alone active: line B a hundred times as large, A such that both in series are the
 * volume of the check. */
static struct linear one_line(double volume) {
  struct linear linear = {volume / 0.99, 99.0 * volume / 0.99, 1e9, 55e-6 * PER_REVOLUTION, 0.8, 1e-11, 0.05};
  return linear;
}

struct mode {
  double growth;    /* real part */
  double frequency; /* imaginary part */
};

/* The pair of eigenvalues that a free motion shows: three readings of (drop, speed), one interval apart, give the
 * matrix that takes one to the next; its determinant and trace give the pair. */
static struct mode free_motion(const struct linear *linear, double interval) {
  struct bench *bench = linear_bench(linear, "");
  *bench_state(bench, "wheel_speed") = 1e-3;
  double drop[3];
  double speed[3];
  for (int i = 0; i < 3; i++) {
    bench_run(bench, interval * i);
    drop[i] = bench_signal(bench, "line_pressure_difference");
    speed[i] = bench_signal(bench, "motor_speed");
  }
  bench_close(bench);
  double scale = drop[0] * speed[1] - drop[1] * speed[0];
  double determinant = (drop[1] * speed[2] - drop[2] * speed[1]) / scale;
  double trace = (drop[0] * speed[2] - drop[2] * speed[0]) / scale;
  struct mode mode = {0.5 * log(determinant) / interval, acos(0.5 * trace / sqrt(determinant)) / interval};
  return mode;
}

static double natural_frequency(const struct linear *linear, double interval) {
  struct mode mode = free_motion(linear, interval);
  return hypot(mode.growth, mode.frequency);
}

static double p4_1(double none) {
  (void)none;
  /* the cylinder's area stands for displacement, its mass for inertia; 50 in3 in each line */
  double volume = 50.0 * INCH * INCH * INCH;
  struct linear linear = {volume, volume, 175e3 * PSI, 5.0 * INCH * INCH, 2.59 * POUND_FORCE / INCH, 0.0, 0.0};
  return natural_frequency(&linear, 3e-3);
}

enum { REAL_PART, IMAGINARY_PART, NATURAL, DAMPING };

static double p4_2(double which) {
  struct linear linear = one_line(1e-3);
  struct mode mode = free_motion(&linear, 0.1);
  double natural = hypot(mode.growth, mode.frequency);
  return which == REAL_PART        ? mode.growth
         : which == IMAGINARY_PART ? mode.frequency
         : which == NATURAL        ? natural
                                   : -mode.growth / natural;
}

static double p4_3(double none) {
  (void)none;
  struct linear linear = one_line(1e-3);
  struct bench *bench = linear_bench(&linear, "operator: {forward_pedal: [[0 s, 0.2 %]]}\n");
  bench_run(bench, 15.0);
  double gain = bench_signal(bench, "motor_speed") / RPM / (bench_signal(bench, "pump_flow") / LITRE_PER_MINUTE);
  bench_close(bench);
  return gain;
}

static double p4_4(double none) {
  (void)none;
  struct linear one = one_line(1e-3);
  struct linear both = one;
  both.volume_a = both.volume_b = 1e-3;
  return natural_frequency(&both, 0.1) / natural_frequency(&one, 0.1);
}

/* Line A leaks through the motor to the case; the motor stands. */
static double p4_5(double none) {
  (void)none;
  struct linear linear = {2.5e-3, 2.5e-3, 1.2e9, 1e-5, 1e15, 0.0, 0.0};
  struct bench *bench = linear_bench(&linear, "");
  *bench_parameter(bench, "motor", "case_leak_coefficient") = 2e-12 * VISCOSITY / 1e-5;
  bench_ready(bench);
  bench_set_pressure(bench, "line_a_compression", 200.0 * BAR + bench->oil.ambient);
  bench_run(bench, 1.0);
  double pressure = bench_signal(bench, "line_a_pressure") / BAR;
  bench_close(bench);
  return pressure;
}

static struct bench *rig(double volume, double feed, double modulus) {
  struct bench *bench = bench_open("circuit: valve_rig\nfluid: {air_content: 0 %, bulk_modulus_slope: 0}\n"
                                   "relief: {setting: 1000 bar}\n");
  *bench_parameter(bench, "fluid", "bulk_modulus") = modulus;
  *bench_parameter(bench, "fluid", "wall_modulus") = 1e30;
  *bench_parameter(bench, "rig", "volume") = volume;
  *bench_parameter(bench, "rig", "feed_flow") = feed;
  bench_ready(bench);
  return bench;
}

static double p4_6_rate(double none) {
  (void)none;
  struct bench *bench = rig(0.5e-3, 20.0 * LITRE_PER_MINUTE, 1.2e9);
  double rate = bench_signal(bench, "pressure_rate") / BAR;
  bench_close(bench);
  return rate;
}

static double p4_6_run(double none) {
  (void)none;
  struct bench *bench = rig(0.5e-3, 20.0 * LITRE_PER_MINUTE, 1.2e9);
  double before = bench_signal(bench, "line_a_pressure");
  bench_run(bench, 0.025);
  double rise = (bench_signal(bench, "line_a_pressure") - before) / BAR / 0.025;
  bench_close(bench);
  return rise;
}

/* Line, limiter pilot and swash servo against a standing motor: third order. Characteristic polynomial
 * t_s t_l s^3 + (t_s + t_l + a t_s t_l) s^2 + (1 + a (t_s + t_l)) s + a + g, a = K C/V, g = K D w/(V band). The band is
 * put at `share` of the gain at the limit a2 a1 = a0 a3; what comes back is the growth of the oscillation a radian. */
static double limiter_loop_growth(double share) {
  const double volume = 3e-3;
  const double modulus = 1.2e9;
  const double leak = 4e-11;
  const double servo = 0.04;
  const double pilot = 0.01;
  struct linear linear = {volume, 1e6, modulus, 1e-5, 1e15, leak, 0.0};
  struct bench *bench = linear_bench(&linear, "limiter: {law: driven_side, servo_gain: 0}\n"
                                              "operator: {forward_pedal: [[0 s, 33.333333333333333 %]]}\n");
  double a = modulus * leak / volume;
  double a3 = servo * pilot;
  double limit = (servo + pilot + a * a3) * (1.0 + a * (servo + pilot)) / a3 - a;
  double speed = *bench_state(bench, "engine_speed");
  double band = 60.0 * BAR;
  double displacement = share * limit * volume * band / (modulus * speed);
  double drop = 0.5 * displacement * speed / leak; /* half the stroke, half the pilot */
  double low = bench_signal(bench, "line_b_pressure") + bench->oil.ambient;
  *bench_parameter(bench, "pump", "displacement") = displacement;
  *bench_parameter(bench, "limiter", "band") = band;
  *bench_parameter(bench, "limiter", "lag") = pilot;
  *bench_parameter(bench, "swash", "servo_lag") = servo;
  *bench_parameter(bench, "swash", "rate_up") = *bench_parameter(bench, "swash", "rate_down") = 1e3;
  *bench_parameter(bench, "limiter", "setting") = low + drop - 0.5 * band - bench->oil.ambient;
  bench_ready(bench);
  bench_set_pressure(bench, "line_a_compression", low + drop + 2.0 * BAR);
  *bench_state(bench, "control_pressure") = 1.0;
  *bench_state(bench, "limiter_a") = 0.5;
  *bench_state(bench, "pump_stroke") = 0.5;
  double frequency = sqrt((1.0 + a * (servo + pilot)) / a3);
  double peaks[2] = {0.0, 0.0};
  for (int i = 0; i < 2; i++) { /* the largest swing in the sixth and the twelfth period */
    double start = (6.0 + 6.0 * i) * 2.0 * 3.14159265358979323846 / frequency;
    for (int k = 0; k <= 200; k++) {
      bench_run(bench, start + k / 200.0 * 2.0 * 3.14159265358979323846 / frequency);
      double swing = fabs(bench_signal(bench, "line_pressure_difference") - drop);
      peaks[i] = fmax(peaks[i], swing);
    }
  }
  bench_close(bench);
  return log(peaks[1] / peaks[0]) / (6.0 * 2.0 * 3.14159265358979323846);
}

#define MERRITT_6 "H. E. Merritt, Hydraulic Control Systems (1967), ch. 6: form; number derived"

static const struct row rows[] = {
    {"P4.1", "loop dynamics", "natural frequency, both lines 50 in3, 175 000 psi, 5 in2, 2.59 lb s2/in", "rad/s",
     259.94, 3e-3, RELATIVE, "A. Esposito, Ex. 17-1, p. 610", PUBLISHED, p4_1, 0.0, NULL},
    {"P4.2", "loop dynamics", "pump-controlled motor, one line of 1 L: eigenvalue, real part", "1/s", -5.03125, 1e-4,
     RELATIVE, MERRITT_6, FROM_MEMORY, p4_2, REAL_PART, NULL},
    {"P4.2", "loop dynamics", "imaginary part", "rad/s", 8.43159, 1e-4, RELATIVE, MERRITT_6, FROM_MEMORY, p4_2,
     IMAGINARY_PART, NULL},
    {"P4.2", "loop dynamics", "natural frequency", "rad/s", 9.81861, 1e-4, RELATIVE, MERRITT_6, FROM_MEMORY, p4_2,
     NATURAL, NULL},
    {"P4.2", "loop dynamics", "damping ratio", "", 0.512420, 1e-4, RELATIVE, MERRITT_6, FROM_MEMORY, p4_2, DAMPING,
     NULL},
    {"P4.3", "loop dynamics", "the same, speed over pump flow when settled", "rpm/(L/min)", 18.0639, 1e-4, RELATIVE,
     MERRITT_6, CLOSED_FORM, p4_3, 0.0, NULL},
    {"P4.4", "loop dynamics", "natural frequency with both lines of 1 L over one", "", 1.41421356, 1e-6, RELATIVE,
     MERRITT_6, CLOSED_FORM, p4_4, 0.0, NULL},
    {"P4.5", "loop dynamics",
     "2.5 L leaking 2e-12 m3/s/Pa from 200 bar: pressure after 1 s (the list's 76.577 is not its own closed form)",
     "bar", 76.578577, 1e-6, RELATIVE, "p exp(-K C t/V)", CLOSED_FORM, p4_5, 0.0, NULL},
    {"P4.6", "loop dynamics", "20 L/min into 0.5 L: rise, from the rates", "bar/s", 8000.0, 1e-9, RELATIVE, "K Q/V",
     CLOSED_FORM, p4_6_rate, 0.0, NULL},
    {"P4.6", "loop dynamics", "the same, from a run of 25 ms", "bar/s", 8000.0, 1e-8, RELATIVE, "K Q/V", CLOSED_FORM,
     p4_6_run, 0.0, NULL},
    {"P4.8", "loop dynamics", "line, limiter and servo at the Routh limit: growth a radian", "", 0.0, 1e-4, ABSOLUTE,
     "third order after N. D. Manring and G. R. Luecke, J. Dyn. Syst. 120 (1998) 45; Routh", CLOSED_FORM,
     limiter_loop_growth, 1.0, NULL},
    {"P4.8", "loop dynamics", "at 95 % of the limiting gain", "", -1.0, -1e-3, BETWEEN, "Routh", CLOSED_FORM,
     limiter_loop_growth, 0.95, NULL},
    {"P4.8", "loop dynamics", "at 105 %", "", 1e-3, 1.0, BETWEEN, "Routh", CLOSED_FORM, limiter_loop_growth, 1.05,
     NULL},
};

ROWS_MAIN(rows)
