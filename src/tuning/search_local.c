/* One search from one place: NLopt's COBYLA over the runs of a search. Where the worst margin is what is sought, it is
 * a variable of its own, below which no margin may fall: so the corners of the smallest of many are linear pieces. */
#include <math.h>
#include <nlopt.h>
#include <stdlib.h>

#include "search.h"

/* Margins beyond these count less and less: a limit missed by ten times its level must not drown the others. */
#define STRAIGHT_BELOW 0.5
#define STRAIGHT_ABOVE 1.0
/* A little more than kept, where keeping is all that is sought. */
#define KEPT_ENOUGH 1e-4
#define FLOOR_STEP 0.1
#define FLOOR_MOST 100.0

struct local {
  struct search *search;
  const struct search_order *order;
  struct error *error;
  nlopt_opt optimizer;
  int choice;
  int last; /* run at the place asked last */
  int best;
  int made;    /* runs */
  bool floor;  /* the last variable is the margin below which none may fall */
  bool failed; /* `error` says why */
};

static double straighten(double margin) {
  if (margin < -STRAIGHT_BELOW) {
    return -STRAIGHT_BELOW - 0.5 * log1p(2.0 * (-STRAIGHT_BELOW - margin));
  }
  return margin > STRAIGHT_ABOVE ? STRAIGHT_ABOVE + 0.5 * log1p(2.0 * (margin - STRAIGHT_ABOVE)) : margin;
}

/* Under a cap that the other goal must stay below, what does comes before what does not. */
static bool is_better(const struct local *local, int a, int b) {
  const struct search_order *order = local->order;
  if (order->capped) {
    bool under[2];
    for (int i = 0; i < 2; i++) {
      under[i] = local->search->points[i == 0 ? a : b]->goals[1 - order->goal] <= order->cap;
    }
    if (under[0] != under[1]) {
      return under[0];
    }
  }
  return search_better(local->search, order->goal, a, b);
}

static bool is_at(const struct search_point *point, const double *at) {
  for (int v = 0; v < SEARCH_VARIABLES; v++) {
    if (point->at[v] != at[v]) {
      return false;
    }
  }
  return true;
}

/* The run at a place of the optimizer's, NULL: no more are made. */
static const struct search_point *visit(struct local *local, const double *x) {
  struct search *search = local->search;
  double at[SEARCH_VARIABLES] = {0.0};
  for (int v = 0; v < search->question->variables; v++) {
    at[v] = fmin(fmax(x[v], 0.0), 1.0);
  }
  const struct search_point *last = search->points[local->last];
  if (is_at(last, at)) {
    return last;
  }
  int before = search->count;
  if (local->failed || (before > 0 && local->made >= local->order->points)) {
    (void)nlopt_force_stop(local->optimizer);
    return NULL;
  }
  if (!search_try(search, local->choice, at, &local->last, local->error)) {
    local->failed = true;
    (void)nlopt_force_stop(local->optimizer);
    return NULL;
  }
  local->made += search->count - before;
  if (is_better(local, local->last, local->best)) {
    local->best = local->last;
  }
  if (local->order->goal < 0 && search->points[local->best]->reach > KEPT_ENOUGH) {
    (void)nlopt_force_stop(local->optimizer);
  }
  return search->points[local->last];
}

static double objective(unsigned count, const double *x, double *gradient, void *context) {
  struct local *local = context;
  (void)gradient;
  const struct search_point *point = visit(local, x);
  if (local->floor) {
    return -x[count - 1];
  }
  const struct search_goal *goal = &local->search->question->goals[local->order->goal];
  double value = point != NULL ? point->goals[local->order->goal] : 0.0;
  return isnan(value) ? 1.0 : value / goal->size;
}

/* The other goal's condition: not above the cap. */
static double below_cap(const struct local *local, const struct search_point *point) {
  int other = 1 - local->order->goal;
  double over = (point->goals[other] - local->order->cap) / local->search->question->goals[other].size;
  return isnan(over) ? 1.0 : over;
}

/* Not above 0 where a condition is kept. */
static void conditions(unsigned results, double *result, unsigned count, const double *x, double *gradient,
                       void *context) {
  struct local *local = context;
  const struct search_question *question = local->search->question;
  const struct search_point *point = visit(local, x);
  (void)gradient;
  for (unsigned i = 0; i < results; i++) {
    result[i] = 1.0;
  }
  if (point == NULL) {
    return;
  }
  /* What is sought decides over what the floor lies: over the limits, or over everything. */
  double least = local->floor ? x[count - 1] : question->reserve;
  bool all = local->order->goal < 0;
  if (!local->floor && local->order->capped && question->goals[1 - local->order->goal].of_margin) {
    least = fmax(least, -local->order->cap); /* piece by piece, not as the one kinked number */
  }
  for (int i = 0; i < question->limits; i++) {
    double reserve = all ? question->reserve : 0.0;
    result[i] = straighten(least) - straighten(point->margins[i] - reserve);
  }
  for (int i = question->limits; i < question->limits + question->conditions; i++) {
    result[i] = (all ? least : 0.0) - straighten(point->margins[i]);
  }
  if (local->order->capped) {
    result[results - 1] = below_cap(local, point);
  }
}

static bool set_up(struct local *local, double *x) {
  const struct search_question *question = local->search->question;
  const struct search_order *order = local->order;
  const struct search_point *from = local->search->points[order->from];
  double low[SEARCH_VARIABLES + 1];
  double high[SEARCH_VARIABLES + 1];
  double step[SEARCH_VARIABLES + 1];
  double last[SEARCH_VARIABLES + 1]; /* steps where it ends */
  int count = question->variables;
  for (int v = 0; v < count; v++) {
    bool held = order->held != NULL && order->held[v];
    x[v] = from->at[v];
    low[v] = held ? x[v] : 0.0;
    high[v] = held ? x[v] : 1.0;
    last[v] = question->accuracy;
    step[v] = x[v] + order->reach <= 1.0 ? order->reach : -order->reach;
  }
  if (local->floor) {
    x[count] = fmax(order->goal < 0 ? from->reach : from->worst, -FLOOR_MOST);
    low[count] = -2.0 * FLOOR_MOST;
    high[count] = 2.0 * FLOOR_MOST;
    step[count] = FLOOR_STEP;
    last[count] = 0.0; /* follows from the others */
    count++;
  }
  int results = question->limits + question->conditions + (order->capped ? 1 : 0);
  local->optimizer = nlopt_create(NLOPT_LN_COBYLA, (unsigned)count);
  return local->optimizer != NULL && nlopt_set_lower_bounds(local->optimizer, low) > 0 &&
         nlopt_set_upper_bounds(local->optimizer, high) > 0 && nlopt_set_initial_step(local->optimizer, step) > 0 &&
         nlopt_set_xtol_abs(local->optimizer, last) > 0 &&
         nlopt_set_min_objective(local->optimizer, objective, local) > 0 &&
         nlopt_set_maxeval(local->optimizer, 20 * order->points + 100) > 0 &&
         (results == 0 ||
          nlopt_add_inequality_mconstraint(local->optimizer, (unsigned)results, conditions, local, NULL) > 0);
}

static bool search_once(struct search *search, const struct search_order *order, int *best, struct error *error) {
  struct local local = {.search = search,
                        .order = order,
                        .error = error,
                        .choice = search->points[order->from]->choice,
                        .last = order->from,
                        .best = order->from,
                        .floor = order->goal < 0 || search->question->goals[order->goal].of_margin};
  double x[SEARCH_VARIABLES + 1] = {0.0};
  double value = 0.0;
  bool good = set_up(&local, x) || error_set(error, ERROR_MEMORY, "no memory for the search");
  if (good) {
    nlopt_result result = nlopt_optimize(local.optimizer, x, &value);
    good =
        !local.failed && (result != NLOPT_OUT_OF_MEMORY || error_set(error, ERROR_MEMORY, "no memory for the search"));
  }
  nlopt_destroy(local.optimizer);
  *best = local.best;
  return good;
}

bool search_locally(struct search *search, const struct search_order *order, int *best, struct error *error) {
  struct search_order own = *order;
  int before = search->count;
  *best = own.from;
  if (search->question->variables == 0) {
    return true;
  }
  if (own.goal >= 0 && !search->question->goals[own.goal].of_margin && !search_keeps(search, own.from)) {
    struct search_order to_keep = own; /* first of all a place that keeps everything */
    to_keep.goal = -1;
    to_keep.capped = false;
    if (!search_once(search, &to_keep, &own.from, error)) {
      return false;
    }
    *best = own.from;
    own.points -= search->count - before;
    if (!search_keeps(search, own.from) || own.points <= 0) {
      return true;
    }
  }
  return search_once(search, &own, best, error);
}
