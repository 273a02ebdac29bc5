#include "counting.h"

#include <math.h>

/* A round is larger than all before it by these, at the least and at the most. */
#define GROWTH_LEAST 1.25
#define GROWTH_MOST 2.0

double counting_width(const struct fate_counts *counts, int probabilities) {
  double widest = 0.0;
  for (int i = 0; i < probabilities; i++) {
    struct fate_odds odds = fate_odds_of(&counts[i]);
    widest = fmax(widest, odds.high - odds.low);
  }
  return widest;
}

/* An interval of a probability gets narrower with the root of the runs; near 0 or 1 faster, so that the next round may
 * be a little more than needed. */
int64_t counting_next(const struct counting_rule *rule, const struct fate_counts *counts, int probabilities) {
  int64_t runs = fate_odds_of(&counts[0]).runs;
  if (!(rule->width > 0.0)) {
    return rule->most;
  }
  if (runs < COUNTING_FIRST) {
    return rule->most < COUNTING_FIRST ? rule->most : COUNTING_FIRST;
  }
  double factor = counting_width(counts, probabilities) / rule->width;
  if (factor <= 1.0) {
    return runs;
  }
  double next = ceil((double)runs * fmin(fmax(1.02 * factor * factor, GROWTH_LEAST), GROWTH_MOST));
  return next < (double)rule->most ? (int64_t)next : rule->most;
}
