#include "tune_words.h"

#include <math.h>
#include <string.h>

#include "commands.h"
#include "review_words.h"
#include "terminal.h"
#include "text.h"
#include "units.h"

enum { SHOWN = 96, LISTED_MOST = 8 };

static const char *show_setting(const struct tuning_setting *setting, double value, char *buffer) {
  return parameter_ref_show(&setting->ref, value, buffer, SHOWN);
}

static const char *margin_words(double margin, char *buffer) {
  return review_margin_text(margin, buffer, SHOWN);
}

static void print_cell(FILE *out, const struct tuning *tuning, int cell) {
  const struct plan *plan = &tuning->review.plan;
  (void)fprintf(out, "%s, %s", shown(plan->cells[cell].case_name).text, shown(plan->cells[cell].condition).text);
}

/* "50 of 50 cells keep every limit; worst margin +0.3 %: motor_speed <= 5400 rpm in climb of 20 %, cold start" */
static void print_state(FILE *out, const struct tuning *tuning, int run) {
  char words[SHOWN];
  double margin = 0.0;
  int worst = tuning_worst(tuning, run, &margin);
  (void)fprintf(out, "%d of %d cells keep every limit", tuning_cells(tuning, run, REVIEW_KEPT),
                tuning->review.plan.cell_count);
  if (worst >= 0) {
    (void)fprintf(out, "; worst margin %s: %s in ", margin_words(margin, words),
                  shown(tuning->review.limits[tuning->flat[worst]].sentence).text);
    print_cell(out, tuning, tuning->flat_cell[worst]);
  }
  (void)fputc('\n', out);
}

/* ---- verdict and settings ---- */

static void print_verdict(FILE *out, const struct paint *paint, const struct tuning *tuning,
                          const struct tuning_answer *answer) {
  char words[SHOWN];
  int run = tuning_run_of(answer, answer->found);
  bool whole = tuning_cells(tuning, run, REVIEW_KEPT) == tuning->review.plan.cell_count;
  if (answer->keeps) {
    (void)fprintf(out, "  %severy limit is kept with the settings found%s", paint->good, paint->plain);
  } else if (whole) {
    (void)fprintf(out, "  %severy limit is kept, but no settings were found that keep what else is asked%s", paint->bad,
                  paint->plain);
  } else {
    (void)fprintf(out, "  %sno settings were found that keep every limit; these are the least broken%s", paint->bad,
                  paint->plain);
  }
  if (tuning->reserve > 0.0) {
    (void)fprintf(out, " (a reserve of %s asked for)", margin_words(tuning->reserve, words));
  }
  (void)fprintf(out, "\n  as is: ");
  print_state(out, tuning, tuning->start_run);
  (void)fprintf(out, "  found: ");
  print_state(out, tuning, run);
}

static void print_settings(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer) {
  const double *found = tuning->runs[tuning_run_of(answer, answer->found)].values;
  (void)fprintf(out, "\nSettings\n");
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    char start[SHOWN];
    char value[SHOWN];
    char more[SHOWN];
    (void)fprintf(out, "  %-28s %s%s -> %s", setting->path, show_setting(setting, setting->start, start),
                  setting->uneven ? " (not in every case)" : "", show_setting(setting, found[i], value));
    if (setting->variable < 0) {
      (void)fprintf(out, " (list of %d)", setting->value_count);
    } else {
      (void)fprintf(out, " (%s", show_setting(setting, setting->from, more));
      (void)fprintf(out, " to %s", show_setting(setting, setting->to, more));
      if (setting->step > 0.0) {
        struct parameter_ref difference = setting->ref;
        difference.quantity =
            difference.quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : difference.quantity;
        (void)fprintf(out, ", steps of %s", parameter_ref_show(&difference, setting->step, more, SHOWN));
      }
      (void)fputc(')', out);
    }
    (void)fputc('\n', out);
  }
  for (int g = 0; g < tuning->goal_count; g++) {
    char value[SHOWN];
    char start[SHOWN];
    (void)fprintf(
        out, "  goal: %s: %s -> %s\n", tuning->goals[g].words,
        units_show(tuning_goal_quantity(tuning, g), tuning_goal_of_run(tuning, g, tuning->start_run), start, SHOWN),
        units_show(tuning_goal_quantity(tuning, g), tuning_goal_value(tuning, answer, g, answer->found), value, SHOWN));
  }
}

/* ---- what binds ---- */

/* The share of a limit's level that one bar, one rpm is; one per cent where the trade has no such unit. */
static double unit_share(const struct review_limit *limit, const char **unit) {
  const struct quantity_row *row = &quantity_rows[limit->quantity];
  double level = fabs(limit->level - row->offset);
  bool counted = limit->quantity == QUANTITY_PRESSURE || limit->quantity == QUANTITY_ANGULAR_SPEED;
  *unit = counted ? row->trade_unit : "%";
  return counted && level > 0.0 ? row->scale / level : 0.01;
}

static const char *show_gain(const struct tuning *tuning, double gain, char *buffer) {
  return units_show(tuning_goal_quantity(tuning, 0), gain, buffer, SHOWN);
}

static void print_binding(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer) {
  int told = 0;
  bool of_margin = !answer->keeps || tuning->goals[0].of_margin;
  const struct search_point *at = answer->search.points[answer->priced_at];
  (void)fprintf(out, "\n%s\n",
                answer->keeps ? "Limits that bind, and what more of each would bring"
                              : "What blocks: limits that bind against each other");
  for (int i = 0; i < tuning->review.limit_count; i++) {
    const struct review_limit *limit = &tuning->review.limits[i];
    const char *unit = NULL;
    char words[SHOWN];
    char percent[SHOWN];
    double share = unit_share(limit, &unit);
    double gain = tuning_price(tuning, answer, i, share);
    int places = 0;
    if (gain <= 0.0) {
      continue;
    }
    told++;
    (void)fprintf(out, "  %s in ", shown(limit->sentence).text);
    for (int f = 0; f < tuning->flat_count; f++) {
      if (tuning->flat[f] == i && answer->prices.multipliers[f] > 0.0) {
        (void)fputs(places++ > 0 ? "; " : "", out);
        print_cell(out, tuning, tuning->flat_cell[f]);
        (void)fprintf(out, " (%s)", margin_words(at->margins[f], words));
      }
    }
    const char *what = of_margin ? "worst margin" : measure_rows[tuning->goals[0].measure].name;
    const char *sign = of_margin || tuning->goals[0].most ? "+" : "-";
    if (of_margin) {
      (void)snprintf(words, sizeof words, "%.3g %%", 100.0 * gain);
      (void)snprintf(percent, sizeof percent, "%.3g %%", 100.0 * gain * 0.01 / share);
    } else {
      (void)show_gain(tuning, gain, words);
      (void)show_gain(tuning, gain * 0.01 / share, percent);
    }
    (void)fprintf(out, "\n      1 %s more: %s %s%s", unit, what, sign, words);
    if (strcmp(unit, "%") != 0) {
      (void)fprintf(out, "; 1 %% more: %s%s", sign, percent);
    }
    (void)fputc('\n', out);
  }
  for (int i = 0; i < tuning->condition_count; i++) {
    if (answer->prices.multipliers[tuning->flat_count + i] > 0.0) {
      const struct tuning_same *same = &tuning->same[tuning->conditions[i] / tuning->review.plan.cell_count];
      (void)fprintf(out, "  %s within %.3g %% of the start in ", measure_rows[same->measure].name,
                    100.0 * same->within);
      print_cell(out, tuning, tuning->conditions[i] % tuning->review.plan.cell_count);
      (void)fputc('\n', out);
      told++;
    }
  }
  for (int i = 0; i < tuning->setting_count; i++) {
    int v = tuning->settings[i].variable;
    if (v >= 0 && answer->prices.bound[v] > 0.0) {
      (void)fprintf(out, "  %s: its bound\n", tuning->settings[i].path);
      told++;
    }
  }
  if (told == 0) {
    (void)fprintf(out, "  none\n");
  } else if (answer->prices.unbalanced > 0.1) {
    (void)fprintf(out,
                  "  (these leave %.0f %% of the slopes unbalanced: a corner, or the search ended early; take the "
                  "numbers as signs)\n",
                  100.0 * answer->prices.unbalanced);
  }
}

/* ---- what each change did ---- */

/* Limits that the one run breaks and the other does not. */
static int print_freed(FILE *out, const struct tuning *tuning, int breaks, int keeps) {
  int told = 0;
  int left = 0;
  for (int i = 0; i < tuning->review.limit_count; i++) {
    int cell = -1;
    int other = -1;
    double margin = tuning_margin(tuning, breaks, i, &cell);
    double kept = tuning_margin(tuning, keeps, i, &other);
    if (!(margin < 0.0) || !(kept >= 0.0)) {
      continue;
    }
    if (told == LISTED_MOST) {
      left++;
      continue;
    }
    char words[SHOWN];
    (void)fprintf(out, "%s%s (%s in ", told++ > 0 ? "; " : "", shown(tuning->review.limits[i].sentence).text,
                  margin_words(margin, words));
    print_cell(out, tuning, cell);
    (void)fputc(')', out);
  }
  if (left > 0) {
    (void)fprintf(out, " and %d more", left);
  }
  return told;
}

/* " (stop_distance 4.8 m)" where the goal is a measure. */
static void print_goal_of(FILE *out, const struct tuning *tuning, int run) {
  char words[SHOWN];
  if (!tuning->goals[0].of_margin) {
    (void)fprintf(out, " (%s %s)", measure_rows[tuning->goals[0].measure].name,
                  units_show(tuning_goal_quantity(tuning, 0), tuning_goal_of_run(tuning, 0, run), words, SHOWN));
  }
}

static void print_changes(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer) {
  int cells = tuning->review.plan.cell_count;
  (void)fprintf(out, "\nWhat each change did (cells that keep every limit)\n");
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_change *change = &answer->changes[i];
    (void)fprintf(out, "  %s: ", tuning->settings[i].path);
    if (!change->changed) {
      (void)fprintf(out, "as it was\n");
      continue;
    }
    (void)fprintf(out, "alone %d of %d", tuning_cells(tuning, change->alone, REVIEW_KEPT), cells);
    print_goal_of(out, tuning, change->alone);
    (void)fprintf(out, "; taken back %d of %d", tuning_cells(tuning, change->back, REVIEW_KEPT), cells);
    print_goal_of(out, tuning, change->back);
    (void)fprintf(out, "\n      taken back it breaks: ");
    if (print_freed(out, tuning, change->back, tuning_run_of(answer, answer->found)) == 0) {
      (void)fprintf(out, "nothing");
    }
    (void)fputc('\n', out);
  }
}

/* ---- the rest ---- */

static void print_question(FILE *out, const struct paint *paint, const struct tuning *tuning,
                           const struct tuning_answer *answer) {
  int told = 0;
  int left = 0;
  int run = tuning_run_of(answer, answer->found);
  for (int c = 0; c < tuning->review.plan.cell_count; c++) {
    int measure = 0;
    double share = tuning_other_question(tuning, answer, c, &measure);
    if (share == 0.0) {
      continue;
    }
    if (told == LISTED_MOST) {
      left++;
      continue;
    }
    if (told++ == 0) {
      (void)fprintf(out,
                    "\n%sThe question changed%s: the manoeuvre is another one where its speed differs by more than "
                    "5 %%\n",
                    paint->bad, paint->plain);
    }
    (void)fputs("  ", out);
    print_cell(out, tuning, c);
    (void)fprintf(out, ": %s %+.1f %%\n", measure_rows[measure].name, 100.0 * share);
  }
  if (left > 0) {
    (void)fprintf(out, "  and %d more\n", left);
  }
  for (int m = 0; m < tuning->measure_count; m++) {
    int doubtful = 0;
    for (int c = 0; c < tuning->review.plan.cell_count; c++) {
      doubtful += tuning->measures[m] == MEASURE_vouched && tuning_measured(tuning, run, m)[c] == 0.0;
    }
    if (doubtful > 0) {
      (void)fprintf(out, "\n%d cell%s not vouched for: the run hunts or may; swashloop review tells which\n", doubtful,
                    doubtful == 1 ? " is" : "s are");
    }
  }
}

static void print_lists(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer) {
  const struct search *search = &answer->search;
  if (tuning->choices < 2) {
    return;
  }
  (void)fprintf(out, "\nLists: %d combinations\n", tuning->choices);
  for (int c = 0, told = 0; c < tuning->choices; c++) {
    const struct search_lane *lane = &search->lanes[c];
    double values[SEARCH_VARIABLES];
    char words[SHOWN];
    if (lane->best < 0 || (lane->round == 0 && told >= LISTED_MOST)) {
      continue;
    }
    told++;
    tuning_values(tuning, c, search->points[lane->best]->at, values);
    (void)fputs("  ", out);
    for (int i = 0, listed = 0; i < tuning->setting_count; i++) {
      if (tuning->settings[i].variable < 0) {
        (void)fprintf(out, "%s%s", listed++ > 0 ? ", " : "", show_setting(&tuning->settings[i], values[i], words));
      }
    }
    (void)fprintf(out, ": %d point%s, ", lane->points, lane->points == 1 ? "" : "s");
    if (search_keeps(search, lane->best)) {
      (void)fprintf(
          out, "goal %s",
          units_show(tuning_goal_quantity(tuning, 0), tuning_goal_value(tuning, answer, 0, lane->best), words, SHOWN));
    } else {
      (void)fprintf(out, "worst margin %s", margin_words(search->points[lane->best]->worst, words));
    }
    (void)fprintf(out, "%s\n", lane->round >= 0 ? ", dropped" : ", searched on");
  }
}

static void print_trade(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer) {
  if (tuning->goal_count < 2) {
    return;
  }
  (void)fprintf(out, "\nTrade-off: %s against %s\n", tuning->goals[0].words, tuning->goals[1].words);
  if (answer->trade_count == 0) {
    (void)fprintf(out, "  none without settings that keep everything\n");
  }
  for (int k = 0; k < answer->trade_count; k++) {
    char words[SHOWN];
    const double *values = tuning->runs[tuning_run_of(answer, answer->trade[k])].values;
    for (int g = 0; g < 2; g++) {
      (void)fprintf(out, "  %s",
                    units_show(tuning_goal_quantity(tuning, g), tuning_goal_value(tuning, answer, g, answer->trade[k]),
                               words, SHOWN));
    }
    for (int i = 0; i < tuning->setting_count; i++) {
      (void)fprintf(out, "%s%s", i == 0 ? "  with " : ", ", show_setting(&tuning->settings[i], values[i], words));
    }
    (void)fputc('\n', out);
  }
}

void tune_print(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer, double seconds) {
  struct paint paint = paint_for(out);
  const struct search *search = &answer->search;
  int cells = tuning->review.plan.cell_count;
  char words[SHOWN];
  (void)fprintf(out, "%s\n", shown(tuning->title).text);
  print_verdict(out, &paint, tuning, answer);
  print_settings(out, tuning, answer);
  print_binding(out, tuning, answer);
  print_changes(out, tuning, answer);
  print_question(out, &paint, tuning, answer);
  print_lists(out, tuning, answer);
  print_trade(out, tuning, answer);
  (void)fprintf(out, "\n%d of %d start%s came to the same goal as the best, %d of them to the same settings%s\n",
                answer->agreeing, search->start_count, search->start_count == 1 ? "" : "s", answer->same_places,
                search->start_count < tuning->starts && tuning->variables > 0 ? " (the points were used up)" : "");
  (void)fprintf(out, "%s; nothing here says that there are no better settings elsewhere\n",
                tuning->variables == 0 ? "every combination was run"
                : answer->settled      ? "no step of one setting, or of two, from there is better"
                                       : "steps from there were not all tried, or there are none");
  (void)fprintf(out, "%d points of %d cell%s: %ld runs in %s", tuning->run_count, cells, cells == 1 ? "" : "s",
                (long)tuning->run_count * cells, terminal_seconds(seconds, words, SHOWN));
  (void)fprintf(out, "%s\n", tuning->taken_up > 0 ? ", some of them from the journal" : "");
}

int tune_exit(const struct tuning *tuning, const struct tuning_answer *answer) {
  int run = tuning_run_of(answer, answer->found);
  if (answer->keeps) {
    return EXIT_DONE;
  }
  bool broken = tuning_cells(tuning, run, REVIEW_BROKEN) > 0;
  bool kept = tuning_cells(tuning, run, REVIEW_KEPT) == tuning->review.plan.cell_count;
  return broken || kept                                 ? EXIT_LIMIT_BROKEN
         : tuning_cells(tuning, run, REVIEW_FAILED) > 0 ? EXIT_CASES_FAILED
                                                        : EXIT_LIMIT_NOT_JUDGED;
}
