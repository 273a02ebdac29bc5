#include "sweep.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "provenance.h"
#include "sweep_state.h"
#include "table.h"
#include "worker.h"

double sweep_clock(clockid_t clock) {
  struct timespec now = {0, 0};
  (void)clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

int64_t sweep_shard_size(int64_t cases, int64_t shard, int64_t shards) {
  return shard < cases ? (cases - shard - 1) / shards + 1 : 0;
}

double sweep_patience(const struct sweep_order *order) {
  return order->patience > 0.0 ? order->patience : OTHERS_PATIENCE;
}

bool sweep_stops(const struct sweep_order *order) {
  return order->stop != NULL && order->stop(order->context);
}

bool sweep_keeps_any(const struct plan *plan) {
  const struct keep *keep = &plan->keep;
  return keep->all || keep->failed || keep->case_count > 0 || keep->condition_count > 0;
}

static bool is_there(const char *path) {
  struct stat status;
  return stat(path, &status) == 0;
}

/* ---- start ---- */

void sweep_head(struct sweep *sweep) {
  _Static_assert(sizeof sweep->head.program >= PROVENANCE_SIZE, "a whole text");
  const struct sweep_order *order = sweep->order;
  const struct plan *plan = order->plan;
  memset(&sweep->head, 0, sizeof sweep->head);
  sweep->head = (struct journal_head){.study = plan->fingerprint,
                                      .arithmetic = journal_arithmetic(),
                                      .cases = plan->cases,
                                      .shard = order->shard,
                                      .shards = order->shards,
                                      .measures = plan->measure_count,
                                      .limits = plan_limit_count(plan)};
  (void)provenance_program(sweep->head.program);
}

static bool make_paths(struct sweep *sweep) {
  const char *output = sweep->order->output;
  int journal = snprintf(sweep->journal_path, PATH_LIMIT, "%s.journal", output);
  return histories_folder(output, sweep->runs_folder, sweep->error) &&
         (journal < PATH_LIMIT || error_set(sweep->error, ERROR_OUTPUT, "%s: the path is too long", output));
}

static bool make_runs_folder(const struct sweep *sweep) {
  return !sweep_keeps_any(sweep->order->plan) || histories_make_folder(sweep->runs_folder, sweep->error);
}

/* A table of this very sweep may be there already: then nothing is left to do. */
static bool is_done_already(struct sweep *sweep, bool *done) {
  struct table_facts facts;
  *done = false;
  if (!sweep->order->resume || is_there(sweep->journal_path) || !is_there(sweep->order->output)) {
    return true;
  }
  const char *output = sweep->order->output;
  if (!table_facts(output, &facts, sweep->error)) {
    return false;
  }
  if (facts.study != sweep->head.study || facts.shard != sweep->head.shard || facts.shards != sweep->head.shards) {
    return error_set(sweep->error, ERROR_INPUT,
                     "%s is there, but it is no table of this study, and there is no journal to go on with", output);
  }
  if (strcmp(facts.program, sweep->head.program) != 0) {
    return error_set(sweep->error, ERROR_INPUT,
                     "%s is there, but written by %s; this is %s, whose numbers may differ: remove it to run all anew",
                     output, facts.program, sweep->head.program);
  }
  *done = true;
  sweep->report->there = true;
  sweep->report->done = sweep->report->wanted;
  sweep->report->before = sweep->report->wanted;
  sweep->report->failed = facts.failed;
  sweep->report->side_by_side = facts.side_by_side;
  return true;
}

/* Rows of an earlier table into the journal. */
static bool take_earlier(struct sweep *sweep) {
  const struct sweep_order *order = sweep->order;
  struct earlier_order wish = {order->earlier, order->plan, &sweep->head, sweep->runs_folder};
  return order->earlier == NULL ||
         (make_runs_folder(sweep) && earlier_take(&wish, &sweep->journal, &sweep->report->earlier, sweep->error));
}

bool sweep_count_earlier(const struct sweep_order *order, struct earlier_report *report, struct error *error) {
  struct sweep sweep = {.order = order, .error = error};
  sweep_head(&sweep);
  struct earlier_order wish = {order->earlier, order->plan, &sweep.head, sweep.runs_folder};
  return make_paths(&sweep) && earlier_take(&wish, NULL, report, error);
}

/* ---- rows ---- */

static void take_rows(struct sweep *sweep, const struct message_head *block, const void *payload) {
  work_queue_learn(&sweep->queue, block->count, block->seconds);
  sweep->report->busy += block->seconds;
  sweep->report->integration += block->integration;
  sweep->report->worked += block->wall;
  if (block->count == 0 || sweep->broken) {
    return;
  }
  if (!journal_append(&sweep->journal, block->first, block->count, payload, (size_t)block->bytes, sweep->error)) {
    sweep->broken = true;
    return;
  }
  sweep->unsynced = true;
  sweep->report->done += block->count;
  sweep->report->failed += block->failed;
}

struct message_head sweep_message(const struct pool_block *block) {
  return (struct message_head){.first = block->first,
                               .count = block->count,
                               .failed = block->failed,
                               .seconds = block->seconds,
                               .integration = block->integration,
                               .wall = block->wall,
                               .bytes = (int32_t)block->bytes};
}

/* Everything that has finished, waiting up to `seconds` for the first. */
static void take_finished(struct sweep *sweep, double seconds) {
  struct pool_block *block;
  while ((block = pool_take(sweep->pool, seconds)) != NULL) {
    struct message_head message = sweep_message(block);
    take_rows(sweep, &message, block->payload);
    sweep->pause = SLEEP_RANKS_LEAST;
    if (block->broken && !sweep->broken) {
      sweep->broken = true;
      *sweep->error = block->error;
    }
    pool_return(sweep->pool, block);
    seconds = 0.0;
  }
  double now = sweep_clock(CLOCK_MONOTONIC);
  if (sweep->unsynced && !sweep->broken && now - sweep->synced >= SYNC_SECONDS) {
    sweep->broken = !journal_sync(&sweep->journal, sweep->error);
    sweep->unsynced = false;
    sweep->synced = now;
  }
}

static void feed(struct sweep *sweep) {
  struct span span;
  for (int wanted = pool_wants(sweep->pool); wanted > 0 && work_queue_take(&sweep->queue, &span); wanted--) {
    pool_give(sweep->pool, span);
  }
}

/* ---- other ranks ---- */

static void send_plain(const struct communicator *communicator, int to, enum message_kind kind) {
  struct message_head message = {0};
  communicator->send(communicator->context, to, kind, &message, NULL);
}

/* Rows of both would not be one table. */
static bool fits(struct sweep *sweep, int from, const struct message_head *ask, const char *program) {
  size_t length = strlen(sweep->head.program);
  if (ask->bytes > 0 && ((size_t)ask->bytes != length || memcmp(program, sweep->head.program, length) != 0)) {
    return error_set(sweep->error, ERROR_INPUT, "rank %d is %.*s; rank 0 is %s: all ranks must run the same program",
                     from, (int)fmin(ask->bytes, sizeof sweep->head.program), program, sweep->head.program);
  }
  return ask->first == (int64_t)sweep->order->plan->fingerprint ||
         error_set(sweep->error, ERROR_INPUT, "rank %d reads another study or case under the same name", from);
}

/* Rank 0 is heard of by its answers, or by this. */
static void show_life(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  double now = sweep_clock(CLOCK_MONOTONIC);
  if (now - sweep->alive < sweep->others.patience / 10.0) {
    return;
  }
  sweep->alive = now;
  for (int rank = 1; rank < communicator->size; rank++) {
    if (!sweep->others.list[rank].gone) {
      send_plain(communicator, rank, MESSAGE_ALIVE);
    }
  }
}

/* A rank that says nothing more: its spans are dealt again. Should it come back, it is told to end. */
static void give_up(struct sweep *sweep, int rank) {
  const struct communicator *communicator = sweep->order->communicator;
  struct other *other = &sweep->others.list[rank];
  sweep->away--;
  sweep->report->lost_ranks++;
  for (int i = 0; i < other->span_count && !sweep->broken; i++) {
    sweep->broken = !work_queue_return(&sweep->queue, other->spans[i], sweep->error);
  }
  send_plain(communicator, rank, MESSAGE_STOP);
  if (communicator->lose != NULL) {
    communicator->lose(communicator->context, rank);
  }
}

static void look_for_silence(struct sweep *sweep) {
  int rank;
  show_life(sweep);
  while ((rank = others_silent(&sweep->others, sweep_clock(CLOCK_MONOTONIC))) > 0) {
    give_up(sweep, rank);
  }
}

static void answer(struct sweep *sweep, int from, const struct message_head *ask, const void *program) {
  const struct communicator *communicator = sweep->order->communicator;
  struct span span;
  if (!sweep->broken && !fits(sweep, from, ask, program)) {
    sweep->broken = true;
    sweep->stopping = true;
  }
  if (sweep->stopping || !work_queue_take(&sweep->queue, &span)) {
    send_plain(communicator, from, MESSAGE_END);
    return;
  }
  struct message_head message = {.first = span.first, .count = span.count};
  if (!others_gave(&sweep->others, from, span, sweep->error)) {
    sweep->broken = true;
  }
  communicator->send(communicator->context, from, MESSAGE_SPAN, &message, NULL);
}

static void say_goodbye(struct sweep *sweep, int from, const struct message_head *message, const void *why) {
  sweep->away--;
  sweep->others.list[from].gone = true;
  sweep->report->busy += message->seconds;
  sweep->stopping = sweep->stopping || message->flag != 0;
  if (message->flag >= 2 && !sweep->broken) {
    sweep->broken = true;
    error_set(sweep->error, message->flag == 3 ? ERROR_MEMORY : ERROR_OUTPUT, "%.*s", message->bytes,
              (const char *)why);
  }
}

/* Often while something is under way, then ever less often. */
double sweep_pause(const struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  bool busy = communicator != NULL && communicator->busy != NULL && communicator->busy(communicator->context);
  return busy ? SLEEP_RANKS_LEAST : fmin(2.0 * sweep->pause, SLEEP_RANKS_MOST);
}

static void take_message(struct sweep *sweep, int from, enum message_kind kind, const struct message_head *message,
                         const void *payload) {
  sweep->others.list[from].heard = sweep_clock(CLOCK_MONOTONIC);
  switch (kind) {
  case MESSAGE_ASK:
    answer(sweep, from, message, payload);
    break;
  case MESSAGE_HISTORY:
    if (!sweep->broken &&
        !others_take_history(&sweep->others, from, message, payload, sweep->runs_folder, sweep->error)) {
      sweep->broken = true;
    }
    break;
  case MESSAGE_ROWS:
    others_returned(&sweep->others, from, message->first);
    take_rows(sweep, message, payload);
    break;
  case MESSAGE_BYE:
    say_goodbye(sweep, from, message, payload);
    break;
  default:
    break;
  }
}

static void listen(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  struct message_head message;
  enum message_kind kind;
  const void *payload;
  int from;
  sweep->pause = sweep_pause(sweep);
  while (communicator != NULL && communicator->receive(communicator->context, &from, &kind, &message, &payload)) {
    sweep->pause = SLEEP_RANKS_LEAST;
    if (!sweep->others.list[from].gone) { /* its cases are others' by now */
      take_message(sweep, from, kind, &message, payload);
    }
  }
  if (communicator != NULL) {
    look_for_silence(sweep);
  }
}

static void stop_all(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  pool_stop(sweep->pool);
  for (int rank = 1; !sweep->told && communicator != NULL && rank < communicator->size; rank++) {
    send_plain(communicator, rank, MESSAGE_STOP);
  }
  sweep->told = true;
}

/* ---- the dealing loop ---- */

static void show(const struct sweep *sweep) {
  const struct sweep_report *report = sweep->report;
  double gone = sweep_clock(CLOCK_MONOTONIC) - sweep->began;
  int64_t done = report->done - report->before;
  struct sweep_progress progress = {report->done, report->wanted, report->failed, 0.0, NAN};
  if (gone > 0.0 && done > 0) {
    progress.rate = (double)done / gone;
    progress.left = (double)(report->wanted - report->done) / progress.rate;
  }
  if (sweep->order->progress != NULL) {
    sweep->order->progress(sweep->order->context, &progress);
  }
}

static void deal(struct sweep *sweep) {
  const struct sweep_order *order = sweep->order;
  for (;;) {
    if (!sweep->stopping && sweep_stops(order)) {
      sweep->stopping = true;
    }
    if (sweep->stopping || sweep->broken) {
      sweep->stopping = true;
      stop_all(sweep);
    } else {
      feed(sweep);
    }
    listen(sweep);
    if (sweep->away == 0 && pool_idle(sweep->pool) && (sweep->stopping || sweep->queue.left == 0)) {
      break;
    }
    take_finished(sweep, order->communicator != NULL ? sweep->pause : SLEEP_ALONE);
    show(sweep);
  }
  sweep->synced = 0.0;
  take_finished(sweep, 0.0);
}

struct pool *sweep_pool(struct sweep *sweep) {
  const struct sweep_order *order = sweep->order;
  struct pool_order wish = {order->plan, order->jobs, order->shard, order->shards, sweep->runs_folder, order->command};
  return pool_new(&wish, sweep->error);
}

/* Rank 0, or alone: the journal is open. */
static bool run_dealer(struct sweep *sweep) {
  const struct sweep_order *order = sweep->order;
  int workers = order->jobs * (order->communicator != NULL ? order->communicator->size : 1);
  sweep->report->dropped_bytes = sweep->journal.cut;
  sweep->report->damaged_bytes = sweep->journal.damaged;
  sweep->report->lost_cases = sweep->journal.lost;
  sweep->report->before = sweep->journal.rows;
  sweep->report->done = sweep->journal.rows;
  if (!journal_sort(&sweep->journal, sweep->error) ||
      !work_queue_open(&sweep->queue, sweep->report->wanted, &sweep->journal, workers, worker_least_span(order->plan),
                       sweep->error)) {
    return false;
  }
  sweep->queue.span_least = order->communicator != NULL ? SPAN_SECONDS_RANKS : 0.0;
  sweep->pool = make_runs_folder(sweep) ? sweep_pool(sweep) : NULL;
  if (sweep->pool == NULL) {
    return false;
  }
  deal(sweep);
  pool_free(sweep->pool);
  return !sweep->broken;
}

static bool write_table(struct sweep *sweep) {
  const struct sweep_order *order = sweep->order;
  struct sweep_report *report = sweep->report;
  if (!journal_sort(&sweep->journal, sweep->error) ||
      !(order->write != NULL ? order->write(order, &sweep->head, &sweep->journal, &report->failed, sweep->error)
                             : table_write(order->output, order->plan, &sweep->head, &sweep->journal, order->command,
                                           &report->failed, &report->side_by_side, sweep->error))) {
    return false;
  }
  (void)unlink(sweep->journal_path);
  return true;
}

/* Other ranks wait for spans: when nothing starts here, they must be told. */
static void dismiss(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  if (communicator == NULL) {
    return;
  }
  sweep->stopping = true;
  for (int rank = 1; rank < communicator->size; rank++) {
    send_plain(communicator, rank, MESSAGE_STOP);
  }
  while (sweep->away > 0) {
    const struct timespec pause = {0, 2000000};
    listen(sweep);
    (void)nanosleep(&pause, NULL);
  }
}

static bool run_first(struct sweep *sweep) {
  bool done = false;
  sweep_head(sweep);
  if (!make_paths(sweep) || !is_done_already(sweep, &done)) {
    dismiss(sweep);
    return false;
  }
  if (done) {
    dismiss(sweep);
    return true;
  }
  bool opened = journal_begin(&sweep->journal, sweep->journal_path, sweep->order->resume, &sweep->head, sweep->error);
  sweep->broken = !opened || !take_earlier(sweep); /* ranks that are dismissed must not fill the error anew */
  if (sweep->broken) {
    if (opened && sweep->journal.rows == 0) { /* begun for nothing */
      (void)unlink(sweep->journal_path);
    }
    journal_close(&sweep->journal);
    dismiss(sweep);
    return false;
  }
  bool good = run_dealer(sweep);
  if (sweep->pool == NULL) {
    sweep->broken = true;
    dismiss(sweep);
  }
  sweep->report->stopped = sweep->report->done < sweep->report->wanted;
  if (good && !sweep->report->stopped) {
    good = write_table(sweep);
  }
  work_queue_close(&sweep->queue);
  journal_close(&sweep->journal);
  return good;
}

/* ---- all ---- */

/* Rank 0 keeps account of the others. */
static bool await_others(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  if (communicator == NULL) {
    return true;
  }
  sweep->away = communicator->size - 1;
  return others_open(&sweep->others, communicator->size, sweep_patience(sweep->order), sweep_clock(CLOCK_MONOTONIC),
                     sweep->error);
}

void sweep_absent(const struct communicator *communicator, const char *why) {
  if (communicator != NULL && communicator->rank > 0) {
    sweep_say_bye(communicator, 2, 0.0, why);
  } else if (communicator != NULL) {
    struct error ignored;
    struct sweep_report report = {0};
    struct sweep_order order = {.communicator = communicator};
    struct sweep sweep = {.order = &order, .report = &report, .error = &ignored, .broken = true};
    if (await_others(&sweep)) {
      dismiss(&sweep);
    }
    others_close(&sweep.others);
  }
}

bool sweep_run(const struct sweep_order *order, struct sweep_report *report, struct error *error) {
  struct sweep sweep = {.order = order,
                        .report = report,
                        .error = error,
                        .began = sweep_clock(CLOCK_MONOTONIC),
                        .dealing = sweep_clock(CLOCK_THREAD_CPUTIME_ID),
                        .pause = SLEEP_RANKS_LEAST};
  sweep.journal.descriptor = -1;
  *report = (struct sweep_report){.wanted = sweep_shard_size(order->plan->cases, order->shard, order->shards)};
  bool good = order->communicator != NULL && order->communicator->rank > 0 ? sweep_rank_run(&sweep)
                                                                           : await_others(&sweep) && run_first(&sweep);
  others_close(&sweep.others);
  report->seconds = sweep_clock(CLOCK_MONOTONIC) - sweep.began;
  /* The journal and the table count, too. */
  report->busy += sweep_clock(CLOCK_THREAD_CPUTIME_ID) - sweep.dealing;
  return good;
}
