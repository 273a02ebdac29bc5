/* Vector operations for small systems, put into the solver library's own objects: ours are compiled for wide registers
 * and know that nothing is carried from element to element. The digits are the same but for the order of sums. */
#ifndef SWASHLOOP_INTEGRATE_VECOPS_H
#define SWASHLOOP_INTEGRATE_VECOPS_H

#include <nvector/nvector_serial.h>

#include "step_polynomial.h"

/* Replace the operations of an object made by the library; its clones inherit them. */
void vecops_vector(N_Vector vector);
/* A vector that takes no sum: given a linear combination it keeps the terms, which stay the giver's. So the polynomial
 * of a step, which the library would sum anew for every time asked for, is got once. */
enum { VECOPS_TERMS = STEP_POLYNOMIAL_ROWS };

struct vecops_terms {
  int count; /* -1: more than there is room for */
  double factor[VECOPS_TERMS];
  const double *values[VECOPS_TERMS];
};

/* Keeps into *terms; freed by N_VFreeEmpty. NULL without memory. */
N_Vector vecops_collector(struct vecops_terms *terms, SUNContext context);

#endif
