/* The data of a review on the page: the matrix, and every cell's run as a run page has it. */
#ifndef SWASHLOOP_REPORT_REVIEW_PAGE_H
#define SWASHLOOP_REPORT_REVIEW_PAGE_H

#include <stdbool.h>
#include <stdio.h>

#include "error.h"

/* Is the file at `path` a review? False as well when it cannot be read. */
bool review_page_fits(const char *path);
/* Write the review, then the runs whose histories lie in PATH.runs; `point_limit` as for all of them together. */
bool review_page_write(FILE *out, const char *path, long point_limit, struct error *error);

#endif
