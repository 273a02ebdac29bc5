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

static double log_of(double x) {
  return real_log(exp(x));
}

static long double log_exactly(long double x) {
  return logl((long double)exp((double)x));
}

static double log10_of(double x) {
  return real_log10(1.0 + fabs(x));
}

static long double log10_exactly(long double x) {
  return log10l((long double)(1.0 + fabs((double)x)));
}

static double power_of(double x) {
  return real_power(1.0 + fabs(x), 0.714);
}

static long double power_exactly(long double x) {
  return powl((long double)(1.0 + fabs((double)x)), 0.714L);
}

static double tan_of(double x) {
  return real_tan(x);
}

static double asin_of(double x) {
  return real_asin(x);
}

static void test_against_the_library(void **state) {
  (void)state;
  over(40.0, 2.0 * UNIT, tanh_of, tanhl);
  over(0.7, 2.0 * UNIT, tanh_of, tanhl);
  over(700.0, 2.0 * UNIT, exp_of, expl);
  over(1e6, 2.0 * UNIT, atan_of, atanl);
  over(3.0, 2.0 * UNIT, atan_of, atanl);
  over(3.1415926, 2.0 * UNIT, sin_of, sinl);
  over(690.0, 2.0 * UNIT, log_of, log_exactly);
  over(1e9, 3.0 * UNIT, log10_of, log10_exactly);
  over(1e5, 20.0 * UNIT, power_of, power_exactly); /* ln 1e5 is 12 */
  over(1.5, 4.0 * UNIT, tan_of, tanl);
  over(0.9999, 4.0 * UNIT, asin_of, asinl);
  for (double x = -3.1415926; x < 3.1415926; x += 1e-4) { /* absolute: near pi/2 the argument is not known better */
    CHECK_NEAR(real_cos(x), (double)cosl((long double)x), 2.0 * UNIT);
  }
}

static void test_at_special_points(void **state) {
  (void)state;
  CHECK_NEAR(real_tanh(0.0), 0.0, 0.0);
  CHECK_NEAR(real_tanh(20.0), 1.0, 0.0);
  CHECK_NEAR(real_tanh(-20.0), -1.0, 0.0);
  CHECK_NEAR(real_exp(0.0), 1.0, 0.0);
  CHECK_CLOSE(real_exp(-1e4), exp(-700.0), 2.0 * UNIT);
  CHECK_CLOSE(real_exp(HUGE_VAL), exp(700.0), 2.0 * UNIT);
  CHECK_NEAR(real_log(1.0), 0.0, 0.0);
  CHECK_CLOSE(real_log10(1000.0), 3.0, 2.0 * UNIT);
  CHECK_NEAR(real_cos(0.0), 1.0, 0.0);
  CHECK_NEAR(real_atan(0.0), 0.0, 0.0);
  CHECK_CLOSE(real_atan(HUGE_VAL), 0.5 * REAL_PI, UNIT);
  CHECK_NEAR(real_sin(0.0), 0.0, 0.0);
  CHECK_CLOSE(real_sin(0.5 * REAL_PI), 1.0, UNIT);
  CHECK_NEAR(real_sin(REAL_PI), 0.0, 1.3e-16);
  assert_true(isnan(real_exp(NAN)));
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
