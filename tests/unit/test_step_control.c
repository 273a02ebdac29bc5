/* Lengths of steps against the rules that they follow, by hand: the error goes by the fourth power of the step; no step
 * is more than six times the last nor less than a fifth of it; none grows right after one that failed. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "step_control.h"

enum { MILLI = 1000 };

/* The control as it stands before an attempt of this width far from any stop, nothing known of steps before. */
static struct step_control attempt_of(double width) {
  struct step_control control;
  step_control_begin(&control, 1e3);
  control.wanted = width;
  step_control_aim(&control, 0.0, 1e6);
  CHECK_NEAR(control.width, width, 0.0);
  return control;
}

/* The first step is ten microseconds, or what the caller allows, or what is left. */
static void the_first_step_is_short(void **state) {
  (void)state;
  struct step_control control;
  step_control_begin(&control, 0.04);
  step_control_aim(&control, 2.0, 3.0);
  CHECK_NEAR(control.width, 1e-5, 1e-20);
  assert_false(control.reaches);
  step_control_begin(&control, 1e-7);
  step_control_aim(&control, 2.0, 3.0);
  CHECK_NEAR(control.width, 1e-7, 1e-22);
  step_control_begin(&control, 0.04);
  step_control_aim(&control, 2.0, 2.0 + 4e-6);
  CHECK_CLOSE(control.width, 4e-6, 1e-9);
  assert_true(control.reaches);
}

static void no_step_is_longer_than_allowed(void **state) {
  (void)state;
  struct step_control control;
  step_control_begin(&control, 0.04);
  control.wanted = 0.5;
  step_control_aim(&control, 0.0, 10.0);
  CHECK_NEAR(control.width, 0.04, 0.0);
  assert_true(step_control_judge(&control, 1e-4));
  step_control_aim(&control, 0.04, 10.0);
  CHECK_NEAR(control.width, 0.04, 0.0);
}

/* Less than two widths before a stop the rest is halved; a rest a ten thousandth longer than a width is one step. */
static void the_last_two_steps_are_alike(void **state) {
  (void)state;
  struct step_control control = attempt_of(1.0);
  step_control_aim(&control, 5.0, 6.6);
  CHECK_CLOSE(control.width, 0.8, 1e-12);
  assert_false(control.reaches);
  step_control_aim(&control, 5.0, 7.01);
  CHECK_NEAR(control.width, 1.0, 0.0);
  assert_false(control.reaches);
  step_control_aim(&control, 5.0, 6.00005);
  CHECK_CLOSE(control.width, 1.00005, 1e-12);
  assert_true(control.reaches);
  step_control_aim(&control, 5.0, 6.0002);
  CHECK_CLOSE(control.width, 0.5001, 1e-12);
  assert_false(control.reaches);
}

/* An error of one is good, and asks for nine tenths of the step; sixteen times the error is half the step. */
static void the_error_goes_by_the_fourth_power(void **state) {
  (void)state;
  struct step_control control = attempt_of(1.0);
  assert_true(step_control_judge(&control, 1.0));
  CHECK_CLOSE(control.wanted, 0.9, 1e-12);
  control = attempt_of(1.0);
  assert_false(step_control_judge(&control, 16.0));
  CHECK_CLOSE(control.wanted, 0.45, 1e-12);
  control = attempt_of(1.0);
  assert_true(step_control_judge(&control, 1.0 / 16.0));
  CHECK_CLOSE(control.wanted, 1.8, 1e-12);
}

static void growth_and_shrinking_have_bounds(void **state) {
  (void)state;
  static const double nearly_none[] = {1e-3, 1e-8, 0.0};
  for (int i = 1; i < 3; i++) {
    struct step_control control = attempt_of(1.0);
    assert_true(step_control_judge(&control, nearly_none[i]));
    CHECK_CLOSE(control.wanted, 6.0, 1e-12);
  }
  struct step_control control = attempt_of(1.0);
  assert_true(step_control_judge(&control, nearly_none[0]));
  CHECK_CLOSE(control.wanted, 0.9 * pow(MILLI, 0.25), 1e-12);
  static const double far_too_much[] = {1e4, 1e8, HUGE_VAL, NAN};
  for (int i = 0; i < 4; i++) {
    control = attempt_of(1.0);
    assert_false(step_control_judge(&control, far_too_much[i]));
    CHECK_CLOSE(control.wanted, 0.2, 1e-12);
  }
}

/* After a failure the next step may be good by any margin: it is not followed by a longer one. */
static void no_growth_right_after_a_failure(void **state) {
  (void)state;
  struct step_control control = attempt_of(1.0);
  assert_false(step_control_judge(&control, 16.0));
  step_control_aim(&control, 0.0, 1e6);
  CHECK_CLOSE(control.width, 0.45, 1e-12);
  assert_true(step_control_judge(&control, 1e-8));
  CHECK_CLOSE(control.wanted, 0.45, 1e-12);
  step_control_aim(&control, 0.45, 1e6);
  assert_true(step_control_judge(&control, 1e-8)); /* the next may grow again */
  assert_true(control.wanted > 2.0 * 0.45);
  /* a failure does not last beyond a restart */
  control = attempt_of(1.0);
  assert_false(step_control_judge(&control, 16.0));
  step_control_jump(&control);
  step_control_aim(&control, 0.0, 1e6);
  assert_true(step_control_judge(&control, 1e-8));
  CHECK_CLOSE(control.wanted, 6.0 * 0.45, 1e-12);
}

/* Steps of 1 and 2 with errors of 0.0625 and 0.5: the classical rule gives 0.9 x 2 / 0.5^(1/4) = 2.14; the predictive
 * one sees the error grow eightfold over a doubled step, 0.9 x 2 x (2/1) x (0.0625/0.25)^(1/4) = 2.55: the shorter is
 * taken. With 0.5 after 0.001 it is the predictive one, whose last error counts as a hundredth: 0.9 x 2 x 2 x
 * (0.01/0.25)^(1/4) = 1.61. */
static void the_shorter_of_two_rules(void **state) {
  (void)state;
  struct step_control control = attempt_of(1.0);
  assert_true(step_control_judge(&control, 0.0625));
  control.wanted = 2.0;
  step_control_aim(&control, 1.0, 1e6);
  assert_true(step_control_judge(&control, 0.5));
  CHECK_CLOSE(control.wanted, 0.9 * 2.0 / pow(0.5, 0.25), 1e-12);
  control = attempt_of(1.0);
  assert_true(step_control_judge(&control, 0.001));
  control.wanted = 2.0;
  step_control_aim(&control, 1.0, 1e6);
  assert_true(step_control_judge(&control, 0.5));
  CHECK_CLOSE(control.wanted, 0.9 * 2.0 * 2.0 * pow(0.01 / 0.25, 0.25), 1e-12);
  /* what was before a jump predicts nothing */
  control = attempt_of(1.0);
  assert_true(step_control_judge(&control, 0.001));
  step_control_jump(&control);
  control.wanted = 2.0;
  step_control_aim(&control, 1.0, 1e6);
  assert_true(step_control_judge(&control, 0.5));
  CHECK_CLOSE(control.wanted, 0.9 * 2.0 / pow(0.5, 0.25), 1e-12);
}

/* A step that a stop cut short never takes the wish down to its stump; it may raise it. */
static void a_stump_does_not_shrink_the_next(void **state) {
  (void)state;
  struct step_control control = attempt_of(1.0);
  step_control_aim(&control, 0.0, 0.1);
  assert_true(control.reaches);
  assert_true(step_control_judge(&control, 0.9));
  CHECK_NEAR(control.wanted, 1.0, 0.0);
  control = attempt_of(1.0);
  step_control_aim(&control, 0.0, 0.5);
  assert_true(step_control_judge(&control, 1e-8));
  CHECK_CLOSE(control.wanted, 3.0, 1e-12);
  control = attempt_of(1.0); /* but one that fails does */
  step_control_aim(&control, 0.0, 0.1);
  assert_false(step_control_judge(&control, 16.0));
  CHECK_CLOSE(control.wanted, 0.045, 1e-12);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_first_step_is_short),          cmocka_unit_test(no_step_is_longer_than_allowed),
      cmocka_unit_test(the_last_two_steps_are_alike),     cmocka_unit_test(the_error_goes_by_the_fourth_power),
      cmocka_unit_test(growth_and_shrinking_have_bounds), cmocka_unit_test(no_growth_right_after_a_failure),
      cmocka_unit_test(the_shorter_of_two_rules),         cmocka_unit_test(a_stump_does_not_shrink_the_next),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
