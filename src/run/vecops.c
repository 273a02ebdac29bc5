#include "vecops.h"

#include <math.h>

static double *data_of(N_Vector vector) {
  return NV_DATA_S(vector);
}

static sunindextype length_of(N_Vector vector) {
  return NV_LENGTH_S(vector);
}

static void linear_sum(sunrealtype a, N_Vector x, sunrealtype b, N_Vector y, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *yd = data_of(y);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = a * xd[i] + b * yd[i];
  }
}

static void set_constant(sunrealtype c, N_Vector z) {
  sunindextype n = length_of(z);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = c;
  }
}

static void product(N_Vector x, N_Vector y, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *yd = data_of(y);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = xd[i] * yd[i];
  }
}

static void scale(sunrealtype c, N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = c * xd[i];
  }
}

static void absolute(N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = fabs(xd[i]);
  }
}

static void inverse(N_Vector x, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = 1.0 / xd[i];
  }
}

static void add_constant(N_Vector x, sunrealtype b, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  double *zd = data_of(z);
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = xd[i] + b;
  }
}

static sunrealtype wrms_norm(N_Vector x, N_Vector w) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *wd = data_of(w);
  double sum = 0.0;
  for (sunindextype i = 0; i < n; i++) {
    double term = xd[i] * wd[i];
    sum += term * term;
  }
  return sqrt(sum / (double)n);
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

static int linear_combination(int count, sunrealtype *c, N_Vector *x, N_Vector z) {
  sunindextype n = length_of(z);
  double *zd = data_of(z);
  const double *first = data_of(x[0]);
  double factor = c[0];
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = factor * first[i];
  }
  for (int k = 1; k < count; k++) {
    const double *xd = data_of(x[k]);
    factor = c[k];
    for (sunindextype i = 0; i < n; i++) {
      zd[i] += factor * xd[i];
    }
  }
  return 0;
}

static int scale_add_multi(int count, sunrealtype *c, N_Vector x, N_Vector *y, N_Vector *z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  for (int k = 0; k < count; k++) {
    const double *yd = data_of(y[k]);
    double *zd = data_of(z[k]);
    double factor = c[k];
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

/* A <- c A + I */
static int scale_add_identity(sunrealtype c, SUNMatrix matrix) {
  sunindextype n = SM_COLUMNS_D(matrix);
  for (sunindextype j = 0; j < n; j++) {
    double *column = SM_COLUMN_D(matrix, j);
    for (sunindextype i = 0; i < n; i++) {
      column[i] *= c;
    }
    column[j] += 1.0;
  }
  return 0;
}

static int zero_matrix(SUNMatrix matrix) {
  sunindextype size = SM_COLUMNS_D(matrix) * SM_ROWS_D(matrix);
  double *values = SM_DATA_D(matrix);
  for (sunindextype i = 0; i < size; i++) {
    values[i] = 0.0;
  }
  return 0;
}

static int copy_matrix(SUNMatrix from, SUNMatrix to) {
  sunindextype size = SM_COLUMNS_D(from) * SM_ROWS_D(from);
  const double *source = SM_DATA_D(from);
  double *target = SM_DATA_D(to);
  for (sunindextype i = 0; i < size; i++) {
    target[i] = source[i];
  }
  return 0;
}

void vecops_matrix(SUNMatrix matrix) {
  matrix->ops->scaleaddi = scale_add_identity;
  matrix->ops->zero = zero_matrix;
  matrix->ops->copy = copy_matrix;
}

/* LU with partial pivoting, by columns; a zero multiplier skips its column, which is what makes a matrix with one entry
 * in six non-zero cheap. Returns the column of a zero pivot + 1, or 0. */
static int lu_setup(SUNLinearSolver solver, SUNMatrix matrix) {
  SUNLinearSolverContent_Dense content = (SUNLinearSolverContent_Dense)solver->content;
  sunindextype n = SM_COLUMNS_D(matrix);
  double **columns = SM_COLS_D(matrix);
  sunindextype *pivots = content->pivots;
  for (sunindextype k = 0; k < n; k++) {
    double *column = columns[k];
    sunindextype pivot = k;
    for (sunindextype i = k + 1; i < n; i++) {
      if (fabs(column[i]) > fabs(column[pivot])) {
        pivot = i;
      }
    }
    pivots[k] = pivot;
    if (!(fabs(column[pivot]) > 0.0)) {
      content->last_flag = k + 1;
      return SUNLS_LUFACT_FAIL;
    }
    if (pivot != k) {
      for (sunindextype j = 0; j < n; j++) {
        double swapped = columns[j][k];
        columns[j][k] = columns[j][pivot];
        columns[j][pivot] = swapped;
      }
    }
    double scale_by = 1.0 / column[k];
    for (sunindextype i = k + 1; i < n; i++) {
      column[i] *= scale_by;
    }
    for (sunindextype j = k + 1; j < n; j++) {
      double *other = columns[j];
      double factor = other[k];
      if (factor != 0.0) {
        for (sunindextype i = k + 1; i < n; i++) {
          other[i] -= factor * column[i];
        }
      }
    }
  }
  content->last_flag = 0;
  return SUNLS_SUCCESS;
}

static int lu_solve(SUNLinearSolver solver, SUNMatrix matrix, N_Vector x, N_Vector b, sunrealtype tolerance) {
  (void)tolerance;
  SUNLinearSolverContent_Dense content = (SUNLinearSolverContent_Dense)solver->content;
  sunindextype n = SM_COLUMNS_D(matrix);
  double **columns = SM_COLS_D(matrix);
  const sunindextype *pivots = content->pivots;
  double *xd = data_of(x);
  if (x != b) {
    const double *bd = data_of(b);
    for (sunindextype i = 0; i < n; i++) {
      xd[i] = bd[i];
    }
  }
  for (sunindextype k = 0; k < n; k++) {
    sunindextype pivot = pivots[k];
    if (pivot != k) {
      double swapped = xd[k];
      xd[k] = xd[pivot];
      xd[pivot] = swapped;
    }
  }
  for (sunindextype k = 0; k < n; k++) {
    double value = xd[k];
    if (value != 0.0) {
      const double *column = columns[k];
      for (sunindextype i = k + 1; i < n; i++) {
        xd[i] -= value * column[i];
      }
    }
  }
  for (sunindextype k = n - 1; k >= 0; k--) {
    const double *column = columns[k];
    xd[k] /= column[k];
    double value = xd[k];
    for (sunindextype i = 0; i < k; i++) {
      xd[i] -= value * column[i];
    }
  }
  content->last_flag = SUNLS_SUCCESS;
  return SUNLS_SUCCESS;
}

void vecops_solver(SUNLinearSolver solver) {
  solver->ops->setup = lu_setup;
  solver->ops->solve = lu_solve;
}
