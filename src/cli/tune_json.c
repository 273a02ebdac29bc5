/* The document of a tuning. */
#include <math.h>

#include "tune_words.h"

static void value_json(struct json *json, const char *key, const struct tuning_setting *setting, double value) {
  if (setting->ref.choices != NULL && !isnan(value)) {
    char words[96];
    json_text(json, key, registry_choice_name(setting->ref.choices, (int)value, words, sizeof words));
  } else {
    json_number(json, key, value);
  }
}

static void cell_json(struct json *json, const struct tuning *tuning, int cell) {
  json_text(json, "case", cell >= 0 ? tuning->review.plan.cells[cell].case_name : NULL);
  json_text(json, "condition", cell >= 0 ? tuning->review.plan.cells[cell].condition : NULL);
}

static void run_json(struct json *json, const char *key, const struct tuning *tuning, int run) {
  double margin = 0.0;
  int worst = tuning_worst(tuning, run, &margin);
  json_begin_object(json, key);
  for (int v = 0; v < REVIEW_COUNT; v++) {
    static const char *const keys[REVIEW_COUNT] = {"kept", "broken", "not_judged", "without_limits", "failed"};
    json_integer(json, keys[v], tuning_cells(tuning, run, (enum review_verdict)v));
  }
  json_number(json, "worst_margin", margin);
  json_number(json, "goal", tuning_goal_of_run(tuning, 0, run));
  json_text(json, "worst_limit", worst >= 0 ? tuning->review.limits[tuning->flat[worst]].sentence : NULL);
  cell_json(json, tuning, worst >= 0 ? tuning->flat_cell[worst] : -1);
  json_end_object(json);
}

/* Limits that `breaks` breaks and `keeps` does not. */
static void freed_json(struct json *json, const char *key, const struct tuning *tuning, int breaks, int keeps) {
  json_begin_list(json, key);
  for (int i = 0; i < tuning->review.limit_count; i++) {
    int cell = -1;
    int other = -1;
    double margin = tuning_margin(tuning, breaks, i, &cell);
    if (margin < 0.0 && tuning_margin(tuning, keeps, i, &other) >= 0.0) {
      json_begin_object(json, NULL);
      json_text(json, "limit", tuning->review.limits[i].sentence);
      json_number(json, "margin", margin);
      cell_json(json, tuning, cell);
      json_end_object(json);
    }
  }
  json_end_list(json);
}

static void settings_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  int run = tuning_run_of(answer, answer->found);
  json_begin_list(json, "settings");
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    const struct tuning_change *change = &answer->changes[i];
    json_begin_object(json, NULL);
    json_text(json, "path", setting->path);
    json_text(json, "unit", setting->ref.choices != NULL ? NULL : quantity_rows[setting->ref.quantity].si_unit);
    value_json(json, "start", setting, setting->start);
    json_bool(json, "start_differs_between_cells", setting->uneven);
    value_json(json, "found", setting, tuning->runs[run].values[i]);
    value_json(json, "from", setting, setting->variable < 0 ? NAN : setting->from);
    value_json(json, "to", setting, setting->variable < 0 ? NAN : setting->to);
    json_number(json, "step", setting->variable < 0 || setting->step <= 0.0 ? NAN : setting->step);
    json_bool(json, "changed", change->changed);
    if (change->changed) {
      run_json(json, "alone", tuning, change->alone);
      run_json(json, "taken_back", tuning, change->back);
      freed_json(json, "taken_back_breaks", tuning, change->back, run);
    }
    json_end_object(json);
  }
  json_end_list(json);
}

static void binding_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  json_begin_list(json, answer->keeps ? "binding" : "blocking");
  for (int i = 0; i < tuning->review.limit_count; i++) {
    const struct review_limit *limit = &tuning->review.limits[i];
    double gain = tuning_price(tuning, answer, i, 0.01);
    double level = fabs(limit->level - quantity_rows[limit->quantity].offset);
    if (gain <= 0.0) {
      continue;
    }
    json_begin_object(json, NULL);
    json_text(json, "limit", limit->sentence);
    json_number(json, "better_by_one_per_cent", gain);
    json_number(json, "better_by_one_trade_unit",
                level > 0.0 ? gain * 100.0 * quantity_rows[limit->quantity].scale / level : NAN);
    json_text(json, "trade_unit", quantity_rows[limit->quantity].trade_unit);
    json_begin_list(json, "cells");
    for (int f = 0; f < tuning->flat_count; f++) {
      if (tuning->flat[f] == i && answer->prices.multipliers[f] > 0.0) {
        json_begin_object(json, NULL);
        cell_json(json, tuning, tuning->flat_cell[f]);
        json_number(json, "margin", answer->search.points[answer->priced_at]->margins[f]);
        json_number(json, "multiplier", answer->prices.multipliers[f]);
        json_end_object(json);
      }
    }
    json_end_list(json);
    json_end_object(json);
  }
  json_end_list(json);
  json_begin_list(json, "what_must_stay_binds");
  for (int i = 0; i < tuning->condition_count; i++) {
    int cells = tuning->review.plan.cell_count;
    if (answer->prices.multipliers[tuning->flat_count + i] > 0.0) {
      json_begin_object(json, NULL);
      json_text(json, "measure", measure_rows[tuning->same[tuning->conditions[i] / cells].measure].name);
      cell_json(json, tuning, tuning->conditions[i] % cells);
      json_end_object(json);
    }
  }
  json_end_list(json);
  json_number(json, "unbalanced", answer->prices.unbalanced);
}

static void starts_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  const struct search *search = &answer->search;
  json_begin_list(json, "starts");
  for (int s = 0; s < search->start_count; s++) {
    const struct search_start *start = &search->starts[s];
    double values[SEARCH_VARIABLES];
    tuning_values(tuning, search->points[start->best]->choice, search->points[start->best]->at, values);
    json_begin_object(json, NULL);
    json_integer(json, "points", start->points);
    json_number(json, "goal", tuning_goal_value(tuning, answer, 0, start->best));
    json_number(json, "worst_margin", search->points[start->best]->worst);
    json_bool(json, "keeps", search_keeps(search, start->best));
    json_bool(json, "agrees", search_agrees(search, 0, start->best, search->best));
    json_begin_list(json, "settings");
    for (int i = 0; i < tuning->setting_count; i++) {
      value_json(json, NULL, &tuning->settings[i], values[i]);
    }
    json_end_list(json);
    json_end_object(json);
  }
  json_end_list(json);
  json_integer(json, "starts_agreeing", answer->agreeing);
  json_integer(json, "starts_at_the_same_settings", answer->same_places);
}

static void lists_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  const struct search *search = &answer->search;
  json_begin_list(json, "combinations");
  for (int c = 0; c < tuning->choices; c++) {
    const struct search_lane *lane = &search->lanes[c];
    double values[SEARCH_VARIABLES];
    if (lane->best < 0) {
      continue;
    }
    tuning_values(tuning, c, search->points[lane->best]->at, values);
    json_begin_object(json, NULL);
    for (int i = 0; i < tuning->setting_count; i++) {
      if (tuning->settings[i].variable < 0) {
        value_json(json, tuning->settings[i].path, &tuning->settings[i], values[i]);
      }
    }
    json_integer(json, "points", lane->points);
    json_bool(json, "dropped", lane->round >= 0);
    json_bool(json, "keeps", search_keeps(search, lane->best));
    json_number(json, "worst_margin", search->points[lane->best]->worst);
    json_number(json, "goal", tuning_goal_value(tuning, answer, 0, lane->best));
    json_end_object(json);
  }
  json_end_list(json);
}

static void trade_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  json_begin_list(json, "trade_off");
  for (int k = 0; k < answer->trade_count; k++) {
    const double *values = tuning->runs[tuning_run_of(answer, answer->trade[k])].values;
    json_begin_object(json, NULL);
    json_number(json, "goal", tuning_goal_value(tuning, answer, 0, answer->trade[k]));
    json_number(json, "second_goal", tuning_goal_value(tuning, answer, 1, answer->trade[k]));
    json_begin_list(json, "settings");
    for (int i = 0; i < tuning->setting_count; i++) {
      value_json(json, NULL, &tuning->settings[i], values[i]);
    }
    json_end_list(json);
    json_end_object(json);
  }
  json_end_list(json);
}

static void question_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  json_begin_list(json, "other_questions");
  for (int c = 0; c < tuning->review.plan.cell_count; c++) {
    int measure = 0;
    double share = tuning_other_question(tuning, answer, c, &measure);
    if (share != 0.0) {
      json_begin_object(json, NULL);
      cell_json(json, tuning, c);
      json_text(json, "measure", measure_rows[measure].name);
      json_number(json, "share", share);
      json_end_object(json);
    }
  }
  json_end_list(json);
}

void tune_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer) {
  json_text(json, "title", tuning->title);
  json_bool(json, "keeps_everything", answer->keeps);
  json_number(json, "reserve", tuning->reserve);
  json_integer(json, "cells", tuning->review.plan.cell_count);
  run_json(json, "at_start", tuning, tuning->start_run);
  run_json(json, "at_found", tuning, tuning_run_of(answer, answer->found));
  json_begin_list(json, "goals");
  for (int g = 0; g < tuning->goal_count; g++) {
    json_begin_object(json, NULL);
    json_text(json, "goal", tuning->goals[g].words);
    json_text(json, "unit", quantity_rows[tuning_goal_quantity(tuning, g)].si_unit);
    json_number(json, "found", tuning_goal_value(tuning, answer, g, answer->found));
    json_number(json, "before_rounding", tuning_goal_value(tuning, answer, g, answer->best));
    json_end_object(json);
  }
  json_end_list(json);
  settings_json(json, tuning, answer);
  binding_json(json, tuning, answer);
  question_json(json, tuning, answer);
  lists_json(json, tuning, answer);
  starts_json(json, tuning, answer);
  trade_json(json, tuning, answer);
  json_bool(json, "no_step_is_better", answer->settled);
  json_integer(json, "points", tuning->run_count);
  json_integer(json, "runs", (long)tuning->run_count * tuning->review.plan.cell_count);
}
