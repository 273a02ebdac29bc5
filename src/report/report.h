/* The report: makes one self-contained HTML page from one or more run files, from the table of a sweep, or from a
 * review.
 */
#ifndef SWASHLOOP_REPORT_REPORT_H
#define SWASHLOOP_REPORT_REPORT_H

#include <stdbool.h>

#include "error.h"

enum { REPORT_RUN_LIMIT = 12 };

struct report_request {
  const char *const *files; /* paths of run files, or of one table or review */
  int file_count;
  const char *output;  /* path of the page; a draft until it is whole (draft.h) */
  const char *caution; /* stands on the page */
};

/* Makes the page; false: a file cannot be read or the page not written, and no page is left. */
bool report_write(const struct report_request *request, struct error *error);

#endif
