/* Checks of doubles: cmocka's own cast to float. Include after <cmocka.h>. NaN never passes. */
#ifndef SWASHLOOP_TESTS_CHECK_H
#define SWASHLOOP_TESTS_CHECK_H

#include <math.h>
#include <stdio.h>

#define CHECK_WITHIN_(actual, expected, allowed, text)                                                                 \
  do {                                                                                                                 \
    double check_actual = (actual);                                                                                    \
    double check_expected = (expected);                                                                                \
    double check_allowed = (allowed);                                                                                  \
    if (!(fabs(check_actual - check_expected) <= check_allowed)) {                                                     \
      print_error("%s: got %.17g, expected %.17g, off by %.3g, allowed %.3g\n", text, check_actual, check_expected,    \
                  check_actual - check_expected, check_allowed);                                                       \
      _fail(__FILE__, __LINE__);                                                                                       \
    }                                                                                                                  \
  } while (0)

/* |actual - expected| <= relative * |expected| */
#define CHECK_CLOSE(actual, expected, relative)                                                                        \
  CHECK_WITHIN_(actual, expected, (relative)*fabs((double)(expected)), #actual)

/* |actual - expected| <= absolute */
#define CHECK_NEAR(actual, expected, absolute) CHECK_WITHIN_(actual, expected, absolute, #actual)

#endif
