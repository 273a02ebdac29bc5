/* Followers of a signal: its extreme, and the time that it spends above a level. They look at the solver's own
 * polynomial inside each step, so that what they find does not depend on output points. */
#ifndef SWASHLOOP_RUN_FOLLOW_H
#define SWASHLOOP_RUN_FOLLOW_H

#include <math.h>

#include "real.h"
#include "view.h"

struct extreme {
  int signal;
  double sign;   /* 1: largest, -1: smallest */
  bool absolute; /* of the absolute value; only with sign 1 */
  double from;   /* s: look from here on */
  bool seen;
  double best; /* SI, the value itself */
  double time;
};

void extreme_follow(struct extreme *extreme, const struct view *view, const struct stretch *stretch);

/* Can this step not change it? A parabola's top lies less than half the rise above its highest point. Most steps end
 * here, so that it is short and has no branch: the height is the larger of x and -x where the absolute value counts. */
static inline bool extreme_idle(const struct extreme *extreme, const struct stretch *stretch) {
  double sign = extreme->sign;
  double other = extreme->absolute ? -sign : sign;
  double x = stretch->start->signals[extreme->signal];
  double y = stretch->middle->signals[extreme->signal];
  double z = stretch->end->signals[extreme->signal];
  double before = larger(sign * x, other * x);
  double middle = larger(sign * y, other * y);
  double after = larger(sign * z, other * z);
  double top = larger(larger(before, middle), after) + 0.5 * fabs(after - before);
  return extreme->seen & (top <= sign * extreme->best);
}

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
