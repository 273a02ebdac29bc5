/* Which input decides about a result: Sobol's indices from the design of Saltelli. A case of the design has the inputs
 * of matrix A, of B, or of A with one column from B; the design is run in groups of inputs + 2 cases: A, B, A with
 * column 1 of B, A with column 2 of B, ... Any function can be tried: only its values are asked for.
 *
 * First order: the share of the variance that goes when this input alone is known; mean of f_B (f_ABi - f_A) over the
 * variance (Saltelli et al., Computer Physics Communications 181 (2010) 259-270, table 2 b; f about its mean). Total:
 * what is left when all others are known; mean of (f_A - f_ABi)^2 / 2 over the variance (Jansen 1999, the same table,
 * f). Errors by the delta method: each is a ratio of means over groups, whose groups are taken as drawn independently;
 * of low-discrepancy points they are rather too wide. */
#ifndef SWASHLOOP_SWEEP_INDICES_H
#define SWASHLOOP_SWEEP_INDICES_H

#include <stdbool.h>

struct index_estimate {
  double first;
  double first_error; /* standard error */
  double total;
  double total_error; /* standard error */
  long used;          /* groups without a gap */
};

/* Where in the design case k stands. */
static inline long indices_group(long k, int inputs) {
  return k / (inputs + 2);
}
/* Does case k take input `input` from matrix B? */
static inline bool indices_from_b(long k, int inputs, int input) {
  long place = k % (inputs + 2);
  return place == 1 || place == input + 2;
}

/* Indices of `input` from values[group][inputs + 2]. Groups in which one of the three values is NaN are left out. NaN
 * where nothing varies, or fewer than two groups are left. */
struct index_estimate indices_estimate(const double *values, long groups, int inputs, int input);

#endif
