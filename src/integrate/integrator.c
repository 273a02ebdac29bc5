#include "integrator.h"

#include <cvodes/cvodes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sunmatrix/sunmatrix_dense.h>

#include "integrator_body.h"

/* A Jacobian serves so many steps at most. The solver would keep one for 51; where a stiffness falls by orders
 * meanwhile (a brake that comes on), Newton's corrections with the old one are too small, look converged, and the state
 * drifts off by per cents without any test failing. Costs 3 % over all demo cases. */
#define JACOBIAN_STEPS 20

/* The linearly implicit method's error is that of a step; the other's steps are three to five times as many, and their
 * errors add up. So many times the tolerances give extremes as near to the true ones (docs/lanes.md). */
#define LINEAR_TOLERANCES 5.0

/* How often one step may be cut before the run fails. From a step of a millisecond to what the impact of a poppet on
 * its seat asks for, the solver's usual 7 cuts are too few. */
#define ERROR_TRIES 20

/* The largest order that is stable for every damped mode. */
enum { STABLE_ORDER = 2 };

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

static int call_rates(sunrealtype t, N_Vector state, N_Vector rates, void *context) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  double *result = NV_DATA_S(rates);
  problem->rates(problem->context, t, NV_DATA_S(state), result);
  integrator->rate_calls++;
  if (!integrator_finite(result, problem->state_count)) {
    integrator_note_bad(integrator, t, result);
    return 1; /* try a smaller step */
  }
  return 0;
}

/* The Newton matrix I - gamma J. `matrix` is J itself, kept from call to call; the solver of linear systems makes the
 * rest of it. */
static int call_linear_system(sunrealtype t, N_Vector state, N_Vector rates, SUNMatrix matrix, sunbooleantype keep,
                              sunbooleantype *renewed, sunrealtype gamma, void *context, N_Vector work1, N_Vector work2,
                              N_Vector work3) {
  struct integrator *integrator = context;
  (void)work3;
  int flag = keep ? 0 : jacobian_find(integrator, t, state, rates, matrix, work1, work2);
  *renewed = keep ? SUNFALSE : SUNTRUE;
  lu_system(integrator->linear, -gamma, 1.0, !keep);
  return flag;
}

/* The data of an array of vectors, for functions that know none. */
enum { PARAMETER_LIMIT = 32 };

static void columns_of(N_Vector *vectors, int count, double **columns) {
  for (int i = 0; i < count; i++) {
    columns[i] = NV_DATA_S(vectors[i]);
  }
}

static int call_sensitivity_rates(int count, sunrealtype t, N_Vector state, N_Vector rates, N_Vector *sensitivities,
                                  N_Vector *results, void *context, N_Vector work1, N_Vector work2) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  double *now[PARAMETER_LIMIT] = {NULL};
  double *result[PARAMETER_LIMIT] = {NULL};
  (void)rates;
  (void)work1;
  (void)work2;
  columns_of(sensitivities, count, now);
  columns_of(results, count, result);
  problem->sensitivity_rates(problem->sensitivity_context, t, NV_DATA_S(state), (const double *const *)now, result);
  for (int i = 0; i < count; i++) {
    if (!integrator_finite(result[i], problem->state_count)) {
      return 1; /* try a smaller step */
    }
  }
  return 0;
}

static void keep_message(int code, const char *module, const char *function, char *text, void *context) {
  struct integrator *integrator = context;
  (void)code;
  (void)module;
  (void)function;
  size_t length = strlen(text);
  if (length >= sizeof integrator->message) {
    length = sizeof integrator->message - 1;
  }
  memcpy(integrator->message, text, length);
  integrator->message[length] = '\0';
}

static N_Vector new_vector(int count, SUNContext context) {
  N_Vector vector = N_VNew_Serial(count > 0 ? count : 1, context);
  if (vector != NULL) {
    vecops_vector(vector);
    N_VConst(0.0, vector);
  }
  return vector;
}

/* `count` zero vectors like `model`; NULL when memory is out. */
static N_Vector *new_vectors(int count, N_Vector model) {
  N_Vector *vectors = N_VCloneVectorArray(count, model);
  for (int i = 0; vectors != NULL && i < count; i++) {
    N_VConst(0.0, vectors[i]);
  }
  return vectors;
}

static bool make_sensitivities(struct integrator *integrator) {
  int count = integrator->problem.parameter_count;
  if (count == 0) {
    return true;
  }
  if (count > PARAMETER_LIMIT) {
    return false;
  }
  integrator->sensitivities = new_vectors(count, integrator->state);
  size_t integrals = (size_t)count * (size_t)integrator->problem.integral_count + 1;
  integrator->sensitivity_work = N_VClone(integrator->state);
  integrator->sensitivity_quadrature = quadrature_new(count * integrator->problem.integral_count);
  integrator->integral_sensitivities = calloc(integrals, sizeof(double));
  integrator->integral_sensitivities_at = calloc(integrals, sizeof(double));
  integrator->sensitivities_within = calloc((size_t)count * (size_t)integrator->problem.state_count, sizeof(double));
  integrator->scales = malloc((size_t)count * sizeof *integrator->scales);
  if (integrator->scales == NULL) {
    return false;
  }
  memcpy(integrator->scales, integrator->problem.parameter_scales, (size_t)count * sizeof *integrator->scales);
  return integrator->sensitivities && integrator->integral_sensitivities && integrator->sensitivity_work &&
         integrator->sensitivity_quadrature && integrator->sensitivities_within && integrator->integral_sensitivities &&
         integrator->integral_sensitivities_at;
}

/* 1/(relative |y| + absolute), each state with its own of both. */
static int call_weights(N_Vector state, N_Vector weights, void *context) {
  const struct integrator *integrator = context;
  const double *y = NV_DATA_S(state);
  const double *absolute = integrator->tolerances;
  const double *relative = integrator->tolerances + integrator->problem.state_count;
  double *weight = NV_DATA_S(weights);
  for (int i = 0; i < integrator->problem.state_count; i++) {
    weight[i] = 1.0 / (relative[i] * fabs(y[i]) + absolute[i]);
  }
  return 0;
}

/* The problem's tolerances, which belong to the caller, into our own memory. */
static void take_tolerances(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  int n = problem->state_count;
  double times = integrator->linear_steps != NULL ? LINEAR_TOLERANCES : 1.0;
  for (int i = 0; i < n; i++) {
    double share = problem->shares != NULL ? problem->shares[i] : 1.0;
    integrator->tolerances[i] = times * problem->tolerances[i];
    integrator->tolerances[n + i] = times * problem->relative_tolerance * share;
  }
}

static bool is_linear(const struct integrator_problem *problem) {
  return problem->method == INTEGRATOR_ROSENBROCK && problem->parameter_count == 0;
}

/* What the method needs: of the library, or of our own. */
static bool make_method(struct integrator *integrator, struct error *error) {
  const struct integrator_problem *problem = &integrator->problem;
  if (is_linear(problem)) {
    integrator->linear_steps = calloc(1, sizeof *integrator->linear_steps);
    return integrator->linear_steps != NULL && linear_steps_renew(integrator->linear_steps, problem, error);
  }
  integrator->linear = lu_solver(problem->state_count, integrator->context);
  integrator->solver = CVodeCreate(CV_BDF, integrator->context);
  return integrator->linear != NULL && integrator->solver != NULL && jacobian_fit(&integrator->jacobian, problem);
}

struct integrator *integrator_new(const struct integrator_problem *problem, struct error *error) {
  struct integrator *integrator = calloc(1, sizeof *integrator);
  if (integrator == NULL) {
    error_set(error, ERROR_MEMORY, "out of memory for the integrator");
    return NULL;
  }
  integrator->problem = *problem;
  integrator->bad_state = -1;
  bool ready = SUNContext_Create(NULL, &integrator->context) == 0;
  if (ready) {
    int n = problem->state_count;
    integrator->state = new_vector(n, integrator->context);
    integrator->tolerances = calloc(2 * (size_t)n, sizeof *integrator->tolerances);
    integrator->collector = vecops_collector(&integrator->terms, integrator->context);
    integrator->quadrature = quadrature_new(problem->integral_count);
    integrator->within = calloc((size_t)n, sizeof *integrator->within);
    integrator->matrix = SUNDenseMatrix(n, n, integrator->context);
    ready = ringing_make(&integrator->ringing, n) && integrator->within && integrator->state &&
            integrator->tolerances && integrator->collector && integrator->quadrature && integrator->matrix &&
            make_sensitivities(integrator);
  }
  if (ready) {
    ready = make_method(integrator, error);
    take_tolerances(integrator);
  }
  if (!ready) {
    integrator_free(integrator);
    error_set(error, ERROR_MEMORY, "out of memory for the integrator");
    return NULL;
  }
  return integrator;
}

bool integrator_renew(struct integrator **integrator, const struct integrator_problem *problem, struct error *error) {
  struct integrator *old = *integrator;
  if (old != NULL && old->problem.parameter_count == 0 && problem->parameter_count == 0 &&
      is_linear(&old->problem) == is_linear(problem) && old->problem.state_count == problem->state_count &&
      old->problem.integral_count == problem->integral_count) {
    old->problem = *problem;
    take_tolerances(old);
    if (old->linear_steps == NULL) {
      lu_forget(old->linear);
      if (!jacobian_fit(&old->jacobian, problem)) {
        return error_set(error, ERROR_MEMORY, "out of memory for the integrator");
      }
    } else if (!linear_steps_renew(old->linear_steps, problem, error)) {
      return false;
    }
    old->begun = false;
    old->rate_calls = 0;
    old->jacobian_calls = 0;
    old->before = (struct integrator_counts){0};
    old->bad_state = -1;
    old->message[0] = '\0';
    return true;
  }
  integrator_free(old);
  *integrator = integrator_new(problem, error);
  return *integrator != NULL;
}

void integrator_free(struct integrator *integrator) {
  if (integrator == NULL) {
    return;
  }
  jacobian_free(integrator->jacobian);
  linear_steps_free(integrator->linear_steps);
  if (integrator->solver != NULL) {
    CVodeFree(&integrator->solver);
  }
  if (integrator->linear != NULL) {
    SUNLinSolFree(integrator->linear);
  }
  if (integrator->matrix != NULL) {
    SUNMatDestroy(integrator->matrix);
  }
  N_Vector vectors[] = {integrator->state, integrator->sensitivity_work};
  for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
    if (vectors[i] != NULL) {
      N_VDestroy(vectors[i]);
    }
  }
  if (integrator->sensitivities != NULL) {
    N_VDestroyVectorArray(integrator->sensitivities, integrator->problem.parameter_count);
  }
  free(integrator->scales);
  free(integrator->tolerances);
  if (integrator->collector != NULL) {
    N_VFreeEmpty(integrator->collector);
  }
  ringing_free(&integrator->ringing);
  quadrature_free(integrator->quadrature);
  quadrature_free(integrator->sensitivity_quadrature);
  free(integrator->integral_sensitivities);
  free(integrator->integral_sensitivities_at);
  free(integrator->sensitivities_within);
  free(integrator->within);
  if (integrator->context != NULL) {
    SUNContext_Free(&integrator->context);
  }
  free(integrator);
}

/* What a solver needs once; what differs from problem to problem is in `settle`. */
static bool make(struct integrator *integrator, double t) {
  void *solver = integrator->solver;
  int failed = CVodeSetErrHandlerFn(solver, keep_message, integrator);
  failed |= CVodeInit(solver, call_rates, t, integrator->state);
  failed |= CVodeSetUserData(solver, integrator);
  failed |= CVodeSetMaxHnilWarns(solver, -1);
  int parameters = integrator->problem.parameter_count;
  if (parameters > 0) {
    failed |= CVodeSensInit(solver, parameters, CV_STAGGERED, call_sensitivity_rates, integrator->sensitivities);
    failed |= CVodeSetSensParams(solver, NULL, integrator->scales, NULL);
    failed |= CVodeSensEEtolerances(solver);
    failed |= CVodeSetSensErrCon(solver, SUNTRUE);
  }
  integrator->made = true;
  return failed == CV_SUCCESS;
}

static bool attach_linear(struct integrator *integrator) {
  return CVodeSetLinearSolver(integrator->solver, integrator->linear, integrator->matrix) == CV_SUCCESS &&
         CVodeSetLinSysFn(integrator->solver, call_linear_system) == CV_SUCCESS;
}

static bool start_again(struct integrator *integrator, double t) {
  void *solver = integrator->solver;
  return CVodeSetMaxOrd(solver, integrator->order) == CV_SUCCESS &&
         CVodeReInit(solver, t, integrator->state) == CV_SUCCESS &&
         (integrator->problem.parameter_count == 0 ||
          CVodeSensReInit(solver, CV_STAGGERED, integrator->sensitivities) == CV_SUCCESS);
}

void integrator_begin_sensitivities(struct integrator *integrator, const double *const *states,
                                    const double *const *integrals) {
  for (int i = 0; i < integrator->problem.parameter_count; i++) {
    memcpy(NV_DATA_S(integrator->sensitivities[i]), states[i],
           sizeof(double) * (size_t)integrator->problem.state_count);
    int count = integrator->problem.integral_count;
    for (int k = 0; k < count; k++) {
      integrator->integral_sensitivities[i * count + k] = integrals[i][k] * integrator->scales[i];
    }
  }
}

static void settle_quadrature(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  quadrature_settle(integrator->quadrature, 0.1 * problem->relative_tolerance, problem->integral_tolerance);
}

static bool settle(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  void *solver = integrator->solver;
  int failed = CVodeWFtolerances(solver, call_weights);
  failed |= CVodeSetNonlinConvCoef(solver, problem->nonlinear_tolerance);
  failed |= CVodeSetMaxOrd(solver, integrator->order);
  failed |= CVodeSetMaxStep(solver, problem->largest_step);
  failed |= CVodeSetMinStep(solver, SMALLEST_STEP);
  failed |= CVodeSetJacEvalFrequency(solver, JACOBIAN_STEPS);
  failed |= CVodeSetMaxErrTestFails(solver, ERROR_TRIES);
  settle_quadrature(integrator);
  if (problem->parameter_count > 0) { /* derivatives need not close a balance */
    quadrature_settle(integrator->sensitivity_quadrature, 10.0 * problem->relative_tolerance,
                      100.0 * problem->integral_tolerance);
  }
  return failed == CV_SUCCESS;
}

static struct integrator_counts counts_since_restart(const struct integrator *integrator) {
  struct integrator_counts counts = {0};
  if (!integrator->begun || integrator->linear_steps != NULL) {
    return counts;
  }
  CVodeGetNumSteps(integrator->solver, &counts.steps);
  CVodeGetNumErrTestFails(integrator->solver, &counts.error_failures);
  CVodeGetNumNonlinSolvConvFails(integrator->solver, &counts.convergence_failures);
  CVodeGetNumJacEvals(integrator->solver, &counts.jacobians);
  CVodeGetNumLinSolvSetups(integrator->solver, &counts.factorizations);
  CVodeGetNumNonlinSolvIters(integrator->solver, &counts.solves);
  return counts;
}

struct integrator_counts integrator_counts(const struct integrator *integrator) {
  struct integrator_counts sum = counts_since_restart(integrator);
  sum.steps += integrator->before.steps;
  sum.error_failures += integrator->before.error_failures;
  sum.convergence_failures += integrator->before.convergence_failures;
  sum.jacobians += integrator->before.jacobians;
  sum.factorizations += integrator->before.factorizations;
  sum.solves += integrator->before.solves;
  sum.restarts = integrator->before.restarts;
  sum.rate_calls = integrator->rate_calls + integrator->jacobian_calls;
  sum.jacobian_calls = integrator->jacobian_calls;
  return sum;
}

bool integrator_start(struct integrator *integrator, double t, const double *state, const double *integrals,
                      struct error *error) {
  const struct integrator_problem *problem = &integrator->problem;
  struct integrator_counts counts = integrator_counts(integrator);
  memcpy(NV_DATA_S(integrator->state), state, sizeof(double) * (size_t)problem->state_count);
  integrator->order = problem->largest_order;
  integrator->order_changes = false;
  ringing_begin(&integrator->ringing);
  quadrature_start(integrator->quadrature, t, integrals);
  if (problem->parameter_count > 0) {
    quadrature_start(integrator->sensitivity_quadrature, t, integrator->integral_sensitivities);
  }
  bool good = true;
  counts.restarts += integrator->begun;
  if (integrator->linear_steps != NULL) {
    settle_quadrature(integrator);
    step_control_jump(&integrator->linear_steps->control);
  } else if (integrator->begun) {
    good = start_again(integrator, t);
  } else if (integrator->made) {
    good = start_again(integrator, t) && settle(integrator);
  } else {
    good = make(integrator, t) && attach_linear(integrator) && settle(integrator);
  }
  integrator->before = counts;
  integrator->begun = true;
  integrator->stepped = false;
  integrator->time = t;
  integrator->step_start = t;
  integrator->polynomial_ready = false;
  if (!good) {
    return error_set(error, ERROR_RUN, "the integrator could not start: %s", integrator->message);
  }
  return true;
}

double integrator_time(const struct integrator *integrator) {
  return integrator->time;
}

double integrator_step_start(const struct integrator *integrator) {
  return integrator->step_start;
}

/* The step's polynomial, sum of z_j x^j with x = (t - end)/width, once a step: the library would sum it anew at each
 * call. Asked for the state half a step before the end it hands over its rows, highest power first, each with its power
 * of x, and x of that time with the second last. */
static bool get_polynomial(struct integrator *integrator) {
  if (integrator->linear_steps != NULL) {
    return false; /* given with each step, or there has been none */
  }
  const struct vecops_terms *terms = &integrator->terms;
  double before = 0.5 * (integrator->time - integrator->step_start);
  if (CVodeGetDky(integrator->solver, integrator->time - before, 0, integrator->collector) != CV_SUCCESS ||
      terms->count < 2) {
    return false;
  }
  integrator->over_width = terms->factor[terms->count - 2] / -before;
  integrator->polynomial_ready = true;
  return true;
}

double integrator_argument(const struct integrator *integrator, double t) {
  return (t - integrator->time) * integrator->over_width;
}

static void state_at(struct integrator *integrator, double t, double *state) {
  int n = integrator->problem.state_count;
  if (t == integrator->time || !(integrator->polynomial_ready || get_polynomial(integrator))) {
    memcpy(state, NV_DATA_S(integrator->state), sizeof(double) * (size_t)n);
    return;
  }
  vecops_polynomial(&integrator->terms, (t - integrator->time) * integrator->over_width, n, state);
}

void integrator_states_at(struct integrator *integrator, const double *times, int first, int count, lanes *states) {
  int n = integrator->problem.state_count;
  const double *end = NV_DATA_S(integrator->state);
  bool inside = integrator->polynomial_ready || get_polynomial(integrator);
  if (inside) {
    lanes x = {0.0};
    for (int k = 0; k < count; k++) {
      x[first + k] = (times[k] - integrator->time) * integrator->over_width;
    }
    vecops_polynomials(&integrator->terms, &x, first, n, states);
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
    double *change = NV_DATA_S(integrator->sensitivity_work);
    integrator_sensitivity_at(integrator, integrator->perturbed, t, change);
    for (int i = 0; i < integrator->problem.state_count; i++) {
      state[i] += integrator->amount * change[i];
    }
  }
}

void integrator_sensitivity_at(struct integrator *integrator, int parameter, double t, double *states) {
  size_t size = sizeof(double) * (size_t)integrator->problem.state_count;
  N_Vector found = integrator->sensitivities[parameter];
  if (integrator->stepped &&
      CVodeGetSensDky1(integrator->solver, t, 0, parameter, integrator->sensitivity_work) == CV_SUCCESS) {
    found = integrator->sensitivity_work;
  }
  if (states != NV_DATA_S(found)) {
    memcpy(states, NV_DATA_S(found), size);
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
  const double *now[PARAMETER_LIMIT] = {NULL};
  double *result[PARAMETER_LIMIT] = {NULL};
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

void integrator_integral_sensitivity_at(struct integrator *integrator, int parameter, double t, double *integrals) {
  int count = integrator->problem.integral_count;
  double *all = integrator->integral_sensitivities_at;
  quadrature_at(integrator->sensitivity_quadrature, t, sensitivity_powers_at, integrator, all);
  for (int k = 0; k < count; k++) {
    integrals[k] = all[parameter * count + k] / integrator->scales[parameter];
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

/* The solver begins again where it is, with the order that is due. Quadratures and whoever looks at the last step go
 * on: the new start is the end of that step. No restart in the sense of the counts: nothing in the plant changed. */
static bool change_order(struct integrator *integrator) {
  integrator->before = integrator_counts(integrator);
  integrator->order_changes = false;
  return start_again(integrator, integrator->time);
}

/* Does the formula ring, or does the plant move again? */
static void watch_ringing(struct integrator *integrator) {
  int n = integrator->problem.state_count;
  if (integrator->problem.parameter_count > 0) {
    return; /* derivatives carry the solver's own history */
  }
  int largest = integrator->problem.largest_order;
  int wanted = integrator->order;
  switch (ringing_note(&integrator->ringing, integrator->time, NV_DATA_S(integrator->state), integrator->tolerances,
                       integrator->tolerances + n)) {
  case RINGING_IS:
    wanted = STABLE_ORDER < largest ? STABLE_ORDER : largest;
    break;
  case RINGING_MOVES:
    wanted = largest;
    break;
  case RINGING_NOT:
  case RINGING_UNKNOWN:
    break;
  }
  if (wanted != integrator->order) {
    integrator->order = wanted;
    integrator->order_changes = true;
    ringing_begin(&integrator->ringing);
  }
}

void integrator_note_step(struct integrator *integrator, double t, bool polynomial) {
  integrator->time = t;
  integrator->stepped = true;
  integrator->polynomial_ready = polynomial;
  quadrature_step(integrator->quadrature, t);
  if (integrator->problem.parameter_count > 0) {
    quadrature_step(integrator->sensitivity_quadrature, t);
  }
}

bool integrator_step(struct integrator *integrator, double stop, struct error *error) {
  if (integrator->linear_steps != NULL) {
    return linear_steps_step(integrator, stop, error);
  }
  integrator->bad_state = -1;
  integrator->message[0] = '\0';
  integrator_finish_quadratures(integrator);
  if (integrator->order_changes && !change_order(integrator)) {
    return error_set(error, ERROR_RUN, "the integrator could not start again at t = %.6g s: %s", integrator->time,
                     integrator->message);
  }
  int flag = CVodeSetStopTime(integrator->solver, stop);
  double t = integrator->time;
  integrator->step_start = t;
  if (flag == CV_SUCCESS) {
    flag = CVode(integrator->solver, stop, integrator->state, &t, CV_ONE_STEP);
  }
  if (flag < 0) {
    if (integrator->bad_state >= 0) {
      return error_set(error, ERROR_RUN, "at t = %.6g s the derivative of %s is not a finite number",
                       integrator->bad_time, integrator->problem.state_names[integrator->bad_state]);
    }
    return error_set(error, ERROR_RUN, "the integrator cannot go on at t = %.6g s: %s", integrator->time,
                     integrator->message[0] != '\0' ? integrator->message : "no reason given");
  }
  integrator_note_step(integrator, t, false);
  watch_ringing(integrator);
  return true;
}

void integrator_perturb(struct integrator *integrator, int parameter, double amount) {
  integrator->perturbed = parameter;
  integrator->amount = amount;
}
