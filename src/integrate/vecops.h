/* Vector operations for small systems, put into the solver library's own objects: ours are compiled for wide registers
 * and know that nothing is carried from element to element. The digits are the same but for the order of sums. */
#ifndef SWASHLOOP_INTEGRATE_VECOPS_H
#define SWASHLOOP_INTEGRATE_VECOPS_H

#include <nvector/nvector_serial.h>

#include "plant_lanes.h"

/* Replace the operations of an object made by the library; its clones inherit them. */
void vecops_vector(N_Vector vector);
/* A vector that takes no sum: given a linear combination it keeps the terms, which stay the giver's. So the polynomial
 * of a step, which the library would sum anew for every time asked for, is got once. */
enum { VECOPS_TERMS = 8 };

struct vecops_terms {
  int count; /* -1: more than there is room for */
  double factor[VECOPS_TERMS];
  const double *values[VECOPS_TERMS];
};

/* The sum of the terms, highest power of x first, n states each. At least two terms. */
void vecops_polynomial(const struct vecops_terms *terms, double x, int n, double *state);
/* The same of LANES x at once; lanes before `first` of the states are left as they are. */
void vecops_polynomials(const struct vecops_terms *terms, const lanes *x, int first, int n, lanes *states);
/* Keeps into *terms; freed by N_VFreeEmpty. NULL without memory. */
N_Vector vecops_collector(struct vecops_terms *terms, SUNContext context);

#endif
