#include "mapping.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "mapping_sensor.h"
#include "reader.h"
#include "registry.h"
#include "units.h"

static bool complain(const struct node *node, struct error *error, const char *words) {
  return error_at(error, node->file, node->line, node->column, "%s", words);
}

static bool read_word(const struct node *parent, const char *key, bool needed, char *word, size_t size,
                      struct error *error) {
  const struct node *node = node_child(parent, key);
  word[0] = '\0';
  if (node == NULL) {
    return !needed || error_at(error, parent->file, parent->line, parent->column, "'%s' is missing", key);
  }
  if (node->kind != NODE_TEXT) {
    return error_at(error, node->file, node->line, node->column, "%s: found %s, expected a word", key,
                    node_kind_words(node));
  }
  (void)snprintf(word, size, "%s", node->text);
  return true;
}

/* An amount; pressures and temperatures as differences. */
static bool read_amount(const struct node *parent, const char *key, enum quantity quantity, double low, double *value,
                        struct error *error) {
  const struct node *node = node_child(parent, key);
  struct error inner = {0};
  if (node == NULL) {
    return true;
  }
  quantity = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
  if (node->kind != NODE_TEXT || !units_read(quantity, node->text, value, &inner)) {
    return error_at(error, node->file, node->line, node->column, "%s: %s", key,
                    node->kind == NODE_TEXT ? inner.text : "expected a number with a unit");
  }
  return *value >= low ||
         error_at(error, node->file, node->line, node->column, "%s: '%s' is too small", key, node->text);
}

struct names {
  const struct plant *plant;
};

static const char *signal_at(const void *context, int index) {
  return ((const struct names *)context)->plant->signals[index].name;
}

static bool find_signal(const struct node *node, const char *name, struct signal *row, struct error *error) {
  const char *near = NULL;
  for (int p = 0; registry_plants[p] != NULL; p++) {
    int signal = registry_signal(registry_plants[p], name);
    if (signal >= 0) {
      *row = registry_plants[p]->signals[signal];
      return true;
    }
    struct names names = {registry_plants[p]};
    near = near != NULL ? near : registry_nearest(name, names.plant->signal_count, signal_at, &names);
  }
  return error_at(error, node->file, node->line, node->column, "'%s' is no signal%s%s%s", name,
                  near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
}

static bool read_signal(const struct node *node, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"signal", "column", "unit", "factor", "offset",
                                      "band",   "rms",    "mean", "noise",  "sensor"};
  char name[TRACE_NAME];
  if (mapping->count == MAPPING_SIGNALS) {
    return complain(node, error, "too many signals");
  }
  struct mapped *mapped = &mapping->signals[mapping->count];
  mapped->factor = 1.0;
  mapped->offset = 0.0;
  mapped->band = mapped->rms = mapped->mean = mapped->noise = NAN;
  mapped->line = node->line;
  if (!mapping_check_keys(node, known, 10, "a signal of the mapping", error) ||
      !read_word(node, "signal", true, name, sizeof name, error) ||
      !find_signal(node_child(node, "signal"), name, &mapped->row, error) ||
      !read_word(node, "column", true, mapped->column, sizeof mapped->column, error) ||
      !read_word(node, "unit", false, mapped->unit, sizeof mapped->unit, error)) {
    return false;
  }
  enum quantity quantity = mapped->row.quantity;
  mapping->count++;
  return read_amount(node, "factor", QUANTITY_NUMBER, -HUGE_VAL, &mapped->factor, error) &&
         read_amount(node, "offset", quantity, -HUGE_VAL, &mapped->offset, error) &&
         read_amount(node, "band", quantity, 0.0, &mapped->band, error) &&
         read_amount(node, "rms", quantity, 0.0, &mapped->rms, error) &&
         read_amount(node, "mean", quantity, 0.0, &mapped->mean, error) &&
         read_amount(node, "noise", quantity, 1e-300, &mapped->noise, error) &&
         mapping_read_sensor(node, quantity, &mapped->sensor, error);
}

static bool read_order(const struct node *time, struct mapping *mapping, struct error *error) {
  static const char *const words[] = {"", "year/month/day", "day/month/year", "month/day/year"};
  char word[TRACE_NAME];
  const struct node *node = node_child(time, "order");
  if (node == NULL) {
    return true;
  }
  if (!read_word(time, "order", true, word, sizeof word, error)) {
    return false;
  }
  for (int i = 1; i < 4; i++) {
    if (strcmp(word, words[i]) == 0) {
      mapping->date_order = (enum date_order)i;
      return true;
    }
  }
  return error_at(error, node->file, node->line, node->column,
                  "order: '%s' is none; expected day/month/year, month/day/year or year/month/day", word);
}

/* {column: NAME, unit: UNIT}; or {rate: RATE} or {step: TIME} for a sample index, in a column or counted. */
static bool read_time(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"column", "unit", "rate", "step", "order"};
  const struct node *time = node_child(root, "time");
  double step = 0.0;
  if (time == NULL) {
    return true; /* the file may say which it is */
  }
  if (!mapping_check_keys(time, known, 5, "time", error) ||
      !read_amount(time, "rate", QUANTITY_FREQUENCY, 1e-6, &mapping->time_rate, error) ||
      !read_amount(time, "step", QUANTITY_TIME, 1e-9, &step, error) || !read_order(time, mapping, error)) {
    return false;
  }
  if (step > 0.0 && mapping->time_rate > 0.0) {
    return complain(time, error, "found 'rate' and 'step', expected one of them");
  }
  mapping->time_rate = step > 0.0 ? 1.0 / step : mapping->time_rate;
  if (mapping->time_rate > 0.0 && node_child(time, "unit") != NULL) {
    return complain(time, error, "a sample index has a rate and no unit");
  }
  return read_word(time, "column", mapping->time_rate <= 0.0, mapping->time_column, sizeof mapping->time_column,
                   error) &&
         read_word(time, "unit", false, mapping->time_unit, sizeof mapping->time_unit, error);
}

/* `gaps: [-9999, 1e30]`, or none. */
static bool read_gaps(const struct node *root, struct mapping *mapping, struct error *error) {
  const struct node *gaps = node_child(root, "gaps");
  if (gaps == NULL) {
    return true;
  }
  if (gaps->kind == NODE_TEXT && strcmp(gaps->text, "none") == 0) {
    mapping->gaps.only_declared = true;
    return true;
  }
  if (gaps->kind != NODE_LIST || gaps->count > SENTINELS) {
    return error_at(error, gaps->file, gaps->line, gaps->column, "gaps: expected none or a list of up to %d numbers",
                    SENTINELS);
  }
  for (const struct node *node = gaps->first; node != NULL; node = node->next) {
    struct error inner = {0};
    double *number = &mapping->gaps.declared[mapping->gaps.count++];
    if (node->kind != NODE_TEXT || !units_read(QUANTITY_NUMBER, node->text, number, &inner)) {
      return error_at(error, node->file, node->line, node->column, "gaps: %s",
                      node->kind == NODE_TEXT ? inner.text : "expected a number");
    }
  }
  return true;
}

static bool read_shift(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"largest"};
  const struct node *shift = node_child(root, "shift");
  if (shift == NULL) {
    return true;
  }
  mapping->clocks_are_one = shift->kind == NODE_TEXT && strcmp(shift->text, "none") == 0;
  if (mapping->clocks_are_one) {
    return true;
  }
  return mapping_check_keys(shift, known, 1, "shift", error) &&
         read_amount(shift, "largest", QUANTITY_TIME, 0.0, &mapping->largest_shift, error);
}

static bool read_root(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"time", "signals", "shift", "from", "to", "gaps", "drift"};
  if (!mapping_check_keys(root, known, 7, "the mapping", error) || !read_gaps(root, mapping, error) ||
      !read_time(root, mapping, error) || !read_shift(root, mapping, error) ||
      !mapping_read_term(root, SENSOR_DRIFT, QUANTITY_FRACTION, &mapping->drift, error) ||
      !read_amount(root, "from", QUANTITY_TIME, -HUGE_VAL, &mapping->from, error) ||
      !read_amount(root, "to", QUANTITY_TIME, -HUGE_VAL, &mapping->to, error)) {
    return false;
  }
  const struct node *signals = node_child(root, "signals");
  if (signals == NULL || signals->kind != NODE_LIST || signals->count == 0) {
    return complain(signals != NULL ? signals : root, error, "'signals' must be a list of one signal at least");
  }
  for (const struct node *node = signals->first; node != NULL; node = node->next) {
    if (!read_signal(node, mapping, error)) {
      return false;
    }
  }
  return true;
}

bool mapping_read_text(const char *name, const char *text, size_t length, struct mapping *mapping,
                       struct error *error) {
  struct arena *arena = arena_open();
  memset(mapping, 0, sizeof *mapping);
  (void)snprintf(mapping->file, sizeof mapping->file, "%s", name);
  mapping->from = -HUGE_VAL;
  mapping->to = HUGE_VAL;
  mapping->drift = sensor_neutral().terms[SENSOR_DRIFT];
  const struct node *root = arena != NULL ? reader_parse(arena, name, text, length, -1, error) : NULL;
  bool good = root != NULL && read_root(root, mapping, error);
  if (arena == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for %s", name);
  } else {
    arena_close(arena);
  }
  return good;
}

bool mapping_read(const char *path, struct mapping *mapping, struct error *error) {
  struct arena *arena = arena_open();
  const char *why = "no memory";
  size_t length = 0;
  const char *text = arena != NULL ? reader_file(arena, NULL, path, READER_FILE_LIMIT, NULL, &length, &why) : NULL;
  bool good =
      text != NULL ? mapping_read_text(path, text, length, mapping, error) : error_at(error, path, 0, 0, "%s", why);
  if (arena != NULL) {
    arena_close(arena);
  }
  return good;
}
