#include "vecops.h"

#include <limits.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Loops whose result may be one of their arguments, element by element: nothing is carried from one turn to the next,
 * so that they may run on vector registers in any case. */
#define IN_STEP _Pragma("GCC ivdep")

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

static void product(N_Vector x, N_Vector y, N_Vector z) {
  sunindextype n = length_of(x);
  const double *xd = data_of(x);
  const double *yd = data_of(y);
  double *zd = data_of(z);
  IN_STEP
  for (sunindextype i = 0; i < n; i++) {
    zd[i] = xd[i] * yd[i];
  }
}

static void scale(sunrealtype c, N_Vector x, N_Vector z) {
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

static int scale_add_multi(int count, sunrealtype *c, N_Vector x, N_Vector *y, N_Vector *z) {
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

/* ---- LU of a small matrix that is mostly empty ----
 *
 * A Newton matrix here has some 80 entries of 441, always in the same places. Unknowns and equations are put in an
 * order that keeps it empty while it is eliminated (Markowitz: next the one whose row and column have least in common
 * with the rest), found anew whenever an entry turns up where none was before. A pivot on the diagonal is kept unless
 * it is below a tenth of the largest in its column. What is left is a list of multiplications, so that a solve is one
 * run through it: factors serve many solves. */

#define PIVOT_SHARE 0.1
#define ANYTHING (UINT64_MAX >> 1)

struct lu {
  int size;
  int entry_count; /* places where an entry has been seen, the diagonal always among them */
  int *from;       /* [entry] in the matrix */
  int *to;         /* [entry] in `work` */
  int *order;      /* [k] the k-th unknown */
  int *equations;  /* [k] the k-th equation, after pivoting */
  double *work;    /* the matrix in that order, by columns */
  double *over;    /* reciprocals of the pivots */
  double *y;
  int lower_count;
  int upper_count;
  int *target; /* multiplications of L, then of U: y[target] -= factor y[source] */
  int *source;
  double *factor;
  uint64_t *outside; /* [entry of the matrix] 0 where an entry has been seen; else every bit but the sign */
};

static struct lu *lu_of(SUNLinearSolver solver) {
  return solver->content;
}

/* Rows and columns as sets of bits. A larger matrix keeps its own order. */
enum { ORDER_LIMIT = 64 };

static int bits_in(uint64_t set) {
  return __builtin_popcountll(set);
}

static void find_order(struct lu *lu) {
  int n = lu->size;
  uint64_t rows[ORDER_LIMIT] = {0};
  uint64_t columns[ORDER_LIMIT] = {0};
  for (int i = 0; i < n; i++) {
    lu->order[i] = i;
  }
  if (n > ORDER_LIMIT) {
    return;
  }
  for (int j = 0; j < n; j++) {
    for (int i = 0; i < n; i++) {
      if (i != j && lu->outside[j * n + i] == 0) {
        rows[i] |= UINT64_C(1) << j;
        columns[j] |= UINT64_C(1) << i;
      }
    }
  }
  for (int k = 0; k < n; k++) {
    int at = k;
    int least = INT_MAX;
    for (int m = k; m < n; m++) { /* of those that are left */
      int i = lu->order[m];
      int joins = bits_in(rows[i]) * bits_in(columns[i]);
      if (joins < least) {
        least = joins;
        at = m;
      }
    }
    int best = lu->order[at];
    lu->order[at] = lu->order[k];
    lu->order[k] = best;
    uint64_t self = UINT64_C(1) << best;
    for (int m = k + 1; m < n; m++) { /* eliminating it joins its row with its column */
      int i = lu->order[m];
      uint64_t own = UINT64_C(1) << i;
      rows[i] = (rows[i] | (rows[i] & self ? rows[best] : 0)) & ~self & ~own;
      columns[i] = (columns[i] | (columns[i] & self ? columns[best] : 0)) & ~self & ~own;
    }
  }
}

/* The matrix has entries in new places: find the order, and where each entry goes, anew. */
static void learn_pattern(struct lu *lu, const double *values) {
  int n = lu->size;
  for (int i = 0; i < n * n; i++) {
    if (values[i] != 0.0 || i % (n + 1) == 0) {
      lu->outside[i] = 0;
    }
  }
  find_order(lu);
  lu->entry_count = 0;
  for (int j = 0; j < n; j++) {
    for (int i = 0; i < n; i++) {
      int from = lu->order[j] * n + lu->order[i];
      if (lu->outside[from] == 0) {
        lu->from[lu->entry_count] = from;
        lu->to[lu->entry_count++] = j * n + i;
      }
    }
  }
}

/* Into `work`, in the present order. Returns false if there are entries outside the pattern. */
static bool take(struct lu *lu, const double *values) {
  int size = lu->size * lu->size;
  uint64_t found = 0;
  for (int i = 0; i < size; i++) {
    uint64_t bits;
    memcpy(&bits, &values[i], sizeof bits);
    found |= bits & lu->outside[i];
  }
  memset(lu->work, 0, (size_t)size * sizeof *lu->work);
  for (int e = 0; e < lu->entry_count; e++) {
    lu->work[lu->to[e]] = values[lu->from[e]];
  }
  return found == 0;
}

static int pivot_of(const double *column, int k, int n) {
  int largest = k;
  for (int i = k + 1; i < n; i++) {
    largest = fabs(column[i]) > fabs(column[largest]) ? i : largest;
  }
  return fabs(column[k]) >= PIVOT_SHARE * fabs(column[largest]) ? k : largest;
}

/* Exchange rows k and `pivot`, in the columns to come and in what L has so far. */
static void exchange(struct lu *lu, int k, int pivot) {
  int n = lu->size;
  for (int j = k; j < n; j++) {
    double value = lu->work[j * n + k];
    lu->work[j * n + k] = lu->work[j * n + pivot];
    lu->work[j * n + pivot] = value;
  }
  for (int e = 0; e < lu->lower_count; e++) {
    if (lu->target[e] == k) {
      lu->target[e] = pivot;
    } else if (lu->target[e] == pivot) {
      lu->target[e] = k;
    }
  }
  int equation = lu->equations[k];
  lu->equations[k] = lu->equations[pivot];
  lu->equations[pivot] = equation;
}

/* Eliminate unknown k from the columns to come. */
static void eliminate(struct lu *lu, int k) {
  int n = lu->size;
  const double *column = lu->work + (size_t)(k * n);
  int first = lu->lower_count;
  int last = first;
  for (int i = k + 1; i < n; i++) {
    if (column[i] != 0.0) {
      lu->target[last] = i;
      lu->source[last] = k;
      lu->factor[last++] = column[i] * lu->over[k];
    }
  }
  lu->lower_count = last;
  for (int j = k + 1; j < n && last > first; j++) {
    double *other = lu->work + (size_t)(j * n);
    double value = other[k];
    if (value != 0.0) {
      for (int e = first; e < last; e++) {
        other[lu->target[e]] -= value * lu->factor[e];
      }
    }
  }
}

/* The rows of U, each over its pivot. */
static void list_upper(struct lu *lu) {
  int n = lu->size;
  int count = lu->lower_count;
  for (int k = n - 1; k > 0; k--) {
    const double *column = lu->work + (size_t)(k * n);
    for (int i = 0; i < k; i++) {
      if (column[i] != 0.0) {
        lu->target[count] = i;
        lu->source[count] = k;
        lu->factor[count++] = column[i] * lu->over[i];
      }
    }
  }
  lu->upper_count = count - lu->lower_count;
}

/* Returns SUNLS_LUFACT_FAIL on a zero pivot. */
static int lu_setup(SUNLinearSolver solver, SUNMatrix matrix) {
  struct lu *lu = lu_of(solver);
  int n = lu->size;
  const double *values = SM_DATA_D(matrix);
  if (!take(lu, values)) {
    learn_pattern(lu, values);
    take(lu, values);
  }
  memcpy(lu->equations, lu->order, (size_t)n * sizeof *lu->order);
  lu->lower_count = 0;
  for (int k = 0; k < n; k++) {
    const double *column = lu->work + (size_t)(k * n);
    int pivot = pivot_of(column, k, n);
    if (!(fabs(column[pivot]) > 0.0)) {
      return SUNLS_LUFACT_FAIL;
    }
    if (pivot != k) {
      exchange(lu, k, pivot);
    }
    lu->over[k] = 1.0 / column[k];
    eliminate(lu, k);
  }
  list_upper(lu);
  return SUNLS_SUCCESS;
}

static int lu_solve(SUNLinearSolver solver, SUNMatrix matrix, N_Vector x, N_Vector b, sunrealtype tolerance) {
  (void)tolerance;
  (void)matrix;
  const struct lu *lu = lu_of(solver);
  int n = lu->size;
  const double *bd = data_of(b);
  double *xd = data_of(x);
  double *y = lu->y;
  for (int k = 0; k < n; k++) {
    y[k] = bd[lu->equations[k]];
  }
  int lower = lu->lower_count;
  int all = lower + lu->upper_count;
  for (int e = 0; e < lower; e++) {
    y[lu->target[e]] -= lu->factor[e] * y[lu->source[e]];
  }
  for (int k = 0; k < n; k++) {
    y[k] *= lu->over[k];
  }
  for (int e = lower; e < all; e++) {
    y[lu->target[e]] -= lu->factor[e] * y[lu->source[e]];
  }
  for (int k = 0; k < n; k++) {
    xd[lu->order[k]] = y[k];
  }
  return SUNLS_SUCCESS;
}

static SUNLinearSolver_Type lu_type(SUNLinearSolver solver) {
  (void)solver;
  return SUNLINEARSOLVER_DIRECT;
}

static int lu_free(SUNLinearSolver solver) {
  struct lu *lu = lu_of(solver);
  void *all[] = {lu->from, lu->to,     lu->order,  lu->equations, lu->work,   lu->over,
                 lu->y,    lu->target, lu->source, lu->factor,    lu->outside};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    free(all[i]);
  }
  free(lu);
  solver->content = NULL;
  SUNLinSolFreeEmpty(solver);
  return SUNLS_SUCCESS;
}

void vecops_solver_forget(SUNLinearSolver solver) {
  struct lu *lu = lu_of(solver);
  lu->entry_count = 0;
  for (int i = 0; i < lu->size * lu->size; i++) {
    lu->outside[i] = ANYTHING;
  }
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
  lu->from = calloc(n * n, sizeof *lu->from);
  lu->to = calloc(n * n, sizeof *lu->to);
  lu->order = calloc(n, sizeof *lu->order);
  lu->equations = calloc(n, sizeof *lu->equations);
  lu->work = calloc(n * n, sizeof *lu->work);
  lu->over = calloc(n, sizeof *lu->over);
  lu->y = calloc(n, sizeof *lu->y);
  lu->target = calloc(n * n, sizeof *lu->target);
  lu->source = calloc(n * n, sizeof *lu->source);
  lu->factor = calloc(n * n, sizeof *lu->factor);
  lu->outside = calloc(n * n, sizeof *lu->outside);
  solver->content = lu;
  solver->ops->gettype = lu_type;
  solver->ops->setup = lu_setup;
  solver->ops->solve = lu_solve;
  solver->ops->free = lu_free;
  if (lu->from == NULL || lu->to == NULL || lu->order == NULL || lu->equations == NULL || lu->work == NULL ||
      lu->over == NULL || lu->y == NULL || lu->target == NULL || lu->source == NULL || lu->factor == NULL ||
      lu->outside == NULL) {
    lu_free(solver);
    return NULL;
  }
  vecops_solver_forget(solver);
  return solver;
}
