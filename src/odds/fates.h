/* How the limits fare in a run that was drawn: what is established, and what is not and why. Only `kept` is a pass, and
 * only `broken` counts as broken; the rest stays between the two. */
#ifndef SWASHLOOP_ODDS_FATES_H
#define SWASHLOOP_ODDS_FATES_H

#include <stdint.h>

#include "review.h"

/* In the order of what is worse news. */
enum fate { FATE_KEPT, FATE_NOT_VOUCHED, FATE_NOT_JUDGED, FATE_STOPPED, FATE_UNFINISHED, FATE_FAILED, FATE_BROKEN };
enum { FATE_COUNT = FATE_BROKEN + 1 };
extern const char *const fate_names[FATE_COUNT]; /* "kept", "not vouched for", ... */
extern const char *const fate_texts[FATE_COUNT]; /* what it means */

/* Judge a row of the plan, whose one measure is `vouched`: the fate of every limit of the review behind that of all
 * limits together, [1 + limit]; a limit that the row's cell has not is kept. Returns the least margin: below 0 as soon
 * as any limit is broken, -INFINITY where a limit is neither kept nor broken, INFINITY where none has a margin. */
double fates_of_row(const struct review *review, const struct row *row, unsigned char *fates);

/* Runs by what came of them. */
struct fate_counts {
  int64_t of[FATE_COUNT];
};

/* A probability that was counted. */
struct fate_odds {
  int64_t runs;   /* all */
  int64_t broken; /* established */
  int64_t unsure; /* neither broken nor kept */
  double share;   /* broken of those that are broken or kept; NaN: none is */
  double low;     /* of 95 % (Wilson), had all unsure ones kept the limit */
  double high;    /* of 95 % (Wilson), had all unsure ones broken it */
};

/* Without a run the interval is 0 to 1. */
struct fate_odds fate_odds_of(const struct fate_counts *counts);

#endif
