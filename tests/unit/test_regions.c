/* What people look at in a sweep: intervals of counted shares, steps, how cases fare by region, the smoothed boundary.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "check.h"
#include "draw.h"
#include "regions.h"
#include "share_interval.h"

/* scipy.stats.binomtest(hits, count).proportion_ci(0.95, 'wilson') (SciPy 1.10.1). */
static void test_wilson_intervals_are_those_of_a_library(void **state) {
  (void)state;
  static const struct {
    double hits, count, low, high;
  } known[] = {{0, 10, 0.0, 0.27753279986288926},
               {1, 20, 0.008881448800795402, 0.23613119344674205},
               {10, 10, 0.7224672001371109, 1.0},
               {37, 1000, 0.026961180875554734, 0.05058239748206931},
               {552, 1625, 0.3170674352595188, 0.3630733192757864}};
  for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
    CHECK_NEAR(share_interval_low(known[i].hits, known[i].count), known[i].low, 1e-13);
    CHECK_NEAR(share_interval_high(known[i].hits, known[i].count), known[i].high, 1e-13);
  }
}

/* 95 % of intervals should hold the probability: of 2000 draws of 100 cases each. Wilson's own cover wavers about that
 * by some per cent (Brown, Cai and DasGupta 2001, from memory). */
static void test_wilson_intervals_hold_what_they_promise(void **state) {
  (void)state;
  enum { TRIALS = 2000, CASES = 100 };
  static const double probabilities[] = {0.05, 0.3, 0.5};
  for (uint64_t p = 0; p < 3; p++) {
    int held = 0;
    for (uint64_t trial = 0; trial < TRIALS; trial++) {
      double hits = 0.0;
      for (uint64_t i = 0; i < CASES; i++) {
        hits += draw_share(7, p, trial * CASES + i) < probabilities[p];
      }
      held +=
          share_interval_low(hits, CASES) <= probabilities[p] && share_interval_high(hits, CASES) >= probabilities[p];
    }
    assert_in_range(held, TRIALS * 92 / 100, TRIALS * 98 / 100);
  }
}

static void test_few_values_are_steps_of_their_own(void **state) {
  (void)state;
  const double values[] = {20.0, 10.0, 40.0, 10.0, NAN};
  struct region_steps steps;
  region_steps_of(values, 5, false, &steps);
  assert_int_equal(steps.count, 3);
  assert_true(steps.values && !steps.logarithmic);
  const double edges[] = {5.0, 15.0, 30.0, 50.0};
  for (int i = 0; i < 4; i++) {
    CHECK_NEAR(steps.edges[i], edges[i], 1e-12);
  }
  assert_int_equal(region_place(&steps, 10.0), 0);
  assert_int_equal(region_place(&steps, 40.0), 2);
  assert_int_equal(region_place(&steps, NAN), -1);
  region_steps_of(values, 5, true, &steps);
  CHECK_NEAR(steps.edges[1], sqrt(200.0), 1e-12);
  const double one[] = {3.0, 3.0};
  region_steps_of(one, 2, false, &steps);
  assert_int_equal(steps.count, 1);
  assert_int_equal(region_place(&steps, 3.0), 0);
  const double none[] = {NAN};
  region_steps_of(none, 1, false, &steps);
  assert_int_equal(steps.count, 0);
}

static void test_many_values_lie_in_equal_intervals(void **state) {
  (void)state;
  enum { ROWS = 1200 };
  double values[ROWS];
  for (int i = 0; i < ROWS; i++) {
    values[i] = 1.0 + 99.0 * i / (ROWS - 1.0);
  }
  struct region_steps steps;
  region_steps_of(values, ROWS, false, &steps);
  assert_int_equal(steps.count, 10); /* the root of 1200 / 12 */
  CHECK_NEAR(steps.edges[1] - steps.edges[0], 9.9, 1e-12);
  assert_int_equal(region_place(&steps, values[0]), 0);
  assert_int_equal(region_place(&steps, values[ROWS - 1]), 9);
  region_steps_of(values, ROWS, true, &steps);
  CHECK_NEAR(steps.edges[5], 10.0, 1e-9);
  values[0] = -1.0; /* no logarithm of that */
  region_steps_of(values, ROWS, true, &steps);
  assert_false(steps.logarithmic);
}

static void test_what_is_no_pass_is_not_counted_as_one(void **state) {
  (void)state;
  const struct region_counts counts = {
      {[REGION_BROKEN] = 2, [REGION_KEPT] = 6, [REGION_FAILED] = 1, [REGION_UNFINISHED] = 3}};
  struct region_odds odds = region_odds_of(&counts);
  assert_int_equal(region_cases(&counts), 12);
  CHECK_NEAR(odds.share, 0.25, 1e-15);
  CHECK_NEAR(odds.low, share_interval_low(2, 12), 1e-15);
  CHECK_NEAR(odds.high, share_interval_high(6, 12), 1e-15);
  const struct region_counts unknown = {{[REGION_FAILED] = 4}};
  odds = region_odds_of(&unknown);
  assert_true(isnan(odds.share));
  assert_true(odds.low == 0.0 && odds.high == 1.0);
  const struct region_counts none = {{0}};
  odds = region_odds_of(&none);
  assert_true(isnan(odds.share) && isnan(odds.low) && isnan(odds.high));
}

enum { SIDE = 10, EACH = 12 };

/* Steps by which a cell lies beyond the line x + y = SIDE - 1. */
static double from_line(int at) {
  int steps = at % SIDE + at / SIDE + 1 - SIDE;
  return (double)steps;
}

/* Cells in which a case breaks with the probability of a plane's distance: the smoothed half lies within a step of
 * the known line x + y = 10, nearer than the counts by themselves. */
static void test_the_smoothed_boundary_is_the_known_one(void **state) {
  (void)state;
  struct region_counts cells[SIDE * SIDE] = {0};
  struct region_odds odds[SIDE * SIDE];
  double raw = 0.0;
  double smooth = 0.0;
  for (int at = 0; at < SIDE * SIDE; at++) {
    double truth = draw_normal_share(from_line(at) / 2.0);
    for (uint64_t i = 0; i < EACH; i++) {
      cells[at].of[draw_share(3, (uint64_t)at, i) < truth ? REGION_BROKEN : REGION_KEPT]++;
    }
    odds[at] = region_odds_of(&cells[at]);
  }
  region_smooth(cells, SIDE, SIDE, true, true, odds);
  for (int at = 0; at < SIDE * SIDE; at++) {
    double truth = draw_normal_share(from_line(at) / 2.0);
    raw += (odds[at].share - truth) * (odds[at].share - truth);
    smooth += (odds[at].smoothed - truth) * (odds[at].smoothed - truth);
    assert_true(fabs(from_line(at)) <= 1.0 || (odds[at].smoothed > 0.5) == (truth > 0.5));
  }
  assert_true(smooth < 0.5 * raw);
}

static void test_an_empty_cell_stays_empty(void **state) {
  (void)state;
  struct region_counts cells[3] = {{{[REGION_BROKEN] = 5}}, {{0}}, {{[REGION_KEPT] = 5}}};
  struct region_odds odds[3];
  region_smooth(cells, 3, 1, true, false, odds);
  assert_true(isnan(odds[1].smoothed));
  assert_true(odds[0].smoothed > 0.9 && odds[2].smoothed < 0.1);
  region_smooth(cells, 3, 1, false, false, odds); /* names have no neighbours */
  assert_true(odds[0].smoothed == 1.0 && odds[2].smoothed == 0.0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_wilson_intervals_are_those_of_a_library),
      cmocka_unit_test(test_wilson_intervals_hold_what_they_promise),
      cmocka_unit_test(test_few_values_are_steps_of_their_own),
      cmocka_unit_test(test_many_values_lie_in_equal_intervals),
      cmocka_unit_test(test_what_is_no_pass_is_not_counted_as_one),
      cmocka_unit_test(test_the_smoothed_boundary_is_the_known_one),
      cmocka_unit_test(test_an_empty_cell_stays_empty),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
