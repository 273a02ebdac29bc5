/* What one thread of a pool runs its cases with, made once: it takes a span of positions, runs them without a lock and
 * without allocating, and fills a block with their rows. Cases that go by the linearly implicit method run eight at
 * once (batch.h), the others one after the other. */
#ifndef SWASHLOOP_SWEEP_WORKER_H
#define SWASHLOOP_SWEEP_WORKER_H

#include <pthread.h>
#include <stdatomic.h>

#include "batch.h"
#include "pool.h"
#include "row.h"

/* What all workers of a pool share. */
struct shared_state {
  struct pool_order order;
  struct row_shape shape;
  pthread_mutex_t file_lock; /* the file library is not safe in threads */
  atomic_bool stopping;
  _Atomic double stopped_at;
};

/* A row in the worker's own memory. */
struct kept_row {
  size_t offset;
  size_t bytes; /* 0: it has not been run */
  bool failed;
};

/* A position within a span, and the laws of its case (batch.h). */
struct worker_place {
  uint64_t laws;
  int64_t within;
};

struct worker {
  struct shared_state *shared;
  struct run_workspace *workspace;
  struct run_workspace *history_workspace; /* for kept histories; made at the first */
  struct case_data *own; /* a copy of each case that others are made of; without memory until it is wanted */
  struct outcome outcome;
  /* Of those that run side by side; NULL where the study's case goes by the other method. */
  struct batch *batch;
  struct case_data lane_cases[BATCH_LANES];
  int64_t lane_positions[BATCH_LANES]; /* position within the span */
  struct span span;
  unsigned long refusals;                /* of memory in this thread when the span began */
  int64_t dealt;                         /* positions of the span given out, */
  struct worker_place order[SPAN_LIMIT]; /* in this order: those of the same laws together */
  struct pool_block *block;
  struct kept_row kept[SPAN_LIMIT];
  unsigned char *rows; /* as they come */
  size_t used;
  size_t room;
};

/* `worker` is all zero. On failure it must be closed all the same. */
bool worker_open(struct worker *worker, struct shared_state *shared, struct error *error);
void worker_close(struct worker *worker);
/* Run a span; `block` gets the rows of as many of its first positions as were run before the pool was stopped. */
void worker_run(struct worker *worker, struct span span, struct pool_block *block);

/* Positions that a span should have at least: of those that run side by side the last ones leave lanes empty. */
int64_t worker_least_span(const struct plan *plan);

/* Seconds of a clock of the system. */
double worker_clock(clockid_t clock);

#endif
