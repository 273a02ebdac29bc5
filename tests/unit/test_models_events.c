/* Event functions and guards of the transmission: each falls through zero where its definition says, to a thousandth,
 * and to the side that its words tell. The numbers stand here as they stand in docs/commands.md and docs/case-files.md.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "transmission.h"

static double event_at(struct bench *bench, const char *name) {
  const struct plant *plant = bench->data.plant;
  real values[PLANT_EVENT_LIMIT];
  plant->events_at(bench->model, bench->mode, bench->time, bench->state, values);
  for (int i = 0; bench->good && i < plant->event_count; i++) {
    if (strcmp(plant->events[i].name, name) == 0) {
      return values[i];
    }
  }
  fail_msg("no event %s", name);
  return NAN;
}

static struct bench *open_bench(const char *text) {
  struct bench *bench = bench_open(text);
  assert_true(bench->good);
  return bench;
}

/* Above zero at `above`, below it at `below`, for a state that is set. */
static void falls_between(struct bench *bench, const char *event, const char *state, double above, double below) {
  *bench_state(bench, state) = above;
  if (!(event_at(bench, event) > 0.0)) {
    fail_msg("%s: %g at %s %g, expected above zero", event, event_at(bench, event), state, above);
  }
  *bench_state(bench, state) = below;
  if (!(event_at(bench, event) < 0.0)) {
    fail_msg("%s: %g at %s %g, expected below zero", event, event_at(bench, event), state, below);
  }
}

static void falls_between_pressures(struct bench *bench, const char *event, const char *state, double above,
                                    double below) {
  falls_between(bench, event, state, fluid_compression(&bench->oil, above), fluid_compression(&bench->oil, below));
}

static void move_channel(struct bench *bench, const char *name, double value) {
  const struct plant *plant = bench->data.plant;
  plant->move(bench->model, bench->mode, bench->time, registry_channel(plant, name), value, 0.0);
}

/* Wheels lock when their rims go slower than a tenth of the machine's speed, above half a metre a second. */
static void wheels_lock_below_a_tenth_of_the_speed(void **state) {
  (void)state;
  struct bench *bench = open_bench("simulation: {end_time: 1 s}\n");
  double radius = *bench_parameter(bench, "driveline", "wheel_radius");
  for (int way = -1; way <= 1; way += 2) {
    *bench_state(bench, "vehicle_speed") = way * 5.0;
    falls_between(bench, "wheel_lock", "wheel_speed", way * 0.5005 / radius, way * 0.4995 / radius);
    *bench_state(bench, "wheel_speed") = 0.0;
    falls_between(bench, "wheel_lock", "vehicle_speed", way * 0.4995, way * 0.5005);
  }
  bench_close(bench);
}

/* The bypass opens when the drop over the element, as loaded as it is, reaches its cracking drop; a charge pump that
 * delivers nothing opens none. */
static void the_bypass_opens_by_the_drop_that_the_signal_shows(void **state) {
  (void)state;
  struct bench *bench =
      open_bench("filter: {clean_drop: 0.3 bar, bypass_crack: 3.5 bar, blocked_loading: 20}\ncharge: {displacement: "
                 "28 cm3/rev}\n");
  double crack = *bench_parameter(bench, "filter", "bypass_crack");
  double clean = bench_signal(bench, "filter_drop");
  assert_true(clean > 0.0 && clean < crack);
  CHECK_CLOSE(event_at(bench, "filter_bypass"), clean - crack, 1e-12);
  move_channel(bench, "filter_blocked", 0.25);
  CHECK_CLOSE(bench_signal(bench, "filter_drop"), 6.0 * clean, 1e-12); /* 1 + 20/4 */
  CHECK_CLOSE(event_at(bench, "filter_bypass"), 6.0 * clean - crack, 1e-12);
  move_channel(bench, "filter_blocked", 1.0);
  assert_true(event_at(bench, "filter_bypass") > 0.0);
  assert_true(bench_signal(bench, "filter_bypass") > 0.0);
  move_channel(bench, "charge_lost", 1.0);
  assert_true(event_at(bench, "filter_bypass") < 0.0);
  assert_true(bench_signal(bench, "filter_bypass") == 0.0);
  bench_close(bench);
}

/* Low is below the parameter, counted over the case; back is above it. */
static void charge_pressure_is_low_below_its_bound(void **state) {
  (void)state;
  struct bench *bench = open_bench("charge: {low_pressure: 10 bar}\nlines: {case_pressure: 1.5 bar}\n");
  double bound = 10e5 + 1.5e5 + *bench_parameter(bench, "fluid", "ambient_pressure");
  falls_between_pressures(bench, "charge_pressure", "charge_compression", bound + 1e3, bound - 1e3);
  bench_close(bench);
}

/* The faults that take the charge pressure say so, and once it is gone it does not come back. */
static void lost_charge_and_burst_hoses_tell_of_low_charge_pressure(void **state) {
  (void)state;
  static const char *const names[] = {"charge_lost", "hose_burst"};
  for (int i = 0; i < 2; i++) {
    char path[512];
    struct case_data data = {0};
    struct outcome outcome = {0};
    struct error error = {0};
    (void)snprintf(path, sizeof path, "%s/cases/%s.yaml", SWASHLOOP_SOURCE, names[i]);
    if (!case_load(path, NULL, 0, &data, &error) || !run_case(&data, NULL, NULL, &outcome, &error)) {
      fail_msg("%s", error.text);
    }
    double told = NAN;
    double fault = NAN;
    const char *last = "";
    for (int k = 0; k < outcome.event_count; k++) {
      const struct run_event *event = &outcome.events[k];
      if (strcmp(event->name, "action") == 0 && isnan(fault)) {
        fault = event->time;
      }
      if (strcmp(event->name, "charge_pressure") == 0) {
        told = isnan(told) ? event->time : told;
        last = event->message;
      }
    }
    if (strncmp(last, "charge pressure low", strlen("charge pressure low")) != 0 || !(told > fault)) {
      fail_msg("%s: fault at %g s, charge pressure told at %g s, last '%s'", names[i], fault, told, last);
    }
    outcome_free(&outcome);
    case_free(&data);
  }
}

/* Pressures: setting over the drop by return path, over the case, absolute. */
static void valves_and_lines_by_their_settings(void **state) {
  (void)state;
  struct bench *bench = open_bench("relief: {setting: 400 bar}\nlimiter: {setting: 380 bar}\n");
  double case_pressure = *bench_parameter(bench, "lines", "case_pressure");
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  double low = 20e5;
  bench_set_pressure(bench, "line_b_compression", low);
  falls_between_pressures(bench, "relief_a", "line_a_compression", low + 400.1e5, low + 399.9e5);
  falls_between_pressures(bench, "limiter_a", "line_a_compression", case_pressure + ambient + 380.1e5,
                          case_pressure + ambient + 379.9e5);
  bench_set_pressure(bench, "line_a_compression", low);
  falls_between_pressures(bench, "relief_b", "line_b_compression", low + 400.1e5, low + 399.9e5);
  falls_between_pressures(bench, "limiter_b", "line_b_compression", case_pressure + ambient + 380.1e5,
                          case_pressure + ambient + 379.9e5);
  *bench_state(bench, "pump_stroke") = 1.0;
  double begin = *bench_parameter(bench, "motor", "override_begin") + case_pressure + ambient;
  falls_between_pressures(bench, "motor_override", "line_a_compression", begin + 1e3, begin - 1e3);
  double starved = *bench_parameter(bench, "lines", "starved_pressure");
  bench_set_pressure(bench, "line_b_compression", 30e5);
  falls_between_pressures(bench, "low_side", "line_a_compression", 1.001 * starved, 0.999 * starved);
  bench_set_pressure(bench, "line_a_compression", 30e5);
  falls_between_pressures(bench, "low_side", "line_b_compression", 1.001 * starved, 0.999 * starved);
  bench_close(bench);
  bench = open_bench("relief: {setting: 400 bar, return_to: gallery}\n");
  bench_set_pressure(bench, "charge_compression", 27e5);
  bench_set_pressure(bench, "line_b_compression", 10e5);
  falls_between_pressures(bench, "relief_a", "line_a_compression", 427.1e5, 426.9e5);
  bench_set_pressure(bench, "line_a_compression", 10e5);
  falls_between_pressures(bench, "relief_b", "line_b_compression", 427.1e5, 426.9e5);
  bench_close(bench);
}

/* The charge pump no longer fills when 1 % of its displacement stays empty. */
static void a_charge_pump_fills_to_ninety_nine_per_cent(void **state) {
  (void)state;
  struct bench *bench = open_bench("charge: {suction_resistance: 1e9 1/m3}\n");
  /* What the suction line passes at most: (p_0 - 0.3 bar)/(r mu), at the tank's viscosity. */
  double viscosity = fluid_viscosity(&bench->oil.viscosity, *bench_state(bench, "tank_temperature"));
  double resistance = *bench_parameter(bench, "charge", "suction_resistance");
  double most = (*bench_parameter(bench, "fluid", "ambient_pressure") - 0.3e5) / (resistance * viscosity);
  double speed = most / *bench_parameter(bench, "charge", "displacement");
  falls_between(bench, "charge_filling", "engine_speed", speed / 0.9905, speed / 0.9895);
  bench_close(bench);
}

/* Speeds of the engine, and slip. */
static void engine_and_wheels_by_their_bounds(void **state) {
  (void)state;
  struct bench *bench = open_bench("tyre: {law: slip_curve}\nswash: {underspeed: on}\n");
  double over = *bench_parameter(bench, "swash", "underspeed_high");
  falls_between(bench, "underspeed_control", "engine_speed", 1.001 * over, 0.999 * over);
  bench_close(bench);
  /* Two axles: each lifts at a hundredth of the weight on the ground, wherever the weight stands. */
  bench = open_bench("vehicle: {axles: two}\n");
  double load = bench_signal(bench, "rear_axle_load") + bench_signal(bench, "front_axle_load");
  double at = bench_signal(bench, "rear_axle_load");
  double felt = *bench_state(bench, "felt_acceleration");
  *bench_state(bench, "felt_acceleration") = felt + 1.0;
  double slope = bench_signal(bench, "rear_axle_load") - at; /* N for 1 m/s2: a straight line */
  assert_true(slope > 0.0);
  double rear = felt + (0.01 * load - at) / slope;
  double front = felt + (0.99 * load - at) / slope;
  double little = 1e-3 * load / slope;
  falls_between(bench, "rear_axle", "felt_acceleration", rear + little, rear - little);
  falls_between(bench, "front_axle", "felt_acceleration", front - little, front + little);
  bench_close(bench);
}

static double guard_at(struct bench *bench, int guard) {
  real values[PLANT_GUARD_LIMIT];
  bench->data.plant->guards(bench->model, bench->mode, bench->state, values);
  return values[guard];
}

/* A stalled engine fires under its starter 5 % above the speed at which it stalls. */
static void an_engine_fires_above_its_stall_speed(void **state) {
  (void)state;
  struct bench *bench = open_bench("engine: {stall: held, stall_speed: 600 rpm}\n");
  struct transmission_mode *mode = bench->mode;
  double stall = *bench_parameter(bench, "engine", "stall_speed");
  mode->burning = false;
  mode->starting = true;
  *bench_state(bench, "engine_speed") = 1.0499 * stall;
  assert_true(guard_at(bench, GUARD_FIRES) > 0.0);
  *bench_state(bench, "engine_speed") = 1.0501 * stall;
  assert_true(guard_at(bench, GUARD_FIRES) < 0.0);
  mode->starting = false;
  assert_true(guard_at(bench, GUARD_FIRES) > 0.0);
  bench_close(bench);
}

/* With the side told by the command, the sides change when the command has passed zero by a hundred thousandth. */
static void the_commanded_side_changes_past_zero(void **state) {
  (void)state;
  struct bench *bench = open_bench("limiter: {law: driven_side, side: command}\n");
  struct transmission_mode *mode = bench->mode;
  for (int forward = 0; forward <= 1; forward++) {
    double sign = forward ? 1.0 : -1.0;
    mode->command_forward = forward;
    *bench_state(bench, "control_pressure") = -0.99e-5 * sign;
    assert_true(guard_at(bench, GUARD_COMMAND_SIDE) > 0.0);
    *bench_state(bench, "control_pressure") = -1.01e-5 * sign;
    assert_true(guard_at(bench, GUARD_COMMAND_SIDE) < 0.0);
  }
  bench_close(bench);
}

/* The film of the pump drags with mu_ref (mu/mu_ref)^e, mu_ref = 0.02 Pa s (rotary.h). */
static void the_film_drags_by_its_reference_viscosity(void **state) {
  (void)state;
  struct bench *bench = open_bench("pump: {friction_coefficient: 0, constant_torque: 0 N m, viscous_exponent: 0.4}\n");
  bench_set_pressure(bench, "line_a_compression", 25e5);
  bench_set_pressure(bench, "line_b_compression", 25e5);
  double viscosity = fluid_viscosity(&bench->oil.viscosity, *bench_state(bench, "loop_temperature"));
  double film = bench_signal(bench, "pump_torque") /
                (*bench_parameter(bench, "pump", "viscous_coefficient") *
                 *bench_parameter(bench, "pump", "displacement") * bench_signal(bench, "engine_speed"));
  assert_true(fabs(viscosity / 0.02 - 1.0) > 0.1); /* else every exponent would do */
  CHECK_CLOSE(film, 0.02 * pow(viscosity / 0.02, 0.4), 1e-4);
  bench_close(bench);
}

/* Signs of the signals, as their texts state them, and of what a burst hose takes. */
static void signals_have_the_signs_that_they_state(void **state) {
  (void)state;
  struct bench *bench = open_bench("tyre: {law: slip_curve}\nbrake: {law: smoothed}\nvehicle: {draft: 10 kN}\n");
  double radius = *bench_parameter(bench, "driveline", "wheel_radius");
  *bench_state(bench, "vehicle_speed") = 2.0;
  *bench_state(bench, "wheel_speed") = 2.2 / radius;
  move_channel(bench, "brake", 1.0);
  assert_true(bench_signal(bench, "traction_force") > 0.0); /* the wheels drive forward */
  assert_true(bench_signal(bench, "brake_torque") > 0.0);   /* and are braked */
  assert_true(bench_signal(bench, "drawbar_force") > 0.0);  /* and pulled back */
  assert_true(bench_signal(bench, "case_flow") > 0.0);
  for (int way = -1; way <= 1; way += 2) { /* either line is flushed out of the loop */
    *bench_state(bench, "flushing_shuttle") = way;
    assert_true(bench_signal(bench, "flush_flow") > 0.0);
  }
  double lost = 0.0;
  double taken = 0.0;
  static const char *const hoses[] = {"hose_burst_a", "hose_burst_b"};
  for (int i = 0; i < 2; i++) { /* each alone, and then both */
    move_channel(bench, hoses[i], 1.0);
    assert_true(bench_signal(bench, "hose_flow") > lost);
    assert_true(bench_power(bench, "hose_burst") > taken);
    lost = bench_signal(bench, "hose_flow");
    taken = bench_power(bench, "hose_burst");
  }
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {

      cmocka_unit_test(wheels_lock_below_a_tenth_of_the_speed),
      cmocka_unit_test(the_bypass_opens_by_the_drop_that_the_signal_shows),
      cmocka_unit_test(charge_pressure_is_low_below_its_bound),
      cmocka_unit_test(lost_charge_and_burst_hoses_tell_of_low_charge_pressure),
      cmocka_unit_test(valves_and_lines_by_their_settings),
      cmocka_unit_test(a_charge_pump_fills_to_ninety_nine_per_cent),
      cmocka_unit_test(engine_and_wheels_by_their_bounds),
      cmocka_unit_test(an_engine_fires_above_its_stall_speed),
      cmocka_unit_test(the_commanded_side_changes_past_zero),
      cmocka_unit_test(signals_have_the_signs_that_they_state),
      cmocka_unit_test(the_film_drags_by_its_reference_viscosity),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
