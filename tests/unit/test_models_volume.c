/* Lines that run empty: what a machine draws from them, that the oil is never less than nothing, and that the energy of
 * a starved machine closes. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "check.h"
#include "component.h"
#include "run.h"
#include "sample.h"
#include "volume.h"

static void filling_is_what_the_line_holds(void **state) {
  (void)state;
  DEFAULTS(lines, lines);
  CHECK_CLOSE(lines_filling(&lines, 0.0), 1.0, 1e-15);
  CHECK_CLOSE(lines_filling(&lines, 0.02), 1.0, 1e-15); /* compressed: as full as can be */
  CHECK_CLOSE(lines_filling(&lines, -0.25), 0.75, 1e-15);
  CHECK_NEAR(lines_filling(&lines, -1.0), 0.0, 1e-15);
  CHECK_NEAR(lines_filling(&lines, -3.0), 0.0, 1e-15);
  lines.starved_flow = LINES_UNLIMITED;
  CHECK_CLOSE(lines_filling(&lines, -3.0), 1.0, 1e-15);
}

/* Shaft power is the power of the oil and the loss, which is never negative; for either way round and any filling. */
static void energy_of_a_starved_machine_closes(void **state) {
  (void)state;
  struct sampler sampler = {17u};
  for (int i = 0; i < 5000; i++) {
    double displaced = sample_between(&sampler, -0.01, 0.01);
    double rise = sample_between(&sampler, -5e7, 5e7);
    double filling = sample_unit(&sampler);
    struct lines_transfer transfer = lines_transfer_of(displaced, rise, filling);
    double shaft = transfer.share * fabs(displaced) * rise;
    assert_true(transfer.loss >= 0.0);
    CHECK_NEAR(shaft - fabs(transfer.flow) * rise - transfer.loss, 0.0, 1e-6);
    assert_true(transfer.share >= filling && transfer.share <= 1.0);
  }
}

struct burst {
  double distance;
  double least_oil;
  double energy;
};

/* The demo machine holding back on 20 % when a hose bursts, with no brake to help it. */
static struct burst burst_of(const char *line, const char *area, const char *law) {
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  char text[2048];
  char message[2048];
  snprintf(text, sizeof text,
           "machine: forwarder.yaml\nsimulation: {end_time: 12 s}\n"
           "operator: {forward_pedal: [[0 s, 0 %%], [1 s, 0 %%], [2 s, 20 %%]]}\n"
           "ground: {grade: [[0 m, 0 %%], [3 m, -20 %%]]}\nfault: {burst_area: %s}\nlines: {starved_flow: %s}\n"
           "actions:\n  - {when: time > 6 s, move: hose_burst_%s, to: 100 %%}\n",
           area, law, line);
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/test.yaml", text, NULL, 0, &data, &error) ||
      !run_case(&data, NULL, NULL, &outcome, &error)) {
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
  struct burst burst = {outcome.measures[MEASURE_vehicle_distance_end], outcome.measures[MEASURE_least_line_oil],
                        outcome.measures[MEASURE_energy_residual]};
  outcome_free(&outcome);
  case_free(&data);
  return burst;
}

/* The larger the opening in the line that holds the machine back, the further it runs in the same time. With the low
 * side open instead the charge is lost, the swash goes to neutral and shuts the other line in: that brakes. No line
 * ever holds less than nothing. */
static void a_larger_burst_never_brakes_better(void **state) {
  (void)state;
  static const char *const areas[] = {"5 mm2", "20 mm2", "50 mm2", "120 mm2", "300 mm2", "1000 mm2"};
  static const char *const lines[] = {"a", "b"};
  for (size_t line = 0; line < 2; line++) {
    double before = 0.0;
    for (size_t i = 0; i < sizeof areas / sizeof areas[0]; i++) {
      struct burst burst = burst_of(lines[line], areas[i], "by_content");
      assert_true(burst.least_oil >= 0.0);
      assert_true(burst.energy < 1e-6);
      assert_true(line == 0 || burst.distance > before - 1e-3);
      before = burst.distance;
    }
  }
}

/* The reference law lets an empty line feed the motor without end, and the run says so by its least oil. */
static void the_reference_law_shows_its_flaw(void **state) {
  (void)state;
  struct burst held = burst_of("b", "120 mm2", "unlimited");
  assert_true(held.least_oil < -0.01);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(filling_is_what_the_line_holds),
      cmocka_unit_test(energy_of_a_starved_machine_closes),
      cmocka_unit_test(a_larger_burst_never_brakes_better),
      cmocka_unit_test(the_reference_law_shows_its_flaw),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
