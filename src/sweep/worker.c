#include "worker.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "memory_watch.h"
#include "result_file.h"

/* A case that still runs this long after a stop is given up: it is run again when the sweep is taken up. */
#define PATIENCE 10.0

double worker_clock(clockid_t clock) {
  struct timespec now = {0, 0};
  (void)clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- one case ---- */

static bool has_patience(void *context, double time, double end_time) {
  const struct shared_state *shared = context;
  (void)time;
  (void)end_time;
  return !atomic_load(&shared->stopping) || worker_clock(CLOCK_MONOTONIC) - atomic_load(&shared->stopped_at) < PATIENCE;
}

/* A recorder that takes the lock for each block. */
struct kept_file {
  struct shared_state *shared;
  struct result_file *file;
};

static bool block_to_file(void *context, int count, const double *time, const double *const *values,
                          struct error *error) {
  struct kept_file *kept = context;
  pthread_mutex_lock(&kept->shared->file_lock);
  bool good = result_file_block(kept->file, count, time, values, error);
  pthread_mutex_unlock(&kept->shared->file_lock);
  return good;
}

static bool write_history(struct worker *worker, const struct case_data *data, const char *path, struct error *error) {
  struct shared_state *shared = worker->shared;
  struct outcome outcome = {0};
  pthread_mutex_lock(&shared->file_lock);
  struct kept_file kept = {shared, result_file_open(path, data, shared->order.command, error)};
  pthread_mutex_unlock(&shared->file_lock);
  if (kept.file == NULL) {
    return false;
  }
  struct recorder recorder = {&kept, block_to_file};
  bool good = run_in(worker->history_workspace, data, &recorder, NULL, &outcome, error);
  if (good && (outcome.error.code == ERROR_OUTPUT || outcome.error.code == ERROR_MEMORY)) {
    *error = outcome.error;
    good = false;
  }
  pthread_mutex_lock(&shared->file_lock);
  if (good) {
    good = result_file_close(kept.file, data, &outcome, DRAFT_NAME, error);
  } else {
    result_file_abandon(kept.file);
  }
  pthread_mutex_unlock(&shared->file_lock);
  outcome_free(&outcome);
  return good;
}

/* The case once more with its time histories: the same numbers, as a run file. */
static bool keep_history(struct worker *worker, int64_t k, struct error *error) {
  const struct plan *plan = worker->shared->order.plan;
  char path[4096];
  struct case_data data;
  if (snprintf(path, sizeof path, "%s/case_%06" PRId64 ".h5", worker->shared->order.runs_folder, k) >=
      (int)sizeof path) {
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", worker->shared->order.runs_folder);
  }
  worker->history_workspace =
      worker->history_workspace != NULL ? worker->history_workspace : run_workspace_new(plan->base.plant, true, error);
  if (worker->history_workspace == NULL || !plan_case(plan, k, &data, error)) {
    return false;
  }
  if (plan->keep.samples > 0) {
    data.simulation.output_step = fmax(data.simulation.output_step, data.simulation.end_time / plan->keep.samples);
  }
  bool good = write_history(worker, &data, path, error);
  case_free(&data);
  return good;
}

static bool is_kept(const struct plan *plan, int64_t k, const struct outcome *outcome) {
  const struct keep *keep = &plan->keep;
  if (outcome->status == RUN_INTERRUPTED) {
    return false; /* run to its end it would cost what it must not */
  }
  if (plan_keeps(plan, k) || (keep->failed && outcome->status == RUN_FAILED)) {
    return true;
  }
  bool whole = outcome->status == RUN_COMPLETE || outcome->status == RUN_STOPPED;
  for (int i = 0; whole && i < keep->condition_count; i++) {
    const struct condition *condition = &keep->conditions[i];
    double value = outcome->measures[condition->measure];
    if (condition->above ? value >= condition->level : value <= condition->level) {
      return true;
    }
  }
  return false;
}

/* Was memory refused to this span? Then what its cases give is no result of theirs, and not a failure either. */
static bool lacked_memory(const struct worker *worker, const struct error *why, struct error *error) {
  if (why->code == ERROR_MEMORY) {
    *error = *why;
    return true;
  }
  return memory_refusals_here() != worker->refusals && !memory_suffices(error);
}

/* The reason of the first limit that is not judged, "" where all are. */
static const char *why_not_judged(const struct outcome *outcome) {
  for (int i = 0; i < outcome->limit_count; i++) {
    if (outcome->limits[i].verdict == LIMIT_NOT_JUDGED) {
      return outcome->limits[i].why;
    }
  }
  return "";
}

/* A case has ended, or could not start: its row behind *bytes. False: no row, stop here. */
static bool make_row(struct worker *worker, int64_t k, bool ready, bool ran, struct outcome *outcome,
                     const struct error *why, struct pool_block *block, unsigned char *bytes, size_t *used) {
  const struct plan *plan = worker->shared->order.plan;
  if (!ran) {
    outcome->status = RUN_FAILED;
    outcome->error = *why;
    outcome->limit_count = 0;
    outcome->counts = (struct run_counts){0};
  } else {
    block->integration += outcome->counts.cpu_seconds;
  }
  struct error error = {0};
  if (lacked_memory(worker, &outcome->error, &error)) {
    block->broken = true;
    block->error = error;
    return false;
  }
  if (outcome->status == RUN_INTERRUPTED && !outcome->over_budget) {
    return false;
  }
  char spent[160];
  (void)snprintf(spent, sizeof spent, "unfinished: at t = %.6g s its budget of %.6g s of processor time was spent",
                 outcome->end_time, plan->case_budget);
  if (ready && is_kept(plan, k, outcome) && !keep_history(worker, k, &error) &&
      (ran || lacked_memory(worker, &error, &error))) {
    block->broken = true;
    block->error = error;
    return false;
  }
  const char *message = outcome->status == RUN_FAILED        ? outcome->error.text
                        : outcome->status == RUN_STOPPED     ? outcome->stop_words
                        : outcome->status == RUN_INTERRUPTED ? spent
                        : outcome->doubt[0] != '\0'          ? outcome->doubt
                                                             : why_not_judged(outcome);
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

static bool is_stopping(const struct worker *worker) {
  return atomic_load_explicit(&worker->shared->stopping, memory_order_relaxed);
}

static int64_t case_at(const struct worker *worker, int64_t within) {
  const struct pool_order *order = &worker->shared->order;
  return order->shard + (worker->span.first + within) * order->shards;
}

/* ---- one after the other ---- */

/* Run a case; its row goes behind the others of the block. False: no row, stop here. */
static bool run_one(struct worker *worker, int64_t k, struct pool_block *block) {
  const struct watcher watcher = {worker->shared, has_patience, worker->shared->order.plan->case_budget};
  struct error error = {0};
  size_t used = 0;
  const struct plan *plan = worker->shared->order.plan;
  int base = plan_base(plan, k);
  struct case_data *own = &worker->own[base];
  bool ready =
      (own->memory != NULL || case_copy(plan_base_case(plan, base), own, &error)) && plan_put(plan, k, own, &error);
  bool ran = ready && run_in(worker->workspace, own, NULL, &watcher, &worker->outcome, &error);
  if (!make_row(worker, k, ready, ran, &worker->outcome, &error, block, block->payload + block->bytes, &used)) {
    return false;
  }
  block->failed += worker->outcome.status == RUN_FAILED;
  block->bytes += used;
  block->count++;
  return true;
}

static void run_singly(struct worker *worker, struct pool_block *block) {
  size_t limit = row_bytes_limit(worker->shared->shape);
  for (int64_t i = 0; i < worker->span.count; i++) {
    if (is_stopping(worker) || !make_room(&block->payload, &block->room, block->bytes, limit, block) ||
        !run_one(worker, case_at(worker, i), block)) {
      break;
    }
  }
}

/* ---- side by side ---- */

/* Takes the outcome of the case at `within` into the worker's rows. */
static void take(struct worker *worker, int64_t within, bool ready, bool ran, struct outcome *outcome,
                 const struct error *error) {
  struct kept_row *row = &worker->kept[within];
  struct pool_block *block = worker->block;
  if (!make_room(&worker->rows, &worker->room, worker->used, row_bytes_limit(worker->shared->shape), block) ||
      !make_row(worker, case_at(worker, within), ready, ran, outcome, error, block, worker->rows + worker->used,
                &row->bytes)) {
    return;
  }
  row->offset = worker->used;
  row->failed = outcome->status == RUN_FAILED;
  worker->used += row->bytes;
}

static const struct case_data *next_lane_case(void *context, int place) {
  struct worker *worker = context;
  while (worker->dealt < worker->span.count && !is_stopping(worker) && !worker->block->broken) {
    int64_t within = worker->order[worker->dealt++].within;
    struct error error = {0};
    if (plan_put(worker->shared->order.plan, case_at(worker, within), &worker->lane_cases[place], &error)) {
      worker->lane_positions[place] = within;
      return &worker->lane_cases[place];
    }
    take(worker, within, false, false, &worker->outcome, &error);
  }
  return NULL;
}

static void lane_case_is_done(void *context, int place, bool ran, struct outcome *outcome, const struct error *error) {
  struct worker *worker = context;
  take(worker, worker->lane_positions[place], true, ran, outcome, error);
}

static int by_laws(const void *a_, const void *b_) {
  const struct worker_place *a = a_;
  const struct worker_place *b = b_;
  if (a->laws != b->laws) {
    return a->laws < b->laws ? -1 : 1;
  }
  return a->within < b->within ? -1 : 1;
}

/* The order in which the span's cases are given out. One that cannot be made is told of when its turn comes. */
static void put_in_order(struct worker *worker) {
  struct case_data *data = &worker->lane_cases[0];
  for (int64_t i = 0; i < worker->span.count; i++) {
    struct error error;
    bool ready = plan_put(worker->shared->order.plan, case_at(worker, i), data, &error);
    worker->order[i] = (struct worker_place){ready ? batch_laws(data) : 0, i};
  }
  qsort(worker->order, (size_t)worker->span.count, sizeof *worker->order, by_laws);
}

/* Rows come as cases end; into the block they go in the order of their positions, up to the first that is missing. */
static void run_side_by_side(struct worker *worker, struct pool_block *block) {
  const struct batch_cases cases = {worker, next_lane_case, lane_case_is_done};
  const struct watcher watcher = {worker->shared, has_patience, worker->shared->order.plan->case_budget};
  memset(worker->kept, 0, (size_t)worker->span.count * sizeof *worker->kept);
  put_in_order(worker);
  worker->dealt = 0;
  worker->used = 0;
  worker->block = block;
  batch_run(worker->batch, &cases, BATCH_LANES, &watcher);
  if (!make_room(&block->payload, &block->room, 0, worker->used, block)) {
    return;
  }
  for (int64_t i = 0; i < worker->span.count && worker->kept[i].bytes > 0; i++) {
    const struct kept_row *row = &worker->kept[i];
    memcpy(block->payload + block->bytes, worker->rows + row->offset, row->bytes);
    block->bytes += row->bytes;
    block->failed += row->failed;
    block->count++;
  }
}

void worker_run(struct worker *worker, struct span span, struct pool_block *block) {
  double began = worker_clock(CLOCK_THREAD_CPUTIME_ID);
  double since = worker_clock(CLOCK_MONOTONIC);
  block->first = span.first;
  block->count = 0;
  block->failed = 0;
  block->bytes = 0;
  block->integration = 0.0;
  block->broken = false;
  worker->refusals = memory_refusals_here();
  worker->span = span;
  if (worker->batch != NULL) {
    run_side_by_side(worker, block);
  } else {
    run_singly(worker, block);
  }
  block->seconds = worker_clock(CLOCK_THREAD_CPUTIME_ID) - began;
  block->wall = worker_clock(CLOCK_MONOTONIC) - since;
}

static bool is_side_by_side(const struct plan *plan) {
  return plan->cell_count == 0 && batch_takes(&plan->base);
}

int64_t worker_least_span(const struct plan *plan) {
  return is_side_by_side(plan) ? 6 * BATCH_LANES : 1;
}

bool worker_open(struct worker *worker, struct shared_state *shared, struct error *error) {
  const struct plan *plan = shared->order.plan;
  worker->shared = shared;
  if (!is_side_by_side(plan)) {
    worker->workspace = run_workspace_new(plan->base.plant, false, error);
    worker->own = worker->workspace != NULL ? calloc((size_t)plan_base_count(plan), sizeof *worker->own) : NULL;
    return worker->own != NULL || (worker->workspace != NULL && error_set(error, ERROR_MEMORY, "no memory for a case"));
  }
  worker->batch = batch_new(plan->base.plant, error);
  for (int i = 0; worker->batch != NULL && i < BATCH_LANES; i++) {
    if (!case_copy(&plan->base, &worker->lane_cases[i], error)) {
      return false;
    }
  }
  return worker->batch != NULL;
}

void worker_close(struct worker *worker) {
  run_workspace_free(worker->workspace);
  run_workspace_free(worker->history_workspace);
  batch_free(worker->batch);
  outcome_free(&worker->outcome);
  free(worker->rows);
  int bases = worker->own != NULL ? plan_base_count(worker->shared->order.plan) : 0;
  for (int i = 0; i < bases; i++) {
    if (worker->own[i].memory != NULL) {
      case_free(&worker->own[i]);
    }
  }
  free(worker->own);
  for (int i = 0; i < BATCH_LANES; i++) {
    if (worker->lane_cases[i].memory != NULL) {
      case_free(&worker->lane_cases[i]);
    }
  }
}
