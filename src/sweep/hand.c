#include "hand.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "result_file.h"

/* A case that still runs this long after a stop is given up: it is run again when the sweep is taken up. */
#define PATIENCE 10.0

double hand_clock(clockid_t clock) {
  struct timespec now = {0, 0};
  (void)clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- one case ---- */

static bool has_patience(void *context, double time, double end_time) {
  const struct shop *shop = context;
  (void)time;
  (void)end_time;
  return !atomic_load(&shop->stopping) || hand_clock(CLOCK_MONOTONIC) - atomic_load(&shop->stopped_at) < PATIENCE;
}

/* A recorder that takes the lock for each block. */
struct kept_file {
  struct shop *shop;
  struct result_file *file;
};

static bool block_to_file(void *context, int count, const double *time, const double *const *values,
                          struct error *error) {
  struct kept_file *kept = context;
  pthread_mutex_lock(&kept->shop->file_lock);
  bool good = result_file_block(kept->file, count, time, values, error);
  pthread_mutex_unlock(&kept->shop->file_lock);
  return good;
}

static bool write_history(struct hand *hand, const struct case_data *data, const char *path, struct error *error) {
  struct shop *shop = hand->shop;
  struct outcome outcome = {0};
  pthread_mutex_lock(&shop->file_lock);
  struct kept_file kept = {shop, result_file_open(path, data, shop->order.command, error)};
  pthread_mutex_unlock(&shop->file_lock);
  if (kept.file == NULL) {
    return false;
  }
  struct recorder recorder = {&kept, block_to_file};
  bool good = run_in(hand->teller, data, &recorder, NULL, &outcome, error);
  if (good && outcome.error.code == ERROR_OUTPUT) {
    *error = outcome.error;
    good = false;
  }
  pthread_mutex_lock(&shop->file_lock);
  if (good) {
    good = result_file_close(kept.file, data, &outcome, error);
  } else {
    result_file_abandon(kept.file);
  }
  pthread_mutex_unlock(&shop->file_lock);
  outcome_free(&outcome);
  return good;
}

/* The case once more with its time histories: the same numbers, as a run file. */
static bool keep_history(struct hand *hand, int64_t k, struct error *error) {
  const struct plan *plan = hand->shop->order.plan;
  char path[4096];
  struct case_data data;
  if (snprintf(path, sizeof path, "%s/case_%06" PRId64 ".h5", hand->shop->order.runs_folder, k) >= (int)sizeof path) {
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", hand->shop->order.runs_folder);
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

/* A case has ended, or could not start: its row behind *bytes. False: no row, stop here. */
static bool make_row(struct hand *hand, int64_t k, bool ready, bool ran, struct outcome *outcome,
                     const struct error *why, struct pool_block *block, unsigned char *bytes, size_t *used) {
  const struct plan *plan = hand->shop->order.plan;
  if (!ran) {
    outcome->status = RUN_FAILED;
    outcome->error = *why;
    outcome->counts = (struct run_counts){0};
  } else {
    block->integration += outcome->counts.cpu_seconds;
  }
  if (outcome->status == RUN_INTERRUPTED) {
    return false;
  }
  struct error error = {0};
  if (ready && is_kept(plan, k, outcome) && !keep_history(hand, k, &error) && ran) {
    block->broken = true;
    block->error = error;
    return false;
  }
  const char *message = outcome->status == RUN_FAILED    ? outcome->error.text
                        : outcome->status == RUN_STOPPED ? outcome->stop_words
                                                         : "";
  *used = row_encode(plan, k, outcome, message, bytes);
  return true;
}

/* Room for `need` more bytes behind `used`; grows only while messages are long. */
static bool make_room(unsigned char **bytes, size_t *room, size_t used, size_t need, struct pool_block *block) {
  need += used;
  if (need <= *room) {
    return true;
  }
  unsigned char *larger = realloc(*bytes, 2 * need);
  if (larger == NULL) {
    block->broken = true;
    return error_set(&block->error, ERROR_MEMORY, "no memory for rows");
  }
  *bytes = larger;
  *room = 2 * need;
  return true;
}

static bool is_stopping(const struct hand *hand) {
  return atomic_load_explicit(&hand->shop->stopping, memory_order_relaxed);
}

static int64_t case_at(const struct hand *hand, int64_t within) {
  const struct pool_order *order = &hand->shop->order;
  return order->shard + (hand->span.first + within) * order->shards;
}

/* ---- one after the other ---- */

/* Run a case; its row goes behind the others of the block. False: no row, stop here. */
static bool run_one(struct hand *hand, int64_t k, struct pool_block *block) {
  const struct watcher watcher = {hand->shop, has_patience};
  struct error error = {0};
  size_t used = 0;
  bool ready = plan_put(hand->shop->order.plan, k, &hand->own, &error);
  bool ran = ready && run_in(hand->workspace, &hand->own, NULL, &watcher, &hand->outcome, &error);
  if (!make_row(hand, k, ready, ran, &hand->outcome, &error, block, block->payload + block->bytes, &used)) {
    return false;
  }
  block->failed += hand->outcome.status == RUN_FAILED;
  block->bytes += used;
  block->count++;
  return true;
}

static void run_singly(struct hand *hand, struct pool_block *block) {
  size_t limit = row_bytes_limit(hand->shop->shape);
  for (int64_t i = 0; i < hand->span.count; i++) {
    if (is_stopping(hand) || !make_room(&block->payload, &block->room, block->bytes, limit, block) ||
        !run_one(hand, case_at(hand, i), block)) {
      break;
    }
  }
}

/* ---- side by side ---- */

/* Takes the outcome of the case at `within` into the hand's rows. */
static void take(struct hand *hand, int64_t within, bool ready, bool ran, struct outcome *outcome,
                 const struct error *error) {
  struct kept_row *row = &hand->kept[within];
  struct pool_block *block = hand->block;
  if (!make_room(&hand->rows, &hand->room, hand->used, row_bytes_limit(hand->shop->shape), block) ||
      !make_row(hand, case_at(hand, within), ready, ran, outcome, error, block, hand->rows + hand->used, &row->bytes)) {
    return;
  }
  row->offset = hand->used;
  row->failed = outcome->status == RUN_FAILED;
  hand->used += row->bytes;
}

static const struct case_data *next_rider(void *context, int place) {
  struct hand *hand = context;
  while (hand->dealt < hand->span.count && !is_stopping(hand) && !hand->block->broken) {
    int64_t within = hand->dealt++;
    struct error error = {0};
    if (plan_put(hand->shop->order.plan, case_at(hand, within), &hand->riders[place], &error)) {
      hand->riding[place] = within;
      return &hand->riders[place];
    }
    take(hand, within, false, false, &hand->outcome, &error);
  }
  return NULL;
}

static void rider_is_done(void *context, int place, bool ran, struct outcome *outcome, const struct error *error) {
  struct hand *hand = context;
  take(hand, hand->riding[place], true, ran, outcome, error);
}

/* Rows come as cases end; into the block they go in the order of their positions, up to the first that is missing. */
static void run_side_by_side(struct hand *hand, struct pool_block *block) {
  const struct convoy_cases cases = {hand, next_rider, rider_is_done};
  const struct watcher watcher = {hand->shop, has_patience};
  memset(hand->kept, 0, (size_t)hand->span.count * sizeof *hand->kept);
  hand->dealt = 0;
  hand->used = 0;
  hand->block = block;
  convoy_run(hand->convoy, &cases, CONVOY_PLACES, &watcher);
  if (!make_room(&block->payload, &block->room, 0, hand->used, block)) {
    return;
  }
  for (int64_t i = 0; i < hand->span.count && hand->kept[i].bytes > 0; i++) {
    const struct kept_row *row = &hand->kept[i];
    memcpy(block->payload + block->bytes, hand->rows + row->offset, row->bytes);
    block->bytes += row->bytes;
    block->failed += row->failed;
    block->count++;
  }
}

void hand_run(struct hand *hand, struct span span, struct pool_block *block) {
  double began = hand_clock(CLOCK_THREAD_CPUTIME_ID);
  block->first = span.first;
  block->count = 0;
  block->failed = 0;
  block->bytes = 0;
  block->integration = 0.0;
  block->broken = false;
  hand->span = span;
  if (hand->convoy != NULL) {
    run_side_by_side(hand, block);
  } else {
    run_singly(hand, block);
  }
  block->seconds = hand_clock(CLOCK_THREAD_CPUTIME_ID) - began;
}

static bool is_side_by_side(const struct plan *plan) {
  return plan->base.simulation.method == METHOD_ROSENBROCK;
}

int64_t hand_least(const struct plan *plan) {
  return is_side_by_side(plan) ? 6 * CONVOY_PLACES : 1;
}

bool hand_open(struct hand *hand, struct shop *shop, struct error *error) {
  const struct plan *plan = shop->order.plan;
  hand->shop = shop;
  if (!is_side_by_side(plan)) {
    hand->workspace = run_workspace_new(plan->base.plant, false, error);
    return hand->workspace != NULL && case_copy(&plan->base, &hand->own, error);
  }
  hand->convoy = convoy_new(plan->base.plant, error);
  for (int i = 0; hand->convoy != NULL && i < CONVOY_PLACES; i++) {
    if (!case_copy(&plan->base, &hand->riders[i], error)) {
      return false;
    }
  }
  return hand->convoy != NULL;
}

void hand_close(struct hand *hand) {
  run_workspace_free(hand->workspace);
  run_workspace_free(hand->teller);
  convoy_free(hand->convoy);
  outcome_free(&hand->outcome);
  free(hand->rows);
  if (hand->own.memory != NULL) {
    case_free(&hand->own);
  }
  for (int i = 0; i < CONVOY_PLACES; i++) {
    if (hand->riders[i].memory != NULL) {
      case_free(&hand->riders[i]);
    }
  }
}
