/* What is refused anywhere in the process is seen, and nothing gets its name after it. */
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

#include "draft.h"
#include "memory_watch.h"

/* More than any machine has, though not more than a request may say; hidden from the compiler. */
static volatile size_t too_much = (size_t)1 << 62;

/* In a process of its own, so that each case begins unharmed: its exit code. */
static int apart(int (*work)(void)) {
  pid_t child = fork();
  int status = 0;
  if (child == 0) {
    _exit(work());
  }
  assert_true(child > 0 && waitpid(child, &status, 0) == child);
  assert_true(WIFEXITED(status));
  return WEXITSTATUS(status);
}

static bool refused(void *memory) {
  bool none = memory == NULL;
  free(memory);
  return none;
}

static int ask_each(void) {
  struct error error = {0};
  unsigned long seen = memory_refusals();
  if (seen != 0 || !memory_suffices(&error)) {
    return 1;
  }
  if (!refused(malloc(too_much)) || memory_refusals() != 1) {
    return 2;
  }
  if (!refused(calloc(too_much, 2)) || memory_refusals() != 2 || !refused(calloc(too_much, 8)) ||
      memory_refusals() != 3) {
    return 3;
  }
  if (!refused(realloc(NULL, too_much)) || memory_refusals() != 4) {
    return 4;
  }
  void *place = NULL;
  if (!refused(aligned_alloc(64, too_much)) || posix_memalign(&place, 64, too_much) == 0 || memory_refusals() != 6) {
    return 5;
  }
  return !memory_suffices(&error) && error.code == ERROR_MEMORY && strstr(error.text, "4611686018427387904") ? 0 : 6;
}

static void *ask_aside(void *argument) {
  return refused(malloc(too_much)) && memory_refusals_here() == 1 ? argument : NULL;
}

static int ask_in_a_thread(void) {
  pthread_t thread;
  int mark = 0;
  void *asked = NULL;
  if (pthread_create(&thread, NULL, ask_aside, &mark) != 0 || pthread_join(thread, &asked) != 0) {
    return 1;
  }
  return asked == &mark && memory_refusals() == 1 && memory_refusals_here() == 0 ? 0 : 2;
}

static int ask_once(void) {
  return refused(malloc(too_much)) ? 0 : 1;
}

static int ask_in_a_child(void) {
  if (!memory_watch_share() || apart(ask_once) != 0) {
    return 1;
  }
  return memory_refusals() == 1 && memory_refusals_here() == 0 ? 0 : 2;
}

static int ask_beyond_the_bound(void) {
  memory_watch_bound(1 << 30);
  return refused(malloc(too_much)) && memory_refusals() == 0 ? 0 : 1;
}

static bool is_there(const char *path) {
  struct stat status;
  return lstat(path, &status) == 0;
}

/* A draft is made, memory is refused, the draft does not get its name and leaves no part. */
static int name_without_memory(void) {
  struct draft draft;
  struct error error = {0};
  if (!draft_open(&draft, "memory_watch.out", &error) || !is_there("memory_watch.out.part")) {
    return 1;
  }
  if (!refused(malloc(too_much)) || draft_close(&draft, DRAFT_NAME, &error) || error.code != ERROR_MEMORY) {
    return 2;
  }
  return is_there("memory_watch.out") || is_there("memory_watch.out.part") ? 3 : 0;
}

static int die_with_a_draft(void) {
  struct draft draft;
  return draft_open(&draft, "memory_watch.out", NULL) ? 0 : 1;
}

/* What a process leaves that dies is cleared away by the one that outlives it, which asks for no memory to do so. */
static int clear_after_a_death(void) {
  if (!draft_share() || apart(die_with_a_draft) != 0 || !is_there("memory_watch.out.part")) {
    return 1;
  }
  draft_clear_shared();
  return is_there("memory_watch.out.part") ? 2 : 0;
}

static int close_then_clear(void) {
  struct draft draft;
  FILE *other = NULL;
  if (!draft_share() || !draft_open(&draft, "memory_watch.out", NULL) || !draft_close(&draft, DRAFT_NAME, NULL)) {
    return 1;
  }
  /* A part that somebody else makes later is none of ours. */
  other = fopen("memory_watch.out.part", "w");
  if (other == NULL || fclose(other) != 0) {
    return 2;
  }
  draft_clear_shared();
  return is_there("memory_watch.out.part") && unlink("memory_watch.out.part") == 0 && unlink("memory_watch.out") == 0
             ? 0
             : 3;
}

static void skip_unwatched(void) {
  if (!MEMORY_IS_PLAIN) {
    skip();
  }
}

static void each_request_is_seen(void **state) {
  (void)state;
  skip_unwatched();
  assert_int_equal(apart(ask_each), 0);
}

static void threads_and_children_count(void **state) {
  (void)state;
  skip_unwatched();
  assert_int_equal(apart(ask_in_a_thread), 0);
  assert_int_equal(apart(ask_in_a_child), 0);
}

static void what_no_honest_input_asks_for_does_not_count(void **state) {
  (void)state;
  skip_unwatched();
  assert_int_equal(apart(ask_beyond_the_bound), 0);
}

static void no_name_without_memory(void **state) {
  (void)state;
  skip_unwatched();
  assert_int_equal(apart(name_without_memory), 0);
}

static void parts_of_the_dead_are_cleared_away(void **state) {
  (void)state;
  assert_int_equal(apart(clear_after_a_death), 0);
  assert_int_equal(apart(close_then_clear), 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_request_is_seen),
      cmocka_unit_test(threads_and_children_count),
      cmocka_unit_test(what_no_honest_input_asks_for_does_not_count),
      cmocka_unit_test(no_name_without_memory),
      cmocka_unit_test(parts_of_the_dead_are_cleared_away),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
