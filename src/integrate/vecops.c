#include "vecops.h"

#include <math.h>

#include "wide.h"

/* Loops whose result may be one of their arguments, element by element: nothing is carried from one turn to the next,
 * so that they may run on vector registers in any case. */
#define IN_STEP _Pragma("GCC ivdep")

static double *data_of(N_Vector vector) {
  return NV_DATA_S(vector);
}

static sunindextype length_of(N_Vector vector) {
  return NV_LENGTH_S(vector);
}

WIDE static void linear_sum(sunrealtype a, N_Vector x, sunrealtype b, N_Vector y, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *yd = data_of(y);
  double *zd = data_of(z);
  if (a == 1.0) { /* most of the calls */
    IN_STEP
    for (sunindextype i = 0; i < n; i++) {
      zd[i] = xd[i] + b * yd[i];
    }
    return;
  }
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = a * xd[i] + b * yd[i];
  }
}

static void set_constant(sunrealtype c, N_Vector z) {
  sunindextype n = length_of(z);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = c;
  }
}

WIDE static void product(N_Vector x, N_Vector y, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *yd = data_of(y);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = xd[i] * yd[i];
  }
}

WIDE static void scale(sunrealtype c, N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = c * xd[i];
  }
}

static void absolute(N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = fabs(xd[i]);
  }
}

static void inverse(N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = 1.0 / xd[i];
  }
}

static void add_constant(N_Vector x, sunrealtype b, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = xd[i] + b;
  }
}

WIDE static sunrealtype wrms_norm(N_Vector x, N_Vector w) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *wd = data_of(w);
  double sums[4] = {0.0, 0.0, 0.0, 0.0}; /* side by side: one sum would wait for each addition */
  sunindextype i = 0;
  for (; i + 4 <= n; i += 4) {
    for (int k = 0; k < 4; k++) {
      double term = xd[i + k] * wd[i + k];
      sums[k] += term * term;
    }
  }
  for (; i < n; i++) {
    double term = xd[i] * wd[i];
    sums[0] += term * term;
  }
  return sqrt((sums[0] + sums[1] + (sums[2] + sums[3])) / (double)n);
}

static sunrealtype max_norm(N_Vector x) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double largest = 0.0;
  for (sunindextype i = 0; i < n; i++) {
    double size = fabs(xd[i]);
    largest = size > largest ? size : largest;
  }
  return largest;
}

static sunrealtype smallest(N_Vector x) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double least = xd[0];
  for (sunindextype i = 1; i < n; i++) {
    least = xd[i] < least ? xd[i] : least;
  }
  return least;
}

WIDE static int linear_combination(int count, sunrealtype *c, N_Vector *x, N_Vector z) {
  sunindextype n = length_of(z);
  double *zd = data_of(z);
  const double *first = data_of(x[0]);
  double factor = c[0];
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = factor * first[i];
  }
  for (int k = 1; k < count; k++) {
    const double *xd = data_of(x[k]);
    factor = c[k];
    IN_STEP
    for (sunindextype i = 0; i < n; i++) {
      zd[i] += factor * xd[i];
    }
  }
  return 0;
}

WIDE static int scale_add_multi(int count, sunrealtype *c, N_Vector x, N_Vector *y, N_Vector *z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  for (int k = 0; k < count; k++) {
    const double *yd = data_of(y[k]);
    double *zd = data_of(z[k]);
    double factor = c[k];
    IN_STEP
    for (sunindextype i = 0; i < n; i++) {
      zd[i] = factor * xd[i] + yd[i];
    }
  }
  return 0;
}

static int linear_sum_array(int count, sunrealtype a, N_Vector *x, sunrealtype b, N_Vector *y, N_Vector *z) {
  for (int k = 0; k < count; k++) {
    linear_sum(a, x[k], b, y[k], z[k]);
  }
  return 0;
}

static int scale_array(int count, sunrealtype *c, N_Vector *x, N_Vector *z) {
  for (int k = 0; k < count; k++) {
    scale(c[k], x[k], z[k]);
  }
  return 0;
}

void vecops_vector(N_Vector vector) {
  N_Vector_Ops ops = vector->ops;
  ops->nvlinearsum = linear_sum;
  ops->nvconst = set_constant;
  ops->nvprod = product;
  ops->nvscale = scale;
  ops->nvabs = absolute;
  ops->nvinv = inverse;
  ops->nvaddconst = add_constant;
  ops->nvwrmsnorm = wrms_norm;
  ops->nvmaxnorm = max_norm;
  ops->nvmin = smallest;
  ops->nvlinearcombination = linear_combination;
  ops->nvscaleaddmulti = scale_add_multi;
  ops->nvlinearsumvectorarray = linear_sum_array;
  ops->nvscalevectorarray = scale_array;
}

static int collect(int count, sunrealtype *c, N_Vector *x, N_Vector z) {
  struct vecops_terms *terms = z->content;
  terms->count = count <= VECOPS_TERMS ? count : -1;
  for (int i = 0; i < terms->count; i++) {
    terms->factor[i] = c[i];
    terms->values[i] = data_of(x[i]);
  }
  return 0;
}

N_Vector vecops_collector(struct vecops_terms *terms, SUNContext context) {
  N_Vector vector = N_VNewEmpty(context);
  if (vector != NULL) {
    vector->ops->nvlinearcombination = collect;
    vector->content = terms;
  }
  return vector;
}
