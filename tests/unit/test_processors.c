/* How many processors a process may use: the quota's text, and the affinity of this very process. */
#define _GNU_SOURCE /* sched_setaffinity */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <sched.h>

#include "processors.h"

static void a_quota_is_rounded_up(void **state) {
  (void)state;
  assert_int_equal(processors_of_quota("200000 100000\n"), 2);
  assert_int_equal(processors_of_quota("150000 100000\n"), 2);
  assert_int_equal(processors_of_quota("50000 100000"), 1);
  assert_int_equal(processors_of_quota("400000 50000"), 8);
}

static void no_quota_is_none(void **state) {
  (void)state;
  static const char *const texts[] = {"max 100000\n", "", "-1 100000", "100000", "100000 0", "nan 1", "x y", "inf 1"};
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
    assert_int_equal(processors_of_quota(texts[i]), 0);
  }
}

/* Bound to one processor it may use one, whatever the machine has. */
static void a_bound_process_counts_what_it_is_bound_to(void **state) {
  (void)state;
  cpu_set_t before;
  cpu_set_t one;
  if (sched_getaffinity(0, sizeof before, &before) != 0) {
    skip();
  }
  assert_in_range(processors_allowed(), 1, CPU_COUNT(&before));
  CPU_ZERO(&one);
  for (size_t i = 0; CPU_COUNT(&one) == 0 && i < CPU_SETSIZE; i++) {
    if (CPU_ISSET(i, &before)) {
      CPU_SET(i, &one);
    }
  }
  assert_int_equal(sched_setaffinity(0, sizeof one, &one), 0);
  assert_int_equal(processors_allowed(), 1);
  assert_int_equal(sched_setaffinity(0, sizeof before, &before), 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_quota_is_rounded_up),
      cmocka_unit_test(no_quota_is_none),
      cmocka_unit_test(a_bound_process_counts_what_it_is_bound_to),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
