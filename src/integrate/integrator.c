#include "integrator.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "integrator_method.h"
#include "integrators.h"
#include "quadrature_lanes.h"

bool integrator_finite(const double *values, int count) {
  double sum = 0.0;
  for (int i = 0; i < count; i++) {
    sum += values[i] * 0.0;
  }
  return sum == 0.0;
}

void integrator_note_bad(struct integrator *integrator, double t, const double *values) {
  if (integrator->bad_state >= 0) {
    return;
  }
  for (int i = 0; i < integrator->problem.state_count; i++) {
    if (!isfinite(values[i])) {
      integrator->bad_state = i;
      integrator->bad_time = t;
      return;
    }
  }
}

void integrator_note_bad_jacobian(struct integrator *integrator, double t, const double *jacobian) {
  const struct sparsity *sparsity = integrator->sparsity;
  for (int f = 0; f < sparsity->find_first[sparsity->group_count]; f++) {
    const struct sparsity_find *find = &sparsity->finds[f];
    if (integrator->bad_state < 0 && !isfinite(jacobian[find->entry])) {
      integrator->bad_state = find->row;
      integrator->bad_time = t;
    }
  }
}

bool integrator_tell_bad(const struct integrator *integrator, struct error *error) {
  return error_set(error, ERROR_RUN, "at t = %.6g s the derivative of %s is not a finite number", integrator->bad_time,
                   integrator->problem.state_names[integrator->bad_state]);
}

bool integrator_tell_stuck(const struct integrator *integrator, int state, const char *why, struct error *error) {
  return error_set(error, ERROR_RUN, "the integrator cannot go on at t = %.6g s%s%s: %s", integrator->time,
                   state < 0 ? "" : ", most for ", state < 0 ? "" : integrator->problem.state_names[state], why);
}

/* ---- memory ---- */

static bool make_sensitivities(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  size_t count = (size_t)problem->parameter_count;
  size_t states = (size_t)problem->state_count;
  size_t integrals = count * (size_t)problem->integral_count + 1;
  if (count == 0) {
    return true;
  }
  integrator->change = calloc(states, sizeof(double));
  integrator->sensitivity_quadrature = quadrature_new(problem->parameter_count * problem->integral_count);
  integrator->integral_sensitivities = calloc(integrals, sizeof(double));
  integrator->integral_sensitivities_at = calloc(integrals, sizeof(double));
  integrator->sensitivities_within = calloc(count * states, sizeof(double));
  integrator->scales = malloc(count * sizeof *integrator->scales);
  if (integrator->scales == NULL) {
    return false;
  }
  memcpy(integrator->scales, problem->parameter_scales, count * sizeof *integrator->scales);
  return integrator->change && integrator->sensitivity_quadrature && integrator->integral_sensitivities &&
         integrator->integral_sensitivities_at && integrator->sensitivities_within;
}

/* The problem's tolerances, which belong to the caller, into our own memory. */
static void take_tolerances(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  int n = problem->state_count;
  double times = integrator->method->tolerances;
  for (int i = 0; i < n; i++) {
    double share = problem->shares != NULL ? problem->shares[i] : 1.0;
    integrator->tolerances[i] = times * problem->tolerances[i];
    integrator->tolerances[n + i] = times * problem->relative_tolerance * share;
  }
}

static void settle_quadratures(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  quadrature_settle(integrator->quadrature, 0.1 * problem->relative_tolerance, problem->integral_tolerance);
  if (problem->parameter_count > 0) { /* derivatives need not close a balance */
    quadrature_settle(integrator->sensitivity_quadrature, 10.0 * problem->relative_tolerance,
                      100.0 * problem->integral_tolerance);
  }
}

static const struct integrator_method *method_of(const struct integrator_problem *problem) {
  const struct integrator_method *method = problem->method != NULL ? problem->method : integrator_listed(0);
  for (int i = 0; problem->parameter_count > 0 && method != NULL && method->sensitivity_at == NULL; i++) {
    method = integrator_listed(i);
  }
  return method;
}

/* Which rate depends on what; without a pattern all on all. */
static void pattern_of(const struct integrator_problem *problem, uint64_t *rows) {
  if (problem->sparsity_pattern != NULL) {
    memcpy(rows, problem->sparsity_pattern, (size_t)problem->state_count * sizeof *rows);
  } else {
    sparsity_all(problem->state_count, rows);
  }
}

static bool make(struct integrator *integrator, struct error *error) {
  const struct integrator_problem *problem = &integrator->problem;
  size_t n = (size_t)problem->state_count;
  uint64_t rows[SPARSITY_LIMIT];
  pattern_of(problem, rows);
  integrator->sparsity = sparsity_new((int)n, rows, error);
  integrator->state = calloc(n, sizeof *integrator->state);
  integrator->tolerances = calloc(2 * n, sizeof *integrator->tolerances);
  integrator->within = calloc(n, sizeof *integrator->within);
  integrator->quadrature = quadrature_new(problem->integral_count);
  if (integrator->sparsity == NULL || integrator->state == NULL || integrator->tolerances == NULL ||
      integrator->within == NULL || integrator->quadrature == NULL || !make_sensitivities(integrator)) {
    return false;
  }
  take_tolerances(integrator);
  settle_quadratures(integrator);
  return integrator->method->create(integrator);
}

struct integrator *integrator_new(const struct integrator_problem *problem, struct error *error) {
  const struct integrator_method *method = method_of(problem);
  if (problem->state_count < 1 || problem->state_count > SPARSITY_LIMIT || method == NULL) {
    error_set(error, ERROR_RUN, "an integrator takes 1 to %d states, not %d", SPARSITY_LIMIT, problem->state_count);
    return NULL;
  }
  if (problem->parameter_count > INTEGRATOR_PARAMETERS) {
    error_set(error, ERROR_RUN, "an integrator takes %d parameters at most, not %d", INTEGRATOR_PARAMETERS,
              problem->parameter_count);
    return NULL;
  }
  struct integrator *integrator = calloc(1, sizeof *integrator);
  if (integrator != NULL) {
    integrator->problem = *problem;
    integrator->method = method;
    integrator->bad_state = -1;
    if (make(integrator, error)) {
      return integrator;
    }
  }
  integrator_free(integrator);
  error_set(error, ERROR_MEMORY, "out of memory for the integrator");
  return NULL;
}

/* Does the memory made for one problem serve another? */
static bool is_alike(const struct integrator *integrator, const struct integrator_problem *problem) {
  const struct integrator_problem *old = &integrator->problem;
  uint64_t rows[SPARSITY_LIMIT];
  if (old->parameter_count > 0 || problem->parameter_count > 0 || integrator->method != method_of(problem) ||
      old->state_count != problem->state_count || old->integral_count != problem->integral_count) {
    return false;
  }
  pattern_of(problem, rows);
  return memcmp(rows, integrator->sparsity->pattern, (size_t)problem->state_count * sizeof *rows) == 0;
}

bool integrator_renew(struct integrator **integrator, const struct integrator_problem *problem, struct error *error) {
  struct integrator *old = *integrator;
  if (old == NULL || !is_alike(old, problem)) {
    integrator_free(old);
    *integrator = integrator_new(problem, error);
    return *integrator != NULL;
  }
  old->problem = *problem;
  take_tolerances(old);
  settle_quadratures(old);
  old->begun = false;
  old->counts = (struct integrator_counts){0};
  old->bad_state = -1;
  old->method->renew(old);
  return true;
}

void integrator_free(struct integrator *integrator) {
  if (integrator == NULL) {
    return;
  }
  integrator->method->destroy(integrator);
  sparsity_free(integrator->sparsity);
  quadrature_free(integrator->quadrature);
  quadrature_free(integrator->sensitivity_quadrature);
  void *all[] = {integrator->state,
                 integrator->tolerances,
                 integrator->within,
                 integrator->scales,
                 integrator->integral_sensitivities,
                 integrator->integral_sensitivities_at,
                 integrator->sensitivities_within,
                 integrator->change};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    free(all[i]);
  }
  free(integrator);
}

/* ---- counts ---- */

void integrator_add_counts(struct integrator_counts *sum, const struct integrator_counts *more) {
  sum->steps += more->steps;
  sum->jacobians += more->jacobians;
  sum->factorizations += more->factorizations;
  sum->solves += more->solves;
  sum->error_failures += more->error_failures;
  sum->convergence_failures += more->convergence_failures;
}

struct integrator_counts integrator_counts(const struct integrator *integrator) {
  struct integrator_counts sum = integrator->counts;
  sum.rate_calls += sum.jacobian_calls;
  integrator->method->add_counts(integrator, &sum);
  return sum;
}

/* ---- steps ---- */

bool integrator_start(struct integrator *integrator, double t, const double *state, const double *integrals,
                      struct error *error) {
  memcpy(integrator->state, state, sizeof(double) * (size_t)integrator->problem.state_count);
  quadrature_start(integrator->quadrature, t, integrals);
  if (integrator->problem.parameter_count > 0) {
    quadrature_start(integrator->sensitivity_quadrature, t, integrator->integral_sensitivities);
  }
  integrator->counts.restarts += integrator->begun;
  bool good = integrator->method->start(integrator, t, error);
  integrator->begun = true;
  integrator->stepped = false;
  integrator->time = t;
  integrator->step_start = t;
  integrator->polynomial_ready = false;
  return good;
}

bool integrator_step(struct integrator *integrator, double stop, struct error *error) {
  integrator->bad_state = -1;
  return integrator->method->step(integrator, stop, error);
}

void integrator_note_time(struct integrator *integrator, double t) {
  integrator->step_start = integrator->time;
  integrator->time = t;
  integrator->stepped = true;
  integrator->polynomial_ready = false;
}

void integrator_note_step(struct integrator *integrator, double t) {
  integrator_note_time(integrator, t);
  quadrature_step(integrator->quadrature, t);
  if (integrator->problem.parameter_count > 0) {
    quadrature_step(integrator->sensitivity_quadrature, t);
  }
}

const struct sparsity *integrator_sparsity(const struct integrator *integrator) {
  return integrator->sparsity;
}

void integrator_integrals_to_lane(const struct integrator *integrator, struct quadrature_lanes *all, int lane) {
  quadrature_lanes_take(all, lane, integrator->quadrature);
}

void integrator_integrals_from_lane(struct integrator *integrator, const struct quadrature_lanes *all, int lane) {
  quadrature_lanes_give(all, lane, integrator->quadrature);
}

const struct integrator_side_by_side *integrator_side_by_side(const struct integrator *integrator) {
  return integrator->method->side_by_side;
}

double integrator_time(const struct integrator *integrator) {
  return integrator->time;
}

double integrator_step_start(const struct integrator *integrator) {
  return integrator->step_start;
}

/* ---- within the last step ---- */

static bool has_polynomial(struct integrator *integrator) {
  integrator->polynomial_ready =
      integrator->polynomial_ready || (integrator->stepped && integrator->method->find_polynomial(integrator));
  return integrator->polynomial_ready;
}

static double argument(const struct integrator *integrator, double t) {
  return (t - integrator->time) * integrator->polynomial.over_width;
}

double integrator_argument(struct integrator *integrator, double t) {
  return has_polynomial(integrator) ? argument(integrator, t) : 0.0;
}

static void state_at(struct integrator *integrator, double t, double *state) {
  int n = integrator->problem.state_count;
  if (t == integrator->time || !has_polynomial(integrator)) {
    memcpy(state, integrator->state, sizeof(double) * (size_t)n);
    return;
  }
  step_polynomial_at(&integrator->polynomial, argument(integrator, t), n, state);
}

void integrator_states_at(struct integrator *integrator, const double *times, int first, int count, lanes *states) {
  int n = integrator->problem.state_count;
  const double *end = integrator->state;
  bool inside = has_polynomial(integrator);
  if (inside) {
    lanes x = {0.0};
    for (int k = 0; k < count; k++) {
      x[first + k] = argument(integrator, times[k]);
    }
    step_polynomial_lanes_at(&integrator->polynomial, &x, first, n, states);
  }
  for (int k = 0; k < count; k++) {
    for (int i = 0; (!inside || times[k] == integrator->time) && i < n; i++) {
      states[i][first + k] = end[i];
    }
  }
}

void integrator_state_at(struct integrator *integrator, double t, double *state) {
  state_at(integrator, t, state);
  if (integrator->amount != 0.0) {
    integrator_sensitivity_at(integrator, integrator->perturbed, t, integrator->change);
    for (int i = 0; i < integrator->problem.state_count; i++) {
      state[i] += integrator->amount * integrator->change[i];
    }
  }
}

/* What the quadratures ask for. */
static void powers_at(void *context, double t, double *powers) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  if (problem->integral_count > 0 &&
      !(problem->known_powers != NULL && problem->known_powers(problem->context, t, powers))) {
    state_at(integrator, t, integrator->within);
    problem->powers(problem->context, t, integrator->within, powers);
  }
}

static void sensitivity_powers_at(void *context, double t, double *powers) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  const double *now[INTEGRATOR_PARAMETERS] = {NULL};
  double *result[INTEGRATOR_PARAMETERS] = {NULL};
  int count = problem->integral_count;
  if (count == 0) {
    return;
  }
  for (int i = 0; i < problem->parameter_count; i++) {
    double *within = integrator->sensitivities_within + (size_t)(i * problem->state_count);
    integrator_sensitivity_at(integrator, i, t, within);
    now[i] = within;
    result[i] = powers + (size_t)(i * count);
  }
  state_at(integrator, t, integrator->within);
  problem->sensitivity_powers(problem->sensitivity_context, t, integrator->within, now, result);
  for (int i = 0; i < problem->parameter_count; i++) {
    for (int k = 0; k < count; k++) {
      result[i][k] *= integrator->scales[i];
    }
  }
}

void integrator_finish_quadratures(struct integrator *integrator) {
  quadrature_finish(integrator->quadrature, powers_at, integrator);
  if (integrator->problem.parameter_count > 0) {
    quadrature_finish(integrator->sensitivity_quadrature, sensitivity_powers_at, integrator);
  }
}

void integrator_integrals_at(struct integrator *integrator, double t, double *integrals) {
  int count = integrator->problem.integral_count;
  quadrature_at(integrator->quadrature, t, powers_at, integrator, integrals);
  if (integrator->amount != 0.0) {
    const double *change = integrator->integral_sensitivities_at;
    quadrature_at(integrator->sensitivity_quadrature, t, sensitivity_powers_at, integrator,
                  integrator->integral_sensitivities_at);
    change += (size_t)(integrator->perturbed * count);
    for (int i = 0; i < count; i++) {
      integrals[i] += integrator->amount * change[i] / integrator->scales[integrator->perturbed];
    }
  }
}

/* ---- derivatives to parameters ---- */

void integrator_begin_sensitivities(struct integrator *integrator, const double *const *states,
                                    const double *const *integrals) {
  int count = integrator->problem.integral_count;
  for (int i = 0; i < integrator->problem.parameter_count; i++) {
    integrator->method->begin_sensitivity(integrator, i, states[i]);
    for (int k = 0; k < count; k++) {
      integrator->integral_sensitivities[i * count + k] = integrals[i][k] * integrator->scales[i];
    }
  }
}

void integrator_sensitivity_at(struct integrator *integrator, int parameter, double t, double *states) {
  integrator->method->sensitivity_at(integrator, parameter, t, states);
}

void integrator_integral_sensitivity_at(struct integrator *integrator, int parameter, double t, double *integrals) {
  int count = integrator->problem.integral_count;
  double *all = integrator->integral_sensitivities_at;
  quadrature_at(integrator->sensitivity_quadrature, t, sensitivity_powers_at, integrator, all);
  for (int k = 0; k < count; k++) {
    integrals[k] = all[parameter * count + k] / integrator->scales[parameter];
  }
}

void integrator_perturb(struct integrator *integrator, int parameter, double amount) {
  integrator->perturbed = parameter;
  integrator->amount = amount;
}
