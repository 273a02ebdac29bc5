/* A trace from an HDF5 file: columns by name, those that are wanted with their numbers. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "h5_foreign.h"
#include "trace.h"

/* ---- which columns there are ---- */

static const char *without_groups(const char *name) {
  const char *last = strrchr(name, '/');
  return last != NULL && last[1] != '\0' ? last + 1 : name;
}

static bool take_names(const struct foreign_list *list, struct trace *trace) {
  trace->columns = calloc((size_t)list->count + 1, sizeof *trace->columns);
  if (trace->columns == NULL) {
    return false;
  }
  trace->column_count = list->count;
  for (int c = 0; c < list->count; c++) {
    struct trace_column *column = &trace->columns[c];
    column->kind = TRACE_UNREAD;
    (void)snprintf(column->name, sizeof column->name, "%s", list->columns[c].name);
    (void)snprintf(column->whole, sizeof column->whole, "%s", without_groups(column->name));
  }
  return true;
}

/* ---- the clock of a file that says which it is ---- */

static int column_of_path(const struct foreign_list *list, const char *path, long count) {
  for (int c = 0; c < list->count; c++) {
    if (strcmp(list->columns[c].path, path) == 0 && list->columns[c].rank == 1 && list->columns[c].count == count) {
      return c;
    }
  }
  return -1;
}

/* The scale of the axis that the samples lie on; else a column "time" or "t" as long, beside them or at the root, which
 * is told. */
static int find_time(struct h5_reading *reading, const struct foreign_list *list, int lead, struct told *told) {
  static const char *const usual[] = {"time", "t", "Time", "timestamp"};
  const struct foreign_column *first = &list->columns[lead];
  char path[FOREIGN_NAME];
  int found = foreign_scale(reading, first, path, sizeof path) ? column_of_path(list, path, first->count) : -1;
  if (found >= 0) {
    return found;
  }
  const char *last = strrchr(first->name, '/');
  int group = last != NULL ? (int)(last - first->name) + 1 : 0;
  for (int above = 0; above < 2 && found < 0; above++) {
    for (size_t i = 0; i < sizeof usual / sizeof usual[0] && found < 0; i++) {
      (void)snprintf(path, sizeof path, "%.*s%s", above ? 0 : group, first->name, usual[i]);
      for (int c = 0; c < list->count && found < 0; c++) {
        found = strcmp(list->columns[c].name, path) == 0 && list->columns[c].count == first->count ? c : -1;
      }
    }
  }
  if (found >= 0) {
    told_add(told, "'%s' taken as the time", list->columns[found].name);
  }
  return found;
}

/* ---- numbers ---- */

/* Dates as texts, by the first that is none of them a fault. */
static bool take_texts(struct trace_column *column, const struct h5_names *texts, long count) {
  column->values = calloc((size_t)count + 1, sizeof *column->values);
  column->dates = calloc((size_t)count + 1, sizeof *column->dates);
  if (column->values == NULL || column->dates == NULL) {
    return false;
  }
  column->kind = TRACE_INSTANTS;
  for (long k = 0; k < count; k++) {
    struct instant instant = {0};
    const char *text = k < texts->count ? texts->items[k] : "";
    bool read = instant_read(text, strlen(text), &instant);
    column->values[k] = read ? instant.seconds : (double)NAN;
    column->dates[k] = instant.date;
    column->kind = !read && text[0] != '\0' ? TRACE_WORDS : column->kind;
  }
  return true;
}

static bool take_column(struct h5_reading *reading, const struct foreign_list *list, int c, struct trace *trace) {
  const struct foreign_column *from = &list->columns[c];
  struct trace_column *column = &trace->columns[c];
  struct foreign_data data;
  if (column->kind != TRACE_UNREAD) {
    return true;
  }
  if (from->count != trace->count) {
    column->other_count = from->count;
    return true;
  }
  bool good = foreign_read(reading, from, &data);
  if (good && from->kind == H5_KIND_TEXT && !take_texts(column, &data.texts, from->count)) {
    good = error_set(reading->error, ERROR_MEMORY, "no memory for %s", trace->file);
  } else if (good && from->kind == H5_KIND_NUMBER) {
    column->kind = TRACE_NUMBERS;
    column->values = data.values;
    data.values = NULL;
    (void)snprintf(column->unit, sizeof column->unit, "%s", data.unit);
    if (data.elapsed) {
      told_add(&trace->told, "%s: times since an instant, counted from the first", column->name);
    }
    if (from->axis == 1 && from->parts > 1 && strstr(trace->told.text, "second axis") == NULL) {
      told_add(&trace->told, "samples of %s taken along its second axis, the longer", from->path);
    }
  }
  foreign_data_free(&data);
  return good;
}

/* The columns that are wanted; of the first it must be known which it is, the others are asked for again when they are
 * used. */
static bool take_wanted(struct h5_reading *reading, const struct foreign_list *list, const struct trace_wish *wish,
                        struct trace *trace) {
  struct error inner = {0};
  int lead = wish->count > 0 ? trace_column(trace, wish->names[0], &inner) : 0;
  if (list->count == 0) {
    return error_at(reading->error, trace->file, 0, 0, "holds no columns of numbers");
  }
  if (lead < 0) {
    return error_at(reading->error, trace->file, 0, 0, "%s", inner.text);
  }
  if (list->columns[lead].count < 2) {
    return error_at(reading->error, trace->file, 0, 0, "'%s' has %ld samples, expected two at least",
                    list->columns[lead].name, list->columns[lead].count);
  }
  trace->count = (int)list->columns[lead].count;
  if (!wish->timed) {
    trace->time_column = find_time(reading, list, lead, &trace->told);
  }
  bool good = trace->time_column < 0 || take_column(reading, list, trace->time_column, trace);
  for (int w = 0; good && w < wish->count; w++) {
    int c = trace_column(trace, wish->names[w], &inner);
    good = c < 0 || take_column(reading, list, c, trace);
  }
  return good;
}

bool trace_read_h5(const char *path, const struct trace_wish *wish, struct trace *trace, struct error *error) {
  struct h5_reading reading;
  struct foreign_list list = {NULL, 0};
  memset(trace, 0, sizeof *trace);
  trace->time_column = -1;
  (void)snprintf(trace->file, sizeof trace->file, "%s", path);
  bool good = h5_reading_open(&reading, path, error) && foreign_list(&reading, &list);
  if (good && !take_names(&list, trace)) {
    good = error_set(error, ERROR_MEMORY, "no memory for %s", path);
  }
  good = good && take_wanted(&reading, &list, wish, trace);
  foreign_free(&list);
  h5_reading_close(&reading);
  if (!good) {
    trace_free(trace);
  }
  return good;
}
