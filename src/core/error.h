/* An error: what went wrong and where. Every function outside models/ that can fail returns false (or NULL) and fills
 * a struct error. */
#ifndef SWASHLOOP_CORE_ERROR_H
#define SWASHLOOP_CORE_ERROR_H

#include <stdbool.h>

/* code, exit status, word */
#define ERROR_LIST(ERROR)                                                                                              \
  ERROR(NONE, 0, "no error")                                                                                           \
  ERROR(RUN, 1, "the run failed")                                                                                      \
  ERROR(USAGE, 2, "usage")                                                                                             \
  ERROR(INPUT, 2, "input")                                                                                             \
  ERROR(OUTPUT, 3, "output could not be written")                                                                      \
  ERROR(MEMORY, 1, "out of memory")

enum error_code {
#define ERROR_ID(id, status, word) ERROR_##id,
  ERROR_LIST(ERROR_ID)
#undef ERROR_ID
};

struct error {
  enum error_code code;
  char file[512]; /* "" when the fault lies in no file */
  int line;       /* from 1; 0 unknown */
  int column;     /* from 1; 0 unknown */
  char text[768]; /* one line: what was found, what was expected, nearest known name */
};

/* All faults of an input, in the order in which they were found. */
enum { FAULT_LIMIT = 20 };
struct faults {
  int count;
  long left_out; /* further ones */
  struct error at[FAULT_LIMIT];
};

/* Fill `error` (if not NULL) with a formatted text; returns false so that callers can `return error_set(...)`. */
bool error_set(struct error *error, enum error_code code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* The same with a place. */
bool error_at(struct error *error, const char *file, int line, int column, const char *format, ...)
    __attribute__((format(printf, 5, 6)));
/* `file:line:column: error: text` (or without the place) into `buffer`. */
const char *error_text(const struct error *error, char *buffer, int size);
int error_exit_status(enum error_code code);

#endif
