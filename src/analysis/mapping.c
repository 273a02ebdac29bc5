#include "mapping.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "reader.h"
#include "registry.h"
#include "units.h"

/* ---- reading ---- */

static bool complain(const struct node *node, struct error *error, const char *words) {
  return error_at(error, node->file, node->line, node->column, "%s", words);
}

static const char *word_at(const void *context, int index) {
  return ((const char *const *)context)[index];
}

/* Every key of the mapping is one of `known`. */
static bool check_keys(const struct node *node, const char *const *known, int count, const char *where,
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
  static const char *const known[] = {"signal", "column", "unit", "factor", "offset", "band", "rms", "mean", "noise"};
  char name[TRACE_NAME];
  if (mapping->count == MAPPING_SIGNALS) {
    return complain(node, error, "too many signals");
  }
  struct mapped *mapped = &mapping->signals[mapping->count];
  mapped->factor = 1.0;
  mapped->offset = 0.0;
  mapped->band = mapped->rms = mapped->mean = mapped->noise = NAN;
  mapped->line = node->line;
  if (!check_keys(node, known, 9, "a signal of the mapping", error) ||
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
         read_amount(node, "noise", quantity, 1e-300, &mapped->noise, error);
}

static bool read_time(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"column", "unit"};
  const struct node *time = node_child(root, "time");
  if (time == NULL) {
    return complain(root, error, "'time' is missing: which column is the time?");
  }
  return check_keys(time, known, 2, "time", error) &&
         read_word(time, "column", true, mapping->time_column, sizeof mapping->time_column, error) &&
         read_word(time, "unit", false, mapping->time_unit, sizeof mapping->time_unit, error);
}

static bool read_shift(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"largest"};
  const struct node *shift = node_child(root, "shift");
  if (shift == NULL || (shift->kind == NODE_TEXT && strcmp(shift->text, "none") == 0)) {
    return true;
  }
  return check_keys(shift, known, 1, "shift", error) &&
         read_amount(shift, "largest", QUANTITY_TIME, 0.0, &mapping->largest_shift, error);
}

static bool read_root(const struct node *root, struct mapping *mapping, struct error *error) {
  static const char *const known[] = {"time", "signals", "shift", "from", "to"};
  if (!check_keys(root, known, 5, "the mapping", error) || !read_time(root, mapping, error) ||
      !read_shift(root, mapping, error) ||
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
  const char *text = arena != NULL ? reader_file(arena, path, READER_FILE_LIMIT, NULL, &length, &why) : NULL;
  bool good =
      text != NULL ? mapping_read_text(path, text, length, mapping, error) : error_at(error, path, 0, 0, "%s", why);
  if (arena != NULL) {
    arena_close(arena);
  }
  return good;
}

/* ---- applying ---- */

/* SI = slope times number plus zero, for a unit of a quantity. */
static bool unit_line(const char *file, const char *column, enum quantity quantity, const char *unit, double *slope,
                      double *zero, struct error *error) {
  char text[TRACE_NAME + 8];
  struct error inner = {0};
  double one;
  *zero = 0.0;
  *slope = 1.0;
  if (unit[0] == '\0' && quantity == QUANTITY_NUMBER) {
    return true;
  }
  if (unit[0] == '\0') {
    return error_set(error, ERROR_INPUT,
                     "%s: the unit of column '%s' is neither in its heading, as in '%s [%s]', nor in the mapping", file,
                     column, column, quantity_rows[quantity].trade_unit);
  }
  (void)snprintf(text, sizeof text, "0 %s", unit);
  bool good = units_read(quantity, text, zero, &inner);
  (void)snprintf(text, sizeof text, "1 %s", unit);
  good = good && units_read(quantity, text, &one, &inner);
  if (!good) {
    return error_set(error, ERROR_INPUT, "%s: column '%s': %s", file, column, inner.text);
  }
  *slope = one - *zero;
  return true;
}

static bool apply_column(const struct mapping *mapping, const struct mapped *mapped, const struct trace *trace,
                         const int *rows, struct measured *measured, int place, struct error *error) {
  struct error inner = {0};
  int column = trace_column(trace, mapped->column, &inner);
  if (column < 0) {
    return error_at(error, mapping->file, mapped->line, 0, "%s", inner.text);
  }
  const char *unit = mapped->unit[0] != '\0' ? mapped->unit : trace->units[column];
  double slope;
  double zero;
  if (!unit_line(trace->file, mapped->column, mapped->row.quantity, unit, &slope, &zero, error)) {
    return false;
  }
  for (int k = 0; k < measured->count; k++) {
    measured->values[place][k] = slope * mapped->factor * trace->values[column][rows[k]] + zero + mapped->offset;
  }
  return true;
}

/* Rows that have a time, which must rise. */
static bool apply_time(const struct mapping *mapping, const struct trace *trace, int *rows, struct measured *measured,
                       struct error *error) {
  struct error inner = {0};
  int column = trace_column(trace, mapping->time_column, &inner);
  if (column < 0) {
    return error_at(error, mapping->file, 0, 0, "time: %s", inner.text);
  }
  const char *unit = mapping->time_unit[0] != '\0' ? mapping->time_unit : trace->units[column];
  double slope;
  double zero;
  if (!unit_line(trace->file, mapping->time_column, QUANTITY_TIME, unit, &slope, &zero, error)) {
    return false;
  }
  for (int k = 0; k < trace->count; k++) {
    double t = slope * trace->values[column][k];
    if (isnan(t)) {
      continue;
    }
    if (measured->count > 0 && !(t > measured->time[measured->count - 1])) {
      return error_set(error, ERROR_INPUT, "%s: the time does not rise at %.9g s (line of numbers %d)", trace->file, t,
                       k + 1);
    }
    rows[measured->count] = k;
    measured->time[measured->count++] = t;
  }
  return measured->count >= 2 ||
         error_set(error, ERROR_INPUT, "%s: column '%s' holds less than two times", trace->file, mapping->time_column);
}

bool mapping_apply(const struct mapping *mapping, const struct trace *trace, struct measured *measured,
                   struct error *error) {
  memset(measured, 0, sizeof *measured);
  size_t room = (size_t)trace->count + 1;
  int *rows = calloc(room, sizeof *rows);
  measured->time = calloc(room, sizeof(double));
  bool good = rows != NULL && measured->time != NULL;
  for (int i = 0; i < mapping->count; i++) {
    measured->values[i] = calloc(room, sizeof(double));
    good = good && measured->values[i] != NULL;
  }
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for %s", trace->file);
  }
  good = good && apply_time(mapping, trace, rows, measured, error);
  for (int i = 0; good && i < mapping->count; i++) {
    good = apply_column(mapping, &mapping->signals[i], trace, rows, measured, i, error);
  }
  free(rows);
  if (!good) {
    measured_free(measured);
  }
  return good;
}

void measured_free(struct measured *measured) {
  free(measured->time);
  for (int i = 0; i < MAPPING_SIGNALS; i++) {
    free(measured->values[i]);
  }
  memset(measured, 0, sizeof *measured);
}
