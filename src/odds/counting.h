/* How many runs a probability needs that is counted: rounds that grow until every interval is as narrow as was wished,
 * or the largest number of runs is reached. Pure: counts in, the next number of runs out, so that the rounds are the
 * same whatever the threads and interruptions. */
#ifndef SWASHLOOP_ODDS_COUNTING_H
#define SWASHLOOP_ODDS_COUNTING_H

#include "fates.h"

enum { COUNTING_FIRST = 256 };

struct counting_rule {
  int64_t most; /* runs */
  double width; /* of every interval of 95 %, from end to end; 0: all of the runs, whatever the width */
};

/* The width of the widest interval. */
double counting_width(const struct fate_counts *counts, int probabilities);
/* Runs that there should be, given what came of those that there are; no more than those: done. */
int64_t counting_next(const struct counting_rule *rule, const struct fate_counts *counts, int probabilities);

#endif
