#include "envelope_told.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "answer_file.h"

double envelope_value(const struct envelope_told *told, int axis, double place) {
  return told->axes[axis].low + place * (told->axes[axis].high - told->axes[axis].low);
}

int envelope_label_of(enum review_verdict verdict, int limit) {
  return verdict == REVIEW_BROKEN && limit >= 0 ? limit : -1 - (int)verdict;
}

const char *envelope_label(const struct envelope_told *told, int label) {
  return label >= 0 ? told->review->limits[label].sentence : review_verdict_names[-1 - label];
}

/* ---- the file ---- */

/* Columns of one group, each filled by a function and written at once. */
struct columns {
  struct answer_file *file;
  const struct envelope_told *told;
  const char *axis;
  int count;
  double *numbers;
  const char **texts;
};

static struct answer_meaning meaning_of(const struct envelope_told *told, int axis, const char *name) {
  const struct parameter_ref *ref = told->refs[axis];
  return (struct answer_meaning){{name, ref->quantity, ref->reference, told->axes[axis].path}, NULL};
}

static void put_index(struct columns *columns, const char *text) {
  struct answer_meaning meaning = {{columns->axis, QUANTITY_NUMBER, REFERENCE_NONE, text}, NULL};
  answer_axis(columns->file, &meaning, columns->count, NULL);
}

static void put_share(struct columns *columns, const char *name, const char *text) {
  struct answer_meaning meaning = {{name, QUANTITY_FRACTION, REFERENCE_NONE, text}, NULL};
  answer_column(columns->file, &meaning, columns->axis, columns->count, columns->numbers);
}

static void write_runs(struct columns *columns) {
  static const char *const names[ENVELOPE_AXES] = {"first", "second"};
  const struct envelope_told *told = columns->told;
  const struct envelope *envelope = told->envelope;
  const struct plan *plan = &told->review->plan;
  columns->axis = "run";
  columns->count = envelope->run_count;
  answer_group(columns->file, "runs", "every point that was run, the scan first");
  put_index(columns, "points in the order in which they were asked");
  for (int a = 0; a < told->question->dimensions && a < ENVELOPE_AXES; a++) {
    struct answer_meaning meaning = meaning_of(told, a, names[a]);
    for (int i = 0; i < columns->count; i++) {
      columns->numbers[i] = envelope_value(told, a, envelope->runs[i].at[a]);
    }
    answer_column(columns->file, &meaning, "run", columns->count, columns->numbers);
  }
  for (int i = 0; i < columns->count; i++) {
    columns->numbers[i] = envelope->runs[i].margin;
  }
  put_share(columns, "margin", "least margin of all limits as a share of the limit's level; less than 0: broken");
  for (int i = 0; i < columns->count; i++) {
    columns->texts[i] = envelope->runs[i].kept ? "" : envelope_label(told, envelope->runs[i].label);
  }
  answer_texts(columns->file, "ended_by", "the worst broken limit, or why it is no pass; empty: every limit is kept",
               "run", columns->count, columns->texts);
  for (int i = 0; i < columns->count; i++) {
    columns->texts[i] = plan->cells[envelope->runs[i].cell].case_name;
  }
  answer_texts(columns->file, "case_name", "case of the worst cell", "run", columns->count, columns->texts);
  for (int i = 0; i < columns->count; i++) {
    columns->texts[i] = plan->cells[envelope->runs[i].cell].condition;
  }
  answer_texts(columns->file, "condition_name", "condition of the worst cell", "run", columns->count, columns->texts);
}

/* Both sides of the boundary: of one quantity its changes, of two the points along the stretches. */
static void write_boundary(struct columns *columns) {
  static const char *const names[2][ENVELOPE_AXES] = {{"kept_first", "kept_second"}, {"other_first", "other_second"}};
  const struct envelope_told *told = columns->told;
  const struct envelope *envelope = told->envelope;
  bool across = told->question->dimensions == 2;
  columns->axis = "point";
  columns->count = across ? envelope->order_count : envelope->crossing_count;
  answer_group(columns->file, "boundary", "the two runs on either side of each point of the boundary");
  if (columns->count == 0) {
    return;
  }
  put_index(columns, "points of the boundary, in order");
  for (int side = 0; side < 2; side++) {
    for (int a = 0; a < told->question->dimensions && a < ENVELOPE_AXES; a++) {
      struct answer_meaning meaning = meaning_of(told, a, names[side][a]);
      for (int i = 0; i < columns->count; i++) {
        const struct envelope_crossing *crossing = &envelope->crossings[across ? envelope->order[i] : i];
        columns->numbers[i] =
            envelope_value(told, a, envelope->runs[side == 0 ? crossing->kept : crossing->other].at[a]);
      }
      answer_column(columns->file, &meaning, "point", columns->count, columns->numbers);
    }
  }
  for (int i = 0; i < columns->count; i++) {
    const struct envelope_crossing *crossing = &envelope->crossings[across ? envelope->order[i] : i];
    columns->texts[i] = envelope_label(told, envelope->runs[crossing->other].label);
  }
  answer_texts(columns->file, "ended_by", "what is broken on the other side", "point", columns->count, columns->texts);
  for (int s = 0; s < envelope->stretch_count; s++) {
    for (int i = 0; i < envelope->stretches[s].count; i++) {
      columns->numbers[envelope->stretches[s].first + i] = s;
    }
  }
  if (across) {
    struct answer_meaning meaning = {{"stretch", QUANTITY_NUMBER, REFERENCE_NONE, "which stretch, from 0"}, NULL};
    answer_column(columns->file, &meaning, "point", columns->count, columns->numbers);
  }
}

bool envelope_write(const char *path, const struct envelope_told *told, const char *command, struct error *error) {
  const struct envelope *envelope = told->envelope;
  const struct plan *plan = &told->review->plan;
  size_t room = (size_t)(envelope->run_count + envelope->order_count) + 1;
  struct columns columns = {
      .told = told, .numbers = calloc(room, sizeof *columns.numbers), .texts = calloc(room, sizeof *columns.texts)};
  bool good = columns.numbers != NULL && columns.texts != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the envelope");
  } else {
    columns.file =
        answer_open(path, "envelope", plan->title, plan->cell_count == 1 ? plan->base.resolved : NULL, command, error);
    good = columns.file != NULL;
  }
  if (good) {
    answer_words(columns.file, "asked_file", plan->source);
    for (int a = 0; a < told->question->dimensions && a < ENVELOPE_AXES; a++) {
      answer_words(columns.file, a == 0 ? "first_path" : "second_path", told->axes[a].path);
    }
    answer_share(columns.file, "accuracy", told->question->accuracy);
    answer_count(columns.file, "scan_points", envelope->scan_count);
    answer_count(columns.file, "cells", plan->cell_count);
    answer_share(columns.file, "grid_points_of_the_same_accuracy", envelope_grid_runs(told->question));
    answer_share(columns.file, "largest_deviation_found", envelope->deviation);
    answer_count(columns.file, "unresolved_pieces", envelope->unresolved);
    write_runs(&columns);
    write_boundary(&columns);
    good = answer_close(columns.file, error);
  }
  free(columns.numbers);
  free(columns.texts);
  return good;
}
