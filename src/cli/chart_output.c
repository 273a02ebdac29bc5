#include "chart_output.h"

#include <math.h>
#include <string.h>

#include "units.h"

enum { CELL = 48 };

static const char *cell(const struct chart_column *column, double value, char *buffer) {
  if (isnan(value)) {
    (void)snprintf(buffer, CELL, "-");
  } else if (column->unit != NULL) {
    (void)snprintf(buffer, CELL, "%.4g %s", value, column->unit);
  } else {
    (void)units_show(column->row.quantity, value, buffer, CELL);
  }
  return buffer;
}

void chart_print_table(FILE *out, const struct chart *chart, const char *const *names, const char *const *heads,
                       int count) {
  char buffer[CELL];
  int widths[16] = {0};
  for (int k = 0; k < count && k < 16; k++) {
    const struct chart_column *column = chart_find(chart, names[k]);
    const struct chart_text *text = chart_find_texts(chart, names[k]);
    widths[k] = (int)strlen(heads[k]);
    for (int i = 0; i < chart->counts[0]; i++) {
      const char *words = column != NULL ? cell(column, column->values[i], buffer)
                          : text != NULL ? text->values[i]
                                         : "";
      int length = (int)strlen(words);
      widths[k] = length > widths[k] ? length : widths[k];
    }
  }
  for (int i = -1; i < chart->counts[0]; i++) {
    for (int k = 0; k < count && k < 16; k++) {
      const struct chart_column *column = chart_find(chart, names[k]);
      const struct chart_text *text = chart_find_texts(chart, names[k]);
      const char *words = i < 0            ? heads[k]
                          : column != NULL ? cell(column, column->values[i], buffer)
                          : text != NULL   ? text->values[i]
                                           : "";
      (void)fprintf(out, text != NULL ? "  %-*s" : "  %*s", widths[k], words);
    }
    (void)fputc('\n', out);
  }
}

void chart_print_values(FILE *out, const struct chart *chart) {
  char buffer[CELL];
  for (int i = 0; i < chart->column_count; i++) {
    const struct chart_column *column = &chart->columns[i];
    if (column->axes == 0) {
      (void)fprintf(out, "  %-58s %14s\n", column->row.text, cell(column, column->values[0], buffer));
    }
  }
}

static const char *unit_of(const struct chart_column *column) {
  return column->unit != NULL ? column->unit : quantity_rows[column->row.quantity].si_unit;
}

static void json_column(struct json *json, const struct chart *chart, const struct chart_column *column, int axes) {
  json_begin_object(json, column->row.name);
  json_text(json, "unit", unit_of(column));
  json_text(json, "text", column->row.text);
  if (column->row.reference != REFERENCE_NONE) {
    json_text(json, "reference", reference_names[column->row.reference]);
  }
  if (axes == 0) {
    json_number(json, "value", column->values[0]);
  } else {
    json_begin_list(json, "values");
    for (int i = 0; i < chart->counts[0]; i++) {
      if (axes == 1) {
        json_number(json, NULL, column->values[i]);
        continue;
      }
      json_begin_list(json, NULL);
      for (int k = 0; k < chart->counts[1]; k++) {
        json_number(json, NULL, column->values[i * chart->counts[1] + k]);
      }
      json_end_list(json);
    }
    json_end_list(json);
  }
  json_end_object(json);
}

static void json_axis(struct json *json, const struct chart *chart, int axis) {
  const struct chart_column *column = &chart->axes[axis];
  json_begin_object(json, column->row.name);
  json_text(json, "unit", unit_of(column));
  json_text(json, "text", column->row.text);
  json_begin_list(json, "values");
  for (int i = 0; i < chart->counts[axis]; i++) {
    json_number(json, NULL, column->values[i]);
  }
  json_end_list(json);
  json_end_object(json);
}

void chart_json(struct json *json, const struct chart *chart) {
  if (chart->axis_count > 0) {
    json_begin_object(json, "axes");
    for (int i = 0; i < chart->axis_count; i++) {
      json_axis(json, chart, i);
    }
    json_end_object(json);
  }
  json_begin_object(json, "columns");
  for (int i = 0; i < chart->column_count; i++) {
    json_column(json, chart, &chart->columns[i], chart->columns[i].axes);
  }
  json_end_object(json);
  for (int i = 0; i < chart->text_count; i++) {
    json_begin_list(json, chart->texts[i].name);
    for (int k = 0; k < chart->counts[0]; k++) {
      json_text(json, NULL, chart->texts[i].values[k]);
    }
    json_end_list(json);
  }
}

void chart_write(struct answer_file *file, const struct chart *chart) {
  answer_group(file, chart->name, chart->text);
  const char *axes[2] = {chart->axes[0].row.name, chart->axes[1].row.name};
  for (int i = 0; i < chart->axis_count; i++) {
    struct answer_meaning meaning = {chart->axes[i].row, chart->axes[i].unit};
    answer_axis(file, &meaning, chart->counts[i], chart->axes[i].values);
  }
  for (int i = 0; i < chart->column_count; i++) {
    const struct chart_column *column = &chart->columns[i];
    struct answer_meaning meaning = {column->row, column->unit};
    if (column->axes == 0) {
      answer_value(file, &meaning, column->values[0], NULL);
    } else if (column->axes == 1) {
      answer_column(file, &meaning, axes[0], chart->counts[0], column->values);
    } else {
      answer_grid(file, &meaning, axes, chart->counts, column->values);
    }
  }
  for (int i = 0; i < chart->text_count; i++) {
    answer_texts(file, chart->texts[i].name, chart->texts[i].text, axes[0], chart->counts[0], chart->texts[i].values);
  }
}
