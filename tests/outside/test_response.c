/* The answers of `swashloop response` held against closed forms: the whole way, case text to number. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "case.h"
#include "keep.h"
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

static double excess_of(double t, double lag, double volume) {
  double natural = sqrt(GRADIENT * MODULUS / (volume * lag));
  double damping = 0.5 / (lag * natural);
  double damped = natural * sqrt(1.0 - damping * damping);
  double factor = (damping * natural - MODULUS * GRADIENT / volume) / damped;
  return STEP_FLOW / GRADIENT * (1.0 - exp(-damping * natural * t) * (cos(damped * t) + factor * sin(damped * t)));
}

static double step_excess(double t) {
  return excess_of(t, LAG, STEP_VOLUME);
}

/* Time of the highest point, by golden section within the first swing. */
static double peak_time_of(double lag, double volume) {
  double natural = sqrt(GRADIENT * MODULUS / (volume * lag));
  double low = 0.3 / natural;
  double high = 4.0 / natural;
  for (int i = 0; i < 100; i++) {
    double left = high - 0.618033988749895 * (high - low);
    double right = low + 0.618033988749895 * (high - low);
    if (excess_of(left, lag, volume) > excess_of(right, lag, volume)) {
      high = right;
    } else {
      low = left;
    }
  }
  return 0.5 * (low + high);
}

static double step_peak_time(void) {
  return peak_time_of(LAG, STEP_VOLUME);
}

/* The highest pressure, Pa gauge: the case stands at none. */
static double peak_of(double lag, double volume) {
  return 400e5 + excess_of(peak_time_of(lag, volume), lag, volume);
}

static double step_value(enum response_id id) {
  struct error error = {0};
  struct case_data data;
  struct response_run *run = calloc(1, sizeof *run);
  double value = NAN;
  if (run != NULL && case_load_text("step.yaml", step_text, NULL, 0, &data, &error)) {
    struct response_options options = {0.05, 0.0, HUGE_VAL, 0.0};
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

/* ---- `--keep` on that step: 425 bar ---- */

#define KEPT_LEVEL 425e5

/* What `--keep` finds, once for all rows. */
static const struct keep *step_keep(void) {
  static struct keep keep;
  static bool done;
  struct error error = {0};
  struct case_data data;
  if (!done && case_load_text("step.yaml", step_text, NULL, 0, &data, &error)) {
    done = case_add_limit(&data, "line_a_pressure <= 425 bar", &error) && keep_find(&data, 1, NULL, &keep, &error);
    keep_free(&keep);
    case_free(&data);
  }
  return done ? &keep : NULL;
}

static double keep_worst(double unused) {
  (void)unused;
  return step_keep() != NULL ? step_keep()->worst / peak_of(LAG, STEP_VOLUME) : NAN;
}

static double keep_static(double unused) {
  (void)unused;
  return step_keep() != NULL ? step_keep()->parts[KEEP_PART_static_override] / (STEP_FLOW / GRADIENT) : NAN;
}

static double keep_valve_lag(double unused) {
  (void)unused;
  double closed = peak_of(LAG, STEP_VOLUME) - 400e5 - STEP_FLOW / GRADIENT;
  return step_keep() != NULL ? step_keep()->parts[KEEP_PART_valve_lag] / closed : NAN;
}

static double keep_volume(double unused) {
  (void)unused;
  return step_keep() != NULL
             ? (step_keep()->what_ifs[KEEP_twice_the_volume] - 400e5) / (peak_of(LAG, 2.0 * STEP_VOLUME) - 400e5)
             : NAN;
}

/* The lag at which the closed form reaches the level, by halving. */
static double keep_largest_lag(double unused) {
  (void)unused;
  double low = 1e-3;
  double high = 0.1;
  for (int i = 0; i < 60; i++) {
    double middle = 0.5 * (low + high);
    if (peak_of(middle, STEP_VOLUME) > KEPT_LEVEL) {
      high = middle;
    } else {
      low = middle;
    }
  }
  const struct keep *keep = step_keep();
  return keep != NULL && keep->parameters[0].kept.chosen >= 0
             ? keep->parameters[0].kept.at[keep->parameters[0].kept.chosen].high / low
             : NAN;
}

/* The largest setting: the whole closed form is over the setting, so the level less the excess. */
static double keep_largest_setting(double unused) {
  (void)unused;
  const struct keep *keep = step_keep();
  double closed = KEPT_LEVEL - (peak_of(LAG, STEP_VOLUME) - 400e5);
  return keep != NULL && keep->parameters[1].kept.chosen >= 0
             ? keep->parameters[1].kept.at[keep->parameters[1].kept.chosen].high / closed
             : NAN;
}

/* ---- a ramp of the pressure: a volume so large that what the valve passes does not matter ----
 *
 * A first-order lag behind the ramp e = r t opens by x = r (t - tau (1 - exp(-t/tau))), and passes 0.6 L/min when
 * G x = 1e-5 m3/s. */
static double ramp_delay(double unused) {
  static const char text[] =
      "circuit: valve_rig\n" PLAIN_OIL
      "relief: {law: first_order, setting: 400 bar, gradient: 7e-10 m3/s/Pa, lag: 0.004 "
      "s, flow_width: 0.001 bar}\n"
      "rig: {volume: 1000 L, feed_law: rise, rise: 2000 bar/s, start_pressure: 390 bar, case_pressure: 0 bar}\n"
      "simulation: {end_time: 0.02 s, relative_tolerance: 1e-8, pressure_tolerance: 1 Pa}\n";
  struct error error = {0};
  struct case_data data;
  struct response_run *run = calloc(1, sizeof *run);
  double low = 0.0;
  double high = 0.01;
  (void)unused;
  for (int i = 0; i < 60; i++) {
    double t = 0.5 * (low + high);
    bool open = GRADIENT * 2000e5 * (t - LAG * (1.0 - exp(-t / LAG))) > 1e-5;
    low = open ? low : t;
    high = open ? t : high;
  }
  double value = NAN;
  if (run != NULL && case_load_text("ramp.yaml", text, NULL, 0, &data, &error)) {
    struct response_options options = {0.05, 0.0, HUGE_VAL, 0.0};
    if (response_run(&data, &options, NULL, run, &error)) {
      value = run->valves[0].response.values[RESPONSE_opening_delay] / low;
    }
    response_run_free(run);
    case_free(&data);
  }
  free(run);
  return value;
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
    {"P5.4", "response of relief valves", "a limit's worst value over the closed form of the peak", "1", 1.0, 1e-5,
     RELATIVE, LINEAR, CLOSED_FORM, keep_worst, 0.0, NULL},
    {"P5.4", "response of relief valves", "the part of the static override over Q/G", "1", 1.0, 1e-4, RELATIVE, LINEAR,
     CLOSED_FORM, keep_static, 0.0, NULL},
    {"P5.4", "response of relief valves", "the part of the valve's lag over the closed form of the overshoot", "1", 1.0,
     5e-4, RELATIVE, LINEAR, CLOSED_FORM, keep_valve_lag, 0.0, NULL},
    {"P5.4", "response of relief valves", "peak over the setting on twice the volume, over the closed form", "1", 1.0,
     2e-4, RELATIVE, LINEAR, CLOSED_FORM, keep_volume, 0.0, NULL},
    {"P5.4", "response of relief valves", "largest lag that keeps 425 bar over that of the closed form", "1", 1.0,
     2.5e-3, RELATIVE, LINEAR, CLOSED_FORM, keep_largest_lag, 0.0, NULL},
    {"P5.4", "response of relief valves", "largest setting that keeps 425 bar over that of the closed form", "1", 1.0,
     3e-4, RELATIVE, LINEAR, CLOSED_FORM, keep_largest_setting, 0.0, NULL},
    {"P5.4", "response of relief valves", "ramp of the pressure: delay of the opening over the closed form", "1", 1.0,
     2e-3, RELATIVE, "first-order lag behind a ramp, closed form in the test", CLOSED_FORM, ramp_delay, 0.0, NULL},
    {"P5.4", "response of relief valves", "rise of the pressure over K Q/V", "1", 1.0, 2e-4, RELATIVE, LINEAR,
     CLOSED_FORM, step_rise, 0.0, NULL},
};

ROWS_MAIN(rows)
