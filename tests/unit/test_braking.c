/* When braking starts, and by what: each cause alone, and which counts where several come. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "case.h"
#include "measures.h"
#include "run.h"

/* The demo machine drives off at 1 s and would go on for ever. */
#define DRIVES "operator: {forward_pedal: [[0 s, 0 %], [1 s, 0 %], [2 s, 80 %]]}\n"
#define AT(time, channel, to) "  - {when: time > " time ", move: " channel ", to: " to ", over: 0.2 s}\n"

#define LET_GO "the pedal is let go"
#define BRAKED "a brake is applied"
#define FAULT "a fault comes"
#define ACTION "an action takes drive away"

struct start {
  const char *what;
  const char *text;
  double from; /* s; NaN: nothing brakes */
  const char *words;
};

static const struct start starts[] = {
    {"nothing", DRIVES, (double)NAN, ""},
    /* each cause alone */
    {"pedal by a table", "operator: {forward_pedal: [[0 s, 0 %], [1 s, 80 %], [3 s, 80 %], [3.5 s, 0 %]]}\n", 3.0,
     LET_GO},
    {"pedal by an action", DRIVES "actions:\n" AT("3 s", "forward_pedal", "0 %"), 3.0, LET_GO},
    {"brake by a table",
     "operator:\n  forward_pedal: [[0 s, 0 %], [1 s, 80 %]]\n  brake: [[0 s, 0 %], [3 s, 0 %], [4 s, 50 %]]\n", 3.0,
     BRAKED},
    {"brake by an action", DRIVES "actions:\n" AT("3 s", "brake", "50 %"), 3.0, BRAKED},
    {"park brake", DRIVES "actions:\n" AT("3 s", "park_brake", "100 %"), 3.0, BRAKED},
    {"fault", DRIVES "actions:\n" AT("3 s", "charge_lost", "50 %"), 3.0, FAULT},
    {"less pedal", DRIVES "actions:\n" AT("3 s", "forward_pedal", "30 %"), 3.0, ACTION},
    {"exhaust brake", DRIVES "actions:\n" AT("3 s", "exhaust_brake", "100 %"), 3.0, ACTION},
    {"rolls with the pedal at zero", "vehicle: {start_speed: 5 km/h}\n", 0.0, LET_GO},
    /* what takes no drive away starts nothing */
    {"more pedal", DRIVES "actions:\n" AT("3 s", "forward_pedal", "100 %"), (double)NAN, ""},
    {"the exhaust brake is let go",
     "operator:\n  forward_pedal: [[0 s, 0 %], [1 s, 80 %]]\n  exhaust_brake: [[0 s, 100 %]]\nactions:\n" AT(
         "3 s", "exhaust_brake", "0 %"),
     (double)NAN, ""},
    /* a pedal or brake counts before a fault, a fault before an action, whichever comes first */
    {"a fault and then a brake", DRIVES "actions:\n" AT("3 s", "charge_lost", "50 %") AT("4 s", "brake", "50 %"), 4.0,
     BRAKED},
    {"a brake and then a fault", DRIVES "actions:\n" AT("3 s", "brake", "50 %") AT("4 s", "charge_lost", "50 %"), 3.0,
     BRAKED},
    {"a fault and then the pedal",
     DRIVES "actions:\n" AT("3 s", "charge_lost", "50 %") AT("4 s", "forward_pedal", "0 %"), 4.0, LET_GO},
    {"an action and then a fault",
     DRIVES "actions:\n" AT("3 s", "forward_pedal", "30 %") AT("4 s", "charge_lost", "50 %"), 4.0, FAULT},
    {"a fault and then an action",
     DRIVES "actions:\n" AT("3 s", "charge_lost", "50 %") AT("4 s", "forward_pedal", "30 %"), 3.0, FAULT},
    {"two actions", DRIVES "actions:\n" AT("3 s", "forward_pedal", "50 %") AT("4 s", "forward_pedal", "30 %"), 4.0,
     ACTION},
    {"two faults", DRIVES "actions:\n" AT("3 s", "charge_lost", "50 %") AT("4 s", "filter_blocked", "50 %"), 4.0,
     FAULT},
    /* what comes while braking lasts belongs to it; a new one counts anew */
    {"the pedal and then a brake", DRIVES "actions:\n" AT("3 s", "forward_pedal", "0 %") AT("4 s", "brake", "50 %"),
     3.0, LET_GO},
    {"a brake and then the pedal", DRIVES "actions:\n" AT("3 s", "brake", "50 %") AT("4 s", "forward_pedal", "0 %"),
     3.0, BRAKED},
    {"the pedal twice",
     "operator:\n  forward_pedal: [[0 s, 0 %], [1 s, 80 %], [2 s, 80 %], [2.2 s, 0 %], [3 s, 0 %], [3.2 s, 80 %],\n"
     "    [4 s, 80 %], [4.2 s, 0 %]]\n",
     4.0, LET_GO},
    {"the pedal, drive again, and a brake",
     "operator:\n  forward_pedal: [[0 s, 0 %], [1 s, 80 %], [2 s, 80 %], [2.2 s, 0 %], [3 s, 0 %], [3.2 s, 80 %]]\n"
     "  brake: [[0 s, 0 %], [4 s, 0 %], [4.5 s, 30 %]]\n",
     4.0, BRAKED},
    /* said by hand */
    {"stop_from", DRIVES "simulation: {stop_from: 2.5 s, end_time: 5 s}\nactions:\n" AT("3 s", "brake", "50 %"), 2.5,
     NULL},
};

static void braking_starts(void **state) {
  (void)state;
  int wrong = 0;
  for (size_t i = 0; i < sizeof starts / sizeof starts[0]; i++) {
    const struct start *start = &starts[i];
    const char *const sets[] = {"simulation.end_time=5 s"};
    char whole[2048];
    struct error error = {0};
    struct case_data data;
    struct outcome outcome = {.status = RUN_FAILED};
    (void)snprintf(whole, sizeof whole, "machine: forwarder.yaml\n%s", start->text);
    if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/braking.yaml", whole, sets, 1, &data, &error) ||
        !run_case(&data, NULL, NULL, &outcome, &error)) {
      fail_msg("%s: %s", start->what, error.text);
    }
    double from = outcome.measures[MEASURE_stop_from];
    bool same = isnan(start->from) ? isnan(from) : fabs(from - start->from) < 1e-9;
    bool said = start->words == NULL || strcmp(outcome.braking_words, start->words) == 0;
    if (outcome.status != RUN_COMPLETE || !same || !said) {
      print_message("%s: braking from %.9g s, '%s'; expected %.9g s, '%s'\n", start->what, from, outcome.braking_words,
                    start->from, start->words != NULL ? start->words : "");
      wrong++;
    }
    outcome_free(&outcome);
    case_free(&data);
  }
  assert_int_equal(wrong, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(braking_starts)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
