/* What a sensor makes of a signal: lags, steps of a converter, and how a mapping says it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "check.h"
#include "information.h"
#include "mapping.h"
#include "sensor.h"

enum { COUNT = 400 };

static void a_lag_is_exact_on_straight_pieces_and_none_changes_nothing(void **state) {
  (void)state;
  double time[COUNT];
  double values[COUNT];
  double lagged[COUNT];
  for (int k = 0; k < COUNT; k++) {
    time[k] = 0.01 * k + (k % 3) * 0.002; /* uneven */
    values[k] = 5.0 + 2.0 * time[k];
  }
  sensor_lag(time, values, COUNT, 0.1, lagged);
  CHECK_NEAR(lagged[0], 5.0, 0.0);
  for (int k = 0; k < COUNT; k++) {
    CHECK_NEAR(lagged[k], values[k] - 2.0 * 0.1 * (1.0 - exp(-time[k] / 0.1)), 1e-12);
  }
  sensor_lag(time, values, COUNT, 0.0, lagged);
  assert_memory_equal(lagged, values, sizeof values);
}

static void steps_are_found_where_there_are_some(void **state) {
  (void)state;
  double values[COUNT];
  double quantum;
  for (int k = 0; k < COUNT; k++) {
    double smooth = 350e5 + 60e5 * sin(0.05 * k);
    values[k] = k % 50 == 7 ? NAN : 2.5e5 * nearbyint(smooth / 2.5e5) + 1e5;
  }
  assert_true(sensor_find_quantum(values, COUNT, 1.0, &quantum));
  CHECK_CLOSE(quantum, 2.5e5, 1e-9);
  for (int k = 0; k < COUNT; k++) {
    values[k] = 350e5 + 60e5 * sin(0.05 * k);
  }
  assert_true(sensor_find_quantum(values, COUNT, 1.0, &quantum));
  CHECK_NEAR(quantum, 0.0, 0.0);
  for (int k = 0; k < COUNT; k++) { /* two levels say nothing of a step */
    values[k] = k % 2;
  }
  assert_true(sensor_find_quantum(values, COUNT, 1e-9, &quantum));
  CHECK_NEAR(quantum, 0.0, 0.0);
}

static const char head[] = "time: {column: t}\nsignals:\n  - {signal: line_a_pressure, column: p, sensor: {";

static bool read_sensor(const char *inside, const char *behind, struct mapping *mapping, struct error *error) {
  char text[512];
  (void)snprintf(text, sizeof text, "%s%s}}\n%s", head, inside, behind);
  return mapping_read_text("m.yaml", text, strlen(text), mapping, error);
}

static void a_mapping_tells_of_sensors(void **state) {
  (void)state;
  struct mapping mapping;
  struct error error = {0};
  assert_true(read_sensor("gain: 1.02, offset: -2 bar..3 bar, lag: free, delay: 2 ms, quantum: 2.5 bar",
                          "drift: 0.1 %\n", &mapping, &error));
  const struct sensor *sensor = &mapping.signals[0].sensor;
  CHECK_NEAR(sensor->terms[SENSOR_GAIN].value, 1.02, 1e-15);
  assert_false(sensor->terms[SENSOR_GAIN].free);
  assert_true(sensor->terms[SENSOR_OFFSET].free);
  CHECK_CLOSE(sensor->terms[SENSOR_OFFSET].low, -2e5, 1e-12);
  CHECK_CLOSE(sensor->terms[SENSOR_OFFSET].high, 3e5, 1e-12);
  assert_true(sensor->terms[SENSOR_LAG].free);
  assert_true(isnan(sensor->terms[SENSOR_LAG].low));
  CHECK_NEAR(sensor->terms[SENSOR_DELAY].value, 2e-3, 1e-15);
  CHECK_CLOSE(sensor->quantum, 2.5e5, 1e-12);
  CHECK_NEAR(mapping.drift.value, 1e-3, 1e-15);
  assert_true(read_sensor("quantum: none", "", &mapping, &error));
  CHECK_NEAR(mapping.signals[0].sensor.quantum, 0.0, 0.0);
  CHECK_NEAR(mapping.signals[0].sensor.terms[SENSOR_GAIN].value, 1.0, 0.0);
  assert_true(isnan(sensor_neutral().quantum));
}

static void wrong_sensors_are_placed(void **state) {
  (void)state;
  static const struct {
    const char *inside;
    const char *words;
  } wrong[] = {
      {"gan: 1", "did you mean 'gain'?"},    {"lag: -1 ms", "lag: '-1 ms' is outside"}, {"lag: 2 bar", "unit"},
      {"lag: 3 ms..1 ms", "must rise"},      {"gain: [1]", "LOW..HIGH or free"},        {"quantum: 3 L", "unit"},
      {"quantum: -1 bar", "not be negative"}};
  for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
    struct mapping mapping;
    struct error error = {0};
    assert_false(read_sensor(wrong[i].inside, "", &mapping, &error));
    assert_int_equal(error.line, 3);
    assert_true(error.column > 40);
    if (strstr(error.text, wrong[i].words) == NULL) {
      fail_msg("%s: %s", wrong[i].inside, error.text);
    }
  }
}

/* Of a level among errors of an autoregression of first order the variance is (1 + phi)/(1 - phi) times that of as many
 * free ones (G. V. Bayley and J. M. Hammersley 1946, from memory). */
static void errors_that_remember_widen_the_robust_covariance(void **state) {
  (void)state;
  enum { LONG = 20000 };
  static double values[LONG];
  static double model[LONG];
  static double column[LONG];
  static struct observation observation;
  static struct information information;
  struct observation_channel channel = {.count = LONG};
  uint64_t random = 12345;
  double before = 0.0;
  for (int k = 0; k < LONG; k++) {
    double normal = 0.0;
    for (int i = 0; i < 12; i++) {
      random = random * 6364136223846793005u + 1442695040888963407u;
      normal += (double)(random >> 11) / 9007199254740992.0 - 0.5;
    }
    before = 0.6 * before + 0.8 * normal; /* of variance one */
    values[k] = before;
    column[k] = 1.0;
  }
  observation.channels = &channel;
  observation.channel_count = observation.noise_count = 1;
  observation.noises[0] = (struct observation_noise){.scale = 1.0, .worth = LONG};
  observation.count = LONG;
  observation.values = values;
  assert_true(information_find(&observation, model, column, 1, &information));
  CHECK_NEAR(information.memory[0], 0.6, 0.02);
  CHECK_CLOSE(information.naive[0][0], 1.0 / LONG, 1e-9);
  CHECK_CLOSE(information.robust[0][0] / information.naive[0][0], 4.0, 0.1);
  CHECK_CLOSE(information.freedom[0], LONG * 0.64 / 1.36, 0.06);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_lag_is_exact_on_straight_pieces_and_none_changes_nothing),
      cmocka_unit_test(steps_are_found_where_there_are_some),
      cmocka_unit_test(a_mapping_tells_of_sensors),
      cmocka_unit_test(wrong_sensors_are_placed),
      cmocka_unit_test(errors_that_remember_widen_the_robust_covariance),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
