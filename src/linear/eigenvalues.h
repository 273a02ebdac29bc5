/* Eigenvalues of small matrices, most of whose entries are zero. */
#ifndef SWASHLOOP_LINEAR_EIGENVALUES_H
#define SWASHLOOP_LINEAR_EIGENVALUES_H

#include <stdbool.h>

enum { EIGENVALUES_LIMIT = 63 };

/* A conjugate pair. */
struct eigenvalue_pair {
  double real;      /* 1/s */
  double imaginary; /* rad/s, > 0 */
};

/* Of matrix[row * n + column], the conjugate pair with the largest real part. False where there is none: all
 * eigenvalues are real, or they could not be found (an entry is no number). Only sets of unknowns
 * that act on each other in a circle (strongly connected ones) are looked at, one after the other: no others can
 * oscillate. */
bool eigenvalues_least_damped(const double *matrix, int n, struct eigenvalue_pair *pair);

#endif
