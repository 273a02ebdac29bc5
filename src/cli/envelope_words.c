#include "envelope_words.h"

#include <math.h>

#include "commands.h"
#include "review_words.h"
#include "terminal.h"
#include "text.h"
#include "units.h"

enum { SHOWN = 64 };

static const char *show(const struct envelope_told *told, int axis, double place, char *buffer) {
  return units_show(told->refs[axis]->quantity, envelope_value(told, axis, place), buffer, SHOWN);
}

/* ---- text ---- */

static void print_cell(FILE *out, const struct envelope_told *told, int cell) {
  const struct plan *plan = &told->review->plan;
  if (plan->cell_count > 1) {
    (void)fprintf(out, " in %s, %s", shown(plan->cells[cell].case_name).text, shown(plan->cells[cell].condition).text);
  }
}

/* Ranges of one quantity between its changes. */
static void print_ranges(FILE *out, const struct paint *paint, const struct envelope_told *told) {
  const struct envelope *envelope = told->envelope;
  char from[SHOWN];
  char to[SHOWN];
  double begin = 0.0;
  bool kept = envelope->runs[0].kept;
  for (int c = 0; c <= envelope->crossing_count; c++) {
    bool last = c == envelope->crossing_count;
    const struct envelope_crossing *crossing = last ? NULL : &envelope->crossings[c];
    double end = last ? 1.0 : envelope->runs[kept ? crossing->kept : crossing->other].at[0];
    (void)fprintf(out, "  %s%-9s%s from %s to %s\n", kept ? paint->good : paint->bad, kept ? "kept" : "not kept",
                  paint->plain, show(told, 0, begin, from), show(told, 0, end, to));
    if (!last) {
      const struct envelope_run *other = &envelope->runs[crossing->other];
      begin = envelope->runs[kept ? crossing->other : crossing->kept].at[0];
      (void)fprintf(out, "            %s by %s", kept ? "ended" : "begun", envelope_label(told, other->label));
      print_cell(out, told, other->cell);
      (void)fputc('\n', out);
      kept = !kept;
    }
  }
}

static void print_stretches(FILE *out, const struct envelope_told *told) {
  const struct envelope *envelope = told->envelope;
  for (int s = 0; s < envelope->stretch_count; s++) {
    const struct envelope_stretch *stretch = &envelope->stretches[s];
    char words[2][2][SHOWN];
    for (int e = 0; e < 2; e++) {
      double at[2];
      envelope_place(envelope, envelope->order[stretch->first + (e == 0 ? 0 : stretch->count - 1)], at);
      (void)show(told, 0, at[0], words[e][0]);
      (void)show(told, 1, at[1], words[e][1]);
    }
    (void)fprintf(out, "  %s: from (%s, %s) to (%s, %s)%s, %d points\n", envelope_label(told, stretch->label),
                  words[0][0], words[0][1], words[1][0], words[1][1], stretch->closed ? ", closed" : "",
                  stretch->count);
  }
  if (envelope->unresolved > 0) {
    (void)fprintf(out, "  %d piece%s of it known no better than the scan\n", envelope->unresolved,
                  envelope->unresolved == 1 ? " is" : "s are");
  }
}

static int count_kept(const struct envelope *envelope) {
  int kept = 0;
  for (int i = 0; i < envelope->run_count; i++) {
    kept += envelope->runs[i].kept;
  }
  return kept;
}

void envelope_print(FILE *out, const struct envelope_told *told, double seconds) {
  struct paint paint = paint_for(out);
  const struct envelope *envelope = told->envelope;
  char from[SHOWN];
  char to[SHOWN];
  int cells = told->review->plan.cell_count;
  (void)fprintf(out, "%s\n", shown(told->review->plan.title).text);
  for (int a = 0; a < told->question->dimensions; a++) {
    (void)fprintf(out, "  %s %s from %s to %s\n", a == 0 ? "over" : "and ", told->axes[a].path,
                  show(told, a, 0.0, from), show(told, a, 1.0, to));
  }
  if (envelope->crossing_count == 0) {
    bool kept = envelope->runs[0].kept;
    (void)fprintf(out, "  %severy point of the scan %s%s\n", kept ? paint.good : paint.bad,
                  kept ? "keeps every limit" : "breaks a limit or is not judged", paint.plain);
  }
  if (told->question->dimensions == 1) {
    print_ranges(out, &paint, told);
  } else {
    (void)fprintf(out, "The boundary, and what ends it\n");
    print_stretches(out, told);
  }
  (void)fprintf(
      out,
      "%d points (%d of them the scan)%s, accurate to %.3g %% of the range; a grid that tells as much has %.0f "
      "(%.0f times)\n%.1f s",
      envelope->run_count, envelope->scan_count, cells > 1 ? " of all cells" : "", 100.0 * told->question->accuracy,
      envelope_grid_runs(told->question), envelope_grid_runs(told->question) / envelope->run_count, seconds);
  if (told->question->dimensions == 2 && envelope->chord_count > 0) {
    (void)fprintf(out, "; between its points the curve was tried at the middles: off by %.2g %% at most",
                  100.0 * envelope->deviation);
  }
  (void)fprintf(out, "; what is smaller than the scan is not seen\n");
}

/* ---- JSON ---- */

static void run_json(struct json *json, const char *key, const struct envelope_told *told, int run) {
  const struct envelope_run *made = &told->envelope->runs[run];
  const struct review_cell *cell = &told->review->plan.cells[made->cell];
  json_begin_object(json, key);
  for (int a = 0; a < told->question->dimensions; a++) {
    json_number(json, a == 0 ? "first" : "second", envelope_value(told, a, made->at[a]));
  }
  json_bool(json, "kept", made->kept);
  json_text(json, "ended_by", made->kept ? NULL : envelope_label(told, made->label));
  json_number(json, "margin", made->margin);
  json_text(json, "case", cell->case_name);
  json_text(json, "condition", cell->condition);
  json_end_object(json);
}

static void crossing_json(struct json *json, const struct envelope_told *told, int crossing) {
  const struct envelope_crossing *c = &told->envelope->crossings[crossing];
  json_begin_object(json, NULL);
  run_json(json, "kept_side", told, c->kept);
  run_json(json, "other_side", told, c->other);
  json_end_object(json);
}

void envelope_json(struct json *json, const struct envelope_told *told) {
  const struct envelope *envelope = told->envelope;
  bool across = told->question->dimensions == 2;
  json_text(json, "title", told->review->plan.title);
  json_begin_list(json, "over");
  for (int a = 0; a < told->question->dimensions; a++) {
    json_begin_object(json, NULL);
    json_text(json, "path", told->axes[a].path);
    json_text(json, "unit", quantity_rows[told->refs[a]->quantity].si_unit);
    json_number(json, "low", told->axes[a].low);
    json_number(json, "high", told->axes[a].high);
    json_end_object(json);
  }
  json_end_list(json);
  json_number(json, "accuracy", told->question->accuracy);
  json_integer(json, "points", envelope->run_count);
  json_integer(json, "scan_points", envelope->scan_count);
  json_integer(json, "kept_points", count_kept(envelope));
  json_number(json, "grid_points_of_the_same_accuracy", envelope_grid_runs(told->question));
  json_integer(json, "cells", told->review->plan.cell_count);
  if (!across) {
    json_begin_list(json, "changes");
    for (int c = 0; c < envelope->crossing_count; c++) {
      crossing_json(json, told, c);
    }
    json_end_list(json);
    return;
  }
  json_number(json, "largest_deviation_found", envelope->deviation);
  json_integer(json, "unresolved_pieces", envelope->unresolved);
  json_begin_list(json, "stretches");
  for (int s = 0; s < envelope->stretch_count; s++) {
    const struct envelope_stretch *stretch = &envelope->stretches[s];
    json_begin_object(json, NULL);
    json_text(json, "ended_by", envelope_label(told, stretch->label));
    json_bool(json, "closed", stretch->closed);
    json_begin_list(json, "points");
    for (int i = 0; i < stretch->count; i++) {
      crossing_json(json, told, envelope->order[stretch->first + i]);
    }
    json_end_list(json);
    json_end_object(json);
  }
  json_end_list(json);
}

int envelope_exit(const struct envelope *envelope) {
  if (count_kept(envelope) > 0) {
    return EXIT_DONE;
  }
  for (int i = 0; i < envelope->run_count; i++) {
    if (envelope->runs[i].label >= 0) {
      return EXIT_LIMIT_BROKEN;
    }
  }
  return EXIT_LIMIT_NOT_JUDGED;
}
