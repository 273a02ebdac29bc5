/* Subset simulation on events whose probability is known, and how many of the stated intervals of 95 % hold it: ten
 * simulations of 1000 samples a level each, as the command makes them, 200 times over. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "check.h"
#include "draw.h"
#include "subset.h"

enum { SIMULATIONS = 10, SAMPLES = 1000, REPETITIONS = 200 };

struct benchmark {
  const char *name;
  int inputs;
  double parameter;
  double (*margin)(const double *z, int inputs, double parameter);
};

/* Half space: beta - sum z / sqrt(n), probability Phi(-beta) (any book on structural reliability; exact). */
static double half_space(const double *z, int inputs, double beta) {
  double sum = 0.0;
  for (int i = 0; i < inputs; i++) {
    sum += z[i];
  }
  return beta - sum / sqrt(inputs);
}

/* Outside a circle of two inputs: exp(-r2 / 2), the distribution of chi-square with two degrees; exact. */
static double circle(const double *z, int inputs, double r2) {
  (void)inputs;
  return r2 - z[0] * z[0] - z[1] * z[1];
}

/* Two limits that have nothing to do with each other, in series: 1 - (1 - Phi(-beta))^2; exact. */
static double series(const double *z, int inputs, double beta) {
  (void)inputs;
  return fmin(beta - z[0], beta - z[1]);
}

/* Four branches in series (P. H. Waarts, thesis, Delft 2000; there with other constants; this form from memory of the
 * literature on it, where 2.2e-3 is told for k = 7). The probability is integrated below. */
static double four_branches(const double *z, int inputs, double k) {
  (void)inputs;
  double difference = z[0] - z[1];
  double sum = z[0] + z[1];
  double curved = 3.0 + 0.1 * difference * difference - fabs(sum) / sqrt(2.0);
  return fmin(curved, k / sqrt(2.0) - fabs(difference));
}

/* By the midpoint rule over a square that leaves out 1e-14. */
static double integrated(const struct benchmark *benchmark) {
  enum { POINTS = 2000 };
  const double half = 8.0;
  double step = 2.0 * half / POINTS;
  double sum = 0.0;
  for (int i = 0; i < POINTS; i++) {
    for (int j = 0; j < POINTS; j++) {
      double z[2] = {-half + (i + 0.5) * step, -half + (j + 0.5) * step};
      sum += benchmark->margin(z, 2, benchmark->parameter) < 0.0 ? exp(-0.5 * (z[0] * z[0] + z[1] * z[1])) : 0.0;
    }
  }
  return sum * step * step / 6.283185307179586;
}

static bool ask(void *context, const double *points, int count, double *margins, struct error *error) {
  const struct benchmark *benchmark = context;
  (void)error;
  for (int i = 0; i < count; i++) {
    margins[i] =
        benchmark->margin(points + (size_t)i * (size_t)benchmark->inputs, benchmark->inputs, benchmark->parameter);
  }
  return true;
}

static double simulate(struct benchmark *benchmark, uint64_t seed, int64_t *runs) {
  const struct subset_question question = {benchmark->inputs, SAMPLES, seed, benchmark, ask};
  struct subset subset;
  struct error error;
  assert_true(subset_find(&question, &subset, &error));
  double probability = subset.probability;
  *runs += subset.runs;
  subset_free(&subset);
  return probability;
}

/* Returns how many intervals hold `exact`. */
static int intervals_that_hold(struct benchmark *benchmark, double exact) {
  int held = 0;
  double mean = 0.0;
  double wide = 0.0;
  int64_t runs = 0;
  for (uint64_t repetition = 0; repetition < REPETITIONS; repetition++) {
    double probabilities[SIMULATIONS];
    for (int s = 0; s < SIMULATIONS; s++) {
      probabilities[s] = simulate(benchmark, draw_bits(11, repetition, (uint64_t)s), &runs);
    }
    struct subset_interval interval = subset_interval_of(probabilities, SIMULATIONS);
    held += interval.low <= exact && exact <= interval.high;
    mean += interval.probability / REPETITIONS;
    wide += interval.high / interval.low / REPETITIONS;
  }
  print_message("%s: %.4g; mean of the estimates %.4g, upper over lower end %.2f, %d of %d intervals hold, %.0f runs\n",
                benchmark->name, exact, mean, wide, held, (int)REPETITIONS, (double)runs / REPETITIONS);
  CHECK_CLOSE(mean, exact, 0.1);
  return held;
}

static void intervals_hold_known_probabilities(void **state) {
  (void)state;
  struct benchmark benchmarks[] = {{"half space, 7 inputs", 7, 3.5, half_space},
                                   {"half space, 7 inputs", 7, 4.0, half_space},
                                   {"circle", 2, 18.420680744, circle},
                                   {"two in series", 4, 3.5, series},
                                   {"four branches", 2, 7.0, four_branches}};
  const double exact[] = {draw_normal_share(-3.5), draw_normal_share(-4.0), 1e-4,
                          1.0 - pow(1.0 - draw_normal_share(-3.5), 2.0), integrated(&benchmarks[4])};
  enum { COUNT = sizeof benchmarks / sizeof benchmarks[0] };
  int held = 0;
  CHECK_CLOSE(exact[4], 2.2e-3, 0.03); /* from memory, two digits */
  for (int i = 0; i < COUNT; i++) {
    int here = intervals_that_hold(&benchmarks[i], exact[i]);
    assert_true(here >= 180); /* 90 %: five standard errors of 200 lie below it only where intervals are too narrow */
    held += here;
  }
  print_message("%d of %d intervals hold\n", held, (int)COUNT * (int)REPETITIONS);
  assert_true(held >= 0.93 * COUNT * REPETITIONS);
}

static double never(const double *z, int inputs, double parameter) {
  (void)z;
  (void)inputs;
  return parameter;
}

/* Margins that do not differ lead nowhere: nothing is found, and that is told. */
static void a_flat_margin_is_told(void **state) {
  (void)state;
  struct benchmark flat = {"flat", 3, 0.2, never};
  const struct subset_question question = {3, SAMPLES, 1, &flat, ask};
  struct subset subset;
  struct error error;
  assert_true(subset_find(&question, &subset, &error));
  assert_true(subset.stuck && subset.probability == 0.0 && subset.level_count == 1);
  subset_free(&subset);
  const double probabilities[] = {1e-4, 0.0, 1e-4};
  assert_true(isnan(subset_interval_of(probabilities, 3).probability));
  assert_true(isnan(subset_interval_of(probabilities, 1).probability));
}

/* What is common is counted plainly: one level. */
static void a_common_event_takes_one_level(void **state) {
  (void)state;
  struct benchmark half = {"half", 2, 0.0, half_space};
  const struct subset_question question = {2, SAMPLES, 3, &half, ask};
  struct subset subset;
  struct error error;
  assert_true(subset_find(&question, &subset, &error));
  assert_int_equal(subset.level_count, 1);
  assert_int_equal(subset.runs, SAMPLES);
  CHECK_NEAR(subset.probability, 0.5, 0.06);
  for (int i = 0; i < subset.in_event; i++) {
    assert_true(half.margin(subset.points + 2 * (size_t)i, 2, 0.0) < 0.0);
    assert_in_range(subset.origin[i], 0, SAMPLES - 1);
  }
  subset_free(&subset);
}

/* Table of Student's distribution, as in any handbook: 97.5 %. */
static void students_quantiles(void **state) {
  (void)state;
  static const struct {
    int freedom;
    double point;
  } table[] = {{1, 12.706}, {2, 4.303}, {3, 3.182}, {4, 2.776}, {9, 2.262}, {18, 2.101}, {30, 2.042}};
  for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
    CHECK_CLOSE(subset_student(table[i].freedom), table[i].point, table[i].freedom == 3 ? 5e-3 : 2e-3);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(intervals_hold_known_probabilities), cmocka_unit_test(a_flat_margin_is_told),
      cmocka_unit_test(a_common_event_takes_one_level), cmocka_unit_test(students_quantiles)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
