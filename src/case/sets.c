/* What stands upon the files of a case: parameters by their paths, from the command line or a study. */
#include "loader.h"

#include <stdio.h>
#include <string.h>

#include "parameter_ref.h"
#include "text.h"

/* All paths, for the nearest one. */
struct paths {
  int count;
  const char **at;
};

static const char *path_at(const void *context, int index) {
  return ((const struct paths *)context)->at[index];
}

static bool add_paths(struct arena *arena, const struct group *group, struct paths *paths) {
  for (int i = 0; i < group->field_count; i++) {
    char path[256];
    (void)snprintf(path, sizeof path, "%s.%s", group->name, group->fields[i].name);
    paths->at[paths->count] = arena_text(arena, path, strlen(path));
    if (!paths->at[paths->count]) {
      return false;
    }
    paths->count++;
  }
  return true;
}

/* "; did you mean 'group.field'?": a path spelt wrongly, or a field without its group. */
static struct hint nearest_path(const struct case_data *data, const char *name) {
  const struct plant *plant = data->plant;
  struct arena *arena = data->memory;
  int total = simulation_group.field_count;
  for (int i = 0; i < plant->group_count; i++) {
    total += plant->groups[i].field_count;
  }
  struct paths paths = {0, arena_take(arena, (size_t)total * sizeof(char *))};
  bool good = paths.at && add_paths(arena, &simulation_group, &paths);
  for (int i = 0; good && i < plant->group_count; i++) {
    good = add_paths(arena, &plant->groups[i], &paths);
  }
  struct hint hint = {""};
  if (!good) {
    return hint;
  }
  for (int i = 0; i < paths.count; i++) {
    if (strcmp(strchr(paths.at[i], '.') + 1, name) == 0) {
      (void)snprintf(hint.text, sizeof hint.text, "; did you mean '%s'?", paths.at[i]);
      return hint;
    }
  }
  return hint_nearest(name, paths.count, path_at, &paths);
}

bool loader_find(const struct case_data *data, const char *path, struct parameter *parameter, void **base,
                 struct error *error) {
  const char *dot = strchr(path, '.');
  char name[256];
  (void)snprintf(name, sizeof name, "%.*s", dot ? (int)(dot - path) : (int)strlen(path), path);
  *base = NULL;
  parameter->group = loader_group(data, name, base);
  if (parameter->group && !dot) {
    return error_at(error, "", 0, 1, "'%s' is a section; set one of its fields, '%s.FIELD=VALUE'", name, name);
  }
  if (!parameter->group) {
    return error_at(error, "", 0, 1, "'%s' is no parameter of the circuit '%s'%s", text_excerpt(path).text,
                    data->plant->name, nearest_path(data, path).text);
  }
  parameter->field = registry_field(parameter->group, dot + 1);
  const char *now = registry_renamed(parameter->group->name, dot + 1);
  if (now != NULL) {
    return error_at(error, "", 0, (int)(dot - path) + 2, "%s is now called %s.%s", path, parameter->group->name, now);
  }
  return parameter->field ||
         error_at(error, "", 0, (int)(dot - path) + 2, "'%s' is no field of '%s'%s%s", text_excerpt(dot + 1).text,
                  parameter->group->name,
                  hint_nearest(dot + 1, parameter->group->field_count, loader_field_at, parameter->group).text,
                  loader_fields(parameter->group).text);
}

bool loader_set_path(const struct loader *loader, struct set_place place, const char *path, const struct node *value) {
  if (strcmp(path, "title") == 0) {
    return loader_title(loader, value);
  }
  if (loader_is_top_key(path)) {
    return error_at(loader->error, place.file, place.line, place.column,
                    "'%s' cannot be set here; write it in the case", path);
  }
  struct error inner = {0};
  if (strchr(path, '[')) {
    struct parameter_ref ref;
    double si = 0.0;
    if (!parameter_ref_find(loader->data, path, &ref, &inner)) {
      return error_at(loader->error, place.file, place.line, place.column + inner.column - 1, "%s", inner.text);
    }
    if (!parameter_ref_read(loader, &ref, path, value, &si)) {
      return false;
    }
    parameter_ref_set(loader->data, &ref, si);
    const char *disorder = parameter_ref_disorder(loader->data, &ref);
    return !disorder || error_at(loader->error, value->file, value->line, value->column, "%s: %s", path, disorder);
  }
  struct parameter parameter = {NULL, NULL};
  void *base = NULL;
  if (!loader_find(loader->data, path, &parameter, &base, &inner)) {
    return error_at(loader->error, place.file, place.line, place.column + inner.column - 1, "%s", inner.text);
  }
  return value_read(loader, base, parameter, value) &&
         given_note(loader, parameter, place.file, place.line, place.column);
}

bool loader_set(const struct loader *loader, const char *text) {
  char quoted[sizeof loader->error->file];
  (void)snprintf(quoted, sizeof quoted, "--set '%s'", text);
  const char *label = arena_text(loader->arena, quoted, strlen(quoted));
  const char *equal = strchr(text, '=');
  size_t length = equal ? (size_t)(equal - text) : 0;
  while (length > 0 && text[length - 1] == ' ') {
    length--;
  }
  const char *path = arena_text(loader->arena, text, length);
  if (!label || !path) {
    return loader_out_of_memory(loader);
  }
  if (!equal || length == 0) {
    return error_at(loader->error, label, 0, 1, "found no path and '=', expected PATH=VALUE");
  }
  const char *value = equal + 1;
  const struct node *node =
      reader_parse(loader->arena, label, value, strlen(value), (int)(value - text), loader->error);
  return node && loader_set_path(loader, (struct set_place){label, 0, 1}, path, node);
}
