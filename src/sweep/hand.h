/* What one thread of a pool runs its cases with, made once: it takes a span of positions, runs them without a lock and
 * without allocating, and fills a block with their rows. Cases that go by the linearly implicit method run eight at
 * once (convoy.h), the others one after the other. */
#ifndef SWASHLOOP_SWEEP_HAND_H
#define SWASHLOOP_SWEEP_HAND_H

#include <pthread.h>
#include <stdatomic.h>

#include "convoy.h"
#include "pool.h"
#include "row.h"

/* What all hands of a pool share. */
struct shop {
  struct pool_order order;
  struct row_shape shape;
  pthread_mutex_t file_lock; /* the file library is not safe in threads */
  atomic_bool stopping;
  _Atomic double stopped_at;
};

/* A row in the hand's own memory. */
struct kept_row {
  size_t offset;
  size_t bytes; /* 0: it has not been run */
  bool failed;
};

struct hand {
  struct shop *shop;
  struct run_workspace *workspace;
  struct run_workspace *teller; /* for kept histories; made at the first */
  struct case_data own;
  struct outcome outcome;
  /* Of those that run side by side; NULL where the study's case goes by the other method. */
  struct convoy *convoy;
  struct case_data riders[CONVOY_PLACES];
  int64_t riding[CONVOY_PLACES]; /* position within the span */
  struct span span;
  int64_t dealt; /* positions of the span given out */
  struct pool_block *block;
  struct kept_row kept[SPAN_LIMIT];
  unsigned char *rows; /* as they come */
  size_t used;
  size_t room;
};

/* `hand` is all zero. On failure it must be closed all the same. */
bool hand_open(struct hand *hand, struct shop *shop, struct error *error);
void hand_close(struct hand *hand);
/* Run a span; `block` gets the rows of as many of its first positions as were run before the pool was stopped. */
void hand_run(struct hand *hand, struct span span, struct pool_block *block);

/* Positions that a span should have at least: of those that run side by side the last ones leave lanes empty. */
int64_t hand_least(const struct plan *plan);

double hand_clock(clockid_t clock);

#endif
