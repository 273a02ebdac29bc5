/* A study cut into regions: steps of each thing varied, how the cases in them fared, the probability that a limit
 * breaks there, and the same smoothed over neighbours. Pure: columns of numbers in, counts out. */
#ifndef SWASHLOOP_SWEEP_REGIONS_H
#define SWASHLOOP_SWEEP_REGIONS_H

#include <stdbool.h>

/* Values that are told apart one by one; more of them are cut into equal intervals. */
enum { REGION_STEP_LIMIT = 40, REGION_INTERVAL_LIMIT = 12, REGION_INTERVAL_LEAST = 4 };

/* The steps of one thing varied. Cell i lies from edge i to edge i + 1, the last one with its upper end. */
struct region_steps {
  int count;
  bool logarithmic; /* edges lie midway, or evenly, in the logarithm */
  bool values;      /* a step a value; else equal intervals */
  double centres[REGION_STEP_LIMIT];
  double edges[REGION_STEP_LIMIT + 1];
};

/* Steps of a column: its values where they are few, else equal intervals between lowest and highest. `logarithmic` as
 * the study spaces it; not followed where a value is not positive. NaN counts for nothing; without a number there is no
 * step. */
void region_steps_of(const double *values, long rows, bool logarithmic, struct region_steps *steps);
/* The step that a value lies in; -1 for NaN or without steps. */
int region_place(const struct region_steps *steps, double value);

/* How a case fared with a limit, or with all of them. Only `kept` is a pass. */
enum region_fate { REGION_BROKEN, REGION_KEPT, REGION_NOT_JUDGED, REGION_FAILED, REGION_UNFINISHED, REGION_FATES };

struct region_counts {
  long of[REGION_FATES];
};

/* The probability that a limit breaks. */
struct region_odds {
  double share;    /* broken of those that are judged; NaN if none is */
  double low;      /* of 95 %: where all that is not judged would have kept it */
  double high;     /* of 95 %: where all that is not judged would have broken it */
  double smoothed; /* region_smooth; NaN without */
};

/* All of them, whatever came of them. */
long region_cases(const struct region_counts *counts);
/* Without a case all is NaN. */
struct region_odds region_odds_of(const struct region_counts *counts);

/* Shares of a map of columns x rows cells (x runs fastest), each smoothed over its neighbours: the mean with weights
 * exp(-(steps/width)^2/2) of all judged cases within two steps (kernel regression: Nadaraya 1964, Watson 1964). Along
 * an axis of names nothing is smoothed. An empty cell stays empty: NaN. */
void region_smooth(const struct region_counts *cells, int columns, int rows, bool along_x, bool along_y,
                   struct region_odds *odds);

#endif
