/* Samples on their way to a recorder: taken one by one or some at once, all signals of an instant, handed over as
 * blocks of columns.
 *
 * A plant that has vector lanes computes the signals of LANES instants at once: states wait until there are so many, or
 * until the mode is about to change. LANES numbers of a signal are as many rows of its column. The numbers are those
 * that the plain plant gives, to the last bit. */
#ifndef SWASHLOOP_RUN_SAMPLES_H
#define SWASHLOOP_RUN_SAMPLES_H

#include "integrator.h"
#include "ride.h"
#include "run.h"

enum {
  SAMPLES_BLOCK = 512, /* so that the columns being filled stay in the processor's second cache */
  SAMPLES_TILE = 8     /* turned from rows to columns at once: a cache line's worth of each column */
};

struct samples_waiting; /* in lanes */

/* All zero: empty, without room. */
struct samples {
  const struct recorder *recorder; /* NULL: nobody takes them */
  int signal_count;
  int count; /* in the block */
  double last_time;
  double *time;
  double *columns; /* [signal][stride] */
  double tile[SAMPLES_TILE][PLANT_SIGNAL_LIMIT];
  struct samples_waiting *waiting; /* memory of the lanes; NULL: none yet */
  struct ride *ride;               /* this run's; NULL: one by one */
};

/* Begin a run. Its memory is made at the first run with a recorder and kept. */
bool samples_begin(struct samples *samples, const struct recorder *recorder, int signal_count, struct error *error);
/* From here on by samples_take, if this run has lanes. */
bool samples_ride(struct samples *samples, struct ride *ride, struct error *error);
/* One instant. */
bool samples_put(struct samples *samples, double time, const double *signals, struct error *error);
/* How many instants samples_take takes at once now. */
int samples_room(const struct samples *samples);
/* The instants at `times` within the integrator's last step, in the plant's present mode. */
bool samples_take(struct samples *samples, struct integrator *integrator, const void *mode, const double *times,
                  int count, struct error *error);
/* The mode in the lanes is about to be forgotten. */
bool samples_settle(struct samples *samples, struct error *error);
/* Hand over what is left. */
bool samples_flush(struct samples *samples, struct error *error);
void samples_free(struct samples *samples);

#endif
