/* Time histories kept in memory: what a run's recorder gives, of the signals asked for. */
#ifndef SWASHLOOP_ANALYSIS_HISTORY_H
#define SWASHLOOP_ANALYSIS_HISTORY_H

#include <stdbool.h>

#include "run.h"

enum { HISTORY_SIGNALS = 32 };

struct history {
  int signal_count;
  int signals[HISTORY_SIGNALS]; /* indices among the plant's */
  int count;
  int capacity;
  double *time;                    /* s */
  double *values[HISTORY_SIGNALS]; /* SI, by column */
};

/* All zero, then the signals wanted; asks for each once. `column` is where its values will be. False: no room. */
bool history_want(struct history *history, int signal, int *column, struct error *error);
/* The same for a signal that the program reads by name and that the plant must have. */
bool history_need(struct history *history, const struct plant *plant, const char *name, int *column,
                  struct error *error);
/* A recorder's block function; context is the struct history. */
bool history_block(void *context, int count, const double *time, const double *const *values, struct error *error);
/* Forget the samples, keep the memory and what is wanted. */
void history_clear(struct history *history);
void history_free(struct history *history);

/* The place of t among rising times: the last sample at or before it, 0 to count - 2. */
int history_place(const double *time, int count, double t);
/* The value at t: by a cubic through four neighbouring samples where they are evenly spaced, by a straight line where
 * they are not (a cubic through samples that thinning left swings between them); held outside. */
double history_at(const double *time, const double *values, int count, double t);
/* What that may be off by at t. Where samples are even: what the sample beside t would be off by if it were read from
 * its neighbours, halved (what is left of that at a kink; of a smooth curve a sixteenth). Where they are uneven, the
 * whole of it by straight lines, or `straight` where that is known (NaN: not). At a sample itself zero. */
double history_doubt(const double *time, const double *values, int count, double t, double straight);
/* Thin to the samples that straight lines need to keep within `share` of each column's range: indices into `kept`,
 * rising, the first and the last among them. Returns how many. */
int history_thin(const double *time, const double *const *columns, int column_count, int count, double share,
                 int *kept);

#endif
