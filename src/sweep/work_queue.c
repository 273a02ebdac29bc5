#include "work_queue.h"

#include <math.h>
#include <stdlib.h>

/* Wall time that a span should take, from few threads to many: the one who deals must keep up. */
#define SPAN_SECONDS_LEAST 0.25
#define SPAN_SECONDS_MOST 30.0
#define SPAN_SECONDS_WORKER 2e-3

bool work_queue_open(struct work_queue *queue, int64_t positions, const struct journal *journal, int workers,
                     int64_t least, struct error *error) {
  *queue = (struct work_queue){.workers = workers, .least = least};
  queue->gap_room = journal->block_count + 1;
  queue->gaps = calloc((size_t)queue->gap_room, sizeof *queue->gaps);
  if (!queue->gaps) {
    return error_set(error, ERROR_MEMORY, "no memory for the sweep");
  }
  int64_t next = 0;
  for (int64_t i = 0; i <= journal->block_count; i++) {
    int64_t until = i < journal->block_count ? journal->blocks[i].first : positions;
    if (until > next) {
      queue->gaps[queue->gap_count++] = (struct span){next, until - next};
      queue->left += until - next;
    }
    next = i < journal->block_count ? until + journal->blocks[i].count : next;
  }
  return true;
}

static int64_t wanted_size(const struct work_queue *queue) {
  double target = fmin(fmax(SPAN_SECONDS_WORKER * queue->workers, SPAN_SECONDS_LEAST), SPAN_SECONDS_MOST);
  int64_t size = 1;
  if (queue->case_seconds > 0.0) {
    size = (int64_t)fmin(target / queue->case_seconds, SPAN_LIMIT);
  }
  int64_t fair = queue->left / (3 * (int64_t)queue->workers);
  size = size < fair ? size : fair;
  if (queue->case_seconds > 0.0) {
    int64_t least = (int64_t)fmin(queue->span_least / queue->case_seconds, SPAN_LIMIT);
    size = size > least ? size : least;
  }
  return size > queue->least ? size : queue->least;
}

bool work_queue_take(struct work_queue *queue, struct span *span) {
  while (queue->gap < queue->gap_count && queue->used == queue->gaps[queue->gap].count) {
    queue->gap++;
    queue->used = 0;
  }
  if (queue->gap == queue->gap_count) {
    return false;
  }
  const struct span *gap = &queue->gaps[queue->gap];
  int64_t size = wanted_size(queue);
  size = size < gap->count - queue->used ? size : gap->count - queue->used;
  *span = (struct span){gap->first + queue->used, size};
  queue->used += size;
  queue->left -= size;
  return true;
}

bool work_queue_return(struct work_queue *queue, struct span span, struct error *error) {
  if (queue->gap_count == queue->gap_room) {
    struct span *larger = realloc(queue->gaps, 2 * (size_t)queue->gap_room * sizeof *larger);
    if (larger == NULL) {
      return error_set(error, ERROR_MEMORY, "no memory for the sweep");
    }
    queue->gaps = larger;
    queue->gap_room *= 2;
  }
  queue->gaps[queue->gap_count++] = span;
  queue->left += span.count;
  return true;
}

void work_queue_learn(struct work_queue *queue, int64_t count, double seconds) {
  if (count < 1) {
    return;
  }
  double each = fmax(seconds / (double)count, 1e-6);
  double weight = fmin(1.0, 0.2 + 0.01 * (double)count);
  queue->case_seconds = queue->case_seconds > 0.0 ? (1.0 - weight) * queue->case_seconds + weight * each : each;
}

void work_queue_close(struct work_queue *queue) {
  free(queue->gaps);
  *queue = (struct work_queue){0};
}
