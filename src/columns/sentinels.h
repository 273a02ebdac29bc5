/* Numbers that stand for "no value", as loggers write them: -9999, 32767, 1e30. */
#ifndef SWASHLOOP_COLUMNS_SENTINELS_H
#define SWASHLOOP_COLUMNS_SENTINELS_H

#include <stdbool.h>

#include "told.h"

enum { SENTINELS = 8 };

struct sentinels {
  double declared[SENTINELS]; /* numbers that stand for a gap, whatever else the column holds */
  int count;
  bool only_declared; /* nothing is to be recognised */
};

/* Make gaps (NaN) of the declared numbers, of numbers from 1e30 on, and of those that by their look can be sentinels
 * (nines alone, ends of whole numbers), stand twice or more and lie far from all others: further than three times the
 * range of these. One that stands once is left, and told. `name` is the column's, for what is told. */
void sentinels_clear(const struct sentinels *sentinels, double *values, int count, const char *name, struct told *told);

#endif
