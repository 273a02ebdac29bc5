/* What a linear system does: eigenvalues with the states that take part, and its answer to an input. Eigenvalues alone,
 * of few states: src/linear/eigenvalues.c. */
#include <complex.h>
#include <lapacke.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "linear.h"

double mode_frequency(const struct mode *mode) {
  return hypot(mode->real, mode->imaginary);
}

double mode_damping(const struct mode *mode) {
  double frequency = mode_frequency(mode);
  return frequency > 0.0 ? -mode->real / frequency : 0.0;
}

static int slower(const void *left, const void *right) {
  double a = mode_frequency(left);
  double b = mode_frequency(right);
  return (a > b) - (a < b);
}

/* Entry i of the eigenvector in column k; a pair stands in two columns. */
static double complex entry(const double *vectors, int n, int i, int k, bool pair) {
  return pair ? vectors[i * n + k] + vectors[i * n + k + 1] * I : (double complex)vectors[i * n + k];
}

/* An eigenvalue is known to the rounding of the matrix times its condition (1 over the product of its eigenvectors of
 * length one: Golub and Van Loan, Matrix Computations, chapter 7, from memory). The matrix is known to 1e-12 at best:
 * it is made by differences. */
#define MATRIX_ROUNDING 1e-12

static double resolution(const double *left, const double *right, int n, int k, bool pair, double size) {
  double complex product = 0.0;
  for (int i = 0; i < n; i++) {
    product += conj(entry(left, n, i, k, pair)) * entry(right, n, i, k, pair);
  }
  return MATRIX_ROUNDING * size / fmax(cabs(product), MATRIX_ROUNDING);
}

static void take_part(const double *left, const double *right, int n, int k, bool pair, struct mode *mode) {
  double sum = 0.0;
  for (int i = 0; i < n; i++) {
    double complex motion = entry(right, n, i, k, pair);
    mode->share[i] = cabs(entry(left, n, i, k, pair)) * cabs(motion);
    mode->phase[i] = carg(motion);
    sum += mode->share[i];
  }
  for (int i = 0; i < n; i++) {
    mode->share[i] = sum > 0.0 ? mode->share[i] / sum : 0.0;
  }
}

bool modes_find(const struct linear *linear, struct modes *modes, struct error *error) {
  int n = linear->count;
  size_t square = (size_t)n * (size_t)n;
  double *work = malloc((3 * square + 2 * (size_t)n) * sizeof *work);
  if (work == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for the eigenvalues");
  }
  double *matrix = work;
  double *left = matrix + square;
  double *right = left + square;
  double *growth = right + square;
  double *swing = growth + n;
  /* States in their typical sizes, so that shares compare. */
  double size = 0.0; /* of the matrix: the root of the sum of its entries' squares */
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      double scaled = linear->jacobian[i * n + k] * linear->sizes[k] / linear->sizes[i];
      matrix[i * n + k] = scaled;
      size = hypot(size, scaled);
    }
  }
  int status = LAPACKE_dgeev(LAPACK_ROW_MAJOR, 'V', 'V', n, matrix, n, growth, swing, left, n, right, n);
  modes->count = 0;
  for (int k = 0; status == 0 && k < n; k++) {
    bool pair = swing[k] != 0.0 && k + 1 < n;
    struct mode *mode = &modes->modes[modes->count++];
    /* What is within rounding of zero neither grows nor decays: an integral, as distance is of speed. */
    mode->real = fabs(growth[k]) > resolution(left, right, n, k, pair, size) ? growth[k] : 0.0;
    mode->imaginary = fabs(swing[k]);
    take_part(left, right, n, k, pair, mode);
    k += pair ? 1 : 0;
  }
  free(work);
  if (status != 0) {
    return error_set(error, ERROR_RUN, "the eigenvalues could not be found");
  }
  qsort(modes->modes, (size_t)modes->count, sizeof modes->modes[0], slower);
  return true;
}

/* The state with the largest share below `than`, or -1. */
static int next_share(const struct linear *linear, const struct mode *mode, const bool *reported) {
  int best = -1;
  for (int i = 0; i < linear->count; i++) {
    if (!reported[i] && (best < 0 || mode->share[i] > mode->share[best])) {
      best = i;
    }
  }
  return best;
}

const char *mode_words(const struct instant *instant, const struct linear *linear, const struct mode *mode,
                       char *buffer, int size) {
  bool reported[PLANT_STATE_LIMIT] = {false};
  int length = 0;
  double sum = 0.0;
  buffer[0] = '\0';
  for (int k = 0; k < 4 && length < size - 1; k++) {
    int i = next_share(linear, mode, reported);
    if (i < 0 || (k > 0 && (mode->share[i] < 0.1 || sum > 0.9))) {
      break;
    }
    reported[i] = true;
    sum += mode->share[i];
    const char *between = k == 0 ? "" : (k == 1 && mode->imaginary > 0.0 ? " against " : ", ");
    length += snprintf(buffer + length, (size_t)(size - length), "%s%s", between,
                       instant_state_words(instant, linear->places[i]));
  }
  return buffer;
}

bool linear_response(const struct linear *linear, const struct linear_input *input, const double *output,
                     double frequency, double *gain, double *phase) {
  int n = linear->count;
  /* By columns, as the library wants it: it asks for no memory, and so cannot fail for want of it. */
  lapack_complex_double matrix[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  lapack_complex_double motion[PLANT_STATE_LIMIT];
  lapack_int pivots[PLANT_STATE_LIMIT];
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      double scaled = linear->jacobian[i * n + k] * linear->sizes[k] / linear->sizes[i];
      matrix[k * n + i] = -scaled + (i == k ? frequency * I : 0.0);
    }
    motion[i] = input->by_rate[i] / linear->sizes[i];
  }
  bool good = n > 0 && LAPACKE_zgesv(LAPACK_COL_MAJOR, n, 1, matrix, n, pivots, motion, n) == 0;
  double complex sum = input->by_signal;
  for (int i = 0; i < n; i++) {
    sum += output[i] * linear->sizes[i] * motion[i];
  }
  *gain = cabs(sum);
  *phase = carg(sum);
  return good;
}
