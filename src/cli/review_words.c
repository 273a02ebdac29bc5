#include "review_words.h"

#include <math.h>
#include <string.h>

#include "quantity.h"
#include "terminal.h"
#include "text.h"
#include "units.h"

enum { SHOWN = 48, CELL_SHOWN = 128, NAME_WIDTH = 24, COLUMN_LEAST = 17, COLUMN_MOST = 24, REASONS_MOST = 20 };

const char *review_margin_text(double margin, char *buffer, int size) {
  if (isnan(margin)) {
    (void)snprintf(buffer, (size_t)size, "%s", "");
  } else if (isinf(margin)) {
    (void)snprintf(buffer, (size_t)size, "%s", margin < 0.0 ? "broken" : "free");
  } else {
    (void)snprintf(buffer, (size_t)size, "%+.*f %%", fabs(margin) < 0.0995 ? 1 : 0, 100.0 * margin);
  }
  return buffer;
}

/* ---- text ---- */

static const char *colour_of(const struct paint *paint, enum review_verdict verdict) {
  return verdict == REVIEW_KEPT ? paint->good : verdict == REVIEW_BROKEN ? paint->bad : paint->strong;
}

/* What stands in the matrix: the margin and the number of its limit; words where nothing was established. */
static void cell_text(const struct answer_cell *cell, char *buffer, int size) {
  static const char *const words[] = {[REVIEW_KEPT] = "",
                                      [REVIEW_BROKEN] = "BROKEN ",
                                      [REVIEW_NOT_JUDGED] = "not judged",
                                      [REVIEW_NO_LIMITS] = "no limits",
                                      [REVIEW_FAILED] = "failed"};
  char margin[SHOWN];
  if (cell->verdict != REVIEW_KEPT && cell->verdict != REVIEW_BROKEN) {
    (void)snprintf(buffer, (size_t)size, "%s", words[cell->verdict]);
  } else if (cell->limit < 0) {
    (void)snprintf(buffer, (size_t)size, "%s", "kept");
  } else {
    (void)snprintf(buffer, (size_t)size, "%s%s%s (%d)", isinf(cell->margin) ? "" : words[cell->verdict],
                   review_margin_text(cell->margin, margin, SHOWN), cell->doubtful ? "*" : "", cell->limit + 1);
  }
}

static int column_width(const char *name) {
  int length = (int)strlen(name);
  return length < COLUMN_LEAST ? COLUMN_LEAST : length > COLUMN_MOST ? COLUMN_MOST : length;
}

static void print_matrix(FILE *out, const struct paint *paint, const struct review_answer *answer) {
  (void)fprintf(out, "\n  %-*s", NAME_WIDTH, "");
  for (int d = 0; d < answer->condition_count; d++) {
    int width = column_width(answer->conditions[d]);
    (void)fprintf(out, "  %*.*s", width, width, shown(answer->conditions[d]).text);
  }
  (void)fputc('\n', out);
  for (int c = 0; c < answer->case_count; c++) {
    (void)fprintf(out, "  %-*.*s", NAME_WIDTH, NAME_WIDTH, shown(answer->cases[c]).text);
    for (int d = 0; d < answer->condition_count; d++) {
      const struct answer_cell *cell = &answer->cells[c * answer->condition_count + d];
      char text[CELL_SHOWN];
      cell_text(cell, text, CELL_SHOWN);
      (void)fprintf(out, "  %s%*s%s", colour_of(paint, cell->verdict), column_width(answer->conditions[d]), text,
                    paint->plain);
    }
    (void)fputc('\n', out);
  }
}

static void print_place(FILE *out, const struct review_answer *answer, int cell) {
  (void)fprintf(out, "%s, %s", shown(answer->cases[cell / answer->condition_count]).text,
                shown(answer->conditions[cell % answer->condition_count]).text);
}

/* All that is no verdict, with the reason; runs that an event ended. */
static void print_reasons(FILE *out, const struct review_answer *answer) {
  int told = 0;
  int left = 0;
  for (int c = 0; c < answer->cell_count; c++) {
    const struct answer_cell *cell = &answer->cells[c];
    if (cell->message[0] == '\0' && cell->verdict != REVIEW_NO_LIMITS) {
      continue;
    }
    if (told == REASONS_MOST) {
      left++;
      continue;
    }
    (void)fprintf(out, "%s  ", told++ == 0 ? "\nSaid of cells\n" : "");
    print_place(out, answer, c);
    (void)fprintf(out, ": %s", review_verdict_names[cell->verdict]);
    if (strcmp(cell->status, "complete") != 0 && cell->verdict != REVIEW_FAILED) {
      (void)fprintf(out, ", the run %s", cell->status);
    }
    (void)fprintf(out, "%s%s\n", cell->message[0] != '\0' ? ": " : "", shown(cell->message).text);
  }
  if (left > 0) {
    (void)fprintf(out, "  and %d more; --json lists all\n", left);
  }
}

static void print_limits(FILE *out, const struct paint *paint, const struct review_answer *answer) {
  (void)fprintf(out, "\nLimits, and where each is worst\n");
  for (int i = 0; i < answer->limit_count; i++) {
    const struct answer_limit *limit = &answer->limits[i];
    char margin[SHOWN];
    char worst[SHOWN];
    int broken = limit->counts[REVIEW_BROKEN];
    (void)fprintf(out, "  (%d) %s%s%s: ", i + 1, broken > 0 ? paint->bad : "", shown(limit->sentence).text,
                  paint->plain);
    if (limit->place < 0) {
      (void)fprintf(out, "judged nowhere\n");
      continue;
    }
    (void)fprintf(out, "%s", review_margin_text(limit->margins[limit->place], margin, SHOWN));
    if (!isnan(limit->worst[limit->place])) {
      (void)fprintf(out, ", %s", units_show(limit->quantity, limit->worst[limit->place], worst, SHOWN));
    }
    (void)fputs(" in ", out);
    print_place(out, answer, limit->place);
    int judged = broken + limit->counts[REVIEW_KEPT];
    if (broken > 0) {
      (void)fprintf(out, "; broken in %d of %d", broken, judged);
    }
    if (limit->counts[REVIEW_NOT_JUDGED] > 0) {
      (void)fprintf(out, "; not judged in %d", limit->counts[REVIEW_NOT_JUDGED]);
    }
    (void)fputc('\n', out);
  }
}

void review_print(FILE *out, const struct review_answer *answer) {
  static const char *const words[] = {"keep every limit", "break one or more", "not judged", "without limits",
                                      "failed"};
  struct paint paint = paint_for(out);
  bool passes = answer->counts[REVIEW_KEPT] == answer->cell_count;
  (void)fprintf(out, "%s\n", shown(answer->title).text);
  (void)fprintf(out, "  %s%d cells (%d case%s, %d condition%s)", passes ? paint.good : paint.strong, answer->cell_count,
                answer->case_count, answer->case_count == 1 ? "" : "s", answer->condition_count,
                answer->condition_count == 1 ? "" : "s");
  const char *between = ": ";
  for (int v = 0; v < REVIEW_COUNT; v++) {
    if (answer->counts[v] > 0) {
      (void)fprintf(out, "%s%d %s", between, answer->counts[v], words[v]);
      between = ", ";
    }
  }
  if (answer->doubtful > 0) {
    (void)fprintf(out, "; %d of those kept %s not vouched for (*)", answer->doubtful,
                  answer->doubtful == 1 ? "is" : "are");
  }
  (void)fprintf(out, "%s\n  margins: what is left of the worst limit, as a share of its level; ( ) its number below\n",
                paint.plain);
  print_matrix(out, &paint, answer);
  print_reasons(out, answer);
  print_limits(out, &paint, answer);
}

static void print_change(FILE *out, const struct review_answer *answer, int cell, const struct review_answer *older) {
  char now[SHOWN];
  char before[SHOWN];
  const struct answer_cell *is = &answer->cells[cell];
  int same = review_answer_same_cell(answer, cell, older);
  (void)fputs("    ", out);
  print_place(out, answer, cell);
  if (same >= 0) {
    const struct answer_cell *was = &older->cells[same];
    (void)fprintf(out, ": %s %s before", review_verdict_names[was->verdict],
                  review_margin_text(was->margin, before, SHOWN));
  }
  (void)fprintf(out, ", now %s %s%s%s\n", review_verdict_names[is->verdict], review_margin_text(is->margin, now, SHOWN),
                is->limit >= 0 ? ", " : "", is->limit >= 0 ? shown(answer->limits[is->limit].sentence).text : "");
}

/* In this order they are told. */
static const enum change told_changes[] = {CHANGE_BROKEN, CHANGE_LOST,   CHANGE_WORSE,
                                           CHANGE_MENDED, CHANGE_BETTER, CHANGE_NEW};
enum { TOLD_CHANGES = sizeof told_changes / sizeof told_changes[0] };

static int count_changes(const struct review_answer *answer, const struct review_answer *older, enum change change) {
  int count = 0;
  for (int c = 0; c < answer->cell_count; c++) {
    count += review_answer_change(answer, c, older) == change;
  }
  return count;
}

/* Cells of the older review that this one does not have. */
static int count_gone(const struct review_answer *answer, const struct review_answer *older) {
  int count = 0;
  for (int c = 0; c < older->cell_count; c++) {
    count += review_answer_same_cell(older, c, answer) < 0;
  }
  return count;
}

void review_print_changes(FILE *out, const struct review_answer *answer, const struct review_answer *older,
                          const char *older_file) {
  struct paint paint = paint_for(out);
  (void)fprintf(out, "\nAgainst %s (%s)\n", shown(older_file).text, shown(older->title).text);
  for (int i = 0; i < TOLD_CHANGES; i++) {
    enum change change = told_changes[i];
    int count = count_changes(answer, older, change);
    if (count == 0) {
      continue;
    }
    const char *colour = i < 3 ? paint.bad : change == CHANGE_NEW ? paint.strong : paint.good;
    (void)fprintf(out, "  %s%d %s%s\n", colour, count, change_names[change], paint.plain);
    for (int c = 0; c < answer->cell_count; c++) {
      if (review_answer_change(answer, c, older) == change) {
        print_change(out, answer, c, older);
      }
    }
  }
  (void)fprintf(out, "  %d as before (within %.2g %% of the level)", count_changes(answer, older, CHANGE_NONE),
                100.0 * CHANGE_LEAST);
  int gone = count_gone(answer, older);
  if (gone > 0) {
    (void)fprintf(out, "; %d of the older review are not in this one", gone);
  }
  (void)fputc('\n', out);
}

/* ---- JSON ---- */

/* A number; an infinite one, which JSON does not have, as null with `key`_words beside it. */
static void margin_json(struct json *json, double margin) {
  json_number(json, "margin", margin);
  if (isinf(margin)) {
    json_text(json, "margin_words", "broken without a value");
  }
}

static void cells_json(struct json *json, const struct review_answer *answer, const struct review_answer *older) {
  json_begin_list(json, "cells");
  for (int c = 0; c < answer->cell_count; c++) {
    const struct answer_cell *cell = &answer->cells[c];
    json_begin_object(json, NULL);
    json_text(json, "case", answer->cases[c / answer->condition_count]);
    json_text(json, "condition", answer->conditions[c % answer->condition_count]);
    json_text(json, "verdict", review_verdict_names[cell->verdict]);
    margin_json(json, cell->margin);
    json_text(json, "limit", cell->limit >= 0 ? answer->limits[cell->limit].sentence : NULL);
    json_text(json, "status", cell->status);
    json_text(json, "message", cell->message);
    json_bool(json, "vouched", !cell->doubtful);
    if (older != NULL) {
      int same = review_answer_same_cell(answer, c, older);
      json_text(json, "change", change_names[review_answer_change(answer, c, older)]);
      json_text(json, "verdict_before", same >= 0 ? review_verdict_names[older->cells[same].verdict] : NULL);
      json_number(json, "margin_before", same >= 0 ? older->cells[same].margin : (double)NAN);
    }
    json_end_object(json);
  }
  json_end_list(json);
}

static void limits_json(struct json *json, const struct review_answer *answer) {
  json_begin_list(json, "limits");
  for (int i = 0; i < answer->limit_count; i++) {
    const struct answer_limit *limit = &answer->limits[i];
    bool placed = limit->place >= 0;
    json_begin_object(json, NULL);
    json_text(json, "sentence", limit->sentence);
    json_number(json, "level", limit->level);
    json_text(json, "unit", quantity_rows[limit->quantity].si_unit);
    json_integer(json, "broken", limit->counts[REVIEW_BROKEN]);
    json_integer(json, "kept", limit->counts[REVIEW_KEPT]);
    json_integer(json, "not_judged", limit->counts[REVIEW_NOT_JUDGED]);
    margin_json(json, placed ? limit->margins[limit->place] : (double)NAN);
    json_number(json, "worst", placed ? limit->worst[limit->place] : (double)NAN);
    json_text(json, "worst_case", placed ? answer->cases[limit->place / answer->condition_count] : NULL);
    json_text(json, "worst_condition", placed ? answer->conditions[limit->place % answer->condition_count] : NULL);
    json_end_object(json);
  }
  json_end_list(json);
}

void review_json(struct json *json, const struct review_answer *answer, const struct review_answer *older,
                 const char *older_file) {
  json_text(json, "title", answer->title);
  json_begin_object(json, "counts");
  json_integer(json, "cells", answer->cell_count);
  for (int v = 0; v < REVIEW_COUNT; v++) {
    json_integer(json, review_verdict_names[v], answer->counts[v]);
  }
  json_integer(json, "stopped", answer->stopped);
  json_integer(json, "kept_not_vouched", answer->doubtful);
  json_end_object(json);
  cells_json(json, answer, older);
  limits_json(json, answer);
  if (older != NULL) {
    json_text(json, "against", older_file);
    json_begin_object(json, "changes");
    for (int i = 0; i < CHANGE_COUNT; i++) {
      json_integer(json, change_names[i], count_changes(answer, older, (enum change)i));
    }
    json_integer(json, "gone", count_gone(answer, older));
    json_end_object(json);
  }
}
