/* Section 3 of the outside checks: pump, motor, swash servo. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "motor.h"
#include "pump.h"
#include "rows.h"
#include "sample.h"
#include "swash.h"

#define CUBIC_INCH (INCH * INCH * INCH)
#define INCH_POUND (POUND_FORCE * INCH)

/* ---- power ---- */

/* The feed of the valve rig at 400 bar: its power in the ledger. */
static double p3_1(double none) {
  (void)none;
  struct bench *bench = bench_open("circuit: valve_rig\nrig: {feed_flow: 200 L/min}\n");
  bench_set_pressure(bench, "line_a_compression", 400.0 * BAR + bench->oil.ambient);
  double power = bench_power(bench, "feed") * 1e-3;
  bench_close(bench);
  return power;
}

/* ---- worked examples: ideal flow and torque by the kernels, the examples' measured figures beside them ---- */

struct measured {
  double displacement; /* m3/rev */
  double speed;        /* rpm */
  double pressure;     /* Pa */
  double flow;         /* m3/s */
  double torque;       /* N m */
};

static const struct measured us_pump = {5.0 * CUBIC_INCH, 1000.0, 1000.0 * PSI, 20.0 * GALLON / 60.0,
                                        900.0 * INCH_POUND};
static const struct measured si_pump = {100e-6, 1000.0, 70.0 * BAR, 0.0015, 120.0};
static const struct measured us_motor = {10.0 * CUBIC_INCH, 2000.0, 1000.0 * PSI, 95.0 * GALLON / 60.0,
                                         1500.0 * INCH_POUND};

static double volumetric(const struct measured *m) {
  return m->flow / pump_displaced_flow(m->displacement * PER_REVOLUTION, 1.0, m->speed * RPM);
}

static double mechanical(const struct measured *m) {
  return pump_pressure_torque(m->displacement * PER_REVOLUTION, 1.0, m->pressure) / m->torque;
}

enum { ETA_V, ETA_HM, ETA };

static double pump_efficiency(const struct measured *m, double which) {
  return which == ETA_V ? volumetric(m) : which == ETA_HM ? mechanical(m) : volumetric(m) * mechanical(m);
}

static double p3_2(double which) {
  return pump_efficiency(&us_pump, which);
}

static double p3_2_torque(double none) {
  (void)none;
  return pump_pressure_torque(us_pump.displacement * PER_REVOLUTION, 1.0, us_pump.pressure) / INCH_POUND;
}

static double p3_3(double which) {
  return pump_efficiency(&si_pump, which);
}

static double p3_3_torque(double none) {
  (void)none;
  return pump_pressure_torque(si_pump.displacement * PER_REVOLUTION, 1.0, si_pump.pressure);
}

/* Speed of an ideal motor that takes `flow`: its flow over that at one radian a second. */
static double motor_speed(double displacement, double flow) {
  return flow / motor_displaced_flow(displacement * PER_REVOLUTION, 1.0, 1.0);
}

static double p3_6_speed(double none) {
  (void)none;
  return motor_speed(5.0 * CUBIC_INCH, 10.0 * GALLON / 60.0) / RPM;
}

static double p3_6_torque(double none) {
  (void)none;
  return motor_pressure_torque(5.0 * CUBIC_INCH * PER_REVOLUTION, 1.0, 1000.0 * PSI) / INCH_POUND;
}

static double p3_6_power(double none) {
  return p3_6_speed(none) * RPM * p3_6_torque(none) * INCH_POUND / HORSEPOWER;
}

static double p3_7_speed(double none) {
  (void)none;
  return motor_speed(82e-6, 0.0006) / RPM;
}

static double p3_7_torque(double none) {
  (void)none;
  return motor_pressure_torque(82e-6 * PER_REVOLUTION, 1.0, 70.0 * BAR);
}

static double p3_7_power(double none) {
  return p3_7_speed(none) * RPM * p3_7_torque(none) * 1e-3;
}

static double p3_8(double which) {
  double eta_v = 1.0 / volumetric(&us_motor);
  double eta_hm = 1.0 / mechanical(&us_motor);
  return 100.0 * (which == ETA_V ? eta_v : which == ETA_HM ? eta_hm : eta_v * eta_hm);
}

/* Hydrostatic transmission: the motor whose flow at 400 rpm is what the pump delivers, efficiencies given. */
static double p3_10_displacement(double none) {
  (void)none;
  double flow = 0.82 * pump_displaced_flow(5.0 * CUBIC_INCH * PER_REVOLUTION, 1.0, 500.0 * RPM);
  return 0.92 * flow / motor_displaced_flow(CUBIC_INCH * PER_REVOLUTION, 1.0, 400.0 * RPM);
}

static double p3_10_torque(double none) {
  return 0.90 * motor_pressure_torque(p3_10_displacement(none) * CUBIC_INCH * PER_REVOLUTION, 1.0, 1000.0 * PSI) /
         INCH_POUND;
}

/* ---- losses by Wilson's coefficients ---- */

static struct rotary_losses wilson(double displacement_cm3) {
  DEFAULTS(pump, pump);
  pump.displacement = displacement_cm3 * 1e-6 * PER_REVOLUTION;
  pump.slip_coefficient = 2e-9;
  pump.case_leak_coefficient = 0.0;
  pump.viscous_coefficient = 1.5e5;
  pump.viscous_exponent = 1.0;
  pump.friction_coefficient = 0.02;
  pump.constant_torque = 0.0;
  pump.pressure_width = 1e-3;
  return pump_losses(&pump, 1.0);
}

enum { SLIP, FLOW, TORQUE, EFFICIENCY };

#define WILSON_DROP (250.0 * BAR)
#define WILSON_VISCOSITY 0.020

static double p3_11(double which) {
  struct rotary_losses losses = wilson(90.0);
  double speed = 2000.0 * RPM;
  double slip = rotary_slip_flow(&losses, WILSON_DROP, WILSON_VISCOSITY);
  double flow = pump_displaced_flow(losses.displacement, 1.0, speed) - slip;
  double torque = pump_pressure_torque(losses.displacement, 1.0, WILSON_DROP) +
                  rotary_torque_loss(&losses, WILSON_DROP, speed, WILSON_VISCOSITY);
  return which == SLIP     ? slip / LITRE_PER_MINUTE
         : which == FLOW   ? flow / LITRE_PER_MINUTE
         : which == TORQUE ? torque
                           : flow * WILSON_DROP / (torque * speed);
}

/* The motor: driving at positive speed; overrunning, driven against the same drop at the opposite speed. */
static double motor_torque(const struct rotary_losses *losses, double speed) {
  return motor_pressure_torque(losses->displacement, 1.0, WILSON_DROP) -
         rotary_torque_loss(losses, WILSON_DROP, speed, WILSON_VISCOSITY);
}

static double motor_flow(const struct rotary_losses *losses, double speed) {
  return motor_displaced_flow(losses->displacement, 1.0, speed) +
         rotary_slip_flow(losses, WILSON_DROP, WILSON_VISCOSITY);
}

static double p3_12(double which) {
  struct rotary_losses losses = wilson(110.0);
  double speed = 1500.0 * RPM;
  double flow = motor_flow(&losses, speed);
  double torque = motor_torque(&losses, speed);
  return which == FLOW ? flow / LITRE_PER_MINUTE : which == TORQUE ? torque : torque * speed / (flow * WILSON_DROP);
}

static double p3_13(double which) {
  struct rotary_losses losses = wilson(110.0);
  double speed = -1500.0 * RPM;
  return which == FLOW ? -motor_flow(&losses, speed) / LITRE_PER_MINUTE : motor_torque(&losses, speed);
}

/* How many of 20 000 random states of all quadrants lose less than nothing. */
static double p3_14(double of_motor) {
  struct sampler sampler = {314u};
  int gaining = 0;
  for (int i = 0; i < 20000; i++) {
    struct rotary_losses losses = wilson(sample_between(&sampler, 20.0, 300.0));
    losses.case_leak = sample_between(&sampler, 0.0, 2e-9);
    double speed = sample_between(&sampler, -300.0, 300.0);
    double share = sample_between(&sampler, of_motor > 0.0 ? 0.2 : -1.0, 1.0);
    double a = sample_between(&sampler, 0.0, 450.0 * BAR);
    double b = sample_between(&sampler, 0.0, 450.0 * BAR);
    double mu = sample_decades(&sampler, 5e-3, 1.0);
    double leaks = rotary_slip_flow(&losses, a - b, mu);
    double case_a = rotary_case_flow(&losses, a, mu);
    double case_b = rotary_case_flow(&losses, b, mu);
    double loss = rotary_torque_loss(&losses, a - b, speed, mu);
    double lost;
    if (of_motor > 0.0) { /* oil in minus shaft out */
      double into_a = motor_displaced_flow(losses.displacement, share, speed) + leaks + case_a;
      double out_of_b = motor_displaced_flow(losses.displacement, share, speed) + leaks - case_b;
      lost = into_a * a - out_of_b * b - (motor_pressure_torque(losses.displacement, share, a - b) - loss) * speed;
    } else { /* shaft in minus oil out */
      double out_of_a = pump_displaced_flow(losses.displacement, share, speed) - leaks - case_a;
      double into_b = pump_displaced_flow(losses.displacement, share, speed) - leaks + case_b;
      lost = (pump_pressure_torque(losses.displacement, share, a - b) + loss) * speed - (out_of_a * a - into_b * b);
    }
    gaining += lost < -1e-9 * (fabs(loss * speed) + fabs(leaks * (a - b)));
  }
  return gaining;
}

/* ---- swash servo ---- */

struct servo {
  struct swash_parameters swash;
  struct limiter_parameters limiter;
};

static void servo_rates(void *context, double t, const double *state, double *rates) {
  const struct servo *servo = context;
  struct limiter_action full = {1.0, 0.0};
  (void)t;
  rates[0] = swash_stroke_rate(&servo->swash, &servo->limiter, state[0], full, servo->swash.nominal_supply);
}

/* The stroke at t, or (below zero) the time at which the stroke -t is reached, by bisection on the last step. */
static double p3_15(double asked) {
  DEFAULTS(swash, swash);
  DEFAULTS(limiter, limiter);
  struct servo servo = {swash, limiter};
  servo.swash.charge_loss = SWASH_HELD;
  servo.swash.servo_lag = 0.05;
  servo.swash.rate_up = servo.swash.rate_down = 2.0;
  const double tolerance = 1e-12;
  const char *const name = "stroke";
  struct integrator_problem problem = {.state_count = 1,
                                       .context = &servo,
                                       .rates = servo_rates,
                                       .tolerances = &tolerance,
                                       .state_names = &name,
                                       .relative_tolerance = 1e-11,
                                       .nonlinear_tolerance = 0.01,
                                       .largest_order = 5,
                                       .integral_tolerance = 1.0,
                                       .largest_step = 1e-2};
  struct error error = {0};
  double stroke = 0.0;
  double none = 0.0;
  struct integrator *integrator = integrator_new(&problem, &error);
  double end = asked > 0.0 ? asked : 2.0;
  bool going = integrator_start(integrator, 0.0, &stroke, &none, &error);
  while (going && integrator_time(integrator) < end) {
    going = integrator_step(integrator, end, &error);
    integrator_state_at(integrator, integrator_time(integrator), &stroke);
    if (asked < 0.0 && stroke >= -asked) {
      break;
    }
  }
  double found = stroke;
  if (asked < 0.0) {
    double low = integrator_step_start(integrator);
    double high = integrator_time(integrator);
    while (high - low > 1e-13) {
      double middle = 0.5 * (low + high);
      integrator_state_at(integrator, middle, &stroke);
      if (stroke < -asked) {
        low = middle;
      } else {
        high = middle;
      }
    }
    found = high;
  }
  integrator_free(integrator);
  return going ? found : NAN;
}

static double p3_16(double none) {
  (void)none;
  DEFAULTS(swash, swash);
  return 1.0 / swash.rate_up;
}

#define ESPOSITO(place) "A. Esposito, Fluid Power with Applications, " place
#define WILSON "W. E. Wilson, Rotary-Pump Theory, Trans. ASME 68 (1946): model"

static const struct row rows[] = {
    {"P3.1", "power", "200 L/min at 400 bar", "kW", 133.3333, 1e-5, RELATIVE, "definition of hydraulic power, ISO 4391",
     CLOSED_FORM, p3_1, 0.0, NULL},
    {"P3.2", "pump and motor", "pump 5 in3, 1000 rpm, 1000 psi, 20 gal/min, 900 in lb: volumetric", "", 0.924, 5e-3,
     RELATIVE, ESPOSITO("Ex. 5-8, p. 190"), PUBLISHED, p3_2, ETA_V, NULL},
    {"P3.2", "pump and motor", "mechanical", "", 0.8842, 5e-3, RELATIVE, ESPOSITO("Ex. 5-8"), PUBLISHED, p3_2, ETA_HM,
     NULL},
    {"P3.2", "pump and motor", "overall (published as 81.6 %)", "", 0.816, 5e-3, RELATIVE, ESPOSITO("Ex. 5-8"),
     PUBLISHED, p3_2, ETA, NULL},
    {"P3.2", "pump and motor", "ideal torque (published as 793)", "in lb", 793.0, 5e-3, RELATIVE, ESPOSITO("Ex. 5-8"),
     PUBLISHED, p3_2_torque, 0.0, NULL},
    {"P3.3", "pump and motor", "pump 100 cm3, 1000 rpm, 70 bar, 1.5 L/s, 120 N m: volumetric", "", 0.900, 1e-3,
     RELATIVE, ESPOSITO("Ex. 5-9, p. 201"), PUBLISHED, p3_3, ETA_V, NULL},
    {"P3.3", "pump and motor", "mechanical", "", 0.9284, 1e-3, RELATIVE, ESPOSITO("Ex. 5-9"), CLOSED_FORM, p3_3, ETA_HM,
     NULL},
    {"P3.3", "pump and motor", "overall", "", 0.8356, 1e-3, RELATIVE, ESPOSITO("Ex. 5-9"), CLOSED_FORM, p3_3, ETA,
     NULL},
    {"P3.3", "pump and motor", "ideal torque", "N m", 111.41, 1e-3, RELATIVE, ESPOSITO("Ex. 5-9"), CLOSED_FORM,
     p3_3_torque, 0.0, NULL},
    {"P3.6", "pump and motor", "ideal motor 5 in3, 10 gal/min, 1000 psi: speed", "rpm", 462.0, 3e-3, RELATIVE,
     ESPOSITO("Ex. 7-2, p. 259"), PUBLISHED, p3_6_speed, 0.0, NULL},
    {"P3.6", "pump and motor", "torque", "in lb", 795.8, 3e-3, RELATIVE, ESPOSITO("Ex. 7-2"), PUBLISHED, p3_6_torque,
     0.0, NULL},
    {"P3.6", "pump and motor", "power", "hp", 5.833, 3e-3, RELATIVE, ESPOSITO("Ex. 7-2"), PUBLISHED, p3_6_power, 0.0,
     NULL},
    {"P3.7", "pump and motor", "ideal motor 82 cm3, 0.6 L/s, 70 bar: speed", "rpm", 439.0, 1e-3, RELATIVE,
     ESPOSITO("Ex. 7-5, p. 267"), PUBLISHED, p3_7_speed, 0.0, NULL},
    {"P3.7", "pump and motor", "torque", "N m", 91.35, 1e-3, RELATIVE, ESPOSITO("Ex. 7-5"), PUBLISHED, p3_7_torque, 0.0,
     NULL},
    {"P3.7", "pump and motor", "power", "kW", 4.200, 1e-3, RELATIVE, ESPOSITO("Ex. 7-5"), PUBLISHED, p3_7_power, 0.0,
     NULL},
    {"P3.8", "pump and motor", "motor 10 in3, 1000 psi, 2000 rpm, 95 gal/min, 1500 in lb: volumetric", "%", 91.1, 2e-3,
     RELATIVE, ESPOSITO("Ex. 7-3, p. 262"), PUBLISHED, p3_8, ETA_V, NULL},
    {"P3.8", "pump and motor", "mechanical", "%", 94.25, 2e-3, RELATIVE, ESPOSITO("Ex. 7-3"), PUBLISHED, p3_8, ETA_HM,
     NULL},
    {"P3.8", "pump and motor", "overall (published as 85.8)", "%", 85.8, 2e-3, RELATIVE, ESPOSITO("Ex. 7-3"), PUBLISHED,
     p3_8, ETA, NULL},
    {"P3.10", "pump and motor", "transmission: motor for 400 rpm behind a pump of 5 in3 at 500 rpm", "in3", 4.71, 3e-3,
     RELATIVE, ESPOSITO("Ex. 7-4, p. 264"), PUBLISHED, p3_10_displacement, 0.0, NULL},
    {"P3.10", "pump and motor", "torque of that motor at 1000 psi (published as 674)", "in lb", 674.0, 3e-3, RELATIVE,
     ESPOSITO("Ex. 7-4"), PUBLISHED, p3_10_torque, 0.0, NULL},
    {"P3.11", "losses", "pump 90 cm3, 2000 rpm, 250 bar, 20 mPa s: slip", "L/min", 2.1486, 1e-5, RELATIVE, WILSON,
     CLOSED_FORM, p3_11, SLIP, NULL},
    {"P3.11", "losses", "flow", "L/min", 177.851, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_11, FLOW, NULL},
    {"P3.11", "losses", "torque at the shaft", "N m", 374.261, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_11, TORQUE,
     NULL},
    {"P3.11", "losses", "overall efficiency", "", 0.945395, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_11, EFFICIENCY,
     NULL},
    {"P3.12", "losses", "motor 110 cm3, 1500 rpm, 250 bar: flow", "L/min", 167.626, 1e-5, RELATIVE, WILSON, CLOSED_FORM,
     p3_12, FLOW, NULL},
    {"P3.12", "losses", "torque at the shaft", "N m", 420.673, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_12, TORQUE,
     NULL},
    {"P3.12", "losses", "overall efficiency", "", 0.946093, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_12, EFFICIENCY,
     NULL},
    {"P3.13", "losses", "the same motor overrun as a pump: torque needed", "N m", 454.680, 1e-5, RELATIVE, WILSON,
     CLOSED_FORM, p3_13, TORQUE, NULL},
    {"P3.13", "losses", "flow delivered", "L/min", 162.374, 1e-5, RELATIVE, WILSON, CLOSED_FORM, p3_13, FLOW, NULL},
    {"P3.14", "losses", "pump, 20 000 random states of all quadrants: how many give power", "", 0.0, 0.0, ABSOLUTE,
     "second law", CLOSED_FORM, p3_14, 0.0, NULL},
    {"P3.14", "losses", "motor, the same", "", 0.0, 0.0, ABSOLUTE, "second law", CLOSED_FORM, p3_14, 1.0, NULL},
    {"P3.15", "swash servo", "lag 0.05 s, rate limit 2 1/s, full step: stroke at 0.45 s", "", 0.9, 1e-5, RELATIVE,
     "closed form", CLOSED_FORM, p3_15, 0.45, NULL},
    {"P3.15", "swash servo", "stroke at 0.5 s", "", 0.963212, 1e-5, RELATIVE, "closed form", CLOSED_FORM, p3_15, 0.5,
     NULL},
    {"P3.15", "swash servo", "time of 98 %", "s", 0.530472, 1e-5, RELATIVE, "closed form", CLOSED_FORM, p3_15, -0.98,
     NULL},
    {"P3.15", "swash servo", "time of 63.2 %", "s", 0.316060, 1e-5, RELATIVE, "closed form", CLOSED_FORM, p3_15,
     -0.63212, NULL},
    {"P3.16", "swash servo", "default time from neutral to full stroke", "s", 0.05, 1.0, BETWEEN,
     "range of mobile displacement controls", PRACTICE, p3_16, 0.0, NULL},
};

ROWS_MAIN(rows)
