/* The search for an extremum within one step: right to the last digits, and in so few evaluations as parabolas need on
 * a smooth top. Sections alone would take 40 of them for a billionth of the step. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "check.h"
#include "integrator.h"
#include "observers.h"
#include "toy.h"

static double (*top)(double u); /* of the place in the step, 0 to 1 */
static double step_start;
static double step_width;
static int evaluations;

static void clock_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  (void)y;
  rates[0] = 1.0;
}

static void no_powers(void *context, double t, const double *y, double *powers) {
  (void)context;
  (void)t;
  (void)y;
  (void)powers;
}

static void no_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  (void)rates;
}

static void top_signals(double t, double lever, const double *y, double *signals) {
  (void)lever;
  (void)y;
  evaluations++;
  signals[0] = top((t - step_start) / step_width);
  signals[1] = -signals[0];
  signals[2] = signals[3] = 0.0;
}

static double round_top(double u) {
  return cos(2.0 * (u - 0.6));
}

static double skewed_top(double u) {
  return u * exp(-u / 0.45);
}

static double steep_top(double u) {
  return 1.0 / (1.0 + 400.0 * (u - 0.43) * (u - 0.43));
}

static double flat_top(double u) {
  return 1.0 - pow(u - 0.45, 4.0);
}

static double sharp_top(double u) {
  return 1.0 - fabs(u - 0.52);
}

static double leaning_top(double u) {
  return u < 0.5 ? 1.0 - 40.0 * (0.5 - u) * (0.5 - u) : 1.0 - 2.0 * (u - 0.5) * (u - 0.5);
}

/* The parabola through start, middle and end has its top before the start. */
static double edge_top(double u) {
  double v = u - 0.02;
  return 1.0 - v * v * (1.0 - 0.25 * v);
}

struct row {
  const char *name;
  double (*top)(double u);
  double value;
  double place, near; /* in the step; how near it must be found */
  int most;           /* evaluations within the search */
};

static const struct row rows[] = {
    {"round", round_top, 1.0, 0.6, 2e-6, 6},   {"skewed", skewed_top, 0.45 / 2.718281828459045, 0.45, 2e-6, 12},
    {"steep", steep_top, 1.0, 0.43, 2e-6, 14}, {"flat", flat_top, 1.0, 0.45, 1e-2, 25},
    {"sharp", sharp_top, 1.0, 0.52, 2e-6, 25}, {"leaning", leaning_top, 1.0, 0.5, 2e-6, 22},
    {"edge", edge_top, 1.0, 0.02, 2e-6, 12},
};

/* One step of a clock, as long as the method makes it, whose signals are as above. */
static void search_in(const struct row *row, double sign, int signal) {
  static const struct toy toy = {.rates = no_rates, .signals = top_signals, .release = NAN};
  static const double tolerance = 1.0;
  static const char *const name = "clock";
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &toy, 1.0);
  struct toy_mode mode = {.taken = false};
  struct error error = {0};
  const double start_state = 0.0;
  struct integrator_problem problem = {.state_count = 1,
                                       .rates = clock_rates,
                                       .powers = no_powers,
                                       .tolerances = &tolerance,
                                       .state_names = &name,
                                       .relative_tolerance = 1e-3,
                                       .nonlinear_tolerance = 0.01,
                                       .largest_order = 5,
                                       .largest_step = 1.0};
  struct integrator *integrator = integrator_new(&problem, &error);
  assert_non_null(integrator);
  assert_true(integrator_start(integrator, 0.0, &start_state, NULL, &error));
  while (integrator_time(integrator) < 5.0) {
    assert_true(integrator_step(integrator, 5.0, &error));
  }
  struct view view = {.data = &data, .plant = &toy_plant, .model = &ref, .mode = &mode, .integrator = integrator};
  struct sample samples[3];
  view.state_count = 1;
  view.no_events = true;
  step_start = integrator_step_start(integrator);
  step_width = integrator_time(integrator) - step_start;
  assert_true(step_width > 0.1);
  top = row->top;
  for (int i = 0; i < 3; i++) {
    memset(&samples[i], 0, sizeof samples[i]);
    view_at(&view, step_start + 0.5 * i * step_width, &samples[i]);
  }
  struct extremum extremum = {.signal = signal, .sign = sign};
  const struct step step = {&samples[0], &samples[1], &samples[2]};
  extremum_begin(&extremum, &samples[0]);
  evaluations = 0;
  extremum_observe(&extremum, &view, &step);
  print_message("%s: off by %.2g at %.2g of the step, %d evaluations\n", row->name, sign * extremum.best - row->value,
                (extremum.time - step_start) / step_width - row->place, evaluations);
  CHECK_NEAR(sign * extremum.best, row->value,
             row->top == sharp_top ? 2e-6 : 1e-11); /* a corner's height errs as its place */
  CHECK_NEAR((extremum.time - step_start) / step_width, row->place, row->near);
  assert_in_range(evaluations, 3, row->most);
  integrator_free(integrator);
}

static void a_top_is_found_in_few_evaluations(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    search_in(&rows[i], 1.0, 0);
    search_in(&rows[i], -1.0, 1);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(a_top_is_found_in_few_evaluations)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
