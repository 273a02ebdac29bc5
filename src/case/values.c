/* Nodes to the members of parameters. */
#include "loader.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "text.h"
#include "units.h"

enum { PATH_LIMIT = 128 };

/* The first point of a table behind its start, s or m: what is nearer is a slip, not a machine. */
#define LEAST_ARGUMENT 1e-9

static const char *path_of(struct parameter parameter, char *buffer) {
  (void)snprintf(buffer, PATH_LIMIT, "%s.%s", parameter.group->name, parameter.field->name);
  return buffer;
}

bool value_check(const struct loader *loader, const struct field *field, const char *name, double si,
                 const struct node *node) {
  double low = quantity_from_trade(field->quantity, field->low);
  double high = quantity_from_trade(field->quantity, field->high);
  /* A bound written in another unit may miss it by a rounding. */
  double slack = 1e-14 * (fabs(low) + fabs(high));
  if (si >= low - slack && si <= high + slack) {
    return true;
  }
  char smallest[64];
  char largest[64];
  units_write(field->quantity, low, smallest, sizeof smallest);
  units_write(field->quantity, high, largest, sizeof largest);
  return error_at(loader->error, node->file, node->line, node->column, "%s: %s lies outside %s to %s", name,
                  text_excerpt(node->text).text, smallest, largest);
}

static bool is_text(const struct loader *loader, const char *path, const struct node *node, const char *expected) {
  if (node->kind == NODE_TEXT) {
    return true;
  }
  return error_at(loader->error, node->file, node->line, node->column, "%s: found %s, expected %s", path,
                  node_kind_words(node), expected);
}

static bool read_number(const struct loader *loader, const char *path, enum quantity quantity, const struct node *node,
                        double *si) {
  struct error inner = {0};
  if (units_read(quantity, node->text, si, &inner)) {
    return true;
  }
  return error_at(loader->error, node->file, node->line, node_column(node, inner.column - 1), "%s: %s", path,
                  inner.text);
}

static bool read_real(const struct loader *loader, real *member, struct parameter parameter, const struct node *node) {
  char path[PATH_LIMIT];
  path_of(parameter, path);
  double si = 0.0;
  if (!is_text(loader, path, node, "one number with a unit") ||
      !read_number(loader, path, parameter.field->quantity, node, &si) ||
      !value_check(loader, parameter.field, path, si, node)) {
    return false;
  }
  *member = si;
  return true;
}

bool number_read(const struct loader *loader, const char *path, enum quantity quantity, const struct node *node,
                 double *si) {
  return is_text(loader, path, node, "one number with a unit") && read_number(loader, path, quantity, node, si);
}

/* The names of a choice, cut apart. */
struct choice_name {
  char text[64];
};

static const char *choice_at(const void *context, int index) {
  return ((const struct choice_name *)context)[index].text;
}

static int count_choices(const char *choices) {
  int count = 1;
  for (; *choices; choices++) {
    count += *choices == '|';
  }
  return count;
}

static bool choice_error(const struct loader *loader, const char *path, const char *choices, const struct node *node) {
  enum { CHOICE_LIMIT = 16 };
  struct choice_name names[CHOICE_LIMIT];
  int count = count_choices(choices);
  count = count < CHOICE_LIMIT ? count : CHOICE_LIMIT;
  char known[256] = "";
  size_t used = 0;
  for (int i = 0; i < count; i++) {
    registry_choice_name(choices, i, names[i].text, sizeof names[i].text);
    const char *between = i == 0 ? "" : i == count - 1 ? " or " : ", ";
    int wrote = snprintf(known + used, sizeof known - used, "%s%s", between, names[i].text);
    used += wrote > 0 ? (size_t)wrote : 0;
    if (used >= sizeof known) {
      break;
    }
  }
  return error_at(loader->error, node->file, node->line, node->column, "%s: '%s' is no choice; expected %s%s", path,
                  text_excerpt(node->text).text, known, hint_nearest(node->text, count, choice_at, names).text);
}

bool choice_read(const struct loader *loader, const char *path, const char *choices, const struct node *node,
                 int *index) {
  if (!is_text(loader, path, node, "a name")) {
    return false;
  }
  int found = registry_choice(choices, node->text);
  if (found < 0) {
    return choice_error(loader, path, choices, node);
  }
  *index = found;
  return true;
}

static bool read_choice(const struct loader *loader, int *member, struct parameter parameter, const struct node *node) {
  char path[PATH_LIMIT];
  return choice_read(loader, path_of(parameter, path), parameter.field->choices, node, member);
}

/* --- Tables ---------------------------------------------------------------------------------------------------------
 */

static const char pairs_expected[] = "a list of pairs [[ARGUMENT, VALUE], ...], one value, {file: NAME.csv}, or none";

/* One pair [argument, value]. */
static bool read_pair(const struct loader *loader, const char *path, const struct field *field, const struct node *pair,
                      double *argument, double *value) {
  if (pair->kind != NODE_LIST || pair->count != 2) {
    char found[48];
    if (pair->kind == NODE_LIST) {
      (void)snprintf(found, sizeof found, "a list of %d", pair->count);
    } else {
      (void)snprintf(found, sizeof found, "%s", node_kind_words(pair));
    }
    return error_at(loader->error, pair->file, pair->line, pair->column,
                    "%s: found %s, expected a pair "
                    "[ARGUMENT, VALUE]; a table is %s",
                    path, found, pairs_expected);
  }
  const struct node *first = pair->first;
  const struct node *second = first->next;
  return is_text(loader, path, first, "a number with a unit") &&
         read_number(loader, path, field->argument, first, argument) &&
         is_text(loader, path, second, "a number with a unit") &&
         read_number(loader, path, field->quantity, second, value) && value_check(loader, field, path, *value, second);
}

bool table_order(const struct loader *loader, const char *path, const struct field *field, const real *arguments,
                 int index, const struct node *pair) {
  char here[64];
  char before[64];
  units_write(field->argument, arguments[index], here, sizeof here);
  double least = field->argument == QUANTITY_TIME || field->argument == QUANTITY_LENGTH ? LEAST_ARGUMENT : 0.0;
  if (arguments[index] != 0.0 && fabs(arguments[index]) < least) {
    char smallest[64];
    return error_at(loader->error, pair->file, pair->line, pair->column,
                    "%s: a point at %s; expected 0 or at least %s, nothing moves within less", path, here,
                    units_write(field->argument, least, smallest, sizeof smallest));
  }
  if (index > 0 && arguments[index] < arguments[index - 1]) {
    units_write(field->argument, arguments[index - 1], before, sizeof before);
    return error_at(loader->error, pair->file, pair->line, pair->column,
                    "%s: %s comes after %s; arguments must not fall", path, here, before);
  }
  if (index > 1 && arguments[index] <= arguments[index - 2]) {
    return error_at(loader->error, pair->file, pair->line, pair->column, "%s: a third point at %s; two make a step",
                    path, here);
  }
  return true;
}

static bool read_points(const struct loader *loader, const char *path, const struct field *field,
                        const struct node *list, real *arguments, real *values) {
  int index = 0;
  for (const struct node *pair = list->first; pair; pair = pair->next, index++) {
    if (!read_pair(loader, path, field, pair, &arguments[index], &values[index]) ||
        !table_order(loader, path, field, arguments, index, pair)) {
      return false;
    }
  }
  return true;
}

/* `curve: smooth` of a mapping: measured traces over time, laid through by cubics. */
static bool read_curve(const struct loader *loader, const char *path, const struct field *field,
                       const struct node *mapping, struct profile *table) {
  const struct node *curve = node_child(mapping, "curve");
  int smooth = 0;
  if (curve == NULL) {
    return true;
  }
  if (!choice_read(loader, path, "straight|smooth", curve, &smooth)) {
    return false;
  }
  table->smooth = smooth != 0;
  if (table->smooth && field->argument != QUANTITY_TIME) {
    return error_at(loader->error, curve->file, curve->line, curve->column,
                    "%s: only a table over time can be smooth; kinks at places are located as they come", path);
  }
  for (int i = 1; table->smooth && i < table->count; i++) {
    if (!(table->argument[i] > table->argument[i - 1])) {
      char at[64];
      return error_at(loader->error, curve->file, curve->line, curve->column,
                      "%s: two points at %s; a smooth table has no steps", path,
                      units_write(field->argument, table->argument[i], at, sizeof at));
    }
  }
  return true;
}

static bool read_list(const struct loader *loader, const char *path, const struct field *field, const struct node *node,
                      struct profile *member);

/* {file: NAME.csv, ...} or {points: [...]}, either with `curve`. */
static bool read_mapping(const struct loader *loader, const char *path, const struct field *field,
                         const struct node *node, struct profile *member) {
  const struct node *points = node_child(node, "points");
  bool good;
  if (points == NULL) {
    good = csv_table(loader, path, field, node, member);
  } else {
    for (const struct node *child = node->first; child != NULL; child = child->next) {
      if (child != points && strcmp(child->key, "curve") != 0) {
        return error_at(loader->error, child->file, child->key_line, child->key_column,
                        "%s: found '%s' beside 'points', expected curve", path, text_excerpt(child->key).text);
      }
    }
    if (points->kind != NODE_LIST) {
      return error_at(loader->error, points->file, points->line, points->column,
                      "%s: found %s, expected a list of pairs", path, node_kind_words(points));
    }
    good = read_list(loader, path, field, points, member);
  }
  return good && read_curve(loader, path, field, node, member);
}

static bool read_table(const struct loader *loader, struct profile *member, struct parameter parameter,
                       const struct node *node) {
  char path[PATH_LIMIT];
  path_of(parameter, path);
  return node->kind == NODE_MAPPING ? read_mapping(loader, path, parameter.field, node, member)
                                    : read_list(loader, path, parameter.field, node, member);
}

static bool read_list(const struct loader *loader, const char *path, const struct field *field, const struct node *node,
                      struct profile *member) {
  if (value_is_none(node)) {
    *member = (struct profile){0, NULL, NULL, false};
    return true;
  }
  if (node->kind == NODE_LIST && node->count == 0) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: found an empty list, expected %s: a table without points is a slip", path, pairs_expected);
  }
  int count = node->kind == NODE_LIST ? node->count : 1;
  real *arguments = arena_take(loader->arena, (size_t)count * sizeof *arguments);
  real *values = arena_take(loader->arena, (size_t)count * sizeof *values);
  if (!arguments || !values) {
    return loader_out_of_memory(loader);
  }
  /* One value alone holds always. */
  bool good = node->kind == NODE_LIST ? read_points(loader, path, field, node, arguments, values)
                                      : read_number(loader, path, field->quantity, node, &values[0]) &&
                                            value_check(loader, field, path, values[0], node);
  if (good) {
    *member = (struct profile){count, arguments, values, false};
  }
  return good;
}

bool value_is_none(const struct node *node) {
  return node->kind == NODE_TEXT && strcmp(node->text, "none") == 0;
}

bool value_read(const struct loader *loader, void *base, struct parameter parameter, const struct node *node) {
  void *member = registry_member(base, parameter);
  switch (parameter.field->kind) {
  case FIELD_REAL:
    return read_real(loader, member, parameter, node);
  case FIELD_CHOICE:
    return read_choice(loader, member, parameter, node);
  case FIELD_MAP:
    return map_read(loader, member, parameter, node);
  default:
    return read_table(loader, member, parameter, node);
  }
}
