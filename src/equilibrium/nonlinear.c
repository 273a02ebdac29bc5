#include "nonlinear.h"

#include <kinsol/kinsol.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

#include "vecops.h"

#define GOOD_RESIDUAL 1e-9   /* what is taken as a root */
#define AIMED_RESIDUAL 1e-12 /* what the iteration goes for */

enum { MOST_ITERATIONS = 60, ROUNDS = 3 };

struct search {
  const struct nonlinear_problem *problem;
  long calls;
  SUNContext context;
  void *solver;
  N_Vector unknowns;
  N_Vector unknown_scale;
  N_Vector equation_scale;
  SUNMatrix matrix;
  SUNLinearSolver linear;
};

static bool residual_at(struct search *search, const double *u, double *f) {
  const struct nonlinear_problem *problem = search->problem;
  search->calls++;
  if (!problem->residual(problem->context, u, f)) {
    return false;
  }
  for (int i = 0; i < problem->count; i++) {
    if (!isfinite(f[i])) {
      return false;
    }
  }
  return true;
}

static int call_residual(N_Vector unknowns, N_Vector values, void *context) {
  return residual_at(context, NV_DATA_S(unknowns), NV_DATA_S(values)) ? 0 : 1;
}

/* Forward differences, each unknown by a small part of its size. */
static int call_jacobian(N_Vector unknowns, N_Vector values, SUNMatrix matrix, void *context, N_Vector work1,
                         N_Vector work2) {
  struct search *search = context;
  const struct nonlinear_problem *problem = search->problem;
  double *u = NV_DATA_S(unknowns);
  const double *f = NV_DATA_S(values);
  double *shifted = NV_DATA_S(work1);
  (void)work2;
  for (int j = 0; j < problem->count; j++) {
    double kept = u[j];
    double step = sqrt(SUN_UNIT_ROUNDOFF) * fmax(fabs(kept), problem->sizes[j]);
    u[j] = kept + step;
    bool good = residual_at(search, u, shifted);
    if (!good) {
      step = -step;
      u[j] = kept + step;
      good = residual_at(search, u, shifted);
    }
    u[j] = kept;
    if (!good) {
      return 1;
    }
    double *column = SM_COLUMN_D(matrix, j);
    for (int i = 0; i < problem->count; i++) {
      column[i] = (shifted[i] - f[i]) / step;
    }
  }
  return 0;
}

static void keep_silent(int code, const char *module, const char *function, char *text, void *context) {
  (void)code;
  (void)module;
  (void)function;
  (void)text;
  (void)context;
}

/* Weigh every equation by its change over the sizes of the unknowns, at u. */
static bool weigh(struct search *search, double *u) {
  const struct nonlinear_problem *problem = search->problem;
  int n = problem->count;
  double *weight = NV_DATA_S(search->equation_scale);
  double here[NONLINEAR_LIMIT];
  double there[NONLINEAR_LIMIT];
  double sums[NONLINEAR_LIMIT] = {0.0};
  if (!residual_at(search, u, here)) {
    return false;
  }
  for (int j = 0; j < n; j++) {
    double kept = u[j];
    double step = 1e-6 * fmax(fabs(kept), problem->sizes[j]);
    u[j] = kept + step;
    bool good = residual_at(search, u, there);
    u[j] = kept;
    for (int i = 0; good && i < n; i++) {
      sums[i] += fabs(there[i] - here[i]) / step * problem->sizes[j];
    }
  }
  for (int i = 0; i < n; i++) {
    weight[i] = sums[i] > 0.0 ? 1.0 / sums[i] : 1.0;
  }
  return true;
}

static bool settled(struct search *search, const double *u) {
  const double *weight = NV_DATA_S(search->equation_scale);
  double f[NONLINEAR_LIMIT];
  if (!residual_at(search, u, f)) {
    return false;
  }
  for (int i = 0; i < search->problem->count; i++) {
    if (!(fabs(f[i]) * weight[i] <= GOOD_RESIDUAL)) {
      return false;
    }
  }
  return true;
}

static void close_search(struct search *search) {
  KINFree(&search->solver);
  if (search->linear != NULL) {
    SUNLinSolFree(search->linear);
  }
  if (search->matrix != NULL) {
    SUNMatDestroy(search->matrix);
  }
  if (search->unknowns != NULL) {
    N_VDestroy(search->unknowns);
  }
  if (search->unknown_scale != NULL) {
    N_VDestroy(search->unknown_scale);
  }
  if (search->equation_scale != NULL) {
    N_VDestroy(search->equation_scale);
  }
  if (search->context != NULL) {
    SUNContext_Free(&search->context);
  }
}

static bool open_search(struct search *search) {
  int n = search->problem->count;
  if (SUNContext_Create(NULL, &search->context) != 0) {
    return false;
  }
  search->unknowns = N_VNew_Serial(n, search->context);
  if (search->unknowns == NULL) {
    return false;
  }
  vecops_vector(search->unknowns);
  search->unknown_scale = N_VClone(search->unknowns);
  search->equation_scale = N_VClone(search->unknowns);
  search->matrix = SUNDenseMatrix(n, n, search->context);
  search->solver = KINCreate(search->context);
  if (search->unknown_scale == NULL || search->equation_scale == NULL || search->matrix == NULL ||
      search->solver == NULL) {
    return false;
  }
  search->linear = SUNLinSol_Dense(search->unknowns, search->matrix, search->context);
  if (search->linear == NULL) {
    return false;
  }
  bool good = KINSetErrHandlerFn(search->solver, keep_silent, NULL) == KIN_SUCCESS &&
              KINInit(search->solver, call_residual, search->unknowns) == KIN_SUCCESS &&
              KINSetUserData(search->solver, search) == KIN_SUCCESS &&
              KINSetLinearSolver(search->solver, search->linear, search->matrix) == KIN_SUCCESS &&
              KINSetJacFn(search->solver, call_jacobian) == KIN_SUCCESS &&
              KINSetFuncNormTol(search->solver, AIMED_RESIDUAL) == KIN_SUCCESS &&
              KINSetScaledStepTol(search->solver, 1e-14) == KIN_SUCCESS &&
              KINSetNumMaxIters(search->solver, MOST_ITERATIONS) == KIN_SUCCESS &&
              KINSetMaxSetupCalls(search->solver, 1) == KIN_SUCCESS &&
              KINSetMaxNewtonStep(search->solver, 1e6) == KIN_SUCCESS;
  for (int i = 0; i < n; i++) {
    NV_Ith_S(search->unknown_scale, i) = 1.0 / search->problem->sizes[i];
  }
  return good;
}

bool nonlinear_solve(const struct nonlinear_problem *problem, double *u, struct nonlinear_counts *counts) {
  struct search search = {.problem = problem};
  bool found = false;
  long iterations = 0;
  if (problem->count > 0 && problem->count <= NONLINEAR_LIMIT && open_search(&search)) {
    double *unknowns = NV_DATA_S(search.unknowns);
    size_t bytes = (size_t)problem->count * sizeof *u;
    memcpy(unknowns, u, bytes);
    /* The weights are those of the guess: weigh again where the search ended, and go on from there. */
    for (int round = 0; round < ROUNDS && !found && weigh(&search, unknowns); round++) {
      if (settled(&search, unknowns)) {
        found = true;
        break;
      }
      int status = KINSol(search.solver, search.unknowns, KIN_LINESEARCH, search.unknown_scale, search.equation_scale);
      long steps = 0;
      (void)KINGetNumNonlinSolvIters(search.solver, &steps);
      iterations += steps;
      found = weigh(&search, unknowns) && settled(&search, unknowns);
      if (status < 0 && !found && round > 0) {
        break;
      }
    }
    memcpy(u, unknowns, bytes);
  }
  if (counts != NULL) {
    counts->residual_calls += search.calls;
    counts->iterations += iterations;
  }
  close_search(&search);
  return found;
}
