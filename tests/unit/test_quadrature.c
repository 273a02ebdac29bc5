/* Integrals along steps against functions whose integrals are known: what each rule is exact for, what the halving
 * finds, how often the powers are asked for. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "quadrature.h"

enum { ROWS = 3 };

/* Powers of three kinds, and a count of how often they are asked for. */
struct ask {
  void (*powers)(double t, double *powers);
  long calls;
};

static void asked(void *context, double t, double *powers) {
  struct ask *ask = context;
  ask->calls++;
  ask->powers(t, powers);
}

static void polynomials(double t, double *powers) {
  powers[0] = t * t * t * t - 3.0 * t * t + 1.0;
  powers[1] = 5.0;
  powers[2] = -2.0 * t * t * t * t + t * t * t;
}

static void polynomial_integrals(double t, double *integrals) {
  integrals[0] = pow(t, 5) / 5.0 - pow(t, 3) + t;
  integrals[1] = 5.0 * t;
  integrals[2] = -2.0 * pow(t, 5) / 5.0 + pow(t, 4) / 4.0;
}

static void check_integrals(struct quadrature *quadrature, struct ask *ask, double t, const double *start,
                            double allowed) {
  double found[ROWS];
  double exact[ROWS];
  quadrature_at(quadrature, t, asked, ask, found);
  polynomial_integrals(t, exact);
  for (int i = 0; i < ROWS; i++) {
    CHECK_NEAR(found[i], start[i] + exact[i], allowed);
  }
}

/* Both rules are exact for polynomials of the fourth degree: the first step by Boole's, those that follow by Simpson's
 * less its error, whatever the lengths; the second and later ones ask for the powers twice. */
static void polynomials_of_degree_four_are_exact(void **state) {
  (void)state;
  static const double ends[] = {0.7, 1.1, 2.4, 2.5, 4.0};
  const double start[ROWS] = {10.0, -20.0, 0.5};
  struct ask ask = {polynomials, 0};
  struct quadrature *quadrature = quadrature_new(ROWS);
  assert_non_null(quadrature);
  quadrature_settle(quadrature, 0.0, 1e9); /* loose: nothing is halved */
  quadrature_start(quadrature, 0.0, start);
  check_integrals(quadrature, &ask, 0.0, start, 0.0);
  for (int i = 0; i < 5; i++) {
    quadrature_step(quadrature, ends[i]);
    ask.calls = 0;
    quadrature_finish(quadrature, asked, &ask);
    assert_int_equal(ask.calls, i == 0 ? 5 : 2);
    quadrature_finish(quadrature, asked, &ask); /* is finished already */
    assert_int_equal(ask.calls, i == 0 ? 5 : 2);
    check_integrals(quadrature, &ask, ends[i], start, 1e-11);
  }
  quadrature_free(quadrature);
}

/* Inside a step too, before it is finished and after, and from its very beginning. */
static void a_part_of_a_step_is_exact(void **state) {
  (void)state;
  const double start[ROWS] = {1.0, 2.0, 3.0};
  struct ask ask = {polynomials, 0};
  struct quadrature *quadrature = quadrature_new(ROWS);
  assert_non_null(quadrature);
  quadrature_settle(quadrature, 0.0, 1e9);
  quadrature_start(quadrature, 0.0, start);
  quadrature_step(quadrature, 1.0);
  check_integrals(quadrature, &ask, 0.0, start, 0.0);
  check_integrals(quadrature, &ask, 0.3, start, 1e-13);
  check_integrals(quadrature, &ask, 0.6, start, 1e-13);
  ask.calls = 0;
  check_integrals(quadrature, &ask, 0.6, start, 1e-13); /* kept: the powers may have changed since */
  assert_int_equal(ask.calls, 0);
  check_integrals(quadrature, &ask, 1.0, start, 1e-13);
  quadrature_step(quadrature, 1.5);
  check_integrals(quadrature, &ask, 1.2, start, 1e-13);
  check_integrals(quadrature, &ask, 1.5, start, 1e-12);
  quadrature_step(quadrature, 1.7); /* the powers kept from the part asked for are none of the step's */
  check_integrals(quadrature, &ask, 1.7, start, 1e-12);
  quadrature_free(quadrature);
}

/* Of the fifth degree, from the middle of the step before on: off by what the next difference leaves. Of two lengths of
 * step, alike, the error of one step goes by the sixth power; with the error's sign turned it would go by the fifth. */
static void fifth(double t, double *powers) {
  powers[0] = exp(t);
  powers[1] = powers[2] = 0.0;
}

static void the_error_goes_by_the_sixth_power(void **state) {
  (void)state;
  const double none[ROWS] = {0.0};
  double errors[2];
  for (int k = 0; k < 2; k++) {
    double h = k == 0 ? 0.2 : 0.1;
    double before[ROWS];
    double after[ROWS];
    struct ask ask = {fifth, 0};
    struct quadrature *quadrature = quadrature_new(ROWS);
    assert_non_null(quadrature);
    quadrature_settle(quadrature, 0.0, 1e9);
    quadrature_start(quadrature, 0.0, none);
    quadrature_step(quadrature, h);
    quadrature_at(quadrature, h, asked, &ask, before);
    quadrature_step(quadrature, 2.0 * h);
    quadrature_at(quadrature, 2.0 * h, asked, &ask, after);
    errors[k] = fabs(after[0] - before[0] - (exp(2.0 * h) - exp(h)));
    quadrature_free(quadrature);
  }
  double order = log2(errors[0] / errors[1]);
  print_message("errors of one step %.3g and %.3g, order %.2f\n", errors[0], errors[1], order);
  assert_true(order > 5.7 && order < 6.5);
}

/* A corner within a step, at no point that a rule looks at by itself: halved until the tolerance is kept, in the first
 * step and in a later one; loosely it is missed by far more. */
static void corner(double t, double *powers) {
  powers[0] = fabs(t - 0.1234);
  powers[1] = fabs(t - 1.8765);
  powers[2] = 1.0;
}

static double corner_integral(double at, double t) {
  return 0.5 * at * at + (t > at ? 0.5 * (t - at) * (t - at) : 0.5 * (t - at) * (at - t));
}

static void corners_are_halved(void **state) {
  (void)state;
  const double none[ROWS] = {0.0};
  double worst[2] = {0.0, 0.0};
  for (int tight = 0; tight < 2; tight++) {
    struct ask ask = {corner, 0};
    struct quadrature *quadrature = quadrature_new(ROWS);
    assert_non_null(quadrature);
    quadrature_settle(quadrature, 0.0, tight ? 1e-7 : 1e3);
    quadrature_start(quadrature, 0.0, none);
    for (int step = 1; step <= 2; step++) {
      double found[ROWS];
      quadrature_step(quadrature, step);
      quadrature_at(quadrature, step, asked, &ask, found);
      CHECK_NEAR(found[2], step, 1e-13);
      worst[tight] = fmax(worst[tight], fabs(found[0] - corner_integral(0.1234, step)));
      worst[tight] = fmax(worst[tight], fabs(found[1] - corner_integral(1.8765, step)));
    }
    quadrature_free(quadrature);
    print_message("off by %.3g after %ld calls\n", worst[tight], ask.calls);
    assert_true(tight ? ask.calls > 20 && ask.calls < 120 : ask.calls == 7);
  }
  assert_true(worst[0] > 1e-4);
  assert_true(worst[1] < 5e-7);
}

/* The tolerance is absolute plus a share of the integral so far. */
static void the_tolerance_grows_with_the_integral(void **state) {
  (void)state;
  long calls[2];
  for (int large = 0; large < 2; large++) {
    const double start[ROWS] = {large ? -1e6 : 0.0, large ? 1e6 : 0.0, 0.0};
    double found[ROWS];
    struct ask ask = {corner, 0};
    struct quadrature *quadrature = quadrature_new(ROWS);
    assert_non_null(quadrature);
    quadrature_settle(quadrature, 1e-6, 1e-7);
    quadrature_start(quadrature, 0.0, start);
    quadrature_step(quadrature, 1.0);
    quadrature_at(quadrature, 1.0, asked, &ask, found);
    calls[large] = ask.calls;
    quadrature_free(quadrature);
  }
  assert_int_equal(calls[1], 5);
  assert_true(calls[0] > 10);
}

/* After a restart nothing is known of the step before: a jump of the powers there is in neither integral. */
static void jumping(double t, double *powers) {
  powers[0] = t < 1.0 ? 1.0 : 100.0;
  powers[1] = powers[2] = 0.0;
}

static void later(double t, double *powers) {
  (void)t;
  powers[0] = 100.0;
  powers[1] = powers[2] = 0.0;
}

static void a_restart_forgets_the_step_before(void **state) {
  (void)state;
  const double none[ROWS] = {0.0};
  double found[ROWS];
  struct ask ask = {jumping, 0};
  struct quadrature *quadrature = quadrature_new(ROWS);
  assert_non_null(quadrature);
  quadrature_settle(quadrature, 0.0, 1e9);
  quadrature_start(quadrature, 0.0, none);
  quadrature_step(quadrature, 0.5);
  quadrature_finish(quadrature, asked, &ask);
  quadrature_step(quadrature, 0.9999);
  quadrature_at(quadrature, 0.9999, asked, &ask, found);
  CHECK_NEAR(found[0], 0.9999, 1e-13);
  ask.powers = later;
  quadrature_start(quadrature, 0.9999, found);
  quadrature_step(quadrature, 1.9999);
  quadrature_at(quadrature, 1.9999, asked, &ask, found);
  CHECK_NEAR(found[0], 100.9999, 1e-11);
  quadrature_free(quadrature);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(polynomials_of_degree_four_are_exact),  cmocka_unit_test(a_part_of_a_step_is_exact),
      cmocka_unit_test(the_error_goes_by_the_sixth_power),     cmocka_unit_test(corners_are_halved),
      cmocka_unit_test(the_tolerance_grows_with_the_integral), cmocka_unit_test(a_restart_forgets_the_step_before),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
