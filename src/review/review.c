/* A review from its file. */
#include "review.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "limit_margin.h"
#include "loader.h"
#include "near_file.h"
#include "text.h"

enum { NAME_LENGTH = 40, CASES_MOST = 1000, CELLS_MOST = 100000 };

static const char *const review_keys[] = {"title", "machine", "set", "limits", "cases", "conditions"};
static const char *const case_keys[] = {"case", "name", "set", "limits"};
static const char *const condition_keys[] = {"name", "set", "limits"};

#define COUNT_OF(ARRAY) ((int)(sizeof(ARRAY) / sizeof(ARRAY)[0]))

/* What is being read. */
struct reading {
  const struct loader *loader;
  struct review *review;
  const struct node *root;
  const char *const *sets;
  int set_count;
};

static bool no_memory(struct error *error) {
  error_set(error, ERROR_MEMORY, "no memory for the review");
  return false;
}

/* ---- names ---- */

/* A name of a case or condition, which no other has. */
static bool take_name(const struct loader *loader, const char *name, const struct node *at, const char **names,
                      int *count) {
  if (strlen(name) > NAME_LENGTH) {
    return error_at(loader->error, at->file, at->line, at->column, "the name '%s' is longer than %d characters",
                    text_excerpt(name).text, (int)NAME_LENGTH);
  }
  for (int i = 0; i < *count; i++) {
    if (strcmp(names[i], name) == 0) {
      return error_at(loader->error, at->file, at->line, at->column,
                      "'%s' is here twice; give one of them another 'name:'", text_excerpt(name).text);
    }
  }
  names[(*count)++] = name;
  return true;
}

/* "../downhill.yaml" to "downhill". */
static const char *name_of_file(struct arena *arena, const char *path) {
  const char *slash = strrchr(path, '/');
  const char *name = slash != NULL ? slash + 1 : path;
  const char *dot = strrchr(name, '.');
  return arena_text(arena, name, dot != NULL && dot > name ? (size_t)(dot - name) : strlen(name));
}

/* ---- one cell ---- */

static const char *text_of(const struct node *entry, const char *key) {
  const struct node *node = entry->kind == NODE_MAPPING ? node_child(entry, key) : NULL;
  return node != NULL ? node->text : entry->text;
}

static const struct node *part_of(const struct node *entry, const char *key) {
  return entry != NULL && entry->kind == NODE_MAPPING ? node_child(entry, key) : NULL;
}

/* The case of `entry` under `condition`, which may be NULL. */
static bool read_cell(const struct reading *reading, const struct node *entry, const struct node *condition,
                      struct review_cell *cell) {
  const struct loader *loader = reading->loader;
  const struct plan *plan = &reading->review->plan;
  const struct node *file = part_of(entry, "case") != NULL ? part_of(entry, "case") : entry;
  const char *path = loader_beside(loader->arena, plan->source, text_of(entry, "case"));
  char near[NEAR_FILE_WORDS];
  if (path == NULL) {
    return error_at(loader->error, file->file, file->line, file->column, "case: the path is too long");
  }
  if (access(path, R_OK) != 0) {
    return error_at(loader->error, file->file, file->line, file->column, "case file '%s' cannot be read: %s%s", path,
                    strerror(errno), near_file(path, near));
  }
  const struct case_additions additions = {
      .named = plan->source,
      .machine = node_child(reading->root, "machine"),
      .below = node_child(reading->root, "set"),
      .sets = reading->sets,
      .set_count = reading->set_count,
      .set = {part_of(entry, "set"), part_of(condition, "set")},
      .limits = {node_child(reading->root, "limits"), part_of(entry, "limits"), part_of(condition, "limits")}};
  if (!case_load_with(path, &additions, &cell->data, loader->error)) {
    return false;
  }
  if (cell->data.plant != plan->cells[0].data.plant) {
    return error_at(loader->error, file->file, file->line, file->column,
                    "'%s' is a case of the circuit '%s', the first of '%s': a review has one circuit",
                    text_excerpt(path).text, cell->data.plant->name, plan->cells[0].data.plant->name);
  }
  char title[512];
  (void)snprintf(title, sizeof title, "%.300s, %.100s", cell->data.title, cell->condition);
  return case_rename(&cell->data, title, loader->error);
}

/* ---- all of them ---- */

/* Sentences of all cells, each once, and which of them a cell's limits are. */
static bool gather_limits(struct review *review, struct error *error) {
  struct plan *plan = &review->plan;
  size_t room = (size_t)plan_limit_count(plan);
  size_t cells = (size_t)plan_base_count(plan);
  review->places = arena_take(plan->memory, (room * cells + 1) * sizeof *review->places);
  review->limits = arena_take(plan->memory, (room * cells + 1) * sizeof *review->limits);
  if (review->places == NULL || review->limits == NULL) {
    return no_memory(error);
  }
  for (int c = 0; c < (int)cells; c++) {
    const struct case_data *data = plan_base_case(plan, c);
    for (int i = 0; i < (int)room; i++) {
      int place = i < data->limit_count ? 0 : -1;
      while (place >= 0 && place < review->limit_count &&
             strcmp(review->limits[place].sentence, data->limits[i].text) != 0) {
        place++;
      }
      if (place == review->limit_count) {
        const struct condition *keep = &data->limits[i].keep;
        review->limits[review->limit_count++] =
            (struct review_limit){data->limits[i].text, condition_quantity(data, keep), condition_reference(data, keep),
                                  keep->level, keep->above};
      }
      review->places[(size_t)c * room + (size_t)i] = place;
    }
  }
  return true;
}

/* Every file that any cell was read from, so that nothing is written over it. */
static bool gather_files(struct plan *plan, const struct input_file *own, struct error *error) {
  const struct input_file *all = NULL;
  for (int c = -1; c < plan->cell_count; c++) {
    for (const struct input_file *file = c < 0 ? own : plan->cells[c].data.inputs; file != NULL; file = file->next) {
      const struct input_file *known = all;
      while (known != NULL && (known->device != file->device || known->number != file->number)) {
        known = known->next;
      }
      struct input_file *copy = known == NULL ? arena_take(plan->memory, sizeof *copy) : NULL;
      if (known == NULL && copy == NULL) {
        return no_memory(error);
      }
      if (copy != NULL) {
        *copy = *file;
        copy->next = all;
        all = copy;
      }
    }
  }
  plan->base.inputs = all;
  return true;
}

/* What a plan has that runs every cell once and keeps every measure. */
static bool make_plan(struct plan *plan, const struct input_file *own, struct error *error) {
  plan->measures = arena_take(plan->memory, MEASURE_COUNT * sizeof *plan->measures);
  if (plan->measures == NULL) {
    return no_memory(error);
  }
  for (int i = 0; i < MEASURE_COUNT; i++) {
    plan->measures[plan->measure_count++] = i;
  }
  plan->arrangement = ARRANGE_POINTS;
  plan->samples = 1;
  plan->cases = plan->cell_count;
  if (!case_copy(&plan->cells[0].data, &plan->base, error) || !gather_files(plan, own, error)) {
    return false;
  }
  plan->fingerprint = plan_fingerprint(plan);
  return true;
}

/* Of an entry of a list: is it what it must be, and has it a name that no other has? */
static bool check_entry(const struct reading *reading, const struct node *entry, bool of_case, const char **names,
                        int *count) {
  const struct loader *loader = reading->loader;
  if (of_case && entry->kind == NODE_TEXT) {
    if (!entry_word(loader, entry, "the file of a case")) {
      return false;
    }
    const char *name = name_of_file(loader->arena, entry->text);
    return name != NULL ? take_name(loader, name, entry, names, count) : no_memory(loader->error);
  }
  if (!entries_known(loader, entry,
                     of_case ? "a case of the review: 'case:', 'name:', 'set:' or 'limits:'"
                             : "a condition: 'name:', 'set:' or 'limits:'",
                     of_case ? case_keys : condition_keys, of_case ? COUNT_OF(case_keys) : COUNT_OF(condition_keys))) {
    return false;
  }
  const struct node *file = node_child(entry, "case");
  const struct node *name = node_child(entry, "name");
  const struct node *set = node_child(entry, "set");
  if (of_case ? file == NULL : name == NULL) {
    return error_at(loader->error, entry->file, entry->line, entry->column,
                    of_case ? "the entry has no 'case:'" : "the condition has no 'name:'");
  }
  if ((file != NULL && !entry_word(loader, file, "the file of a case")) ||
      (name != NULL && !entry_word(loader, name, "a name"))) {
    return false;
  }
  if (set != NULL && set->kind != NODE_MAPPING) {
    return error_at(loader->error, set->file, set->line, set->column, "set: found %s, expected lines 'PATH: VALUE'",
                    node_kind_words(set));
  }
  const char *own = name != NULL ? name->text : name_of_file(loader->arena, file->text);
  return own != NULL ? take_name(loader, own, name != NULL ? name : file, names, count) : no_memory(loader->error);
}

static bool check_list(const struct reading *reading, const struct node *list, bool of_case, const char ***names,
                       int *count) {
  const struct loader *loader = reading->loader;
  if (!entries_list(loader, list, of_case ? "cases" : "conditions: 'name:' and 'set:'")) {
    return false;
  }
  if (list->count > CASES_MOST) {
    return error_at(loader->error, list->file, list->line, list->column, "more than %d entries", (int)CASES_MOST);
  }
  *names = arena_take(loader->arena, (size_t)list->count * sizeof **names);
  if (*names == NULL) {
    return no_memory(loader->error);
  }
  for (const struct node *entry = list->first; entry != NULL; entry = entry->next) {
    if (!check_entry(reading, entry, of_case, *names, count)) {
      return false;
    }
  }
  return true;
}

static bool check_conditions(const struct reading *reading, const struct node *list) {
  static const char as_given[] = "as given";
  struct review *review = reading->review;
  if (list != NULL) {
    return check_list(reading, list, false, &review->conditions, &review->condition_count);
  }
  review->conditions = arena_take(review->plan.memory, sizeof *review->conditions);
  if (review->conditions == NULL) {
    return no_memory(reading->loader->error);
  }
  review->conditions[review->condition_count++] = as_given;
  return true;
}

static bool read_cells(const struct reading *reading) {
  struct review *review = reading->review;
  struct plan *plan = &review->plan;
  const struct loader *loader = reading->loader;
  const struct node *cases = node_child(reading->root, "cases");
  const struct node *conditions = node_child(reading->root, "conditions");
  if (cases == NULL) {
    return error_at(loader->error, plan->source, reading->root->line, reading->root->column,
                    "the review has no 'cases:'");
  }
  if (!check_list(reading, cases, true, &review->cases, &review->case_count) ||
      !check_conditions(reading, conditions)) {
    return false;
  }
  long count = (long)review->case_count * review->condition_count;
  if (count > CELLS_MOST) {
    return error_at(loader->error, cases->file, cases->line, cases->column, "more than %d cells", (int)CELLS_MOST);
  }
  plan->cells = arena_take(plan->memory, (size_t)count * sizeof *plan->cells);
  if (plan->cells == NULL) {
    return no_memory(loader->error);
  }
  const struct node *entry = cases->first;
  for (int c = 0; c < review->case_count; c++, entry = entry->next) {
    const struct node *condition = conditions != NULL ? conditions->first : NULL;
    for (int d = 0; d < review->condition_count; d++) {
      struct review_cell *cell = &plan->cells[plan->cell_count];
      cell->case_name = review->cases[c];
      cell->condition = review->conditions[d];
      if (!read_cell(reading, entry, condition, cell)) {
        if (cell->data.memory != NULL) {
          case_free(&cell->data);
        }
        return false;
      }
      plan->cell_count++;
      condition = condition != NULL ? condition->next : NULL;
    }
  }
  return true;
}

static bool read_head(const struct reading *reading) {
  const struct loader *loader = reading->loader;
  struct plan *plan = &reading->review->plan;
  const struct node *title = node_child(reading->root, "title");
  const struct node *machine = node_child(reading->root, "machine");
  const struct node *set = node_child(reading->root, "set");
  if ((title != NULL && !entry_word(loader, title, "a text")) ||
      (machine != NULL && !entry_word(loader, machine, "the file of a machine"))) {
    return false;
  }
  if (set != NULL && set->kind != NODE_MAPPING) {
    return error_at(loader->error, set->file, set->line, set->column, "set: found %s, expected lines 'PATH: VALUE'",
                    node_kind_words(set));
  }
  plan->title = title != NULL ? title->text : name_of_file(plan->memory, plan->source);
  return plan->title != NULL || no_memory(loader->error);
}

static bool open_review(const char *path, struct review *review, struct error *error) {
  *review = (struct review){.plan = {.memory = arena_open()}};
  review->plan.source = review->plan.memory != NULL ? arena_text(review->plan.memory, path, strlen(path)) : NULL;
  return review->plan.source != NULL || no_memory(error);
}

static bool load(struct review *review, const char *const *sets, int set_count, struct error *error) {
  struct plan *plan = &review->plan;
  const struct loader loader = {plan->memory, NULL, error, NULL, NULL};
  const struct input_file *own = NULL;
  const char *why = "";
  char near[NEAR_FILE_WORDS];
  size_t length = 0;
  char *text = reader_file(plan->memory, NULL, plan->source, READER_FILE_LIMIT, &own, &length, &why);
  if (text == NULL) {
    return error_at(error, plan->source, 0, 0, "cannot be read: %s%s", why, near_file(plan->source, near));
  }
  const struct node *root = reader_parse(plan->memory, plan->source, text, length, -1, error);
  const struct reading reading = {&loader, review, root, sets, set_count};
  plan->text = text;
  return root != NULL && entries_known(&loader, root, "a review", review_keys, COUNT_OF(review_keys)) &&
         read_head(&reading) && read_cells(&reading) && make_plan(plan, own, error) && gather_limits(review, error);
}

bool review_load(const char *path, const char *const *sets, int set_count, struct review *review, struct error *error) {
  if (open_review(path, review, error) && load(review, sets, set_count, error)) {
    return true;
  }
  case_hide_outside(path, error);
  review_free(review);
  return false;
}

bool review_of_case(const char *path, const char *const *sets, int set_count, struct review *review,
                    struct error *error) {
  static const char as_given[] = "as given";
  bool good = open_review(path, review, error);
  struct plan *plan = &review->plan;
  if (good) {
    review->cases = arena_take(plan->memory, sizeof *review->cases);
    review->conditions = arena_take(plan->memory, sizeof *review->conditions);
    plan->cells = arena_take(plan->memory, sizeof *plan->cells);
    good = (review->cases != NULL && review->conditions != NULL && plan->cells != NULL) || no_memory(error);
  }
  if (good && case_load(path, sets, set_count, &plan->cells[0].data, error)) {
    plan->cell_count = 1;
    plan->title = plan->cells[0].data.title;
    plan->text = "";
    review->cases[review->case_count++] = plan->cells[0].case_name = name_of_file(plan->memory, path);
    review->conditions[review->condition_count++] = plan->cells[0].condition = as_given;
    good =
        (review->cases[0] != NULL || no_memory(error)) && make_plan(plan, NULL, error) && gather_limits(review, error);
  } else {
    good = false;
  }
  if (!good) {
    review_free(review);
  }
  return good;
}

/* What --set says, in the case of a study: nothing that varies, and what varies is there afterwards. */
static bool set_in_study(struct plan *plan, const char *const *sets, int set_count, struct error *error) {
  struct error inner = {0};
  for (int a = 0; a < plan->axis_count; a++) {
    for (int p = 0; p < plan->axes[a].ref_count; p++) {
      const char *path = plan->axes[a].paths[p];
      size_t length = strlen(path);
      for (int i = 0; i < set_count; i++) {
        if (strncmp(sets[i], path, length) == 0 && sets[i][length + strspn(sets[i] + length, " ")] == '=') {
          return error_set(error, ERROR_USAGE, "--set '%s': it varies over the runs", text_excerpt(path).text);
        }
      }
    }
  }
  if (set_count > 0 && !case_set(&plan->base, sets, set_count, error)) {
    return false;
  }
  for (int a = 0; set_count > 0 && a < plan->axis_count; a++) {
    for (int p = 0; p < plan->axes[a].ref_count; p++) {
      const char *path = plan->axes[a].paths[p];
      if (!parameter_ref_find(&plan->base, path, &plan->axes[a].refs[p], &inner)) {
        return error_set(error, ERROR_USAGE, "'%s' varies and is no longer there after --set: %s", path, inner.text);
      }
    }
  }
  plan->fingerprint = plan_fingerprint(plan);
  return true;
}

bool review_of_study(const char *path, const char *const *sets, int set_count, struct review *review,
                     struct error *error) {
  *review = (struct review){0};
  if (!plan_load(path, NULL, &review->plan, error)) {
    return false;
  }
  if (set_in_study(&review->plan, sets, set_count, error) && gather_limits(review, error)) {
    return true;
  }
  review_free(review);
  return false;
}

bool review_is(const char *path) {
  struct arena *arena = arena_open();
  struct error ignored = {0};
  const char *why = "";
  size_t length = 0;
  const char *text = arena != NULL ? reader_file(arena, NULL, path, READER_FILE_LIMIT, NULL, &length, &why) : NULL;
  const struct node *root = text != NULL ? reader_parse(arena, path, text, length, -1, &ignored) : NULL;
  bool is = root != NULL && root->kind == NODE_MAPPING && node_child(root, "cases") != NULL;
  arena_close(arena);
  return is;
}

void review_free(struct review *review) {
  plan_free(&review->plan);
  *review = (struct review){0};
}
