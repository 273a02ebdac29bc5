#include "axis.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw.h"
#include "text.h"
#include "units.h"

#define LARGEST_CUT 1e-3 /* share of a distribution that may lie outside the parameter's bounds without a word */

static bool fail(const struct loader *loader, const struct node *node, const char *text) {
  return error_at(loader->error, node->file, node->line, node->column, "%s", text);
}

/* ---- what an axis sets ---- */

static bool find_ref(const struct loader *loader, const struct node *path, struct axis *axis) {
  struct error inner = {0};
  struct parameter_ref *ref = &axis->refs[axis->ref_count];
  if (path->kind != NODE_TEXT) {
    return error_at(loader->error, path->file, path->line, path->column, "found %s, expected the path of a parameter",
                    node_kind_words(path));
  }
  if (!parameter_ref_find(loader->data, path->text, ref, &inner)) {
    return error_at(loader->error, path->file, path->line, node_column(path, inner.column - 1), "%s", inner.text);
  }
  const struct parameter_ref *first = &axis->refs[0];
  bool alike = ref->quantity == first->quantity && ref->reference == first->reference &&
               (ref->choices == NULL) == (first->choices == NULL) &&
               (ref->choices == NULL || strcmp(ref->choices, first->choices) == 0);
  if (!alike) {
    return error_at(loader->error, path->file, path->line, path->column,
                    "'%s' is another quantity than '%s': the two cannot have one value", path->text, axis->paths[0]);
  }
  axis->paths[axis->ref_count++] = path->text;
  return true;
}

bool axis_find_refs(const struct loader *loader, const struct node *path, struct axis *axis) {
  bool list = path->kind == NODE_LIST;
  int count = list ? path->count : 1;
  if (count == 0) {
    return fail(loader, path, "an empty list, expected paths of parameters");
  }
  axis->refs = arena_take(loader->arena, (size_t)count * sizeof *axis->refs);
  axis->paths = arena_take(loader->arena, (size_t)count * sizeof *axis->paths);
  if (!axis->refs || !axis->paths) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *node = list ? path->first : path; node; node = list ? node->next : NULL) {
    if (!find_ref(loader, node, axis)) {
      return false;
    }
  }
  axis->path = axis->paths[0];
  return true;
}

/* ---- numbers of an entry ---- */

/* A value that every reference of the axis accepts. */
static bool read_value(const struct loader *loader, const struct axis *axis, const struct node *node, double *si) {
  for (int i = 0; i < axis->ref_count; i++) {
    if (!parameter_ref_read(loader, &axis->refs[i], axis->paths[i], node, si)) {
      return false;
    }
  }
  return true;
}

static const struct node *need(const struct loader *loader, const struct node *entry, const char *key) {
  const struct node *node = node_child(entry, key);
  if (!node) {
    error_at(loader->error, entry->file, entry->line, entry->column, "this entry has no '%s:'", key);
  }
  return node;
}

static bool need_value(const struct loader *loader, const struct axis *axis, const struct node *entry, const char *key,
                       double *si) {
  const struct node *node = need(loader, entry, key);
  return node && read_value(loader, axis, node, si);
}

static bool read_list(const struct loader *loader, const struct node *values, struct axis *axis) {
  if (values->kind != NODE_LIST || values->count == 0) {
    return fail(loader, values, "values: expected a list, as [100 bar, 120 bar]");
  }
  axis->kind = AXIS_LIST;
  axis->values = arena_take(loader->arena, (size_t)values->count * sizeof *axis->values);
  if (!axis->values) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *node = values->first; node; node = node->next) {
    if (!read_value(loader, axis, node, &axis->values[axis->count++])) {
      return false;
    }
  }
  return true;
}

static bool read_range(const struct loader *loader, const struct node *entry, struct axis *axis) {
  axis->kind = AXIS_RANGE;
  if (!need_value(loader, axis, entry, "from", &axis->from) || !need_value(loader, axis, entry, "to", &axis->to)) {
    return false;
  }
  const struct node *count = node_child(entry, "count");
  if (count) {
    double number = 0.0;
    if (!number_read(loader, "count", QUANTITY_NUMBER, count, &number)) {
      return false;
    }
    if (!(number >= 1.0 && number <= 1e6 && number == floor(number))) {
      return fail(loader, count, "count: expected a whole number from 1 to 1000000");
    }
    axis->count = (long)number;
  }
  const struct node *spacing = node_child(entry, "spacing");
  int chosen = 0;
  if (spacing && !choice_read(loader, "spacing", "linear|logarithmic", spacing, &chosen)) {
    return false;
  }
  axis->logarithmic = chosen == 1;
  if (axis->logarithmic && !(axis->from > 0.0 && axis->to > 0.0)) {
    return fail(loader, spacing, "a logarithmic range lies above zero");
  }
  return true;
}

/* ---- distributions ---- */

static const char distributions[] = "uniform|log_uniform|normal|log_normal|triangular";

/* Share of a normal or log-normal distribution below a value. */
static double share_below(const struct axis *axis, double value) {
  if (axis->distribution == DISTRIBUTION_LOG_NORMAL) {
    return value > 0.0 ? draw_normal_share(log(value / axis->centre) / log(axis->width)) : 0.0;
  }
  return draw_normal_share((value - axis->centre) / axis->width);
}

/* Where the tails are cut: at `low` and `high` if given, else at the bounds of the parameter. */
static bool read_cuts(const struct loader *loader, const struct node *entry, struct axis *axis) {
  const struct node *low = node_child(entry, "low");
  const struct node *high = node_child(entry, "high");
  axis->low = -HUGE_VAL;
  axis->high = HUGE_VAL;
  for (int i = 0; i < axis->ref_count; i++) {
    axis->low = fmax(axis->low, axis->refs[i].low);
    axis->high = fmin(axis->high, axis->refs[i].high);
  }
  if ((low && !read_value(loader, axis, low, &axis->low)) || (high && !read_value(loader, axis, high, &axis->high))) {
    return false;
  }
  axis->share_low = isfinite(axis->low) ? share_below(axis, axis->low) : 0.0;
  axis->share_high = isfinite(axis->high) ? share_below(axis, axis->high) : 1.0;
  double outside = (low ? 0.0 : axis->share_low) + (high ? 0.0 : 1.0 - axis->share_high);
  if (outside > LARGEST_CUT) {
    return error_at(loader->error, entry->file, entry->line, entry->column,
                    "%.2g %% of this distribution lies outside what %s can be; cut it with 'low:' and 'high:'",
                    100.0 * outside, axis->path);
  }
  return axis->share_high > axis->share_low || fail(loader, entry, "low and high leave nothing of this distribution");
}

static bool read_normal(const struct loader *loader, const struct node *entry, struct axis *axis) {
  const struct node *deviation = need(loader, entry, "deviation");
  if (!deviation || !need_value(loader, axis, entry, "mean", &axis->centre)) {
    return false;
  }
  /* A deviation is a difference: 5 K, not 5 degC. */
  enum quantity quantity = axis->refs[0].quantity;
  quantity = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
  if (!number_read(loader, "deviation", quantity, deviation, &axis->width)) {
    return false;
  }
  return (axis->width > 0.0 || fail(loader, deviation, "deviation: must be above zero")) &&
         read_cuts(loader, entry, axis);
}

static bool read_log_normal(const struct loader *loader, const struct node *entry, struct axis *axis) {
  const struct node *factor = need(loader, entry, "factor");
  if (!factor || !need_value(loader, axis, entry, "median", &axis->centre) ||
      !number_read(loader, "factor", QUANTITY_NUMBER, factor, &axis->width)) {
    return false;
  }
  if (!(axis->centre > 0.0)) {
    return fail(loader, entry, "median: must be above zero");
  }
  return (axis->width > 1.0 || fail(loader, factor, "factor: must be above 1")) && read_cuts(loader, entry, axis);
}

static bool read_bounded(const struct loader *loader, const struct node *entry, struct axis *axis) {
  if (!need_value(loader, axis, entry, "low", &axis->low) || !need_value(loader, axis, entry, "high", &axis->high)) {
    return false;
  }
  if (!(axis->low < axis->high)) {
    return fail(loader, node_child(entry, "high"), "high: must lie above low");
  }
  if (axis->distribution == DISTRIBUTION_LOG_UNIFORM && !(axis->low > 0.0)) {
    return fail(loader, node_child(entry, "low"), "low: a log_uniform distribution lies above zero");
  }
  if (axis->distribution != DISTRIBUTION_TRIANGULAR) {
    return true;
  }
  if (!need_value(loader, axis, entry, "peak", &axis->centre)) {
    return false;
  }
  return (axis->centre >= axis->low && axis->centre <= axis->high) ||
         fail(loader, node_child(entry, "peak"), "peak: must lie between low and high");
}

static bool read_distribution(const struct loader *loader, const struct node *entry, struct axis *axis) {
  int chosen = 0;
  const struct node *node = node_child(entry, "distribution");
  if (!choice_read(loader, "distribution", distributions, node, &chosen)) {
    return false;
  }
  if (axis->refs[0].choices) {
    return fail(loader, node, "a choice has no distribution; give 'values:'");
  }
  axis->kind = AXIS_DISTRIBUTION;
  axis->distribution = (enum distribution)chosen;
  switch (axis->distribution) {
  case DISTRIBUTION_NORMAL:
    return read_normal(loader, entry, axis);
  case DISTRIBUTION_LOG_NORMAL:
    return read_log_normal(loader, entry, axis);
  default:
    return read_bounded(loader, entry, axis);
  }
}

/* ---- one entry ---- */

/* Which numbers a distribution takes, in the order of `distributions`. */
static const char *const distribution_keys[] = {"low|high", "low|high", "mean|deviation|low|high",
                                                "median|factor|low|high", "low|peak|high"};

static bool check_keys(const struct loader *loader, const struct node *entry, const char *form, const char *known) {
  for (const struct node *child = entry->first; child; child = child->next) {
    if (registry_choice(known, child->key) >= 0) {
      continue;
    }
    char listed[160];
    (void)snprintf(listed, sizeof listed, "%s", known);
    for (char *bar = strchr(listed, '|'); bar; bar = strchr(bar, '|')) {
      *bar = ' ';
    }
    return error_at(loader->error, child->file, child->key_line, child->key_column, "'%s' does not go with %s: %s",
                    text_excerpt(child->key).text, form, listed);
  }
  return true;
}

static bool check_entry(const struct loader *loader, const struct node *entry) {
  if (entry->kind != NODE_MAPPING) {
    return error_at(loader->error, entry->file, entry->line, entry->column,
                    "found %s, expected 'path:' with 'values:', 'from:' and 'to:', or 'distribution:'",
                    node_kind_words(entry));
  }
  if (node_child(entry, "values")) {
    return check_keys(loader, entry, "values", "path|values");
  }
  if (node_child(entry, "from") || node_child(entry, "to")) {
    return check_keys(loader, entry, "a range", "path|from|to|count|spacing");
  }
  const struct node *distribution = node_child(entry, "distribution");
  if (distribution) {
    int chosen = 0;
    char known[160];
    char form[80];
    if (!choice_read(loader, "distribution", distributions, distribution, &chosen)) {
      return false;
    }
    (void)snprintf(known, sizeof known, "path|distribution|%s", distribution_keys[chosen]);
    (void)snprintf(form, sizeof form, "distribution %s", distribution->text);
    return check_keys(loader, entry, form, known);
  }
  return error_at(loader->error, entry->file, entry->line, entry->column,
                  "how it varies is not said: give 'values:', 'from:' and 'to:', or 'distribution:'");
}

bool axis_read(const struct loader *loader, const struct node *entry, struct axis *axis) {
  memset(axis, 0, sizeof *axis);
  axis->node = entry;
  if (!check_entry(loader, entry)) {
    return false;
  }
  const struct node *path = need(loader, entry, "path");
  if (!path || !axis_find_refs(loader, path, axis)) {
    return false;
  }
  const struct node *values = node_child(entry, "values");
  if (values) {
    return read_list(loader, values, axis);
  }
  if (axis->refs[0].choices) {
    return fail(loader, entry, "a choice has no range and no distribution; give 'values:'");
  }
  return node_child(entry, "distribution") ? read_distribution(loader, entry, axis) : read_range(loader, entry, axis);
}

/* ---- values ---- */

long axis_count(const struct axis *axis) {
  return axis->count;
}

/* `share` of the way; the ends are met exactly. */
static double between(double from, double to, bool logarithmic, double share) {
  if (share <= 0.0) {
    return from;
  }
  if (share >= 1.0) {
    return to;
  }
  return logarithmic ? from * exp(share * log(to / from)) : from + share * (to - from);
}

double axis_at(const struct axis *axis, long index) {
  if (axis->kind == AXIS_LIST) {
    return axis->values[index];
  }
  double share = axis->count > 1 ? (double)index / (double)(axis->count - 1) : 0.0;
  return between(axis->from, axis->to, axis->logarithmic, share);
}

static double triangular(const struct axis *axis, double share) {
  double width = axis->high - axis->low;
  double rise = (axis->centre - axis->low) / width;
  if (share < rise) {
    return axis->low + sqrt(share * width * (axis->centre - axis->low));
  }
  return axis->high - sqrt((1.0 - share) * width * (axis->high - axis->centre));
}

static double of_distribution(const struct axis *axis, double share) {
  double z;
  switch (axis->distribution) {
  case DISTRIBUTION_UNIFORM:
    return between(axis->low, axis->high, false, share);
  case DISTRIBUTION_LOG_UNIFORM:
    return between(axis->low, axis->high, true, share);
  case DISTRIBUTION_TRIANGULAR:
    return triangular(axis, share);
  default:
    share = axis->share_low + share * (axis->share_high - axis->share_low);
    z = draw_normal_inverse(fmin(fmax(share, 1e-300), 1.0 - 0x1p-53));
    z = axis->distribution == DISTRIBUTION_NORMAL ? axis->centre + z * axis->width
                                                  : axis->centre * exp(z * log(axis->width));
    return fmin(fmax(z, axis->low), axis->high);
  }
}

double axis_of_share(const struct axis *axis, double share) {
  switch (axis->kind) {
  case AXIS_LIST: {
    long index = (long)(share * (double)axis->count);
    return axis->values[index < axis->count ? index : axis->count - 1];
  }
  case AXIS_RANGE:
    return between(axis->from, axis->to, axis->logarithmic, share);
  default:
    return of_distribution(axis, share);
  }
}
