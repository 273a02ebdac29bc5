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
  double *time;
  double *values[HISTORY_SIGNALS];
};

/* All zero, then the signals wanted; asks for each once. Returns the column. */
int history_want(struct history *history, int signal);
/* Column of a signal, or -1. */
int history_column(const struct history *history, int signal);
/* A recorder's block function; context is the struct history. */
bool history_block(void *context, int count, const double *time, const double *const *values, struct error *error);
/* Forget the samples, keep the memory and what is wanted. */
void history_clear(struct history *history);
void history_free(struct history *history);

/* The place of t among rising times: the last sample at or before it, 0 to count - 2. */
int history_place(const double *time, int count, double t);
/* The value at t by a cubic through four neighbouring samples; held outside. */
double history_at(const double *time, const double *values, int count, double t);
/* Thin to the samples that straight lines need to keep within `share` of each column's range: indices into `kept`,
 * rising, the first and the last among them. Returns how many. */
int history_thin(const double *time, const double *const *columns, int column_count, int count, double share,
                 int *kept);

#endif
