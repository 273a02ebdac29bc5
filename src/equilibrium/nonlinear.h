/* Systems of equations: the one place that sees KINSOL. Newton's method with a line search and a dense Jacobian by
 * differences. No case, no plant. */
#ifndef SWASHLOOP_EQUILIBRIUM_NONLINEAR_H
#define SWASHLOOP_EQUILIBRIUM_NONLINEAR_H

#include <stdbool.h>

enum { NONLINEAR_LIMIT = 68 };

struct nonlinear_problem {
  int count;
  void *context;
  /* f(u); false where u lies outside what can be computed. */
  bool (*residual)(void *context, const double *u, double *f);
  const double *sizes; /* typical size of every unknown */
};

struct nonlinear_counts {
  long residual_calls;
  long iterations;
};

/* From *u, the guess, to a root. Every equation is weighed by how much it changes when the unknowns change by their
 * sizes, so that the residual counts as a distance to the root in sizes: at the end it lies below 1e-9. On failure *u
 * is the nearest point that was found. */
bool nonlinear_solve(const struct nonlinear_problem *problem, double *u, struct nonlinear_counts *counts);

#endif
