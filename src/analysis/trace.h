/* A measured trace: columns of numbers and of instants, from a text file as a logger or a spreadsheet writes it
 * (src/columns/columns.h). */
#ifndef SWASHLOOP_ANALYSIS_TRACE_H
#define SWASHLOOP_ANALYSIS_TRACE_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "instants.h"
#include "told.h"

enum { TRACE_NAME = 128 };

/* What a column holds, by its first cell that is no gap. */
enum trace_kind { TRACE_GAPS, TRACE_NUMBERS, TRACE_INSTANTS, TRACE_WORDS };

/* The first cell that is not of its column's kind. It is a fault only of who uses the column. */
struct trace_fault {
  int line; /* 0: there is none */
  int column;
  char found[48];
};

struct trace_column {
  char name[TRACE_NAME];
  char unit[TRACE_NAME];  /* "" where none is written */
  char whole[TRACE_NAME]; /* the heading as written */
  int place;              /* of the heading in its line; 0: in no text */
  enum trace_kind kind;
  double *values;             /* as written, seconds of the day for an instant; NaN: a gap */
  struct written_date *dates; /* of a column of instants, else NULL */
  struct trace_fault fault;
};

struct trace {
  char file[512];
  int column_count;
  struct trace_column *columns;
  int count;
  int *lines;       /* where each row stands in the file; NULL: in no text */
  int heading_line; /* 0: in no text */
  struct told told; /* what was guessed */
};

/* A trace from a file; give it back with trace_free. */
bool trace_read(const char *path, struct trace *trace, struct error *error);
/* The same from text; `name` stands in messages. */
bool trace_read_text(const char *name, const char *text, size_t length, struct trace *trace, struct error *error);
void trace_free(struct trace *trace);
/* Index of a column, or -1 with the error filled (nearest name). */
int trace_column(const struct trace *trace, const char *name, struct error *error);
/* Is every cell of the column a number or a gap (`kind` TRACE_NUMBERS), or of its own kind? False: the first is not. */
bool trace_check(const struct trace *trace, int column, enum trace_kind kind, struct error *error);

#endif
