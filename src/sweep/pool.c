#include "pool.h"

#include <errno.h>
#include <inttypes.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "result_file.h"
#include "row.h"

/* A case that still runs this long after a stop is given up: it is run again when the sweep is taken up. */
#define PATIENCE 10.0

struct hand {
  struct pool *pool;
  pthread_t thread;
  struct run_workspace *workspace;
  struct run_workspace *teller; /* for kept histories; made at the first */
  struct case_data own;
  struct outcome outcome;
};

struct pool {
  struct pool_order order;
  struct row_shape shape;
  pthread_mutex_t lock;
  pthread_cond_t work;       /* a span, a free block or the end has come */
  pthread_cond_t done;       /* a finished block has come */
  pthread_mutex_t file_lock; /* the file library is not safe in threads */
  struct span *spans;
  int span_count;
  int span_room;
  int running; /* threads with a span */
  struct pool_block *free;
  struct pool_block *finished;
  struct pool_block **finished_end;
  struct pool_block *blocks;
  int block_count;
  struct hand *hands;
  int hand_count;
  bool ending;
  atomic_bool stopping;
  _Atomic double stopped_at;
};

static double clock_of(clockid_t clock) {
  struct timespec now = {0, 0};
  (void)clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- one case ---- */

static bool has_patience(void *context, double time, double end_time) {
  struct pool *pool = context;
  (void)time;
  (void)end_time;
  return !atomic_load(&pool->stopping) || clock_of(CLOCK_MONOTONIC) - atomic_load(&pool->stopped_at) < PATIENCE;
}

/* A recorder that takes the lock for each block. */
struct kept_file {
  struct pool *pool;
  struct result_file *file;
};

static bool block_to_file(void *context, int count, const double *time, const double *const *values,
                          struct error *error) {
  struct kept_file *kept = context;
  pthread_mutex_lock(&kept->pool->file_lock);
  bool good = result_file_block(kept->file, count, time, values, error);
  pthread_mutex_unlock(&kept->pool->file_lock);
  return good;
}

static bool write_history(struct hand *hand, const struct case_data *data, const char *path, struct error *error) {
  struct pool *pool = hand->pool;
  struct outcome outcome = {0};
  pthread_mutex_lock(&pool->file_lock);
  struct kept_file kept = {pool, result_file_open(path, data, pool->order.command, error)};
  pthread_mutex_unlock(&pool->file_lock);
  if (kept.file == NULL) {
    return false;
  }
  struct recorder recorder = {&kept, block_to_file};
  bool good = run_in(hand->teller, data, &recorder, NULL, &outcome, error);
  if (good && outcome.error.code == ERROR_OUTPUT) {
    *error = outcome.error;
    good = false;
  }
  pthread_mutex_lock(&pool->file_lock);
  if (good) {
    good = result_file_close(kept.file, data, &outcome, error);
  } else {
    result_file_abandon(kept.file);
  }
  pthread_mutex_unlock(&pool->file_lock);
  outcome_free(&outcome);
  return good;
}

/* The case once more with its time histories: the same numbers, as a run file. */
static bool keep_history(struct hand *hand, int64_t k, struct error *error) {
  const struct plan *plan = hand->pool->order.plan;
  char path[4096];
  struct case_data data;
  if (snprintf(path, sizeof path, "%s/case_%06" PRId64 ".h5", hand->pool->order.runs_folder, k) >= (int)sizeof path) {
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", hand->pool->order.runs_folder);
  }
  hand->teller = hand->teller != NULL ? hand->teller : run_workspace_new(plan->base.plant, true, error);
  if (hand->teller == NULL || !plan_case(plan, k, &data, error)) {
    return false;
  }
  bool good = write_history(hand, &data, path, error);
  case_free(&data);
  return good;
}

static bool is_kept(const struct plan *plan, int64_t k, const struct outcome *outcome) {
  const struct keep *keep = &plan->keep;
  if (plan_keeps(plan, k) || (keep->failed && outcome->status == RUN_FAILED)) {
    return true;
  }
  for (int i = 0; outcome->status != RUN_FAILED && i < keep->condition_count; i++) {
    const struct condition *condition = &keep->conditions[i];
    double value = outcome->measures[condition->measure];
    if (condition->above ? value >= condition->level : value <= condition->level) {
      return true;
    }
  }
  return false;
}

/* Run case k; its row goes behind the others of the block. False: no row, stop here. */
static bool run_case_k(struct hand *hand, int64_t k, struct pool_block *block) {
  struct pool *pool = hand->pool;
  const struct plan *plan = pool->order.plan;
  struct watcher watcher = {pool, has_patience};
  struct error error = {0};
  bool ready = plan_put(plan, k, &hand->own, &error);
  bool ran = ready && run_in(hand->workspace, &hand->own, NULL, &watcher, &hand->outcome, &error);
  if (!ran) {
    hand->outcome.status = RUN_FAILED;
    hand->outcome.error = error;
    hand->outcome.counts = (struct run_counts){0};
  } else {
    block->integration += hand->outcome.counts.cpu_seconds;
  }
  if (hand->outcome.status == RUN_INTERRUPTED) {
    return false;
  }
  if (ready && is_kept(plan, k, &hand->outcome) && !keep_history(hand, k, &error) && ran) {
    block->broken = true;
    block->error = error;
    return false;
  }
  const char *message = hand->outcome.status == RUN_FAILED    ? hand->outcome.error.text
                        : hand->outcome.status == RUN_STOPPED ? hand->outcome.stop_words
                                                              : "";
  block->failed += hand->outcome.status == RUN_FAILED;
  block->bytes += row_encode(plan, k, &hand->outcome, message, block->payload + block->bytes);
  block->count++;
  return true;
}

/* Room for one more row, whatever its message; grows only while messages are long. */
static bool make_room(struct pool *pool, struct pool_block *block) {
  size_t need = block->bytes + row_bytes_limit(pool->shape);
  if (need <= block->room) {
    return true;
  }
  unsigned char *larger = realloc(block->payload, 2 * need);
  if (larger == NULL) {
    block->broken = true;
    return error_set(&block->error, ERROR_MEMORY, "no memory for rows");
  }
  block->payload = larger;
  block->room = 2 * need;
  return true;
}

static void run_span(struct hand *hand, struct span span, struct pool_block *block) {
  struct pool *pool = hand->pool;
  double began = clock_of(CLOCK_THREAD_CPUTIME_ID);
  block->first = span.first;
  block->count = 0;
  block->failed = 0;
  block->bytes = 0;
  block->integration = 0.0;
  block->broken = false;
  for (int64_t i = 0; i < span.count; i++) {
    if (atomic_load_explicit(&pool->stopping, memory_order_relaxed) || !make_room(pool, block) ||
        !run_case_k(hand, pool->order.shard + (span.first + i) * pool->order.shards, block)) {
      break;
    }
  }
  block->seconds = clock_of(CLOCK_THREAD_CPUTIME_ID) - began;
}

/* ---- threads ---- */

static void hand_over(struct pool *pool, struct pool_block *block) {
  block->next = NULL;
  *pool->finished_end = block;
  pool->finished_end = &block->next;
  pthread_cond_signal(&pool->done);
}

static void *work(void *argument) {
  struct hand *hand = argument;
  struct pool *pool = hand->pool;
  pthread_mutex_lock(&pool->lock);
  for (;;) {
    while (!pool->ending && (pool->span_count == 0 || pool->free == NULL)) {
      pthread_cond_wait(&pool->work, &pool->lock);
    }
    if (pool->ending) {
      break;
    }
    struct span span = pool->spans[0];
    memmove(pool->spans, pool->spans + 1, (size_t)--pool->span_count * sizeof *pool->spans);
    struct pool_block *block = pool->free;
    pool->free = block->next;
    pool->running++;
    pthread_mutex_unlock(&pool->lock);
    run_span(hand, span, block);
    pthread_mutex_lock(&pool->lock);
    pool->running--;
    hand_over(pool, block);
  }
  pthread_mutex_unlock(&pool->lock);
  return NULL;
}

static bool start_hand(struct pool *pool, struct hand *hand, struct error *error) {
  const struct plan *plan = pool->order.plan;
  hand->pool = pool;
  hand->workspace = run_workspace_new(plan->base.plant, false, error);
  if (hand->workspace == NULL || !case_copy(&plan->base, &hand->own, error)) {
    return false;
  }
  int failed = pthread_create(&hand->thread, NULL, work, hand);
  if (failed != 0) {
    return error_set(error, ERROR_MEMORY, "no thread could be started: %s", strerror(failed));
  }
  return true;
}

static void close_hand(struct hand *hand) {
  run_workspace_free(hand->workspace);
  run_workspace_free(hand->teller);
  outcome_free(&hand->outcome);
  if (hand->own.memory != NULL) {
    case_free(&hand->own);
  }
}

static bool make_blocks(struct pool *pool) {
  pool->span_room = 2 * pool->order.jobs;
  pool->block_count = 3 * pool->order.jobs + 1;
  pool->spans = calloc((size_t)pool->span_room, sizeof *pool->spans);
  pool->blocks = calloc((size_t)pool->block_count, sizeof *pool->blocks);
  pool->hands = calloc((size_t)pool->order.jobs, sizeof *pool->hands);
  for (int i = 0; pool->blocks != NULL && i < pool->block_count; i++) {
    pool->blocks[i].next = pool->free;
    pool->free = &pool->blocks[i];
  }
  return pool->spans != NULL && pool->blocks != NULL && pool->hands != NULL;
}

struct pool *pool_new(const struct pool_order *order, struct error *error) {
  struct pool *pool = calloc(1, sizeof *pool);
  if (pool == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for threads");
    return NULL;
  }
  pool->order = *order;
  pool->shape = row_shape_of(order->plan);
  pool->finished_end = &pool->finished;
  pthread_condattr_t attributes;
  pthread_condattr_init(&attributes);
  pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
  pthread_mutex_init(&pool->lock, NULL);
  pthread_mutex_init(&pool->file_lock, NULL);
  pthread_cond_init(&pool->work, NULL);
  pthread_cond_init(&pool->done, &attributes);
  pthread_condattr_destroy(&attributes);
  if (!make_blocks(pool)) {
    error_set(error, ERROR_MEMORY, "no memory for threads");
    pool_free(pool);
    return NULL;
  }
  while (pool->hand_count < order->jobs) {
    struct hand *hand = &pool->hands[pool->hand_count];
    if (!start_hand(pool, hand, error)) {
      close_hand(hand);
      pool_free(pool);
      return NULL;
    }
    pool->hand_count++;
  }
  return pool;
}

void pool_free(struct pool *pool) {
  if (pool == NULL) {
    return;
  }
  pthread_mutex_lock(&pool->lock);
  pool->ending = true;
  pthread_cond_broadcast(&pool->work);
  pthread_mutex_unlock(&pool->lock);
  for (int i = 0; i < pool->hand_count; i++) {
    pthread_join(pool->hands[i].thread, NULL);
    close_hand(&pool->hands[i]);
  }
  for (int i = 0; pool->blocks != NULL && i < pool->block_count; i++) {
    free(pool->blocks[i].payload);
  }
  pthread_cond_destroy(&pool->work);
  pthread_cond_destroy(&pool->done);
  pthread_mutex_destroy(&pool->lock);
  pthread_mutex_destroy(&pool->file_lock);
  free(pool->spans);
  free(pool->blocks);
  free(pool->hands);
  free(pool);
}

/* ---- from outside ---- */

int pool_wants(struct pool *pool) {
  pthread_mutex_lock(&pool->lock);
  int wanted = pool->span_room - pool->span_count - pool->running;
  pthread_mutex_unlock(&pool->lock);
  return wanted > 0 ? wanted : 0;
}

void pool_give(struct pool *pool, struct span span) {
  pthread_mutex_lock(&pool->lock);
  if (pool->span_count < pool->span_room && !atomic_load(&pool->stopping)) {
    pool->spans[pool->span_count++] = span;
    pthread_cond_signal(&pool->work);
  }
  pthread_mutex_unlock(&pool->lock);
}

struct pool_block *pool_take(struct pool *pool, double seconds) {
  struct timespec until = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &until);
  double at = (double)until.tv_nsec * 1e-9 + seconds;
  until.tv_sec += (time_t)at;
  until.tv_nsec = (long)((at - (double)(time_t)at) * 1e9);
  pthread_mutex_lock(&pool->lock);
  int result = 0;
  while (pool->finished == NULL && seconds > 0.0 && result == 0) {
    result = pthread_cond_timedwait(&pool->done, &pool->lock, &until);
  }
  struct pool_block *block = pool->finished;
  if (block != NULL) {
    pool->finished = block->next;
    pool->finished_end = pool->finished == NULL ? &pool->finished : pool->finished_end;
  }
  pthread_mutex_unlock(&pool->lock);
  return block;
}

void pool_return(struct pool *pool, struct pool_block *block) {
  pthread_mutex_lock(&pool->lock);
  block->next = pool->free;
  pool->free = block;
  pthread_cond_signal(&pool->work);
  pthread_mutex_unlock(&pool->lock);
}

void pool_stop(struct pool *pool) {
  pthread_mutex_lock(&pool->lock);
  if (!atomic_load(&pool->stopping)) {
    atomic_store(&pool->stopped_at, clock_of(CLOCK_MONOTONIC));
    atomic_store(&pool->stopping, true);
  }
  pool->span_count = 0;
  pthread_mutex_unlock(&pool->lock);
}

bool pool_idle(struct pool *pool) {
  pthread_mutex_lock(&pool->lock);
  bool idle = pool->running == 0 && pool->span_count == 0 && pool->finished == NULL;
  pthread_mutex_unlock(&pool->lock);
  return idle;
}
