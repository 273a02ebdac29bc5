/* Do the demo hoses need waves? A line of the demo machine (3 m of hose of 32 mm bore, the rest of its volume at its
 * ends) by the method of characteristics against the program's one volume: the motor stops, the relief valve opens. The
 * characteristics are this file's own and are held against Joukowsky's surge; the one volume is the program's valve
 * rig. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "measures.h"
#include "rows.h"

/* Oil and hose together at some 400 bar: liquid 1.9 GPa and walls 0.9 GPa in series. */
#define MODULUS 0.61e9
#define DENSITY 870.0
#define FLOW (262.0 * LITRE_PER_MINUTE)
#define START 250e5
#define CRACK 420e5
#define GRADIENT (8.0 * LITRE_PER_MINUTE / BAR)
#define LAG 8e-3
#define VOLUME 3.5e-3 /* m3, hose and what it joins */

enum { REACHES = 60 };

struct line {
  double modulus;
  double length;
  double bore;
  double pump_end;  /* m3 at the pump's end, with the relief valve */
  double motor_end; /* m3 at the motor's */
  double viscosity; /* m2/s */
  double flow;      /* m3/s, pumped */
  double stop;      /* s in which the motor's flow falls to nothing */
  bool relieved;
};

struct peaks {
  double pump_end;
  double motor_end;
};

/* Characteristics with laminar friction, Courant number 1; volumes and valve at the ends by the implicit Euler method.
 */
static struct peaks characteristics(const struct line *line, double until) {
  double area = 0.25 * REAL_PI * line->bore * line->bore;
  double wave = sqrt(line->modulus / DENSITY);
  double impedance = DENSITY * wave / area;
  double step = line->length / REACHES / wave;
  double friction = 32.0 * DENSITY * line->viscosity / (line->bore * line->bore) / area * line->length / REACHES;
  double p[REACHES + 1];
  double q[REACHES + 1];
  for (int i = 0; i <= REACHES; i++) {
    p[i] = START - i * friction * line->flow;
    q[i] = line->flow;
  }
  struct peaks peaks = {p[0], p[REACHES]};
  double opening = 0.0;
  for (double t = step; t < until; t += step) {
    double next_p[REACHES + 1];
    double next_q[REACHES + 1];
    double taken = line->stop > 0.0 ? line->flow * fmax(0.0, 1.0 - t / line->stop) : 0.0;
    double forth[REACHES + 1];
    double back[REACHES + 1];
    for (int i = 0; i <= REACHES; i++) {
      forth[i] = p[i] + (impedance - friction) * q[i];
      back[i] = p[i] - (impedance - friction) * q[i];
    }
    for (int i = 1; i < REACHES; i++) {
      next_p[i] = 0.5 * (forth[i - 1] + back[i + 1]);
      next_q[i] = (forth[i - 1] - next_p[i]) / impedance;
    }
    double stiff = line->pump_end / line->modulus / step;
    double over = line->relieved ? GRADIENT * opening : 0.0;
    next_p[0] = (stiff * p[0] + line->flow - over + back[1] / impedance) / (stiff + 1.0 / impedance);
    next_q[0] = (next_p[0] - back[1]) / impedance;
    stiff = line->motor_end / line->modulus / step;
    next_p[REACHES] = (stiff * p[REACHES] - taken + forth[REACHES - 1] / impedance) / (stiff + 1.0 / impedance);
    next_q[REACHES] = (forth[REACHES - 1] - next_p[REACHES]) / impedance;
    memcpy(p, next_p, sizeof p);
    memcpy(q, next_q, sizeof q);
    opening += step / LAG * (fmax(0.0, p[0] - CRACK) - opening);
    peaks.pump_end = fmax(peaks.pump_end, p[0]);
    peaks.motor_end = fmax(peaks.motor_end, p[REACHES]);
  }
  return peaks;
}

/* The characteristics alone: flow in a long pipe is stopped at once; the surge at its end before anything comes back.
 */
static double surge(double none) {
  (void)none;
  double bore = 0.02;
  double flow = 5.0 * 0.25 * REAL_PI * bore * bore;
  struct line pipe = {1.4e9, 50.0, bore, 1.0, 0.0, 0.0, flow, 0.0, false};
  return (characteristics(&pipe, 0.03).motor_end - START) / BAR;
}

/* Peak, gauge as the program tells it, of the line as one volume: what the pump gives and the motor no longer takes
 * feeds it. */
static double as_one_volume(double volume, double stop) {
  char text[1024];
  (void)snprintf(text, sizeof text,
                 "circuit: valve_rig\nsimulation: {end_time: 0.25 s}\n"
                 "fluid: {density: 870 kg/m3, air_content: 0 %%, bulk_modulus: 6100 bar, bulk_modulus_slope: 0, "
                 "wall_modulus: 1e7 bar, ambient_pressure: 1 bar}\n"
                 "rig: {volume: %.9g L, feed_flow: 262 L/min, start_pressure: 250 bar, case_pressure: 0 bar, "
                 "feed: [[0 s, 0 %%], [%.6g s, 100 %%]]}\n"
                 "relief: {law: first_order, setting: 420 bar, gradient: 8 L/min/bar, lag: 8 ms}\n",
                 1e3 * volume, stop);
  return bench_measure(text, MEASURE_peak_line_a_pressure);
}

/* Lumped over distributed peak, at the end where the relief valve is (0) or at the motor's (1). */
static double over_distributed(double length, double stop, bool at_motor) {
  double bore = 0.032;
  double hose = length * 0.25 * REAL_PI * bore * bore;
  double ends = fmax(VOLUME - hose, 0.05 * VOLUME);
  struct line line = {MODULUS, length, bore, 0.6 * ends, 0.4 * ends, 20e-6, FLOW, stop, true};
  struct peaks peaks = characteristics(&line, 0.25);
  return as_one_volume(hose + ends, fmax(stop, 1e-5)) / (at_motor ? peaks.motor_end : peaks.pump_end);
}

static double at_pump(double stop) {
  return over_distributed(3.0, stop, false);
}

static double at_motor(double stop) {
  return over_distributed(3.0, stop, true);
}

static double stopped_dead(double length) {
  return over_distributed(length, 0.0, false);
}

static const struct row rows[] = {
    {"P1.17", "long lines", "the characteristics themselves: surge of 5 m/s stopped at once, 1.4 GPa, 870 kg/m3", "bar",
     55.18, 1e-3, RELATIVE, "N. Joukowsky's surge rho a v", CLOSED_FORM, surge, 0.0, NULL},
    {"H11", "long lines", "one volume over characteristics: peak at the relief valve, motor stopped in 20 ms", "", 1.0,
     5e-3, RELATIVE, "method of characteristics", CLOSED_FORM, at_pump, 0.02, NULL},
    {"H11", "long lines", "the same, motor stopped in 10 ms", "", 1.0, 5e-3, RELATIVE, "method of characteristics",
     CLOSED_FORM, at_pump, 0.01, NULL},
    {"H11", "long lines", "the same, at the motor's end, stopped in 20 ms", "", 1.0, 1.5e-2, RELATIVE,
     "method of characteristics", CLOSED_FORM, at_motor, 0.02, NULL},
    {"H11", "long lines", "the same at the relief valve, motor stopped dead", "", 1.0, 3e-2, RELATIVE,
     "method of characteristics", CLOSED_FORM, at_pump, 0.0, NULL},
    {"H11", "long lines", "the same with 5 m of hose, motor stopped dead", "", 1.0, 9e-2, RELATIVE,
     "method of characteristics", CLOSED_FORM, stopped_dead, 5.0, NULL},
};

ROWS_MAIN(rows)
