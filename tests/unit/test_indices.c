/* Sobol's indices of functions whose indices are known in closed form. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "check.h"
#include "draw.h"
#include "indices.h"

enum { INPUT_LIMIT = 8 };

typedef double function(const double *shares);

/* Values of a function over a Saltelli design; of drawn points, or of Sobol points scrambled. */
static double *design(function *f, int inputs, long groups, uint64_t seed, bool drawn) {
  double *values = malloc((size_t)(groups * (inputs + 2)) * sizeof *values);
  assert_non_null(values);
  for (long k = 0; k < groups * (inputs + 2); k++) {
    double shares[INPUT_LIMIT];
    for (int i = 0; i < inputs; i++) {
      int dimension = indices_from_b(k, inputs, i) ? inputs + i : i;
      long group = indices_group(k, inputs);
      shares[i] = drawn ? draw_share(seed, (uint64_t)dimension, (uint64_t)group)
                        : draw_share_of_bits(draw_sobol_scrambled(seed, dimension, (uint32_t)group));
    }
    values[k] = f(shares);
  }
  return values;
}

/* T. Ishigami and T. Homma 1990: sin x1 + a sin^2 x2 + b x3^4 sin x1, x from -pi to pi, with a = 7, b = 0.1. */
#define PI 3.14159265358979323846
static double ishigami(const double *shares) {
  double x[3];
  for (int i = 0; i < 3; i++) {
    x[i] = PI * (2.0 * shares[i] - 1.0);
  }
  return sin(x[0]) + 7.0 * sin(x[1]) * sin(x[1]) + 0.1 * pow(x[2], 4) * sin(x[0]);
}

struct known {
  double first, total;
};

/* Its indices in closed form (Saltelli et al., Global Sensitivity Analysis: The Primer, 2008; from memory, and
 * integrated by hand): V1 = (1 + b pi^4/5)^2 / 2, V2 = a^2/8, V13 = b^2 pi^8 (1/18 - 1/50). */
static void ishigami_indices(struct known *known) {
  double v1 = 0.5 * pow(1.0 + 0.1 * pow(PI, 4) / 5.0, 2);
  double v2 = 49.0 / 8.0;
  double v13 = 0.01 * pow(PI, 8) * (1.0 / 18.0 - 1.0 / 50.0);
  double v = v1 + v2 + v13;
  known[0] = (struct known){v1 / v, (v1 + v13) / v};
  known[1] = (struct known){v2 / v, v2 / v};
  known[2] = (struct known){0.0, v13 / v};
}

/* I. M. Sobol's g-function (1993): the product of (|4 x - 2| + a) / (1 + a). The variance of a factor is
 * 1 / (3 (1 + a)^2); that of a set of inputs is the product of theirs. */
static const double g_weights[6] = {0.0, 0.5, 3.0, 9.0, 99.0, 99.0};
static double g_function(const double *shares) {
  double product = 1.0;
  for (int i = 0; i < 6; i++) {
    product *= (fabs(4.0 * shares[i] - 2.0) + g_weights[i]) / (1.0 + g_weights[i]);
  }
  return product;
}

static double g_part(int i) {
  return 1.0 / (3.0 * (1.0 + g_weights[i]) * (1.0 + g_weights[i]));
}

static void g_indices(struct known *known) {
  double all = 1.0;
  for (int i = 0; i < 6; i++) {
    all *= 1.0 + g_part(i);
  }
  for (int i = 0; i < 6; i++) {
    known[i].first = g_part(i) / (all - 1.0);
    known[i].total = g_part(i) * all / (1.0 + g_part(i)) / (all - 1.0);
  }
}

static void check_known(function *f, int inputs, const struct known *known, double within) {
  double *values = design(f, inputs, 8192, 1, false);
  for (int i = 0; i < inputs; i++) {
    struct index_estimate found = indices_estimate(values, 8192, inputs, i);
    assert_int_equal(found.used, 8192);
    CHECK_NEAR(found.first, known[i].first, within);
    CHECK_NEAR(found.total, known[i].total, within);
  }
  free(values);
}

static void test_indices_of_ishigamis_function(void **state) {
  (void)state;
  struct known known[3];
  ishigami_indices(known);
  /* As printed in many places: 0.3139, 0.4424, 0; 0.5576, 0.4424, 0.2437 (from memory). */
  CHECK_NEAR(known[0].first, 0.3139, 5e-5);
  CHECK_NEAR(known[1].first, 0.4424, 5e-5);
  CHECK_NEAR(known[0].total, 0.5576, 5e-5);
  CHECK_NEAR(known[2].total, 0.2437, 5e-5);
  check_known(ishigami, 3, known, 0.005);
}

static void test_indices_of_the_g_function(void **state) {
  (void)state;
  struct known known[6];
  g_indices(known);
  check_known(g_function, 6, known, 0.01);
}

/* Of drawn points, 95 % of the intervals hold the known index. */
static void check_cover(function *f, int inputs, const struct known *known) {
  enum { TRIALS = 300, GROUPS = 400 };
  int held = 0;
  for (uint64_t trial = 0; trial < TRIALS; trial++) {
    double *values = design(f, inputs, GROUPS, 100 + trial, true);
    for (int i = 0; i < inputs; i++) {
      struct index_estimate found = indices_estimate(values, GROUPS, inputs, i);
      held += fabs(found.first - known[i].first) <= 1.96 * found.first_error;
      held += fabs(found.total - known[i].total) <= 1.96 * found.total_error;
    }
    free(values);
  }
  double share = (double)held / (2.0 * TRIALS * inputs);
  assert_true(share > 0.92 && share < 0.98);
}

static void test_error_bars_hold_the_known_indices(void **state) {
  (void)state;
  struct known known[6];
  ishigami_indices(known);
  check_cover(ishigami, 3, known);
  g_indices(known);
  check_cover(g_function, 6, known);
}

static double third_alone(const double *shares) {
  return 1e6 + shares[2];
}

static void test_gaps_and_what_does_not_vary(void **state) {
  (void)state;
  double *values = design(third_alone, 3, 512, 5, false);
  values[0] = NAN;     /* case A of group 0: no input has that group */
  values[5 + 4] = NAN; /* group 1: only of the third input */
  struct index_estimate first = indices_estimate(values, 512, 3, 0);
  struct index_estimate third = indices_estimate(values, 512, 3, 2);
  assert_int_equal(first.used, 511);
  assert_int_equal(third.used, 510);
  CHECK_NEAR(first.first, 0.0, 1e-9);
  CHECK_NEAR(first.total, 0.0, 1e-9);
  CHECK_NEAR(third.first, 1.0, 0.02);
  CHECK_NEAR(third.total, 1.0, 0.02);
  for (int k = 0; k < 512 * 5; k++) {
    values[k] = 3.0;
  }
  assert_true(isnan(indices_estimate(values, 512, 3, 0).first));
  assert_true(isnan(indices_estimate(values, 1, 3, 0).first));
  free(values);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_indices_of_ishigamis_function),
      cmocka_unit_test(test_indices_of_the_g_function),
      cmocka_unit_test(test_error_bars_hold_the_known_indices),
      cmocka_unit_test(test_gaps_and_what_does_not_vary),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
