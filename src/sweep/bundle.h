/* A study, its case and every file that they name as one piece of bytes: read by one process of a sweep, sent to the
 * others, so that these need no such files. */
#ifndef SWASHLOOP_SWEEP_BUNDLE_H
#define SWASHLOOP_SWEEP_BUNDLE_H

#include "plan.h"

/* The bytes are to be freed. */
bool bundle_make(const struct plan *plan, unsigned char **bytes, int64_t *length, struct error *error);
/* The plan again, as plan_load gives it. */
bool bundle_load(const unsigned char *bytes, int64_t length, struct plan *plan, struct error *error);

#endif
