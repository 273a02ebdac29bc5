#include "share_interval.h"

#include <math.h>

/* Centre and half width of the interval, in one place: the ends differ by a sign. */
static double wilson_end(double hits, double count, double sign) {
  double z = SHARE_DEVIATIONS;
  double share = hits / count;
  double centre = share + z * z / (2.0 * count);
  double half = z * sqrt(share * (1.0 - share) / count + z * z / (4.0 * count * count));
  return (centre + sign * half) / (1.0 + z * z / count);
}

double share_interval_low(double hits, double count) {
  return hits > 0.0 ? fmax(wilson_end(hits, count, -1.0), 0.0) : 0.0;
}

double share_interval_high(double hits, double count) {
  return hits < count ? fmin(wilson_end(hits, count, 1.0), 1.0) : 1.0;
}
