/* The answers of `swashloop response` held against closed forms: the whole way, case text to number. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "case.h"
#include "response_run.h"
#include "rows.h"
#include "valve_curve.h"

/* Oil of one stiffness: no air, no wall, no rise with pressure. */
#define PLAIN_OIL                                                                                                      \
  "fluid: {bulk_modulus: 1.2 GPa, bulk_modulus_slope: 0, air_content: 0 %, wall_modulus: 1e7 bar, density: 870 "       \
  "kg/m3}\n"

/* ---- P5.1, P5.5: the curve ---- */

/* Esposito's valve: area 0.75 in2, spring 2500 lbf/in, preload 0.20 in; the lift at full flow is 0.10 in. No flow
 * force: the jet leaves square to the axis. The width is chosen so that 120 L/min need that lift at 1000 psi. */
static const char esposito_valve[] =
    "circuit: valve_rig\n" PLAIN_OIL "relief: {law: poppet, setting: 666.6666667 psi, seat_diameter: 0.97720502 in, "
    "spring_rate: 437.8171 N/mm, jet_angle: 90 deg, discharge: 0.65, opening_width: 9.623 mm, poppet_damping: 800 N "
    "s/m, "
    "flow_width: 0.001 bar}\n"
    "rig: {volume: 1 L, case_pressure: 0 bar}\n";

static const char merritt_valve[] =
    "circuit: valve_rig\n" PLAIN_OIL "relief: {law: poppet, setting: 400 bar, seat_diameter: 10 mm, spring_rate: 200 "
    "N/mm, opening_width: 20 mm, discharge: 0.65, jet_angle: 69 deg, poppet_damping: 800 N s/m}\n"
    "rig: {volume: 1 L, case_pressure: 0 bar}\n";

static bool curve_of(const char *text, double flow, struct valve_curve *curve) {
  struct error error = {0};
  struct case_data data;
  if (!case_load_text("valve.yaml", text, NULL, 0, &data, &error)) {
    return false;
  }
  bool good = valve_curve_find(&data, flow, 4.0, NULL, curve, &error);
  case_free(&data);
  return good;
}

/* Mean of both ways: the ramp's own lag, which has one sign up and the other down, falls out. */
static double at_flow(const char *text, double flow, bool lift) {
  struct valve_curve *curve = calloc(1, sizeof *curve);
  double value = NAN;
  if (curve != NULL && curve_of(text, flow, curve)) {
    int last = VALVE_CURVE_POINTS - 1;
    value = lift ? curve->lift[last] : 0.5 * (curve->up[last] + curve->down[last]);
  }
  free(curve);
  return value;
}

static double p5_1_cracking(double unused) {
  struct valve_curve *curve = calloc(1, sizeof *curve);
  double value = NAN;
  (void)unused;
  if (curve != NULL && curve_of(esposito_valve, 2e-3, curve)) {
    /* 0.6 L/min already lift the poppet a little: back along the curve to no flow. */
    double slope = (curve->up[1] - curve->up[0]) / (curve->flow[1] - curve->flow[0]);
    value = (curve->up[0] - slope * curve->flow[0]) / PSI;
  }
  free(curve);
  return value;
}

static double p5_1_full(double unused) {
  (void)unused;
  /* The drop at the flow whose lift is 0.10 in. */
  struct valve_curve *curve = calloc(1, sizeof *curve);
  double value = NAN;
  if (curve != NULL && curve_of(esposito_valve, 2.4e-3, curve)) {
    for (int i = 1; i < VALVE_CURVE_POINTS && isnan(value); i++) {
      if (curve->lift[i] >= 0.10 * INCH) {
        double share = (0.10 * INCH - curve->lift[i - 1]) / (curve->lift[i] - curve->lift[i - 1]);
        value = (curve->up[i - 1] + share * (curve->up[i] - curve->up[i - 1])) / PSI;
      }
    }
  }
  free(curve);
  return value;
}

static double p5_1_override(double unused) {
  return 100.0 * (p5_1_full(unused) / p5_1_cracking(unused) - 1.0);
}

static double p5_5_drop(double flow) {
  return at_flow(merritt_valve, flow, false) / BAR;
}

static double p5_5_lift(double flow) {
  return 1e3 * at_flow(merritt_valve, flow, true);
}

/* ---- a step: the first-order law on oil of one stiffness is a linear second-order system ----
 *
 * With e = p - p_c, natural frequency w0 = sqrt(G K/(V tau)), damping z = 1/(2 tau w0), end value Q/G, started at e = 0
 * with slope K Q/V: e = (Q/G) (1 - exp(-z w0 t) (cos wd t + (z w0 - K G/V)/wd sin wd t)), wd = w0 sqrt(1 - z^2). */

#define MODULUS (1.0 / (1.0 / 1.2e9 + 1.0 / 1e12)) /* oil and the stiffest wall */
#define STEP_FLOW 1e-3
#define GRADIENT 7e-10
#define LAG 0.004
#define STEP_VOLUME 1e-3

static const char step_text[] =
    "circuit: valve_rig\n" PLAIN_OIL "relief: {law: first_order, setting: 400 bar, gradient: 7e-10 m3/s/Pa, lag: 0.004 "
    "s, flow_width: 0.001 bar}\n"
    "rig: {volume: 1 L, feed_flow: 1 L/s, start_pressure: 300 bar, case_pressure: 0 bar}\n"
    "simulation: {end_time: 0.5 s, relative_tolerance: 1e-8, pressure_tolerance: 1 Pa}\n";

static double step_excess(double t) {
  double natural = sqrt(GRADIENT * MODULUS / (STEP_VOLUME * LAG));
  double damping = 0.5 / (LAG * natural);
  double damped = natural * sqrt(1.0 - damping * damping);
  double factor = (damping * natural - MODULUS * GRADIENT / STEP_VOLUME) / damped;
  return STEP_FLOW / GRADIENT * (1.0 - exp(-damping * natural * t) * (cos(damped * t) + factor * sin(damped * t)));
}

/* Time of the highest point, by golden section. */
static double step_peak_time(void) {
  double low = 1e-3;
  double high = 8e-3;
  for (int i = 0; i < 100; i++) {
    double left = high - 0.618033988749895 * (high - low);
    double right = low + 0.618033988749895 * (high - low);
    if (step_excess(left) > step_excess(right)) {
      high = right;
    } else {
      low = left;
    }
  }
  return 0.5 * (low + high);
}

static double step_value(enum response_id id) {
  struct error error = {0};
  struct case_data data;
  struct response_run *run = calloc(1, sizeof *run);
  double value = NAN;
  if (run != NULL && case_load_text("step.yaml", step_text, NULL, 0, &data, &error)) {
    struct response_options options = {0.02, 0.0, HUGE_VAL, 0.0};
    if (response_run(&data, &options, NULL, run, &error)) {
      value = run->valves[0].response.values[id];
    }
    response_run_free(run);
    case_free(&data);
  }
  free(run);
  return value;
}

static double step_overshoot(double unused) {
  (void)unused;
  double closed = step_excess(step_peak_time()) - STEP_FLOW / GRADIENT;
  return step_value(RESPONSE_overshoot) / closed;
}

static double step_response_time(double unused) {
  (void)unused;
  return step_value(RESPONSE_response_time) / step_peak_time();
}

static double step_frequency(double unused) {
  (void)unused;
  double natural = sqrt(GRADIENT * MODULUS / (STEP_VOLUME * LAG));
  double damping = 0.5 / (LAG * natural);
  return step_value(RESPONSE_frequency) * 2.0 * 3.14159265358979 / (natural * sqrt(1.0 - damping * damping));
}

static double step_damping(double unused) {
  (void)unused;
  double natural = sqrt(GRADIENT * MODULUS / (STEP_VOLUME * LAG));
  return step_value(RESPONSE_damping_ratio) * 2.0 * LAG * natural;
}

static double step_settled(double unused) {
  (void)unused;
  return step_value(RESPONSE_settled_drop) / BAR;
}

static double step_rise(double unused) {
  (void)unused;
  return step_value(RESPONSE_rise_rate) / (MODULUS * STEP_FLOW / STEP_VOLUME);
}

#define ESPOSITO "A. Esposito, Fluid Power with Applications, Ex. 8-1, p. 293"
#define BALANCE "force balance with the flow force of H. E. Merritt, 2 Cd cos(69 deg) w x dp"
#define LINEAR "linear system of second order, closed form in the test"

static const struct row rows[] = {
    {"P5.1", "response of relief valves", "flow-pressure curve of a direct valve: cracking", "psi", 666.7, 1e-3,
     RELATIVE, ESPOSITO, PUBLISHED, p5_1_cracking, 0.0, NULL},
    {"P5.1", "response of relief valves", "the same at a lift of 0.10 in", "psi", 1000.0, 1e-3, RELATIVE, ESPOSITO,
     PUBLISHED, p5_1_full, 0.0, NULL},
    {"P5.1", "response of relief valves", "pressure override", "%", 50.0, 2e-3, RELATIVE, ESPOSITO, PUBLISHED,
     p5_1_override, 0.0, NULL},
    {"P5.5", "response of relief valves", "slow ramp over a poppet: drop at 0.5 L/s", "bar", 409.281, 1e-4, RELATIVE,
     BALANCE, CLOSED_FORM, p5_5_drop, 0.5e-3, NULL},
    {"P5.5", "response of relief valves", "drop at 1.0 L/s", "bar", 418.629, 1e-4, RELATIVE, BALANCE, CLOSED_FORM,
     p5_5_drop, 1e-3, NULL},
    {"P5.5", "response of relief valves", "drop at 2.0 L/s", "bar", 437.532, 1e-4, RELATIVE, BALANCE, CLOSED_FORM,
     p5_5_drop, 2e-3, NULL},
    {"P5.5", "response of relief valves", "lift at 2.0 L/s", "mm", 0.485094, 1e-3, RELATIVE, BALANCE, CLOSED_FORM,
     p5_5_lift, 2e-3, NULL},
    {"P5.4", "response of relief valves", "flow step, lagging valve: overshoot over the closed form", "1", 1.0, 1e-4,
     RELATIVE, LINEAR, CLOSED_FORM, step_overshoot, 0.0, NULL},
    {"P5.4", "response of relief valves", "response time over the closed form", "1", 1.0, 1e-4, RELATIVE, LINEAR,
     CLOSED_FORM, step_response_time, 0.0, NULL},
    {"P5.4", "response of relief valves", "frequency over the closed form", "1", 1.0, 1e-4, RELATIVE, LINEAR,
     CLOSED_FORM, step_frequency, 0.0, NULL},
    {"P5.4", "response of relief valves", "damping ratio over the closed form", "1", 1.0, 1e-4, RELATIVE, LINEAR,
     CLOSED_FORM, step_damping, 0.0, NULL},
    {"P5.4", "response of relief valves", "settled pressure, setting plus Q/G", "bar", 414.285714, 1e-6, RELATIVE,
     LINEAR, CLOSED_FORM, step_settled, 0.0, NULL},
    {"P5.4", "response of relief valves", "rise of the pressure over K Q/V", "1", 1.0, 2e-4, RELATIVE, LINEAR,
     CLOSED_FORM, step_rise, 0.0, NULL},
};

ROWS_MAIN(rows)
