/* One thing that varies over a study: a number, or a choice, of the case. */
#ifndef SWASHLOOP_SWEEP_AXIS_H
#define SWASHLOOP_SWEEP_AXIS_H

#include <stdint.h>

#include "loader.h"
#include "parameter_ref.h"

enum axis_kind { AXIS_LIST, AXIS_RANGE, AXIS_DISTRIBUTION, AXIS_COLUMN };

enum distribution {
  DISTRIBUTION_UNIFORM,
  DISTRIBUTION_LOG_UNIFORM,
  DISTRIBUTION_NORMAL,
  DISTRIBUTION_LOG_NORMAL,
  DISTRIBUTION_TRIANGULAR
};

struct axis {
  const char *path; /* of the first reference; names the column */
  const char **paths;
  struct parameter_ref *refs; /* all take the same value */
  int ref_count;
  const struct node *node; /* where it is written */

  enum axis_kind kind;
  double *values; /* of a list, SI */
  long count;     /* of a list, or of a range that has one; 0: any value of the range */
  double from;    /* of a range, SI */
  double to;      /* SI */
  bool logarithmic;
  enum distribution distribution;
  double centre;    /* mean, median or peak, SI */
  double width;     /* deviation SI, or factor */
  double low;       /* bounds, SI */
  double high;      /* SI */
  double share_low; /* of a normal distribution: the shares that lie below its bounds */
  double share_high;
};

/* Read one entry of `vary`. */
bool axis_read(const struct loader *loader, const struct node *entry, struct axis *axis);
/* The references of `path: NAME` or `path: [NAME, NAME]`. */
bool axis_find_refs(const struct loader *loader, const struct node *path, struct axis *axis);

/* How many values it has by itself; 0 when it has any number. */
long axis_count(const struct axis *axis);
/* The value number `index` of a list or a counted range. */
double axis_at(const struct axis *axis, long index);
/* The value below which the given share of the axis lies, 0 < share < 1. */
double axis_of_share(const struct axis *axis, double share);

#endif
