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
/* The value at t by a cubic through four neighbouring samples; held outside. */
double history_at(const double *time, const double *values, int count, double t);
/* Thin to the samples that straight lines need to keep within `share` of each column's range: indices into `kept`,
 * rising, the first and the last among them. Returns how many. */
int history_thin(const double *time, const double *const *columns, int column_count, int count, double share,
                 int *kept);

#endif
