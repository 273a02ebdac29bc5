/* What traces say of unknowns at a minimum: covariance by the curvature of the likelihood, and the covariance that
 * holds when the errors are not what the likelihood takes them for.
 *
 * With a the derivatives of the model over the scale, u the scores and w the curvatures of the residuals,
 *   H = sum w a a',   J = sum over pairs k, l of one channel of phi^|k - l| s_k s_l a_k a_l',   s^2 = c w,
 * phi the correlation of a channel's scores from one sample to the next (errors that remember their neighbour as an
 * autoregression of first order does), c the mean of u^2 over that of w. The naive covariance is the inverse of H, the
 * robust one H^-1 J H^-1 (White, Econometrica 50, 1982, 1-25). A rise of the deviance along one unknown counts as
 * much less as the robust variance is larger than the naive one (Chandler and Bate, Biometrika 94, 2007, 167-183). */
#ifndef SWASHLOOP_ANALYSIS_INFORMATION_H
#define SWASHLOOP_ANALYSIS_INFORMATION_H

#include "observation.h"

struct information {
  int count;                                               /* unknowns */
  double naive[ESTIMATE_UNKNOWNS][ESTIMATE_UNKNOWNS];      /* each in units of its size */
  double robust[ESTIMATE_UNKNOWNS][ESTIMATE_UNKNOWNS];     /* likewise */
  double freedom[ESTIMATE_UNKNOWNS];                       /* of the noise that each rests on */
  double toward[ESTIMATE_UNKNOWNS];                        /* where one step of Newton's would go from here */
  double memory[FIT_TESTS * MAPPING_SIGNALS];              /* phi, by noise */
  double singular[ESTIMATE_UNKNOWNS];                      /* of the weighted derivatives, falling */
  double directions[ESTIMATE_UNKNOWNS][ESTIMATE_UNKNOWNS]; /* unit vectors: [which][unknown] */
};

/* `columns`: derivatives of the model, one column an unknown, each per unit of its size; `model` what they were taken
 * at. False: no memory, or the numbers do not let it be found. */
bool information_find(const struct observation *observation, const double *model, const double *columns, int count,
                      struct information *information);

/* Quantile of Student's distribution for 95 % (both sides). */
double information_student(double freedom);

/* What is left over of noise that is larger where the signals move than where they rest: the model misses something.
 * Deviations of the difference from nothing; 0 where it cannot be told. `slopes`: d model / d t. */
double information_unrest(const struct observation *observation, const double *model, const double *slopes);

#endif
