/* The file of odds. */
#include "odds_answer.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "answer_file.h"

/* Columns of one group, each filled and written at once. */
struct columns {
  struct answer_file *file;
  const struct odds_answer *answer;
  const char *axis;
  int count;
  double *numbers;
  const char **texts;
  char (*words)[ODDS_LABEL];
};

static void put(struct columns *columns, const char *name, enum quantity quantity, const char *text) {
  struct answer_meaning meaning = {{name, quantity, REFERENCE_NONE, text}, NULL};
  answer_column(columns->file, &meaning, columns->axis, columns->count, columns->numbers);
}

static void begin(struct columns *columns, const char *group, const char *text, const char *axis, const char *axis_text,
                  int count) {
  struct answer_meaning meaning = {{axis, QUANTITY_NUMBER, REFERENCE_NONE, axis_text}, NULL};
  columns->axis = axis;
  columns->count = count;
  answer_group(columns->file, group, text);
  if (count > 0) {
    answer_axis(columns->file, &meaning, count, NULL);
  }
}

/* ---- probabilities ---- */

static const char *const fate_columns[FATE_COUNT] = {"kept",       "not_vouched", "not_judged", "stopped",
                                                     "unfinished", "failed",      "broken"};

static void write_probabilities(struct columns *columns) {
  const struct odds_answer *answer = columns->answer;
  int count = answer->probability_count;
  begin(columns, "probabilities", "how often limits break", "probability", "0: any limit; else the number of the limit",
        count);
  for (int i = 0; i < count; i++) {
    columns->texts[i] = answer->probabilities[i].sentence;
  }
  answer_texts(columns->file, "limit", "the limit as written", columns->axis, count, columns->texts);
  for (int i = 0; i < count; i++) {
    columns->numbers[i] = answer->probabilities[i].odds.share;
  }
  put(columns, "share", QUANTITY_FRACTION, "probability that it breaks: of the runs that break or keep it");
  for (int i = 0; i < count; i++) {
    columns->numbers[i] = answer->probabilities[i].odds.low;
  }
  put(columns, "share_low", QUANTITY_FRACTION, "lower end of 95 %, had all runs without a verdict kept it");
  for (int i = 0; i < count; i++) {
    columns->numbers[i] = answer->probabilities[i].odds.high;
  }
  put(columns, "share_high", QUANTITY_FRACTION, "upper end of 95 %, had all runs without a verdict broken it");
  for (int f = 0; f < FATE_COUNT; f++) {
    for (int i = 0; i < count; i++) {
      columns->numbers[i] = (double)answer->probabilities[i].counts.of[f];
    }
    put(columns, fate_columns[f], QUANTITY_NUMBER, fate_texts[f]);
  }
}

/* ---- inputs ---- */

static void put_of_and_input(struct columns *columns, int each) {
  const struct odds_answer *answer = columns->answer;
  int row = 0;
  for (int p = 0; p < answer->probability_count; p++) {
    for (int i = 0; i < answer->input_count; i++) {
      for (int b = 0; b < (each > 1 ? answer->inputs[i].part_count : 1); b++) {
        columns->texts[row++] = answer->probabilities[p].sentence;
      }
    }
  }
  answer_texts(columns->file, "of", "the limit that breaks", columns->axis, columns->count, columns->texts);
  row = 0;
  for (int p = 0; p < answer->probability_count; p++) {
    for (int i = 0; i < answer->input_count; i++) {
      for (int b = 0; b < (each > 1 ? answer->inputs[i].part_count : 1); b++) {
        columns->texts[row++] = answer->inputs[i].path;
      }
    }
  }
  answer_texts(columns->file, "input", "what varies", columns->axis, columns->count, columns->texts);
}

enum { DRIVER_COLUMNS = 7 };

static void driver_numbers(const struct driver *driver, double numbers[DRIVER_COLUMNS]) {
  const double all[DRIVER_COLUMNS] = {driver->index,       driver->index_low, driver->index_high, driver->broken_mean,
                                      driver->broken_half, driver->kept_mean, driver->kept_half};
  for (int n = 0; n < DRIVER_COLUMNS; n++) {
    numbers[n] = all[n];
  }
}

static void write_drivers(struct columns *columns) {
  static const char *const names[DRIVER_COLUMNS][2] = {
      {"first_order", "share of the variance of breaking that goes when this input alone is known"},
      {"first_order_low", "lower end of 95 % (jackknife)"},
      {"first_order_high", "upper end of 95 %"},
      {"broken_mean", "mean place in the input's distribution (share below) of the runs that break"},
      {"broken_mean_half_width", "half of its interval of 95 %"},
      {"kept_mean", "the same of the runs that keep"},
      {"kept_mean_half_width", "half of its interval of 95 %"}};
  const struct odds_answer *answer = columns->answer;
  begin(columns, "drivers", "which inputs drive the breaking", "driver", "a limit and an input",
        answer->probability_count * answer->input_count);
  put_of_and_input(columns, 1);
  for (int i = 0; i < columns->count; i++) {
    columns->texts[i] = answer->inputs[i % answer->input_count].label;
  }
  answer_texts(columns->file, "label", "what varies, in words", columns->axis, columns->count, columns->texts);
  for (int n = 0; n < DRIVER_COLUMNS; n++) {
    for (int i = 0; i < columns->count; i++) {
      double numbers[DRIVER_COLUMNS];
      driver_numbers(&answer->drivers[i], numbers);
      columns->numbers[i] = numbers[n];
    }
    put(columns, names[n][0], QUANTITY_FRACTION, names[n][1]);
  }
  for (int i = 0; i < columns->count; i++) {
    const struct driver *driver = &answer->drivers[i];
    columns->words[i][0] = '\0';
    if (!isnan(driver->broken_mean)) {
      (void)odds_value_words(answer, i % answer->input_count, driver->broken_mean, columns->words[i], ODDS_LABEL);
    }
    columns->texts[i] = columns->words[i];
  }
  answer_texts(columns->file, "broken_mean_value", "the value at broken_mean; empty: too few runs break", columns->axis,
               columns->count, columns->texts);
}

static int count_parts(const struct odds_answer *answer) {
  int count = 0;
  for (int i = 0; i < answer->input_count; i++) {
    count += answer->inputs[i].part_count;
  }
  return count * answer->probability_count;
}

enum { PART_COLUMNS = 9 };

static void part_numbers(const struct odds_part *part, int place, double numbers[PART_COLUMNS]) {
  struct fate_odds odds = fate_odds_of(&part->counts);
  const double all[PART_COLUMNS] = {
      (double)place,       part->share_low, part->share_high, (double)odds.runs, (double)odds.broken,
      (double)odds.unsure, odds.share,      odds.low,         odds.high};
  for (int n = 0; n < PART_COLUMNS; n++) {
    numbers[n] = all[n];
  }
}

static void write_parts(struct columns *columns) {
  static const struct {
    const char *name;
    enum quantity quantity;
    const char *text;
  } names[PART_COLUMNS] = {{"place", QUANTITY_NUMBER, "number of the part, from 0"},
                           {"distribution_from", QUANTITY_FRACTION, "share of the distribution below the part"},
                           {"distribution_to", QUANTITY_FRACTION, "share of the distribution below its end"},
                           {"runs", QUANTITY_NUMBER, "runs whose input lies in it"},
                           {"broken", QUANTITY_NUMBER, "runs of these that break the limit"},
                           {"unsure", QUANTITY_NUMBER, "runs of these without a verdict"},
                           {"share", QUANTITY_FRACTION, "probability of breaking there"},
                           {"share_low", QUANTITY_FRACTION, "lower end of 95 % (Wilson)"},
                           {"share_high", QUANTITY_FRACTION, "upper end of 95 % (Wilson)"}};
  const struct odds_answer *answer = columns->answer;
  begin(columns, "conditional", "how often limits break where one input lies in a part of its distribution", "part",
        "a limit, an input and a part of it", count_parts(answer));
  put_of_and_input(columns, 2);
  int row = 0;
  for (int p = 0; p < answer->probability_count; p++) {
    for (int i = 0; i < answer->input_count; i++) {
      for (int b = 0; b < answer->inputs[i].part_count; b++) {
        const struct odds_part *part = &odds_parts(answer, p, i)[b];
        columns->texts[row] =
            odds_value_words(answer, i, 0.5 * (part->share_low + part->share_high), columns->words[row], ODDS_LABEL);
        row++;
      }
    }
  }
  answer_texts(columns->file, "centre", "the value in the middle of the part", columns->axis, columns->count,
               columns->texts);
  for (int n = 0; n < PART_COLUMNS; n++) {
    row = 0;
    for (int p = 0; p < answer->probability_count; p++) {
      for (int i = 0; i < answer->input_count; i++) {
        for (int b = 0; b < answer->inputs[i].part_count; b++) {
          double numbers[PART_COLUMNS];
          part_numbers(&odds_parts(answer, p, i)[b], b, numbers);
          columns->numbers[row++] = numbers[n];
        }
      }
    }
    put(columns, names[n].name, names[n].quantity, names[n].text);
  }
}

/* ---- all of it ---- */

static void write_facts(struct answer_file *file, const struct odds_answer *answer) {
  const struct plan *plan = &answer->review->plan;
  char text[32];
  answer_words(file, "study_file", plan->source);
  answer_words(file, "study", plan->text);
  (void)snprintf(text, sizeof text, "%" PRIu64, answer->seed);
  answer_words(file, "seed", text);
  answer_words(file, "method", answer->rare ? "subset simulation" : "counting");
  if (answer->rare) {
    answer_count(file, "simulations", answer->simulations);
    answer_count(file, "simulations_that_reached_no_breaking", answer->not_reached);
    answer_count(file, "samples_of_a_level", answer->samples);
    answer_count(file, "levels_at_most", answer->levels);
  }
  answer_count(file, "runs", answer->runs);
  answer_count(file, "runs_at_most", answer->most);
  answer_share(file, "wanted_width", answer->width);
  answer_share(file, "reached_width", answer->reached);
  answer_count(file, "limit_count", answer->probability_count - 1);
}

bool odds_write(const char *path, const struct odds_answer *answer, const char *command, struct error *error) {
  const struct plan *plan = &answer->review->plan;
  size_t room = (size_t)(count_parts(answer) + answer->probability_count * (answer->input_count + 1)) + 1;
  struct columns columns = {.answer = answer,
                            .numbers = calloc(room, sizeof *columns.numbers),
                            .texts = calloc(room, sizeof *columns.texts),
                            .words = calloc(room, sizeof *columns.words)};
  bool good = columns.numbers != NULL && columns.texts != NULL && columns.words != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the odds");
  } else {
    columns.file = answer_open(path, "odds", plan->title, plan_base_case(plan, 0)->resolved, command, error);
    good = columns.file != NULL;
  }
  if (good) {
    write_facts(columns.file, answer);
    if (!answer->complete) {
      answer_interrupted(columns.file);
    }
    write_probabilities(&columns);
    write_drivers(&columns);
    if (!answer->rare) {
      write_parts(&columns);
    }
    good = answer_close(columns.file, error);
  }
  free(columns.numbers);
  free(columns.texts);
  free(columns.words);
  return good;
}
