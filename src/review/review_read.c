/* A review read back from its file, and two of them compared. */
#include "review_answer.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "h5_read.h"

enum { AXIS_MOST = 100000, LIMITS_MOST = 10000 };

const char *const change_names[CHANGE_COUNT] = {"as before", "better", "worse", "mended", "broken", "lost", "new"};

struct file {
  struct h5_reading reading;
  struct review_answer *answer;
  struct arena *memory;
};

/* Memory that lives as long as the answer; notes when there is none. */
static void *take(struct file *file, size_t count, size_t size) {
  void *memory = !file->reading.failed ? arena_take(file->memory, count * size + 1) : NULL;
  if (memory == NULL && !file->reading.failed) {
    (void)h5_reading_memory(&file->reading, SIZE_MAX / 16, 1); /* notes that memory is out */
  }
  return memory;
}

static const char *keep_text(struct file *file, const char *text) {
  char *copy = take(file, strlen(text) + 1, 1);
  if (copy != NULL) {
    memcpy(copy, text, strlen(text) + 1);
  }
  return copy;
}

/* A column of texts in `group`, whose length is told by `*count`, or, if that is 0, found and put there. */
static const char **texts_of(struct file *file, hid_t group, const char *name, int *count) {
  struct h5_reading *reading = &file->reading;
  hid_t dataset = h5_reading_dataset(reading, group, name);
  long length = 0;
  const char **kept = NULL;
  if (dataset < 0 || h5_reading_kind(reading, dataset, &length) != H5_KIND_TEXT || length < 1 || length > AXIS_MOST ||
      (*count > 0 && length != *count)) {
    h5_reading_fail(reading, "it is no review; expected what 'swashloop review' wrote");
  } else {
    struct h5_names texts = h5_reading_texts(reading, dataset, length);
    kept = take(file, (size_t)length, sizeof *kept);
    *count = (int)length;
    for (int i = 0; kept != NULL && i < texts.count; i++) {
      kept[i] = keep_text(file, texts.items[i]);
    }
    h5_names_free(&texts);
  }
  h5_reading_shut(dataset);
  return file->reading.failed ? NULL : kept;
}

static double *numbers_of(struct file *file, hid_t group, const char *name) {
  struct h5_reading *reading = &file->reading;
  hid_t dataset = h5_reading_dataset(reading, group, name);
  long length = 0;
  double *kept = NULL;
  size_t cells = (size_t)file->answer->cell_count;
  if (dataset < 0 || h5_reading_kind(reading, dataset, &length) != H5_KIND_NUMBER || length != (long)cells) {
    h5_reading_fail(reading, "it is no review; expected what 'swashloop review' wrote");
  } else {
    double *numbers = h5_reading_numbers(reading, dataset, length);
    kept = take(file, cells, sizeof *kept);
    if (numbers != NULL && kept != NULL) {
      memcpy(kept, numbers, cells * sizeof *kept);
    }
    free(numbers);
  }
  h5_reading_shut(dataset);
  return file->reading.failed ? NULL : kept;
}

static enum review_verdict verdict_of(struct file *file, const char *word) {
  for (int i = 0; i < REVIEW_COUNT; i++) {
    if (strcmp(review_verdict_names[i], word) == 0) {
      return (enum review_verdict)i;
    }
  }
  if (word[0] != '\0') {
    h5_reading_fail(&file->reading, "a verdict in it is none that this program knows");
  }
  return REVIEW_NO_LIMITS;
}

static enum quantity quantity_of(const char *unit, const char *trade) {
  for (int i = 0; i < QUANTITY_COUNT; i++) {
    if (strcmp(quantity_rows[i].si_unit, unit) == 0 && strcmp(quantity_rows[i].trade_unit, trade) == 0) {
      return (enum quantity)i;
    }
  }
  return QUANTITY_NUMBER;
}

/* Is the margin of the one cell worse than that of the other? */
static bool is_worse(const struct answer_limit *limit, int cell, int than) {
  return !isnan(limit->margins[cell]) && (than < 0 || limit->margins[cell] < limit->margins[than]);
}

static void read_limit(struct file *file, int index, struct answer_limit *limit) {
  struct h5_reading *reading = &file->reading;
  const struct review_answer *answer = file->answer;
  int cells = answer->cell_count;
  char name[32];
  (void)snprintf(name, sizeof name, "limit_%d", index + 1);
  hid_t group = h5_reading_group(reading, reading->file, name);
  if (group < 0) {
    h5_reading_fail(reading, "a limit of it is missing");
    return;
  }
  char *sentence = h5_reading_attribute(reading, group, "sentence");
  hid_t level = h5_reading_dataset(reading, group, "level");
  char *unit = level >= 0 ? h5_reading_attribute(reading, level, "units") : NULL;
  limit->sentence = sentence != NULL ? keep_text(file, sentence) : NULL;
  char *trade = level >= 0 ? h5_reading_attribute(reading, level, "trade_units") : NULL;
  limit->quantity = unit != NULL && trade != NULL ? quantity_of(unit, trade) : QUANTITY_NUMBER;
  limit->level = level >= 0 ? h5_reading_number(reading, level) : (double)NAN;
  limit->margins = numbers_of(file, group, "margin");
  limit->worst = numbers_of(file, group, "worst");
  limit->verdicts = take(file, (size_t)cells, sizeof *limit->verdicts);
  limit->place = -1;
  const char **verdicts = texts_of(file, group, "verdict", &cells);
  for (int c = 0; !reading->failed && c < cells; c++) {
    limit->verdicts[c] = verdict_of(file, verdicts[c]);
    limit->counts[limit->verdicts[c]]++;
    limit->place = is_worse(limit, c, limit->place) ? c : limit->place;
  }
  free(sentence);
  free(unit);
  free(trade);
  h5_reading_shut(level);
  h5_reading_shut(group);
}

static int limit_named(const struct review_answer *answer, const char *sentence) {
  for (int i = 0; i < answer->limit_count; i++) {
    if (strcmp(answer->limits[i].sentence, sentence) == 0) {
      return i;
    }
  }
  return -1;
}

static void read_cells(struct file *file) {
  struct review_answer *answer = file->answer;
  hid_t root = file->reading.file;
  const char **verdicts = texts_of(file, root, "verdict", &answer->cell_count);
  const char **limits = texts_of(file, root, "worst_limit", &answer->cell_count);
  const char **states = texts_of(file, root, "status", &answer->cell_count);
  const char **messages = texts_of(file, root, "message", &answer->cell_count);
  const double *margins = numbers_of(file, root, "margin");
  hid_t measures = h5_reading_group(&file->reading, root, "measures");
  const double *vouched = numbers_of(file, measures, "vouched");
  h5_reading_shut(measures);
  answer->cells = take(file, (size_t)answer->cell_count, sizeof *answer->cells);
  for (int c = 0; !file->reading.failed && c < answer->cell_count; c++) {
    struct answer_cell *cell = &answer->cells[c];
    *cell = (struct answer_cell){verdict_of(file, verdicts[c]),
                                 states[c],
                                 limit_named(answer, limits[c]),
                                 margins[c],
                                 messages[c],
                                 vouched[c] == 0.0};
    answer->counts[cell->verdict]++;
    answer->stopped += strcmp(cell->status, "stopped") == 0;
    answer->doubtful += cell->verdict == REVIEW_KEPT && cell->doubtful;
  }
}

static void read_all(struct file *file) {
  struct h5_reading *reading = &file->reading;
  struct review_answer *answer = file->answer;
  char *kind = h5_reading_attribute(reading, reading->file, "answer");
  char *title = h5_reading_attribute(reading, reading->file, "title");
  if (kind == NULL || title == NULL || strcmp(kind, "review") != 0) {
    h5_reading_fail(reading, "it is no review; expected what 'swashloop review' wrote");
  }
  answer->title = title != NULL ? keep_text(file, title) : NULL;
  answer->cases = texts_of(file, reading->file, "case_name", &answer->case_count);
  answer->conditions = texts_of(file, reading->file, "condition_name", &answer->condition_count);
  long cells = (long)answer->case_count * answer->condition_count;
  double limits = h5_reading_attribute_number(reading, reading->file, "limit_count");
  if (cells > AXIS_MOST || !(limits >= 0.0 && limits <= LIMITS_MOST)) {
    h5_reading_fail(reading, "it is no review; expected what 'swashloop review' wrote");
  }
  if (!reading->failed) {
    answer->cell_count = (int)cells;
    answer->limits = take(file, (size_t)limits, sizeof *answer->limits);
  }
  for (int i = 0; !reading->failed && i < (int)limits; i++) {
    read_limit(file, i, &answer->limits[i]);
    answer->limit_count++;
  }
  if (!reading->failed) {
    read_cells(file);
  }
  free(kind);
  free(title);
}

bool review_answer_read(const char *path, struct review_answer *answer, struct error *error) {
  *answer = (struct review_answer){0};
  struct file file = {.answer = answer, .memory = arena_open()};
  if (file.memory == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the review");
  }
  answer->memory = file.memory;
  if (h5_reading_open_sealed(&file.reading, path, error)) {
    read_all(&file);
  }
  h5_reading_close(&file.reading);
  if (file.reading.failed) {
    review_answer_free(answer);
  }
  return !file.reading.failed;
}

void review_answer_free(struct review_answer *answer) {
  arena_close(answer->memory);
  *answer = (struct review_answer){0};
}

/* ---- compared ---- */

int review_answer_same_cell(const struct review_answer *answer, int index, const struct review_answer *older) {
  const char *case_name = answer->cases[index / answer->condition_count];
  const char *condition = answer->conditions[index % answer->condition_count];
  for (int c = 0; c < older->cell_count; c++) {
    if (strcmp(older->cases[c / older->condition_count], case_name) == 0 &&
        strcmp(older->conditions[c % older->condition_count], condition) == 0) {
      return c;
    }
  }
  return -1;
}

enum change review_answer_change(const struct review_answer *answer, int index, const struct review_answer *older) {
  int before = review_answer_same_cell(answer, index, older);
  if (before < 0) {
    return CHANGE_NEW;
  }
  const struct answer_cell *is = &answer->cells[index];
  const struct answer_cell *was = &older->cells[before];
  bool both_told = is->verdict == was->verdict && !isnan(is->margin) && !isnan(was->margin);
  if (is->verdict == REVIEW_BROKEN && was->verdict != REVIEW_BROKEN) {
    return CHANGE_BROKEN;
  }
  if (is->verdict == REVIEW_KEPT && was->verdict != REVIEW_KEPT) {
    return CHANGE_MENDED;
  }
  if (is->verdict != was->verdict) {
    return was->verdict == REVIEW_KEPT || was->verdict == REVIEW_BROKEN ? CHANGE_LOST : CHANGE_NONE;
  }
  if (both_told && is->margin != was->margin) {
    double moved = is->margin - was->margin; /* infinite where one of them has no value */
    return moved > CHANGE_LEAST ? CHANGE_BETTER : moved < -CHANGE_LEAST ? CHANGE_WORSE : CHANGE_NONE;
  }
  return CHANGE_NONE;
}
