/* The kernels' own functions of mathematics against those of the library, in extended precision. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "check.h"
#include "real.h"

#define UNIT 2.3e-16 /* relative: about one unit of the last place */

/* Steps that meet no special points, over many orders of size, both signs. */
static void over(double most, double allowed, double (*own)(double), long double (*exact)(long double)) {
  double worst = 0.0;
  for (double size = most; size > 1e-9 * most; size *= 0.99973) {
    for (int side = -1; side <= 1; side += 2) {
      double x = (double)side * size;
      long double right = exact((long double)x);
      double off = (double)fabsl(((long double)own(x) - right) / right);
      worst = off > worst || isnan(off) ? off : worst;
    }
  }
  CHECK_NEAR(worst, 0.0, allowed);
}

static double tanh_of(double x) {
  return real_tanh(x);
}

static double exp_of(double x) {
  return real_exp(x);
}

static double atan_of(double x) {
  return real_atan(x);
}

static double sin_of(double x) {
  return real_sin(x);
}

static void test_against_the_library(void **state) {
  (void)state;
  over(40.0, 2.0 * UNIT, tanh_of, tanhl);
  over(0.7, 2.0 * UNIT, tanh_of, tanhl);
  over(700.0, 2.0 * UNIT, exp_of, expl);
  over(1e6, 2.0 * UNIT, atan_of, atanl);
  over(3.0, 2.0 * UNIT, atan_of, atanl);
  over(3.1415926, 2.0 * UNIT, sin_of, sinl);
}

static void test_at_special_points(void **state) {
  (void)state;
  CHECK_NEAR(real_tanh(0.0), 0.0, 0.0);
  CHECK_NEAR(real_tanh(20.0), 1.0, 0.0);
  CHECK_NEAR(real_tanh(-20.0), -1.0, 0.0);
  CHECK_NEAR(real_exp(0.0), 1.0, 0.0);
  CHECK_NEAR(real_atan(0.0), 0.0, 0.0);
  CHECK_CLOSE(real_atan(HUGE_VAL), 0.5 * REAL_PI, UNIT);
  CHECK_NEAR(real_sin(0.0), 0.0, 0.0);
  CHECK_CLOSE(real_sin(0.5 * REAL_PI), 1.0, UNIT);
  CHECK_NEAR(real_sin(REAL_PI), 0.0, 1.3e-16);
  assert_true(isnan(real_tanh(NAN)) && isnan(real_atan(NAN)) && isnan(real_sin(NAN)));
  CHECK_NEAR(tanh_sign(21.0, 1.0), 1.0, 0.0);
  CHECK_NEAR(tanh_sign(-21.0, 1.0), -1.0, 0.0);
  CHECK_CLOSE(tanh_sign(0.3, 2.0), tanh(0.15), 2.0 * UNIT);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_against_the_library),
      cmocka_unit_test(test_at_special_points),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
