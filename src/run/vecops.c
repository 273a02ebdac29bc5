#include "vecops.h"

#include <math.h>
#include <stdlib.h>

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

static SUNMatrix clone_matrix(SUNMatrix matrix) {
  SUNMatrix clone = SUNDenseMatrix(SM_ROWS_D(matrix), SM_COLUMNS_D(matrix), matrix->sunctx);
  if (clone != NULL) {
    vecops_matrix(clone);
  }
  return clone;
}

void vecops_matrix(SUNMatrix matrix) {
  matrix->ops->clone = clone_matrix;
  matrix->ops->scaleaddi = scale_add_identity;
  matrix->ops->zero = zero_matrix;
  matrix->ops->copy = copy_matrix;
}

/* ---- LU with partial pivoting, by columns, and solves that touch only what is not zero ----
 *
 * The matrix is small and mostly empty (about one entry in six). A zero multiplier skips its column while factoring;
 * after it, each column's non-zero rows are listed once, since a factorization serves many solves. */

struct lu {
  sunindextype size;
  sunindextype *pivots;
  int *below_count; /* [column] non-zero rows of L */
  int *above_count; /* [column] non-zero rows of U above the diagonal */
  int *below;       /* [column][size] */
  int *above;
  double *diagonal; /* reciprocals of U's diagonal */
};

static struct lu *lu_of(SUNLinearSolver solver) {
  return solver->content;
}

static void list_entries(struct lu *lu, double **columns) {
  int n = (int)lu->size;
  for (int k = 0; k < n; k++) {
    const double *column = columns[k];
    int *above = lu->above + (size_t)k * (size_t)n;
    int *below = lu->below + (size_t)k * (size_t)n;
    int above_count = 0;
    int below_count = 0;
    for (int i = 0; i < k; i++) {
      above[above_count] = i;
      above_count += column[i] != 0.0;
    }
    for (int i = k + 1; i < n; i++) {
      below[below_count] = i;
      below_count += column[i] != 0.0;
    }
    lu->above_count[k] = above_count;
    lu->below_count[k] = below_count;
    lu->diagonal[k] = 1.0 / column[k];
  }
}

/* Returns SUNLS_LUFACT_FAIL on a zero pivot. */
static int lu_setup(SUNLinearSolver solver, SUNMatrix matrix) {
  struct lu *lu = lu_of(solver);
  sunindextype n = lu->size;
  double **columns = SM_COLS_D(matrix);
  for (sunindextype k = 0; k < n; k++) {
    double *column = columns[k];
    sunindextype pivot = k;
    for (sunindextype i = k + 1; i < n; i++) {
      if (fabs(column[i]) > fabs(column[pivot])) {
        pivot = i;
      }
    }
    lu->pivots[k] = pivot;
    if (!(fabs(column[pivot]) > 0.0)) {
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
  list_entries(lu, columns);
  return SUNLS_SUCCESS;
}

static int lu_solve(SUNLinearSolver solver, SUNMatrix matrix, N_Vector x, N_Vector b, sunrealtype tolerance) {
  (void)tolerance;
  const struct lu *lu = lu_of(solver);
  int n = (int)lu->size;
  double **columns = SM_COLS_D(matrix);
  double *xd = data_of(x);
  if (x != b) {
    scale(1.0, b, x);
  }
  for (int k = 0; k < n; k++) {
    sunindextype pivot = lu->pivots[k];
    if (pivot != k) {
      double swapped = xd[k];
      xd[k] = xd[pivot];
      xd[pivot] = swapped;
    }
  }
  for (int k = 0; k < n; k++) {
    const double *column = columns[k];
    const int *rows = lu->below + (size_t)k * (size_t)n;
    double value = xd[k];
    for (int i = 0; i < lu->below_count[k]; i++) {
      xd[rows[i]] -= value * column[rows[i]];
    }
  }
  for (int k = n - 1; k >= 0; k--) {
    const double *column = columns[k];
    const int *rows = lu->above + (size_t)k * (size_t)n;
    double value = xd[k] * lu->diagonal[k];
    xd[k] = value;
    for (int i = 0; i < lu->above_count[k]; i++) {
      xd[rows[i]] -= value * column[rows[i]];
    }
  }
  return SUNLS_SUCCESS;
}

static SUNLinearSolver_Type lu_type(SUNLinearSolver solver) {
  (void)solver;
  return SUNLINEARSOLVER_DIRECT;
}

static void lu_content_free(struct lu *lu) {
  if (lu != NULL) {
    free(lu->pivots);
    free(lu->below_count);
    free(lu->above_count);
    free(lu->below);
    free(lu->above);
    free(lu->diagonal);
    free(lu);
  }
}

static int lu_free(SUNLinearSolver solver) {
  lu_content_free(lu_of(solver));
  solver->content = NULL;
  SUNLinSolFreeEmpty(solver);
  return SUNLS_SUCCESS;
}

SUNLinearSolver vecops_solver(int size, SUNContext context) {
  SUNLinearSolver solver = SUNLinSolNewEmpty(context);
  struct lu *lu = calloc(1, sizeof *lu);
  size_t n = (size_t)size;
  if (solver == NULL || lu == NULL) {
    free(lu);
    return NULL;
  }
  lu->size = size;
  lu->pivots = calloc(n, sizeof *lu->pivots);
  lu->below_count = calloc(n, sizeof *lu->below_count);
  lu->above_count = calloc(n, sizeof *lu->above_count);
  lu->below = calloc(n * n, sizeof *lu->below);
  lu->above = calloc(n * n, sizeof *lu->above);
  lu->diagonal = calloc(n, sizeof *lu->diagonal);
  solver->content = lu;
  solver->ops->gettype = lu_type;
  solver->ops->setup = lu_setup;
  solver->ops->solve = lu_solve;
  solver->ops->free = lu_free;
  if (lu->pivots == NULL || lu->below_count == NULL || lu->above_count == NULL || lu->below == NULL ||
      lu->above == NULL || lu->diagonal == NULL) {
    lu_free(solver);
    return NULL;
  }
  return solver;
}
