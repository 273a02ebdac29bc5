/* Backward differentiation formulas of order 1 to 5 with a Newton iteration, by CVODES: the only file that sees it. The
 * library is given a matrix and a linear solver of our own, which hold the Jacobian and the factors by entries of the
 * problem's sparsity. */
#include <cvodes/cvodes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "differences.h"
#include "elimination.h"
#include "integrator_method.h"
#include "ringing.h"
#include "vecops.h"

/* A Jacobian serves so many steps at most. The solver would keep one for 51; where a stiffness falls by orders
 * meanwhile (a brake that comes on), Newton's corrections with the old one are too small, look converged, and the state
 * drifts off by per cents without any test failing. Costs 3 % over all demo cases. */
#define JACOBIAN_STEPS 20

/* How often one step may be cut before the run fails. From a step of a millisecond to what the impact of a poppet on
 * its seat asks for, the solver's usual 7 cuts are too few. */
#define ERROR_TRIES 20

/* The largest order that is stable for every damped mode. */
enum { STABLE_ORDER = 2 };

struct bdf {
  SUNContext context;
  void *solver;
  N_Vector state;     /* integrator->state as the library's vector */
  N_Vector collector; /* of the step's polynomial */
  struct vecops_terms terms;
  SUNMatrix matrix;
  SUNLinearSolver linear;
  struct differences_plain differences; /* their Jacobian is the matrix */
  double gamma;                         /* factored is I - gamma J */
  double *factors;
  double *reciprocals;
  N_Vector *sensitivities; /* with which a start begins, one a parameter; NULL without parameters */
  N_Vector sensitivity_work;
  struct ringing ringing;
  int order;                       /* the largest for now: STABLE_ORDER while the formula would ring */
  bool order_changes;              /* before the next step */
  bool made;                       /* the library's memory is there */
  struct integrator_counts before; /* up to the last restart, which resets the library's */
  char message[256];
};

/* ---- what the library calls ---- */

static int call_rates(sunrealtype t, N_Vector state, N_Vector rates, void *context) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  double *result = NV_DATA_S(rates);
  problem->rates(problem->context, t, NV_DATA_S(state), result);
  integrator->counts.rate_calls++;
  if (!integrator_finite(result, problem->state_count)) {
    integrator_note_bad(integrator, t, result);
    return 1; /* try a smaller step */
  }
  return 0;
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

/* Increments as in the library's own routine: the larger of the square root of the rounding unit times the state, and
 * the rounding of the rates over the error weight. */
static bool choose_increments(const struct integrator *integrator, N_Vector state, N_Vector rates, N_Vector work) {
  const struct bdf *own = integrator->own;
  int n = integrator->problem.state_count;
  const double *y = NV_DATA_S(state);
  const double *f = NV_DATA_S(rates);
  const double *weights = NV_DATA_S(work);
  double step;
  if (CVodeGetCurrentStep(own->solver, &step) != CV_SUCCESS || CVodeGetErrWeights(own->solver, work) != CV_SUCCESS) {
    return false;
  }
  double norm = 0.0;
  for (int i = 0; i < n; i++) {
    norm += f[i] * weights[i] * f[i] * weights[i];
  }
  norm = sqrt(norm / n);
  double rounding = SUN_UNIT_ROUNDOFF;
  double least = norm > 0.0 ? 1000.0 * fabs(step) * rounding * n * norm : 1.0;
  for (int j = 0; j < n; j++) {
    own->differences.increments[j] = fmax(sqrt(rounding) * fabs(y[j]), least / weights[j]);
  }
  return true;
}

/* Returns what the library wants: 0, 1 when a rate left the numbers, below 0 when it knows no step. */
static int find_jacobian(struct integrator *integrator, double t, N_Vector state, N_Vector rates, N_Vector work) {
  struct bdf *own = integrator->own;
  struct differences_plain *differences = &own->differences;
  const struct sparsity *sparsity = integrator->sparsity;
  if (!choose_increments(integrator, state, rates, work)) {
    return -1;
  }
  memcpy(differences->rates, NV_DATA_S(rates), (size_t)integrator->problem.state_count * sizeof(double));
  differences_plain_find(differences, t, t, NV_DATA_S(state));
  integrator->counts.jacobian_calls += differences_evaluations(sparsity, false);
  if (integrator_finite(differences->jacobian, sparsity->entry_count)) {
    return 0;
  }
  integrator_note_bad_jacobian(integrator, t, differences->jacobian);
  return 1;
}

/* The Newton matrix I - gamma J. `matrix` is J itself, kept from call to call; factors are made of both. */
static int call_linear_system(sunrealtype t, N_Vector state, N_Vector rates, SUNMatrix matrix, sunbooleantype keep,
                              sunbooleantype *renewed, sunrealtype gamma, void *context, N_Vector work1, N_Vector work2,
                              N_Vector work3) {
  struct integrator *integrator = context;
  struct bdf *own = integrator->own;
  (void)matrix;
  (void)work2;
  (void)work3;
  own->gamma = gamma;
  *renewed = keep ? SUNFALSE : SUNTRUE;
  return keep ? 0 : find_jacobian(integrator, t, state, rates, work1);
}

static int call_factor(SUNLinearSolver solver, SUNMatrix matrix) {
  const struct integrator *integrator = solver->content;
  const struct bdf *own = integrator->own;
  double loss;
  (void)matrix;
  elimination_plain_factor(integrator->sparsity, -own->gamma, 1.0, own->differences.jacobian, own->factors,
                           own->reciprocals, &loss);
  return loss > ELIMINATION_SPOILT ? SUNLS_LUFACT_FAIL : SUNLS_SUCCESS; /* a smaller step has a stronger diagonal */
}

static int call_solve(SUNLinearSolver solver, SUNMatrix matrix, N_Vector x, N_Vector b, sunrealtype tolerance) {
  const struct integrator *integrator = solver->content;
  const struct bdf *own = integrator->own;
  (void)matrix;
  (void)tolerance;
  if (x != b) {
    memcpy(NV_DATA_S(x), NV_DATA_S(b), (size_t)integrator->problem.state_count * sizeof(double));
  }
  elimination_plain_solve(integrator->sparsity, own->factors, own->reciprocals, NV_DATA_S(x));
  return SUNLS_SUCCESS;
}

/* The data of an array of vectors, for functions that know none. */
static void columns_of(N_Vector *vectors, int count, double **columns) {
  for (int i = 0; i < count; i++) {
    columns[i] = NV_DATA_S(vectors[i]);
  }
}

static int call_sensitivity_rates(int count, sunrealtype t, N_Vector state, N_Vector rates, N_Vector *sensitivities,
                                  N_Vector *results, void *context, N_Vector work1, N_Vector work2) {
  struct integrator *integrator = context;
  const struct integrator_problem *problem = &integrator->problem;
  double *now[INTEGRATOR_PARAMETERS] = {NULL};
  double *result[INTEGRATOR_PARAMETERS] = {NULL};
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
  struct bdf *own = context;
  (void)code;
  (void)module;
  (void)function;
  size_t length = strlen(text);
  if (length >= sizeof own->message) {
    length = sizeof own->message - 1;
  }
  memcpy(own->message, text, length);
  own->message[length] = '\0';
}

/* ---- the library's objects ---- */

static SUNMatrix_ID matrix_kind(SUNMatrix matrix) {
  (void)matrix;
  return SUNMATRIX_CUSTOM;
}

static SUNMatrix new_matrix(SUNContext context) {
  SUNMatrix matrix = SUNMatNewEmpty(context);
  if (matrix != NULL) {
    matrix->ops->getid = matrix_kind;
  }
  return matrix;
}

static SUNLinearSolver_Type linear_kind(SUNLinearSolver solver) {
  (void)solver;
  return SUNLINEARSOLVER_DIRECT;
}

static SUNLinearSolver new_linear_solver(struct integrator *integrator, SUNContext context) {
  SUNLinearSolver solver = SUNLinSolNewEmpty(context);
  if (solver != NULL) {
    solver->content = integrator;
    solver->ops->gettype = linear_kind;
    solver->ops->setup = call_factor;
    solver->ops->solve = call_solve;
  }
  return solver;
}

static bool make_sensitivities(struct bdf *own, int count) {
  if (count == 0) {
    return true;
  }
  own->sensitivities = N_VCloneVectorArray(count, own->state);
  own->sensitivity_work = N_VClone(own->state);
  for (int i = 0; own->sensitivities != NULL && i < count; i++) {
    N_VConst(0.0, own->sensitivities[i]);
  }
  return own->sensitivities != NULL && own->sensitivity_work != NULL;
}

static void take_rates(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  own->differences.rates_of = integrator->problem.rates;
  own->differences.rates_of_lanes = integrator->problem.rates_in_lanes;
  own->differences.context = integrator->problem.context;
}

static bool create(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  const struct sparsity *sparsity = integrator->sparsity;
  struct bdf *own = calloc(1, sizeof *own);
  integrator->own = own;
  if (own == NULL || SUNContext_Create(NULL, &own->context) != 0) {
    return false;
  }
  own->differences = (struct differences_plain){.sparsity = sparsity, .rates_known = true};
  take_rates(integrator);
  own->factors = calloc((size_t)sparsity->entry_count, sizeof *own->factors);
  own->reciprocals = calloc((size_t)sparsity->size, sizeof *own->reciprocals);
  own->state = N_VMake_Serial(problem->state_count, integrator->state, own->context);
  own->collector = vecops_collector(&own->terms, own->context);
  own->matrix = new_matrix(own->context);
  own->linear = new_linear_solver(integrator, own->context);
  own->solver = CVodeCreate(CV_BDF, own->context);
  if (!differences_plain_open(&own->differences) || !ringing_make(&own->ringing, problem->state_count) ||
      own->factors == NULL || own->reciprocals == NULL || own->state == NULL || own->collector == NULL ||
      own->matrix == NULL || own->linear == NULL || own->solver == NULL) {
    return false;
  }
  vecops_vector(own->state);
  return make_sensitivities(own, problem->parameter_count);
}

static void renew(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  own->before = (struct integrator_counts){0};
  own->message[0] = '\0';
  take_rates(integrator);
}

static void destroy(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  if (own == NULL) {
    return;
  }
  if (own->solver != NULL) {
    CVodeFree(&own->solver);
  }
  if (own->linear != NULL) {
    SUNLinSolFreeEmpty(own->linear);
  }
  if (own->matrix != NULL) {
    SUNMatFreeEmpty(own->matrix);
  }
  if (own->sensitivities != NULL) {
    N_VDestroyVectorArray(own->sensitivities, integrator->problem.parameter_count);
  }
  N_Vector vectors[] = {own->state, own->sensitivity_work};
  for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
    if (vectors[i] != NULL) {
      N_VDestroy(vectors[i]);
    }
  }
  if (own->collector != NULL) {
    N_VFreeEmpty(own->collector);
  }
  if (own->context != NULL) {
    SUNContext_Free(&own->context);
  }
  differences_plain_close(&own->differences);
  ringing_free(&own->ringing);
  free(own->factors);
  free(own->reciprocals);
  free(own);
  integrator->own = NULL;
}

/* ---- starting ---- */

/* What a solver needs once; what differs from problem to problem is in `settle`. */
static bool make(struct integrator *integrator, double t) {
  struct bdf *own = integrator->own;
  void *solver = own->solver;
  int failed = CVodeSetErrHandlerFn(solver, keep_message, own);
  failed |= CVodeInit(solver, call_rates, t, own->state);
  failed |= CVodeSetUserData(solver, integrator);
  failed |= CVodeSetMaxHnilWarns(solver, -1);
  int parameters = integrator->problem.parameter_count;
  if (parameters > 0) {
    failed |= CVodeSensInit(solver, parameters, CV_STAGGERED, call_sensitivity_rates, own->sensitivities);
    failed |= CVodeSetSensParams(solver, NULL, integrator->scales, NULL);
    failed |= CVodeSensEEtolerances(solver);
    failed |= CVodeSetSensErrCon(solver, SUNTRUE);
  }
  own->made = true;
  failed |= CVodeSetLinearSolver(solver, own->linear, own->matrix);
  failed |= CVodeSetLinSysFn(solver, call_linear_system);
  return failed == CV_SUCCESS;
}

static bool settle(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  const struct bdf *own = integrator->own;
  void *solver = own->solver;
  int failed = CVodeWFtolerances(solver, call_weights);
  failed |= CVodeSetNonlinConvCoef(solver, problem->nonlinear_tolerance);
  failed |= CVodeSetMaxOrd(solver, own->order);
  failed |= CVodeSetMaxStep(solver, problem->largest_step);
  failed |= CVodeSetMinStep(solver, SMALLEST_STEP);
  failed |= CVodeSetJacEvalFrequency(solver, JACOBIAN_STEPS);
  failed |= CVodeSetMaxErrTestFails(solver, ERROR_TRIES);
  return failed == CV_SUCCESS;
}

static bool start_again(const struct integrator *integrator, double t) {
  const struct bdf *own = integrator->own;
  return CVodeSetMaxOrd(own->solver, own->order) == CV_SUCCESS &&
         CVodeReInit(own->solver, t, own->state) == CV_SUCCESS &&
         (integrator->problem.parameter_count == 0 ||
          CVodeSensReInit(own->solver, CV_STAGGERED, own->sensitivities) == CV_SUCCESS);
}

static void add_counts(const struct integrator *integrator, struct integrator_counts *counts) {
  const struct bdf *own = integrator->own;
  struct integrator_counts since = {0};
  integrator_add_counts(counts, &own->before);
  if (integrator->begun) {
    CVodeGetNumSteps(own->solver, &since.steps);
    CVodeGetNumErrTestFails(own->solver, &since.error_failures);
    CVodeGetNumNonlinSolvConvFails(own->solver, &since.convergence_failures);
    CVodeGetNumJacEvals(own->solver, &since.jacobians);
    CVodeGetNumLinSolvSetups(own->solver, &since.factorizations);
    CVodeGetNumNonlinSolvIters(own->solver, &since.solves);
    integrator_add_counts(counts, &since);
  }
}

/* Before a restart, which resets the library's counts. */
static void keep_counts(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  struct integrator_counts counts = {0};
  add_counts(integrator, &counts);
  own->before = counts;
}

static bool start(struct integrator *integrator, double t, struct error *error) {
  struct bdf *own = integrator->own;
  keep_counts(integrator);
  own->order = integrator->problem.largest_order;
  own->order_changes = false;
  ringing_begin(&own->ringing);
  bool good =
      (own->made ? start_again(integrator, t) : make(integrator, t)) && (integrator->begun || settle(integrator));
  return good || error_set(error, ERROR_RUN, "the integrator could not start: %s", own->message);
}

/* ---- steps ---- */

/* The solver begins again where it is, with the order that is due. Quadratures and whoever evaluates the last step go
 * on: the new start is the end of that step. No restart in the sense of the counts: nothing in the plant changed. */
static bool change_order(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  keep_counts(integrator);
  own->order_changes = false;
  return start_again(integrator, integrator->time);
}

/* Does the formula ring, or does the plant move again? */
static void watch_ringing(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  int n = integrator->problem.state_count;
  if (integrator->problem.parameter_count > 0) {
    return; /* derivatives carry the solver's own history */
  }
  int largest = integrator->problem.largest_order;
  int wanted = own->order;
  switch (ringing_note(&own->ringing, integrator->time, integrator->state, integrator->tolerances,
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
  if (wanted != own->order) {
    own->order = wanted;
    own->order_changes = true;
    ringing_begin(&own->ringing);
  }
}

/* The state with the largest error of the last attempt, in its tolerance; -1: none is known. */
static int worst_state(const struct integrator *integrator) {
  const struct bdf *own = integrator->own;
  int state = -1;
  N_Vector errors = N_VClone(own->state);
  N_Vector weights = N_VClone(own->state);
  if (errors != NULL && weights != NULL && CVodeGetEstLocalErrors(own->solver, errors) == CV_SUCCESS &&
      CVodeGetErrWeights(own->solver, weights) == CV_SUCCESS) {
    double worst = 0.0;
    for (int i = 0; i < integrator->problem.state_count; i++) {
      double error = fabs(NV_DATA_S(errors)[i] * NV_DATA_S(weights)[i]);
      if (error > worst) {
        worst = error;
        state = i;
      }
    }
  }
  N_VDestroy(errors);
  N_VDestroy(weights);
  return state;
}

static bool step(struct integrator *integrator, double stop, struct error *error) {
  struct bdf *own = integrator->own;
  own->message[0] = '\0';
  integrator_finish_quadratures(integrator);
  if (own->order_changes && !change_order(integrator)) {
    return error_set(error, ERROR_RUN, "the integrator could not start again at t = %.6g s: %s", integrator->time,
                     own->message);
  }
  int flag = CVodeSetStopTime(own->solver, stop);
  double t = integrator->time;
  if (flag == CV_SUCCESS) {
    flag = CVode(own->solver, stop, own->state, &t, CV_ONE_STEP);
  }
  if (flag < 0) {
    if (integrator->bad_state >= 0) {
      return integrator_tell_bad(integrator, error);
    }
    return integrator_tell_stuck(integrator, worst_state(integrator),
                                 own->message[0] != '\0' ? own->message : "no reason given", error);
  }
  integrator_note_step(integrator, t);
  watch_ringing(integrator);
  return true;
}

/* Once a step: the library would sum its polynomial anew at each call. Asked for the state half a step before the end
 * it hands over its rows, highest power first, each with its power of x, and x of that time with the second last. */
static bool find_polynomial(struct integrator *integrator) {
  struct bdf *own = integrator->own;
  struct step_polynomial *polynomial = &integrator->polynomial;
  const struct vecops_terms *terms = &own->terms;
  double before = 0.5 * (integrator->time - integrator->step_start);
  if (CVodeGetDky(own->solver, integrator->time - before, 0, own->collector) != CV_SUCCESS || terms->count < 2) {
    return false;
  }
  polynomial->count = terms->count;
  polynomial->over_width = terms->factor[terms->count - 2] / -before;
  memcpy(polynomial->rows, terms->values, (size_t)terms->count * sizeof terms->values[0]);
  return true;
}

/* ---- derivatives to parameters ---- */

static void begin_sensitivity(struct integrator *integrator, int parameter, const double *states) {
  const struct bdf *own = integrator->own;
  memcpy(NV_DATA_S(own->sensitivities[parameter]), states, sizeof(double) * (size_t)integrator->problem.state_count);
}

static void sensitivity_at(struct integrator *integrator, int parameter, double t, double *states) {
  const struct bdf *own = integrator->own;
  N_Vector found = own->sensitivities[parameter];
  if (integrator->stepped && CVodeGetSensDky1(own->solver, t, 0, parameter, own->sensitivity_work) == CV_SUCCESS) {
    found = own->sensitivity_work;
  }
  memcpy(states, NV_DATA_S(found), sizeof(double) * (size_t)integrator->problem.state_count);
}

const struct integrator_method integrator_bdf = {
    .name = "bdf",
    .text = "multistep",
    .tolerances = 1.0,
    .vouched = 3.0,
    .iterates = true,
    .steps_between_looks = 350,
    .create = create,
    .renew = renew,
    .destroy = destroy,
    .start = start,
    .step = step,
    .find_polynomial = find_polynomial,
    .add_counts = add_counts,
    .begin_sensitivity = begin_sensitivity,
    .sensitivity_at = sensitivity_at,
};
