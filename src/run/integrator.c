#include "integrator.h"

#include <cvodes/cvodes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "vecops.h"

/* Below this the step is no step: a state has left the numbers or the problem has no solution from here. */
#define SMALLEST_STEP 1e-12

/* A Jacobian serves so many steps at most. The solver would keep one for 51; where a stiffness falls by orders
 * meanwhile (a brake that comes on), Newton's corrections with the old one are too small, look converged, and the state
 * drifts off by per cents without any test failing. Costs 3 % over all demo cases. */
#define JACOBIAN_STEPS 20

/* How often one step may be cut before the run fails. From a step of a millisecond to what the impact of a poppet on
 * its seat asks for, the solver's usual 7 cuts are too few. */
#define ERROR_TRIES 20

enum { LARGEST_ORDER = 5 };

struct integrator {
  struct integrator_problem problem;
  SUNContext context;
  void *solver;
  N_Vector state;
  N_Vector tolerances;
  N_Vector integral_tolerances;
  N_Vector integrals;
  N_Vector work; /* dense output of states */
  N_Vector integral_work;
  N_Vector *sensitivities; /* with which a start begins, one a parameter; NULL without parameters */
  N_Vector *integral_sensitivities;
  N_Vector sensitivity_work;
  N_Vector integral_sensitivity_work;
  double *scales; /* of the parameters */
  int beside;     /* parameter that is looked beside */
  double amount;
  SUNMatrix matrix;
  SUNLinearSolver linear;
  bool stepped; /* since the last start */
  bool made;    /* the library's memory is there */
  bool begun;   /* this problem has started */
  double time;
  double step_start;
  long rate_calls;
  long jacobian_calls;
  int looks;                       /* dense outputs asked for in the last step */
  int taylor_order;                /* of the step's polynomial, -1: not made */
  double *taylor;                  /* [order][state], derivatives over factorials at the step's end */
  struct integrator_counts before; /* counts up to the last restart, which resets the library's */
  int bad_state;                   /* first non-finite derivative, -1 none */
  double bad_time;
  char message[256];
};

static bool all_finite(const double *values, int count) {
  double sum = 0.0;
  for (int i = 0; i < count; i++) {
    sum += values[i] * 0.0;
  }
  return sum == 0.0;
}

static void note_bad(struct integrator *integrator, double t, const double *values) {
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
  if (!all_finite(result, problem->state_count)) {
    note_bad(integrator, t, result);
    return 1; /* try a smaller step */
  }
  return 0;
}

static int call_powers(sunrealtype t, N_Vector state, N_Vector powers, void *context) {
  struct integrator *integrator = context;
  integrator->problem.powers(integrator->problem.context, t, NV_DATA_S(state), NV_DATA_S(powers));
  return 0;
}

/* Jacobian by differences, column by column; increments as in the library's own routine (the larger of the square root
 * of the rounding unit times the state, and the rounding of the rates over the error weight). */
static int call_jacobian(sunrealtype t, N_Vector state, N_Vector rates, SUNMatrix matrix, void *context, N_Vector work1,
                         N_Vector work2, N_Vector work3) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  int n = problem->state_count;
  double *y = NV_DATA_S(state);
  const double *f = NV_DATA_S(rates);
  double *shifted = NV_DATA_S(work1);
  double *weights = NV_DATA_S(work2);
  (void)work3;
  double step;
  if (CVodeGetCurrentStep(integrator->solver, &step) != CV_SUCCESS ||
      CVodeGetErrWeights(integrator->solver, work2) != CV_SUCCESS) {
    return -1;
  }
  double norm = 0.0;
  for (int i = 0; i < n; i++) {
    norm += f[i] * weights[i] * f[i] * weights[i];
  }
  norm = sqrt(norm / n);
  double rounding = SUN_UNIT_ROUNDOFF;
  double least = norm > 0.0 ? 1000.0 * fabs(step) * rounding * n * norm : 1.0;
  for (int j = 0; j < n; j++) {
    double kept = y[j];
    double increment = fmax(sqrt(rounding) * fabs(kept), least / weights[j]);
    y[j] = kept + increment;
    problem->rates(problem->context, t, y, shifted);
    y[j] = kept;
    if (!all_finite(shifted, n)) {
      integrator->jacobian_calls += j + 1;
      note_bad(integrator, t, shifted);
      return 1;
    }
    double *column = SM_COLUMN_D(matrix, j);
    double over = 1.0 / increment;
    for (int i = 0; i < n; i++) {
      column[i] = (shifted[i] - f[i]) * over;
    }
  }
  integrator->jacobian_calls += n;
  return 0;
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
    if (!all_finite(result[i], problem->state_count)) {
      return 1; /* try a smaller step */
    }
  }
  return 0;
}

static int call_sensitivity_powers(int count, sunrealtype t, N_Vector state, N_Vector *sensitivities, N_Vector powers,
                                   N_Vector *results, void *context, N_Vector work1, N_Vector work2) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  double *now[PARAMETER_LIMIT] = {NULL};
  double *result[PARAMETER_LIMIT] = {NULL};
  (void)powers;
  (void)work1;
  (void)work2;
  columns_of(sensitivities, count, now);
  columns_of(results, count, result);
  problem->sensitivity_powers(problem->sensitivity_context, t, NV_DATA_S(state), (const double *const *)now, result);
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
  integrator->integral_sensitivities = new_vectors(count, integrator->integrals);
  integrator->sensitivity_work = N_VClone(integrator->state);
  integrator->integral_sensitivity_work = N_VClone(integrator->integrals);
  integrator->scales = malloc((size_t)count * sizeof *integrator->scales);
  if (integrator->scales == NULL) {
    return false;
  }
  memcpy(integrator->scales, integrator->problem.parameter_scales, (size_t)count * sizeof *integrator->scales);
  return integrator->sensitivities && integrator->integral_sensitivities && integrator->sensitivity_work &&
         integrator->integral_sensitivity_work;
}

/* The problem's tolerances, which belong to the caller, into vectors of our own. */
static void take_tolerances(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  memcpy(NV_DATA_S(integrator->tolerances), problem->tolerances, sizeof(double) * (size_t)problem->state_count);
  double *tolerances = NV_DATA_S(integrator->integral_tolerances);
  for (int i = 0; i < problem->integral_count; i++) {
    tolerances[i] =
        problem->integral_tolerance * (problem->integral_scales != NULL ? problem->integral_scales[i] : 1.0);
  }
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
    integrator->tolerances = new_vector(n, integrator->context);
    integrator->work = new_vector(n, integrator->context);
    integrator->integrals = new_vector(problem->integral_count, integrator->context);
    integrator->integral_work = new_vector(problem->integral_count, integrator->context);
    integrator->integral_tolerances = new_vector(problem->integral_count, integrator->context);
    integrator->matrix = SUNDenseMatrix(n, n, integrator->context);
    integrator->taylor = calloc((size_t)n * (LARGEST_ORDER + 1), sizeof *integrator->taylor);
    ready = integrator->taylor && integrator->state && integrator->tolerances && integrator->work &&
            integrator->integrals && integrator->integral_work && integrator->integral_tolerances &&
            integrator->matrix && make_sensitivities(integrator);
  }
  if (ready) {
    vecops_matrix(integrator->matrix);
    take_tolerances(integrator);
    integrator->linear = vecops_solver(problem->state_count, integrator->context);
    integrator->solver = CVodeCreate(CV_BDF, integrator->context);
    ready = integrator->linear != NULL && integrator->solver != NULL;
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
      old->problem.state_count == problem->state_count && old->problem.integral_count == problem->integral_count) {
    old->problem = *problem;
    take_tolerances(old);
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
  if (integrator->solver != NULL) {
    CVodeFree(&integrator->solver);
  }
  if (integrator->linear != NULL) {
    SUNLinSolFree(integrator->linear);
  }
  if (integrator->matrix != NULL) {
    SUNMatDestroy(integrator->matrix);
  }
  N_Vector vectors[] = {integrator->state,
                        integrator->tolerances,
                        integrator->integral_tolerances,
                        integrator->work,
                        integrator->integrals,
                        integrator->integral_work,
                        integrator->sensitivity_work,
                        integrator->integral_sensitivity_work};
  for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
    if (vectors[i] != NULL) {
      N_VDestroy(vectors[i]);
    }
  }
  if (integrator->sensitivities != NULL) {
    N_VDestroyVectorArray(integrator->sensitivities, integrator->problem.parameter_count);
  }
  if (integrator->integral_sensitivities != NULL) {
    N_VDestroyVectorArray(integrator->integral_sensitivities, integrator->problem.parameter_count);
  }
  free(integrator->scales);
  free(integrator->taylor);
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
  if (integrator->problem.integral_count > 0) {
    failed |= CVodeQuadInit(solver, call_powers, integrator->integrals);
    failed |= CVodeSetQuadErrCon(solver, SUNTRUE);
  }
  int parameters = integrator->problem.parameter_count;
  if (parameters > 0) {
    failed |= CVodeSensInit(solver, parameters, CV_STAGGERED, call_sensitivity_rates, integrator->sensitivities);
    failed |= CVodeSetSensParams(solver, NULL, integrator->scales, NULL);
    failed |= CVodeSensEEtolerances(solver);
    failed |= CVodeSetSensErrCon(solver, SUNTRUE);
    failed |= CVodeQuadSensInit(solver, call_sensitivity_powers, integrator->integral_sensitivities);
  }
  integrator->made = true;
  return failed == CV_SUCCESS;
}

static bool attach_linear(struct integrator *integrator) {
  return CVodeSetLinearSolver(integrator->solver, integrator->linear, integrator->matrix) == CV_SUCCESS &&
         CVodeSetJacFn(integrator->solver, call_jacobian) == CV_SUCCESS;
}

static bool start_again(struct integrator *integrator, double t) {
  void *solver = integrator->solver;
  return CVodeReInit(solver, t, integrator->state) == CV_SUCCESS &&
         (integrator->problem.integral_count == 0 || CVodeQuadReInit(solver, integrator->integrals) == CV_SUCCESS) &&
         (integrator->problem.parameter_count == 0 ||
          (CVodeSensReInit(solver, CV_STAGGERED, integrator->sensitivities) == CV_SUCCESS &&
           CVodeQuadSensReInit(solver, integrator->integral_sensitivities) == CV_SUCCESS));
}

void integrator_begin_sensitivities(struct integrator *integrator, const double *const *states,
                                    const double *const *integrals) {
  for (int i = 0; i < integrator->problem.parameter_count; i++) {
    memcpy(NV_DATA_S(integrator->sensitivities[i]), states[i],
           sizeof(double) * (size_t)integrator->problem.state_count);
    memcpy(NV_DATA_S(integrator->integral_sensitivities[i]), integrals[i],
           sizeof(double) * (size_t)integrator->problem.integral_count);
  }
}

static bool settle(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  void *solver = integrator->solver;
  int failed = CVodeSVtolerances(solver, problem->relative_tolerance, integrator->tolerances);
  failed |= CVodeSetNonlinConvCoef(solver, problem->nonlinear_tolerance);
  failed |= CVodeSetMaxOrd(solver, problem->largest_order);
  failed |= CVodeSetMaxStep(solver, problem->largest_step);
  failed |= CVodeSetMinStep(solver, SMALLEST_STEP);
  failed |= CVodeSetJacEvalFrequency(solver, JACOBIAN_STEPS);
  failed |= CVodeSetMaxErrTestFails(solver, ERROR_TRIES);
  if (problem->integral_count > 0) {
    failed |= CVodeQuadSVtolerances(solver, 0.1 * problem->relative_tolerance, integrator->integral_tolerances);
  }
  return failed == CV_SUCCESS;
}

static struct integrator_counts counts_since_restart(const struct integrator *integrator) {
  struct integrator_counts counts = {0};
  if (!integrator->begun) {
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
  memcpy(NV_DATA_S(integrator->integrals), integrals, sizeof(double) * (size_t)problem->integral_count);
  bool good;
  if (integrator->begun) {
    good = start_again(integrator, t);
    counts.restarts++;
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
  integrator->looks = 0;
  integrator->taylor_order = -1;
  if (!good) {
    return error_set(error, ERROR_RUN, "the integrator could not start: %s", integrator->message);
  }
  return true;
}

bool integrator_step(struct integrator *integrator, double stop, struct error *error) {
  integrator->bad_state = -1;
  integrator->message[0] = '\0';
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
  integrator->time = t;
  integrator->stepped = true;
  integrator->looks = 0;
  integrator->taylor_order = -1;
  return true;
}

double integrator_time(const struct integrator *integrator) {
  return integrator->time;
}

double integrator_step_start(const struct integrator *integrator) {
  return integrator->step_start;
}

/* The step's polynomial about its end, once a step: a look then costs one pass instead of a call of the library. */
static bool make_taylor(struct integrator *integrator) {
  int n = integrator->problem.state_count;
  int order;
  if (CVodeGetLastOrder(integrator->solver, &order) != CV_SUCCESS || order > LARGEST_ORDER) {
    return false;
  }
  double factorial = 1.0;
  for (int k = 0; k <= order; k++) {
    factorial *= k > 0 ? k : 1;
    if (CVodeGetDky(integrator->solver, integrator->time, k, integrator->work) != CV_SUCCESS) {
      return false;
    }
    const double *derivative = NV_DATA_S(integrator->work);
    double *row = integrator->taylor + (size_t)(k * n);
    for (int i = 0; i < n; i++) {
      row[i] = derivative[i] / factorial;
    }
  }
  integrator->taylor_order = order;
  return true;
}

static void state_at(struct integrator *integrator, double t, double *state) {
  int n = integrator->problem.state_count;
  if (t == integrator->time) {
    memcpy(state, NV_DATA_S(integrator->state), sizeof(double) * (size_t)n);
    return;
  }
  integrator->looks++;
  if (integrator->taylor_order < 0 && (integrator->looks == 1 || !make_taylor(integrator))) {
    if (CVodeGetDky(integrator->solver, t, 0, integrator->work) == CV_SUCCESS) {
      memcpy(state, NV_DATA_S(integrator->work), sizeof(double) * (size_t)n);
    } else {
      memcpy(state, NV_DATA_S(integrator->state), sizeof(double) * (size_t)n);
    }
    return;
  }
  double after = t - integrator->time;
  const double *row = integrator->taylor + (size_t)(integrator->taylor_order * n);
  memcpy(state, row, sizeof(double) * (size_t)n);
  for (int k = integrator->taylor_order - 1; k >= 0; k--) {
    row -= n;
    for (int i = 0; i < n; i++) {
      state[i] = row[i] + after * state[i];
    }
  }
}

void integrator_integrals_at(struct integrator *integrator, double t, double *integrals) {
  int count = integrator->problem.integral_count;
  if (count > 0 && CVodeGetQuadDky(integrator->solver, t, 0, integrator->integral_work) == CV_SUCCESS) {
    memcpy(integrals, NV_DATA_S(integrator->integral_work), sizeof(double) * (size_t)count);
  }
  if (integrator->amount != 0.0) {
    double *change = NV_DATA_S(integrator->integral_work);
    integrator_integral_sensitivity_at(integrator, integrator->beside, t, change);
    for (int i = 0; i < count; i++) {
      integrals[i] += integrator->amount * change[i];
    }
  }
}

void integrator_state_at(struct integrator *integrator, double t, double *state) {
  state_at(integrator, t, state);
  if (integrator->amount != 0.0) {
    double *change = NV_DATA_S(integrator->work);
    integrator_sensitivity_at(integrator, integrator->beside, t, change);
    for (int i = 0; i < integrator->problem.state_count; i++) {
      state[i] += integrator->amount * change[i];
    }
  }
}

void integrator_sensitivity_at(struct integrator *integrator, int parameter, double t, double *states) {
  N_Vector found = integrator->sensitivities[parameter];
  if (integrator->stepped &&
      CVodeGetSensDky1(integrator->solver, t, 0, parameter, integrator->sensitivity_work) == CV_SUCCESS) {
    found = integrator->sensitivity_work;
  }
  memcpy(states, NV_DATA_S(found), sizeof(double) * (size_t)integrator->problem.state_count);
}

void integrator_integral_sensitivity_at(struct integrator *integrator, int parameter, double t, double *integrals) {
  N_Vector found = integrator->integral_sensitivities[parameter];
  if (integrator->stepped &&
      CVodeGetQuadSensDky1(integrator->solver, t, 0, parameter, integrator->integral_sensitivity_work) == CV_SUCCESS) {
    found = integrator->integral_sensitivity_work;
  }
  memcpy(integrals, NV_DATA_S(found), sizeof(double) * (size_t)integrator->problem.integral_count);
}

void integrator_look_beside(struct integrator *integrator, int parameter, double amount) {
  integrator->beside = parameter;
  integrator->amount = amount;
}
