/* Observers of a signal: its extremum, and the time that it spends above a level. They read the solver's own
 * polynomial inside each step, so that what they find does not depend on output points. */
#ifndef SWASHLOOP_RUN_OBSERVERS_H
#define SWASHLOOP_RUN_OBSERVERS_H

#include <math.h>

#include "real.h"
#include "view.h"

/* How far from the middle a parabola's top is looked for, in halves of the step: a top close to an end may by the
 * parabola lie just beyond it. */
#define EXTREMUM_BEYOND 1.25

struct extremum {
  int signal;
  double sign;   /* 1: largest, -1: smallest */
  bool absolute; /* of the absolute value; only with sign 1 */
  double from;   /* s: observe from here on */
  bool seen;
  double best; /* SI, the value itself */
  double time; /* s */
};

/* Look for a new extreme within an accepted step. */
void extremum_observe(struct extremum *extremum, const struct view *view, const struct step *step);

/* Can this step not change it? A parabola's top, within the step or
 * a little beyond, lies less than half the rise above its highest point. Most steps end
 * here, so that it is short and has no branch: the height is the larger of x and -x where the absolute value counts. */
static inline bool extremum_idle(const struct extremum *extremum, const struct step *step) {
  double sign = extremum->sign;
  double other = extremum->absolute ? -sign : sign;
  double x = step->start->signals[extremum->signal];
  double y = step->middle->signals[extremum->signal];
  double z = step->end->signals[extremum->signal];
  double before = larger(sign * x, other * x);
  double middle = larger(sign * y, other * y);
  double after = larger(sign * z, other * z);
  double top = larger(larger(before, middle), after) + 0.5 * fabs(after - before);
  return extremum->seen & (top <= sign * extremum->best);
}

/* The first sample, before any step. */
void extremum_begin(struct extremum *extremum, const struct sample *sample);

struct timer {
  int signal;
  double level; /* SI */
  bool above;
  double since; /* s, of the last rise above */
  double total; /* s */
  double first; /* s; NaN */
  long count;   /* how often it rose above */
};

/* Count what an accepted step adds; begin at the first sample. */
void timer_observe(struct timer *timer, const struct view *view, const struct step *step);
void timer_begin(struct timer *timer, const struct sample *sample);
/* Total time above, up to t. */
double timer_total(const struct timer *timer, double t);

#endif
