/* A tuning from its start to what is said of what was found. */
#include "tuning.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A manoeuvre whose speeds differ by more is another one. */
#define OTHER_QUESTION 0.05
/* m/s: a machine that stands, or all but stands, has no speed to compare. */
#define STANDS 0.1
/* Settings that differ by no more of their range are the same place. */
#define SAME_PLACE 0.05
/* Of the runs of the search: what rounding may take besides. */
#define SETTLING 0.5

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the tuning");
}

static bool ask(void *context, struct search_point *point, struct error *error) {
  struct tuning *tuning = context;
  double values[SEARCH_VARIABLES];
  tuning_values(tuning, point->choice, point->at, values);
  if (!tuning_try(tuning, values, &point->tag, error)) {
    return false;
  }
  tuning_tell(tuning, point->tag, point);
  return true;
}

/* A value much smaller than the largest of its measure over the cells is next to nothing, and no share of it counts. */
#define NEXT_TO_NOTHING 0.05

/* What must stay the same, once the start has told what that is. */
static bool make_conditions(struct tuning *tuning, struct error *error) {
  int cells = tuning->review.plan.cell_count;
  tuning->conditions = calloc((size_t)tuning->same_count * (size_t)cells + 1, sizeof *tuning->conditions);
  if (tuning->conditions == NULL) {
    return no_memory(error);
  }
  for (int s = 0; s < tuning->same_count; s++) {
    const double *before = tuning_measured(tuning, tuning->start_run, tuning->same[s].place);
    double largest = 0.0;
    for (int c = 0; c < cells; c++) {
      largest = fmax(largest, fabs(before[c])); /* NaN is passed over */
    }
    for (int c = 0; c < cells; c++) {
      if (tuning->same[s].cells[c] && fabs(before[c]) > NEXT_TO_NOTHING * largest) {
        tuning->conditions[tuning->condition_count++] = s * cells + c;
      }
    }
  }
  return true;
}

/* What a goal is at the start: its size, for the search; NaN: no cell tells it. */
static double size_at_start(const struct tuning *tuning, int goal, struct search_point *start) {
  tuning_tell(tuning, tuning->start_run, start);
  return tuning->goals[goal].of_margin ? 1.0 : fabs(start->goals[goal]);
}

static bool make_question(struct tuning *tuning, struct search_question *question, struct error *error) {
  struct search_point start = {0};
  start.margins = calloc((size_t)(tuning->flat_count + tuning->condition_count) + 1, sizeof(double));
  if (start.margins == NULL) {
    return no_memory(error);
  }
  *question = (struct search_question){.variables = tuning->variables,
                                       .choices = tuning->choices,
                                       .first_choice = tuning->first_choice,
                                       .first = tuning->first,
                                       .steps = tuning->steps,
                                       .limits = tuning->flat_count,
                                       .conditions = tuning->condition_count,
                                       .reserve = tuning->reserve,
                                       .goal_count = tuning->goal_count,
                                       .starts = tuning->starts,
                                       .points = tuning->points,
                                       .accuracy = tuning->accuracy,
                                       .seed = tuning->seed,
                                       .context = tuning,
                                       .ask = ask};
  bool good = true;
  for (int g = 0; good && g < tuning->goal_count; g++) {
    double size = size_at_start(tuning, g, &start);
    good = !isnan(size) || error_set(error, ERROR_INPUT, "%s: the goal '%s' has no value at the start", tuning->source,
                                     tuning->goals[g].words);
    question->goals[g] = (struct search_goal){tuning->goals[g].of_margin, size > 0.0 ? size : 1.0};
  }
  free(start.margins);
  return good;
}

/* ---- what changed ---- */

static bool try_changes(struct tuning *tuning, struct tuning_answer *answer, struct error *error) {
  const double *start = tuning->runs[tuning->start_run].values;
  double found[SEARCH_VARIABLES];
  int run = tuning_run_of(answer, answer->found);
  memcpy(found, tuning->runs[run].values, (size_t)tuning->setting_count * sizeof *found);
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    struct tuning_change *change = &answer->changes[i];
    double values[SEARCH_VARIABLES];
    change->changed = setting->uneven || fabs(found[i] - setting->start) > 1e-9 * fabs(setting->start);
    if (!change->changed) {
      continue;
    }
    memcpy(values, start, (size_t)tuning->setting_count * sizeof *values);
    values[i] = found[i];
    if (!tuning_try(tuning, values, &change->alone, error)) {
      return false;
    }
    memcpy(values, found, (size_t)tuning->setting_count * sizeof *values);
    values[i] = NAN;
    if (!tuning_try(tuning, values, &change->back, error)) {
      return false;
    }
  }
  return true;
}

/* ---- the starts ---- */

static bool same_place(const struct search *search, int a, int b) {
  const struct search_point *one = search->points[a];
  const struct search_point *other = search->points[b];
  for (int v = 0; v < search->question->variables; v++) {
    if (fabs(one->at[v] - other->at[v]) > SAME_PLACE) {
      return false;
    }
  }
  return one->choice == other->choice;
}

static void count_agreeing(struct tuning_answer *answer) {
  const struct search *search = &answer->search;
  for (int s = 0; s < search->start_count; s++) {
    if (search_agrees(search, 0, search->starts[s].best, search->best)) {
      answer->agreeing++;
      answer->same_places += same_place(search, search->starts[s].best, search->best);
    }
  }
}

/* ---- two goals ---- */

/* Is the point no worse in both goals than the other, and better in one? */
static bool dominates(const struct search *search, int a, int b) {
  const double *one = search->points[a]->goals;
  const double *other = search->points[b]->goals;
  if (search_keeps(search, a) != search_keeps(search, b)) {
    return search_keeps(search, a);
  }
  return one[0] <= other[0] && one[1] <= other[1] && (one[0] < other[0] || one[1] < other[1]);
}

/* The best by the first goal whose second is not above the cap, of all that was run; -1: none. */
static int best_under(const struct search *search, double cap) {
  int best = -1;
  for (int i = 0; i < search->count; i++) {
    if (search_keeps(search, i) && search->points[i]->goals[1] <= cap &&
        (best < 0 || search_better(search, 0, i, best))) {
      best = i;
    }
  }
  return best;
}

/* Settings that can be made, best by one goal with the other under a cap. */
static bool trade_one(struct search *search, int from, int goal, bool capped, double cap, int points, int *settled,
                      struct error *error) {
  const struct search_order order = {
      .from = from, .goal = goal, .capped = capped, .cap = cap, .reach = 0.1, .points = points};
  int best = 0;
  bool whole = false;
  return search_locally(search, &order, &best, error) &&
         search_settle(search, best, goal, false, points, settled, &whole, error);
}

/* Points from the best by the first goal to the best by the second. */
static bool trade_off(struct tuning_answer *answer, struct error *error) {
  struct search *search = &answer->search;
  int points = search->question->points / TUNING_TRADE;
  int candidates[TUNING_TRADE];
  int count = 0;
  int second = 0;
  if (search->question->goal_count < 2 || !search_keeps(search, answer->found)) {
    return true;
  }
  candidates[count++] = answer->found;
  int from = answer->found; /* of all that was run the best by the second goal */
  for (int i = 0; i < search->count; i++) {
    from = search_better(search, 1, i, from) ? i : from;
  }
  if (!trade_one(search, from, 1, false, 0.0, points, &second, error)) {
    return false;
  }
  double high = search->points[answer->found]->goals[1];
  double low = search->points[second]->goals[1];
  for (int k = TUNING_TRADE - 2; k > 0 && high > low; k--) {
    double cap = low + (high - low) * k / (TUNING_TRADE - 1);
    from = best_under(search, cap);
    from = from >= 0 ? from : second;
    if (!trade_one(search, from, 0, true, cap, points, &candidates[count++], error)) {
      return false;
    }
  }
  candidates[count++] = second;
  for (int i = 0; i < count; i++) {
    bool counts = true;
    for (int k = 0; k < count; k++) {
      counts = counts && !(k < i && candidates[k] == candidates[i]) && !dominates(search, candidates[k], candidates[i]);
    }
    if (counts) {
      answer->trade[answer->trade_count++] = candidates[i];
    }
  }
  return true;
}

/* ---- the whole ---- */

static bool search_all(struct tuning *tuning, struct tuning_answer *answer, struct error *error) {
  struct search *search = &answer->search;
  const struct search_question *question = &answer->question;
  if (!search_open(question, search, error) || !search_find(search, error)) {
    return false;
  }
  answer->best = search->best;
  if (!search_settle(search, search->best, 0, true, (int)(SETTLING * question->points) + 4 * question->variables,
                     &answer->found, &answer->settled, error)) {
    return false;
  }
  answer->keeps = search_keeps(search, answer->found);
  answer->priced_at = search_better(search, 0, answer->found, answer->best) ? answer->found : answer->best;
  count_agreeing(answer);
  return search_price(search, answer->priced_at, answer->keeps ? 0 : -1, 2.0 * tuning->accuracy, &answer->prices,
                      error) &&
         try_changes(tuning, answer, error) && trade_off(answer, error);
}

bool tuning_find(struct tuning *tuning, struct tuning_answer *answer, struct error *error) {
  double values[SEARCH_VARIABLES];
  *answer = (struct tuning_answer){.best = -1, .found = -1};
  for (int i = 0; i < tuning->setting_count; i++) {
    values[i] = NAN;
  }
  return tuning_try(tuning, values, &tuning->start_run, error) && make_conditions(tuning, error) &&
         make_question(tuning, &answer->question, error) && search_all(tuning, answer, error);
}

void tuning_answer_free(struct tuning_answer *answer) {
  search_prices_free(&answer->prices);
  search_close(&answer->search);
}

int tuning_run_of(const struct tuning_answer *answer, int point) {
  return answer->search.points[point]->tag;
}

double tuning_goal_value(const struct tuning *tuning, const struct tuning_answer *answer, int goal, int point) {
  double value = answer->search.points[point]->goals[goal];
  return tuning->goals[goal].of_margin || tuning->goals[goal].most ? -value : value;
}

enum quantity tuning_goal_quantity(const struct tuning *tuning, int goal) {
  return tuning->goals[goal].of_margin ? QUANTITY_FRACTION : measure_rows[tuning->goals[goal].measure].quantity;
}

double tuning_price(const struct tuning *tuning, const struct tuning_answer *answer, int limit, double share) {
  double sum = 0.0;
  for (int i = 0; i < tuning->flat_count; i++) {
    sum += tuning->flat[i] == limit ? answer->prices.multipliers[i] : 0.0;
  }
  return sum * share;
}

double tuning_other_question(const struct tuning *tuning, const struct tuning_answer *answer, int cell, int *measure) {
  /* Where the machine brakes: how fast it was then. Else: how fast it became. */
  static const int asked[] = {MEASURE_stop_from_speed, MEASURE_vehicle_speed_max};
  for (int k = 0; k < (int)(sizeof asked / sizeof asked[0]); k++) {
    for (int m = 0; m < tuning->measure_count; m++) {
      if (tuning->measures[m] != asked[k]) {
        continue;
      }
      double before = tuning_measured(tuning, tuning->start_run, m)[cell];
      double now = tuning_measured(tuning, tuning_run_of(answer, answer->found), m)[cell];
      if (isnan(before)) {
        continue;
      }
      double share = isnan(now) ? -1.0 : (now - before) / before;
      *measure = asked[k];
      return fabs(before) > STANDS && fabs(share) > OTHER_QUESTION ? share : 0.0;
    }
  }
  return 0.0;
}
