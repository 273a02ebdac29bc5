#include "chart.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void chart_begin(struct chart *chart, const char *name, const char *text) {
  memset(chart, 0, sizeof *chart);
  chart->name = name;
  chart->text = text;
  chart->counts[0] = 1;
  chart->counts[1] = 1;
}

void chart_free(struct chart *chart) {
  for (int i = 0; i < chart->axis_count; i++) {
    free(chart->axes[i].values);
  }
  for (int i = 0; i < chart->column_count; i++) {
    free(chart->columns[i].values);
  }
  for (int i = 0; i < chart->text_count; i++) {
    free((void *)chart->texts[i].values);
  }
  memset(chart, 0, sizeof *chart);
}

static double *numbers(struct chart *chart, int count) {
  double *values = malloc(((size_t)count + 1) * sizeof *values);
  if (values == NULL) {
    chart->failed = true;
    return NULL;
  }
  for (int i = 0; i < count; i++) {
    values[i] = NAN;
  }
  return values;
}

double *chart_axis(struct chart *chart, const char *name, enum quantity quantity, const char *text, int count) {
  struct chart_column *axis = &chart->axes[chart->axis_count];
  axis->row = (struct signal){name, quantity, REFERENCE_NONE, text};
  axis->values = numbers(chart, count);
  if (axis->values != NULL) {
    chart->counts[chart->axis_count++] = count;
  }
  return axis->values;
}

double *chart_column_in(struct chart *chart, int axes, struct signal row, const char *unit) {
  if (chart->column_count == CHART_COLUMNS) {
    chart->failed = true;
    return NULL;
  }
  struct chart_column *column = &chart->columns[chart->column_count];
  int count = axes == 0 ? 1 : axes == 1 ? chart->counts[0] : chart->counts[0] * chart->counts[1];
  *column = (struct chart_column){row, unit, axes, numbers(chart, count)};
  if (column->values != NULL) {
    chart->column_count++;
  }
  return column->values;
}

double *chart_column(struct chart *chart, int axes, struct signal row) {
  return chart_column_in(chart, axes, row, NULL);
}

const char **chart_texts(struct chart *chart, const char *name, const char *text) {
  if (chart->text_count == CHART_TEXTS) {
    chart->failed = true;
    return NULL;
  }
  size_t count = (size_t)chart->counts[0];
  const char **values = (const char **)calloc(count + 1, sizeof *values);
  if (values == NULL) {
    chart->failed = true;
    return NULL;
  }
  for (size_t i = 0; i < count; i++) {
    values[i] = "";
  }
  chart->texts[chart->text_count++] = (struct chart_text){name, text, values};
  return values;
}

const struct chart_column *chart_find(const struct chart *chart, const char *name) {
  for (int i = 0; i < chart->axis_count; i++) {
    if (strcmp(chart->axes[i].row.name, name) == 0) {
      return &chart->axes[i];
    }
  }
  for (int i = 0; i < chart->column_count; i++) {
    if (strcmp(chart->columns[i].row.name, name) == 0) {
      return &chart->columns[i];
    }
  }
  return NULL;
}

const struct chart_text *chart_find_texts(const struct chart *chart, const char *name) {
  for (int i = 0; i < chart->text_count; i++) {
    if (strcmp(chart->texts[i].name, name) == 0) {
      return &chart->texts[i];
    }
  }
  return NULL;
}
