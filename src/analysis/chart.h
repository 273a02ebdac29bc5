/* The answer of an analysis as numbers: axes, columns along one or both of them, texts along the first, single values.
 * A column without axes is a single value. No file, no printing. */
#ifndef SWASHLOOP_ANALYSIS_CHART_H
#define SWASHLOOP_ANALYSIS_CHART_H

#include <stdbool.h>

#include "field.h"

enum { CHART_AXES = 2, CHART_COLUMNS = 160, CHART_TEXTS = 8 };

struct chart_column {
  struct signal row;
  const char *unit; /* NULL, or the SI unit where no quantity has it */
  int axes;         /* 0: a single value, 1: along the first axis, 2: along both, the second running fastest */
  double *values;   /* in the unit of the row, NaN: none */
};

struct chart_text {
  const char *name;
  const char *text;
  const char **values; /* along the first axis; the texts outlive the chart */
};

struct chart {
  const char *name; /* of its group; "" for the answer itself */
  const char *text;
  int axis_count;
  int counts[CHART_AXES];
  struct chart_column axes[CHART_AXES];
  int column_count;
  struct chart_column columns[CHART_COLUMNS];
  int text_count;
  struct chart_text texts[CHART_TEXTS];
  bool failed; /* out of memory, or more columns than there is room for */
};

/* An empty chart; `name` is its group in a file. Give it back with chart_free. */
void chart_begin(struct chart *chart, const char *name, const char *text);
void chart_free(struct chart *chart);
/* Each returns where the values go, all NaN at first; NULL after a failure, which is noted. */
double *chart_axis(struct chart *chart, const char *name, enum quantity quantity, const char *text, int count);
double *chart_column(struct chart *chart, int axes, struct signal row);
double *chart_column_in(struct chart *chart, int axes, struct signal row, const char *unit);
const char **chart_texts(struct chart *chart, const char *name, const char *text);
const struct chart_column *chart_find(const struct chart *chart, const char *name);
const struct chart_text *chart_find_texts(const struct chart *chart, const char *name);

#endif
