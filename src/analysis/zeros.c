/* Zeros of one path of a linear system. With the output y = c x + d u and r the number of times that y must be derived
 * until u appears, y^(r) = c A^r x + h u, h = c A^(r-1) b (d for r = 0): hold y and its derivatives at nothing by
 * u = -c A^r x / h, and what moves within c x = c A x = ... = c A^(r-1) x = 0 are the n - r zeros. */
#include <lapacke.h>
#include <math.h>
#include <string.h>

#include "state_space.h"

#define NO_PATH 1e-9 /* of the sizes of both factors: below, a product of row and column is rounding */

static double length_of(const double *vector, int n) {
  double sum = 0.0;
  for (int i = 0; i < n; i++) {
    sum = hypot(sum, vector[i]);
  }
  return sum;
}

static double product(const double *left, const double *right, int n) {
  double sum = 0.0;
  for (int i = 0; i < n; i++) {
    sum += left[i] * right[i];
  }
  return sum;
}

/* row * matrix, into `next`. */
static void move_on(const double *row, const double *matrix, int n, double *next) {
  for (int k = 0; k < n; k++) {
    next[k] = 0.0;
    for (int i = 0; i < n; i++) {
      next[k] += row[i] * matrix[i * n + k];
    }
  }
}

/* The states that all `r` rows leave at nothing: an orthonormal basis in the last n - r columns of `basis`
 * [row * n + column]. */
static bool find_basis(const double *rows, int r, int n, double *basis) {
  double columns[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT] = {0.0}; /* the rows' transpose, then zeros */
  double factors[PLANT_STATE_LIMIT];
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < r; k++) {
      columns[i * n + k] = rows[k * n + i];
    }
  }
  if (LAPACKE_dgeqrf(LAPACK_ROW_MAJOR, n, n, columns, n, factors) != 0 ||
      LAPACKE_dorgqr(LAPACK_ROW_MAJOR, n, n, n, columns, n, factors) != 0) {
    return false;
  }
  memcpy(basis, columns, (size_t)(n * n) * sizeof *basis);
  return true;
}

/* Eigenvalues of `matrix` within the last n - r columns of `basis`. */
static bool find_within(const double *matrix, const double *basis, int n, int r, struct space_zeros *zeros) {
  double inner[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  double none[1];
  int m = n - r;
  for (int i = 0; i < m; i++) {
    for (int k = 0; k < m; k++) {
      double sum = 0.0;
      for (int row = 0; row < n; row++) {
        for (int column = 0; column < n; column++) {
          sum += basis[row * n + r + i] * matrix[row * n + column] * basis[column * n + r + k];
        }
      }
      inner[i * m + k] = sum;
    }
  }
  zeros->count = m;
  return m == 0 ||
         LAPACKE_dgeev(LAPACK_ROW_MAJOR, 'N', 'N', m, inner, m, zeros->real, zeros->imaginary, none, m, none, m) == 0;
}

bool space_zeros(const struct linear *linear, const struct linear_input *input, const double *output,
                 struct space_zeros *zeros, struct error *error) {
  int n = linear->count;
  double matrix[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  double rows[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT]; /* c, c A, ... each made of length 1 */
  double by_rate[PLANT_STATE_LIMIT];
  double next[PLANT_STATE_LIMIT] = {0};
  double basis[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT] = {0.0};
  *zeros = (struct space_zeros){.relative_degree = -1};
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      matrix[i * n + k] = linear->jacobian[i * n + k] * linear->sizes[k] / linear->sizes[i];
    }
    by_rate[i] = input->by_rate[i] / linear->sizes[i];
    next[i] = output[i] * linear->sizes[i];
    basis[i * n + i] = 1.0;
  }
  double size = length_of(next, n); /* what the rows are of, before they are made of length 1 */
  double reach = length_of(by_rate, n);
  double through = input->by_signal;
  int r = 0;
  if (fabs(through) <= NO_PATH * size * reach) {
    for (r = 1; r <= n; r++) {
      double length = length_of(next, n);
      if (!(length > 0.0)) {
        return true; /* the output does not move */
      }
      for (int i = 0; i < n; i++) {
        rows[(r - 1) * n + i] = next[i] / length;
      }
      size = r == 1 ? length : size * length;
      through = product(rows + (ptrdiff_t)(r - 1) * n, by_rate, n);
      if (fabs(through) > NO_PATH * reach) {
        break;
      }
      move_on(rows + (ptrdiff_t)(r - 1) * n, matrix, n, next);
    }
    if (r > n) {
      return true; /* the input does not reach the output */
    }
    move_on(rows + (ptrdiff_t)(r - 1) * n, matrix, n, next);
    zeros->gain = size * through;
  } else {
    zeros->gain = through;
  }
  zeros->relative_degree = r;
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      matrix[i * n + k] -= by_rate[i] * next[k] / through;
    }
  }
  return (r == 0 || find_basis(rows, r, n, basis)) && find_within(matrix, basis, n, r, zeros)
             ? true
             : error_set(error, ERROR_RUN, "the zeros could not be found");
}
