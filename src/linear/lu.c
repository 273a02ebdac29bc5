#include "lu.h"

#include <limits.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <nvector/nvector_serial.h>
#include <sunmatrix/sunmatrix_dense.h>

/* LU of a small matrix that is mostly empty.
 *
 * A Newton matrix here has some 80 entries of 441, always in the same places. Unknowns and equations are put in an
 * order that keeps it empty while it is eliminated (Markowitz: next the one whose row and column have least in common
 * with the rest), found anew whenever an entry turns up where none was before. A pivot on the diagonal is kept unless
 * it is below a tenth of the largest in its column. While all are kept, elimination looks only where entries can be;
 * else it begins again and looks everywhere. What is left is a list of multiplications, so that a solve is one run
 * through it: factors serve many solves. */

#define PIVOT_SHARE 0.1
#define ANYTHING (UINT64_MAX >> 1)

struct reach {
  int *places;
  int *bounds; /* [k] and [k + 1] */
};

/* y[target] -= factor y[source] */
struct multiplication {
  double factor;
  int target;
  int source;
};

struct lu {
  int size;
  int entry_count; /* places where an entry has been seen, the diagonal always among them */
  int *from;       /* [entry] in the matrix */
  int *to;         /* [entry] in `work` */
  int *broadcast;  /* 0, 1, 2 ... */
  int *order;      /* [k] the k-th unknown */
  int *equations;  /* [k] the k-th equation, after pivoting */
  double *work;    /* the matrix in that order, by columns */
  double scale;    /* what is factored: scale * matrix + shift * identity */
  double shift;
  bool new_matrix; /* since the last factors: it may have entries in new places */
  bool always_new; /* nobody tells */
  double *over;    /* reciprocals of the pivots */
  double *y;
  int lower_count;
  int upper_count;
  struct multiplication *list; /* of L, then of U */
  uint64_t *outside;           /* [entry of the matrix] 0 where an entry has been seen; else every bit but the sign */
  /* What elimination in that order can reach, fill included: rows below the pivot in column k, columns right of it in
   * row k, and rows above it in column k, each a list with its bounds. */
  bool *full; /* work of the search for them */
  struct reach below;
  struct reach right;
  struct reach above;
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

/* Note the places i in [first, last) of step k where row i or column i can have an entry. */
static void note_reach(struct reach *reach, int k, const bool *full, int first, int last, int stride) {
  int count = reach->bounds[k];
  for (int i = first; i < last; i++) {
    if (full[(ptrdiff_t)i * stride]) {
      reach->places[count++] = i;
    }
  }
  reach->bounds[k + 1] = count;
}

/* Eliminate the pattern alone, by columns and in order; `full` tells where there are entries, then where there can be.
 */
static void find_reach(struct lu *lu, bool *full) {
  int n = lu->size;
  for (int k = 0; k < n; k++) {
    for (int j = k + 1; j < n; j++) {
      for (int i = k + 1; full[j * n + k] && i < n; i++) {
        full[j * n + i] |= full[k * n + i];
      }
    }
  }
  for (int k = 0; k < n; k++) {
    note_reach(&lu->below, k, full + (ptrdiff_t)k * n, k + 1, n, 1);
    note_reach(&lu->above, k, full + (ptrdiff_t)k * n, 0, k, 1);
    note_reach(&lu->right, k, full + k, k + 1, n, n);
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
  memset(lu->full, 0, (size_t)(n * n) * sizeof *lu->full);
  for (int e = 0; e < lu->entry_count; e++) {
    lu->full[lu->to[e]] = true;
  }
  find_reach(lu, lu->full);
}

/* Has the matrix entries outside the pattern? */
static bool is_strange(const struct lu *lu, const double *values) {
  int size = lu->size * lu->size;
  uint64_t found = 0;
  for (int i = 0; i < size; i++) {
    uint64_t bits;
    memcpy(&bits, &values[i], sizeof bits);
    found |= bits & lu->outside[i];
  }
  return found != 0;
}

/* Into `work`, scaled and shifted, in the present order. */
static void take(struct lu *lu, const double *values) {
  int n = lu->size;
  memset(lu->work, 0, (size_t)(n * n) * sizeof *lu->work);
  for (int e = 0; e < lu->entry_count; e++) {
    lu->work[lu->to[e]] = lu->scale * values[lu->from[e]];
  }
  for (int k = 0; k < n; k++) {
    lu->work[k * n + k] += lu->shift;
  }
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
    if (lu->list[e].target == k) {
      lu->list[e].target = pivot;
    } else if (lu->list[e].target == pivot) {
      lu->list[e].target = k;
    }
  }
  int equation = lu->equations[k];
  lu->equations[k] = lu->equations[pivot];
  lu->equations[pivot] = equation;
}

/* Eliminate unknown k from the columns to come: rows `below` and columns `right` are all that may have entries. */
static void eliminate(struct lu *lu, int k, const int *below, int below_count, const int *right, int right_count) {
  int n = lu->size;
  const double *column = lu->work + (size_t)(k * n);
  double over = 1.0 / column[k];
  int first = lu->lower_count;
  int last = first;
  lu->over[k] = over;
  for (int m = 0; m < below_count; m++) {
    int i = below[m];
    if (column[i] != 0.0) {
      struct multiplication next = {column[i] * over, i, k};
      lu->list[last++] = next;
    }
  }
  lu->lower_count = last;
  for (int m = 0; m < right_count && last > first; m++) {
    double *other = lu->work + (size_t)(right[m] * n);
    double value = other[k];
    if (value != 0.0) {
      for (int e = first; e < last; e++) {
        other[lu->list[e].target] -= value * lu->list[e].factor;
      }
    }
  }
}

/* The rows of U, each over its pivot: column k, of which `above` are all that may have entries. */
static void list_upper(struct lu *lu, int k, const int *above, int above_count) {
  const double *column = lu->work + (size_t)(k * lu->size);
  int count = lu->lower_count + lu->upper_count;
  for (int m = 0; m < above_count; m++) {
    int i = above[m];
    if (column[i] != 0.0) {
      struct multiplication next = {column[i] * lu->over[i], i, k};
      lu->list[count++] = next;
    }
  }
  lu->upper_count = count - lu->lower_count;
}

static void begin_factors(struct lu *lu) {
  memcpy(lu->equations, lu->order, (size_t)lu->size * sizeof *lu->order);
  lu->lower_count = 0;
  lu->upper_count = 0;
}

/* Every pivot on the diagonal. Returns false at the first that is too small. */
static bool factor_in_order(struct lu *lu) {
  int n = lu->size;
  begin_factors(lu);
  for (int k = 0; k < n; k++) {
    const double *column = lu->work + (size_t)(k * n);
    const int *below = lu->below.places + lu->below.bounds[k];
    int below_count = lu->below.bounds[k + 1] - lu->below.bounds[k];
    double largest = 0.0;
    for (int m = 0; m < below_count; m++) {
      double size = fabs(column[below[m]]);
      largest = size > largest ? size : largest;
    }
    double pivot = fabs(column[k]);
    if (!(pivot > 0.0 && pivot >= PIVOT_SHARE * largest)) {
      return false;
    }
    eliminate(lu, k, below, below_count, lu->right.places + lu->right.bounds[k],
              lu->right.bounds[k + 1] - lu->right.bounds[k]);
  }
  for (int k = n - 1; k > 0; k--) {
    list_upper(lu, k, lu->above.places + lu->above.bounds[k], lu->above.bounds[k + 1] - lu->above.bounds[k]);
  }
  return true;
}

/* With exchanges, entries can be anywhere. Returns false on a zero pivot. */
static bool factor_with_exchanges(struct lu *lu) {
  int n = lu->size;
  begin_factors(lu);
  for (int k = 0; k < n; k++) {
    const double *column = lu->work + (size_t)(k * n);
    int pivot = pivot_of(column, k, n);
    if (!(fabs(column[pivot]) > 0.0)) {
      return false;
    }
    if (pivot != k) {
      exchange(lu, k, pivot);
    }
    eliminate(lu, k, lu->broadcast + k + 1, n - k - 1, lu->broadcast + k + 1, n - k - 1);
  }
  for (int k = n - 1; k > 0; k--) {
    list_upper(lu, k, lu->broadcast, k);
  }
  return true;
}

/* Returns SUNLS_LUFACT_FAIL on a zero pivot. */
static int lu_setup(SUNLinearSolver solver, SUNMatrix matrix) {
  struct lu *lu = lu_of(solver);
  const double *values = SM_DATA_D(matrix);
  if (lu->entry_count == 0 || (lu->new_matrix && is_strange(lu, values))) {
    learn_pattern(lu, values);
  }
  lu->new_matrix = lu->always_new;
  take(lu, values);
  if (factor_in_order(lu)) {
    return SUNLS_SUCCESS;
  }
  take(lu, values);
  return factor_with_exchanges(lu) ? SUNLS_SUCCESS : SUNLS_LUFACT_FAIL;
}

static int lu_solve(SUNLinearSolver solver, SUNMatrix matrix, N_Vector x, N_Vector b, sunrealtype tolerance) {
  (void)tolerance;
  (void)matrix;
  const struct lu *lu = lu_of(solver);
  int n = lu->size;
  const double *bd = NV_DATA_S(b);
  double *xd = NV_DATA_S(x);
  double *y = lu->y;
  for (int k = 0; k < n; k++) {
    y[k] = bd[lu->equations[k]];
  }
  const struct multiplication *next = lu->list;
  const struct multiplication *lower_end = next + lu->lower_count;
  const struct multiplication *upper_end = lower_end + lu->upper_count;
  for (; next < lower_end; next++) {
    y[next->target] -= next->factor * y[next->source];
  }
  for (int k = 0; k < n; k++) {
    y[k] *= lu->over[k];
  }
  for (; next < upper_end; next++) {
    y[next->target] -= next->factor * y[next->source];
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
  void *all[] = {lu->from,         lu->to,           lu->broadcast,    lu->order,
                 lu->equations,    lu->work,         lu->over,         lu->y,
                 lu->list,         lu->outside,      lu->full,         lu->below.places,
                 lu->below.bounds, lu->right.places, lu->right.bounds, lu->above.places,
                 lu->above.bounds};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    free(all[i]);
  }
  free(lu);
  solver->content = NULL;
  SUNLinSolFreeEmpty(solver);
  return SUNLS_SUCCESS;
}

void lu_system(SUNLinearSolver solver, double scale, double shift, bool new_matrix) {
  struct lu *lu = lu_of(solver);
  lu->scale = scale;
  lu->shift = shift;
  lu->always_new = false;
  lu->new_matrix |= new_matrix;
}

void lu_forget(SUNLinearSolver solver) {
  struct lu *lu = lu_of(solver);
  lu->entry_count = 0;
  lu->new_matrix = true;
  for (int i = 0; i < lu->size * lu->size; i++) {
    lu->outside[i] = ANYTHING;
  }
}

SUNLinearSolver lu_solver(int size, SUNContext context) {
  SUNLinearSolver solver = SUNLinSolNewEmpty(context);
  struct lu *lu = calloc(1, sizeof *lu);
  size_t n = (size_t)size;
  if (solver == NULL || lu == NULL) {
    free(lu);
    return NULL;
  }
  lu->size = size;
  lu->scale = 1.0;
  lu->always_new = true;
  lu->from = calloc(n * n, sizeof *lu->from);
  lu->to = calloc(n * n, sizeof *lu->to);
  lu->order = calloc(n, sizeof *lu->order);
  lu->equations = calloc(n, sizeof *lu->equations);
  lu->work = calloc(n * n, sizeof *lu->work);
  lu->over = calloc(n, sizeof *lu->over);
  lu->y = calloc(n, sizeof *lu->y);
  lu->list = calloc(n * n, sizeof *lu->list);
  lu->outside = calloc(n * n, sizeof *lu->outside);
  lu->full = calloc(n * n, sizeof *lu->full);
  lu->broadcast = calloc(n, sizeof *lu->broadcast);
  struct reach *reaches[] = {&lu->below, &lu->right, &lu->above};
  bool good = lu->full != NULL && lu->broadcast != NULL;
  for (size_t i = 0; i < sizeof reaches / sizeof reaches[0]; i++) {
    reaches[i]->places = calloc(n * n, sizeof *reaches[i]->places);
    reaches[i]->bounds = calloc(n + 1, sizeof *reaches[i]->bounds);
    good = good && reaches[i]->places != NULL && reaches[i]->bounds != NULL;
  }
  for (int i = 0; good && i < size; i++) {
    lu->broadcast[i] = i;
  }
  solver->content = lu;
  solver->ops->gettype = lu_type;
  solver->ops->setup = lu_setup;
  solver->ops->solve = lu_solve;
  solver->ops->free = lu_free;
  if (!good || lu->from == NULL || lu->to == NULL || lu->order == NULL || lu->equations == NULL || lu->work == NULL ||
      lu->over == NULL || lu->y == NULL || lu->list == NULL || lu->outside == NULL) {
    lu_free(solver);
    return NULL;
  }
  lu_forget(solver);
  return solver;
}
