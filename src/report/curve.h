/* A time history made small enough for a page. What is left out lies within a tolerance of the straight lines between
 * what is kept; the extremes and the points that a measure, an event or a limit names are always kept, exactly. A
 * history that is all noise falls back to the smallest and the largest sample of equal pieces. So no peak is ever
 * hidden. */
#ifndef SWASHLOOP_REPORT_CURVE_H
#define SWASHLOOP_REPORT_CURVE_H

#include <stdbool.h>
#include <stddef.h>

struct curve_point {
  double time;  /* s */
  double value; /* SI */
};

struct curve {
  double *time;         /* s, not falling */
  double *value;        /* SI */
  unsigned char *fixed; /* 1: must stay */
  long count;
  long samples;     /* before anything was left out */
  double low;       /* of all samples; NaN when none is a number */
  double high;      /* of all samples */
  double tolerance; /* how far what was left out can lie from the drawn line */
  long pieces;      /* 0, or into how many pieces a noisy history was cut */
};

/* Copies `count` samples, with `known` points (in any order) put between them. False when memory is out. */
bool curve_make(struct curve *curve, long count, const double *time, const double *value, int known_count,
                const struct curve_point *known);
void curve_free(struct curve *curve);

/* Leave out what lies within `share` of the curve's range. */
void curve_thin(struct curve *curve, double share);
/* Keep at most about `limit` points, by smallest and largest of equal pieces. */
void curve_cut(struct curve *curve, long limit);
/* Bring all curves together under `limit` points, the finest first. */
void curves_fit(struct curve *curves, int curve_count, long limit);

#endif
