#include "pool.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "worker.h"

struct pool_thread {
  struct pool *pool;
  pthread_t thread;
  struct worker worker;
};

struct pool {
  struct shared_state shared; /* what the threads' workers share */
  pthread_mutex_t lock;
  pthread_cond_t work; /* a span, a free block or the end has come */
  pthread_cond_t done; /* a finished block has come */
  struct span *spans;
  int span_count;
  int span_room;
  int running; /* threads with a span */
  struct pool_block *free;
  struct pool_block *finished;
  struct pool_block **finished_end;
  struct pool_block *blocks;
  int block_count;
  struct pool_thread *threads;
  int thread_count;
  bool ending;
};

/* ---- threads ---- */

static void hand_over(struct pool *pool, struct pool_block *block) {
  block->next = NULL;
  *pool->finished_end = block;
  pool->finished_end = &block->next;
  pthread_cond_signal(&pool->done);
}

static void *work(void *argument) {
  struct pool_thread *thread = argument;
  struct pool *pool = thread->pool;
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
    worker_run(&thread->worker, span, block);
    pthread_mutex_lock(&pool->lock);
    pool->running--;
    hand_over(pool, block);
  }
  pthread_mutex_unlock(&pool->lock);
  return NULL;
}

static bool start_worker(struct pool *pool, struct pool_thread *thread, struct error *error) {
  thread->pool = pool;
  if (!worker_open(&thread->worker, &pool->shared, error)) {
    return false;
  }
  int failed = pthread_create(&thread->thread, NULL, work, thread);
  if (failed != 0) {
    return error_set(error, ERROR_MEMORY, "no thread could be started: %s", strerror(failed));
  }
  return true;
}

static bool make_blocks(struct pool *pool) {
  pool->span_room = 2 * pool->shared.order.jobs;
  pool->block_count = 3 * pool->shared.order.jobs + 1;
  pool->spans = calloc((size_t)pool->span_room, sizeof *pool->spans);
  pool->blocks = calloc((size_t)pool->block_count, sizeof *pool->blocks);
  pool->threads = calloc((size_t)pool->shared.order.jobs, sizeof *pool->threads);
  for (int i = 0; pool->blocks != NULL && i < pool->block_count; i++) {
    pool->blocks[i].next = pool->free;
    pool->free = &pool->blocks[i];
  }
  return pool->spans != NULL && pool->blocks != NULL && pool->threads != NULL;
}

struct pool *pool_new(const struct pool_order *order, struct error *error) {
  struct pool *pool = calloc(1, sizeof *pool);
  if (pool == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for threads");
    return NULL;
  }
  pool->shared.order = *order;
  pool->shared.shape = row_shape_of(order->plan);
  pool->finished_end = &pool->finished;
  pthread_condattr_t attributes;
  pthread_condattr_init(&attributes);
  pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
  pthread_mutex_init(&pool->lock, NULL);
  pthread_mutex_init(&pool->shared.file_lock, NULL);
  pthread_cond_init(&pool->work, NULL);
  pthread_cond_init(&pool->done, &attributes);
  pthread_condattr_destroy(&attributes);
  if (!make_blocks(pool)) {
    error_set(error, ERROR_MEMORY, "no memory for threads");
    pool_free(pool);
    return NULL;
  }
  while (pool->thread_count < order->jobs) {
    struct pool_thread *thread = &pool->threads[pool->thread_count];
    if (!start_worker(pool, thread, error)) {
      worker_close(&thread->worker);
      pool_free(pool);
      return NULL;
    }
    pool->thread_count++;
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
  for (int i = 0; i < pool->thread_count; i++) {
    pthread_join(pool->threads[i].thread, NULL);
    worker_close(&pool->threads[i].worker);
  }
  for (int i = 0; pool->blocks != NULL && i < pool->block_count; i++) {
    free(pool->blocks[i].payload);
  }
  pthread_cond_destroy(&pool->work);
  pthread_cond_destroy(&pool->done);
  pthread_mutex_destroy(&pool->lock);
  pthread_mutex_destroy(&pool->shared.file_lock);
  free(pool->spans);
  free(pool->blocks);
  free(pool->threads);
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
  if (pool->span_count < pool->span_room && !atomic_load(&pool->shared.stopping)) {
    pool->spans[pool->span_count++] = span;
    pthread_cond_signal(&pool->work);
  }
  pthread_mutex_unlock(&pool->lock);
}

bool pool_is_fed(struct pool *pool) {
  pthread_mutex_lock(&pool->lock);
  bool fed = pool->running + pool->span_count > pool->thread_count;
  pthread_mutex_unlock(&pool->lock);
  return fed;
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
  if (!atomic_load(&pool->shared.stopping)) {
    atomic_store(&pool->shared.stopped_at, worker_clock(CLOCK_MONOTONIC));
    atomic_store(&pool->shared.stopping, true);
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
