/* The time stamps of a logger made a time that rises: stamps out of order, twice, or rounded. */
#ifndef SWASHLOOP_ANALYSIS_STAMPS_H
#define SWASHLOOP_ANALYSIS_STAMPS_H

#include <stdbool.h>

#include "told.h"

struct stamps {
  int count;    /* rows with a stamp */
  double *time; /* s, of each row */
  int *rows;    /* which row of the trace each is */
  int *places;  /* which instant of the settled time each belongs to; filled by stamps_settle */
  int instants; /* how many there are; filled by stamps_settle */
  int fault;    /* after a failure: the index of the first stamp that falls */
};

/* Make the time rise. A few rows out of order (1 % at most) are sorted. Stamps that an even raster explains but for
 * their rounding are laid on it. Stamps that stand twice are averaged, where they are few (10 % at most), else spaced
 * evenly to the next. `time` then holds `instants` rising times. False: the time falls for good. */
bool stamps_settle(struct stamps *stamps, struct told *told);

#endif
