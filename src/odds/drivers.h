/* Which inputs drive the breaking of a limit, from runs whose inputs were drawn independently: for each input
 *
 * - its first-order index: the share of the variance of breaking (1) or keeping (0) that goes when this input alone is
 *   known (the correlation ratio of K. Pearson 1905; as a measure of influence: M. D. McKay, LA-UR-96-2695, 1996, from
 *   memory). Estimated with intervals of the input: variance between their means over the total, less what the means
 *   scatter by chance. What changes within an interval is not seen: with few runs the index is rather too small. The
 *   edges of the intervals lie at quantiles of broken and
 *   kept runs together, each side with half of the weight, so that rare breaking is resolved too; they come from one
 *   half of the runs and are used on the other, and the other way round, so that they know nothing of the runs they are
 *   used on. Error: jackknife over groups of runs.
 * - conditional means: where in its distribution (share of it below, 0 to 1) the input lies in the runs that break and
 *   in those that keep, with the interval of each mean.
 *
 * Any numbers can be tried: shares and flags in, estimates out. */
#ifndef SWASHLOOP_ODDS_DRIVERS_H
#define SWASHLOOP_ODDS_DRIVERS_H

#include <stdbool.h>
#include <stdint.h>

/* Runs on either side below which no mean, and no index, is told. */
enum { DRIVER_MEAN_LEAST = 20, DRIVER_INDEX_LEAST = 200 };

struct driver {
  double index;     /* first order; NaN: too few runs on one side */
  double index_low; /* of 95 % */
  double index_high;
  double broken_mean; /* share of the distribution, mean over the runs that break; NaN: too few */
  double broken_half; /* half the width of its interval of 95 % */
  double kept_mean;
  double kept_half;
};

/* `shares` of one input, 0 to 1; `flags` 1: broken, 0: kept, else left out. False: memory is out. */
bool driver_of(const double *shares, const signed char *flags, int64_t runs, struct driver *driver);

#endif
