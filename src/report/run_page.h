/* One run file as the page wants it: a JSON document of everything but the curves, and the curves as bytes. */
#ifndef SWASHLOOP_REPORT_RUN_PAGE_H
#define SWASHLOOP_REPORT_RUN_PAGE_H

#include <stdio.h>

#include "error.h"

/* Write both script elements of run number `index` to `out`; its curves get at most `point_limit` points together. */
bool run_page_write(FILE *out, int index, const char *path, long point_limit, struct error *error);

#endif
