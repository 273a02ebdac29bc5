/* The list of integrators, and what every one of them owes: the choices of a case are the list; derivatives to
 * parameters; how long a Jacobian serves; a pivot that cancellation has spoilt; that failures name the state. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "check.h"
#include "integrator.h"
#include "integrators.h"
#include "registry.h"
#include "side_by_side.h"
#include "simulation.h"

/* ---- the list ---- */

static const struct field *method_field(void) {
  for (int i = 0; i < simulation_group.field_count; i++) {
    if (strcmp(simulation_group.fields[i].name, "method") == 0) {
      return &simulation_group.fields[i];
    }
  }
  fail_msg("no simulation.method");
  return NULL;
}

/* A case's words for its method are the list's, in its order, and the help says of each what it is. */
static void choices_are_the_list(void **state) {
  (void)state;
  const struct field *field = method_field();
  int count = 0;
  for (const struct integrator_method *method; (method = integrator_listed(count)) != NULL; count++) {
    char name[64];
    assert_non_null(registry_choice_name(field->choices, count, name, sizeof name));
    assert_string_equal(name, integrator_name(method));
    assert_non_null(strstr(field->text, integrator_text(method)));
  }
  int words = 1;
  for (const char *at = field->choices; *at != '\0'; at++) {
    words += *at == '|';
  }
  assert_int_equal(count, words);
  assert_null(integrator_listed(-1));
}

/* ---- a state, two parameters, two integrals, all in closed form ---- */

/* y' = b - a y; powers a y + b^2 and y. */
struct decay {
  double a, b, start;
};

static void decay_rates(void *context, double t, const double *y, double *rates) {
  const struct decay *decay = context;
  (void)t;
  rates[0] = decay->b - decay->a * y[0];
}

static void decay_powers(void *context, double t, const double *y, double *powers) {
  const struct decay *decay = context;
  (void)t;
  powers[0] = decay->a * y[0] + decay->b * decay->b;
  powers[1] = y[0];
}

static void decay_sensitivity_rates(void *context, double t, const double *y, const double *const *s,
                                    double *const *rates) {
  const struct decay *decay = context;
  (void)t;
  rates[0][0] = -decay->a * s[0][0] - y[0];
  rates[1][0] = -decay->a * s[1][0] + 1.0;
}

static void decay_sensitivity_powers(void *context, double t, const double *y, const double *const *s,
                                     double *const *powers) {
  const struct decay *decay = context;
  (void)t;
  powers[0][0] = y[0] + decay->a * s[0][0];
  powers[0][1] = s[0][0];
  powers[1][0] = decay->a * s[1][0] + 2.0 * decay->b;
  powers[1][1] = s[1][0];
}

/* State, its derivatives to a and b; integrals and their derivatives. */
struct exact {
  double y, by[2], integral[2], integral_by[2][2];
};

static struct exact exact_at(const struct decay *decay, double t) {
  double a = decay->a;
  double b = decay->b;
  double fades = exp(-a * t);
  struct exact e;
  e.y = b / a + (decay->start - b / a) * fades;
  e.by[0] = -b / (a * a) * (1.0 - fades) - (decay->start - b / a) * t * fades;
  e.by[1] = (1.0 - fades) / a;
  double risen = e.y - decay->start;
  e.integral[0] = (b + b * b) * t - risen;
  e.integral_by[0][0] = -e.by[0];
  e.integral_by[1][0] = (1.0 + 2.0 * b) * t - e.by[1];
  e.integral[1] = (b * t - risen) / a;
  e.integral_by[0][1] = -(b * t - risen) / (a * a) - e.by[0] / a;
  e.integral_by[1][1] = (t - e.by[1]) / a;
  return e;
}

static const double begun[2][2] = {{2.0, -3.0}, {0.5, 7.0}};

static void check_at(struct integrator *integrator, const struct decay *decay, double t) {
  struct exact e = exact_at(decay, t);
  double found[2];
  integrator_state_at(integrator, t, found);
  CHECK_CLOSE(found[0], e.y, 1e-7);
  for (int i = 0; i < 2; i++) {
    integrator_sensitivity_at(integrator, i, t, found);
    CHECK_NEAR(found[0], e.by[i], 1e-6);
    integrator_integral_sensitivity_at(integrator, i, t, found);
    CHECK_NEAR(found[0], begun[i][0] + e.integral_by[i][0], 1e-5);
    CHECK_NEAR(found[1], begun[i][1] + e.integral_by[i][1], 1e-5);
    double amount = i == 0 ? 0.01 : -0.2;
    integrator_perturb(integrator, i, amount);
    integrator_state_at(integrator, t, found);
    CHECK_CLOSE(found[0], e.y + amount * e.by[i], 1e-6);
    integrator_integrals_at(integrator, t, found);
    for (int k = 0; k < 2; k++) {
      CHECK_NEAR(found[k], 11.0 * k + e.integral[k] + amount * (begun[i][k] + e.integral_by[i][k]), 1e-5);
    }
    integrator_perturb(integrator, i, 0.0);
  }
}

/* Parameters of unlike size, whatever method was asked for. */
static void derivatives_are_exact(void **state) {
  (void)state;
  const double tolerance = 1e-9;
  const double scales[2] = {0.3, 40.0};
  const char *name = "level";
  for (int place = 0; integrator_listed(place) != NULL; place++) {
    struct decay decay = {1.3, 2.0, 5.0};
    struct integrator_problem problem = {.method = integrator_listed(place),
                                         .state_count = 1,
                                         .integral_count = 2,
                                         .context = &decay,
                                         .rates = decay_rates,
                                         .powers = decay_powers,
                                         .tolerances = &tolerance,
                                         .state_names = &name,
                                         .relative_tolerance = 1e-9,
                                         .nonlinear_tolerance = 0.01,
                                         .largest_order = 5,
                                         .parameter_count = 2,
                                         .parameter_scales = scales,
                                         .sensitivity_context = &decay,
                                         .sensitivity_rates = decay_sensitivity_rates,
                                         .sensitivity_powers = decay_sensitivity_powers,
                                         .integral_tolerance = 1e-8,
                                         .largest_step = 0.5};
    struct error error = {0};
    const double none = 0.0;
    const double integrals[2] = {0.0, 11.0};
    const double *states_begin[2] = {&none, &none};
    const double *integrals_begin[2] = {begun[0], begun[1]};
    struct integrator *integrator = integrator_new(&problem, &error);
    assert_non_null(integrator);
    integrator_begin_sensitivities(integrator, states_begin, integrals_begin);
    assert_true(integrator_start(integrator, 0.0, &decay.start, integrals, &error));
    check_at(integrator, &decay, 0.0);
    for (int k = 0; integrator_time(integrator) < 3.0; k++) {
      assert_true(integrator_step(integrator, 3.0, &error));
      double end = integrator_time(integrator);
      if (k % 7 == 0 || end == 3.0) {
        check_at(integrator, &decay, 0.3 * integrator_step_start(integrator) + 0.7 * end);
        check_at(integrator, &decay, end);
      }
    }
    integrator_free(integrator);
  }
}

/* ---- what is counted ---- */

struct counting {
  long calls;
  int integrals; /* 1 to 3 */
};

static void counted_rates(void *context, double t, const double *y, double *rates) {
  struct counting *counting = context;
  counting->calls++;
  rates[0] = -50.0 * (y[0] - sin(t)) + (t > 2.345 ? 100.0 : 0.0); /* a jump that no step goes over */
  rates[1] = y[0] - y[1];
  rates[2] = y[1] * y[2];
}

static void counted_powers(void *context, double t, const double *y, double *powers) {
  const struct counting *counting = context;
  const double all[3] = {y[0], 2.0, y[1]};
  (void)t;
  memcpy(powers, all, (size_t)counting->integrals * sizeof *powers);
}

static struct integrator_problem counted_problem(const struct integrator_method *method, struct counting *counting) {
  static const double tolerances[3] = {1e-7, 1e-7, 1e-7};
  static const char *const names[3] = {"level", "follower", "growth"};
  return (struct integrator_problem){.method = method,
                                     .state_count = 3,
                                     .integral_count = counting->integrals,
                                     .context = counting,
                                     .rates = counted_rates,
                                     .powers = counted_powers,
                                     .tolerances = tolerances,
                                     .state_names = names,
                                     .relative_tolerance = 1e-7,
                                     .nonlinear_tolerance = 0.01,
                                     .largest_order = 5,
                                     .integral_tolerance = 1e-8,
                                     .largest_step = 1e6};
}

/* From here to `end`, begun again at every tenth of a second; the integrals there. */
static void run_counted(struct integrator *integrator, double end, double *integrals) {
  double state[3] = {0.0, 0.0, 1.0};
  struct error error = {0};
  for (int piece = 0; piece < 10; piece++) {
    double from = 0.1 * piece * end;
    double to = 0.1 * (piece + 1) * end;
    assert_true(integrator_start(integrator, from, state, integrals, &error));
    while (integrator_time(integrator) < to) {
      assert_true(integrator_step(integrator, to, &error));
    }
    integrator_state_at(integrator, to, state);
    integrator_integrals_at(integrator, to, integrals);
  }
}

/* The counts that a summary prints: every call of the rates, and how many of them for Jacobians; each method's own. */
static void every_call_is_counted(void **state) {
  (void)state;
  for (int place = 0; integrator_listed(place) != NULL; place++) {
    struct counting counting = {0, 1};
    struct integrator_problem problem = counted_problem(integrator_listed(place), &counting);
    struct error error = {0};
    double integrals[3] = {0.0};
    struct integrator *integrator = integrator_new(&problem, &error);
    assert_non_null(integrator);
    run_counted(integrator, 5.0, integrals);
    struct integrator_counts counts = integrator_counts(integrator);
    integrator_free(integrator);
    print_message("%s: %ld calls, %ld counted, %ld of them for %ld Jacobians\n", integrator_name(problem.method),
                  counting.calls, counts.rate_calls, counts.jacobian_calls, counts.jacobians);
    assert_int_equal(counts.rate_calls, counting.calls);
    assert_int_equal(counts.restarts, 9);
    assert_true(counts.error_failures > 0 && counts.error_failures < counts.steps);
    assert_true(counts.steps > 20 && counts.jacobians > 0 && counts.solves >= counts.steps);
    assert_true(counts.factorizations >= counts.jacobians);
    /* Three columns in two groups or three, and at most one more for the derivative to time. */
    assert_in_range(counts.jacobian_calls, 2 * counts.jacobians, 5 * counts.jacobians);
  }
}

/* Memory made for one problem serves the next: one with more integrals or states, tighter, of another method. Each
 * gives the bits and the counts of one newly made. */
static void renewed_is_as_new(void **state) {
  (void)state;
  struct error error = {0};
  struct integrator *renewed = NULL;
  static const struct {
    int place, integrals;
    double tolerance;
  } rows[] = {{0, 1, 1e-7}, {0, 3, 1e-7}, {0, 3, 1e-9}, {1, 3, 1e-9}, {1, 2, 1e-9}, {1, 2, 1e-5}, {0, 1, 1e-5}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    struct counting counting = {0, rows[i].integrals};
    struct integrator_problem problem = counted_problem(integrator_listed(rows[i].place), &counting);
    problem.relative_tolerance = rows[i].tolerance;
    double old[3] = {0.0};
    double fresh[3] = {0.0};
    assert_true(integrator_renew(&renewed, &problem, &error));
    run_counted(renewed, 2.0, old);
    struct integrator_counts counts = integrator_counts(renewed);
    struct integrator *made = integrator_new(&problem, &error);
    assert_non_null(made);
    run_counted(made, 2.0, fresh);
    struct integrator_counts others = integrator_counts(made);
    integrator_free(made);
    for (int k = 0; k < 3; k++) {
      CHECK_NEAR(old[k], fresh[k], 0.0);
    }
    assert_memory_equal(&counts, &others, sizeof counts);
    CHECK_NEAR(fresh[1], rows[i].integrals > 1 ? 4.0 : 0.0, 1e-9);
  }
  integrator_free(renewed);
}

/* ---- how long a Jacobian serves ---- */

/* A level follows a slow wave; nothing but the count of steps asks for a new Jacobian. */
static void wave_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  rates[0] = -50.0 * (y[0] - sin(t));
  rates[1] = y[0] - y[1];
}

static void no_powers(void *context, double t, const double *y, double *powers) {
  (void)context;
  (void)t;
  (void)y;
  (void)powers;
}

static void a_jacobian_serves_twenty_steps(void **state) {
  (void)state;
  const double tolerances[2] = {1e-7, 1e-7};
  const char *names[2] = {"level", "follower"};
  const double start[2] = {0.0, 0.0};
  struct integrator_problem problem = {.state_count = 2,
                                       .rates = wave_rates,
                                       .powers = no_powers,
                                       .tolerances = tolerances,
                                       .state_names = names,
                                       .relative_tolerance = 1e-7,
                                       .nonlinear_tolerance = 0.01,
                                       .largest_order = 5,
                                       .largest_step = 1e6};
  struct error error = {0};
  struct integrator *integrator = integrator_new(&problem, &error);
  assert_non_null(integrator);
  assert_true(integrator_start(integrator, 0.0, start, NULL, &error));
  long last = integrator_counts(integrator).jacobians;
  int since = 0;
  int longest = 0;
  while (integrator_time(integrator) < 40.0) {
    assert_true(integrator_step(integrator, 40.0, &error));
    long now = integrator_counts(integrator).jacobians;
    since = now > last ? 0 : since + 1;
    longest = since > longest ? since : longest;
    last = now;
  }
  struct integrator_counts counts = integrator_counts(integrator);
  integrator_free(integrator);
  print_message("%ld steps, %ld Jacobians, one for at most %d steps more\n", counts.steps, counts.jacobians, longest);
  assert_true(counts.steps > 200);
  /* Asked for after 20 steps, and made when factors are due next, which is 20 steps later at most. */
  assert_in_range(longest, 15, 40);
}

/* ---- spoilt pivots ---- */

/* Two levels that differ by a slow ramp, joined by something so stiff that elimination loses its digits in a long step:
 * y0 - y1 = 2 t, y0 + y1 = 0. */
static void joined_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  double pull = 1e13 * (y[0] + y[1]);
  rates[0] = 1.0 - pull;
  rates[1] = -1.0 - pull;
}

static void a_spoilt_pivot_makes_a_shorter_step(void **state) {
  (void)state;
  const double tolerances[2] = {1e-6, 1e-6};
  const char *names[2] = {"first", "second"};
  const double start[2] = {0.0, 0.0};
  for (int place = 0; integrator_listed(place) != NULL; place++) {
    struct integrator_problem problem = {.method = integrator_listed(place),
                                         .state_count = 2,
                                         .rates = joined_rates,
                                         .powers = no_powers,
                                         .tolerances = tolerances,
                                         .state_names = names,
                                         .relative_tolerance = 1e-6,
                                         .nonlinear_tolerance = 0.01,
                                         .largest_order = 5,
                                         .largest_step = 1e6};
    struct error error = {0};
    double y[2];
    double longest = 0.0;
    struct integrator *integrator = integrator_new(&problem, &error);
    assert_non_null(integrator);
    assert_true(integrator_start(integrator, 0.0, start, NULL, &error));
    while (integrator_time(integrator) < 0.05) {
      assert_true(integrator_step(integrator, 0.05, &error));
      longest = fmax(longest, integrator_time(integrator) - integrator_step_start(integrator));
    }
    integrator_state_at(integrator, 0.05, y);
    struct integrator_counts counts = integrator_counts(integrator);
    integrator_free(integrator);
    print_message("%s: %ld steps, the longest %.2g s; %ld and %ld failures\n", integrator_name(problem.method),
                  counts.steps, longest, counts.error_failures, counts.convergence_failures);
    CHECK_NEAR(y[0], 0.05, 1e-5);
    CHECK_NEAR(y[1], -0.05, 1e-5);
    assert_true(counts.error_failures + counts.convergence_failures > 0);
    assert_true(longest < 2e-3);
  }
}

/* ---- failures name the state ---- */

enum { TROUBLED_STATES = 3 };
static const char *const troubled_names[TROUBLED_STATES] = {"first", "troubled", "last"};

/* The middle state has no solution beyond t = 0.5, the others go along with it. */
static void runaway_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[1] = 2.0 * y[1] * y[1]; /* y = 1/(1 - 2 t) */
  rates[0] = 1e-3 * (y[1] - y[0]);
  rates[2] = 1e-3 * (y[1] - y[2]);
}

/* It rises evenly to where its rate is no number; the others' rates are. */
static void undefined_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  (void)t;
  rates[1] = y[1] > 1.5 ? (double)NAN : 1.0;
  rates[0] = y[1] - y[0];
  rates[2] = y[1] - y[2];
}

typedef void rates_function(void *context, double t, const double *y, double *rates);

static struct integrator *troubled(const struct integrator_method *method, rates_function *rates, double start) {
  static const double tolerances[TROUBLED_STATES] = {1e-6, 1e-6, 1e-6};
  struct integrator_problem problem = {.method = method,
                                       .state_count = TROUBLED_STATES,
                                       .rates = rates,
                                       .powers = no_powers,
                                       .tolerances = tolerances,
                                       .state_names = troubled_names,
                                       .relative_tolerance = 1e-6,
                                       .nonlinear_tolerance = 0.01,
                                       .largest_order = 5,
                                       .largest_step = 1e6};
  struct error error = {0};
  const double state[TROUBLED_STATES] = {start, start, start};
  struct integrator *integrator = integrator_new(&problem, &error);
  assert_non_null(integrator);
  assert_true(integrator_start(integrator, 0.0, state, NULL, &error));
  return integrator;
}

/* What it says when it fails, and that it does so before t = 1. */
static void end_of(struct integrator *integrator, struct error *error) {
  for (int k = 0; integrator_step(integrator, 1.0, error); k++) {
    assert_true(integrator_time(integrator) < 1.0 && k < 100000);
  }
  assert_in_range(1e6 * integrator_time(integrator), 0.49e6, 0.51e6);
  integrator_free(integrator);
}

static void failures_name_the_state(void **state) {
  (void)state;
  for (int place = 0; integrator_listed(place) != NULL; place++) {
    const struct integrator_method *method = integrator_listed(place);
    struct error error = {0};
    end_of(troubled(method, runaway_rates, 1.0), &error);
    print_message("%s: %s\n", integrator_name(method), error.text);
    assert_non_null(strstr(error.text, "cannot go on at t = 0."));
    assert_non_null(strstr(error.text, " s, most for troubled: "));
    end_of(troubled(method, undefined_rates, 1.0), &error);
    print_message("%s: %s\n", integrator_name(method), error.text);
    assert_string_equal(error.text, "at t = 0.5 s the derivative of troubled is not a finite number");
  }
}

static void calm_rates(void *context, double t, const double *y, double *rates) {
  (void)context;
  for (int i = 0; i < TROUBLED_STATES; i++) {
    rates[i] = sin(t) - y[i];
  }
}

static rates_function *rates_of_lane(int lane) {
  return lane % 2 == 0 ? calm_rates : lane % 4 == 1 ? runaway_rates : undefined_rates;
}

static void rates_of_lanes(void *context, const lanes *t, const lanes *y, lanes *rates) {
  for (int lane = 0; lane < LANES; lane++) {
    double state[TROUBLED_STATES];
    double found[TROUBLED_STATES];
    for (int i = 0; i < TROUBLED_STATES; i++) {
      state[i] = y[i][lane];
    }
    rates_of_lane(lane)(context, (*t)[lane], state, found);
    for (int i = 0; i < TROUBLED_STATES; i++) {
      rates[i][lane] = found[i];
    }
  }
}

static void aim_lane(const struct integrator_side_by_side *steps, struct integrator *integrator, int lane, lanes *time,
                     lanes *width, lanes rows[3][TROUBLED_STATES]) {
  struct integrator_aim aim;
  steps->aim(integrator, 1.0, &aim);
  (*time)[lane] = aim.time;
  (*width)[lane] = aim.width;
  for (int i = 0; i < TROUBLED_STATES; i++) {
    rows[0][i][lane] = aim.state[i];
    rows[1][i][lane] = aim.absolute[i];
    rows[2][i][lane] = aim.relative[i];
  }
}

/* Every second lane is in trouble: it says what the system says by itself, and the others reach the end. */
static void failures_in_lanes_name_the_state(void **state) {
  (void)state;
  int methods = 0;
  for (int place = 0; integrator_listed(place) != NULL; place++) {
    const struct integrator_method *method = integrator_listed(place);
    if (!integrator_goes_side_by_side(method)) {
      continue;
    }
    methods++;
    struct integrator *integrators[LANES];
    struct error errors[LANES] = {{0}};
    static lanes rows[3][TROUBLED_STATES];
    struct integrator_aims aims = {.time_dependent = true, .state = rows[0], .absolute = rows[1], .relative = rows[2]};
    struct integrator_attempts attempts;
    for (int lane = 0; lane < LANES; lane++) {
      integrators[lane] = troubled(method, rates_of_lane(lane), 1.0);
    }
    const struct integrator_side_by_side *steps = integrator_side_by_side(integrators[0]);
    void *memory = steps->open(integrator_sparsity(integrators[0]), rates_of_lanes, NULL);
    assert_non_null(memory);
    bool ended[LANES] = {false};
    for (int left = LANES; left > 0;) {
      for (int lane = 0; lane < LANES; lane++) {
        if (!ended[lane]) {
          aim_lane(steps, integrators[lane], lane, &aims.time, &aims.width, rows);
        }
      }
      steps->attempt(memory, &aims, &attempts);
      for (int lane = 0; lane < LANES; lane++) {
        if (!ended[lane]) {
          enum integrator_judgement judgement = steps->judge(integrators[lane], &attempts, lane, &errors[lane]);
          if (judgement == INTEGRATOR_STEPPED) {
            steps->take(integrators[lane], &attempts, lane);
          }
          ended[lane] = judgement == INTEGRATOR_FAILED || integrator_time(integrators[lane]) >= 1.0;
          left -= ended[lane];
        }
      }
    }
    for (int lane = 0; lane < LANES; lane++) {
      struct error alone = {0};
      if (lane % 2 == 0) {
        assert_int_equal(errors[lane].code, ERROR_NONE);
        CHECK_CLOSE(integrator_time(integrators[lane]), 1.0, 1e-15);
      } else {
        end_of(troubled(method, rates_of_lane(lane), 1.0), &alone);
        assert_string_equal(errors[lane].text, alone.text);
      }
      integrator_free(integrators[lane]);
    }
    steps->close(memory);
  }
  assert_true(methods > 0);
}

/* ---- what is refused ---- */

static void too_many_states_are_refused(void **state) {
  (void)state;
  struct integrator_problem problem = {.state_count = SPARSITY_LIMIT + 1, .rates = wave_rates};
  struct error error = {0};
  assert_null(integrator_new(&problem, &error));
  assert_non_null(strstr(error.text, "63 states, not 64"));
  problem.state_count = 2;
  problem.parameter_count = INTEGRATOR_PARAMETERS + 1;
  assert_null(integrator_new(&problem, &error));
  assert_non_null(strstr(error.text, "32 parameters at most, not 33"));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(choices_are_the_list),           cmocka_unit_test(derivatives_are_exact),
      cmocka_unit_test(every_call_is_counted),          cmocka_unit_test(renewed_is_as_new),

      cmocka_unit_test(a_jacobian_serves_twenty_steps), cmocka_unit_test(a_spoilt_pivot_makes_a_shorter_step),
      cmocka_unit_test(failures_name_the_state),        cmocka_unit_test(failures_in_lanes_name_the_state),
      cmocka_unit_test(too_many_states_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
