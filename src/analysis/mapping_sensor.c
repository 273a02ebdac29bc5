#include "mapping_sensor.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "registry.h"
#include "units.h"

static const char *word_at(const void *context, int index) {
  return ((const char *const *)context)[index];
}

bool mapping_check_keys(const struct node *node, const char *const *known, int count, const char *where,
                        struct error *error) {
  if (node->kind != NODE_MAPPING) {
    return error_at(error, node->file, node->line, node->column, "%s: found %s, expected a mapping", where,
                    node_kind_words(node));
  }
  for (const struct node *child = node->first; child != NULL; child = child->next) {
    bool found = false;
    for (int i = 0; i < count; i++) {
      found = found || strcmp(child->key, known[i]) == 0;
    }
    if (!found) {
      const char *near = registry_nearest(child->key, count, word_at, known);
      return error_at(error, child->file, child->key_line, child->key_column, "%s has no '%s'%s%s%s", where, child->key,
                      near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
    }
  }
  return true;
}

/* An amount within what the term can be. */
static bool read_value(const struct node *node, const char *text, enum sensor_term term, enum quantity quantity,
                       double *value, struct error *error) {
  const struct sensor_row *row = &sensor_rows[term];
  struct error inner = {0};
  char low[64];
  char high[64];
  if (!units_read(quantity, text, value, &inner)) {
    return error_at(error, node->file, node->line, node->column, "%s: %s", row->name, inner.text);
  }
  return (*value >= row->least && *value <= row->most) ||
         error_at(error, node->file, node->line, node->column, "%s: '%s' is outside %s to %s", row->name, text,
                  units_show(quantity, row->least, low, sizeof low),
                  units_show(quantity, row->most, high, sizeof high));
}

bool mapping_read_term(const struct node *parent, enum sensor_term term, enum quantity quantity,
                       struct sensor_number *number, struct error *error) {
  const struct node *node = node_child(parent, sensor_rows[term].name);
  if (node == NULL) {
    return true;
  }
  if (node->kind != NODE_TEXT) {
    return error_at(error, node->file, node->line, node->column, "%s: found %s, expected an amount, LOW..HIGH or free",
                    sensor_rows[term].name, node_kind_words(node));
  }
  number->given = true;
  if (strcmp(node->text, "free") == 0) {
    number->free = true;
    return true;
  }
  const char *dots = strstr(node->text, "..");
  if (dots == NULL) {
    return read_value(node, node->text, term, quantity, &number->value, error);
  }
  char low[96];
  (void)snprintf(low, sizeof low, "%.*s", (int)(dots - node->text), node->text);
  number->free = true;
  if (!read_value(node, low, term, quantity, &number->low, error) ||
      !read_value(node, dots + 2, term, quantity, &number->high, error)) {
    return false;
  }
  return number->low < number->high || error_at(error, node->file, node->line, node->column,
                                                "%s: the bounds '%s' must rise", sensor_rows[term].name, node->text);
}

bool mapping_read_sensor(const struct node *channel, enum quantity quantity, struct sensor *sensor,
                         struct error *error) {
  static const char *const known[] = {"gain", "offset", "lag", "delay", "drift", "quantum"};
  *sensor = sensor_neutral();
  const struct node *node = node_child(channel, "sensor");
  if (node == NULL) {
    return true;
  }
  if (!mapping_check_keys(node, known, 6, "a sensor", error)) {
    return false;
  }
  for (int term = 0; term < SENSOR_TERMS; term++) {
    if (!mapping_read_term(node, (enum sensor_term)term, sensor_quantity((enum sensor_term)term, quantity),
                           &sensor->terms[term], error)) {
      return false;
    }
  }
  const struct node *quantum = node_child(node, "quantum");
  struct error inner = {0};
  if (quantum == NULL) {
    return true;
  }
  if (quantum->kind != NODE_TEXT ||
      !(strcmp(quantum->text, "none") == 0 ||
        units_read(sensor_quantity(SENSOR_OFFSET, quantity), quantum->text, &sensor->quantum, &inner))) {
    return error_at(error, quantum->file, quantum->line, quantum->column, "quantum: %s",
                    quantum->kind == NODE_TEXT ? inner.text : "expected an amount or none");
  }
  sensor->quantum = strcmp(quantum->text, "none") == 0 ? 0.0 : sensor->quantum;
  return sensor->quantum >= 0.0 ||
         error_at(error, quantum->file, quantum->line, quantum->column, "quantum: must not be negative");
}
