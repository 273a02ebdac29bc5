/* Section 9 of the outside checks: numerical reference problems through the program's own integrator room, event
 * problems through its run room, and whole runs under changed tolerances. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "rows.h"
#include "toy.h"

/* ---- the integrator alone ---- */

struct problem {
  int count;
  void (*rates)(void *context, double t, const double *state, double *rates);
  double start[3];
  double tolerances[3];
};

static double integrate(const struct problem *problem, double relative, double end, int which) {
  static const char *const names[] = {"first", "second", "third"};
  struct integrator_problem asked = {.state_count = problem->count,
                                     .rates = problem->rates,
                                     .tolerances = problem->tolerances,
                                     .state_names = names,
                                     .relative_tolerance = relative,
                                     .nonlinear_tolerance = 0.01,
                                     .largest_order = 5,
                                     .integral_tolerance = 1.0,
                                     .largest_step = 1e6};
  struct error error = {0};
  double state[3];
  double none = 0.0;
  struct integrator *integrator = integrator_new(&asked, &error);
  bool going = integrator != NULL && integrator_start(integrator, 0.0, problem->start, &none, &error);
  while (going && integrator_time(integrator) < end) {
    going = integrator_step(integrator, end, &error);
  }
  if (going) {
    integrator_state_at(integrator, end, state);
  }
  integrator_free(integrator);
  return going ? state[which] : NAN;
}

static void robertson_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[0] = -0.04 * y[0] + 1e4 * y[1] * y[2];
  rates[2] = 3e7 * y[1] * y[1];
  rates[1] = -rates[0] - rates[2];
}

static const struct problem robertson = {3, robertson_rates, {1.0, 0.0, 0.0}, {1e-14, 1e-18, 1e-14}};
/* tolerances of the library's own example */
static const struct problem robertson_loose = {3, robertson_rates, {1.0, 0.0, 0.0}, {1e-8, 1e-14, 1e-6}};

static double p9_1(double which) {
  return integrate(&robertson, 1e-12, 40.0, (int)which);
}

static double p9_2(double end) {
  return integrate(&robertson_loose, 1e-4, end, 0);
}

static double p9_3(double none) {
  (void)none;
  return integrate(&robertson_loose, 1e-6, 40.0, 0);
}

static void stiff_van_der_pol(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[0] = y[1];
  rates[1] = ((1.0 - y[0] * y[0]) * y[1] - y[0]) / 1e-6;
}

static void slow_van_der_pol(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[0] = y[1];
  rates[1] = 1000.0 * (1.0 - y[0] * y[0]) * y[1] - y[0];
}

static void soft_van_der_pol(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[0] = y[1];
  rates[1] = 10.0 * (1.0 - y[0] * y[0]) * y[1] - y[0];
}

static double p9_5(double which) {
  static const struct problem problem = {2, stiff_van_der_pol, {2.0, 0.0}, {1e-12, 1e-8}};
  return integrate(&problem, 1e-11, 2.0, (int)which);
}

static double p9_6(double which) {
  static const struct problem problem = {2, slow_van_der_pol, {2.0, 0.0}, {1e-12, 1e-15}};
  return integrate(&problem, 1e-11, 2000.0, (int)which);
}

static double p9_7(double which) {
  static const struct problem problem = {2, soft_van_der_pol, {1.0, 0.0}, {1e-13, 1e-13}};
  return integrate(&problem, 1e-12, 100.0, (int)which);
}

/* ---- events through the run room ---- */

static void robertson_toy(double t, double lever, const double *y, double *rates) {
  (void)lever;
  robertson_rates(NULL, t, y, rates);
}

static enum plant_verdict ends(double *y, const char **message) {
  (void)y;
  *message = "there";
  return PLANT_ENDS_RUN;
}

static double to_a_hundredth(const double *y) {
  return 0.01 - y[2];
}

enum { TIME, FIRST, SECOND };

static double p9_4(double which) {
  static const struct toy toy = {
      .start = {1.0, 0.0, 0.0, 0.0}, .rates = robertson_toy, .falls = to_a_hundredth, .change = ends, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &toy, 10.0);
  struct error error = {0};
  struct outcome outcome;
  data.simulation.relative_tolerance = 1e-11;
  data.simulation.pressure_tolerance = 1e-3; /* absolute 1e-14 */
  data.simulation.largest_step = 1e6;
  if (!run_case(&data, NULL, NULL, &outcome, &error)) {
    return NAN;
  }
  double time = outcome.end_time;
  outcome_free(&outcome);
  /* the states there, by the integrator straight to that time */
  return which == TIME ? time : integrate(&robertson, 1e-12, time, which == FIRST ? 0 : 1);
}

#define GRAVITY_OF_BALL 9.81

static void cannon_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = y[1];
  rates[1] = -0.5;
}

static double height(const double *y) {
  return y[0];
}

static double p9_8(double none) {
  (void)none;
  static const struct toy toy = {
      .start = {1e-12, 10.0, 0.0, 0.0}, .rates = cannon_rates, .falls = height, .change = ends, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &toy, 100.0);
  struct error error = {0};
  struct outcome outcome;
  if (!run_case(&data, NULL, NULL, &outcome, &error)) {
    return NAN;
  }
  double time = outcome.status == RUN_STOPPED ? outcome.end_time : NAN;
  outcome_free(&outcome);
  return time;
}

static void ball_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = y[1];
  rates[1] = -GRAVITY_OF_BALL;
}

static enum plant_verdict bounces(double *y, const char **message) {
  *message = "bounce";
  y[0] = 0.0;
  y[1] = -0.8 * y[1];
  return PLANT_GOES_ON;
}

static const struct toy ball = {
    .start = {10.0, 0.0, 0.0, 0.0}, .rates = ball_rates, .falls = height, .change = bounces, .release = NAN};

static bool run_ball(double end, struct outcome *outcome) {
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &ball, end);
  struct error error = {0};
  data.simulation.largest_step = 1e6;
  return run_case(&data, NULL, NULL, outcome, &error);
}

/* Time of the n-th impact. */
static double p9_9(double n) {
  struct outcome outcome;
  if (!run_ball(8.5, &outcome)) {
    return NAN;
  }
  int seen = 0;
  double time = NAN;
  for (int i = 0; i < outcome.event_count; i++) {
    if (strcmp(outcome.events[i].message, "bounce") == 0 && ++seen == (int)n) {
      time = outcome.events[i].time;
    }
  }
  outcome_free(&outcome);
  return time;
}

struct peak {
  double from, to, best;
};

static bool keep_peak(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct peak *peak = context;
  (void)error;
  for (int i = 0; i < count; i++) {
    if (time[i] > peak->from && time[i] < peak->to) {
      peak->best = fmax(peak->best, values[0][i]);
    }
  }
  return true;
}

/* Height of the n-th apex, from the samples between two impacts. */
static double p9_9_apex(double n) {
  struct peak peak = {p9_9(n), p9_9(n + 1.0), 0.0};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &ball, 8.5);
  struct error error = {0};
  struct outcome outcome;
  struct recorder recorder = {&peak, keep_peak};
  data.simulation.largest_step = 1e6;
  data.simulation.output_step = 1e-5;
  if (!run_case(&data, &recorder, NULL, &outcome, &error)) {
    return NAN;
  }
  outcome_free(&outcome);
  return peak.best;
}

/* ---- whole runs ---- */

static double baseline_measure(const char *name, double tolerance, int measure) {
  char path[512];
  char relative[64];
  char pressure[64];
  const char *sets[] = {relative, pressure};
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  double value = NAN;
  (void)snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/baseline/%s.yaml", name);
  (void)snprintf(relative, sizeof relative, "simulation.relative_tolerance=%.3g", tolerance);
  (void)snprintf(pressure, sizeof pressure, "simulation.pressure_tolerance=%.3g Pa", 1e8 * tolerance);
  if (!case_load(path, sets, 2, &data, &error)) {
    return NAN;
  }
  if (run_case(&data, NULL, NULL, &outcome, &error)) {
    value = outcome.measures[measure];
    outcome_free(&outcome);
  }
  case_free(&data);
  return value;
}

static const char *const manoeuvres[] = {"climb", "downhill", "shuttle", "stall", "relief_step"};

static double p9_11(double tolerance) {
  double worst = 0.0;
  for (int i = 0; i < 5; i++) {
    worst = fmax(worst, baseline_measure(manoeuvres[i], tolerance, MEASURE_energy_residual));
  }
  return worst;
}

/* How many baseline runs fail to come closer to the tightest run with the tolerance, in peak pressure. */
static double p9_12(double none) {
  (void)none;
  int failing = 0;
  for (int i = 0; i < 5; i++) {
    double best = baseline_measure(manoeuvres[i], 1e-10, MEASURE_peak_line_a_pressure);
    double coarse = fabs(baseline_measure(manoeuvres[i], 1e-5, MEASURE_peak_line_a_pressure) - best);
    double fine = fabs(baseline_measure(manoeuvres[i], 1e-8, MEASURE_peak_line_a_pressure) - best);
    failing += !(fine <= coarse + 10.0) || !(fine < 1e3);
  }
  return failing;
}

static double p9_12_stop(double tolerance) {
  return baseline_measure("downhill", tolerance, MEASURE_stop_distance) /
         baseline_measure("downhill", 1e-11, MEASURE_stop_distance);
}

/* How often the stop distance does not come closer as the tolerance goes 1e-4, 1e-6, 1e-8. */
static double p9_12_order(double none) {
  (void)none;
  double first = fabs(p9_12_stop(1e-4) - 1.0);
  double second = fabs(p9_12_stop(1e-6) - 1.0);
  double third = fabs(p9_12_stop(1e-8) - 1.0);
  return !(second < first) + !(third < second);
}

#define REFERENCE_RUN "reference integration, fifth-order implicit Runge-Kutta at 1e-11"
#define LIBRARY "SUNDIALS example cvRoberts_dns: tolerances of the example, true values beside them"
#define IVP "Test Set for IVP Solvers, vdpol (2006)"

static const struct row rows[] = {
    {"P9.1", "integrator", "Robertson, t = 40: first", "", 0.715827068719, 1e-9, RELATIVE, REFERENCE_RUN, CLOSED_FORM,
     p9_1, 0.0, NULL},
    {"P9.1", "integrator", "second", "", 9.18553476456e-6, 1e-9, RELATIVE, REFERENCE_RUN, CLOSED_FORM, p9_1, 1.0, NULL},
    {"P9.1", "integrator", "third", "", 0.284163745746, 1e-9, RELATIVE, REFERENCE_RUN, CLOSED_FORM, p9_1, 2.0, NULL},
    {"P9.2", "integrator",
     "Robertson at 1e-4, first at t = 0.4 (ten times what is asked; the library's example: 1e-5 off)", "",
     0.98517211386, 1e-3, RELATIVE, LIBRARY, PUBLISHED, p9_2, 0.4, NULL},
    {"P9.2", "integrator", "t = 40 (the example: 4e-5 off)", "", 0.71582706872, 1e-3, RELATIVE, LIBRARY, PUBLISHED,
     p9_2, 40.0, NULL},
    {"P9.2", "integrator", "t = 40 000 (the example: 1.3e-4 off)", "", 0.03898337709, 1e-3, RELATIVE, LIBRARY,
     PUBLISHED, p9_2, 4e4, NULL},
    {"P9.3", "integrator", "Robertson at 1e-6, t = 40; within what other programs spread", "", 0.715827068719, 7.3e-7,
     RELATIVE, "SciPy 1.10.1: Radau, BDF, LSODA", CLOSED_FORM, p9_3, 0.0, NULL},
    {"P9.4", "events", "Robertson: time at which the third reaches 0.01", "s", 0.264019078, 1e-7, RELATIVE,
     REFERENCE_RUN, CLOSED_FORM, p9_4, TIME, NULL},
    {"P9.4", "events", "first there", "", 0.98996529435, 1e-7, RELATIVE, REFERENCE_RUN, CLOSED_FORM, p9_4, FIRST, NULL},
    {"P9.4", "events", "second there", "", 3.4705646653e-5, 1e-7, RELATIVE, REFERENCE_RUN, CLOSED_FORM, p9_4, SECOND,
     NULL},
    {"P9.5", "integrator", "van der Pol, eps = 1e-6, t = 2: first", "", 1.706167732170483, 1e-6, RELATIVE, IVP,
     PUBLISHED, p9_5, 0.0, NULL},
    {"P9.5", "integrator", "second", "", -0.8928097010247975, 1e-6, RELATIVE, IVP, PUBLISHED, p9_5, 1.0, NULL},
    {"P9.6", "integrator", "van der Pol, mu = 1000, t = 2000: first", "", 1.706167732170483, 1e-6, RELATIVE, IVP,
     PUBLISHED, p9_6, 0.0, NULL},
    {"P9.6", "integrator", "second", "", -0.8928097010247975e-3, 1e-6, RELATIVE, IVP, PUBLISHED, p9_6, 1.0, NULL},
    {"P9.7", "integrator", "van der Pol, mu = 10, t = 100: first", "", -1.75888808039, 1e-8, RELATIVE, REFERENCE_RUN,
     CLOSED_FORM, p9_7, 0.0, NULL},
    {"P9.7", "integrator", "second", "", 0.0836436066658, 1e-8, RELATIVE, REFERENCE_RUN, CLOSED_FORM, p9_7, 1.0, NULL},
    {"P9.8", "events", "shell of 10 m/s against 0.5 m/s2 lands", "s", 40.0, 1e-9, RELATIVE, "closed form", CLOSED_FORM,
     p9_8, 0.0, NULL},
    {"P9.9", "events", "bouncing ball, 10 m, 0.8: first impact", "s", 1.427843123, 1e-8, RELATIVE, "closed form",
     CLOSED_FORM, p9_9, 1.0, NULL},
    {"P9.9", "events", "second impact", "s", 3.712392120, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9, 2.0, NULL},
    {"P9.9", "events", "third impact", "s", 5.540031317, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9, 3.0, NULL},
    {"P9.9", "events", "fourth impact", "s", 7.002142675, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9, 4.0, NULL},
    {"P9.9", "events", "fifth impact", "s", 8.171831761, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9, 5.0, NULL},
    {"P9.9", "events", "first apex, from samples", "m", 6.4, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9_apex, 1.0,
     NULL},
    {"P9.9", "events", "second apex", "m", 4.096, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9_apex, 2.0, NULL},
    {"P9.9", "events", "third apex", "m", 2.62144, 1e-8, RELATIVE, "closed form", CLOSED_FORM, p9_9_apex, 3.0, NULL},
    {"P9.11", "whole runs", "worst energy residual of the five baseline runs at 1e-6", "", 0.0, 1e-6, ABSOLUTE,
     "first law", CLOSED_FORM, p9_11, 1e-6, NULL},
    {"P9.11", "whole runs", "at 1e-8: shrinking", "", 0.0, 1e-8, ABSOLUTE, "first law", CLOSED_FORM, p9_11, 1e-8, NULL},
    {"P9.12", "whole runs", "baseline runs whose peak pressure does not converge with the tolerance", "", 0.0, 0.0,
     ABSOLUTE, "method", CLOSED_FORM, p9_12, 0.0, NULL},
    {"P9.12", "whole runs", "stop distance: steps of tolerance (1e-4, 1e-6, 1e-8) that bring it no closer", "", 0.0,
     0.0, ABSOLUTE, "method", CLOSED_FORM, p9_12_order, 0.0, NULL},
    {"P9.12", "whole runs", "stop distance at 1e-6 over that at 1e-11", "", 1.0, 1e-4, RELATIVE, "method", CLOSED_FORM,
     p9_12_stop, 1e-6, NULL},
    {"P9.12", "whole runs", "at 1e-8", "", 1.0, 1e-6, RELATIVE, "method", CLOSED_FORM, p9_12_stop, 1e-8, NULL},
};

ROWS_MAIN(rows)
