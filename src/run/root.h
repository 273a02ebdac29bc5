/* Systems of equations: the one place that sees KINSOL. Newton's method with a line search and a dense Jacobian by
 * differences. No case, no plant. */
#ifndef SWASHLOOP_RUN_ROOT_H
#define SWASHLOOP_RUN_ROOT_H

#include <stdbool.h>

enum { ROOT_LIMIT = 64 };

struct root_problem {
  int count;
  void *context;
  /* f(u); false where u lies outside what can be computed. */
  bool (*residual)(void *context, const double *u, double *f);
  const double *sizes; /* typical size of every unknown */
};

struct root_counts {
  long residual_calls;
  long iterations;
};

/* From *u, the guess, to a root. Every equation is weighed by how much it changes when the unknowns change by their
 * sizes, so that the residual counts as a distance to the root in sizes: at the end it lies below 1e-9. On failure *u
 * is the nearest point that was found. */
bool root_find(const struct root_problem *problem, double *u, struct root_counts *counts);

#endif
