/* Over random machines of which many hunt: extremes that are vouched for are right. Case number k is the same on every
 * machine. SWASHLOOP_HUNTING_CASES=1024 runs more of them, SWASHLOOP_RANDOM_FIRST starts elsewhere. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "registry.h"
#include "run.h"
#include "sample.h"

enum { USUAL_HUNTING_CASES = 20 };

static unsigned number_of(const char *name, unsigned usual) {
  const char *text = getenv(name);
  return text != NULL ? (unsigned)strtoul(text, NULL, 10) : usual;
}

/* By one of the ways that are vouched for where nothing hunts: method, and tolerances over the default ones. */
static const struct {
  const char *method;
  double looser;
} ways[] = {{"bdf", 1.0}, {"bdf", 3.0}, {"rosenbrock", 1.0}, {"rosenbrock", 10.0}};
static const char *const hunters[] = {"stall.yaml", "lugging.yaml", "baseline/downhill.yaml"};
enum { WAYS = sizeof ways / sizeof ways[0], HUNTERS = sizeof hunters / sizeof hunters[0] };
enum { DRAWN_SETS = 4, SETTINGS = 3, SET_TEXT = 64 };

/* What is looked at, and how far off it may be where it is vouched for, Pa. */
static const int extremes[] = {MEASURE_peak_line_a_pressure, MEASURE_peak_line_b_pressure,
                               MEASURE_lowest_low_side_pressure, MEASURE_lowest_charge_pressure,
                               MEASURE_peak_charge_pressure};
#define MAY_BE_OFF 1e5

struct hunter {
  const char *file;
  char sets[DRAWN_SETS + SETTINGS][SET_TEXT];
};

static void set_way(struct hunter *hunter, const char *method, double looser) {
  struct simulation_parameters usual;
  registry_defaults(&simulation_group, 1, &usual);
  (void)snprintf(hunter->sets[DRAWN_SETS], SET_TEXT, "simulation.method=%s", method);
  (void)snprintf(hunter->sets[DRAWN_SETS + 1], SET_TEXT, "simulation.relative_tolerance=%.9g",
                 looser * usual.relative_tolerance);
  (void)snprintf(hunter->sets[DRAWN_SETS + 2], SET_TEXT, "simulation.pressure_tolerance=%.9g Pa",
                 looser * usual.pressure_tolerance);
}

/* Volumes of 0.5 to 5 L, a relief lag of 2 to 30 ms, a limiter's band of 5 to 60 bar. */
static void draw_hunter(unsigned number, struct hunter *hunter, int *way) {
  struct sampler sampler = {0x5EED5u + 1000003u * (uint64_t)number};
  hunter->file = hunters[sample_choice(&sampler, HUNTERS)];
  *way = sample_choice(&sampler, WAYS);
  (void)snprintf(hunter->sets[0], SET_TEXT, "lines.volume_a=%.4g L", sample_decades(&sampler, 0.5, 5.0));
  (void)snprintf(hunter->sets[1], SET_TEXT, "lines.volume_b=%.4g L", sample_decades(&sampler, 0.5, 5.0));
  (void)snprintf(hunter->sets[2], SET_TEXT, "relief.lag=%.4g ms", sample_between(&sampler, 2.0, 30.0));
  (void)snprintf(hunter->sets[3], SET_TEXT, "limiter.band=%.4g bar", sample_between(&sampler, 5.0, 60.0));
}

static void run_hunter(const struct hunter *hunter, struct outcome *outcome) {
  char path[512];
  const char *sets[DRAWN_SETS + SETTINGS];
  struct case_data data;
  struct error error = {0};
  for (int i = 0; i < DRAWN_SETS + SETTINGS; i++) {
    sets[i] = hunter->sets[i];
  }
  (void)snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/%s", hunter->file);
  if (!case_load(path, sets, DRAWN_SETS + SETTINGS, &data, &error) || !run_case(&data, NULL, NULL, outcome, &error)) {
    fail_msg("%s: %s", hunter->file, error.text);
  }
  case_free(&data);
  assert_int_not_equal(outcome->status, RUN_FAILED);
}

/* Cases that are tried whichever others are drawn, so that what is vouched for and what is off are both there: the
 * first is vouched for, the others were found off by more than 1 bar. */
static const unsigned always[] = {0, 23, 25, 46};
enum { ALWAYS = sizeof always / sizeof always[0] };

/* Case number `i` of those that are tried: the drawn ones, then `always`. */
static unsigned hunter_number(unsigned i, unsigned first, unsigned count) {
  return i < count ? first + i : always[i - count];
}

/* Whatever hunts or may is not vouched for, so that extremes that are vouched for are those of a tight run. */
static void what_is_vouched_for_is_right(void **state) {
  (void)state;
  unsigned count = number_of("SWASHLOOP_HUNTING_CASES", USUAL_HUNTING_CASES);
  unsigned first = number_of("SWASHLOOP_RANDOM_FIRST", 0);
  unsigned tried_cases = count + ALWAYS;
  unsigned vouched = 0;
  unsigned wrong = 0;
  unsigned bad = 0;
  unsigned right_alarms = 0;
  double worst = 0.0;
  for (unsigned i = 0; i < tried_cases; i++) {
    unsigned k = hunter_number(i, first, count);
    struct hunter hunter;
    struct outcome tried;
    struct outcome tight;
    int way;
    draw_hunter(k, &hunter, &way);
    set_way(&hunter, ways[way].method, ways[way].looser);
    run_hunter(&hunter, &tried);
    set_way(&hunter, "bdf", 2e-3);
    run_hunter(&hunter, &tight);
    double off = 0.0;
    for (size_t e = 0; e < sizeof extremes / sizeof extremes[0]; e++) {
      off = fmax(off, fabs(tried.measures[extremes[e]] - tight.measures[extremes[e]]));
    }
    bool is_vouched = tried.measures[MEASURE_vouched] == 1.0;
    vouched += is_vouched;
    wrong += off > MAY_BE_OFF;
    right_alarms += !is_vouched && off <= MAY_BE_OFF && tight.measures[MEASURE_hunts] != 1.0;
    worst = is_vouched ? fmax(worst, off) : worst;
    if (is_vouched && !(off <= MAY_BE_OFF)) {
      (void)fprintf(stderr, "hunting case %u, %s by %s at %g times the tolerances: off by %.3g bar (%s, %s, %s, %s)\n",
                    k, hunter.file, ways[way].method, ways[way].looser, 1e-5 * off, hunter.sets[0], hunter.sets[1],
                    hunter.sets[2], hunter.sets[3]);
      bad++;
    }
    outcome_free(&tried);
    outcome_free(&tight);
  }
  print_message("%u cases, %u vouched for, the worst of them off by %.3g bar; %u off by more than 1 bar; %u neither "
                "vouched for nor hunting nor off\n",
                tried_cases, vouched, 1e-5 * worst, wrong, right_alarms);
  if (bad > 0) {
    fail_msg("%u of %u vouched for are off by more than 1 bar", bad, vouched);
  }
  assert_in_range(vouched, 1, tried_cases - 1);
  assert_in_range(wrong, 1, tried_cases - 1); /* else nothing here could have failed */
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_vouched_for_is_right),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
