#include "odds_runs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "draw.h"
#include "fates.h"
#include "journal.h"
#include "provenance.h"
#include "worker.h"

enum { PATH_LIMIT = 4096 };

/* s between two times that the journal is brought to the disk. */
#define SYNC_PAUSE 0.25

struct odds_runs {
  struct odds_runs_order order;
  struct probe *probe;
  char journal_path[PATH_LIMIT];
  struct journal journal;
  bool has_journal;
  double synced; /* s */
  struct row_shape shape;
  int cells;
  int width; /* fates of a case */
  double *numbers;
  /* Of every case, [case] and [case][fate]; `known` 0: not run. */
  double *margins;
  unsigned char *fates;
  unsigned char *known;
  int64_t room;  /* cases */
  int64_t asked; /* cases before those of the order under way */
  int64_t count; /* points that are there */
  int64_t before;
  double busy; /* s */
  bool stopped;
};

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the runs");
}

/* Room for the cases below `cases`. */
static bool make_room(struct odds_runs *runs, int64_t cases, struct error *error) {
  if (cases <= runs->room) {
    return true;
  }
  int64_t room = cases > 2 * runs->room ? cases : 2 * runs->room;
  double *margins = realloc(runs->margins, (size_t)room * sizeof *margins);
  runs->margins = margins != NULL ? margins : runs->margins;
  unsigned char *fates = realloc(runs->fates, (size_t)room * (size_t)runs->width);
  runs->fates = fates != NULL ? fates : runs->fates;
  unsigned char *known = realloc(runs->known, (size_t)room);
  runs->known = known != NULL ? known : runs->known;
  if (margins == NULL || fates == NULL || known == NULL) {
    return no_memory(error);
  }
  memset(known + runs->room, 0, (size_t)(room - runs->room));
  runs->room = room;
  return true;
}

/* Rows of consecutive cases from `first` on. */
static bool take_rows(struct odds_runs *runs, int64_t first, int64_t count, const unsigned char *payload, size_t bytes,
                      struct error *error) {
  size_t used = 0;
  if (first < 0 || count < 0 || first > PLAN_CASE_LIMIT || !make_room(runs, first + count, error)) {
    return error->code != ERROR_NONE || error_set(error, ERROR_INPUT, "%s is damaged", runs->journal_path);
  }
  for (int64_t i = 0; i < count; i++) {
    struct row row;
    size_t took = row_decode(runs->shape, payload + used, bytes - used, runs->numbers, &row);
    if (took == 0) {
      return error_set(error, ERROR_INPUT, "%s is damaged", runs->journal_path);
    }
    row.k = first + i; /* it counts within the points that were asked for together */
    runs->margins[first + i] =
        fates_of_row(runs->order.review, &row, runs->fates + (size_t)(first + i) * (size_t)runs->width);
    runs->known[first + i] = 1;
    used += took;
  }
  return true;
}

/* ---- the journal ---- */

static bool read_journal(struct odds_runs *runs, struct error *error) {
  bool good = true;
  for (int64_t b = 0; good && b < runs->journal.block_count; b++) {
    const struct journal_block *block = &runs->journal.blocks[b];
    unsigned char *payload = malloc((size_t)block->bytes + 1);
    good = payload != NULL ? journal_read(&runs->journal, block, payload, error) : no_memory(error);
    good = good && take_rows(runs, block->first, block->count, payload, block->bytes, error);
    free(payload);
  }
  while (runs->before < runs->room && runs->known[runs->before] != 0) {
    runs->before++;
  }
  runs->before /= runs->cells;
  return good;
}

static bool open_journal(struct odds_runs *runs, struct error *error) {
  const struct odds_runs_order *order = &runs->order;
  struct journal_head head = {0};
  if (order->output == NULL) {
    return true;
  }
  memset(&head, 0, sizeof head);
  uint64_t parts[2] = {plan_fingerprint(&order->review->plan), order->method};
  head.study = draw_hash(DRAW_HASH_START, parts, sizeof parts);
  head.arithmetic = journal_arithmetic();
  head.shards = 1;
  head.measures = runs->shape.measures;
  head.limits = runs->shape.limits;
  (void)provenance_program(head.program);
  if (snprintf(runs->journal_path, PATH_LIMIT, "%s.journal", order->output) >= PATH_LIMIT) {
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", order->output);
  }
  runs->has_journal = journal_begin(&runs->journal, runs->journal_path, order->resume, &head, error);
  return runs->has_journal && read_journal(runs, error);
}

static bool sync_now(struct odds_runs *runs, struct error *error) {
  runs->synced = worker_clock(CLOCK_MONOTONIC);
  return !runs->has_journal || journal_sync(&runs->journal, error);
}

/* ---- running ---- */

struct odds_runs *odds_runs_open(const struct odds_runs_order *order, struct error *error) {
  struct odds_runs *runs = calloc(1, sizeof *runs);
  struct plan *plan = &order->review->plan;
  if (runs == NULL) {
    no_memory(error);
    return NULL;
  }
  plan->measures[0] = measure_find("vouched");
  plan->measure_count = 1;
  plan->keep = (struct keep){0};
  plan->arrangement = ARRANGE_POINTS;
  plan->points = NULL;
  plan->samples = 0;
  runs->order = *order;
  runs->shape = row_shape_of(plan);
  runs->cells = plan_base_count(plan);
  runs->width = order->review->limit_count + 1;
  runs->numbers = calloc((size_t)row_number_count(runs->shape), sizeof *runs->numbers);
  bool good = (runs->numbers != NULL || no_memory(error)) && make_room(runs, 1, error) && open_journal(runs, error);
  if (good) {
    runs->probe = probe_open_varied(order->review, order->jobs, error);
  }
  if (runs->probe == NULL) {
    odds_runs_close(runs);
    return NULL;
  }
  return runs;
}

static bool take_block(void *context, const struct pool_block *block, struct error *error) {
  struct odds_runs *runs = context;
  int64_t first = runs->asked + block->first;
  runs->busy += block->integration;
  if (block->count == 0) {
    return true;
  }
  bool good =
      take_rows(runs, first, block->count, block->payload, block->bytes, error) &&
      (!runs->has_journal || journal_append(&runs->journal, first, block->count, block->payload, block->bytes, error));
  if (good && worker_clock(CLOCK_MONOTONIC) - runs->synced > SYNC_PAUSE) {
    good = sync_now(runs, error);
  }
  int64_t there = runs->asked;
  while (there < runs->room && runs->known[there] != 0) {
    there++;
  }
  if (runs->order.progress != NULL) {
    runs->order.progress(runs->order.context, there / runs->cells);
  }
  return good;
}

static bool wants_stop(void *context) {
  const struct odds_runs *runs = context;
  return runs->order.stop != NULL && runs->order.stop(runs->order.context);
}

/* The worst of all cells into the place of the first. */
static void join_cells(struct odds_runs *runs, int64_t point) {
  int64_t first = point * runs->cells;
  unsigned char *own = runs->fates + (size_t)first * (size_t)runs->width;
  for (int c = 1; c < runs->cells; c++) {
    const unsigned char *other = own + (size_t)c * (size_t)runs->width;
    for (int f = 0; f < runs->width; f++) {
      own[f] = other[f] > own[f] ? other[f] : own[f];
    }
    runs->margins[first] = fmin(runs->margins[first], runs->margins[first + c]);
  }
}

static int64_t span_of(const struct odds_runs *runs, int64_t cases) {
  int64_t least = worker_least_span(&runs->order.review->plan);
  int64_t span = cases / (8 * (int64_t)runs->order.jobs);
  span = span > least ? span : least;
  return span < SPAN_LIMIT ? span : SPAN_LIMIT;
}

bool odds_runs_ask(struct odds_runs *runs, const double *values, int64_t count, struct error *error) {
  int64_t first = runs->count;
  int64_t known = 0;
  if (runs->stopped || !make_room(runs, (first + count) * runs->cells, error)) {
    return runs->stopped;
  }
  for (int64_t c = first * runs->cells; known < count && runs->known[c] != 0; c++) {
    known = (c + 1) / runs->cells - first;
  }
  runs->asked = (first + known) * runs->cells;
  struct probe_order order = {.values = values + known * runs->order.review->plan.axis_count,
                              .count = count - known,
                              .span = span_of(runs, (count - known) * runs->cells),
                              .context = runs,
                              .take = take_block,
                              .stop = wants_stop};
  runs->stopped = wants_stop(runs);
  bool good = runs->stopped || order.count == 0 || probe_run(runs->probe, &order, &runs->stopped, error);
  if (runs->stopped || worker_clock(CLOCK_MONOTONIC) - runs->synced > SYNC_PAUSE) {
    good = sync_now(runs, error) && good;
  }
  for (int64_t c = first * runs->cells; runs->count < first + count && runs->known[c] != 0; c++) {
    if ((c + 1) % runs->cells == 0) {
      join_cells(runs, runs->count);
      runs->count++;
    }
  }
  return good;
}

int64_t odds_runs_count(const struct odds_runs *runs) {
  return runs->count;
}

int64_t odds_runs_before(const struct odds_runs *runs) {
  return runs->before < runs->count ? runs->before : runs->count;
}

bool odds_runs_stopped(const struct odds_runs *runs) {
  return runs->stopped;
}

double odds_runs_margin(const struct odds_runs *runs, int64_t point) {
  return runs->margins[point * runs->cells];
}

const unsigned char *odds_runs_fates(const struct odds_runs *runs, int64_t point) {
  return runs->fates + (size_t)(point * runs->cells) * (size_t)runs->width;
}

double odds_runs_busy(const struct odds_runs *runs) {
  return runs->busy;
}

void odds_runs_drop_journal(struct odds_runs *runs) {
  if (runs->has_journal) {
    (void)unlink(runs->journal_path);
  }
}

void odds_runs_close(struct odds_runs *runs) {
  if (runs == NULL) {
    return;
  }
  if (runs->probe != NULL) {
    probe_close(runs->probe);
  }
  if (runs->has_journal) {
    journal_close(&runs->journal);
  }
  free(runs->numbers);
  free(runs->margins);
  free(runs->fates);
  free(runs->known);
  free(runs);
}
