/* A measured trace: a CSV file as a logger or a spreadsheet writes it. The first line names the columns, each with its
 * unit in brackets if the mapping does not say it; then one line an instant. Columns are parted by commas and decimals
 * have a point, or columns by semicolons or tabs and decimals may have a comma. Lines that are empty or start with #
 * are skipped; an empty cell is a gap. */
#ifndef SWASHLOOP_ANALYSIS_TRACE_H
#define SWASHLOOP_ANALYSIS_TRACE_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

enum { TRACE_COLUMNS = 128, TRACE_NAME = 96 };

struct trace {
  char file[512];
  int column_count;
  char names[TRACE_COLUMNS][TRACE_NAME];
  char units[TRACE_COLUMNS][TRACE_NAME]; /* "" where the heading has none */
  int count;
  double *values[TRACE_COLUMNS]; /* as written; NaN: a gap */
};

/* A trace from a file; give it back with trace_free. */
bool trace_read(const char *path, struct trace *trace, struct error *error);
/* The same from text; `name` stands in messages. */
bool trace_read_text(const char *name, const char *text, size_t length, struct trace *trace, struct error *error);
void trace_free(struct trace *trace);
/* Index of a column, or -1 with the error filled (nearest name). */
int trace_column(const struct trace *trace, const char *name, struct error *error);

#endif
