/* The file of a tuning (layout: docs/files.md). */
#include "tuning.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "answer_file.h"

enum { NAME_ROOM = 32, WORD_ROOM = 96 };

/* Columns of one group, each filled and written at once. */
struct columns {
  struct answer_file *file;
  const struct tuning *tuning;
  const struct tuning_answer *answer;
  const char *axis;
  int count;
  double *numbers;
  const char **texts;
  char (*words)[WORD_ROOM]; /* of texts that are made here */
};

static void open_group(struct columns *columns, const char *name, const char *axis, int count, const char *text) {
  struct answer_meaning meaning = {{axis, QUANTITY_NUMBER, REFERENCE_NONE, text}, NULL};
  columns->axis = axis;
  columns->count = count;
  answer_group(columns->file, name, text);
  answer_axis(columns->file, &meaning, count, NULL);
}

static void put(struct columns *columns, const char *name, enum quantity quantity, enum reference reference,
                const char *text) {
  struct answer_meaning meaning = {{name, quantity, reference, text}, NULL};
  answer_column(columns->file, &meaning, columns->axis, columns->count, columns->numbers);
}

static void put_plain(struct columns *columns, const char *name, const char *text) {
  struct answer_meaning meaning = {{name, QUANTITY_NUMBER, REFERENCE_NONE, text}, "1"};
  answer_column(columns->file, &meaning, columns->axis, columns->count, columns->numbers);
}

static void put_texts(struct columns *columns, const char *name, const char *text) {
  answer_texts(columns->file, name, text, columns->axis, columns->count, columns->texts);
}

/* ---- groups ---- */

static void write_settings(struct columns *columns) {
  const struct tuning *tuning = columns->tuning;
  const struct tuning_answer *answer = columns->answer;
  const double *found = tuning->runs[tuning_run_of(answer, answer->found)].values;
  static const char *const names[] = {"start", "found", "from", "to", "step", "kept_alone", "kept_taken_back"};
  static const char *const texts[] = {"in the review's first cell, SI; of a choice its number",
                                      "found, SI; of a choice its number",
                                      "lower bound, SI; NaN: a list",
                                      "upper bound, SI; NaN: a list",
                                      "between settings that can be made, SI; NaN: any",
                                      "cells that keep every limit with this change alone; NaN: not changed",
                                      "cells that keep every limit with this change taken back; NaN: not changed"};
  open_group(columns, "settings", "setting", tuning->setting_count, "what was set");
  for (int n = 0; n < (int)(sizeof names / sizeof names[0]); n++) {
    for (int i = 0; i < columns->count; i++) {
      const struct tuning_setting *setting = &tuning->settings[i];
      const struct tuning_change *change = &answer->changes[i];
      bool list = setting->variable < 0;
      const double row[] = {setting->start,
                            found[i],
                            list ? NAN : setting->from,
                            list ? NAN : setting->to,
                            list || setting->step <= 0.0 ? NAN : setting->step,
                            change->changed ? (double)tuning_cells(tuning, change->alone, REVIEW_KEPT) : (double)NAN,
                            change->changed ? (double)tuning_cells(tuning, change->back, REVIEW_KEPT) : (double)NAN};
      columns->numbers[i] = row[n];
    }
    put_plain(columns, names[n], texts[n]);
  }
  for (int n = 0; n < 3; n++) {
    for (int i = 0; i < columns->count; i++) {
      const struct tuning_setting *setting = &tuning->settings[i];
      columns->texts[i] =
          n == 0 ? setting->path
                 : parameter_ref_show(&setting->ref, n == 1 ? setting->start : found[i], columns->words[i], WORD_ROOM);
    }
    put_texts(columns,
              n == 0   ? "path"
              : n == 1 ? "start_words"
                       : "found_words",
              n == 0   ? "name of the parameter"
              : n == 1 ? "what it was, in the trade's unit"
                       : "what was found, in the trade's unit");
  }
}

/* Every set of settings that was run. */
static void write_points(struct columns *columns) {
  const struct tuning *tuning = columns->tuning;
  const struct search *search = &columns->answer->search;
  open_group(columns, "points", "point", search->count, "every point of the search, in order");
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    char name[NAME_ROOM];
    for (int p = 0; p < columns->count; p++) {
      columns->numbers[p] = tuning->runs[search->points[p]->tag].values[i];
    }
    (void)snprintf(name, sizeof name, "setting_%d", i + 1);
    put(columns, name, setting->ref.choices != NULL ? QUANTITY_NUMBER : setting->ref.quantity, setting->ref.reference,
        setting->path);
  }
  for (int g = 0; g < tuning->goal_count; g++) {
    for (int p = 0; p < columns->count; p++) {
      columns->numbers[p] = tuning_goal_value(tuning, columns->answer, g, p);
    }
    put(columns, g == 0 ? "goal" : "second_goal", tuning_goal_quantity(tuning, g),
        tuning->goals[g].of_margin ? REFERENCE_NONE : measure_rows[tuning->goals[g].measure].reference,
        tuning->goals[g].words);
  }
  for (int p = 0; p < columns->count; p++) {
    columns->numbers[p] = search->points[p]->worst;
  }
  put(columns, "worst_margin", QUANTITY_FRACTION, REFERENCE_NONE,
      "least margin of all limits, as a share of the level; a limit that is not judged counts as -10");
  for (int p = 0; p < columns->count; p++) {
    columns->numbers[p] = tuning_cells(tuning, search->points[p]->tag, REVIEW_KEPT);
  }
  put(columns, "cells_kept", QUANTITY_NUMBER, REFERENCE_NONE, "cells that keep every limit");
  for (int p = 0; p < columns->count; p++) {
    columns->numbers[p] = search_keeps(search, p);
  }
  put(columns, "keeps", QUANTITY_NUMBER, REFERENCE_NONE, "1: everything that is asked for is kept");
}

static void write_cells(struct columns *columns) {
  const struct tuning *tuning = columns->tuning;
  const struct plan *plan = &tuning->review.plan;
  const int runs[2] = {tuning->start_run, tuning_run_of(columns->answer, columns->answer->found)};
  open_group(columns, "cells", "cell", plan->cell_count, "every case under every condition");
  for (int n = 0; n < 2; n++) {
    for (int c = 0; c < columns->count; c++) {
      columns->texts[c] = n == 0 ? plan->cells[c].case_name : plan->cells[c].condition;
    }
    put_texts(columns, n == 0 ? "case_name" : "condition_name", n == 0 ? "its case" : "its condition");
  }
  for (int r = 0; r < 2; r++) {
    for (int c = 0; c < columns->count; c++) {
      columns->numbers[c] = NAN;
      columns->texts[c] = review_verdict_names[(int)tuning->runs[runs[r]].verdicts[c]];
    }
    put_texts(columns, r == 0 ? "start_verdict" : "found_verdict",
              r == 0 ? "verdict at the start" : "with the settings found");
    for (int i = 0; i < tuning->flat_count; i++) {
      double margin = tuning->runs[runs[r]].margins[i];
      double *least = &columns->numbers[tuning->flat_cell[i]];
      *least = isnan(*least) || margin < *least ? (isnan(margin) ? *least : margin) : *least;
    }
    put(columns, r == 0 ? "start_margin" : "found_margin", QUANTITY_FRACTION, REFERENCE_NONE,
        r == 0 ? "least margin at the start" : "least margin with the settings found");
  }
  for (int c = 0; c < columns->count; c++) {
    int measure = 0;
    columns->numbers[c] = tuning_other_question(tuning, columns->answer, c, &measure);
  }
  put(columns, "question_changed", QUANTITY_FRACTION, REFERENCE_NONE,
      "by which share the speed of the manoeuvre differs from that at the start, where by more than 5 %; else 0");
}

static void write_limits(struct columns *columns) {
  const struct tuning *tuning = columns->tuning;
  const struct tuning_answer *answer = columns->answer;
  const int runs[2] = {tuning->start_run, tuning_run_of(answer, answer->found)};
  open_group(columns, "limits", "limit", tuning->review.limit_count, "every limit over all cells");
  for (int i = 0; i < columns->count; i++) {
    columns->texts[i] = tuning->review.limits[i].sentence;
  }
  put_texts(columns, "sentence", "the limit");
  for (int r = 0; r < 2; r++) {
    for (int i = 0; i < columns->count; i++) {
      int cell = -1;
      columns->numbers[i] = tuning_margin(tuning, runs[r], i, &cell);
    }
    put(columns, r == 0 ? "start_margin" : "found_margin", QUANTITY_FRACTION, REFERENCE_NONE,
        r == 0 ? "least margin at the start" : "least margin with the settings found");
  }
  for (int i = 0; i < columns->count; i++) {
    columns->numbers[i] = tuning_price(tuning, answer, i, 0.01);
  }
  put(columns, "better_by_one_per_cent", answer->keeps ? tuning_goal_quantity(tuning, 0) : QUANTITY_FRACTION,
      REFERENCE_NONE,
      "by how much the goal (what is least kept, where nothing keeps all) betters with 1 % more of the limit; 0: it "
      "does not bind");
}

static void write_starts(struct columns *columns) {
  const struct search *search = &columns->answer->search;
  open_group(columns, "starts", "start", search->start_count, "the searches from several places");
  for (int n = 0; n < 3; n++) {
    for (int s = 0; s < columns->count; s++) {
      const struct search_start *start = &search->starts[s];
      columns->numbers[s] = n == 0 ? start->first : n == 1 ? start->best : start->points;
    }
    put(columns,
        n == 0   ? "first_point"
        : n == 1 ? "best_point"
                 : "points_run",
        QUANTITY_NUMBER, REFERENCE_NONE,
        n == 0   ? "where it began, in points"
        : n == 1 ? "the best that it ran, in points"
                 : "how many it ran");
  }
  for (int s = 0; s < columns->count; s++) {
    columns->numbers[s] = search_agrees(search, 0, search->starts[s].best, search->best);
  }
  put(columns, "agrees", QUANTITY_NUMBER, REFERENCE_NONE, "1: it came to the same goal as the best");
  if (columns->answer->trade_count > 0) {
    open_group(columns, "trade_off", "trade", columns->answer->trade_count, "settings between the two goals");
    for (int k = 0; k < columns->count; k++) {
      columns->numbers[k] = columns->answer->trade[k];
    }
    put(columns, "trade_point", QUANTITY_NUMBER, REFERENCE_NONE, "which of points");
  }
}

bool tuning_write(const char *path, const struct tuning *tuning, const struct tuning_answer *answer,
                  const char *command, struct error *error) {
  size_t room = (size_t)(answer->search.count + tuning->review.plan.cell_count + tuning->review.limit_count) + 1;
  struct columns columns = {.tuning = tuning,
                            .answer = answer,
                            .numbers = calloc(room, sizeof(double)),
                            .texts = calloc(room, sizeof(char *)),
                            .words = calloc(SEARCH_VARIABLES, sizeof *columns.words)};
  bool good = columns.numbers != NULL && columns.texts != NULL && columns.words != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the file");
  } else {
    columns.file = answer_open(path, "tuning", tuning->title, NULL, command, error);
    good = columns.file != NULL;
  }
  if (good) {
    answer_words(columns.file, "tuning_file", tuning->source);
    answer_words(columns.file, "review_file", tuning->review.plan.source);
    answer_words(columns.file, "goal", tuning->goals[0].words);
    answer_words(columns.file, "second_goal", tuning->goal_count > 1 ? tuning->goals[1].words : "");
    answer_words(columns.file, "keeps_everything", answer->keeps ? "yes" : "no");
    answer_count(columns.file, "start_kept", tuning_cells(tuning, tuning->start_run, REVIEW_KEPT));
    answer_count(columns.file, "found_kept", tuning_cells(tuning, tuning_run_of(answer, answer->found), REVIEW_KEPT));
    answer_count(columns.file, "found_point", answer->found);
    answer_count(columns.file, "best_point", answer->best);
    answer_count(columns.file, "runs", (int64_t)tuning->run_count * tuning->review.plan.cell_count);
    answer_count(columns.file, "starts_agreeing", answer->agreeing);
    answer_count(columns.file, "seed", (int64_t)tuning->seed);
    answer_share(columns.file, "reserve", tuning->reserve);
    answer_share(columns.file, "unbalanced", answer->prices.unbalanced);
    write_settings(&columns);
    write_points(&columns);
    write_cells(&columns);
    write_limits(&columns);
    write_starts(&columns);
    good = answer_close(columns.file, error);
  }
  free(columns.numbers);
  free(columns.texts);
  free(columns.words);
  return good;
}
