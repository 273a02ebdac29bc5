/* A tuning from its file. */
#include "tuning.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "draw.h"
#include "loader.h"
#include "near_file.h"
#include "text.h"
#include "units.h"

enum { CHOICES_MOST = 4096, SETS_MOST = 64, SET_ROOM = 256 };

static const char *const tuning_keys[] = {"title",   "review", "case",   "set",    "vary", "goal",    "second_goal",
                                          "reserve", "same",   "starts", "points", "seed", "accuracy"};
static const char *const range_keys[] = {"path", "from", "to", "step"};
static const char *const list_keys[] = {"path", "values"};
static const char *const goal_keys[] = {"least", "most", "over", "case", "condition"};
static const char *const same_keys[] = {"measure", "within", "case", "condition"};

#define COUNT_OF(ARRAY) ((int)(sizeof(ARRAY) / sizeof(ARRAY)[0]))

/* What is being read. */
struct reading {
  const struct loader *loader;
  struct tuning *tuning;
  const struct node *root;
  const char *const *sets; /* of the command line */
  int set_count;
};

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the tuning");
}

static const struct node *need(const struct loader *loader, const struct node *entry, const char *key) {
  const struct node *node = node_child(entry, key);
  if (node == NULL) {
    error_at(loader->error, entry->file, entry->line, entry->column, "this entry has no '%s:'", key);
  }
  return node;
}

/* ---- the review ---- */

/* "PATH=VALUE" of the mapping `set`, then the texts of the command line, then `more`. */
struct set_list {
  const char *texts[2 * SETS_MOST];
  int count;
};

static bool list_sets(const struct reading *reading, struct set_list *list) {
  const struct loader *loader = reading->loader;
  const struct node *set = node_child(reading->root, "set");
  if (set != NULL && set->kind != NODE_MAPPING) {
    return error_at(loader->error, set->file, set->line, set->column, "set: found %s, expected lines 'PATH: VALUE'",
                    node_kind_words(set));
  }
  list->count = 0;
  for (const struct node *node = set != NULL ? set->first : NULL; node != NULL; node = node->next) {
    if (!entry_word(loader, node, "one value; a table belongs into the review")) {
      return false;
    }
    size_t room = strlen(node->key) + strlen(node->text) + 2;
    char *text = arena_take(loader->arena, room);
    if (text == NULL) {
      return no_memory(loader->error);
    }
    if (list->count == SETS_MOST) {
      return error_at(loader->error, node->file, node->line, node->column, "more than %d lines", (int)SETS_MOST);
    }
    (void)snprintf(text, room, "%s=%s", node->key, node->text);
    list->texts[list->count++] = text;
  }
  for (int i = 0; i < reading->set_count; i++) {
    if (list->count == 2 * SETS_MOST - SEARCH_VARIABLES) {
      return error_set(loader->error, ERROR_USAGE, "more than %d times --set", (int)SETS_MOST - SEARCH_VARIABLES);
    }
    list->texts[list->count++] = reading->sets[i];
  }
  return true;
}

/* The review, or the one case, that the file names, with these sets. */
static bool load_review(const struct reading *reading, const struct set_list *list, struct review *review) {
  const struct loader *loader = reading->loader;
  const struct node *name = node_child(reading->root, "review");
  bool of_case = name == NULL;
  char near[NEAR_FILE_WORDS];
  name = of_case ? node_child(reading->root, "case") : name;
  if (name == NULL || (!of_case && node_child(reading->root, "case") != NULL)) {
    return error_at(loader->error, reading->root->file, reading->root->line, reading->root->column,
                    "expected either 'review:' or 'case:'");
  }
  if (!entry_word(loader, name, "a file")) {
    return false;
  }
  const char *path = loader_beside(loader->arena, reading->tuning->source, name->text);
  if (path == NULL) {
    return error_at(loader->error, name->file, name->line, name->column, "the path is too long");
  }
  if (access(path, R_OK) != 0) {
    return error_at(loader->error, name->file, name->line, name->column, "'%s' cannot be read: %s%s", path,
                    strerror(errno), near_file(path, near));
  }
  return of_case ? review_of_case(path, list->texts, list->count, review, loader->error)
                 : review_load(path, list->texts, list->count, review, loader->error);
}

/* ---- what may be set ---- */

static bool read_values(const struct loader *loader, const struct node *values, struct tuning_setting *setting) {
  if (!entries_list(loader, values, "values, as [100 bar, 120 bar]")) {
    return false;
  }
  setting->values = arena_take(loader->arena, (size_t)values->count * sizeof *setting->values);
  if (setting->values == NULL) {
    return no_memory(loader->error);
  }
  for (const struct node *node = values->first; node != NULL; node = node->next) {
    double *value = &setting->values[setting->value_count];
    if (!parameter_ref_read(loader, &setting->ref, setting->path, node, value)) {
      return false;
    }
    for (int i = 0; i < setting->value_count; i++) {
      if (setting->values[i] == *value) {
        return error_at(loader->error, node->file, node->line, node->column, "the value is here twice");
      }
    }
    setting->value_count++;
  }
  return true;
}

static bool read_range(const struct loader *loader, const struct node *entry, struct tuning_setting *setting) {
  const struct node *from = need(loader, entry, "from");
  const struct node *to = from != NULL ? need(loader, entry, "to") : NULL;
  const struct node *step = node_child(entry, "step");
  enum quantity quantity = setting->ref.quantity;
  quantity = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
  if (setting->ref.choices != NULL) {
    return error_at(loader->error, entry->file, entry->line, entry->column,
                    "'%s' is a choice and has no range; give 'values:'", setting->path);
  }
  if (to == NULL || !parameter_ref_read(loader, &setting->ref, setting->path, from, &setting->from) ||
      !parameter_ref_read(loader, &setting->ref, setting->path, to, &setting->to) ||
      (step != NULL && !number_read(loader, "step", quantity, step, &setting->step))) {
    return false;
  }
  if (!(setting->to > setting->from)) {
    return error_at(loader->error, to->file, to->line, to->column, "to: must lie above from");
  }
  if (step != NULL && !(setting->step > 0.0 && setting->step <= setting->to - setting->from)) {
    return error_at(loader->error, step->file, step->line, step->column,
                    "step: must be above zero and no longer than the range");
  }
  return true;
}

static bool read_setting(const struct reading *reading, const struct node *entry, struct tuning_setting *setting) {
  const struct loader *loader = reading->loader;
  bool list = entry->kind == NODE_MAPPING && node_child(entry, "values") != NULL;
  struct error inner = {0};
  if (!entries_known(loader, entry,
                     list ? "a list: 'path:' and 'values:'" : "a setting: 'path:', 'from:', 'to:', 'step:'",
                     list ? list_keys : range_keys, list ? COUNT_OF(list_keys) : COUNT_OF(range_keys))) {
    return false;
  }
  const struct node *path = need(loader, entry, "path");
  if (path == NULL || !entry_word(loader, path, "the path of a parameter")) {
    return false;
  }
  if (!parameter_ref_find(&reading->tuning->review.plan.cells[0].data, path->text, &setting->ref, &inner)) {
    return error_at(loader->error, path->file, path->line, node_column(path, inner.column - 1), "%s", inner.text);
  }
  for (int i = 0; i < reading->tuning->setting_count; i++) {
    if (strcmp(reading->tuning->settings[i].path, path->text) == 0) {
      return error_at(loader->error, path->file, path->line, path->column, "'%s' is set twice", path->text);
    }
  }
  setting->path = path->text;
  setting->variable = -1;
  return list ? read_values(loader, node_child(entry, "values"), setting) : read_range(loader, entry, setting);
}

/* Its number as variable, or its place in the numbers of choices; where the search begins. */
static bool place_setting(const struct reading *reading, const struct node *entry, struct tuning_setting *setting) {
  struct tuning *tuning = reading->tuning;
  const struct plan *plan = &tuning->review.plan;
  setting->start = parameter_ref_get(&plan->cells[0].data, &setting->ref);
  for (int c = 1; c < plan->cell_count; c++) {
    setting->uneven = setting->uneven || parameter_ref_get(&plan->cells[c].data, &setting->ref) != setting->start;
  }
  if (setting->value_count == 0) {
    double range = setting->to - setting->from;
    setting->variable = tuning->variables;
    tuning->first[tuning->variables] = fmin(fmax((setting->start - setting->from) / range, 0.0), 1.0);
    tuning->steps[tuning->variables++] = setting->step / range;
    return true;
  }
  if (tuning->choices > CHOICES_MOST / setting->value_count) {
    return error_at(reading->loader->error, entry->file, entry->line, entry->column,
                    "the lists have more than %d combinations", (int)CHOICES_MOST);
  }
  setting->stride = tuning->choices;
  for (int i = 0; i < setting->value_count; i++) {
    if (setting->values[i] == setting->start) {
      tuning->first_choice += i * setting->stride;
    }
  }
  tuning->choices *= setting->value_count;
  return true;
}

static bool read_settings(const struct reading *reading) {
  const struct loader *loader = reading->loader;
  struct tuning *tuning = reading->tuning;
  const struct node *list = need(loader, reading->root, "vary");
  if (list == NULL || !entries_list(loader, list, "entries 'path: ...'")) {
    return false;
  }
  if (list->count > SEARCH_VARIABLES) {
    return error_at(loader->error, list->file, list->line, list->column, "more than %d settings",
                    (int)SEARCH_VARIABLES);
  }
  tuning->settings = arena_take(loader->arena, (size_t)list->count * sizeof *tuning->settings);
  if (tuning->settings == NULL) {
    return no_memory(loader->error);
  }
  tuning->choices = 1;
  for (const struct node *entry = list->first; entry != NULL; entry = entry->next) {
    struct tuning_setting *setting = &tuning->settings[tuning->setting_count];
    if (!read_setting(reading, entry, setting) || !place_setting(reading, entry, setting)) {
      return false;
    }
    tuning->setting_count++;
  }
  return true;
}

/* A value of the setting that the review does not have. */
static double other_value(const struct tuning_setting *setting) {
  if (setting->value_count == 0) {
    return setting->start == setting->to ? setting->from : setting->to;
  }
  for (int i = 0; i < setting->value_count; i++) {
    if (setting->values[i] != setting->start) {
      return setting->values[i];
    }
  }
  return setting->start;
}

/* What a case or a condition sets itself is part of the question, and must not be tuned: read once more with other
 * values of all settings, every cell has these. */
static bool check_question(const struct reading *reading, const struct set_list *sets) {
  const struct loader *loader = reading->loader;
  struct tuning *tuning = reading->tuning;
  struct set_list list = *sets;
  struct review other = {0};
  if (tuning->review.case_count == 1 && tuning->review.condition_count == 1) {
    return true;
  }
  for (int i = 0; i < tuning->setting_count; i++) {
    const struct tuning_setting *setting = &tuning->settings[i];
    char value[SET_ROOM];
    char *text = arena_take(loader->arena, SET_ROOM + strlen(setting->path));
    if (text == NULL) {
      return no_memory(loader->error);
    }
    (void)(setting->ref.choices != NULL
               ? registry_choice_name(setting->ref.choices, (int)other_value(setting), value, sizeof value)
               : units_write(setting->ref.quantity, other_value(setting), value, sizeof value));
    (void)snprintf(text, SET_ROOM + strlen(setting->path), "%s=%s", setting->path, value);
    list.texts[list.count++] = text;
  }
  if (!load_review(reading, &list, &other)) {
    return false;
  }
  bool good = true;
  for (int c = 0; good && c < other.plan.cell_count; c++) {
    for (int i = 0; good && i < tuning->setting_count; i++) {
      const struct tuning_setting *setting = &tuning->settings[i];
      double wanted = other_value(setting);
      double has = parameter_ref_get(&other.plan.cells[c].data, &setting->ref);
      good = fabs(has - wanted) <= 1e-9 * fabs(wanted) ||
             error_at(loader->error, reading->root->file, reading->root->line, 0,
                      "'%s' is set for %s, %s itself: it is part of what the review asks and cannot be tuned",
                      setting->path, other.plan.cells[c].case_name, other.plan.cells[c].condition);
    }
  }
  review_free(&other);
  return good;
}

/* ---- goals ---- */

static const char *measure_at(const void *context, int index) {
  (void)context;
  return measure_rows[index].name;
}

static bool read_measure(const struct loader *loader, const struct node *node, int *measure) {
  if (!entry_word(loader, node, "a measure")) {
    return false;
  }
  *measure = measure_find(node->text);
  return *measure >= 0 ||
         error_at(loader->error, node->file, node->line, node->column, "'%s' is no measure%s",
                  text_excerpt(node->text).text, hint_nearest(node->text, MEASURE_COUNT, measure_at, NULL).text);
}

/* Its place among the measures that are kept of every cell. */
static int keep_measure(struct tuning *tuning, int measure) {
  for (int i = 0; i < tuning->measure_count; i++) {
    if (tuning->measures[i] == measure) {
      return i;
    }
  }
  tuning->measures[tuning->measure_count] = measure;
  return tuning->measure_count++;
}

/* Cells of the case and condition named; all where none is. The names are put behind `words`. */
static bool read_cells(const struct reading *reading, const struct node *entry, bool **cells, char *words,
                       size_t room) {
  const struct loader *loader = reading->loader;
  const struct plan *plan = &reading->tuning->review.plan;
  static const char *const keys[2] = {"case", "condition"};
  *cells = arena_take(loader->arena, (size_t)plan->cell_count * sizeof **cells);
  if (*cells == NULL) {
    return no_memory(loader->error);
  }
  for (int c = 0; c < plan->cell_count; c++) {
    (*cells)[c] = true;
  }
  for (int k = 0; k < 2; k++) {
    const struct node *name = node_child(entry, keys[k]);
    bool any = false;
    for (int c = 0; name != NULL && c < plan->cell_count; c++) {
      bool is = name->kind == NODE_TEXT &&
                strcmp(name->text, k == 0 ? plan->cells[c].case_name : plan->cells[c].condition) == 0;
      any = any || is;
      (*cells)[c] = (*cells)[c] && is;
    }
    if (name != NULL && !any) {
      return error_at(loader->error, name->file, name->line, name->column, "the review has no %s of this name",
                      keys[k]);
    }
    size_t used = strlen(words);
    if (name != NULL && used + 1 < room) {
      (void)snprintf(words + used, room - used, ", %s", name->text);
    }
  }
  return true;
}

static bool read_goal(const struct reading *reading, const struct node *node, struct tuning_goal *goal) {
  const struct loader *loader = reading->loader;
  if (node->kind == NODE_TEXT) {
    if (strcmp(node->text, "worst_margin") != 0) {
      return error_at(loader->error, node->file, node->line, node->column,
                      "found '%s', expected 'worst_margin', {least: MEASURE} or {most: MEASURE}",
                      text_excerpt(node->text).text);
    }
    goal->of_margin = true;
    (void)snprintf(goal->words, sizeof goal->words, "largest worst margin");
    return true;
  }
  if (!entries_known(loader, node, "a goal: 'least:' or 'most:', 'over:', 'case:', 'condition:'", goal_keys,
                     COUNT_OF(goal_keys))) {
    return false;
  }
  const struct node *least = node_child(node, "least");
  const struct node *most = node_child(node, "most");
  const struct node *over = node_child(node, "over");
  int chosen = TUNING_WORST;
  if ((least == NULL) == (most == NULL)) {
    return error_at(loader->error, node->file, node->line, node->column, "expected one of 'least:' and 'most:'");
  }
  if (!read_measure(loader, least != NULL ? least : most, &goal->measure) ||
      (over != NULL && !choice_read(loader, "over", "worst|mean", over, &chosen))) {
    return false;
  }
  goal->most = most != NULL;
  goal->over = (enum tuning_over)chosen;
  goal->place = keep_measure(reading->tuning, goal->measure);
  (void)snprintf(goal->words, sizeof goal->words, "%s %s, %s cell", goal->most ? "most" : "least",
                 measure_rows[goal->measure].name, goal->over == TUNING_WORST ? "worst" : "mean");
  return read_cells(reading, node, &goal->cells, goal->words, sizeof goal->words);
}

static bool read_goals(const struct reading *reading) {
  const struct loader *loader = reading->loader;
  struct tuning *tuning = reading->tuning;
  static const char *const keys[SEARCH_GOALS] = {"goal", "second_goal"};
  for (int g = 0; g < SEARCH_GOALS; g++) {
    const struct node *node = node_child(reading->root, keys[g]);
    if (node == NULL && g == 0) {
      tuning->goals[tuning->goal_count++].of_margin = true;
      (void)snprintf(tuning->goals[0].words, sizeof tuning->goals[0].words, "largest worst margin");
    } else if (node != NULL) {
      if (!read_goal(reading, node, &tuning->goals[g])) {
        return false;
      }
      tuning->goal_count++;
    }
  }
  if (tuning->goal_count == 2 && tuning->goals[0].of_margin && tuning->goals[1].of_margin) {
    return error_at(loader->error, reading->root->file, reading->root->line, reading->root->column,
                    "both goals are the worst margin");
  }
  return true;
}

/* What must stay as it was. The speeds of the manoeuvre are kept in any case, to see whether it is the same. */
static bool read_same(const struct reading *reading) {
  const struct loader *loader = reading->loader;
  struct tuning *tuning = reading->tuning;
  const struct node *list = node_child(reading->root, "same");
  (void)keep_measure(tuning, MEASURE_vehicle_speed_max);
  (void)keep_measure(tuning, MEASURE_stop_from_speed);
  (void)keep_measure(tuning, MEASURE_vouched);
  if (list == NULL) {
    return true;
  }
  if (!entries_list(loader, list, "entries 'measure:' and 'within:'")) {
    return false;
  }
  if (list->count > TUNING_SAME) {
    return error_at(loader->error, list->file, list->line, list->column, "more than %d entries", (int)TUNING_SAME);
  }
  for (const struct node *entry = list->first; entry != NULL; entry = entry->next) {
    struct tuning_same *same = &tuning->same[tuning->same_count];
    if (!entries_known(loader, entry, "what stays the same: 'measure:', 'within:', 'case:', 'condition:'", same_keys,
                       COUNT_OF(same_keys))) {
      return false;
    }
    const struct node *measure = need(loader, entry, "measure");
    const struct node *within = measure != NULL ? need(loader, entry, "within") : NULL;
    if (within == NULL || !read_measure(loader, measure, &same->measure) ||
        !number_read(loader, "within", QUANTITY_FRACTION, within, &same->within)) {
      return false;
    }
    if (!(same->within > 0.0 && same->within <= 1.0)) {
      return error_at(loader->error, within->file, within->line, within->column, "within: expected above 0 to 100 %%");
    }
    char words[2] = "";
    same->place = keep_measure(tuning, same->measure);
    if (!read_cells(reading, entry, &same->cells, words, sizeof words)) {
      return false;
    }
    tuning->same_count++;
  }
  return true;
}

/* ---- the rest ---- */

static bool read_number(const struct reading *reading, const char *key, double low, double high, int64_t *value) {
  const struct node *node = node_child(reading->root, key);
  return node == NULL || entry_whole(reading->loader, node, low, high, value);
}

static bool read_share(const struct reading *reading, const char *key, double low, double high, double *value) {
  const struct loader *loader = reading->loader;
  const struct node *node = node_child(reading->root, key);
  if (node == NULL) {
    return true;
  }
  return number_read(loader, key, QUANTITY_FRACTION, node, value) &&
         ((*value >= low && *value <= high) || error_at(loader->error, node->file, node->line, node->column,
                                                        "%s: expected %g %% to %g %%", key, 100.0 * low, 100.0 * high));
}

static bool read_rest(const struct reading *reading) {
  struct tuning *tuning = reading->tuning;
  int64_t starts = 4;
  int64_t points = 300;
  int64_t seed = 1;
  tuning->accuracy = 0.005;
  if (!read_number(reading, "starts", 1, 1000, &starts) || !read_number(reading, "points", 10, 1e5, &points) ||
      !read_number(reading, "seed", 0, 9007199254740992.0, &seed) ||
      !read_share(reading, "accuracy", 1e-6, 0.1, &tuning->accuracy) ||
      !read_share(reading, "reserve", 0.0, 1.0, &tuning->reserve)) {
    return false;
  }
  tuning->starts = (int)starts;
  tuning->points = (int)points;
  tuning->seed = (uint64_t)seed;
  return true;
}

static bool read_title(const struct reading *reading) {
  const struct node *title = node_child(reading->root, "title");
  reading->tuning->title = title != NULL ? title->text : reading->tuning->review.plan.title;
  return title == NULL || entry_word(reading->loader, title, "a text");
}

/* Every limit of every cell, one after the other. */
static bool list_limits(struct tuning *tuning, struct arena *arena, struct error *error) {
  const struct plan *plan = &tuning->review.plan;
  size_t room = (size_t)plan_limit_count(plan) * (size_t)plan->cell_count + 1;
  tuning->flat = arena_take(arena, room * sizeof *tuning->flat);
  tuning->flat_cell = arena_take(arena, room * sizeof *tuning->flat_cell);
  if (tuning->flat == NULL || tuning->flat_cell == NULL) {
    return no_memory(error);
  }
  for (int c = 0; c < plan->cell_count; c++) {
    for (int i = 0; i < plan->cells[c].data.limit_count; i++) {
      tuning->flat[tuning->flat_count] = tuning->review.places[c * plan_limit_count(plan) + i];
      tuning->flat_cell[tuning->flat_count++] = c;
    }
  }
  return tuning->flat_count > 0 ||
         error_set(error, ERROR_INPUT, "%s: no case has a limit: there is nothing to keep", tuning->source);
}

/* What the file's own text and the command line decide, on top of what the cases do. */
static uint64_t fingerprint_of(const struct tuning *tuning, const char *text) {
  uint64_t hash = draw_hash(tuning->review.plan.fingerprint, text, strlen(text) + 1);
  return draw_hash(hash, "tuning", 6);
}

bool tuning_load(const char *path, const char *const *sets, int set_count, struct tuning *tuning, struct error *error) {
  *tuning = (struct tuning){.start_run = -1};
  struct arena *arena = arena_open();
  const struct loader loader = {arena, NULL, error, NULL, NULL};
  const struct input_file *own = NULL;
  struct set_list list = {{NULL}, 0};
  const char *why = "";
  char near[NEAR_FILE_WORDS];
  size_t length = 0;
  tuning->memory = arena;
  tuning->source = arena != NULL ? arena_text(arena, path, strlen(path)) : NULL;
  if (tuning->source == NULL) {
    tuning_free(tuning);
    return no_memory(error);
  }
  char *text = reader_file(arena, NULL, path, READER_FILE_LIMIT, &own, &length, &why);
  if (text == NULL) {
    error_at(error, path, 0, 0, "cannot be read: %s%s", why, near_file(path, near));
    tuning_free(tuning);
    return false;
  }
  const struct node *root = reader_parse(arena, path, text, length, -1, error);
  const struct reading reading = {&loader, tuning, root, sets, set_count};
  bool good = root != NULL && entries_known(&loader, root, "a tuning", tuning_keys, COUNT_OF(tuning_keys)) &&
              list_sets(&reading, &list) && load_review(&reading, &list, &tuning->review);
  tuning->loaded = good;
  good = good && read_title(&reading) && read_settings(&reading) && check_question(&reading, &list) &&
         read_goals(&reading) && read_same(&reading) && read_rest(&reading) && list_limits(tuning, arena, error);
  if (!good) {
    case_hide_outside(path, error);
    tuning_free(tuning);
    return false;
  }
  tuning->own_file = own;
  tuning->fingerprint = fingerprint_of(tuning, text);
  return true;
}

void tuning_free(struct tuning *tuning) {
  for (int i = 0; i < tuning->run_count; i++) {
    free(tuning->runs[i].values);
  }
  free(tuning->runs);
  free(tuning->conditions);
  if (tuning->loaded) {
    review_free(&tuning->review);
  }
  arena_close(tuning->memory);
  *tuning = (struct tuning){0};
}
