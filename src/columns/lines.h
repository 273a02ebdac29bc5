/* Text to lines, lines to cells, cells to numbers. */
#ifndef SWASHLOOP_COLUMNS_LINES_H
#define SWASHLOOP_COLUMNS_LINES_H

#include <stdbool.h>
#include <stddef.h>

/* Which sign begins the decimals. */
enum decimal { DECIMAL_UNKNOWN, DECIMAL_POINT, DECIMAL_COMMA };

/* A line as it lies in the text, without its end. */
struct line {
  const char *start;
  size_t length;
  int number; /* from 1 */
  bool ended; /* a line end stands behind it */
};

/* A cell as it lies in its line, without the blanks and quotes around it. */
struct cell {
  const char *text;
  size_t length;
  bool quoted;
};

/* Where reading has come to. */
struct lines {
  const char *at;
  const char *end;
  int number; /* of the line at `at`, from 1 */
};

/* The next line; false at the end. Lines end with LF, CR LF or CR; within quotes a line goes on. */
bool lines_next(struct lines *lines, struct line *line);
/* Nothing but blanks, or a remark: # or // or % in front. */
bool line_is_empty(const struct line *line);
bool line_is_remark(const struct line *line);
/* Cut a line into cells; how many there are, though no more than `room` are kept. Separator ' ': one or more blanks or
 * tabs. */
int line_cut(const struct line *line, char separator, struct cell *cells, int room);
/* The place of a letter of the line, in characters from 1. */
int line_column(const struct line *line, const char *letter);

enum cell_kind { CELL_NUMBER, CELL_GAP, CELL_TEXT };

/* What stands in a cell: a number, with its value; a gap (nothing, NaN, dashes and the like, or a number that is not
 * finite); or else. With DECIMAL_UNKNOWN either sign will do. */
enum cell_kind cell_read(const struct cell *cell, enum decimal decimal, double *value);
/* The sign of the decimals in a cell that is a number; DECIMAL_UNKNOWN where it has none. */
enum decimal cell_decimal(const struct cell *cell);
/* The cell as a text, doubled quotes made single, line ends made blanks; false: it did not fit. */
bool cell_copy(const struct cell *cell, char *text, size_t size);

#endif
