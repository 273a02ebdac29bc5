#include "observers.h"

#include <math.h>

static double height(const struct extremum *extremum, const struct sample *sample) {
  double value = sample->signals[extremum->signal];
  return extremum->sign * (extremum->absolute ? fabs(value) : value);
}

static void take(struct extremum *extremum, double now, double time) {
  if (!extremum->seen || now > extremum->sign * extremum->best) {
    extremum->seen = true;
    extremum->best = extremum->sign * now;
    extremum->time = time;
  }
}

static void consider(struct extremum *extremum, const struct sample *sample) {
  if (sample->time >= extremum->from) {
    take(extremum, height(extremum, sample), sample->time);
  }
}

static double height_at(const struct extremum *extremum, const struct view *view, double t, struct sample *sample) {
  view_signals_at(view, t, sample);
  return height(extremum, sample);
}

enum { SEARCH_EVALUATIONS = 40 };

/* Largest height in a step by Brent's method: parabolas through the best three points, at first those of the step and
 * the `top` of the parabola through them, golden sections where they lead nowhere. To 1e-6 of the step, where a smooth
 * height is right to 1e-12 of its bend. */
static void search(struct extremum *extremum, const struct view *view, const struct step *within, double top) {
  const double golden = 0.3819660112501051;
  double low = within->start->time;
  double high = within->end->time;
  const double close = fmax(1e-6 * (high - low), 4e-16 * fabs(high));
  struct sample sample;
  bool later = height(extremum, within->end) > height(extremum, within->start);
  const struct sample *higher = later ? within->end : within->start;
  double best = top;
  double at_best = height_at(extremum, view, best, &sample);
  consider(extremum, &sample);
  double second = within->middle->time;
  double at_second = height(extremum, within->middle);
  double third = higher->time;
  double at_third = height(extremum, higher);
  if (at_second > at_best) {
    best = second;
    second = top;
    double kept = at_best;
    at_best = at_second;
    at_second = kept;
  }
  low = fmax(low, second < best ? second : low);
  high = fmin(high, second > best ? second : high);
  double step = high - low;
  double step_before = high - low;
  for (int evaluations = 0; evaluations < SEARCH_EVALUATIONS; evaluations++) {
    double middle = 0.5 * (low + high);
    if (fabs(best - middle) + 0.5 * (high - low) <= 2.0 * close) {
      return;
    }
    double r = (best - second) * (at_best - at_third);
    double q = (best - third) * (at_best - at_second);
    double p = (best - third) * q - (best - second) * r;
    q = 2.0 * (q - r);
    p = q > 0.0 ? -p : p;
    q = fabs(q);
    bool parabola = fabs(step_before) > close && fabs(p) < fabs(0.5 * q * step_before) && p > q * (low - best) &&
                    p < q * (high - best);
    if (parabola) {
      step_before = step;
      step = p / q;
      if (best + step - low < 2.0 * close || high - best - step < 2.0 * close) {
        step = best < middle ? close : -close;
      }
    } else {
      step_before = best < middle ? high - best : low - best;
      step = golden * step_before;
    }
    double t = best + (fabs(step) >= close ? step : (step > 0.0 ? close : -close));
    double at_t = height_at(extremum, view, t, &sample);
    consider(extremum, &sample);
    if (at_t >= at_best) {
      low = t >= best ? best : low;
      high = t >= best ? high : best;
      third = second;
      at_third = at_second;
      second = best;
      at_second = at_best;
      best = t;
      at_best = at_t;
    } else {
      low = t < best ? t : low;
      high = t < best ? high : t;
      if (at_t >= at_second || second == best) {
        third = second;
        at_third = at_second;
        second = t;
        at_second = at_t;
      } else if (at_t >= at_third || third == best || third == second) {
        third = t;
        at_third = at_t;
      }
    }
  }
}

/* And where a search begins at the farthest. */
#define NEAREST 0.98

void extremum_begin(struct extremum *extremum, const struct sample *sample) {
  consider(extremum, sample);
}

void extremum_observe(struct extremum *extremum, const struct view *view, const struct step *step) {
  if (step->end->time < extremum->from || extremum_idle(extremum, step)) {
    return;
  }
  double before = height(extremum, step->start);
  double middle = height(extremum, step->middle);
  double after = height(extremum, step->end);
  double rise = 0.5 * (after - before);
  if (step->start->time < extremum->from) {
    struct sample first;
    view_at(view, extremum->from, &first);
    consider(extremum, &first);
    consider(extremum, step->middle);
    consider(extremum, step->end);
    return;
  }
  take(extremum, before, step->start->time); /* after a restart the start may differ from the last end */
  take(extremum, middle, step->middle->time);
  take(extremum, after, step->end->time);
  double bend = before - 2.0 * middle + after;
  if (bend < 0.0 && fabs(rise) < -EXTREMUM_BEYOND * bend) {
    double top = middle - 0.5 * rise * rise / bend;
    if (top > extremum->sign * extremum->best) {
      double half = 0.5 * (step->end->time - step->start->time);
      double along = fmin(fmax(-rise / bend, -NEAREST), NEAREST);
      search(extremum, view, step, step->middle->time + half * along);
    }
  }
}

static bool is_above(const void *context, const struct sample *sample, double *beyond) {
  const struct timer *timer = context;
  *beyond = sample->signals[timer->signal] - timer->level;
  return *beyond > 0.0;
}

static bool is_not_above(const void *context, const struct sample *sample, double *beyond) {
  bool above = is_above(context, sample, beyond);
  *beyond = -*beyond;
  return !above;
}

static void rise_at(struct timer *timer, double t) {
  timer->above = true;
  timer->since = t;
  timer->count++;
  if (isnan(timer->first)) {
    timer->first = t;
  }
}

static void fall_at(struct timer *timer, double t) {
  timer->above = false;
  timer->total += t - timer->since;
}

void timer_begin(struct timer *timer, const struct sample *sample) {
  double beyond;
  timer->first = NAN;
  if (is_above(timer, sample, &beyond)) {
    rise_at(timer, sample->time);
  }
}

void timer_observe(struct timer *timer, const struct view *view, const struct step *step) {
  bool middle = step->middle->signals[timer->signal] > timer->level;
  bool end = step->end->signals[timer->signal] > timer->level;
  if (middle == timer->above && end == timer->above) {
    return;
  }
  struct sample found;
  if (view_first(view, step, timer->above ? is_not_above : is_above, timer, &found)) {
    if (timer->above) {
      fall_at(timer, found.time);
    } else {
      rise_at(timer, found.time);
    }
  }
  if (end != timer->above) { /* and back again within the step */
    struct step rest = {step->middle, step->middle, step->end};
    if (view_first(view, &rest, timer->above ? is_not_above : is_above, timer, &found)) {
      if (timer->above) {
        fall_at(timer, found.time);
      } else {
        rise_at(timer, found.time);
      }
    }
  }
}

double timer_total(const struct timer *timer, double t) {
  return timer->total + (timer->above ? t - timer->since : 0.0);
}
