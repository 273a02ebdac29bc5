/* Section 8 of the outside checks: particles in the oil. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "contamination.h"
#include "rows.h"

#define PER_MILLILITRE 1e6

static double p8_11(double beta) {
  return 100.0 * contamination_efficiency(beta);
}

static double p8_12(double code) {
  return contamination_bound(code) / PER_MILLILITRE;
}

/* Codes around each bound of the table that are not what they should be: up to and including it, and above it. */
static double p8_12_codes(double none) {
  (void)none;
  static const int codes[] = {10, 14, 17, 18, 19, 24, 28};
  static const double bounds[] = {10.0, 160.0, 1300.0, 2500.0, 5000.0, 160e3, 2.5e6};
  int wrong = 0;
  for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
    wrong += contamination_code(bounds[i] * PER_MILLILITRE) != codes[i];
    wrong += contamination_code(1.0001 * bounds[i] * PER_MILLILITRE) != codes[i] + 1;
  }
  return wrong;
}

/* 100 L of oil, 40 L/min through a filter of beta 75. */
static const double volume = 0.1;

static double clearing(void) {
  return 40.0 * LITRE_PER_MINUTE * contamination_efficiency(75.0);
}

/* Time constant, from how far the count has fallen after a minute. */
static double p8_14_tau(double none) {
  (void)none;
  return -60.0 / log(contamination_count(1.0, 0.0, clearing(), volume, 60.0));
}

static double p8_14_codes(double none) {
  (void)none;
  return contamination_time_to(8.0, 1.0, 0.0, clearing(), volume);
}

static double p8_15(double none) {
  (void)none;
  return contamination_count(0.0, 1e5 / 60.0, clearing(), volume, 1e6) / PER_MILLILITRE;
}

/* ---- the same through a whole run: a charge pump, a filter and a tank, the run as a cycle of a duty ---- */

enum { CYCLE_TAU, CYCLE_SETTLED };

/* The machine idles; its filter sees the charge pump's flow q, and all its oil is V. From the counts at the end of a
 * duty: the time constant over V/(q (1 - 1/75)), or the settled count over G/(q (1 - 1/75)). The flow comes from the
 * run itself, as dirt in the element would show a wrong one. */
static double p8_whole(double which) {
  static const char *const text =
      "filter: {clean_drop: 0.3 bar}\nsimulation: {end_time: 2 s, start: steady}\n"
      "contamination: {fitted: yes, start_by: counts, start_count_4: 8000 1/mL, beta_4: 75, ingress_4: %s 1/min, "
      "ingress_6: 0 1/min, ingress_14: 0 1/min, dirt_capacity: 10000 g, duty_time: %s h}\n";
  char written[1024];
  (void)snprintf(written, sizeof written, text, which == CYCLE_TAU ? "0" : "100000", which == CYCLE_TAU ? "0.1" : "50");
  struct bench *bench = bench_open(written);
  bench_run(bench, 2.0);
  double flow = bench_signal(bench, "charge_flow");
  double oil = *bench_parameter(bench, "lines", "tank_volume") + *bench_parameter(bench, "lines", "volume_a") +
               *bench_parameter(bench, "lines", "volume_b") + *bench_parameter(bench, "lines", "volume_charge");
  bench_close(bench);
  double count = bench_measure(written, MEASURE_particles_4);
  double clears = flow * (1.0 - 1.0 / 75.0);
  return which == CYCLE_TAU ? -360.0 / log(count / 8e9) / (oil / clears) : count / (1e5 / 60.0 / clears);
}

#define ISO16889 "ISO 16889, public texts"
#define ISO4406 "ISO 4406, table"
#define BALANCE "V dC/dt = G - q (1 - 1/beta) C"

static const struct row rows[] = {
    {"P8.11", "cleanliness", "caught at a filtration ratio of 2", "%", 50.0, 1e-12, RELATIVE, ISO16889, PUBLISHED,
     p8_11, 2.0, NULL},
    {"P8.11", "cleanliness", "of 10", "%", 90.0, 1e-12, RELATIVE, ISO16889, PUBLISHED, p8_11, 10.0, NULL},
    {"P8.11", "cleanliness", "of 75 (published as 98.67)", "%", 98.67, 0.005, ABSOLUTE, ISO16889, PUBLISHED, p8_11,
     75.0, NULL},
    {"P8.11", "cleanliness", "of 200", "%", 99.5, 1e-12, RELATIVE, ISO16889, PUBLISHED, p8_11, 200.0, NULL},
    {"P8.12", "cleanliness", "code 10: up to", "1/mL", 10.0, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 10.0, NULL},
    {"P8.12", "cleanliness", "code 14", "1/mL", 160.0, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 14.0, NULL},
    {"P8.12", "cleanliness", "code 17", "1/mL", 1300.0, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 17.0, NULL},
    {"P8.12", "cleanliness", "code 18", "1/mL", 2500.0, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 18.0, NULL},
    {"P8.12", "cleanliness", "code 19", "1/mL", 5000.0, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 19.0, NULL},
    {"P8.12", "cleanliness", "code 24", "1/mL", 160e3, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 24.0, NULL},
    {"P8.12", "cleanliness", "code 28", "1/mL", 2.5e6, 1e-12, RELATIVE, ISO4406, PUBLISHED, p8_12, 28.0, NULL},
    {"P8.12", "cleanliness", "codes at and just above these counts that are wrong", "", 0.0, 0.0, ABSOLUTE, ISO4406,
     PUBLISHED, p8_12_codes, 0.0, NULL},
    {"P8.14", "cleanliness", "100 L, 40 L/min, filtration ratio 75: time constant", "s", 152.027, 1e-5, RELATIVE,
     BALANCE, CLOSED_FORM, p8_14_tau, 0.0, NULL},
    {"P8.14", "cleanliness", "three codes (a factor of 8)", "s", 316.13, 1e-5, RELATIVE, BALANCE, CLOSED_FORM,
     p8_14_codes, 0.0, NULL},
    {"P8.14", "cleanliness", "whole run as a duty of 0.1 h: time constant over V/(q (1 - 1/75))", "", 1.0, 1e-4,
     RELATIVE, BALANCE, CLOSED_FORM, p8_whole, CYCLE_TAU, NULL},
    {"P8.15", "cleanliness", "the same with 1e5 particles/min coming in: settled count", "1/mL", 2.53378, 1e-5,
     RELATIVE, BALANCE, CLOSED_FORM, p8_15, 0.0, NULL},
    {"P8.15", "cleanliness", "whole run as a duty of 50 h: settled count over G/(q (1 - 1/75))", "", 1.0, 1e-4,
     RELATIVE, BALANCE, CLOSED_FORM, p8_whole, CYCLE_SETTLED, NULL},
};

ROWS_MAIN(rows)
