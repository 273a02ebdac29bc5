#include "step_polynomial.h"

#include <stdint.h>

#include "wide.h"

/* Nothing is carried from one turn to the next, so that the loops may run on vector registers in any case. */
#define IN_STEP _Pragma("GCC ivdep")

WIDE void step_polynomial_at(const struct step_polynomial *polynomial, double x, int n, double *state) {
  const double *highest = polynomial->rows[0];
  const double *next = polynomial->rows[1];
  IN_STEP
  for (int i = 0; i < n; i++) {
    state[i] = next[i] + x * highest[i];
  }
  for (int k = 2; k < polynomial->count; k++) {
    next = polynomial->rows[k];
    IN_STEP
    for (int i = 0; i < n; i++) {
      state[i] = next[i] + x * state[i];
    }
  }
}

/* Half of the lanes: what a 256-bit register holds. */
typedef double half __attribute__((vector_size(32)));
typedef int64_t half_bits __attribute__((vector_size(32)));

WIDE void step_polynomial_lanes_at(const struct step_polynomial *polynomial, const lanes *x, int first, int n,
                                   lanes *states) {
  const half_bits place = {0, 1, 2, 3};
  half x0 = ((const half *)x)[0];
  half x1 = ((const half *)x)[1];
  half_bits keep0 = place < first;
  half_bits keep1 = place < first - 4;
  const double *highest = polynomial->rows[0];
  const double *next = polynomial->rows[1];
  for (int i = 0; i < n; i++) {
    half *state = (half *)&states[i];
    half state0 = next[i] + x0 * highest[i];
    half state1 = next[i] + x1 * highest[i];
    for (int k = 2; k < polynomial->count; k++) {
      state0 = polynomial->rows[k][i] + x0 * state0;
      state1 = polynomial->rows[k][i] + x1 * state1;
    }
    state[0] = (half)((keep0 & (half_bits)state[0]) | (~keep0 & (half_bits)state0));
    state[1] = (half)((keep1 & (half_bits)state[1]) | (~keep1 & (half_bits)state1));
  }
}
