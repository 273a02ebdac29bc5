/* Samples on their way to a recorder: taken one by one or some at once, all signals of an instant, handed over as
 * blocks of columns.
 *
 * A plant that has vector lanes computes the signals of LANES instants at once: states wait until there are so many, or
 * until the mode is about to change. LANES numbers of a signal are as many rows of its column. The numbers are those
 * that the plain plant gives, to the last bit. */
#ifndef SWASHLOOP_RUN_SAMPLE_BUFFER_H
#define SWASHLOOP_RUN_SAMPLE_BUFFER_H

#include "integrator.h"
#include "vector_evaluator.h"
#include "run.h"

enum {
  SAMPLE_BUFFER_BLOCK = 512, /* so that the columns being filled stay in the processor's second cache */
  SAMPLE_BUFFER_TILE = 8     /* turned from rows to columns at once: a cache line's worth of each column */
};

struct sample_buffer_waiting; /* in lanes */

/* All zero: empty, without room. */
struct sample_buffer {
  const struct recorder *recorder; /* NULL: nobody takes them */
  int signal_count;
  int count;                                           /* in the block */
  double last_time;                                    /* s */
  double *time;                                        /* s */
  double *columns;                                     /* [signal][stride] */
  double tile[SAMPLE_BUFFER_TILE][PLANT_SIGNAL_LIMIT]; /* SI */
  struct sample_buffer_waiting *waiting;               /* memory of the lanes; NULL: none yet */
  struct vector_evaluator *evaluator;                  /* this run's; NULL: one by one */
};

/* Begin a run. Its memory is made at the first run with a recorder and kept. */
bool sample_buffer_begin(struct sample_buffer *buffer, const struct recorder *recorder, int signal_count,
                         struct error *error);
/* From here on samples come by sample_buffer_take, if this run has lanes. */
bool sample_buffer_use_lanes(struct sample_buffer *buffer, struct vector_evaluator *evaluator, struct error *error);
/* One instant. */
bool sample_buffer_put(struct sample_buffer *buffer, double time, const double *signals, struct error *error);
/* How many instants sample_buffer_take takes at once now. */
int sample_buffer_room(const struct sample_buffer *buffer);
/* The instants at `times` within the integrator's last step, in the plant's present mode. */
bool sample_buffer_take(struct sample_buffer *buffer, struct integrator *integrator, const void *mode,
                        const double *times, int count, struct error *error);
/* The mode is about to change: evaluate the instants that still wait for it. */
bool sample_buffer_settle(struct sample_buffer *buffer, struct error *error);
/* Hand over what is left. */
bool sample_buffer_flush(struct sample_buffer *buffer, struct error *error);
void sample_buffer_free(struct sample_buffer *buffer);

#endif
