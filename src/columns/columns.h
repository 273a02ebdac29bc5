/* Columns of numbers from a text file, as loggers and spreadsheets write them: traces, tables of a case, maps, points
 * of a study. How a file is laid out is found from its first thousand lines:
 *
 *   letters     UTF-8, UTF-16 or ISO 8859-1, with or without a byte-order mark
 *   separator   tab, semicolon, comma or blanks: whichever cuts most lines into the same number of cells
 *   decimals    a point; or a comma, where commas do not part the columns (or the cell is in quotes)
 *   remarks     lines that are empty or begin with #, // or % are skipped
 *   heading     the line above the first line of numbers; what stands above it is skipped
 *   units       in the heading ("p_A [bar]", "p_A (bar)", "Speed / rpm", "n in 1/min") or in a line of their own below
 *   end         a last line that is cut off is left out
 *
 * Everything that had to be guessed is in `told`. */
#ifndef SWASHLOOP_COLUMNS_COLUMNS_H
#define SWASHLOOP_COLUMNS_COLUMNS_H

#include "decode.h"
#include "error.h"
#include "lines.h"
#include "told.h"

enum { COLUMNS_LIMIT = 4096, COLUMNS_NAME = 128 };

struct heading {
  char name[COLUMNS_NAME];  /* without the unit */
  char unit[COLUMNS_NAME];  /* "" where none is written */
  char whole[COLUMNS_NAME]; /* as written */
  int column;               /* where it stands, in characters from 1 */
};

/* What must hold of a file that somebody writes for the program: it names its columns and is whole. */
enum columns_kind { COLUMNS_OF_A_LOGGER, COLUMNS_OF_A_CASE };

struct columns {
  const char *file; /* for messages */
  enum columns_kind kind;
  struct decoded decoded;
  struct lines lines;
  struct line line; /* the row read last */
  char separator;
  enum decimal decimal;
  int heading_line; /* 0: there is none */
  int count;
  struct heading *headings;
  struct cell *cells; /* of the row */
  struct told told;
  struct error *error;
};

/* Find how the text is laid out and read its heading; `file` and `bytes` must outlive the columns. Close them either
 * way. */
bool columns_open(struct columns *columns, enum columns_kind kind, const char *file, const char *bytes, size_t length,
                  struct error *error);
void columns_close(struct columns *columns);

enum columns_step { COLUMNS_ROW, COLUMNS_END, COLUMNS_FAILED };
/* The next row into columns->cells. */
enum columns_step columns_next(struct columns *columns);
/* A fault at a letter of the row. */
bool columns_fail_at(struct columns *columns, const char *letter, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* A fault at the heading of a column. */
bool columns_fail_at_heading(struct columns *columns, int index, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* Index of the column of this name (or as written, with its unit); -1: none. */
int columns_find(const struct columns *columns, const char *name);
/* A cell as the text "NUMBER UNIT" that units_read takes: a point for the decimals, the unit by its accepted name. */
void columns_amount(const struct columns *columns, const struct cell *cell, const char *unit, char *text, size_t size);

/* Inside the room: separator, sign of the decimals, heading and where the rows begin (dialect.c). */
bool dialect_find(struct columns *columns);
/* "p_A [bar]" to name and unit (headings.c). */
void heading_read(const char *text, struct heading *heading);

#endif
