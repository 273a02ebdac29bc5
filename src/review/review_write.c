/* The file of a review, from the journal of its sweep. */
#include "review_answer.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "answer_file.h"
#include "limit_margin.h"

/* All rows, taken apart. */
struct rows {
  const struct review *review;
  struct arena *memory;
  int cells;
  int limits;       /* that a cell has at the most */
  double *measures; /* [measure][cell] */
  double *worst;    /* [limit of the review][cell] */
  double *margins;
  const char **verdicts; /* [limit of the review][cell] */
  struct judgement *judgements;
  const char **states;
  const char **messages;
  int64_t failed;
};

static const char *const limit_words[] = {
    [ROW_BROKEN] = "broken", [ROW_KEPT] = "kept", [ROW_NOT_JUDGED] = "not judged"};

static bool make_rows(struct rows *rows, const struct review *review) {
  size_t cells = (size_t)review->plan.cell_count;
  size_t grid = cells * (size_t)review->limit_count + 1;
  *rows = (struct rows){.review = review,
                        .memory = arena_open(),
                        .cells = review->plan.cell_count,
                        .limits = plan_limit_count(&review->plan)};
  if (rows->memory == NULL) {
    return false;
  }
  rows->measures = arena_take(rows->memory, cells * MEASURE_COUNT * sizeof(double));
  rows->worst = arena_take(rows->memory, grid * sizeof(double));
  rows->margins = arena_take(rows->memory, grid * sizeof(double));
  rows->verdicts = arena_take(rows->memory, grid * sizeof(char *));
  rows->judgements = arena_take(rows->memory, cells * sizeof *rows->judgements);
  rows->states = arena_take(rows->memory, cells * sizeof(char *));
  rows->messages = arena_take(rows->memory, cells * sizeof(char *));
  if (rows->measures == NULL || rows->worst == NULL || rows->margins == NULL || rows->verdicts == NULL ||
      rows->judgements == NULL || rows->states == NULL || rows->messages == NULL) {
    return false;
  }
  for (size_t i = 0; i < grid; i++) {
    rows->worst[i] = NAN;
    rows->margins[i] = NAN;
    rows->verdicts[i] = "";
  }
  return true;
}

static bool take_row(struct rows *rows, const struct row *row) {
  const struct review *review = rows->review;
  const struct plan *plan = &review->plan;
  int cell = (int)row->k;
  size_t cells = (size_t)rows->cells;
  const struct case_data *data = plan_base_case(plan, cell);
  const int *places = review->places + (size_t)cell * (size_t)rows->limits;
  for (int m = 0; m < plan->measure_count; m++) {
    rows->measures[(size_t)m * cells + (size_t)cell] = row->numbers[m];
  }
  for (int i = 0; i < data->limit_count; i++) {
    size_t at = (size_t)places[i] * cells + (size_t)cell;
    rows->worst[at] = row->numbers[plan->measure_count + i];
    rows->margins[at] = limit_margin(data, &data->limits[i], rows->worst[at]);
    if (row->kept[i] == ROW_BROKEN && isnan(rows->margins[at])) {
      rows->margins[at] = -(double)INFINITY;
    } else if (row->kept[i] == ROW_NOT_JUDGED) {
      rows->margins[at] = NAN;
    }
    rows->verdicts[at] = limit_words[row->kept[i]];
  }
  rows->judgements[cell] = review_judge(review, row, NULL);
  rows->states[cell] = run_status_names[row->status];
  rows->messages[cell] = arena_text(rows->memory, row->message, (size_t)row->message_length);
  rows->failed += row->status == RUN_FAILED;
  return rows->messages[cell] != NULL;
}

static bool take_block(struct rows *rows, const struct journal *journal, const struct journal_block *block,
                       double *numbers, struct error *error) {
  struct row_shape shape = row_shape_of(&rows->review->plan);
  unsigned char *payload = malloc((size_t)block->bytes + 1);
  bool good = payload != NULL || error_set(error, ERROR_MEMORY, "no memory for the rows of the review");
  good = good && journal_read(journal, block, payload, error);
  size_t used = 0;
  for (int64_t i = 0; good && i < block->count; i++) {
    struct row row;
    size_t took = row_decode(shape, payload + used, block->bytes - used, numbers, &row);
    if (took == 0 || row.k != block->first + i || row.k >= rows->cells) {
      good =
          error_set(error, ERROR_INPUT, "%s: the row of cell %" PRId64 " is damaged", journal->path, block->first + i);
    } else if (!take_row(rows, &row)) {
      good = error_set(error, ERROR_MEMORY, "no memory for the rows of the review");
    }
    used += took;
  }
  free(payload);
  return good;
}

static bool take_rows(struct rows *rows, const struct journal *journal, struct error *error) {
  struct row_shape shape = row_shape_of(&rows->review->plan);
  double *numbers = arena_take(rows->memory, (size_t)row_number_count(shape) * sizeof(double));
  bool good = numbers != NULL || error_set(error, ERROR_MEMORY, "no memory for the rows of the review");
  for (int64_t i = 0; good && i < journal->block_count; i++) {
    good = take_block(rows, journal, &journal->blocks[i], numbers, error);
  }
  return good;
}

/* ---- the file ---- */

static struct answer_meaning meaning_of(const char *name, enum quantity quantity, enum reference reference,
                                        const char *text) {
  return (struct answer_meaning){{name, quantity, reference, text}, NULL};
}

static void write_axes(struct answer_file *file, const struct review *review) {
  struct answer_meaning of_case =
      meaning_of("review_case", QUANTITY_NUMBER, REFERENCE_NONE, "case of the review, from 0");
  struct answer_meaning of_condition =
      meaning_of("condition", QUANTITY_NUMBER, REFERENCE_NONE, "condition of the review, from 0");
  struct answer_meaning of_cell = meaning_of("cell", QUANTITY_NUMBER, REFERENCE_NONE,
                                             "case under a condition: case x number of conditions + condition");
  answer_axis(file, &of_case, review->case_count, NULL);
  answer_axis(file, &of_condition, review->condition_count, NULL);
  answer_axis(file, &of_cell, review->plan.cell_count, NULL);
  answer_texts(file, "case_name", "name of the case", "review_case", review->case_count, review->cases);
  answer_texts(file, "condition_name", "name of the condition", "condition", review->condition_count,
               review->conditions);
}

static bool write_cells(struct answer_file *file, const struct rows *rows, bool runs) {
  const struct review *review = rows->review;
  size_t cells = (size_t)rows->cells;
  double *margins = arena_take(rows->memory, cells * sizeof *margins);
  const char **texts = arena_take(rows->memory, 3 * cells * sizeof *texts);
  if (margins == NULL || texts == NULL || rows->judgements == NULL) {
    return false;
  }
  for (size_t i = 0; i < cells; i++) {
    const struct judgement *judgement = &rows->judgements[i];
    char path[64];
    (void)snprintf(path, sizeof path, "case_%06d.h5", (int)i);
    margins[i] = judgement->margin;
    texts[i] = review_verdict_names[judgement->verdict];
    texts[cells + i] = judgement->limit >= 0 ? review->limits[judgement->limit].sentence : "";
    texts[2 * cells + i] = runs ? arena_text(rows->memory, path, strlen(path)) : "";
    if (texts[2 * cells + i] == NULL) {
      return false;
    }
  }
  struct answer_meaning worst = meaning_of("worst_margin", QUANTITY_FRACTION, REFERENCE_NONE,
                                           "least margin of the cell's limits as a share of the limit's level; less "
                                           "than 0: broken, -inf: broken without a value");
  static const char *const axes[2] = {"review_case", "condition"};
  const int counts[2] = {review->case_count, review->condition_count};
  answer_grid(file, &worst, axes, counts, margins);
  worst.row.name = "margin";
  answer_column(file, &worst, "cell", rows->cells, margins);
  answer_texts(file, "verdict", "kept, broken, not judged, no limits or failed", "cell", rows->cells, texts);
  answer_texts(file, "worst_limit", "limit with the least margin", "cell", rows->cells, texts + cells);
  answer_texts(file, "status", "complete, stopped (an event ended the run) or failed", "cell", rows->cells,
               rows->states);
  answer_texts(file, "message", "why it stopped, failed, is not judged or is not vouched for", "cell", rows->cells,
               rows->messages);
  answer_texts(file, "run_file", "history of the run, in the folder beside this file that is called as it, with .runs",
               "cell", rows->cells, texts + 2 * cells);
  return true;
}

static void write_limits(struct answer_file *file, const struct rows *rows) {
  const struct review *review = rows->review;
  for (int i = 0; i < review->limit_count; i++) {
    const struct review_limit *limit = &review->limits[i];
    size_t at = (size_t)i * (size_t)rows->cells;
    char name[32];
    (void)snprintf(name, sizeof name, "limit_%d", i + 1);
    answer_group(file, name, limit->sentence);
    answer_words(file, "sentence", limit->sentence);
    answer_words(file, "side", limit->above ? "at least" : "at most");
    struct answer_meaning level = meaning_of("level", limit->quantity, limit->reference, "level of the limit");
    struct answer_meaning worst = meaning_of("worst", limit->quantity, limit->reference, "worst value in the cell");
    struct answer_meaning margin = meaning_of("margin", QUANTITY_FRACTION, REFERENCE_NONE,
                                              "what is left of the level, as a share of it; less than 0: broken");
    answer_value(file, &level, limit->level, NULL);
    answer_column(file, &worst, "cell", rows->cells, rows->worst + at);
    answer_column(file, &margin, "cell", rows->cells, rows->margins + at);
    answer_texts(file, "verdict", "kept, broken or not judged; empty: the cell has no such limit", "cell", rows->cells,
                 rows->verdicts + at);
  }
}

static void write_measures(struct answer_file *file, const struct rows *rows) {
  const struct plan *plan = &rows->review->plan;
  answer_group(file, "measures", "what was found in each cell");
  for (int m = 0; m < plan->measure_count; m++) {
    struct answer_meaning meaning = {measure_rows[plan->measures[m]], NULL};
    answer_column(file, &meaning, "cell", rows->cells, rows->measures + (size_t)m * (size_t)rows->cells);
  }
}

static bool write_file(const char *path, const struct rows *rows, const char *command, bool runs,
                       const struct journal_head *head, struct error *error) {
  const struct plan *plan = &rows->review->plan;
  char fingerprint[32];
  struct answer_file *file = answer_open(path, "review", plan->title, NULL, command, error);
  if (file == NULL) {
    return false;
  }
  (void)snprintf(fingerprint, sizeof fingerprint, "%016" PRIx64, plan->fingerprint);
  answer_words(file, "review_file", plan->source);
  answer_words(file, "review", plan->text);
  answer_words(file, "study_fingerprint", fingerprint);
  (void)snprintf(fingerprint, sizeof fingerprint, "%016" PRIx64, head->arithmetic);
  answer_words(file, "arithmetic_fingerprint", fingerprint);
  answer_count(file, "case_count", plan->cases);
  answer_count(file, "shard", head->shard);
  answer_count(file, "shards", head->shards);
  answer_count(file, "failed_cases", rows->failed);
  answer_count(file, "limit_count", rows->review->limit_count);
  write_axes(file, rows->review);
  bool good = write_cells(file, rows, runs);
  write_limits(file, rows);
  write_measures(file, rows);
  if (!good) {
    answer_abandon(file);
    return error_set(error, ERROR_MEMORY, "no memory for the review");
  }
  return answer_close(file, error);
}

bool review_answer_write(const char *path, const struct review *review, const char *command, bool runs,
                         const struct journal_head *head, const struct journal *journal, int64_t *failed,
                         struct error *error) {
  struct rows rows;
  bool good = make_rows(&rows, review) || error_set(error, ERROR_MEMORY, "no memory for the review");
  good = good && take_rows(&rows, journal, error) && write_file(path, &rows, command, runs, head, error);
  *failed = rows.failed;
  arena_close(rows.memory);
  return good;
}
