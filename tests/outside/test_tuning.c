/* The search for settings against problems with known answers: optima and multipliers. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdbool.h>

#include "rows.h"
#include "search.h"

#define HOCK "W. Hock and K. Schittkowski, Test Examples for Nonlinear Programming Codes (1981), "
#define SQRT3 1.7320508075688772
#define LAST_STEP                                                                                                      \
  1e-7 /* of the range: only what keeps every limit counts, so optima are told from inside by about it */

/* A problem of the literature: least f with all g >= 0 in a box. */
struct problem {
  int variables;
  double low[SEARCH_VARIABLES];
  double high[SEARCH_VARIABLES];
  double from[SEARCH_VARIABLES];
  int limits;
  bool of_margin; /* the largest of all -g is made least */
  double (*tell)(const double *x, double *g);
};

static double problem_12(const double *x, double *g) {
  g[0] = 25.0 - 4.0 * x[0] * x[0] - x[1] * x[1];
  return 0.5 * x[0] * x[0] + x[1] * x[1] - x[0] * x[1] - 7.0 * x[0] - 7.0 * x[1];
}

static double problem_22(const double *x, double *g) {
  g[0] = 2.0 - x[0] - x[1];
  g[1] = x[1] - x[0] * x[0];
  return (x[0] - 2.0) * (x[0] - 2.0) + (x[1] - 1.0) * (x[1] - 1.0);
}

static double problem_24(const double *x, double *g) {
  g[0] = x[0] / SQRT3 - x[1];
  g[1] = x[0] + SQRT3 * x[1];
  g[2] = 6.0 - x[0] - SQRT3 * x[1];
  return ((x[0] - 3.0) * (x[0] - 3.0) - 9.0) * x[1] * x[1] * x[1] / (27.0 * SQRT3);
}

static double problem_35(const double *x, double *g) {
  g[0] = 3.0 - x[0] - x[1] - 2.0 * x[2];
  return 9.0 - 8.0 * x[0] - 6.0 * x[1] - 4.0 * x[2] + 2.0 * x[0] * x[0] + 2.0 * x[1] * x[1] + x[2] * x[2] +
         2.0 * x[0] * x[1] + 2.0 * x[0] * x[2];
}

static double problem_43(const double *x, double *g) {
  double squares[4];
  for (int i = 0; i < 4; i++) {
    squares[i] = x[i] * x[i];
  }
  g[0] = 8.0 - squares[0] - squares[1] - squares[2] - squares[3] - x[0] + x[1] - x[2] + x[3];
  g[1] = 10.0 - squares[0] - 2.0 * squares[1] - squares[2] - 2.0 * squares[3] + x[0] + x[3];
  g[2] = 5.0 - 2.0 * squares[0] - squares[1] - squares[2] - 2.0 * x[0] + x[1] + x[3];
  return squares[0] + squares[1] + 2.0 * squares[2] + squares[3] - 5.0 * x[0] - 5.0 * x[1] - 21.0 * x[2] + 7.0 * x[3];
}

static double problem_76(const double *x, double *g) {
  g[0] = 5.0 - x[0] - 2.0 * x[1] - x[2] - x[3];
  g[1] = 4.0 - 3.0 * x[0] - x[1] - 2.0 * x[2] + x[3];
  g[2] = x[1] + 4.0 * x[2] - 1.5;
  return x[0] * x[0] + 0.5 * x[1] * x[1] + x[2] * x[2] + 0.5 * x[3] * x[3] - x[0] * x[2] + x[2] * x[3] - x[0] -
         3.0 * x[1] + x[2] - x[3];
}

static double problem_100(const double *x, double *g) {
  g[0] = 127.0 - 2.0 * x[0] * x[0] - 3.0 * pow(x[1], 4.0) - x[2] - 4.0 * x[3] * x[3] - 5.0 * x[4];
  g[1] = 282.0 - 7.0 * x[0] - 3.0 * x[1] - 10.0 * x[2] * x[2] - x[3] + x[4];
  g[2] = 196.0 - 23.0 * x[0] - x[1] * x[1] - 6.0 * x[5] * x[5] + 8.0 * x[6];
  g[3] = -4.0 * x[0] * x[0] - x[1] * x[1] + 3.0 * x[0] * x[1] - 2.0 * x[2] * x[2] - 5.0 * x[5] + 11.0 * x[6];
  return pow(x[0] - 10.0, 2.0) + 5.0 * pow(x[1] - 12.0, 2.0) + pow(x[2], 4.0) + 3.0 * pow(x[3] - 11.0, 2.0) +
         10.0 * pow(x[4], 6.0) + 7.0 * x[5] * x[5] + pow(x[6], 4.0) - 4.0 * x[5] * x[6] - 10.0 * x[5] - 8.0 * x[6];
}

/* The least of the largest of three. */
static double minimax(const double *x, double *g) {
  g[0] = -(x[0] * x[0] + pow(x[1], 4.0));
  g[1] = -(pow(2.0 - x[0], 2.0) + pow(2.0 - x[1], 2.0));
  g[2] = -2.0 * exp(x[1] - x[0]);
  return 0.0;
}

/* Rastrigin's function of two variables, whose many dips lie about 1 apart; the lowest is cut out. */
static double many_dips(const double *x, double *g) {
  double sum = 20.0;
  g[0] = x[0] * x[0] + x[1] * x[1] - 0.25;
  for (int i = 0; i < 2; i++) {
    sum += x[i] * x[i] - 10.0 * cos(2.0 * 3.14159265358979323846 * x[i]);
  }
  return sum;
}

/* Reddy Mikks' paints, sold in whole tons: most of 5 x + 4 y. */
static double paints(const double *x, double *g) {
  g[0] = 24.0 - 6.0 * x[0] - 4.0 * x[1];
  g[1] = 6.0 - x[0] - 2.0 * x[1];
  g[2] = 1.0 + x[0] - x[1];
  g[3] = 2.0 - x[1];
  return -5.0 * x[0] - 4.0 * x[1];
}

static const struct problem problems[] = {
    {2, {-10, -10}, {10, 10}, {0, 0}, 1, false, problem_12},
    {2, {-10, -10}, {10, 10}, {2, 2}, 2, false, problem_22},
    {2, {0, 0}, {10, 10}, {1, 0.5}, 3, false, problem_24},
    {3, {0, 0, 0}, {5, 5, 5}, {0.5, 0.5, 0.5}, 1, false, problem_35},
    {4, {-5, -5, -5, -5}, {5, 5, 5, 5}, {0, 0, 0, 0}, 3, false, problem_43},
    {4, {0, 0, 0, 0}, {5, 5, 5, 5}, {0.5, 0.5, 0.5, 0.5}, 3, false, problem_76},
    {7, {-5, -5, -5, -5, -5, -5, -5}, {5, 5, 5, 5, 5, 5, 5}, {1, 2, 0, 4, 0, 1, 1}, 4, false, problem_100},
    {2, {-1, -1}, {3, 3}, {2, 2}, 3, true, minimax},
    {2, {-2.2, -2.2}, {2.3, 2.3}, {2, 2}, 1, false, many_dips},
    {2, {0, 0}, {5, 5}, {1, 1}, 4, false, paints},
};
enum { P12, P22, P24, P35, P43, P76, P100, MINIMAX, DIPS, PAINTS };

static bool ask(void *context, struct search_point *point, struct error *error) {
  const struct problem *problem = context;
  double x[SEARCH_VARIABLES];
  (void)error;
  for (int i = 0; i < problem->variables; i++) {
    x[i] = problem->low[i] + point->at[i] * (problem->high[i] - problem->low[i]);
  }
  point->goals[0] = problem->tell(x, point->margins);
  return true;
}

/* What a row asks for of a problem: 0 the optimum, 1 to 9 its multipliers, 11 and on its variables, 20 how many of the
 * starts agree, 30 the best of whole numbers. */
enum { OPTIMUM = 0, VARIABLE = 10, AGREE = 20, ROUNDED = 30, PER_PROBLEM = 100 };

static double variable_of(const struct problem *problem, const struct search_point *point, int number) {
  return problem->low[number] + point->at[number] * (problem->high[number] - problem->low[number]);
}

static double tuned(double argument) {
  const struct problem *problem = &problems[(int)argument / PER_PROBLEM];
  int what = (int)argument % PER_PROBLEM;
  double first[SEARCH_VARIABLES];
  double steps[SEARCH_VARIABLES] = {0.0};
  for (int i = 0; i < problem->variables; i++) {
    steps[i] = what == ROUNDED ? 1.0 / (problem->high[i] - problem->low[i]) : 0.0;
    first[i] = (problem->from[i] - problem->low[i]) / (problem->high[i] - problem->low[i]);
  }
  const struct search_question question = {.variables = problem->variables,
                                           .choices = 1,
                                           .first = first,
                                           .steps = steps,
                                           .limits = problem->limits,
                                           .goals = {{problem->of_margin, 1.0}},
                                           .goal_count = 1,
                                           .starts = what == AGREE ? 20 : 2,
                                           .points = what == AGREE ? 2000 : 4000,
                                           .accuracy = LAST_STEP,
                                           .seed = 1,
                                           .context = (void *)(uintptr_t)problem,
                                           .ask = ask};
  struct search search;
  struct search_prices prices = {0};
  struct error error = {0};
  double answer = NAN;
  if (search_open(&question, &search, &error) && search_find(&search, &error)) {
    const struct search_point *best = search.points[search.best];
    int settled = 0;
    bool all = false;
    if (what == ROUNDED) {
      bool good = search_settle(&search, search.best, 0, true, 200, &settled, &all, &error) && all;
      answer = good ? search.points[settled]->goals[0] : (double)NAN;
    } else if (what == OPTIMUM) {
      answer = best->goals[0];
    } else if (what == AGREE) {
      answer = 0.0;
      for (int i = 0; i < search.start_count; i++) {
        answer += search_agrees(&search, 0, search.starts[i].best, search.best);
      }
    } else if (what > VARIABLE) {
      answer = variable_of(problem, best, what - VARIABLE - 1);
    } else if (search_price(&search, search.best, 0, 1e-4, &prices, &error)) {
      answer = prices.multipliers[what - 1];
    }
  }
  search_prices_free(&prices);
  search_close(&search);
  return answer;
}

/* clang-format off */
static const struct row rows[] = {
#define TUNED(problem, what, id, text, expected, tolerance, kind, source, status)                                      \
  {id, "tuning", text, "1", expected, tolerance, kind, source, status, tuned, (problem) * PER_PROBLEM + (what), NULL}
  TUNED(P12, OPTIMUM, "T1", "quadratic, one limit: least value", -30.0, 1e-5, RELATIVE, HOCK "12", FROM_MEMORY),
  TUNED(P12, 1, "T1", "its multiplier: the slopes (-8, -3) and (-16, -6) at (2, 3)", 0.5, 1e-3, RELATIVE, HOCK "12", CLOSED_FORM),
  TUNED(P22, OPTIMUM, "T2", "distance to a corner of two limits: least value", 1.0, 1e-5, RELATIVE, HOCK "22", FROM_MEMORY),
  TUNED(P22, 1, "T2", "multiplier of the line, of the slopes at (1, 1)", 2.0 / 3.0, 1e-3, RELATIVE, HOCK "22", CLOSED_FORM),
  TUNED(P22, 2, "T2", "multiplier of the parabola", 2.0 / 3.0, 1e-3, RELATIVE, HOCK "22", CLOSED_FORM),
  TUNED(P24, OPTIMUM, "T3", "cubic in a triangle: least value", -1.0, 1e-5, RELATIVE, HOCK "24", FROM_MEMORY),
  TUNED(P24, VARIABLE + 1, "T3", "its first variable", 3.0, 1e-4, RELATIVE, HOCK "24", FROM_MEMORY),
  TUNED(P35, OPTIMUM, "T4", "Beale's problem: least value", 1.0 / 9.0, 1e-5, RELATIVE, HOCK "35", FROM_MEMORY),
  TUNED(P35, 1, "T4", "its multiplier, of the slopes at (4/3, 7/9, 4/9)", 2.0 / 9.0, 1e-3, RELATIVE, HOCK "35", CLOSED_FORM),
  TUNED(P43, OPTIMUM, "T5", "Rosen and Suzuki's problem: least value", -44.0, 1e-5, RELATIVE, HOCK "43", FROM_MEMORY),
  TUNED(P43, 1, "T5", "multiplier of its first limit, of the slopes at (0, 1, 2, -1)", 1.0, 1e-3, RELATIVE, HOCK "43", CLOSED_FORM),
  TUNED(P43, 2, "T5", "multiplier of its second limit, which does not bind", 0.0, 1e-6, ABSOLUTE, HOCK "43", CLOSED_FORM),
  TUNED(P43, 3, "T5", "multiplier of its third limit", 2.0, 1e-3, RELATIVE, HOCK "43", CLOSED_FORM),
  TUNED(P76, OPTIMUM, "T6", "quadratic, a bound and limits bind: least value", -4.681818, 1e-5, RELATIVE, HOCK "76", FROM_MEMORY),
  TUNED(P100, OPTIMUM, "T7", "seven variables, four limits: least value", 680.6300573, 1e-5, RELATIVE, HOCK "100", FROM_MEMORY),
  TUNED(MINIMAX, OPTIMUM, "T8", "least of the largest of three functions", 1.9522245, 1e-5, RELATIVE, "C. Charalambous and A. R. Conn's problem CB2, as in later lists of minimax problems", FROM_MEMORY),
  TUNED(DIPS, OPTIMUM, "T9", "many dips, the deepest forbidden: the best of 2 starts is one of the others", 0.994959, 8.5, BETWEEN, "Rastrigin's function; its dips next to the middle", CLOSED_FORM),
  TUNED(DIPS, AGREE, "T9", "of 20 starts not all agree", 1.0, 19.0, BETWEEN, "as above", CLOSED_FORM),
  TUNED(PAINTS, OPTIMUM, "T10", "paints in any amount: most of 5 x + 4 y, the other way round", -21.0, 1e-5, RELATIVE, "H. A. Taha, Operations Research, the Reddy Mikks company", FROM_MEMORY),
  TUNED(PAINTS, 1, "T10", "what one more ton of the first raw material brings", 0.75, 1e-3, RELATIVE, "as above, its dual price", FROM_MEMORY),
  TUNED(PAINTS, 2, "T10", "and one more of the second", 0.5, 1e-3, RELATIVE, "as above", FROM_MEMORY),
  TUNED(PAINTS, ROUNDED, "T10", "in whole tons: at (4, 0), not next to the optimum at (3, 1.5)", -20.0, 1e-9, RELATIVE, "as above; all whole points by hand", CLOSED_FORM),
#undef TUNED
};
/* clang-format on */

ROWS_MAIN(rows)
