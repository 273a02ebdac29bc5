/* A measured trace: columns of numbers and of instants, from a text file as a logger or a spreadsheet writes it
 * (src/columns/columns.h), or from an HDF5 file, netCDF-4 and our own run files among them (src/files/h5_foreign.h). */
#ifndef SWASHLOOP_ANALYSIS_TRACE_H
#define SWASHLOOP_ANALYSIS_TRACE_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"
#include "instants.h"
#include "told.h"

enum { TRACE_NAME = 128, TRACE_WISHES = 40 };

/* What a column holds, by its first cell that is no gap; of HDF5 only what is wanted is read. */
enum trace_kind { TRACE_GAPS, TRACE_NUMBERS, TRACE_INSTANTS, TRACE_WORDS, TRACE_UNREAD };

/* The first cell that is not of its column's kind. It is a fault only of who uses the column. */
struct trace_fault {
  int line; /* 0: there is none */
  int column;
  char found[48];
};

struct trace_column {
  char name[TRACE_NAME];
  char unit[TRACE_NAME];  /* "" where none is written */
  char whole[TRACE_NAME]; /* the heading as written; of HDF5 the name without its groups */
  int place;              /* of the heading in its line; 0: in no text */
  enum trace_kind kind;
  double *values;             /* as written, seconds of the day for an instant; NaN: a gap */
  struct written_date *dates; /* of a column of instants, else NULL */
  struct trace_fault fault;
  long other_count; /* of HDF5: not 0 where the column has so many samples, another number than the trace */
};

struct trace {
  char file[512];
  int column_count;
  struct trace_column *columns;
  int count;
  int *lines;       /* where each row stands in the file; NULL: in no text */
  int heading_line; /* 0: in no text */
  int time_column;  /* that the file itself names for its clock; -1: none */
  struct told told; /* what was guessed */
};

/* Names of the columns that are wanted; all of them have as many samples as the first. */
struct trace_wish {
  const char *names[TRACE_WISHES];
  int count;
  bool timed; /* the time is among them, or is counted: the file need not say which it is */
};

/* A trace from a file; give it back with trace_free. */
bool trace_read(const char *path, const struct trace_wish *wish, struct trace *trace, struct error *error);
/* The same from an HDF5 file. */
bool trace_read_h5(const char *path, const struct trace_wish *wish, struct trace *trace, struct error *error);
/* The same from text; `name` stands in messages. */
bool trace_read_text(const char *name, const char *text, size_t length, struct trace *trace, struct error *error);
void trace_free(struct trace *trace);
/* Index of a column, or -1 with the error filled: there is none (nearest name), or several in different groups. */
int trace_column(const struct trace *trace, const char *name, struct error *error);
/* Is every cell of the column a number or a gap (`kind` TRACE_NUMBERS), or of its own kind? False: the first is not. */
bool trace_check(const struct trace *trace, int column, enum trace_kind kind, struct error *error);

#endif
