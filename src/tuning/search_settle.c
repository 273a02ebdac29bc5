/* From the best settings to the best of those that can be made. */
#include <math.h>
#include <string.h>

#include "search.h"

enum { CORNERS_MOST = 64 };

/* The last setting that can be made, in steps. */
static double last_step(double step) {
  return floor(1.0 / step + 1e-9);
}

static double to_step(double at, double step) {
  return step > 0.0 ? fmin(fmax(round(at / step), 0.0), last_step(step)) * step : at;
}

/* The settings around `at`, of each variable with a step the one below or above, as the bits of `corner` say: bit v
 * set, the farther one. False: that one lies beyond the bounds. */
static bool corner_at(const struct search_question *question, const double *at, unsigned corner, double *place) {
  unsigned bit = 1;
  for (int v = 0; v < question->variables; v++) {
    double step = question->steps[v];
    place[v] = to_step(at[v], step);
    if (step <= 0.0) {
      continue;
    }
    if ((corner & bit) != 0) {
      place[v] += at[v] > place[v] ? step : -step;
      if (place[v] < 0.0 || place[v] > last_step(step) * step + 1e-12) {
        return false;
      }
      place[v] = to_step(place[v], step); /* the same bits however it was come to */
    }
    bit <<= 1;
  }
  return true;
}

static int bits_of(unsigned word) {
  int bits = 0;
  for (; word != 0; word &= word - 1) {
    bits++;
  }
  return bits;
}

/* The nearest; where it does not keep what the run kept, those with one, two, ... settings rounded the other way. */
static bool round_off(struct search *search, int from, int goal, int *best, struct error *error) {
  const struct search_question *question = search->question;
  double origin[SEARCH_VARIABLES];
  double place[SEARCH_VARIABLES] = {0.0};
  int stepped = 0;
  int tried = 0;
  memcpy(origin, search->points[from]->at, sizeof origin); /* the list of runs grows */
  for (int v = 0; v < question->variables; v++) {
    stepped += question->steps[v] > 0.0;
  }
  *best = -1;
  unsigned corners = 1u << (stepped < 10 ? stepped : 10);
  for (int others = 0; others <= stepped; others++) {
    for (unsigned corner = 0; corner < corners && tried < CORNERS_MOST; corner++) {
      int index = 0;
      if (bits_of(corner) != others || !corner_at(question, origin, corner, place)) {
        continue;
      }
      if (!search_try(search, search->points[from]->choice, place, &index, error)) {
        return false;
      }
      tried++;
      if (*best < 0 || search_better(search, goal, index, *best)) {
        *best = index;
      }
    }
    if (search_keeps(search, *best) || !search_keeps(search, from)) {
      return true;
    }
  }
  return true;
}

/* One setting moved by steps, twice as many each time while that is better. */
static bool walk_along(struct search *search, int variable, double direction, int goal, int *best,
                       struct error *error) {
  double step = search->question->steps[variable];
  for (double stride = 1.0;; stride *= 2.0) {
    double place[SEARCH_VARIABLES];
    int index = 0;
    memcpy(place, search->points[*best]->at, sizeof place);
    double to = to_step(place[variable] + direction * stride * step, step);
    if (to == place[variable]) {
      return true;
    }
    place[variable] = to;
    if (!search_try(search, search->points[*best]->choice, place, &index, error)) {
      return false;
    }
    if (!search_better(search, goal, index, *best)) {
      return true;
    }
    *best = index;
  }
}

/* Two settings moved by a step each; ends at the first such place that is better. */
static bool walk_in_pairs(struct search *search, int goal, int until, int *best, bool *all, struct error *error) {
  const struct search_question *question = search->question;
  const int from = *best;
  for (int pair = 0; pair < question->variables * question->variables; pair++) {
    int v = pair / question->variables;
    int w = pair % question->variables;
    for (int side = 0; side < 4 && v < w && question->steps[v] > 0.0 && question->steps[w] > 0.0; side++) {
      double place[SEARCH_VARIABLES];
      int index = 0;
      memcpy(place, search->points[from]->at, sizeof place);
      place[v] = to_step(place[v] + (side % 2 == 0 ? 1.0 : -1.0) * question->steps[v], question->steps[v]);
      place[w] = to_step(place[w] + (side / 2 == 0 ? 1.0 : -1.0) * question->steps[w], question->steps[w]);
      if (search->count >= until) {
        *all = false;
        return true;
      }
      if (!search_try(search, search->points[from]->choice, place, &index, error)) {
        return false;
      }
      if (search_better(search, goal, index, *best)) {
        *best = index;
        return true;
      }
    }
  }
  return true;
}

static bool walk_round(struct search *search, int goal, int until, int *best, bool *settled, struct error *error) {
  for (;;) {
    int before = *best;
    bool all = true;
    for (int v = 0; v < search->question->variables; v++) {
      for (int side = 0; side < 2 && search->question->steps[v] > 0.0; side++) {
        if (!walk_along(search, v, side == 0 ? 1.0 : -1.0, goal, best, error)) {
          return false;
        }
      }
    }
    if (*best == before && !walk_in_pairs(search, goal, until, best, &all, error)) {
      return false;
    }
    if (*best == before || search->count >= until) {
      *settled = *best == before && all;
      return true;
    }
  }
}

bool search_settle(struct search *search, int from, int goal, bool walk, int points, int *best, bool *settled,
                   struct error *error) {
  const struct search_question *question = search->question;
  bool held[SEARCH_VARIABLES];
  bool free_left = false;
  int until = search->count + points;
  *settled = false;
  for (int v = 0; v < question->variables; v++) {
    held[v] = question->steps[v] > 0.0;
    free_left = free_left || !held[v];
  }
  if (!round_off(search, from, goal, best, error)) {
    return false;
  }
  const struct search_order order = {
      .from = *best, .goal = goal, .reach = 10.0 * question->accuracy, .points = points / 2, .held = held};
  if (free_left && *best != from && !search_locally(search, &order, best, error)) {
    return false;
  }
  return !walk || walk_round(search, goal, until, best, settled, error);
}
