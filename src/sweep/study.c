/* A study from its file. */
#include "plan.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "draw.h"
#include "text.h"
#include "near_file.h"

static const char *const study_keys[] = {"title",    "case",           "set",      "vary",        "arrange",
                                         "count",    "seed",           "scramble", "points",      "compare",
                                         "measures", "keep_histories", "limits",   "case_budget", "grows_from"};
enum { STUDY_KEY_COUNT = sizeof study_keys / sizeof study_keys[0] };

static bool read_yes(const struct loader *loader, const struct node *node, bool *yes) {
  int chosen = 0;
  if (!choice_read(loader, node->key, "no|yes", node, &chosen)) {
    return false;
  }
  *yes = chosen == 1;
  return true;
}

/* ---- the case below ---- */

static bool read_base(struct plan *plan, const struct loader *loader, const struct node *root) {
  const struct node *name = node_child(root, "case");
  if (!name) {
    return error_at(loader->error, root->file, root->line, root->column, "the study has no 'case:'");
  }
  if (!entry_word(loader, name, "the file of a case")) {
    return false;
  }
  const struct node *set = node_child(root, "set");
  if (set && set->kind != NODE_MAPPING) {
    return error_at(loader->error, set->file, set->line, set->column, "set: found %s, expected lines 'PATH: VALUE'",
                    node_kind_words(set));
  }
  const char *path = loader_beside(plan->memory, plan->source, name->text);
  if (!path) {
    return error_at(loader->error, name->file, name->line, name->column, "case: the path is too long");
  }
  if (loader->carried == NULL && access(path, R_OK) != 0) {
    char near[NEAR_FILE_WORDS];
    return error_at(loader->error, name->file, name->line, name->column, "case file '%s' cannot be read: %s%s", path,
                    strerror(errno), near_file(path, near));
  }
  return case_load_for_study(path, set, node_child(root, "limits"), loader->carried, &plan->base, loader->error);
}

static bool read_title(struct plan *plan, const struct loader *loader, const struct node *root) {
  const struct node *title = node_child(root, "title");
  plan->title = plan->base.title;
  if (title) {
    if (!entry_word(loader, title, "a text")) {
      return false;
    }
    plan->title = title->text;
  }
  return true;
}

/* ---- what varies ---- */

static const struct axis *same_ref(const struct plan *plan, const struct axis *axis) {
  for (int i = 0; i < plan->axis_count; i++) {
    for (int a = 0; a < axis->ref_count; a++) {
      for (int b = 0; b < plan->axes[i].ref_count; b++) {
        if (strcmp(axis->paths[a], plan->axes[i].paths[b]) == 0) {
          return &plan->axes[i];
        }
      }
    }
  }
  return NULL;
}

static bool read_axes(struct plan *plan, const struct loader *loader, const struct node *list) {
  if (!entries_list(loader, list, "entries 'path: ...'")) {
    return false;
  }
  plan->axes = arena_take(plan->memory, (size_t)list->count * sizeof *plan->axes);
  if (!plan->axes) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *entry = list->first; entry; entry = entry->next) {
    struct axis *axis = &plan->axes[plan->axis_count];
    if (!axis_read(loader, entry, axis)) {
      return false;
    }
    const struct axis *twin = same_ref(plan, axis);
    if (twin) {
      return error_at(loader->error, entry->file, entry->line, entry->column, "'%s' varies already, in line %d",
                      axis->path, twin->node->line);
    }
    plan->axis_count++;
  }
  return true;
}

/* ---- how ---- */

static const char arrangements[] = "grid|together|latin_hypercube|sobol|points|random|saltelli";

const char *plan_arrangement(const struct plan *plan, char *buffer, int size) {
  return registry_choice_name(arrangements, (int)plan->arrangement, buffer, size);
}

static bool needs_count(const struct loader *loader, const struct axis *axis, const char *arrangement) {
  if (axis->count > 0) {
    return true;
  }
  return error_at(loader->error, axis->node->file, axis->node->line, axis->node->column,
                  "'%s' has any number of values; the arrangement '%s' needs 'values:', or 'from:', 'to:' and 'count:'",
                  axis->path, arrangement);
}

static bool count_grid(struct plan *plan, const struct loader *loader) {
  plan->samples = 1;
  for (int i = 0; i < plan->axis_count; i++) {
    const struct axis *axis = &plan->axes[i];
    if (!needs_count(loader, axis, "grid")) {
      return false;
    }
    if (axis->count > PLAN_CASE_LIMIT / plan->samples) {
      return error_at(loader->error, axis->node->file, axis->node->line, axis->node->column,
                      "more than %" PRId64 " cases", PLAN_CASE_LIMIT);
    }
    plan->samples *= axis->count;
  }
  return true;
}

static bool count_together(struct plan *plan, const struct loader *loader) {
  plan->samples = plan->axes[0].count;
  for (int i = 0; i < plan->axis_count; i++) {
    const struct axis *axis = &plan->axes[i];
    if (!needs_count(loader, axis, "together")) {
      return false;
    }
    if (axis->count != plan->samples) {
      return error_at(loader->error, axis->node->file, axis->node->line, axis->node->column,
                      "'%s' has %ld values and '%s' has %" PRId64 "; together all have as many", axis->path,
                      axis->count, plan->axes[0].path, plan->samples);
    }
  }
  return true;
}

static bool count_drawn(struct plan *plan, const struct loader *loader, const struct node *root, const char *name) {
  const struct node *count = node_child(root, "count");
  if (!count) {
    return error_at(loader->error, root->file, root->line, root->column, "the arrangement '%s' needs 'count:'", name);
  }
  for (int i = 0; i < plan->axis_count; i++) {
    const struct axis *axis = &plan->axes[i];
    if (axis->kind == AXIS_RANGE && axis->count > 0) {
      const struct node *own = node_child(axis->node, "count");
      return error_at(loader->error, own->file, own->key_line, own->key_column,
                      "count: the arrangement '%s' takes any value of the range; leave it out", name);
    }
  }
  bool saltelli = plan->arrangement == ARRANGE_SALTELLI;
  int most = plan->arrangement == ARRANGE_SOBOL ? DRAW_SOBOL_DIMENSIONS
             : saltelli                         ? DRAW_SOBOL_DIMENSIONS / 2
                                                : 1 << 20;
  if (plan->axis_count > most) {
    return error_at(loader->error, root->file, root->line, root->column, "a %s arrangement varies at most %d things",
                    name, most);
  }
  if (saltelli && node_child(root, "compare")) {
    const struct node *compare = node_child(root, "compare");
    return error_at(loader->error, compare->file, compare->key_line, compare->key_column,
                    "'compare' has no meaning with the arrangement 'saltelli': its indices are of one setting");
  }
  int64_t group = saltelli ? plan->axis_count + 2 : 1;
  if (!entry_whole(loader, count, 1.0, floor((double)PLAN_CASE_LIMIT / (double)group), &plan->samples)) {
    return false;
  }
  plan->samples *= group;
  plan->first_samples = plan->samples;
  return true;
}

/* A Latin hypercube has grown by doublings. */
static bool read_first(struct plan *plan, const struct loader *loader, const struct node *first) {
  if (!first) {
    return true;
  }
  if (!entry_whole(loader, first, 1.0, (double)plan->samples, &plan->first_samples)) {
    return false;
  }
  int64_t grown = plan->first_samples;
  while (grown < plan->samples) {
    grown *= 2;
  }
  return grown == plan->samples || error_at(loader->error, first->file, first->line, first->column,
                                            "grows_from: a Latin hypercube grows by doubling; from %" PRId64
                                            " cases to %" PRId64 " or %" PRId64 ", not to %" PRId64,
                                            plan->first_samples, grown / 2, grown, plan->samples);
}

/* A key that has no meaning here is a mistake of the one who wrote it. */
static bool refuse(const struct loader *loader, const struct node *root, const char *key, bool wanted,
                   const char *arrangement) {
  const struct node *node = node_child(root, key);
  if (!node || wanted) {
    return true;
  }
  return error_at(loader->error, node->file, node->key_line, node->key_column,
                  "'%s' has no meaning with the arrangement '%s'", key, arrangement);
}

static bool read_arrangement(struct plan *plan, const struct loader *loader, const struct node *root) {
  const struct node *arrange = node_child(root, "arrange");
  int chosen = 0;
  if (arrange && !choice_read(loader, "arrange", arrangements, arrange, &chosen)) {
    return false;
  }
  char name[32];
  registry_choice_name(arrangements, chosen, name, sizeof name);
  plan->arrangement = (enum arrangement)chosen;
  bool points = plan->arrangement == ARRANGE_POINTS;
  bool sobol = plan->arrangement == ARRANGE_SOBOL;
  bool drawn = sobol || plan->arrangement == ARRANGE_LATIN_HYPERCUBE || plan->arrangement == ARRANGE_RANDOM ||
               plan->arrangement == ARRANGE_SALTELLI;
  if (!refuse(loader, root, "points", points, name) || !refuse(loader, root, "vary", !points, name) ||
      !refuse(loader, root, "count", drawn, name) || !refuse(loader, root, "seed", drawn, name) ||
      !refuse(loader, root, "scramble", sobol, name) ||
      !refuse(loader, root, "grows_from", plan->arrangement == ARRANGE_LATIN_HYPERCUBE, name)) {
    return false;
  }
  const struct node *list = node_child(root, points ? "points" : "vary");
  if (!list) {
    return error_at(loader->error, root->file, root->line, root->column, "the study has no '%s:'",
                    points ? "points" : "vary");
  }
  if (points) {
    return entry_word(loader, list, "the file of a table") && points_read(loader, list, plan);
  }
  int64_t seed = 0;
  const struct node *seed_node = node_child(root, "seed");
  const struct node *scramble = node_child(root, "scramble");
  plan->scramble = sobol;
  if ((seed_node && !entry_whole(loader, seed_node, 0.0, 9007199254740992.0, &seed)) ||
      (scramble && !read_yes(loader, scramble, &plan->scramble)) || !read_axes(plan, loader, list)) {
    return false;
  }
  plan->seed = (uint64_t)seed;
  if (plan->arrangement == ARRANGE_GRID) {
    return count_grid(plan, loader);
  }
  if (!drawn) {
    return count_together(plan, loader);
  }
  return count_drawn(plan, loader, root, name) && read_first(plan, loader, node_child(root, "grows_from"));
}

/* ---- settings compared ---- */

static bool read_setting(struct plan *plan, const struct loader *loader, const struct node *entry,
                         struct setting *setting) {
  static const char *const keys[] = {"name", "set"};
  if (!entries_known(loader, entry, "a setting: 'name:' and 'set:'", keys, 2)) {
    return false;
  }
  const struct node *name = node_child(entry, "name");
  if (!name) {
    return error_at(loader->error, entry->file, entry->line, entry->column, "the setting has no 'name:'");
  }
  if (!entry_word(loader, name, "a name")) {
    return false;
  }
  setting->name = name->text;
  const struct node *set = node_child(entry, "set");
  if (set && set->kind != NODE_MAPPING) {
    return error_at(loader->error, set->file, set->line, set->column, "set: found %s, expected lines 'PATH: VALUE'",
                    node_kind_words(set));
  }
  size_t room = set ? (size_t)set->count : 0;
  setting->refs = arena_take(plan->memory, room * sizeof *setting->refs);
  setting->values = arena_take(plan->memory, room * sizeof *setting->values);
  if (!setting->refs || !setting->values) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *node = set ? set->first : NULL; node; node = node->next) {
    struct error inner = {0};
    struct parameter_ref *ref = &setting->refs[setting->count];
    if (!parameter_ref_find(&plan->base, node->key, ref, &inner)) {
      return error_at(loader->error, node->file, node->key_line, node->key_column + inner.column - 1, "%s", inner.text);
    }
    for (int i = 0; i < plan->axis_count; i++) {
      for (int p = 0; p < plan->axes[i].ref_count; p++) {
        if (strcmp(plan->axes[i].paths[p], node->key) == 0) {
          return error_at(loader->error, node->file, node->key_line, node->key_column,
                          "'%s' varies over the cases; a setting cannot set it", node->key);
        }
      }
    }
    if (!parameter_ref_read(loader, ref, node->key, node, &setting->values[setting->count++])) {
      return false;
    }
  }
  return true;
}

/* Everything that some setting sets, as it is in the case. */
static bool make_unset(struct plan *plan, const struct loader *loader) {
  int count = 0;
  for (int i = 0; i < plan->setting_count; i++) {
    count += plan->settings[i].count;
  }
  struct setting *unset = &plan->unset;
  unset->refs = arena_take(plan->memory, (size_t)count * sizeof *unset->refs);
  unset->values = arena_take(plan->memory, (size_t)count * sizeof *unset->values);
  if (!unset->refs || !unset->values) {
    return loader_out_of_memory(loader);
  }
  for (int i = 0; i < plan->setting_count; i++) {
    for (int s = 0; s < plan->settings[i].count; s++) {
      unset->refs[unset->count] = plan->settings[i].refs[s];
      unset->values[unset->count] = parameter_ref_get(&plan->base, &plan->settings[i].refs[s]);
      unset->count++;
    }
  }
  return true;
}

static bool read_settings(struct plan *plan, const struct loader *loader, const struct node *list) {
  plan->cases = plan->samples;
  if (!list) {
    return true;
  }
  if (!entries_list(loader, list, "settings: 'name:' and 'set:'")) {
    return false;
  }
  plan->settings = arena_take(plan->memory, (size_t)list->count * sizeof *plan->settings);
  if (!plan->settings) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *entry = list->first; entry; entry = entry->next) {
    struct setting *setting = &plan->settings[plan->setting_count];
    if (!read_setting(plan, loader, entry, setting)) {
      return false;
    }
    for (int i = 0; i < plan->setting_count; i++) {
      if (strcmp(plan->settings[i].name, setting->name) == 0) {
        return error_at(loader->error, entry->file, entry->line, entry->column, "two settings are named '%s'",
                        setting->name);
      }
    }
    plan->setting_count++;
  }
  plan->cases = plan->samples * plan->setting_count;
  if (plan->cases > PLAN_CASE_LIMIT) {
    return error_at(loader->error, list->file, list->line, list->column, "more than %" PRId64 " cases",
                    PLAN_CASE_LIMIT);
  }
  return make_unset(plan, loader);
}

/* ---- what is kept ---- */

static const char *measure_at(const void *context, int index) {
  (void)context;
  return measure_rows[index].name;
}

static bool read_measures(struct plan *plan, const struct loader *loader, const struct node *list) {
  size_t count = list && list->kind == NODE_LIST ? (size_t)list->count : MEASURE_COUNT;
  if (list && !entries_list(loader, list, "names of measures")) {
    return false;
  }
  plan->measures = arena_take(plan->memory, count * sizeof *plan->measures);
  if (!plan->measures) {
    return loader_out_of_memory(loader);
  }
  for (int i = 0; !list && i < MEASURE_COUNT; i++) {
    plan->measures[plan->measure_count++] = i;
  }
  for (const struct node *node = list ? list->first : NULL; node; node = node->next) {
    if (!entry_word(loader, node, "the name of a measure")) {
      return false;
    }
    int found = measure_find(node->text);
    if (found < 0) {
      return error_at(loader->error, node->file, node->line, node->column, "'%s' is no measure%s",
                      text_excerpt(node->text).text, hint_nearest(node->text, MEASURE_COUNT, measure_at, NULL).text);
    }
    for (int i = 0; i < plan->measure_count; i++) {
      if (plan->measures[i] == found) {
        return error_at(loader->error, node->file, node->line, node->column, "'%s' is here twice", node->text);
      }
    }
    plan->measures[plan->measure_count++] = found;
  }
  return true;
}

static int compare_cases(const void *a, const void *b) {
  int64_t first = *(const int64_t *)a;
  int64_t second = *(const int64_t *)b;
  return (first > second) - (first < second);
}

static bool read_kept_cases(struct plan *plan, const struct loader *loader, const struct node *list) {
  if (list->kind == NODE_TEXT && strcmp(list->text, "all") == 0) {
    plan->keep.all = true;
    return true;
  }
  if (!entries_list(loader, list, "numbers of cases, from 0, or the word all")) {
    return false;
  }
  plan->keep.cases = arena_take(plan->memory, (size_t)list->count * sizeof *plan->keep.cases);
  if (!plan->keep.cases) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *node = list->first; node; node = node->next) {
    if (!entry_whole(loader, node, 0.0, (double)(plan->cases - 1), &plan->keep.cases[plan->keep.case_count++])) {
      return false;
    }
  }
  qsort(plan->keep.cases, (size_t)plan->keep.case_count, sizeof *plan->keep.cases, compare_cases);
  return true;
}

static bool read_kept_when(struct plan *plan, const struct loader *loader, const struct node *when) {
  bool list = when->kind == NODE_LIST;
  size_t count = list ? (size_t)when->count : 1;
  plan->keep.conditions = arena_take(plan->memory, count * sizeof *plan->keep.conditions);
  if (!plan->keep.conditions) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *node = list ? when->first : when; node; node = list ? node->next : NULL) {
    struct condition *condition = &plan->keep.conditions[plan->keep.condition_count++];
    if (!condition_read(loader, node, condition)) {
      return false;
    }
    if (condition->signal != CONDITION_MEASURE) {
      return error_at(loader->error, node->file, node->line, node->column,
                      "'%s' is a signal; histories are kept by a measure, known at the end of the run",
                      condition->name);
    }
  }
  return true;
}

static bool read_keep(struct plan *plan, const struct loader *loader, const struct node *keep) {
  static const char *const keys[] = {"cases", "when", "failed"};
  if (!keep) {
    return true;
  }
  if (!entries_known(loader, keep, "keep_histories: 'cases:', 'when:' or 'failed:'", keys, 3)) {
    return false;
  }
  const struct node *cases = node_child(keep, "cases");
  const struct node *when = node_child(keep, "when");
  const struct node *failed = node_child(keep, "failed");
  return (!cases || read_kept_cases(plan, loader, cases)) && (!when || read_kept_when(plan, loader, when)) &&
         (!failed || read_yes(loader, failed, &plan->keep.failed));
}

/* Processor time that a case may take. */
static bool read_budget(struct plan *plan, const struct loader *loader, const struct node *budget) {
  if (!budget) {
    return true;
  }
  if (!number_read(loader, budget->key, QUANTITY_TIME, budget, &plan->case_budget)) {
    return false;
  }
  return (plan->case_budget >= 1e-3 && plan->case_budget <= 1e6) ||
         error_at(loader->error, budget->file, budget->line, budget->column,
                  "case_budget: expected 0.001 s to 1e6 s of processor time");
}

bool study_read(struct plan *plan, const struct carried_files *carried, const char *text, size_t length,
                struct error *error) {
  struct loader loader = {plan->memory, &plan->base, error, NULL, carried};
  const struct node *root = reader_parse(plan->memory, plan->source, text, length, -1, error);
  if (!root) {
    return false;
  }
  plan->text = arena_text(plan->memory, text, length);
  return (plan->text || loader_out_of_memory(&loader)) &&
         entries_known(&loader, root, "a study", study_keys, STUDY_KEY_COUNT) && read_base(plan, &loader, root) &&
         read_title(plan, &loader, root) && read_arrangement(plan, &loader, root) &&
         read_settings(plan, &loader, node_child(root, "compare")) &&
         read_measures(plan, &loader, node_child(root, "measures")) &&
         read_keep(plan, &loader, node_child(root, "keep_histories")) &&
         read_budget(plan, &loader, node_child(root, "case_budget"));
}
