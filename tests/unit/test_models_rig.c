/* The valve rig: rates, signals, powers and stores of one volume by hand; oil and valve at another temperature; a feed
 * that changes by its table and by an action. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "relief.h"

static struct bench *open_rig(const char *text) {
  char whole[1024];
  (void)snprintf(whole, sizeof whole, "circuit: valve_rig\n%s", text);
  struct bench *bench = bench_open(whole);
  assert_true(bench->good);
  return bench;
}

/* Feed less relief into the volume and out of the tank; the pressure rises by the modulus. */
static void one_volume_by_hand(void **state) {
  (void)state;
  struct bench *bench =
      open_rig("rig: {volume: 2 L, feed_flow: 30 L/min, case_pressure: 1 bar}\nrelief: {setting: 200 bar}\n");
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  double gradient = *bench_parameter(bench, "relief", "gradient");
  double pressure = 215e5; /* absolute */
  double opening = 10e5;
  double feed = 30e-3 / 60.0;
  double relief = gradient * opening;
  bench_set_pressure(bench, "line_a_compression", pressure);
  *bench_state(bench, "relief_a_opening") = opening;
  CHECK_CLOSE(bench_signal(bench, "line_a_pressure"), pressure - ambient, 1e-9);
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), feed, 1e-12);
  CHECK_CLOSE(bench_signal(bench, "relief_a_flow"), relief, 2e-3); /* but for the rounding of its turning */
  relief = bench_signal(bench, "relief_a_flow");
  CHECK_CLOSE(bench_signal(bench, "relief_a_lift"), opening, 1e-12);
  CHECK_CLOSE(bench_rate(bench, "line_a_compression"), (feed - relief) / 2e-3, 1e-12);
  CHECK_CLOSE(bench_rate(bench, "tank_oil"), relief - feed, 1e-12);
  /* dp/dt = (dp/dc) dc/dt, the slope by a difference */
  double stiff =
      2e3 / (fluid_compression(&bench->oil, pressure + 1e3) - fluid_compression(&bench->oil, pressure - 1e3));
  CHECK_CLOSE(bench_signal(bench, "pressure_rate"), stiff * (feed - relief) / 2e-3, 1e-4);
  double over_case = pressure - ambient - 1e5;
  CHECK_CLOSE(bench_power(bench, "feed"), feed * (pressure - ambient), 1e-9);
  CHECK_CLOSE(bench_power(bench, "relief_a"), relief * over_case, 1e-9);
  CHECK_CLOSE(bench_power(bench, "case_return"), relief * 1e5, 1e-9);
  /* Stored: what the powers leave, along the rate of the compression. */
  const struct plant *plant = bench->data.plant;
  double before[2];
  double after[2];
  double left = feed * (pressure - ambient) - relief * (pressure - ambient);
  double seconds = 1e-6;
  plant->stored(bench->model, bench->state, before);
  CHECK_CLOSE(plant->oil(bench->model, bench->state),
              *bench_state(bench, "tank_oil") + 2e-3 * fluid_compression(&bench->oil, pressure), 1e-12);
  *bench_state(bench, "line_a_compression") += seconds * (feed - relief) / 2e-3;
  *bench_state(bench, "tank_oil") += seconds * (relief - feed);
  plant->stored(bench->model, bench->state, after);
  CHECK_CLOSE((after[0] + after[1] - before[0] - before[1]) / seconds, left, 1e-3);
  bench_close(bench);
}

/* The valve is stated by its opening or by its lift, never by both. */
static void a_law_shows_its_own_position(void **state) {
  (void)state;
  for (int poppet = 0; poppet <= 1; poppet++) {
    struct bench *bench = open_rig(poppet ? "relief: {law: poppet}\n" : "relief: {law: first_order}\n");
    const struct plant *plant = bench->data.plant;
    int lift = registry_signal(plant, "relief_a_lift");
    int place = registry_signal(plant, "relief_a_poppet");
    assert_true(plant->signal_active(bench->data.parameters, lift) == !poppet);
    assert_true(plant->signal_active(bench->data.parameters, place) == poppet);
    assert_true(plant->signal_active(bench->data.parameters, registry_signal(plant, "feed_flow")));
    assert_int_equal(bench->count, poppet ? 4 : 3);
    bench_close(bench);
  }
}

/* A feed stated by the rise it makes: at the setting, the valve shut, the pressure rises by so much. */
static void a_rise_is_made_at_the_setting(void **state) {
  (void)state;
  struct bench *bench = open_rig("rig: {feed_law: rise, rise: 3000 bar/s, volume: 3 L}\nrelief: {setting: 250 bar}\n");
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  double case_pressure = *bench_parameter(bench, "rig", "case_pressure");
  bench_set_pressure(bench, "line_a_compression", 250e5 + case_pressure + ambient);
  CHECK_CLOSE(bench_signal(bench, "pressure_rate"), 3000e5, 1e-9);
  bench_close(bench);
}

/* Warmer by 50 K the liquid loses a quarter of its modulus, colder by 25 K it gains an eighth; the poppet's damping
 * goes with the oil's viscosity. With oil at the temperature of the data everything is as stated. */
static void oil_and_valve_at_a_temperature(void **state) {
  (void)state;
  static const struct {
    const char *temperature;
    double kelvin, modulus;
  } rows[] = {{"40 degC", 313.15, 1.0}, {"90 degC", 363.15, 0.75}, {"15 degC", 288.15, 1.125}};
  double rise = NAN;
  double drag = NAN;
  double viscosity = NAN;
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    char text[512];
    (void)snprintf(text, sizeof text,
                   "rig: {oil_temperature: %s, data_temperature: 40 degC, modulus_loss: 25 %%, start_pressure: 0 bar, "
                   "case_pressure: 0 bar}\nfluid: {air_content: 0 %%, wall_modulus: 1e7 bar}\nrelief: {law: poppet, "
                   "poppet_friction: 0 N, damping_temperature: 40 degC}\n",
                   rows[i].temperature);
    struct bench *bench = open_rig(text);
    double mass = *bench_parameter(bench, "relief", "poppet_mass");
    *bench_state(bench, "relief_a_lift") = 1e-4;
    *bench_state(bench, "relief_a_speed") = 0.1;
    double closing = bench_rate(bench, "relief_a_speed");
    *bench_state(bench, "relief_a_speed") = -0.1;
    double damping = (bench_rate(bench, "relief_a_speed") - closing) * mass / 0.2;
    *bench_state(bench, "relief_a_speed") = 0.0;
    *bench_state(bench, "relief_a_lift") = 0.0;
    double now = bench_signal(bench, "pressure_rate");
    double thickness = fluid_viscosity(&bench->oil.viscosity, rows[i].kelvin);
    if (i == 0) {
      rise = now;
      drag = damping;
      viscosity = thickness;
      CHECK_CLOSE(damping, *bench_parameter(bench, "relief", "poppet_damping"), 1e-9);
    }
    CHECK_CLOSE(now / rise, rows[i].modulus, 1e-3);
    CHECK_CLOSE(damping / drag, thickness / viscosity, 1e-9);
    bench_close(bench);
  }
  /* However warm, a twentieth of the modulus is left. */
  struct bench *bench =
      open_rig("rig: {oil_temperature: 150 degC, data_temperature: -40 degC, modulus_loss: 60 %, "
               "start_pressure: 0 bar, case_pressure: 0 bar}\nfluid: {air_content: 0 %, wall_modulus: "
               "1e7 bar}\n");
  CHECK_CLOSE(bench_signal(bench, "pressure_rate") / rise, 0.05, 3e-3);
  bench_close(bench);
}

/* The event of cracking goes by the drop over the valve; that of the stop by the lift, and a valve without a stop never
 * meets it. */
static void events_by_drop_and_lift(void **state) {
  (void)state;
  for (int poppet = 0; poppet <= 1; poppet++) {
    struct bench *bench = open_rig(poppet ? "relief: {law: poppet, setting: 300 bar}\nrig: {case_pressure: 2 bar}\n"
                                          : "relief: {setting: 300 bar}\nrig: {case_pressure: 2 bar}\n");
    const struct plant *plant = bench->data.plant;
    double events[PLANT_EVENT_LIMIT];
    double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
    for (int over = -1; over <= 1; over += 2) {
      bench_set_pressure(bench, "line_a_compression", 302e5 + ambient + over * 1e3);
      if (poppet) {
        *bench_state(bench, "relief_a_lift") = *bench_parameter(bench, "relief", "largest_lift") + over * 1e-6;
      }
      plant->events_at(bench->model, bench->mode, 0.0, bench->state, events);
      CHECK_NEAR(events[0], over * 1e3, 1.0);
      assert_true(poppet ? events[1] * over > 0.0 : events[1] < 0.0);
    }
    bench_close(bench);
  }
}

/* What the feed is once its table's clock has struck at t. */
static double feed_after(struct bench *bench, double t) {
  const char *words;
  const struct plant *plant = bench->data.plant;
  plant->change(bench->model, bench->mode, t, bench->state, -1, &words);
  bench->time = t;
  return bench_signal(bench, "feed_flow") / (60e-3 / 60.0);
}

/* A step is passed at its instant, and at one that a rounding error sets before it. */
static void the_feed_follows_its_table(void **state) {
  (void)state;
  struct bench *bench =
      open_rig("rig: {feed_flow: 60 L/min, feed: [[0 s, 20 %], [0.3 s, 20 %], [0.3 s, 100 %], [0.5 s, 60 %]]}\n");
  const struct plant *plant = bench->data.plant;
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 0.2e-3, 1e-12);
  CHECK_NEAR(plant->next_time(bench->mode), 0.3, 1e-12);
  CHECK_CLOSE(feed_after(bench, nextafter(0.3, 0.0)), 1.0, 1e-9);
  CHECK_NEAR(plant->next_time(bench->mode), 0.5, 1e-12);
  bench->time = 0.4;
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 0.8e-3, 1e-12);
  CHECK_CLOSE(feed_after(bench, 0.5), 0.6, 1e-9);
  assert_true(plant->next_time(bench->mode) == HUGE_VAL);
  bench->time = 7.0;
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 0.6e-3, 1e-12);
  bench_close(bench);
  bench = open_rig("rig: {feed_flow: 60 L/min}\n"); /* without a table all of it */
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 1e-3, 1e-12);
  assert_true(bench->data.plant->next_time(bench->mode) == HUGE_VAL);
  bench_close(bench);
}

/* An action takes over from the table: in a straight line to its target, and it stays there. */
static void an_action_moves_the_feed(void **state) {
  (void)state;
  struct bench *bench = open_rig("rig: {feed_flow: 60 L/min, feed: [[0 s, 20 %], [0.3 s, 20 %], [0.3 s, 100 %]]}\n");
  const struct plant *plant = bench->data.plant;
  plant->move(bench->model, bench->mode, 0.1, 0, 0.6, 0.4);
  CHECK_NEAR(plant->next_time(bench->mode), 0.5, 1e-12);
  bench->time = 0.3;
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 0.4e-3, 1e-9);
  CHECK_CLOSE(feed_after(bench, 0.5), 0.6, 1e-9);
  assert_true(plant->next_time(bench->mode) == HUGE_VAL);
  bench->time = 9.0;
  CHECK_CLOSE(bench_signal(bench, "feed_flow"), 0.6e-3, 1e-9);
  bench_close(bench);
}

/* There is no gallery to return to. */
static void a_rig_has_no_gallery(void **state) {
  (void)state;
  struct bench *bench = open_rig("relief: {setting: 300 bar}\n");
  const struct group *relief = registry_group(bench->data.plant->groups, bench->data.plant->group_count, "relief");
  const struct parameter return_to = {relief, registry_field(relief, "return_to")};
  *(int *)registry_member(bench->data.parameters, return_to) = RELIEF_TO_GALLERY;
  const char *refusal = bench->data.plant->prepare(bench->data.parameters, bench->model);
  assert_non_null(refusal);
  assert_non_null(strstr(refusal, "no charge gallery"));
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(one_volume_by_hand),
      cmocka_unit_test(a_law_shows_its_own_position),
      cmocka_unit_test(a_rise_is_made_at_the_setting),
      cmocka_unit_test(oil_and_valve_at_a_temperature),
      cmocka_unit_test(events_by_drop_and_lift),
      cmocka_unit_test(the_feed_follows_its_table),
      cmocka_unit_test(an_action_moves_the_feed),
      cmocka_unit_test(a_rig_has_no_gallery),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
