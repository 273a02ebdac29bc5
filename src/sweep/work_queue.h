/* Spans of positions that are still to be done, dealt out one by one. */
#ifndef SWASHLOOP_SWEEP_WORK_QUEUE_H
#define SWASHLOOP_SWEEP_WORK_QUEUE_H

#include "journal.h"
#include "pool.h"

struct work_queue {
  struct span *gaps; /* what the journal does not hold */
  int64_t gap_count;
  int64_t gap_room;
  int64_t gap;  /* the present one */
  int64_t used; /* positions of it that are dealt */
  int64_t left; /* positions not dealt */
  int workers;
  int64_t least;       /* positions of a span, as long as so many are left */
  double span_least;   /* s that a span should take at least, because asking for another takes time, too */
  double case_seconds; /* of one thread, running mean; 0 unknown */
};

/* `journal` is sorted. No span has fewer than `least` positions, unless a gap of the journal is shorter. */
bool work_queue_open(struct work_queue *queue, int64_t positions, const struct journal *journal, int workers,
                     int64_t least, struct error *error);
/* The next span; false when all are dealt. Large enough that handing over costs nothing, small enough that little is
 * lost by a kill and that all threads end together. */
bool work_queue_take(struct work_queue *queue, struct span *span);
/* A span that was dealt comes back undone; false: memory is out. */
bool work_queue_return(struct work_queue *queue, struct span span, struct error *error);
/* A finished block tells how long cases take. */
void work_queue_learn(struct work_queue *queue, int64_t count, double seconds);
void work_queue_close(struct work_queue *queue);

#endif
