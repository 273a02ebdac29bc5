#include "follow.h"

#include <math.h>

static double height(const struct extreme *extreme, const struct moment *moment) {
  double value = moment->signals[extreme->signal];
  return extreme->sign * (extreme->absolute ? fabs(value) : value);
}

static void take(struct extreme *extreme, double now, double time) {
  if (!extreme->seen || now > extreme->sign * extreme->best) {
    extreme->seen = true;
    extreme->best = extreme->sign * now;
    extreme->time = time;
  }
}

static void consider(struct extreme *extreme, const struct moment *moment) {
  if (moment->time >= extreme->from) {
    take(extreme, height(extreme, moment), moment->time);
  }
}

static double height_at(const struct extreme *extreme, const struct view *view, double t, struct moment *moment) {
  view_signals_at(view, t, moment);
  return height(extreme, moment);
}

enum { SEARCH_LOOKS = 40 };

/* Largest height in [low, high] by Brent's method: parabolas through the best three points, golden sections where they
 * lead nowhere. To 1e-9 of the stretch, where a smooth height is right to 1e-18 of its bend. */
static void search(struct extreme *extreme, const struct view *view, double low, double high) {
  const double golden = 0.3819660112501051;
  const double close = fmax(1e-9 * (high - low), 4e-16 * fabs(high));
  struct moment moment;
  double best = low + golden * (high - low);
  double at_best = height_at(extreme, view, best, &moment);
  consider(extreme, &moment);
  double second = best;
  double third = best;
  double at_second = at_best;
  double at_third = at_best;
  double step = 0.0;
  double step_before = 0.0;
  for (int looks = 0; looks < SEARCH_LOOKS; looks++) {
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
    double at_t = height_at(extreme, view, t, &moment);
    consider(extreme, &moment);
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

void extreme_begin(struct extreme *extreme, const struct moment *moment) {
  consider(extreme, moment);
}

void extreme_follow(struct extreme *extreme, const struct view *view, const struct stretch *stretch) {
  if (stretch->end->time < extreme->from || extreme_idle(extreme, stretch)) {
    return;
  }
  double before = height(extreme, stretch->start);
  double middle = height(extreme, stretch->middle);
  double after = height(extreme, stretch->end);
  double rise = 0.5 * (after - before);
  if (stretch->start->time < extreme->from) {
    struct moment first;
    view_at(view, extreme->from, &first);
    consider(extreme, &first);
    consider(extreme, stretch->middle);
    consider(extreme, stretch->end);
    return;
  }
  take(extreme, before, stretch->start->time); /* after a restart the start may differ from the last end */
  take(extreme, middle, stretch->middle->time);
  take(extreme, after, stretch->end->time);
  double bend = before - 2.0 * middle + after;
  if (bend < 0.0 && fabs(rise) < -bend) {
    double top = middle - 0.5 * rise * rise / bend;
    if (top > extreme->sign * extreme->best) {
      double half = 0.5 * (stretch->end->time - stretch->start->time);
      double place = stretch->middle->time - half * rise / bend;
      search(extreme, view, fmax(stretch->start->time, place - 0.6 * half),
             fmin(stretch->end->time, place + 0.6 * half));
    }
  }
}

static bool is_above(const void *context, const struct moment *moment) {
  const struct span *span = context;
  return moment->signals[span->signal] > span->level;
}

static bool is_not_above(const void *context, const struct moment *moment) {
  return !is_above(context, moment);
}

static void rise_at(struct span *span, double t) {
  span->above = true;
  span->since = t;
  span->count++;
  if (isnan(span->first)) {
    span->first = t;
  }
}

static void fall_at(struct span *span, double t) {
  span->above = false;
  span->total += t - span->since;
}

void span_begin(struct span *span, const struct moment *moment) {
  span->first = NAN;
  if (is_above(span, moment)) {
    rise_at(span, moment->time);
  }
}

void span_follow(struct span *span, const struct view *view, const struct stretch *stretch) {
  bool middle = is_above(span, stretch->middle);
  bool end = is_above(span, stretch->end);
  if (middle == span->above && end == span->above) {
    return;
  }
  struct moment found;
  if (view_first(view, stretch, span->above ? is_not_above : is_above, span, &found)) {
    if (span->above) {
      fall_at(span, found.time);
    } else {
      rise_at(span, found.time);
    }
  }
  if (end != span->above) { /* and back again within the step */
    struct stretch rest = {stretch->middle, stretch->middle, stretch->end};
    if (view_first(view, &rest, span->above ? is_not_above : is_above, span, &found)) {
      if (span->above) {
        fall_at(span, found.time);
      } else {
        rise_at(span, found.time);
      }
    }
  }
}

double span_total(const struct span *span, double t) {
  return span->total + (span->above ? t - span->since : 0.0);
}
