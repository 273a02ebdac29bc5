#include "eigenvalues.h"

#include <lapacke.h>
#include <math.h>
#include <stdint.h>

/* Which unknowns act on which, through others as well: bit j of reach[i] is set where j acts on the rate of i. */
static void find_reach(const double *matrix, int n, uint64_t *reach) {
  for (int i = 0; i < n; i++) {
    reach[i] = 0;
    for (int j = 0; j < n; j++) {
      reach[i] |= (uint64_t)(matrix[i * n + j] != 0.0 && i != j) << j;
    }
  }
  for (int k = 0; k < n; k++) {
    for (int i = 0; i < n; i++) {
      reach[i] |= (reach[i] >> k & 1) != 0 ? reach[k] : 0;
    }
  }
}

/* The eigenvalues of the unknowns at `members`. False where LAPACK finds none. */
static bool find_block(const double *matrix, int n, const int *members, int size, double *real, double *imaginary) {
  double block[EIGENVALUES_LIMIT * EIGENVALUES_LIMIT];
  double reflectors[EIGENVALUES_LIMIT];
  double work[16 * EIGENVALUES_LIMIT];
  double none;
  lapack_int room = sizeof work / sizeof work[0];
  for (int i = 0; i < size; i++) {
    for (int j = 0; j < size; j++) {
      block[j * size + i] = matrix[members[i] * n + members[j]];
    }
  }
  lapack_int status = LAPACKE_dgehrd_work(LAPACK_COL_MAJOR, size, 1, size, block, size, reflectors, work, room);
  if (status == 0) {
    status = LAPACKE_dhseqr_work(LAPACK_COL_MAJOR, 'E', 'N', size, 1, size, block, size, real, imaginary, &none, 1,
                                 work, room);
  }
  return status == 0;
}

bool eigenvalues_least_damped(const double *matrix, int n, struct eigenvalue_pair *pair) {
  uint64_t reach[EIGENVALUES_LIMIT];
  uint64_t left = 0;
  for (int i = 0; i < n * n; i++) {
    if (!isfinite(matrix[i])) {
      return false;
    }
  }
  *pair = (struct eigenvalue_pair){-HUGE_VAL, 0.0};
  find_reach(matrix, n, reach);
  for (int i = 0; i < n; i++) {
    left |= (reach[i] >> i & 1) << i; /* acts on itself through another */
  }
  for (int i = 0; i < n; i++) {
    int members[EIGENVALUES_LIMIT];
    double real[EIGENVALUES_LIMIT];
    double imaginary[EIGENVALUES_LIMIT];
    int size = 0;
    for (int j = i; j < n; j++) {
      if ((left >> j & 1) != 0 && ((left >> i & 1) != 0) && (reach[i] >> j & 1) != 0 && (reach[j] >> i & 1) != 0) {
        members[size++] = j;
      }
    }
    if (size == 0) {
      continue;
    }
    for (int k = 0; k < size; k++) {
      left &= ~(UINT64_C(1) << members[k]);
    }
    if (!find_block(matrix, n, members, size, real, imaginary)) {
      return false;
    }
    for (int k = 0; k < size; k++) {
      if (imaginary[k] > 0.0 && real[k] > pair->real) {
        *pair = (struct eigenvalue_pair){real[k], imaginary[k]};
      }
    }
  }
  return pair->imaginary > 0.0;
}
