/* The states within a step as a polynomial in x = (t - end)/width, from its rows. */
#ifndef SWASHLOOP_INTEGRATE_STEP_POLYNOMIAL_H
#define SWASHLOOP_INTEGRATE_STEP_POLYNOMIAL_H

#include "plant_lanes.h"

enum { STEP_POLYNOMIAL_ROWS = 8 };

struct step_polynomial {
  int count;                                /* of rows, at least two */
  double over_width;                        /* 1/s */
  const double *rows[STEP_POLYNOMIAL_ROWS]; /* [state] each, highest power first, the states at the end last */
};

/* The n states at x. */
void step_polynomial_at(const struct step_polynomial *polynomial, double x, int n, double *state);
/* The same of LANES x at once; lanes before `first` of the states are left as they are. */
void step_polynomial_lanes_at(const struct step_polynomial *polynomial, const lanes *x, int first, int n,
                              lanes *states);

#endif
