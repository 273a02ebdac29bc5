/* What limits cost: derivatives by differences, multipliers that are not negative and balance them best (least squares
 * by NLopt's SLSQP, Kraft 1994). A margin that is far from binding is held back by how far it is, so that of many sets
 * of multipliers that balance alike the one of those nearest is taken. */
#include <math.h>
#include <nlopt.h>
#include <stdlib.h>
#include <string.h>

#include "search.h"

#define NEAR 1e-3     /* margins that differ by no more are alike */
#define HELD_BACK 3.0 /* weight of how far a margin is from binding */
#define LEAST_SHARE 1e-3

enum { PRICED_MOST = 60, EQUATIONS = SEARCH_VARIABLES + 1 };

/* The equations of balance: one a variable, and one for the floor where that is what is sought. */
struct balance {
  int equations;
  int unknowns;
  double columns[PRICED_MOST + 2 * SEARCH_VARIABLES][EQUATIONS];
  double held[PRICED_MOST + 2 * SEARCH_VARIABLES]; /* weight against being used */
  double right[EQUATIONS];
};

/* Differences of everything along one variable. */
struct slopes {
  double *margins; /* [variable][limit or condition] */
  double goal[SEARCH_VARIABLES];
  double step[SEARCH_VARIABLES]; /* the larger of those that were taken */
  bool low[SEARCH_VARIABLES];    /* it lies at a bound */
  bool high[SEARCH_VARIABLES];
};

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the search");
}

/* Place of the number `goal`: -1 is not asked here. */
static double goal_of(const struct search_point *point, int goal) {
  return goal >= 0 ? point->goals[goal] : -point->reach;
}

static bool differ(struct search *search, int at, int goal, double difference, struct slopes *slopes,
                   struct error *error) {
  const struct search_question *question = search->question;
  int all = question->limits + question->conditions;
  for (int v = 0; v < question->variables; v++) {
    int sides[2];
    double places[2];
    double step = question->steps[v] > 0.0 ? fmax(question->steps[v], difference) : difference;
    for (int side = 0; side < 2; side++) {
      double place[SEARCH_VARIABLES];
      memcpy(place, search->points[at]->at, sizeof place);
      place[v] = fmin(fmax(place[v] + (side == 0 ? -step : step), 0.0), 1.0);
      places[side] = place[v];
      if (!search_try(search, search->points[at]->choice, place, &sides[side], error)) {
        return false;
      }
    }
    const struct search_point *below = search->points[sides[0]];
    const struct search_point *above = search->points[sides[1]];
    double width = places[1] - places[0];
    slopes->step[v] = width;
    slopes->low[v] = search->points[at]->at[v] <= 1e-6;
    slopes->high[v] = search->points[at]->at[v] >= 1.0 - 1e-6;
    slopes->goal[v] = (goal_of(above, goal) - goal_of(below, goal)) / width;
    for (int i = 0; i < all; i++) {
      slopes->margins[v * all + i] = (above->margins[i] - below->margins[i]) / width;
    }
  }
  return true;
}

/* Could the margin bind within a step of every variable? */
static double slack_of(const struct search *search, int at, bool floor, int goal, int i) {
  const struct search_question *question = search->question;
  const struct search_point *point = search->points[at];
  double margin = point->margins[i];
  bool is_limit = i < question->limits;
  if (floor && goal >= 0) {
    return is_limit ? margin - point->worst : margin;
  }
  margin -= is_limit ? question->reserve : 0.0;
  return floor ? margin - point->reach : margin;
}

static void put_columns(const struct search *search, int at, bool floor, int goal, const struct slopes *slopes,
                        struct balance *balance, int *which) {
  const struct search_question *question = search->question;
  int all = question->limits + question->conditions;
  for (int i = 0; i < all && balance->unknowns < PRICED_MOST; i++) {
    double reach = NEAR;
    double slack = slack_of(search, at, floor, goal, i);
    for (int v = 0; v < question->variables; v++) {
      reach += 0.5 * fabs(slopes->margins[v * all + i]) * slopes->step[v];
    }
    if (!isfinite(reach) || !(slack <= reach)) {
      continue;
    }
    double *column = balance->columns[balance->unknowns];
    for (int v = 0; v < question->variables; v++) {
      column[v] = slopes->margins[v * all + i];
    }
    if (floor) {
      column[question->variables] = goal < 0 || i < question->limits ? 1.0 : 0.0;
    }
    balance->held[balance->unknowns] = HELD_BACK * fmax(slack, 0.0);
    which[balance->unknowns++] = i;
  }
  for (int v = 0; v < question->variables; v++) { /* bounds */
    if (slopes->low[v] || slopes->high[v]) {
      balance->columns[balance->unknowns][v] = slopes->low[v] ? 1.0 : -1.0;
      which[balance->unknowns++] = -1 - v;
    }
  }
}

/* Half the square of what is not balanced, and its derivatives. */
static double unbalanced(unsigned count, const double *x, double *gradient, void *context) {
  const struct balance *balance = context;
  double sum = 0.0;
  for (unsigned k = 0; k < count; k++) {
    double held = balance->held[k] * x[k];
    sum += 0.5 * held * held;
    if (gradient != NULL) {
      gradient[k] = balance->held[k] * held;
    }
  }
  for (int e = 0; e < balance->equations; e++) {
    double left = -balance->right[e];
    for (unsigned k = 0; k < count; k++) {
      left += balance->columns[k][e] * x[k];
    }
    sum += 0.5 * left * left;
    for (unsigned k = 0; gradient != NULL && k < count; k++) {
      gradient[k] += balance->columns[k][e] * left;
    }
  }
  return sum;
}

static bool solve(struct balance *balance, double *x, struct error *error) {
  double value = 0.0;
  nlopt_opt optimizer = nlopt_create(NLOPT_LD_SLSQP, (unsigned)balance->unknowns);
  bool good = optimizer != NULL && nlopt_set_lower_bounds1(optimizer, 0.0) > 0 &&
              nlopt_set_xtol_rel(optimizer, 1e-12) > 0 && nlopt_set_ftol_rel(optimizer, 1e-14) > 0 &&
              nlopt_set_maxeval(optimizer, 2000) > 0 && nlopt_set_min_objective(optimizer, unbalanced, balance) > 0;
  good = good && nlopt_optimize(optimizer, x, &value) != NLOPT_OUT_OF_MEMORY; /* round-off may end it, solved */
  nlopt_destroy(optimizer);
  return good || no_memory(error);
}

static double length_of(const double *numbers, int count) {
  double sum = 0.0;
  for (int i = 0; i < count; i++) {
    sum += numbers[i] * numbers[i];
  }
  return sqrt(sum);
}

static bool price(struct search *search, int at, int goal, double difference, struct slopes *slopes,
                  struct balance *balance, struct search_prices *prices, struct error *error) {
  const struct search_question *question = search->question;
  bool floor = goal < 0 || question->goals[goal].of_margin;
  double x[PRICED_MOST + 2 * SEARCH_VARIABLES] = {0.0};
  int which[PRICED_MOST + 2 * SEARCH_VARIABLES] = {0};
  if (!differ(search, at, goal, difference, slopes, error)) {
    return false;
  }
  balance->equations = question->variables + (floor ? 1 : 0);
  memcpy(prices->slope, slopes->goal, sizeof prices->slope);
  if (floor) { /* the goal is the floor itself, in no variable but its own */
    balance->right[question->variables] = 1.0;
  } else {
    memcpy(balance->right, slopes->goal, (size_t)question->variables * sizeof(double));
  }
  put_columns(search, at, floor, goal, slopes, balance, which);
  if (balance->unknowns > 0 && !solve(balance, x, error)) {
    return false;
  }
  double left[EQUATIONS] = {0.0};
  double most = 0.0;
  for (int k = 0; k < balance->unknowns; k++) {
    most = fmax(most, x[k]);
    for (int e = 0; e < balance->equations; e++) {
      left[e] += balance->columns[k][e] * x[k];
    }
  }
  for (int e = 0; e < balance->equations; e++) {
    left[e] -= balance->right[e];
  }
  double whole = length_of(balance->right, balance->equations);
  prices->unbalanced = whole > 0.0 ? length_of(left, balance->equations) / whole : 0.0;
  for (int k = 0; k < balance->unknowns; k++) {
    double multiplier = x[k] > LEAST_SHARE * most ? x[k] : 0.0;
    if (which[k] >= 0) {
      prices->multipliers[which[k]] = multiplier;
    } else {
      prices->bound[-1 - which[k]] = multiplier;
    }
  }
  return true;
}

bool search_price(struct search *search, int at, int goal, double difference, struct search_prices *prices,
                  struct error *error) {
  const struct search_question *question = search->question;
  size_t all = (size_t)(question->limits + question->conditions) + 1;
  struct slopes slopes = {.margins = calloc(all * SEARCH_VARIABLES, sizeof(double))};
  struct balance *balance = calloc(1, sizeof *balance);
  *prices = (struct search_prices){.multipliers = calloc(all, sizeof(double))};
  bool good = true;
  if (slopes.margins == NULL || balance == NULL || prices->multipliers == NULL) {
    good = no_memory(error);
  } else if (question->variables > 0) {
    good = price(search, at, goal, difference, &slopes, balance, prices, error);
  }
  free(slopes.margins);
  free(balance);
  return good;
}

void search_prices_free(struct search_prices *prices) {
  free(prices->multipliers);
  *prices = (struct search_prices){0};
}
