/* A case from its files: layers (machine files below, the case on top), then what the command line sets. */
#include "case.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "input_file.h"
#include "loader.h"
#include "parameter_ref.h"
#include "text.h"
#include "near_file.h"

enum { LAYER_LIMIT = 16, PATH_LIMIT = 4096 };

/* One file: the case, or a machine or a course below it. */
struct layer {
  const struct node *root;
  const char *path;
  bool is_course;
  bool stored; /* lies in a file; device and number tell which */
  dev_t device;
  ino_t number;
};

struct layers {
  int count;
  struct layer at[LAYER_LIMIT]; /* the case first, each followed by the machine that it names */
};

bool loader_out_of_memory(const struct loader *loader) {
  return error_set(loader->error, ERROR_MEMORY, "no memory for the case");
}

bool loader_goes_on(const struct loader *loader) {
  struct faults *faults = loader->faults;
  if (faults == NULL || loader->error->code != ERROR_INPUT) {
    return false;
  }
  if (faults->count < FAULT_LIMIT) {
    faults->at[faults->count++] = *loader->error;
  } else {
    faults->left_out++;
  }
  *loader->error = (struct error){0};
  return true;
}

struct hint hint_nearest(const char *name, int count, const char *(*name_at)(const void *context, int index),
                         const void *context) {
  struct hint hint = {""};
  const char *near = registry_nearest(name, count, name_at, context);
  if (near) {
    (void)snprintf(hint.text, sizeof hint.text, "; did you mean '%s'?", near);
  }
  return hint;
}

/* --- Names ----------------------------------------------------------------------------------------------------------
 */

static const char *const top_keys[] = {"title", "circuit", "machine", "actions", "limits"};
enum { TOP_KEY_COUNT = sizeof top_keys / sizeof top_keys[0] };

static const char *plant_at(const void *context, int index) {
  (void)context;
  return registry_plants[index]->name;
}

static int plant_count(void) {
  int count = 0;
  while (registry_plants[count]) {
    count++;
  }
  return count;
}

static const char *section_at(const void *context, int index) {
  const struct plant *plant = context;
  if (index < plant->group_count) {
    return plant->groups[index].name;
  }
  index -= plant->group_count;
  return index == 0 ? simulation_group.name : top_keys[index - 1];
}

static int section_count(const struct plant *plant) {
  return plant->group_count + 1 + TOP_KEY_COUNT;
}

const char *loader_field_at(const void *context, int index) {
  return ((const struct group *)context)->fields[index].name;
}

bool loader_is_top_key(const char *key) {
  for (int i = 0; i < TOP_KEY_COUNT; i++) {
    if (strcmp(key, top_keys[i]) == 0) {
      return true;
    }
  }
  return false;
}

/* --- Files ----------------------------------------------------------------------------------------------------------
 */

const char *loader_beside(struct arena *arena, const char *beside, const char *name) {
  const char *slash = strcmp(beside, STANDARD_INPUT) != 0 ? strrchr(beside, '/') : NULL;
  if (name[0] == '/' || !slash) {
    return arena_text(arena, name, strlen(name));
  }
  size_t folder = (size_t)(slash - beside) + 1;
  char path[PATH_LIMIT];
  int length = snprintf(path, sizeof path, "%.*s%s", (int)folder, beside, name);
  return length < 0 || length >= PATH_LIMIT ? NULL : arena_text(arena, path, (size_t)length);
}

static void identify(struct layer *layer) {
  struct stat status;
  layer->stored = stat(layer->path, &status) == 0;
  if (layer->stored) {
    layer->device = status.st_dev;
    layer->number = status.st_ino;
  }
}

static bool same_file(const struct layer *a, const struct layer *b) {
  return a->stored && b->stored && a->device == b->device && a->number == b->number;
}

static const struct node *parse_mapping(const struct loader *loader, const char *path, const char *text,
                                        size_t length) {
  const struct node *root = reader_parse(loader->arena, path, text, length, -1, loader->error);
  if (root && root->kind != NODE_MAPPING) {
    error_at(loader->error, path, root->line, root->column, "found %s, expected sections 'NAME:' with fields below",
             root->kind == NODE_TEXT && root->text[0] == '\0' ? "nothing" : node_kind_words(root));
    return NULL;
  }
  return root;
}

/* The file that a node names, a machine or a course (`what`), as the next layer. */
static bool add_file(const struct loader *loader, struct layers *layers, const struct node *name, const char *what) {
  if (name->kind != NODE_TEXT || name->text[0] == '\0') {
    return error_at(loader->error, name->file, name->line, name->column, "%s: found %s, expected a file name", what,
                    name->kind == NODE_TEXT ? "nothing" : node_kind_words(name));
  }
  if (layers->count == LAYER_LIMIT) {
    return error_at(loader->error, name->file, name->line, name->column, "more than %d machine files upon another",
                    LAYER_LIMIT - 1);
  }
  struct layer *layer = &layers->at[layers->count];
  layer->path = loader_beside(loader->arena, name->file, name->text);
  if (!layer->path) {
    return error_at(loader->error, name->file, name->line, name->column, "%s: the path is too long", what);
  }
  identify(layer);
  for (int i = 0; i < layers->count; i++) {
    if (same_file(layer, &layers->at[i])) {
      return error_at(loader->error, name->file, name->line, name->column, "%s '%s' leads back to %s", what,
                      text_excerpt(name->text).text, layers->at[i].path);
    }
  }
  size_t length = 0;
  const char *why = "";
  const char *text =
      reader_file(loader->arena, loader->carried, layer->path, READER_FILE_LIMIT, &loader->data->inputs, &length, &why);
  if (!text && errno == ENOMEM) {
    return loader_out_of_memory(loader);
  }
  if (!text) {
    char near[NEAR_FILE_WORDS];
    return error_at(loader->error, name->file, name->line, name->column, "%s file '%s' cannot be read: %s%s", what,
                    layer->path, why, near_file(layer->path, near));
  }
  layer->root = parse_mapping(loader, layer->path, text, length);
  layers->count++;
  return layer->root != NULL;
}

/* The name of the course's file, `file:` in the section of that name; NULL without one. */
static const struct node *course_file(const struct node *root) {
  const struct node *section = node_child(root, "course");
  return section != NULL && section->kind == NODE_MAPPING ? node_child(section, "file") : NULL;
}

static bool read_layers(const struct loader *loader, const char *path, const char *text, size_t length,
                        const struct node *machine, struct layers *layers) {
  layers->at[0].path = path;
  identify(&layers->at[0]);
  layers->at[0].root = parse_mapping(loader, path, text, length);
  layers->count = 1;
  if (!layers->at[0].root) {
    return false;
  }
  machine = machine ? machine : node_child(layers->at[0].root, "machine");
  const struct node *course = course_file(layers->at[0].root);
  if (course != NULL) {
    layers->at[1].is_course = true;
    if (!add_file(loader, layers, course, "course")) {
      return false;
    }
  }
  while (machine) {
    if (!add_file(loader, layers, machine, "machine")) {
      return false;
    }
    machine = node_child(layers->at[layers->count - 1].root, "machine");
  }
  return true;
}

/* --- Title and circuit ----------------------------------------------------------------------------------------------
 */

/* The entry `key` of the topmost layer that has one. */
static const struct node *topmost(const struct layers *layers, const char *key) {
  for (int i = 0; i < layers->count; i++) {
    const struct node *node = node_child(layers->at[i].root, key);
    if (node) {
      return node;
    }
  }
  return NULL;
}

/* A case without a title is called as its file, without folder and ending. */
static char *title_from_path(struct arena *arena, const char *path) {
  const char *slash = strrchr(path, '/');
  const char *name = slash ? slash + 1 : path;
  const char *dot = strrchr(name, '.');
  size_t length = dot && dot > name ? (size_t)(dot - name) : strlen(name);
  for (size_t at = 0; at < length;) {
    unsigned long code = 0;
    size_t bytes = text_decode(name + at, length - at, &code);
    if (bytes == 0 || !text_printable(code)) {
      return arena_text(arena, "case", 4);
    }
    at += bytes;
  }
  return arena_text(arena, name, length);
}

bool loader_title(const struct loader *loader, const struct node *node) {
  if (node->kind != NODE_TEXT) {
    return error_at(loader->error, node->file, node->line, node->column, "title: found %s, expected a text",
                    node_kind_words(node));
  }
  loader->data->title = arena_text(loader->arena, node->text, strlen(node->text));
  return loader->data->title || loader_out_of_memory(loader);
}

static bool set_circuit(const struct loader *loader, const struct node *node) {
  if (!node) {
    return true;
  }
  const char *name = node->kind == NODE_TEXT ? node->text : node_kind_words(node);
  const struct plant *plant = registry_plant(name);
  if (plant) {
    loader->data->plant = plant;
    return true;
  }
  char known[256] = "";
  size_t used = 0;
  for (int i = 0; registry_plants[i] && used < sizeof known; i++) {
    int wrote = snprintf(known + used, sizeof known - used, "%s%s", i > 0 ? " or " : "", registry_plants[i]->name);
    used += wrote > 0 ? (size_t)wrote : 0;
  }
  error_at(loader->error, node->file, node->line, node->column, "circuit: found '%s', expected %s%s",
           text_excerpt(name).text, known, hint_nearest(name, plant_count(), plant_at, NULL).text);
  return false;
}

static bool set_names(const struct loader *loader, const struct layers *layers) {
  const struct node *title = topmost(layers, "title");
  if (title) {
    if (!loader_title(loader, title) && !loader_goes_on(loader)) {
      return false;
    }
  } else {
    loader->data->title = title_from_path(loader->arena, loader->data->source);
    if (!loader->data->title) {
      return loader_out_of_memory(loader);
    }
  }
  return set_circuit(loader, topmost(layers, "circuit"));
}

/* --- Sections -------------------------------------------------------------------------------------------------------
 */

const struct group *loader_group(const struct case_data *data, const char *name, void **base) {
  const struct group *group = registry_group(data->plant->groups, data->plant->group_count, name);
  *base = data->parameters;
  if (!group && strcmp(name, simulation_group.name) == 0) {
    group = &simulation_group;
    *base = (void *)&data->simulation;
  }
  return group;
}

struct field_list loader_fields(const struct group *group) {
  struct field_list list;
  size_t used = (size_t)snprintf(list.text, sizeof list.text, " (%s has", group->name);
  for (int i = 0; i < group->field_count; i++) {
    const char *name = group->fields[i].name;
    if (used + strlen(name) + sizeof ", ...)" >= sizeof list.text) {
      used += (size_t)snprintf(list.text + used, sizeof list.text - used, ", ...");
      break;
    }
    used += (size_t)snprintf(list.text + used, sizeof list.text - used, "%s%s", i > 0 ? ", " : " ", name);
  }
  (void)snprintf(list.text + used, sizeof list.text - used, ")");
  return list;
}

static bool unknown_field(const struct loader *loader, const struct group *group, const char *name, const char *file,
                          int line, int column) {
  const char *now = registry_renamed(group->name, name);
  if (now != NULL) {
    return error_at(loader->error, file, line, column, "%s.%s is now called %s.%s", group->name, name, group->name,
                    now);
  }
  return error_at(loader->error, file, line, column, "'%s' is no field of '%s'%s%s", text_excerpt(name).text,
                  group->name, hint_nearest(name, group->field_count, loader_field_at, group).text,
                  loader_fields(group).text);
}

static bool unknown_section(const struct loader *loader, const char *name, const char *file, int line, int column) {
  const struct plant *plant = loader->data->plant;
  return error_at(loader->error, file, line, column, "'%s' is no section of the circuit '%s'%s",
                  text_excerpt(name).text, plant->name,
                  hint_nearest(name, section_count(plant), section_at, plant).text);
}

static bool read_section(const struct loader *loader, const struct group *group, void *base, const struct node *section,
                         bool is_case) {
  bool names_file = is_case && strcmp(group->name, "course") == 0; /* read_layers has read it */
  if (section->kind != NODE_MAPPING) {
    bool empty = section->kind == NODE_TEXT && section->text[0] == '\0';
    return error_at(loader->error, section->file, empty ? section->key_line : section->line,
                    empty ? section->key_column : section->column,
                    "section '%s': found %s, expected fields 'NAME: VALUE' below it", group->name,
                    empty ? "nothing" : node_kind_words(section));
  }
  for (const struct node *node = section->first; node; node = node->next) {
    const struct field *field = registry_field(group, node->key);
    struct parameter parameter = {group, field};
    if (names_file && strcmp(node->key, "file") == 0) {
      continue;
    }
    bool good = field ? value_read(loader, base, parameter, node) &&
                            (!is_case || given_note(loader, parameter, node->file, node->key_line, node->key_column))
                      : unknown_field(loader, group, node->key, node->file, node->key_line, node->key_column);
    if (!good && !loader_goes_on(loader)) {
      return false;
    }
  }
  return true;
}

static bool read_top_entry(const struct loader *loader, const struct node *entry, bool is_case, bool is_course) {
  if (is_course && strcmp(entry->key, "course") != 0 && strcmp(entry->key, "ground") != 0) {
    return error_at(loader->error, entry->file, entry->key_line, entry->key_column,
                    "'%s' does not belong in a course file, which has the sections course and ground",
                    text_excerpt(entry->key).text);
  }
  void *base = NULL;
  const struct group *group = loader_group(loader->data, entry->key, &base);
  bool of_case = group == &simulation_group || strcmp(entry->key, "actions") == 0 || strcmp(entry->key, "limits") == 0;
  if (!is_case && of_case) {
    return error_at(loader->error, entry->file, entry->key_line, entry->key_column,
                    "'%s' belongs in the case, not in a machine file", entry->key);
  }
  if (group) {
    return read_section(loader, group, base, entry, is_case);
  }
  if (strcmp(entry->key, "actions") == 0) {
    return actions_read(loader, entry);
  }
  if (strcmp(entry->key, "limits") == 0) {
    return limits_read(loader, entry);
  }
  return loader_is_top_key(entry->key) ||
         unknown_section(loader, entry->key, entry->file, entry->key_line, entry->key_column);
}

static bool read_sections(const struct loader *loader, const struct layers *layers) {
  for (int i = layers->count - 1; i >= 0; i--) {
    for (const struct node *entry = layers->at[i].root->first; entry; entry = entry->next) {
      if (!read_top_entry(loader, entry, i == 0, layers->at[i].is_course) && !loader_goes_on(loader)) {
        return false;
      }
    }
  }
  return true;
}

/* --- The case -------------------------------------------------------------------------------------------------------
 */

static bool set_defaults(const struct loader *loader) {
  struct case_data *data = loader->data;
  data->parameters = arena_take(loader->arena, data->plant->parameter_size);
  if (!data->parameters) {
    return loader_out_of_memory(loader);
  }
  registry_defaults(data->plant->groups, data->plant->group_count, data->parameters);
  registry_defaults(&simulation_group, 1, &data->simulation);
  return true;
}

/* Where the files set what `why` speaks of: the first "group.field" in it that one of them holds. */
static const struct node *find_cause(const struct layers *layers, const struct case_additions *additions,
                                     const char *why) {
  for (const char *word = why; *word; word += strspn(word, " ,;")) {
    size_t length = strcspn(word, " ,;");
    const char *dot = memchr(word, '.', length);
    char group[128];
    char field[128];
    (void)snprintf(group, sizeof group, "%.*s", dot ? (int)(dot - word) : 0, word);
    (void)snprintf(field, sizeof field, "%.*s", dot ? (int)(word + length - dot) - 1 : 0, dot ? dot + 1 : "");
    char path[256];
    (void)snprintf(path, sizeof path, "%.*s", (int)length, word);
    for (int i = CASE_ADDITION_LIMIT; i >= 0; i--) {
      const struct node *set = i > 0 ? additions->set[i - 1] : additions->below;
      if (set && node_child(set, path)) {
        return node_child(set, path);
      }
    }
    for (int i = 0; dot && i < layers->count; i++) {
      const struct node *section = node_child(layers->at[i].root, group);
      const struct node *node = section ? node_child(section, field) : NULL;
      if (node) {
        return node;
      }
    }
    word += length;
  }
  return NULL;
}

/* Each value may be right and all together wrong: the plant says so. */
static bool check_combination(const struct loader *loader, const struct layers *layers,
                              const struct case_additions *additions) {
  const struct case_data *data = loader->data;
  void *model = arena_take(loader->arena, data->plant->model_size);
  if (!model) {
    return loader_out_of_memory(loader);
  }
  const char *why = data->plant->prepare(data->parameters, model);
  if (!why) {
    return true;
  }
  const struct node *cause = find_cause(layers, additions, why);
  return error_at(loader->error, cause ? cause->file : data->source, cause ? cause->key_line : 0,
                  cause ? cause->key_column : 0, "%s", why);
}

static bool apply_mapping(const struct loader *loader, const struct node *set) {
  for (const struct node *node = set ? set->first : NULL; node; node = node->next) {
    if (!loader_set_path(loader, (struct set_place){node->file, node->key_line, node->key_column}, node->key, node) &&
        !loader_goes_on(loader)) {
      return false;
    }
  }
  return true;
}

/* What stands upon the files: what a review sets below, texts of the command line, then what all else sets and
 * demands. */
static bool apply(const struct loader *loader, const struct case_additions *additions) {
  if (!apply_mapping(loader, additions->below)) {
    return false;
  }
  for (int i = 0; i < additions->set_count; i++) {
    if (!loader_set(loader, additions->sets[i]) && !loader_goes_on(loader)) {
      return false;
    }
  }
  for (int i = 0; i < CASE_ADDITION_LIMIT; i++) {
    if (!apply_mapping(loader, additions->set[i]) ||
        (additions->limits[i] && !limits_read(loader, additions->limits[i]))) {
      return false;
    }
  }
  return true;
}

static bool load(const struct loader *loader, const char *text, size_t length, const struct case_additions *additions) {
  struct case_data *data = loader->data;
  struct layers layers = {0};
  if (!read_layers(loader, data->source, text, length, additions->machine, &layers) || !set_names(loader, &layers) ||
      !set_defaults(loader) || !read_sections(loader, &layers)) {
    return false;
  }
  if (!apply(loader, additions)) {
    return false;
  }
  if (loader->faults != NULL && loader->faults->count > 0) {
    return false; /* told; what would follow from wrong values need not be */
  }
  if (!check_combination(loader, &layers, additions)) {
    return false;
  }
  data->resolved = resolve_case(loader->arena, data);
  return data->resolved || loader_out_of_memory(loader);
}

/* `text` NULL: read it from `path`. */
static bool open_case(const char *path, const char *text, const struct case_additions *additions,
                      struct case_data *data, struct faults *faults, struct error *error) {
  struct case_data fresh = {.plant = &transmission_plant}; /* unless `circuit:` says otherwise */
  struct loader loader = {arena_open(), &fresh, error, faults, additions->carried};
  bool good = loader.arena != NULL;
  size_t length = text ? strlen(text) : 0;
  if (good) {
    fresh.memory = loader.arena;
    fresh.source = arena_text(loader.arena, path, strlen(path));
    good = fresh.source != NULL;
  }
  if (!good) {
    loader_out_of_memory(&loader);
  } else if (!text) {
    const char *why = "";
    text = reader_file(loader.arena, loader.carried, path, READER_FILE_LIMIT, &fresh.inputs, &length, &why);
    char near[NEAR_FILE_WORDS];
    good = text || (errno == ENOMEM ? loader_out_of_memory(&loader)
                                    : error_at(error, path, 0, 0, "cannot be read: %s%s", why, near_file(path, near)));
  }
  good = good && load(&loader, text, length, additions);
  if (good) {
    *data = fresh;
  } else {
    case_hide_outside(additions->named ? additions->named : path, error);
    arena_close(loader.arena);
  }
  return good;
}

bool case_load(const char *path, const char *const *sets, int set_count, struct case_data *data, struct error *error) {
  return open_case(path, NULL, &(struct case_additions){.sets = sets, .set_count = set_count}, data, NULL, error);
}

bool case_load_with(const char *path, const struct case_additions *additions, struct case_data *data,
                    struct error *error) {
  return open_case(path, NULL, additions, data, NULL, error);
}

bool case_load_telling(const char *path, const char *const *sets, int set_count, struct case_data *data,
                       struct faults *faults) {
  struct error error = {0};
  *faults = (struct faults){0};
  if (open_case(path, NULL, &(struct case_additions){.sets = sets, .set_count = set_count}, data, faults, &error)) {
    return true;
  }
  if (error.code != ERROR_NONE) { /* what ended it */
    faults->count = faults->count < FAULT_LIMIT ? faults->count + 1 : FAULT_LIMIT;
    faults->at[faults->count - 1] = error;
  }
  for (int i = 0; i < faults->count; i++) {
    case_hide_outside(path, &faults->at[i]);
  }
  return false;
}

bool case_load_for_study(const char *path, const struct node *set, const struct node *limits,
                         const struct carried_files *carried, struct case_data *data, struct error *error) {
  return open_case(path, NULL, &(struct case_additions){.set = {set}, .limits = {limits}, .carried = carried}, data,
                   NULL, error);
}

bool case_load_text(const char *name, const char *text, const char *const *sets, int set_count, struct case_data *data,
                    struct error *error) {
  return open_case(name, text, &(struct case_additions){.sets = sets, .set_count = set_count}, data, NULL, error);
}

bool case_set(struct case_data *data, const char *const *sets, int set_count, struct error *error) {
  const struct loader loader = {data->memory, data, error, NULL, NULL};
  const struct layers none = {0};
  for (int i = 0; i < set_count; i++) {
    if (!loader_set(&loader, sets[i])) {
      return false;
    }
  }
  if (!check_combination(&loader, &none, &(struct case_additions){0})) {
    return false;
  }
  data->resolved = resolve_case(data->memory, data);
  return data->resolved || loader_out_of_memory(&loader);
}

void case_free(struct case_data *data) {
  arena_close(data->memory);
  *data = (struct case_data){0};
}
