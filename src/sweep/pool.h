/* Threads that run cases. Each has a worker of its own (worker.h), takes a span of positions and hands over the rows in
 * one block. */
#ifndef SWASHLOOP_SWEEP_POOL_H
#define SWASHLOOP_SWEEP_POOL_H

#include <stdbool.h>
#include <stdint.h>

#include "plan.h"

/* Consecutive positions of a shard: case = shard + position x shards. */
struct span {
  int64_t first;
  int64_t count;
};

enum { SPAN_LIMIT = 1024 };

struct pool_block {
  int64_t first;
  int64_t count; /* rows; fewer than the span had when the pool was stopped */
  int64_t failed;
  size_t bytes;
  unsigned char *payload;
  double seconds;     /* of processor time, for all of it */
  double wall;        /* s of wall time, for all of it */
  double integration; /* s of those within the runs themselves */
  bool broken;        /* a history could not be written: `error` says why, and nothing goes on */
  struct error error;
  size_t room; /* of payload */
  struct pool_block *next;
};

struct pool_order {
  const struct plan *plan;
  int jobs;
  int64_t shard;
  int64_t shards;
  const char *runs_folder; /* where kept histories go */
  const char *command;     /* for their `history` attribute */
};

struct pool;

/* Start the threads; NULL on failure. pool_free ends them. */
struct pool *pool_new(const struct pool_order *order, struct error *error);
/* How many more spans are wanted, so that no thread waits. */
int pool_wants(struct pool *pool);
void pool_give(struct pool *pool, struct span span);
/* A finished block, or NULL when there is none within `seconds`. Give it back with pool_return. */
struct pool_block *pool_take(struct pool *pool, double seconds);
/* Has every thread a span, and is one more there for whoever is done first? */
bool pool_is_fed(struct pool *pool);
void pool_return(struct pool *pool, struct pool_block *block);
/* Drop the spans that wait; every thread ends after the case in hand and hands over what it has. */
void pool_stop(struct pool *pool);
/* Nothing runs, waits or is to be taken. */
bool pool_idle(struct pool *pool);
void pool_free(struct pool *pool);

#endif
