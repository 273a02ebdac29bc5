#include "follow.h"

#include <math.h>

static double height(const struct extreme *extreme, const struct moment *moment) {
  double value = moment->signals[extreme->signal];
  return extreme->sign * (extreme->absolute ? fabs(value) : value);
}

static void consider(struct extreme *extreme, const struct moment *moment) {
  if (moment->time < extreme->from) {
    return;
  }
  double now = height(extreme, moment);
  if (!extreme->seen || now > extreme->sign * extreme->best) {
    extreme->seen = true;
    extreme->best = extreme->sign * now;
    extreme->time = moment->time;
  }
}

/* Golden-section search for the largest height in [low, high]. */
static void search(struct extreme *extreme, const struct view *view, double low, double high) {
  const double ratio = 0.6180339887498949;
  double left = high - ratio * (high - low);
  double right = low + ratio * (high - low);
  struct moment moment;
  view_at(view, left, &moment);
  double at_left = height(extreme, &moment);
  view_at(view, right, &moment);
  double at_right = height(extreme, &moment);
  for (int i = 0; i < 24; i++) {
    if (at_left > at_right) {
      high = right;
      right = left;
      at_right = at_left;
      left = high - ratio * (high - low);
      view_at(view, left, &moment);
      at_left = height(extreme, &moment);
    } else {
      low = left;
      left = right;
      at_left = at_right;
      right = low + ratio * (high - low);
      view_at(view, right, &moment);
      at_right = height(extreme, &moment);
    }
  }
  view_at(view, at_left > at_right ? left : right, &moment);
  consider(extreme, &moment);
}

void extreme_begin(struct extreme *extreme, const struct moment *moment) {
  consider(extreme, moment);
}

void extreme_follow(struct extreme *extreme, const struct view *view, const struct stretch *stretch) {
  if (stretch->end->time < extreme->from) {
    return;
  }
  if (stretch->start->time < extreme->from) {
    struct moment first;
    view_at(view, extreme->from, &first);
    consider(extreme, &first);
  } else {
    consider(extreme, stretch->start); /* after a restart the start may differ from the last end */
  }
  consider(extreme, stretch->middle);
  consider(extreme, stretch->end);
  if (stretch->start->time < extreme->from) {
    return;
  }
  double before = height(extreme, stretch->start);
  double middle = height(extreme, stretch->middle);
  double after = height(extreme, stretch->end);
  double bend = before - 2.0 * middle + after;
  double rise = 0.5 * (after - before);
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
