/* Single numbers of a case, by path. */
#include "parameter_ref.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "loader.h"
#include "text.h"
#include "units.h"

enum { NAME_LIMIT = 128, INDEX_DIGITS = 6 };

/* `base[index].part` or plain `base`, cut apart. */
struct address {
  char base[NAME_LIMIT];
  bool indexed;
  int index; /* from 0 */
  char part[NAME_LIMIT];
  int index_column; /* in the path, from 1 */
  int part_column;
};

static bool cut(const char *path, struct address *address, struct error *error) {
  memset(address, 0, sizeof *address);
  const char *open = strchr(path, '[');
  size_t base = open ? (size_t)(open - path) : strlen(path);
  if (base >= sizeof address->base) {
    return error_at(error, "", 0, 1, "'%s' is too long for a path", text_excerpt(path).text);
  }
  memcpy(address->base, path, base);
  if (!open) {
    return true;
  }
  size_t digits = strspn(open + 1, "0123456789");
  const char *after = open + 1 + digits;
  address->indexed = true;
  address->index_column = (int)(open - path) + 2;
  address->part_column = (int)(after - path) + 3;
  if (digits == 0 || digits > INDEX_DIGITS || strncmp(after, "].", 2) != 0 || strlen(after + 2) >= NAME_LIMIT) {
    return error_at(error, "", 0, address->index_column - 1,
                    "'%s': expected a number in brackets, counted from 1, a full stop and a name, as in "
                    "ground.grade[2].value or actions[1].over",
                    text_excerpt(path).text);
  }
  address->index = (int)strtol(open + 1, NULL, 10) - 1;
  (void)snprintf(address->part, sizeof address->part, "%s", after + 2);
  return true;
}

static bool check_index(const struct address *address, int count, const char *what, struct error *error) {
  if (address->index >= 0 && address->index < count) {
    return true;
  }
  return error_at(error, "", 0, address->index_column, "%s has %d %s, counted from 1; there is no [%d]", address->base,
                  count, what, address->index + 1);
}

static const char *name_in_list(const void *context, int index) {
  return ((const char *const *)context)[index];
}

static bool unknown_part(const struct address *address, const char *const *parts, int count, const char *known,
                         struct error *error) {
  return error_at(error, "", 0, address->part_column, "'%s' is no part of %s[%d]; expected %s%s",
                  text_excerpt(address->part).text, address->base, address->index + 1, known,
                  hint_nearest(address->part, count, name_in_list, parts).text);
}

static int find_part(const char *part, const char *const *parts, int count) {
  for (int i = 0; i < count; i++) {
    if (strcmp(part, parts[i]) == 0) {
      return i;
    }
  }
  return -1;
}

static bool find_action(const struct case_data *data, const struct address *address, struct parameter_ref *ref,
                        struct error *error) {
  static const char *const parts[] = {"to", "over", "when"};
  static const enum parameter_ref_kind kinds[] = {REF_TO, REF_OVER, REF_WHEN};
  if (!check_index(address, data->action_count, "actions", error)) {
    return false;
  }
  int part = find_part(address->part, parts, 3);
  if (part < 0) {
    return unknown_part(address, parts, 3, "to, over or when", error);
  }
  const struct action *action = &data->actions[address->index];
  ref->kind = kinds[part];
  ref->index = address->index;
  ref->low = -HUGE_VAL;
  ref->high = HUGE_VAL;
  ref->quantity = QUANTITY_TIME;
  switch (ref->kind) {
  case REF_TO: {
    const struct field *table = action_table(data->plant, action->channel);
    ref->quantity = data->plant->channel_quantities[action->channel];
    ref->text = "where the action moves its channel";
    if (table) {
      ref->low = quantity_from_trade(table->quantity, table->low);
      ref->high = quantity_from_trade(table->quantity, table->high);
    }
    break;
  }
  case REF_OVER:
    ref->low = 0.0;
    ref->text = "how long the action takes";
    break;
  default:
    if (action->when.signal >= 0) {
      ref->quantity = data->plant->signals[action->when.signal].quantity;
      ref->reference = data->plant->signals[action->when.signal].reference;
    }
    ref->text = "level that the action waits for";
    break;
  }
  return true;
}

/* An efficiency of a map, or what is lost at zero stroke. */
static bool find_cell(const struct case_data *data, const struct address *address, struct parameter_ref *ref,
                      struct error *error) {
  const struct field *field = ref->parameter.field;
  const struct map *map = registry_member_const(data->parameters, ref->parameter);
  if (!check_index(address, map_rows(map), "rows", error)) {
    return false;
  }
  bool idles = map_row_idles(map, address->index);
  const struct map_form *form = map_form_of(field);
  const char *const *parts = idles ? map_idle_names : &form->names[MAP_VOLUMETRIC];
  int values = map_form_values(form);
  int part = find_part(address->part, parts, values);
  if (part < 0) {
    return unknown_part(address, parts, values,
                        idles ? "lost_flow or lost_torque, a row of zero stroke" : form->value_words, error);
  }
  ref->kind = REF_CELL;
  ref->index = address->index;
  ref->column = MAP_VOLUMETRIC + part;
  ref->text = field->text;
  ref->quantity = map_column_quantity(form, ref->column, idles);
  ref->low = idles ? 0.0 : quantity_from_trade(field->quantity, field->low);
  ref->high = idles ? HUGE_VAL : quantity_from_trade(field->quantity, field->high);
  return true;
}

static bool find_point(const struct case_data *data, const struct address *address, struct parameter_ref *ref,
                       struct error *error) {
  static const char *const parts[] = {"value", "argument"};
  const struct field *field = ref->parameter.field;
  if (field->kind == FIELD_MAP) {
    return find_cell(data, address, ref, error);
  }
  if (field->kind != FIELD_TABLE) {
    return error_at(error, "", 0, address->index_column - 1, "%s is no table", address->base);
  }
  const struct profile *table =
      registry_member_const(ref->of_run ? (const void *)&data->simulation : data->parameters, ref->parameter);
  if (!check_index(address, table->count, "points", error)) {
    return false;
  }
  int part = find_part(address->part, parts, 2);
  if (part < 0) {
    return unknown_part(address, parts, 2, "value or argument", error);
  }
  ref->kind = part == 0 ? REF_VALUE : REF_ARGUMENT;
  ref->index = address->index;
  ref->text = field->text;
  ref->reference = part == 0 ? field->reference : REFERENCE_NONE;
  ref->quantity = part == 0 ? field->quantity : field->argument;
  ref->low = part == 0 ? quantity_from_trade(field->quantity, field->low) : -HUGE_VAL;
  ref->high = part == 0 ? quantity_from_trade(field->quantity, field->high) : HUGE_VAL;
  return true;
}

static bool find_field(const struct case_data *data, const struct address *address, struct parameter_ref *ref,
                       struct error *error) {
  void *base = NULL;
  if (!loader_find(data, address->base, &ref->parameter, &base, error)) {
    return false;
  }
  ref->of_run = base == (void *)&data->simulation;
  if (address->indexed) {
    return find_point(data, address, ref, error);
  }
  const struct field *field = ref->parameter.field;
  if (field->kind == FIELD_TABLE) {
    return error_at(error, "", 0, 1, "%s is a table; name one of its numbers, as %s[1].value", address->base,
                    address->base);
  }
  if (field->kind == FIELD_MAP) {
    return error_at(error, "", 0, 1, "%s is a map; name one of its values, as %s[1].%s", address->base, address->base,
                    map_form_of(field)->names[MAP_VOLUMETRIC]);
  }
  ref->kind = REF_FIELD;
  ref->text = field->text;
  if (field->kind == FIELD_CHOICE) {
    ref->choices = field->choices;
    ref->quantity = QUANTITY_NUMBER;
    return true;
  }
  ref->quantity = field->quantity;
  ref->reference = field->reference;
  ref->low = quantity_from_trade(field->quantity, field->low);
  ref->high = quantity_from_trade(field->quantity, field->high);
  return true;
}

bool parameter_ref_find(const struct case_data *data, const char *path, struct parameter_ref *ref,
                        struct error *error) {
  struct address address;
  memset(ref, 0, sizeof *ref);
  if (!cut(path, &address, error)) {
    return false;
  }
  if (strcmp(address.base, "actions") == 0 && address.indexed) {
    return find_action(data, &address, ref, error);
  }
  return find_field(data, &address, ref, error);
}

/* The table that holds the reference; its points lie in the case's own memory. */
static const struct profile *table_of(const struct case_data *data, const struct parameter_ref *ref) {
  return registry_member_const(ref->of_run ? (const void *)&data->simulation : data->parameters, ref->parameter);
}

/* The efficiencies that hold the cell referred to. */
static const real *cells_of(const struct case_data *data, const struct parameter_ref *ref) {
  const struct map *map = registry_member_const(data->parameters, ref->parameter);
  return ref->column == MAP_VOLUMETRIC ? map->volumetric : map->hydromechanical;
}

double parameter_ref_get(const struct case_data *data, const struct parameter_ref *ref) {
  switch (ref->kind) {
  case REF_ARGUMENT:
    return table_of(data, ref)->argument[ref->index];
  case REF_VALUE:
    return table_of(data, ref)->value[ref->index];
  case REF_CELL:
    return cells_of(data, ref)[ref->index];
  case REF_TO:
    return data->actions[ref->index].target;
  case REF_OVER:
    return data->actions[ref->index].duration;
  case REF_WHEN:
    return data->actions[ref->index].when.level;
  default: {
    const void *member =
        registry_member_const(ref->of_run ? (const void *)&data->simulation : data->parameters, ref->parameter);
    return ref->choices ? *(const int *)member : *(const real *)member;
  }
  }
}

void parameter_ref_set(struct case_data *data, const struct parameter_ref *ref, double si) {
  switch (ref->kind) {
  case REF_ARGUMENT:
    ((real *)table_of(data, ref)->argument)[ref->index] = si;
    break;
  case REF_VALUE:
    ((real *)table_of(data, ref)->value)[ref->index] = si;
    break;
  case REF_CELL:
    ((real *)cells_of(data, ref))[ref->index] = si;
    break;
  case REF_TO:
    data->actions[ref->index].target = si;
    break;
  case REF_OVER:
    data->actions[ref->index].duration = si;
    break;
  case REF_WHEN:
    data->actions[ref->index].when.level = si;
    break;
  default: {
    void *member = registry_member(ref->of_run ? (void *)&data->simulation : data->parameters, ref->parameter);
    if (ref->choices) {
      *(int *)member = (int)si;
    } else {
      *(real *)member = si;
    }
    break;
  }
  }
}

static bool read_index(const struct loader *loader, const struct parameter_ref *ref, const char *path,
                       const struct node *node, double *si) {
  int index = 0;
  if (!choice_read(loader, path, ref->choices, node, &index)) {
    return false;
  }
  *si = index;
  return true;
}

bool parameter_ref_read(const struct loader *loader, const struct parameter_ref *ref, const char *path,
                        const struct node *node, double *si) {
  if (ref->choices) {
    return read_index(loader, ref, path, node, si);
  }
  if (!number_read(loader, path, ref->quantity, node, si)) {
    return false;
  }
  double slack = isfinite(ref->low) && isfinite(ref->high) ? 1e-14 * (fabs(ref->low) + fabs(ref->high)) : 0.0;
  if (*si >= ref->low - slack && *si <= ref->high + slack) {
    return true;
  }
  char low[64] = "minus infinity";
  char high[64] = "infinity";
  if (isfinite(ref->low)) {
    units_write(ref->quantity, ref->low, low, sizeof low);
  }
  if (isfinite(ref->high)) {
    units_write(ref->quantity, ref->high, high, sizeof high);
  }
  return error_at(loader->error, node->file, node->line, node->column, "%s: %s lies outside %s to %s", path,
                  text_excerpt(node->text).text, low, high);
}

const char *parameter_ref_disorder(const struct case_data *data, const struct parameter_ref *ref) {
  if (ref->kind != REF_ARGUMENT) {
    return NULL;
  }
  const struct profile *table = table_of(data, ref);
  for (int i = 1; i < table->count; i++) {
    if (table->argument[i] < table->argument[i - 1]) {
      return "the table's arguments fall";
    }
    if (table->smooth && table->argument[i] <= table->argument[i - 1]) {
      return "two points of the smooth table have one argument";
    }
    if (i > 1 && table->argument[i] <= table->argument[i - 2]) {
      return "three points of the table have one argument";
    }
  }
  return NULL;
}

const char *parameter_ref_show(const struct parameter_ref *ref, double si, char *buffer, int size) {
  if (ref->choices) {
    return registry_choice_name(ref->choices, (int)si, buffer, size);
  }
  return units_show(ref->quantity, si, buffer, size);
}
