/* The runs of a tuning: all cells at one set of settings, kept in memory and, while it is under way, on the disk. */
#include "tuning.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "provenance.h"

/* A setting that can be made, in steps: no further off than this it is meant. */
#define ON_STEP 1e-9

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the runs");
}

/* ---- the journal ---- */

static bool open_journal(struct tuning *tuning, const char *path, bool resume, struct error *error) {
  const struct plan *plan = &tuning->review.plan;
  struct journal_head head = {.study = tuning->fingerprint,
                              .arithmetic = journal_arithmetic(),
                              .cases = PLAN_CASE_LIMIT,
                              .shards = 1,
                              .measures = plan->measure_count,
                              .limits = plan_limit_count(plan)};
  _Static_assert(sizeof head.program >= PROVENANCE_SIZE, "a whole text");
  (void)provenance_program(head.program);
  bool good =
      journal_begin(&tuning->journal, path, resume, &head, error) && (!resume || journal_sort(&tuning->journal, error));
  tuning->journaled = good;
  return good;
}

bool tuning_begin(struct tuning *tuning, int jobs, const char *journal_path, bool resume, struct error *error) {
  struct probe_axis axes[SEARCH_VARIABLES];
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    double low = setting->value_count > 0 ? setting->values[0] : setting->from;
    double high = setting->value_count > 0 ? low : setting->to;
    for (int v = 1; v < setting->value_count; v++) {
      low = fmin(low, setting->values[v]);
      high = fmax(high, setting->values[v]);
    }
    axes[i] = (struct probe_axis){setting->path, low, high, true};
  }
  if (journal_path != NULL && !open_journal(tuning, journal_path, resume, error)) {
    return false;
  }
  tuning->probe = probe_open(&tuning->review, axes, tuning->setting_count, jobs, error);
  return tuning->probe != NULL;
}

void tuning_end(struct tuning *tuning) {
  if (tuning->probe != NULL) {
    probe_close(tuning->probe);
    tuning->probe = NULL;
  }
  if (tuning->journaled) {
    journal_close(&tuning->journal);
    tuning->journaled = false;
  }
}

/* ---- one run ---- */

static size_t run_length(const struct tuning *tuning) {
  size_t cells = (size_t)tuning->review.plan.cell_count;
  return (size_t)tuning->setting_count + cells + cells * (size_t)tuning->measure_count + (size_t)tuning->flat_count;
}

const double *tuning_measured(const struct tuning *tuning, int run, int place) {
  return tuning->runs[run].measures + (size_t)place * (size_t)tuning->review.plan.cell_count;
}

/* Room for one more; NULL without memory. */
static struct tuning_run *new_run(struct tuning *tuning) {
  if (tuning->run_count == tuning->run_room) {
    int room = tuning->run_room > 0 ? 2 * tuning->run_room : 64;
    struct tuning_run *larger = realloc(tuning->runs, (size_t)room * sizeof *tuning->runs);
    if (larger == NULL) {
      return NULL;
    }
    tuning->runs = larger;
    tuning->run_room = room;
  }
  double *block = calloc(run_length(tuning), sizeof *block);
  if (block == NULL) {
    return NULL;
  }
  size_t cells = (size_t)tuning->review.plan.cell_count;
  struct tuning_run *run = &tuning->runs[tuning->run_count++];
  run->values = block;
  run->verdicts = run->values + tuning->setting_count;
  run->measures = run->verdicts + cells;
  run->margins = run->measures + cells * (size_t)tuning->measure_count;
  return run;
}

/* What hears the cells of a run. */
struct hearing {
  const struct tuning *tuning;
  const struct tuning_run *run;
  double *margins; /* [limit of the review], for one cell */
};

static void hear(void *context, int point, int cell, const struct row *row) {
  struct hearing *hearing = context;
  const struct tuning *tuning = hearing->tuning;
  const struct tuning_run *run = hearing->run;
  int cells = tuning->review.plan.cell_count;
  (void)point;
  run->verdicts[cell] = review_judge(&tuning->review, row, hearing->margins).verdict;
  for (int m = 0; m < tuning->measure_count; m++) {
    run->measures[m * cells + cell] = row->numbers[tuning->measures[m]];
  }
  for (int i = 0; i < tuning->flat_count; i++) {
    if (tuning->flat_cell[i] == cell) {
      run->margins[i] = hearing->margins[tuning->flat[i]];
    }
  }
}

/* The run of this number from the journal. False: it has none; `error` is filled where that is no answer. */
static bool take_up(struct tuning *tuning, int number, struct tuning_run *run, struct error *error) {
  size_t bytes = run_length(tuning) * sizeof(double);
  const struct journal_block *block = NULL;
  for (int64_t i = 0; tuning->journaled && i < tuning->journal.block_count; i++) {
    block = tuning->journal.blocks[i].first == number ? &tuning->journal.blocks[i] : block;
  }
  if (block == NULL) {
    return false;
  }
  double *old = malloc(bytes);
  if (old == NULL) {
    return no_memory(error);
  }
  bool good = (block->bytes == bytes ||
               error_set(error, ERROR_INPUT, "%s: run %d is no run of this tuning", tuning->journal.path, number));
  good = good && journal_read(&tuning->journal, block, old, error);
  for (int i = 0; good && i < tuning->setting_count; i++) { /* the search is the same, so it asks the same */
    good = old[i] == run->values[i] || (isnan(old[i]) && isnan(run->values[i])) ||
           error_set(error, ERROR_INPUT, "%s: run %d is of other settings", tuning->journal.path, number);
  }
  if (good) {
    memcpy(run->values, old, bytes);
  }
  free(old);
  return good;
}

static bool make(struct tuning *tuning, const struct tuning_run *run, struct error *error) {
  struct hearing hearing = {tuning, run, NULL};
  hearing.margins = calloc((size_t)tuning->review.limit_count + 1, sizeof *hearing.margins);
  if (hearing.margins == NULL) {
    return no_memory(error);
  }
  const struct probe_listener listener = {&hearing, hear};
  bool good = probe_listen(tuning->probe, run->values, 1, &listener, tuning->stop, error);
  free(hearing.margins);
  return good;
}

bool tuning_try(struct tuning *tuning, const double *values, int *number, struct error *error) {
  size_t bytes = (size_t)tuning->setting_count * sizeof *values;
  for (int i = 0; i < tuning->run_count; i++) { /* NaN and all: the same bits are the same settings */
    if (memcmp(tuning->runs[i].values, values, bytes) == 0) {
      *number = i;
      return true;
    }
  }
  struct tuning_run *run = new_run(tuning);
  if (run == NULL) {
    return no_memory(error);
  }
  *number = tuning->run_count - 1;
  memcpy(run->values, values, bytes);
  struct error fault = {0};
  bool old = take_up(tuning, *number, run, &fault);
  if (!old && fault.code != ERROR_NONE) {
    *error = fault;
    return false;
  }
  if (!old && !(make(tuning, run, error) &&
                (!tuning->journaled || (journal_append(&tuning->journal, *number, 1, run->values,
                                                       run_length(tuning) * sizeof(double), error) &&
                                        journal_sync(&tuning->journal, error))))) {
    return false;
  }
  tuning->taken_up += old;
  if (tuning->heard != NULL) {
    tuning->heard(tuning->context, tuning);
  }
  return true;
}

/* ---- what runs say ---- */

static double value_of(const struct tuning_setting *setting, int choice, const double *at) {
  if (setting->variable < 0) {
    return setting->values[choice / setting->stride % setting->value_count];
  }
  double share = at[setting->variable];
  double range = setting->to - setting->from;
  double steps = setting->step > 0.0 ? share * range / setting->step : NAN;
  if (fabs(steps - round(steps)) < ON_STEP * fmax(fabs(steps), 1.0)) {
    return setting->from + round(steps) * setting->step;
  }
  return share >= 1.0 ? setting->to : setting->from + share * range;
}

void tuning_values(const struct tuning *tuning, int choice, const double *at, double *values) {
  for (int i = 0; i < tuning->setting_count; i++) {
    values[i] = value_of(&tuning->settings[i], choice, at);
  }
}

static double tell_goal(const struct tuning *tuning, int run, const struct tuning_goal *goal) {
  int cells = tuning->review.plan.cell_count;
  const double *start = tuning_measured(tuning, tuning->start_run, goal->place);
  const double *measures = tuning_measured(tuning, run, goal->place);
  double sign = goal->most ? -1.0 : 1.0;
  double sum = 0.0;
  double worst = NAN;
  int count = 0;
  for (int c = 0; c < cells; c++) {
    if (!goal->cells[c] || isnan(start[c])) { /* what the start does not tell is no part of the goal */
      continue;
    }
    double value = sign * measures[c];
    worst = count == 0 ? value : isnan(value) || isnan(worst) ? NAN : fmax(worst, value);
    sum += value;
    count++;
  }
  return count == 0 ? NAN : goal->over == TUNING_WORST ? worst : sum / count;
}

double tuning_goal_of_run(const struct tuning *tuning, int goal, int number) {
  double margin = 0.0;
  if (tuning->goals[goal].of_margin) {
    (void)tuning_worst(tuning, number, &margin);
    return margin;
  }
  double value = tell_goal(tuning, number, &tuning->goals[goal]);
  return tuning->goals[goal].most ? -value : value;
}

void tuning_tell(const struct tuning *tuning, int number, struct search_point *point) {
  const struct tuning_run *run = &tuning->runs[number];
  int cells = tuning->review.plan.cell_count;
  for (int i = 0; i < tuning->flat_count; i++) {
    double margin = run->margins[i];
    double verdict = run->verdicts[tuning->flat_cell[i]];
    bool whole = verdict == REVIEW_KEPT || verdict == REVIEW_BROKEN;
    point->margins[i] = isnan(margin) || !whole ? TUNING_MISSING : fmax(margin, TUNING_MISSING);
  }
  for (int i = 0; i < tuning->condition_count; i++) {
    const struct tuning_same *same = &tuning->same[tuning->conditions[i] / cells];
    int cell = tuning->conditions[i] % cells;
    double before = tuning_measured(tuning, tuning->start_run, same->place)[cell];
    double off = fabs(tuning_measured(tuning, number, same->place)[cell] - before) / fabs(before);
    point->margins[tuning->flat_count + i] = isnan(off) ? TUNING_MISSING : same->within - off;
  }
  for (int g = 0; g < tuning->goal_count; g++) {
    if (!tuning->goals[g].of_margin) {
      point->goals[g] = tell_goal(tuning, number, &tuning->goals[g]);
    }
  }
}

int tuning_cells(const struct tuning *tuning, int run, enum review_verdict verdict) {
  int count = 0;
  for (int c = 0; c < tuning->review.plan.cell_count; c++) {
    count += tuning->runs[run].verdicts[c] == verdict;
  }
  return count;
}

int tuning_worst(const struct tuning *tuning, int run, double *margin) {
  int worst = -1;
  *margin = NAN;
  for (int i = 0; i < tuning->flat_count; i++) {
    double own = tuning->runs[run].margins[i];
    if (!isnan(own) && (worst < 0 || own < *margin)) {
      worst = i;
      *margin = own;
    }
  }
  return worst;
}

double tuning_margin(const struct tuning *tuning, int run, int limit, int *cell) {
  double least = NAN;
  *cell = -1;
  for (int i = 0; i < tuning->flat_count; i++) {
    double own = tuning->runs[run].margins[i];
    if (tuning->flat[i] == limit && !isnan(own) && (*cell < 0 || own < least)) {
      least = own;
      *cell = tuning->flat_cell[i];
    }
  }
  return least;
}
