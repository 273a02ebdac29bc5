/* A trace made ready: by its mapping, in SI, at times that rise. */
#ifndef SWASHLOOP_ANALYSIS_MEASURED_H
#define SWASHLOOP_ANALYSIS_MEASURED_H

#include "mapping.h"
#include "trace.h"

struct measured {
  int count;
  double *time;                    /* s, rising */
  double *values[MAPPING_SIGNALS]; /* SI; NaN: a gap */
  struct told told;                /* what was guessed of the file and of its times */
};

/* The columns of a trace in SI, at rising times. Give them back with measured_free. */
bool measured_make(const struct mapping *mapping, const struct trace *trace, struct measured *measured,
                   struct error *error);
/* The same from a file. */
bool measured_read(const struct mapping *mapping, const char *path, struct measured *measured, struct error *error);
void measured_free(struct measured *measured);

#endif
