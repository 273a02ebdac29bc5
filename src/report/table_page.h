/* The table of a sweep as the page wants it: one JSON document about the whole, and for each column one that describes
 * it and one base64 text with its cells. */
#ifndef SWASHLOOP_REPORT_TABLE_PAGE_H
#define SWASHLOOP_REPORT_TABLE_PAGE_H

#include <stdbool.h>
#include <stdio.h>

#include "error.h"

/* Whether a file is the table of a sweep: its rows are cases, and it has no time. A file that cannot be read is none.
 */
bool table_page_fits(const char *path);

/* Write the script elements of the table to `out`. Of a large table a random sample of the cases goes on the page;
 * counts and extremes are of all cases nevertheless. */
bool table_page_write(FILE *out, const char *path, struct error *error);

#endif
