/* How many processors a process may use: the quota's text, and the affinity of this very process. */
#define _GNU_SOURCE /* sched_setaffinity */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <sched.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

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

static void the_group_of_a_process_is_found(void **state) {
  (void)state;
  static const struct {
    const char *text;
    const char *unified;
    const char *older;
  } rows[] = {
      {"0::/user.slice/job\n", "/user.slice/job", ""},
      {"0::/\n", "", ""},
      {"9:name=systemd:/cpu\n4:cpu,cpuacct:/slurm/job_7\n3:cpuset:/other\n0::/x\n", "/x", "/slurm/job_7"},
      {"4:cpuacct,cpu:/a:b\n", "", "/a:b"},
      {"3:cpuset:/other\n2:cpuacct:/third\n1:cpu:/own/\n", "", "/own"},
      {"", "", ""},
      {"nonsense", "", ""},
      {"4:cpu", "", ""},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char group[64];
    processors_group(rows[i].text, true, group, sizeof group);
    assert_string_equal(group, rows[i].unified);
    processors_group(rows[i].text, false, group, sizeof group);
    assert_string_equal(group, rows[i].older);
  }
}

static bool says(const char *path, const char *text) {
  FILE *file = fopen(path, "w");
  if (file == NULL) {
    return false;
  }
  bool good = fputs(text, file) >= 0;
  return fclose(file) == 0 && good;
}

/* A real group with half a processor's time, one inside it without a quota, and this process in that: where the
 * system lets us make them. */
static void a_group_of_the_system_with_a_quota(void **state) {
  (void)state;
  static const char *const roots[] = {"/sys/fs/cgroup/cpu", "/sys/fs/cgroup"};
  static const char *const files[] = {"cpu.cfs_quota_us", "cpu.max"};
  static const char *const quotas[] = {"50000", "50000 100000"};
  bool tried = false;
  for (size_t i = 0; i < sizeof roots / sizeof roots[0]; i++) {
    char outer[128];
    char inner[160];
    char path[256];
    char own[32];
    (void)snprintf(outer, sizeof outer, "%s/swashloop-test-%d", roots[i], (int)getpid());
    (void)snprintf(inner, sizeof inner, "%s/inner", outer);
    (void)snprintf(own, sizeof own, "%d", (int)getpid());
    if (mkdir(outer, 0700) != 0) {
      continue;
    }
    (void)snprintf(path, sizeof path, "%s/%s", outer, files[i]);
    bool limited = access(path, W_OK) == 0 && says(path, quotas[i]) && mkdir(inner, 0700) == 0;
    (void)snprintf(path, sizeof path, "%s/cgroup.procs", inner);
    if (limited && says(path, own)) {
      tried = true;
      int allowed = processors_allowed();
      (void)snprintf(path, sizeof path, "%s/cgroup.procs", roots[i]);
      assert_true(says(path, own));
      assert_int_equal(allowed, 1);
    }
    (void)rmdir(inner);
    (void)rmdir(outer);
  }
  if (!tried) {
    skip();
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_quota_is_rounded_up),
      cmocka_unit_test(no_quota_is_none),
      cmocka_unit_test(a_bound_process_counts_what_it_is_bound_to),
      cmocka_unit_test(the_group_of_a_process_is_found),
      cmocka_unit_test(a_group_of_the_system_with_a_quota),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
