/* Samples on their way to a recorder: taken one by one, all signals of an instant, handed over as blocks of columns. */
#ifndef SWASHLOOP_RUN_SAMPLES_H
#define SWASHLOOP_RUN_SAMPLES_H

#include "run.h"

enum {
  SAMPLES_BLOCK = 4096,
  SAMPLES_TILE = 8 /* turned from rows to columns at once: a cache line's worth of each column */
};

/* All zero: empty, without room. */
struct samples {
  const struct recorder *recorder; /* NULL: nobody takes them */
  int signal_count;
  int count; /* in the block */
  double last_time;
  double *time;
  double *columns; /* [signal][stride] */
  double tile[SAMPLES_TILE][PLANT_SIGNAL_LIMIT];
};

/* Begin a run. Its memory is made at the first run with a recorder and kept. */
bool samples_begin(struct samples *samples, const struct recorder *recorder, int signal_count, struct error *error);
bool samples_put(struct samples *samples, double time, const double *signals, struct error *error);
/* Hand over what is left. */
bool samples_flush(struct samples *samples, struct error *error);
void samples_free(struct samples *samples);

#endif
