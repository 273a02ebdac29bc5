/* What the table of a sweep keeps for people to look at (src/sweep/table_views.h), as the page wants it. */
#ifndef SWASHLOOP_REPORT_TABLE_VIEWS_PAGE_H
#define SWASHLOOP_REPORT_TABLE_VIEWS_PAGE_H

#include <stdbool.h>
#include <stdio.h>

#include "h5_read.h"

/* Write the script element `views`: each group with its columns. `wanted`: something is varied, so that steps must be
 * there; a table of an earlier version without them is refused. */
void table_views_page_write(FILE *out, struct h5_reading *reading, bool wanted);

#endif
