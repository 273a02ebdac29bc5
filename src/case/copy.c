/* A case of its own with the numbers of another. */
#include "loader.h"

#include <string.h>

static void *copy_bytes(struct arena *arena, const void *bytes, size_t size) {
  void *copy = arena_take(arena, size);
  if (copy && size > 0) {
    memcpy(copy, bytes, size);
  }
  return copy;
}

static bool copy_table(struct arena *arena, struct profile *table) {
  size_t size = (size_t)table->count * sizeof(real);
  table->argument = copy_bytes(arena, table->argument, size);
  table->value = copy_bytes(arena, table->value, size);
  return table->argument && table->value;
}

static bool copy_map(struct arena *arena, struct map *map) {
  size_t rows = (size_t)map_rows(map);
  map->speed = copy_bytes(arena, map->speed, (size_t)map->speeds * sizeof(real));
  map->pressure = copy_bytes(arena, map->pressure, (size_t)map->pressures * sizeof(real));
  map->stroke = copy_bytes(arena, map->stroke, (size_t)map->strokes * sizeof(real));
  map->volumetric = copy_bytes(arena, map->volumetric, rows * sizeof(real));
  map->hydromechanical = copy_bytes(arena, map->hydromechanical, rows * sizeof(real));
  return map->speed && map->pressure && map->stroke && map->volumetric && map->hydromechanical;
}

/* Own points for every table and map of a group. */
static bool copy_tables(struct arena *arena, const struct group *group, void *base) {
  for (int i = 0; i < group->field_count; i++) {
    struct parameter parameter = {group, &group->fields[i]};
    void *member = registry_member(base, parameter);
    if ((parameter.field->kind == FIELD_TABLE && !copy_table(arena, member)) ||
        (parameter.field->kind == FIELD_MAP && !copy_map(arena, member))) {
      return false;
    }
  }
  return true;
}

/* The files that a case was read from. */
static bool copy_inputs(struct arena *arena, const struct input_file *files, const struct input_file **copy) {
  const struct input_file **end = copy;
  *end = NULL;
  for (; files; files = files->next) {
    struct input_file *own = copy_bytes(arena, files, sizeof *files);
    if (!own) {
      return false;
    }
    own->path = arena_text(arena, files->path, strlen(files->path));
    own->guessed = files->guessed ? arena_text(arena, files->guessed, strlen(files->guessed)) : NULL;
    own->next = NULL;
    own->text = NULL; /* lies in the memory of the original */
    own->length = 0;
    *end = own;
    end = &own->next;
    if (!own->path || (files->guessed && !own->guessed)) {
      return false;
    }
  }
  return true;
}

bool case_copy(const struct case_data *data, struct case_data *copy, struct error *error) {
  struct case_data fresh = *data;
  struct arena *arena = arena_open();
  bool good = arena != NULL;
  if (good) {
    fresh.memory = arena;
    fresh.title = arena_text(arena, data->title, strlen(data->title));
    fresh.source = arena_text(arena, data->source, strlen(data->source));
    fresh.resolved = arena_text(arena, data->resolved, strlen(data->resolved));
    fresh.parameters = copy_bytes(arena, data->parameters, data->plant->parameter_size);
    fresh.actions = copy_bytes(arena, data->actions, (size_t)data->action_count * sizeof *data->actions);
    fresh.limits = copy_bytes(arena, data->limits, (size_t)data->limit_count * sizeof *data->limits);
    good = fresh.title && fresh.source && fresh.resolved && fresh.parameters && fresh.actions && fresh.limits &&
           copy_inputs(arena, data->inputs, &fresh.inputs) && given_copy(arena, data->given, &fresh.given);
  }
  for (int i = 0; good && i < data->plant->group_count; i++) {
    good = copy_tables(arena, &data->plant->groups[i], fresh.parameters);
  }
  good = good && copy_tables(arena, &simulation_group, &fresh.simulation);
  if (!good) {
    arena_close(arena);
    return error_set(error, ERROR_MEMORY, "no memory for the case");
  }
  *copy = fresh;
  return true;
}

bool case_rename(struct case_data *data, const char *title, struct error *error) {
  struct arena *arena = data->memory;
  data->title = arena_text(arena, title, strlen(title));
  data->resolved = data->title ? resolve_case(arena, data) : NULL;
  return data->resolved || error_set(error, ERROR_MEMORY, "no memory for the case");
}
