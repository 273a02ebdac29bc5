/* The event log of a run in which something comes again and again: what is kept, and that the rest is told. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "check.h"
#include "event_log.h"
#include "toy.h"

enum { KEPT = 200 };

static void oscillator(double t, double lever, const double *y, double *rates) {
  const double frequency = 2.0 * 3.14159265358979 * 40.0;
  (void)t;
  (void)lever;
  rates[0] = frequency * y[1];
  rates[1] = -frequency * y[0];
}

static double first(const double *y) {
  return y[0];
}

/* 40 Hz for 10.01 s, from its top: it falls below zero at (k + 1/4)/40 s and rises at (k + 3/4)/40 s, 801 crossings in
 * all; at the end it is below. */
static void what_comes_again_is_told_to_the_end(void **state) {
  (void)state;
  const double end = 10.01;
  struct toy swinging = {.start = {1.0}, .rates = oscillator, .event = first, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &swinging, end);
  struct outcome outcome = {0};
  struct error error = {0};
  if (!run_case(&data, NULL, NULL, &outcome, &error)) {
    fail_msg("%s", error.text);
  }
  int kept = 0;
  const struct run_event *last = NULL;
  const struct run_event *rest = NULL;
  for (int i = 0; i < outcome.event_count; i++) {
    const struct run_event *event = &outcome.events[i];
    assert_true(i == 0 || event->time >= outcome.events[i - 1].time);
    if (strcmp(event->name, "crossing") == 0 && strstr(event->message, "not kept") != NULL) {
      rest = event;
    } else if (strcmp(event->name, "crossing") == 0) {
      kept++;
      last = event;
    }
  }
  if (rest == NULL || last == NULL) {
    fail_msg("what was not kept is not told");
    return;
  }
  assert_int_equal(kept, KEPT + 1);
  CHECK_CLOSE(last->time, 400.25 / 40.0, 1e-4);
  assert_int_equal(strncmp(last->message, "down", 4), 0);
  assert_int_equal(outcome.events_left_out, 801 - kept);
  CHECK_CLOSE(rest->time, 100.25 / 40.0, 1e-4);
  assert_string_equal(rest->message, "600 more of these until 9.994 s, not kept one by one: down");
  outcome_free(&outcome);
}

/* Twenty valves that chatter leave room for what the operator does and what the machine comes to. */
static void what_happens_once_is_always_kept(void **state) {
  (void)state;
  enum { VALVES = 20, TIMES = 300 };
  static char names[VALVES][20];
  struct outcome outcome = {0};
  struct error error = {0};
  for (int k = 0; k < TIMES; k++) {
    for (int i = 0; i < VALVES; i++) {
      (void)snprintf(names[i], sizeof names[i], "valve_%d", i);
      assert_true(event_log_add(&outcome, &toy_plant, 0.01 * k, names[i], "cracks", -1, NAN, &error));
    }
  }
  static const char *const once[] = {"action", "braking", "stop", "hunting"};
  for (size_t i = 0; i < sizeof once / sizeof once[0]; i++) {
    assert_true(event_log_add(&outcome, &toy_plant, 2.995 + 0.001 * (double)i, once[i], "once", -1, NAN, &error));
  }
  assert_true(event_log_end(&outcome, &toy_plant, &error));
  assert_int_equal(outcome.event_count, VALVES * (KEPT + 2) + 4);
  assert_int_equal(outcome.events_left_out, VALVES * (TIMES - KEPT - 1));
  for (size_t i = 0; i < sizeof once / sizeof once[0]; i++) {
    assert_string_equal(outcome.events[outcome.event_count - 4 + (int)i].name, once[i]);
  }
  outcome_free(&outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_comes_again_is_told_to_the_end),
      cmocka_unit_test(what_happens_once_is_always_kept),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
