/* Vector operations for small systems, put into the solver library's own objects: ours are compiled for wide registers
 * and assume that no element depends on the one before. The digits are the same but for the order of sums. */
#ifndef SWASHLOOP_INTEGRATE_VECOPS_H
#define SWASHLOOP_INTEGRATE_VECOPS_H

#include <nvector/nvector_serial.h>

#include "step_polynomial.h"

/* Replace the operations of an object made by the library; its clones inherit them. */
void vecops_vector(N_Vector vector);
/* A vector that, as the target of a linear combination, keeps pointers to the terms and their factors instead of
 * summing. So the polynomial of a step, which the library would sum anew for every time asked for, is read off once. */
enum { VECOPS_TERMS = STEP_POLYNOMIAL_ROWS };

struct vecops_terms {
  int count; /* -1: more than there is room for */
  double factor[VECOPS_TERMS];
  const double *values[VECOPS_TERMS];
};

/* Keeps into *terms; freed by N_VFreeEmpty. NULL without memory. */
N_Vector vecops_collector(struct vecops_terms *terms, SUNContext context);

#endif
