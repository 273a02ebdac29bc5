/* The one-page summary, from a made-up plant and outcome: what stands on it and in which order. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "summary.h"
#include "terminal.h"

static const struct signal signals[] = {
    {"line_a_pressure", QUANTITY_PRESSURE, REFERENCE_GAUGE, "pressure in line A"},
};

static const struct ledger_row ledger[] = {
    {"gravity", LEDGER_SOURCE, "work of the slope"},      {"brake", LEDGER_LOSS, "heat in the brake"},
    {"relief", LEDGER_LOSS, "heat in the relief"},        {"crumbs", LEDGER_LOSS, "heat in the crumbs"},
    {"winding", LEDGER_STORED_RATE, "wind-up of a part"}, {"motion", LEDGER_STORED, "motion of the machine"},
};

static const struct plant plant = {
    .name = "made-up", .signals = signals, .signal_count = 1, .ledger = ledger, .ledger_count = 6};

enum { EVENTS = 40 };

struct scene {
  struct limit limits[4];
  struct run_event events[EVENTS];
  struct limit_finding findings[4];
  struct case_data data;
  struct outcome outcome;
  char *page;
  size_t size;
};

static struct limit limit_on(const char *text, int signal, int measure, double level) {
  struct limit limit;
  memset(&limit, 0, sizeof limit);
  (void)snprintf(limit.text, sizeof limit.text, "%s", text);
  limit.keep.signal = signal;
  limit.keep.measure = measure;
  limit.keep.level = level;
  return limit;
}

static void fill_outcome(struct scene *scene) {
  struct outcome *outcome = &scene->outcome;
  outcome->status = RUN_COMPLETE;
  outcome->end_time = 20.0;
  for (int m = 0; m < MEASURE_COUNT; m++) {
    outcome->measures[m] = (double)NAN;
    (void)snprintf(outcome->absent[m], sizeof outcome->absent[m], "no reason for %d", m);
  }
  outcome->measures[MEASURE_peak_line_a_pressure] = 412.5e5;
  outcome->measures[MEASURE_peak_line_a_pressure_time] = 3.25;
  outcome->measures[MEASURE_vehicle_speed_end] = 5.0;
  outcome->measures[MEASURE_relief_a_openings] = 2.0;
  outcome->measures[MEASURE_relief_a_open_time] = 0.5;
  outcome->measures[MEASURE_relief_b_openings] = 0.0;
  outcome->measures[MEASURE_relief_b_open_time] = 0.0;
  outcome->measures[MEASURE_energy_residual] = 2e-8;
  outcome->measures[MEASURE_stop_from] = 16.0;
  (void)snprintf(outcome->braking_words, sizeof outcome->braking_words, "%s", "the pedal is let go");
  (void)snprintf(outcome->absent[MEASURE_stop_time], sizeof outcome->absent[0], "it still rolled at the end");
  const double energies[] = {900e3, 500e3, 300e3, 100.0, 50e3, 50e3};
  const double braking[] = {150e3, 150e3, 250e3, 10.0, 0.0, -250e3};
  for (int i = 0; i < 6; i++) {
    outcome->ledger[i] = (struct ledger_entry){energies[i], braking[i]};
  }
  for (int i = 0; i < EVENTS; i++) {
    scene->events[i].time = 0.5 * i;
    (void)snprintf(scene->events[i].message, sizeof scene->events[i].message, "event number %d", i);
  }
  outcome->events = scene->events;
  outcome->event_count = EVENTS;
}

static void fill_limits(struct scene *scene) {
  scene->limits[0] = limit_on("line_a_pressure <= 400 bar", 0, 0, 400e5);
  scene->limits[1] = limit_on("vehicle_speed_end <= 1 km/h", -2, MEASURE_vehicle_speed_end, 1.0 / 3.6);
  scene->limits[2] = limit_on("peak_line_a_pressure <= 450 bar", -2, MEASURE_peak_line_a_pressure, 450e5);
  scene->limits[3] = limit_on("vehicle_speed <= 1 km/h within 5 s", 0, 0, 1.0 / 3.6);
  scene->findings[0] = (struct limit_finding){LIMIT_BROKEN, 3.0, 3.25, 412.5e5, ""};
  scene->findings[1] = (struct limit_finding){LIMIT_BROKEN, (double)NAN, (double)NAN, 5.0, ""};
  scene->findings[2] = (struct limit_finding){LIMIT_KEPT, (double)NAN, (double)NAN, 412.5e5, ""};
  scene->findings[3] =
      (struct limit_finding){LIMIT_NOT_JUDGED, (double)NAN, (double)NAN, (double)NAN, "braking never starts"};
  scene->outcome.limits = scene->findings;
  scene->outcome.limit_count = 4;
  scene->outcome.broken_count = 2;
  scene->outcome.unjudged_count = 1;
  scene->data.limits = scene->limits;
  scene->data.limit_count = 4;
}

static int scene_open(void **state) {
  struct scene *scene = calloc(1, sizeof *scene);
  if (scene == NULL) {
    return -1;
  }
  scene->data.title = "a made-up downhill";
  scene->data.source = "made-up.yaml";
  scene->data.plant = &plant;
  scene->data.simulation.end_time = 20.0;
  fill_outcome(scene);
  fill_limits(scene);
  *state = scene;
  return 0;
}

static int scene_close(void **state) {
  struct scene *scene = *state;
  free(scene->page);
  free(scene);
  return 0;
}

static const char *form_of(struct scene *scene, enum summary_form form) {
  FILE *out = open_memstream(&scene->page, &scene->size);
  assert_non_null(out);
  summary_text(out, &scene->data, &scene->outcome, "made-up.h5", form);
  assert_int_equal(fclose(out), 0);
  return scene->page != NULL ? scene->page : "";
}

static const char *page_of(struct scene *scene) {
  return form_of(scene, SUMMARY_LONG);
}

/* Each text is there, behind the one before. */
static void expect_order(const char *page, int count, const char *const *texts) {
  const char *at = page;
  for (int i = 0; i < count; i++) {
    const char *found = strstr(at, texts[i]);
    if (found == NULL) {
      fail_msg("'%s' is missing, or not behind '%s', in\n%s", texts[i], i > 0 ? texts[i - 1] : "", page);
      return;
    }
    at = found + strlen(texts[i]);
  }
}

static const char caution[] = CAUTION;

static void the_page_has_its_order(void **state) {
  static const char *const texts[] = {"a made-up downhill",    "complete", "What happened",   "Measures", "Limits",
                                      "Where the energy went", "Solver",   "file made-up.h5", caution};
  expect_order(page_of(*state), 9, texts);
}

static void long_stories_are_cut(void **state) {
  struct scene *scene = *state;
  const char *page = page_of(scene);
  assert_non_null(strstr(page, "event number 20\n"));
  assert_null(strstr(page, "event number 21\n"));
  assert_non_null(strstr(page, "16 more are in the file"));
  assert_non_null(strstr(page, "event number 39\n"));
}

static void short_stories_are_whole(void **state) {
  struct scene *scene = *state;
  scene->outcome.event_count = 25;
  const char *page = page_of(scene);
  for (int i = 0; i < 25; i++) {
    char text[40];
    (void)snprintf(text, sizeof text, "event number %d\n", i);
    assert_non_null(strstr(page, text));
  }
  assert_null(strstr(page, "more are in the file"));
}

/* A valve that chatters is one line, so that what else happens in between is seen. */
static void repetitions_are_told_once(void **state) {
  struct scene *scene = *state;
  for (int i = 0; i < EVENTS; i++) {
    struct run_event *event = &scene->events[i];
    bool opens = i % 2 == 0;
    event->time = 3.1 + 0.1 * i;
    event->signal = 0;
    event->value = opens ? 400e5 + 1e5 * i : 390e5;
    (void)snprintf(event->name, sizeof event->name, "%s", "relief_a");
    (void)snprintf(event->message, sizeof event->message, "relief valve A %s (pressure %d bar)",
                   opens ? "cracks" : "reseats", i);
  }
  struct run_event *single = &scene->events[15];
  single->signal = -1;
  (void)snprintf(single->name, sizeof single->name, "%s", "stop");
  (void)snprintf(single->message, sizeof single->message, "%s", "the machine stops");
  const char *page = page_of(scene);
  static const char *const texts[] = {
      "3.100 s  relief valve A cracks, relief valve A reseats: 20 times, until 7.000 s, 5 Hz", "400 bar to 438 bar",
      "4.600 s  the machine stops\n"};
  expect_order(page, 3, texts);
  assert_null(strstr(strstr(page, "reseats") + 1, "reseats"));
  assert_null(strstr(page, "more are in the file"));
  /* what comes again later is told anew */
  for (int i = 20; i < EVENTS; i++) {
    scene->events[i].time += 5.0;
  }
  free(scene->page);
  page = page_of(scene);
  static const char *const twice[] = {"reseats: 10 times, until 5.000 s", "reseats: 10 times, until 12.000 s"};
  expect_order(page, 2, twice);
}

/* Opens and closes of two valves in turn, too slow for one repetition a second: they are gathered all the same before
 * anything is cut, so that the braking in the middle is seen. */
static void slow_repetitions_do_not_hide_the_braking(void **state) {
  struct scene *scene = *state;
  scene->data.simulation.end_time = 100.0;
  for (int i = 0; i < EVENTS; i++) {
    struct run_event *event = &scene->events[i];
    event->time = 2.0 * i;
    event->signal = -1;
    (void)snprintf(event->name, sizeof event->name, "relief_%c", i % 2 == 0 ? 'a' : 'b');
    (void)snprintf(event->message, sizeof event->message, "relief valve %c %s", i % 2 == 0 ? 'A' : 'B',
                   i % 4 < 2 ? "cracks" : "reseats");
  }
  (void)snprintf(scene->events[25].name, sizeof scene->events[25].name, "%s", "braking");
  (void)snprintf(scene->events[25].message, sizeof scene->events[25].message, "%s", "braking starts");
  const char *page = page_of(scene);
  static const char *const texts[] = {
      "0.000 s  relief valve A cracks, relief valve A reseats: 10 times, until 76.000 s, 0.125 Hz\n",
      "2.000 s  relief valve B cracks, relief valve B reseats: 6 times, until 46.000 s, 0.125 Hz\n",
      "50.000 s  braking starts\n"};
  expect_order(page, 3, texts);
  assert_null(strstr(page, "more are in the file"));
}

/* Where nothing repeats and the story is cut, what happens once by its nature is told. */
static void a_cut_story_keeps_the_braking(void **state) {
  struct scene *scene = *state;
  (void)snprintf(scene->events[30].name, sizeof scene->events[30].name, "%s", "braking");
  const char *page = page_of(scene);
  static const char *const texts[] = {"event number 19\n", "16 more are in the file", "event number 30\n",
                                      "event number 37\n"};
  expect_order(page, 4, texts);
  assert_null(strstr(page, "event number 20\n"));
}

static void measures_are_in_trade_units(void **state) {
  static const char *const texts[] = {"highest pressure in line A", "412.5 bar", "at 3.250 s",
                                      "speed at the end",           "18 km/h",   "none: it still rolled at the end"};
  const char *page = page_of(*state);
  expect_order(page, 6, texts);
  assert_non_null(strstr(page, "relief valve A"));
  assert_null(strstr(page, "relief valve B"));
  assert_null(strstr(page, "nan"));
}

static void the_worst_limit_comes_first(void **state) {
  static const char *const texts[] = {
      "BROKEN      vehicle_speed_end <= 1 km/h: 18 km/h\n",
      "BROKEN      line_a_pressure <= 400 bar: worst 412.5 bar at 3.250 s, first broken at 3.000 s\n",
      "not judged  vehicle_speed <= 1 km/h within 5 s: braking never starts\n",
      "kept        peak_line_a_pressure <= 450 bar: 412.5 bar\n"};
  expect_order(page_of(*state), 4, texts);
}

/* Sorted by the braking column; shares of what was put in: 900 kJ over the run, 150 + 250 kJ while braking. */
static void the_energy_table_tells_who_absorbed_what(void **state) {
  static const char *const texts[] = {"put in by",
                                      "work of the slope",
                                      "900.00  100.0 %",
                                      "150.00   37.5 %",
                                      "turned into heat in",
                                      "heat in the relief",
                                      "300.00   33.3 %",
                                      "250.00   62.5 %",
                                      "heat in the brake",
                                      "500.00   55.6 %",
                                      "150.00   37.5 %",
                                      "stored",
                                      "motion of the machine",
                                      "-250.00   62.5 %",
                                      "wind-up of a part",
                                      "braking: from 16.000 s (the pedal is let go) to the end of the run",
                                      "2.00e-08"};
  const char *page = page_of(*state);
  expect_order(page, 17, texts);
  assert_null(strstr(page, "crumbs"));
}

static void without_braking_there_is_one_column(void **state) {
  struct scene *scene = *state;
  for (int i = 0; i < 6; i++) {
    scene->outcome.ledger[i].from_release = (double)NAN;
  }
  const char *page = page_of(scene);
  static const char *const texts[] = {"whole run kJ", "heat in the brake", "heat in the relief"};
  expect_order(page, 3, texts);
  assert_null(strstr(page, "braking kJ"));
}

static void a_failed_run_says_why(void **state) {
  struct scene *scene = *state;
  scene->outcome.status = RUN_FAILED;
  (void)snprintf(scene->outcome.error.text, sizeof scene->outcome.error.text, "line_a is no number at 1.5 s");
  static const char *const texts[] = {"FAILED at 20 s", "line_a is no number at 1.5 s", "What happened"};
  expect_order(page_of(scene), 3, texts);
}

/* The verdict alone: about ten lines, the broken limits with the worst first, then the narrowest of the kept. */
static void the_short_form_is_the_verdict(void **state) {
  struct scene *scene = *state;
  scene->outcome.measures[MEASURE_hunts] = 0.0;
  const char *page = form_of(scene, SUMMARY_SHORT);
  static const char *const texts[] = {
      "Limits     1 of 4 kept, 2 BROKEN, 1 not judged\n",
      "BROKEN      vehicle_speed_end <= 1 km/h: 18 km/h\n",
      "BROKEN      line_a_pressure <= 400 bar: worst 412.5 bar",
      "not judged  vehicle_speed <= 1 km/h within 5 s: braking never starts\n",
      "kept        peak_line_a_pressure <= 450 bar: 37.5 bar left (8.33 %)\n",
      "Stop       none: it still rolled at the end; braking from 16.000 s (the pedal is let go)\n",
      "Peaks      line_a_pressure to 412.5 bar\n",
      "Hunting    none seen\n",
      "Balances   energy closes to 2e-08\n",
      "file made-up.h5; the story, measures, every limit and the energy: --long\n",
      caution};
  expect_order(page, 11, texts);
  assert_null(strstr(page, "What happened"));
  assert_null(strstr(page, "Solver"));
  (void)snprintf(scene->outcome.doubt, sizeof scene->outcome.doubt, "%s", "hunts, 12 Hz, +-30 bar");
  free(scene->page);
  page = form_of(scene, SUMMARY_SHORT);
  assert_non_null(strstr(page, "Hunting    hunts, 12 Hz, +-30 bar; extremes are not vouched for\n"));
}

/* No more than three broken limits are told; that there are more is. */
static void many_broken_limits_are_counted(void **state) {
  struct scene *scene = *state;
  for (int i = 0; i < 4; i++) {
    scene->limits[i] = limit_on("line_a_pressure <= 400 bar", 0, 0, 400e5);
    scene->findings[i] = (struct limit_finding){LIMIT_BROKEN, 3.0, 3.25, 400e5 + 1e5 * (i + 1), ""};
  }
  scene->outcome.broken_count = 4;
  scene->outcome.unjudged_count = 0;
  static const char *const texts[] = {"Limits     0 of 4 kept, 4 BROKEN\n", "worst 404 bar", "worst 403 bar",
                                      "worst 402 bar", "  1 more BROKEN\n"};
  const char *page = form_of(scene, SUMMARY_SHORT);
  expect_order(page, 5, texts);
  assert_null(strstr(page, "401 bar"));
}

/* A run that ended before its limits were looked at claims nothing of them. */
static void limits_that_nobody_judged_are_told_so(void **state) {
  struct scene *scene = *state;
  scene->outcome.status = RUN_FAILED;
  scene->outcome.limit_count = 0;
  scene->outcome.limits = NULL;
  assert_non_null(strstr(form_of(scene, SUMMARY_SHORT), "Limits     not judged: the run ended before they could be\n"));
  scene->data.limit_count = 0;
  free(scene->page);
  assert_non_null(strstr(form_of(scene, SUMMARY_SHORT), "Limits     the case has none: nothing is judged\n"));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(the_short_form_is_the_verdict, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(many_broken_limits_are_counted, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(limits_that_nobody_judged_are_told_so, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(the_page_has_its_order, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(long_stories_are_cut, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(short_stories_are_whole, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(repetitions_are_told_once, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(slow_repetitions_do_not_hide_the_braking, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_cut_story_keeps_the_braking, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(measures_are_in_trade_units, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(the_worst_limit_comes_first, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(the_energy_table_tells_who_absorbed_what, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(without_braking_there_is_one_column, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_failed_run_says_why, scene_open, scene_close),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
