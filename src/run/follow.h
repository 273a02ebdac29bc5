/* Followers of a signal: its extreme, and the time that it spends above a level. They look at the solver's own
 * polynomial inside each step, so that what they find does not depend on output points. */
#ifndef SWASHLOOP_RUN_FOLLOW_H
#define SWASHLOOP_RUN_FOLLOW_H

#include "view.h"

struct extreme {
  int signal;
  double sign;   /* 1: largest, -1: smallest */
  bool absolute; /* of the absolute value */
  double from;   /* s: look from here on */
  bool seen;
  double best; /* SI, the value itself */
  double time;
};

void extreme_follow(struct extreme *extreme, const struct view *view, const struct stretch *stretch);
/* The first moment, before any step. */
void extreme_begin(struct extreme *extreme, const struct moment *moment);

struct span {
  int signal;
  double level;
  bool above;
  double since;
  double total;
  double first; /* s; NaN */
  long count;   /* how often it rose above */
};

void span_follow(struct span *span, const struct view *view, const struct stretch *stretch);
void span_begin(struct span *span, const struct moment *moment);
/* Total time above, up to t. */
double span_total(const struct span *span, double t);

#endif
