/* When braking starts and why, as docs/case-files.md states it: by the pedal, a brake, a fault, an action, in this
 * order; what comes while it lasts belongs to it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"

#define DRIVES "forward_pedal: [[0 s, 0 %], [0.5 s, 40 %]]"
#define FALLS "forward_pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.5 s, 0 %]]"
#define DIRECTION "layout: pedal_and_direction, pedal: [[0 s, 0 %], [0.5 s, 40 %]]"

#define ACCELERATOR "layout: accelerator_and_direction, accelerator: [[0 s, 0 %], [0.5 s, 80 %]]"

#define RELEASE "the pedal is let go"
#define BRAKE "a brake is applied"
#define FAULT "a fault comes"
#define ACTION "an action takes drive away"

struct row {
  const char *operator;
  const char *rest; /* further lines of the case */
  double from;      /* s; NaN: nothing brakes */
  const char *why;
};

static const struct row rows[] = {
    /* The pedal. */
    {DRIVES, "", NAN, ""},
    {FALLS, "", 2.0, RELEASE},
    {"forward_pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.2 s, 20 %], [2.5 s, 0 %]]", "", 2.0, RELEASE},
    {"forward_pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.2 s, 20 %], [2.6 s, 20 %], [2.8 s, 0 %]]", "", 2.6,
     RELEASE},
    {"forward_pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.5 s, 10 %], [3 s, 40 %]]", "", NAN, ""},
    {"forward_pedal: [[0 s, 0 %], [0.5 s, 40 %], [1 s, 40 %], [1.2 s, 0 %], [2 s, 0 %], [2.2 s, 40 %], [3 s, 40 %], "
     "[3.2 s, 0 %]]",
     "", 3.0, RELEASE}, /* the last one counts */
    {"reverse_pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.5 s, 0 %]]", "", 2.0, RELEASE},
    {"layout: pedal_and_direction, pedal: [[0 s, 0 %], [0.5 s, 40 %], [2 s, 40 %], [2.5 s, 0 %]]", "", 2.0, RELEASE},
    /* A brake, from zero. */
    {DRIVES ", brake: [[0 s, 0 %], [1.5 s, 0 %], [2 s, 30 %]]", "", 1.5, BRAKE},
    {DRIVES ", park_brake: [[0 s, 0 %], [1.7 s, 0 %], [2 s, 30 %]]", "", 1.7, BRAKE},
    {DRIVES ", brake: [[0 s, 0 %], [1.5 s, 0 %], [2 s, 30 %], [2.2 s, 30 %], [2.4 s, 60 %]]", "", 1.5, BRAKE},
    {DRIVES ", brake: [[0 s, 0 %], [1 s, 0 %], [1.2 s, 30 %], [1.4 s, 0 %], [3 s, 0 %], [3.2 s, 30 %]]", "", 3.0,
     BRAKE},
    {FALLS ", brake: [[0 s, 0 %], [1.5 s, 0 %], [1.7 s, 30 %]]", "", 1.5, BRAKE},   /* the release belongs to it */
    {FALLS ", brake: [[0 s, 0 %], [2.2 s, 0 %], [2.4 s, 30 %]]", "", 2.0, RELEASE}, /* the brake belongs to it */
    {FALLS ", brake: [[0 s, 0 %], [1 s, 0 %], [1.2 s, 30 %], [1.4 s, 0 %]]", "", 2.0, RELEASE},
    /* Rolling at the start. */
    {"brake: 0 %", "vehicle: {start_speed: 5 km/h}\n", 0.0, RELEASE},
    {"forward_pedal: 40 %, brake: 20 %", "vehicle: {start_speed: 5 km/h}\n", 0.0, BRAKE},
    {"forward_pedal: 40 %, brake: 0 %", "vehicle: {start_speed: 5 km/h}\n", NAN, ""},
    {"brake: 0 %", "", NAN, ""},   /* it stands */
    {"brake: 100 %", "", NAN, ""}, /* parked */
    {"forward_pedal: [[0 s, 40 %], [1 s, 0 %]]", "", 0.0, RELEASE},
    /* Faults: only without pedal and brake. */
    {DRIVES, "actions:\n  - {when: time > 2 s, move: charge_lost, to: 100 %}\n", 2.0, FAULT},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: charge_lost, to: 0 %}\n", NAN, ""},
    {FALLS, "actions:\n  - {when: time > 3 s, move: charge_lost, to: 100 %}\n", 2.0, RELEASE},
    {FALLS, "actions:\n  - {when: time > 1 s, move: charge_lost, to: 100 %}\n", 2.0, RELEASE},
    /* Actions: less pedal, the other direction, the exhaust brake; only without any other. */
    {DRIVES, "actions:\n  - {when: time > 2 s, move: exhaust_brake, to: 100 %}\n", 2.0, ACTION},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: exhaust_brake, to: 0 %}\n", NAN, ""},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: forward_pedal, to: 20 %, over: 0.3 s}\n", 2.0, ACTION},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: forward_pedal, to: 60 %, over: 0.3 s}\n", NAN, ""},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: reverse_pedal, to: 60 %, over: 0.3 s}\n", 2.0,
     RELEASE}, /* interlock */
    {DRIVES, "actions:\n  - {when: time > 2 s, move: throttle, to: 60 %}\n", NAN, ""},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: forward_pedal, to: 0 %, over: 0.3 s}\n", 2.0, RELEASE},
    {ACCELERATOR, "actions:\n  - {when: time > 2 s, move: accelerator, to: 0 %, over: 0.2 s}\n", 2.0, RELEASE},
    {ACCELERATOR, "actions:\n  - {when: time > 2 s, move: accelerator, to: 40 %, over: 0.2 s}\n", 2.0, ACTION},
    {ACCELERATOR, "actions:\n  - {when: time > 2 s, move: direction, to: 0 %}\n", 2.0, RELEASE},
    {ACCELERATOR, "actions:\n  - {when: time > 2 s, move: direction, to: -100 %}\n", 2.0, ACTION},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: inching, to: 100 %}\n", NAN, ""}, /* there is none */
    {DRIVES, "controls: {inching: cut}\nactions:\n  - {when: time > 2 s, move: inching, to: 50 %}\n", 2.0, ACTION},
    {DRIVES, "controls: {inching: cut}\nactions:\n  - {when: time > 2 s, move: inching, to: 100 %}\n", 2.0, RELEASE},
    {DRIVES ", inching: [[0 s, 0 %], [1.5 s, 0 %], [1.7 s, 70 %], [2.2 s, 70 %], [2.4 s, 100 %]]",
     "controls: {inching: cut_and_brake, inching_full: 90 %}\n", 2.2,
     RELEASE}, /* to 70 % it neither cuts all nor brakes */
    {DIRECTION, "actions:\n  - {when: time > 2 s, move: direction, to: -100 %, over: 0.2 s}\n", 2.0, ACTION},
    {DIRECTION, "actions:\n  - {when: time > 2 s, move: pedal, to: 10 %, over: 0.2 s}\n", 2.0, ACTION},
    {DIRECTION, "actions:\n  - {when: time > 2 s, move: pedal, to: 0 %, over: 0.2 s}\n", 2.0, RELEASE},
    {DRIVES, "actions:\n  - {when: time > 2 s, move: brake, to: 40 %, over: 0.2 s}\n", 2.0, BRAKE},
    {DRIVES,
     "actions:\n  - {when: time > 2 s, move: exhaust_brake, to: 100 %}\n  - {when: time > 3 s, move: charge_lost, to: "
     "100 %}\n",
     3.0, FAULT},
    {DRIVES,
     "actions:\n  - {when: time > 2 s, move: charge_lost, to: 100 %}\n  - {when: time > 3 s, move: exhaust_brake, to: "
     "100 %}\n",
     2.0, FAULT},
};

static void braking_starts_as_it_is_told(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char text[2048];
    struct outcome outcome;
    (void)snprintf(text, sizeof text, "operator: {%s}\nsimulation: {end_time: 4 s, output_step: 0.1 s}\n%s",
                   rows[i].operator, rows[i].rest);
    assert_true(bench_whole_run(text, &outcome));
    double from = outcome.measures[MEASURE_stop_from];
    bool right = isnan(rows[i].from) ? isnan(from) : fabs(from - rows[i].from) <= 1e-9;
    if (!right || strcmp(outcome.braking_words, rows[i].why) != 0) {
      fail_msg("row %zu: from %g s, '%s'; expected %g s, '%s'\n%s", i, from, outcome.braking_words, rows[i].from,
               rows[i].why, text);
    }
    outcome_free(&outcome);
  }
}

/* `simulation.stop_from` stands over whatever the machine does. */
static void the_case_may_say_from_when(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(
      "operator: {" FALLS "}\nsimulation: {end_time: 4 s, output_step: 0.1 s, stop_from: 1.25 s}\n", &outcome));
  CHECK_NEAR(outcome.measures[MEASURE_stop_from], 1.25, 1e-12);
  assert_non_null(strstr(outcome.braking_words, "simulation.stop_from"));
  outcome_free(&outcome);
}

/* A limit with a time to hold from counts it from the start of braking, also one that nobody knew of at the start: the
 * machine still moves when it has to hold. */
static void a_limit_waits_from_the_start_of_braking(void **state) {
  (void)state;
  static const char *const starts[] = {"operator: {" FALLS "}\n",
                                       "operator: {" DRIVES "}\nactions:\n  - {when: time > 2 s, move: forward_pedal, "
                                       "to: 0 %, over: 0.5 s}\n",
                                       "operator: {" DRIVES ", brake: [[0 s, 0 %], [2 s, 0 %], [2.5 s, 100 %]]}\n"};
  for (int i = 0; i < 3; i++) {
    char text[1024];
    struct outcome outcome;
    (void)snprintf(
        text, sizeof text,
        "%ssimulation: {end_time: 9 s, output_step: 0.1 s}\nlimits:\n  - vehicle_speed <= 0.2 km/h within 0.3 "
        "s\n  - vehicle_speed <= 50 km/h within 0.3 s\n",
        starts[i]);
    assert_true(bench_whole_run(text, &outcome));
    CHECK_NEAR(outcome.measures[MEASURE_stop_from], 2.0, 1e-9);
    const struct limit_finding *found = outcome.limits;
    if (found == NULL) {
      fail_msg("no limit was judged");
      return;
    }
    assert_int_equal(found[0].verdict, LIMIT_BROKEN);
    CHECK_NEAR(found[0].first, 2.3, 1e-6);
    assert_int_equal(found[1].verdict, LIMIT_KEPT);
    outcome_free(&outcome);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(braking_starts_as_it_is_told),
      cmocka_unit_test(the_case_may_say_from_when),
      cmocka_unit_test(a_limit_waits_from_the_start_of_braking),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
