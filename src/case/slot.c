/* Single numbers of a case, by path. */
#include "slot.h"

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

static bool find_action(const struct case_data *data, const struct address *address, struct slot *slot,
                        struct error *error) {
  static const char *const parts[] = {"to", "over", "when"};
  static const enum slot_kind kinds[] = {SLOT_TO, SLOT_OVER, SLOT_WHEN};
  if (!check_index(address, data->action_count, "actions", error)) {
    return false;
  }
  int part = find_part(address->part, parts, 3);
  if (part < 0) {
    return unknown_part(address, parts, 3, "to, over or when", error);
  }
  const struct action *action = &data->actions[address->index];
  slot->kind = kinds[part];
  slot->index = address->index;
  slot->low = -HUGE_VAL;
  slot->high = HUGE_VAL;
  slot->quantity = QUANTITY_TIME;
  switch (slot->kind) {
  case SLOT_TO: {
    const struct field *table = action_table(data->plant, action->channel);
    slot->quantity = data->plant->channel_quantities[action->channel];
    slot->text = "where the action moves its channel";
    if (table) {
      slot->low = quantity_from_trade(table->quantity, table->low);
      slot->high = quantity_from_trade(table->quantity, table->high);
    }
    break;
  }
  case SLOT_OVER:
    slot->low = 0.0;
    slot->text = "how long the action takes";
    break;
  default:
    if (action->when.signal >= 0) {
      slot->quantity = data->plant->signals[action->when.signal].quantity;
      slot->reference = data->plant->signals[action->when.signal].reference;
    }
    slot->text = "level that the action waits for";
    break;
  }
  return true;
}

/* An efficiency of a map. */
static bool find_cell(const struct case_data *data, const struct address *address, struct slot *slot,
                      struct error *error) {
  const struct field *field = slot->parameter.field;
  const struct map *map = registry_member_const(data->parameters, slot->parameter);
  const char *const *parts = &map_column_names[MAP_VOLUMETRIC];
  if (!check_index(address, map->speeds * map->pressures, "rows", error)) {
    return false;
  }
  int part = find_part(address->part, parts, 2);
  if (part < 0) {
    return unknown_part(address, parts, 2, "volumetric or hydromechanical", error);
  }
  slot->kind = SLOT_CELL;
  slot->index = address->index;
  slot->column = MAP_VOLUMETRIC + part;
  slot->text = field->text;
  slot->quantity = field->quantity;
  slot->low = quantity_from_trade(field->quantity, field->low);
  slot->high = quantity_from_trade(field->quantity, field->high);
  return true;
}

static bool find_point(const struct case_data *data, const struct address *address, struct slot *slot,
                       struct error *error) {
  static const char *const parts[] = {"value", "argument"};
  const struct field *field = slot->parameter.field;
  if (field->kind == FIELD_MAP) {
    return find_cell(data, address, slot, error);
  }
  if (field->kind != FIELD_TABLE) {
    return error_at(error, "", 0, address->index_column - 1, "%s is no table", address->base);
  }
  const struct profile *table =
      registry_member_const(slot->of_run ? (const void *)&data->simulation : data->parameters, slot->parameter);
  if (!check_index(address, table->count, "points", error)) {
    return false;
  }
  int part = find_part(address->part, parts, 2);
  if (part < 0) {
    return unknown_part(address, parts, 2, "value or argument", error);
  }
  slot->kind = part == 0 ? SLOT_VALUE : SLOT_ARGUMENT;
  slot->index = address->index;
  slot->text = field->text;
  slot->reference = part == 0 ? field->reference : REFERENCE_NONE;
  slot->quantity = part == 0 ? field->quantity : field->argument;
  slot->low = part == 0 ? quantity_from_trade(field->quantity, field->low) : -HUGE_VAL;
  slot->high = part == 0 ? quantity_from_trade(field->quantity, field->high) : HUGE_VAL;
  return true;
}

static bool find_field(const struct case_data *data, const struct address *address, struct slot *slot,
                       struct error *error) {
  void *base = NULL;
  if (!loader_find(data, address->base, &slot->parameter, &base, error)) {
    return false;
  }
  slot->of_run = base == (void *)&data->simulation;
  if (address->indexed) {
    return find_point(data, address, slot, error);
  }
  const struct field *field = slot->parameter.field;
  if (field->kind == FIELD_TABLE) {
    return error_at(error, "", 0, 1, "%s is a table; name one of its numbers, as %s[1].value", address->base,
                    address->base);
  }
  if (field->kind == FIELD_MAP) {
    return error_at(error, "", 0, 1, "%s is a map; name one of its efficiencies, as %s[1].volumetric", address->base,
                    address->base);
  }
  slot->kind = SLOT_FIELD;
  slot->text = field->text;
  if (field->kind == FIELD_CHOICE) {
    slot->choices = field->choices;
    slot->quantity = QUANTITY_NUMBER;
    return true;
  }
  slot->quantity = field->quantity;
  slot->reference = field->reference;
  slot->low = quantity_from_trade(field->quantity, field->low);
  slot->high = quantity_from_trade(field->quantity, field->high);
  return true;
}

bool slot_find(const struct case_data *data, const char *path, struct slot *slot, struct error *error) {
  struct address address;
  memset(slot, 0, sizeof *slot);
  if (!cut(path, &address, error)) {
    return false;
  }
  if (strcmp(address.base, "actions") == 0 && address.indexed) {
    return find_action(data, &address, slot, error);
  }
  return find_field(data, &address, slot, error);
}

/* The table that holds the slot; its points lie in the case's own memory. */
static const struct profile *table_of(const struct case_data *data, const struct slot *slot) {
  return registry_member_const(slot->of_run ? (const void *)&data->simulation : data->parameters, slot->parameter);
}

/* The efficiencies that hold the slot's cell. */
static const real *cells_of(const struct case_data *data, const struct slot *slot) {
  const struct map *map = registry_member_const(data->parameters, slot->parameter);
  return slot->column == MAP_VOLUMETRIC ? map->volumetric : map->hydromechanical;
}

double slot_get(const struct case_data *data, const struct slot *slot) {
  switch (slot->kind) {
  case SLOT_ARGUMENT:
    return table_of(data, slot)->argument[slot->index];
  case SLOT_VALUE:
    return table_of(data, slot)->value[slot->index];
  case SLOT_CELL:
    return cells_of(data, slot)[slot->index];
  case SLOT_TO:
    return data->actions[slot->index].target;
  case SLOT_OVER:
    return data->actions[slot->index].duration;
  case SLOT_WHEN:
    return data->actions[slot->index].when.level;
  default: {
    const void *member =
        registry_member_const(slot->of_run ? (const void *)&data->simulation : data->parameters, slot->parameter);
    return slot->choices ? *(const int *)member : *(const real *)member;
  }
  }
}

void slot_set(struct case_data *data, const struct slot *slot, double si) {
  switch (slot->kind) {
  case SLOT_ARGUMENT:
    ((real *)table_of(data, slot)->argument)[slot->index] = si;
    break;
  case SLOT_VALUE:
    ((real *)table_of(data, slot)->value)[slot->index] = si;
    break;
  case SLOT_CELL:
    ((real *)cells_of(data, slot))[slot->index] = si;
    break;
  case SLOT_TO:
    data->actions[slot->index].target = si;
    break;
  case SLOT_OVER:
    data->actions[slot->index].duration = si;
    break;
  case SLOT_WHEN:
    data->actions[slot->index].when.level = si;
    break;
  default: {
    void *member = registry_member(slot->of_run ? (void *)&data->simulation : data->parameters, slot->parameter);
    if (slot->choices) {
      *(int *)member = (int)si;
    } else {
      *(real *)member = si;
    }
    break;
  }
  }
}

static bool read_index(const struct loader *loader, const struct slot *slot, const char *path, const struct node *node,
                       double *si) {
  int index = 0;
  if (!choice_read(loader, path, slot->choices, node, &index)) {
    return false;
  }
  *si = index;
  return true;
}

bool slot_read(const struct loader *loader, const struct slot *slot, const char *path, const struct node *node,
               double *si) {
  if (slot->choices) {
    return read_index(loader, slot, path, node, si);
  }
  if (!number_read(loader, path, slot->quantity, node, si)) {
    return false;
  }
  double slack = isfinite(slot->low) && isfinite(slot->high) ? 1e-14 * (fabs(slot->low) + fabs(slot->high)) : 0.0;
  if (*si >= slot->low - slack && *si <= slot->high + slack) {
    return true;
  }
  char low[64] = "minus infinity";
  char high[64] = "infinity";
  if (isfinite(slot->low)) {
    units_write(slot->quantity, slot->low, low, sizeof low);
  }
  if (isfinite(slot->high)) {
    units_write(slot->quantity, slot->high, high, sizeof high);
  }
  return error_at(loader->error, node->file, node->line, node->column, "%s: %s lies outside %s to %s", path,
                  text_excerpt(node->text).text, low, high);
}

const char *slot_disorder(const struct case_data *data, const struct slot *slot) {
  if (slot->kind != SLOT_ARGUMENT) {
    return NULL;
  }
  const struct profile *table = table_of(data, slot);
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

const char *slot_show(const struct slot *slot, double si, char *buffer, int size) {
  if (slot->choices) {
    return registry_choice_name(slot->choices, (int)si, buffer, size);
  }
  return units_show(slot->quantity, si, buffer, size);
}
