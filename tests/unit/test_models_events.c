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
#include "sample.h"
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
  bench = open_bench("relief: {setting: 400 bar, settings: each, setting_b: 350 bar}\n");
  bench_set_pressure(bench, "line_b_compression", low);
  falls_between_pressures(bench, "relief_a", "line_a_compression", low + 400.1e5, low + 399.9e5);
  bench_set_pressure(bench, "line_a_compression", low);
  falls_between_pressures(bench, "relief_b", "line_b_compression", low + 350.1e5, low + 349.9e5);
  bench_close(bench);
  bench = open_bench("relief: {setting: 400 bar, return_to: gallery}\n");
  bench_set_pressure(bench, "charge_compression", 27e5);
  bench_set_pressure(bench, "line_b_compression", 10e5);
  falls_between_pressures(bench, "relief_a", "line_a_compression", 427.1e5, 426.9e5);
  bench_set_pressure(bench, "line_a_compression", 10e5);
  falls_between_pressures(bench, "relief_b", "line_b_compression", 427.1e5, 426.9e5);
  bench_close(bench);
}

/* A line that has given more than it held is told of, whichever of the three it is; the oil told is that of the main
 * line that holds less. */
static void a_line_gives_no_more_than_it_holds(void **state) {
  (void)state;
  static const char *const lines[] = {"line_a_compression", "line_b_compression", "charge_compression"};
  struct bench *bench = open_bench("lines: {volume_a: 2 L, volume_b: 3 L}\n");
  for (int i = 0; i < 3; i++) {
    falls_between(bench, "line_oil", lines[i], -0.999, -1.001);
    *bench_state(bench, lines[i]) = 0.001;
  }
  for (int i = 0; i < 2; i++) {
    *bench_state(bench, lines[i]) = -0.5;
    CHECK_CLOSE(bench_signal(bench, "least_line_oil"), i == 0 ? 1e-3 : 1.5e-3, 1e-12);
    *bench_state(bench, lines[i]) = 0.001;
  }
  CHECK_CLOSE(bench_signal(bench, "least_line_oil"), 2e-3 * 1.001, 1e-12);
  bench_close(bench);
}

/* The low side is the line with the lower pressure, whichever that is. */
static void the_low_side_is_the_lower_line(void **state) {
  (void)state;
  struct bench *bench = open_bench("lines: {case_pressure: 1 bar}\n");
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  for (int a_is_low = 0; a_is_low <= 1; a_is_low++) {
    bench_set_pressure(bench, "line_a_compression", a_is_low ? 20e5 : 300e5);
    bench_set_pressure(bench, "line_b_compression", a_is_low ? 300e5 : 20e5);
    CHECK_NEAR(bench_signal(bench, "low_side_pressure"), 20e5 - ambient, 1.0);
  }
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

/* A stopped engine stands while pump and charge pump together pull less than the crank-over torque, either way round.
 */
static void the_loop_cranks_a_stopped_engine_over(void **state) {
  (void)state;
  struct bench *bench = open_bench("engine: {stall: held, crank_over_torque: 180 N m}\n");
  struct transmission_mode *mode = bench->mode;
  const char *message = NULL;
  mode->burning = false;
  *bench_state(bench, "engine_speed") = 0.0;
  *bench_state(bench, "pump_stroke") = 0.5;
  double low = 20e5 + bench->oil.ambient;
  double displacement = *bench_parameter(bench, "pump", "displacement"); /* m3/rad */
  double charge = *bench_parameter(bench, "charge", "displacement") * 20e5;
  bench_set_pressure(bench, "line_b_compression", low);
  bench_set_pressure(bench, "charge_compression", low);
  for (int back = 0; back <= 1; back++) {
    /* pump torque 0.5 D dp against the engine forward; with line B high it helps it, and the charge pump still drags */
    double drop = back == 0 ? (180.0 - charge) / (0.5 * displacement) : (180.0 + charge) / (0.5 * displacement);
    const char *high = back == 0 ? "line_a_compression" : "line_b_compression";
    const char *other = back == 0 ? "line_b_compression" : "line_a_compression";
    bench_set_pressure(bench, other, low);
    mode->held = true;
    bench_set_pressure(bench, high, low + 0.999 * drop);
    assert_true(guard_at(bench, GUARD_CRANKED) > 0.0);
    CHECK_NEAR(bench_rate(bench, "engine_speed"), 0.0, 0.0);
    bench_set_pressure(bench, high, low + 1.001 * drop);
    assert_true(guard_at(bench, GUARD_CRANKED) < 0.0);
    assert_int_equal(bench->data.plant->change(bench->model, mode, 0.0, bench->state, GUARD_CRANKED, &message),
                     PLANT_GOES_ON);
    assert_non_null(strstr(message, "turns the stopped engine over"));
    assert_false(mode->held);
    assert_true(back == 0 ? bench_rate(bench, "engine_speed") < 0.0 : bench_rate(bench, "engine_speed") > 0.0);
    /* it does not rest again before the pull has fallen by a twentieth */
    assert_true(guard_at(bench, GUARD_REST) > 0.0);
    bench_set_pressure(bench, high, low + 0.9 * drop);
    assert_true(guard_at(bench, GUARD_REST) < 0.0);
  }
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

/* ---- what is not fitted, and what plays about its bound ---- */

/* Any state, however far from anything that a machine does. */
static void scatter(struct bench *bench, struct sampler *sampler) {
  for (int i = 0; i < bench->count; i++) {
    const struct state_row *row = &bench->data.plant->states[bench->rows[i]];
    double range = strcmp(row->unit, "rad/s") == 0  ? 500.0
                   : strcmp(row->unit, "m/s") == 0  ? 30.0
                   : strcmp(row->unit, "m/s2") == 0 ? 20.0
                   : strcmp(row->unit, "N m") == 0  ? 1e5
                   : strcmp(row->unit, "Pa") == 0   ? 1e7
                   : strcmp(row->unit, "m") == 0    ? 0.1
                                                    : 1.0;
    if (strstr(row->name, "compression") != NULL) {
      bench->state[i] = fluid_compression(&bench->oil, sample_decades(sampler, 1e3, 2e8));
    } else if (strcmp(row->unit, "K") == 0) {
      bench->state[i] = sample_between(sampler, 250.0, 400.0);
    } else if (strcmp(row->name, "vehicle_distance") == 0) {
      bench->state[i] = sample_between(sampler, -1e4, 1e4);
    } else {
      bench->state[i] = sample_between(sampler, -range, range);
    }
  }
}

enum { SCATTERED = 400 };

/* What a circuit has not got neither begins nor ends, whatever the machine does: its function stays on the side on
 * which nothing is told. That side is below zero where the event's rise is its beginning, above it where the rise is
 * its end. With the same thing fitted, some of the same states lie on the other side. */
static void what_is_not_fitted_tells_of_nothing(void **state) {
  (void)state;
  static const struct {
    const char *event;
    int quiet; /* sign */
    const char *without;
    const char *with;
  } rows[] = {
      {"limiter_a", -1, "limiter: {fitted: no}\n", "limiter: {fitted: yes}\n"},
      {"limiter_b", -1, "limiter: {fitted: no}\n", "limiter: {fitted: yes}\n"},
      {"motor_override", -1, "motor: {override_line: off}\n", "motor: {override_line: drive_side}\n"},
      {"motor_override", -1, "motor: {override_line: off}\n", "motor: {override_line: higher_line}\n"},
      {"relief_a_stop", -1, "relief: {law: first_order}\n", "relief: {law: poppet}\n"},
      {"relief_b_stop", -1, "relief: {law: first_order}\n", "relief: {law: poppet}\n"},
      {"front_wheel_slip", -1, "vehicle: {axles: together}\n", "vehicle: {axles: two}\n"},
      {"transfer_slip", -1, "vehicle: {axles: two}\n", "vehicle: {axles: two}\ntransfer_case: {law: clutch}\n"},
      {"transfer_slip", -1, "vehicle: {axles: two}\ntransfer_case: {law: locked}\n",
       "vehicle: {axles: two}\ntransfer_case: {law: limited}\n"},
      {"smoke_limit", -1, "turbocharger: {fitted: no}\nimplement: {law: power}\n", "turbocharger: {fitted: yes}\n"},
      {"implement_lugs", -1, "turbocharger: {fitted: yes}\n",
       "implement: {law: power}\noperator: {implement_power: 50 kW}\n"},
      {"front_axle", 1, "vehicle: {axles: together}\n", "vehicle: {axles: two}\n"},
      {"underspeed_control", 1, "swash: {underspeed: off}\n", "swash: {underspeed: on}\n"},
      {"case_pressure", -1, "lines: {cases: constant}\n", "lines: {cases: drained}\ndrain: {length: 2 m}\n"},
      {"tank_oil", 1, "lines: {starved_flow: unlimited}\n", "lines: {starved_flow: by_content}\n"},
      {"reversal", 1, "operator: {forward_pedal: 50 %}\n",
       "operator: {forward_pedal: 50 %}\ncontrols: {reversal: held_below}\n"},
      {"anti_stall", 1, "controls: {anti_stall: off}\n", "controls: {anti_stall: by_load}\n"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    for (int fitted = 0; fitted <= 1; fitted++) {
      struct sampler sampler = {41u};
      struct bench *bench = open_bench(fitted ? rows[i].with : rows[i].without);
      int loud = 0;
      for (int k = 0; k < SCATTERED; k++) {
        scatter(bench, &sampler);
        double value = event_at(bench, rows[i].event);
        loud += !(rows[i].quiet * value > 0.0);
      }
      if (fitted ? loud == 0 || loud == SCATTERED : loud > 0) {
        fail_msg("%s, %s fitted: %d of %d states tell", rows[i].event, fitted ? "" : "not", loud, SCATTERED);
      }
      bench_close(bench);
    }
  }
}

/* The guards of what is not there hold in any state; where it is there, some state lets them fall. */
static void what_is_not_there_changes_no_mode(void **state) {
  (void)state;
  static const struct {
    int guard;
    const char *without;
    const char *with; /* NULL: other tests have it */
  } rows[] = {
      {GUARD_FRONT_AHEAD, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_FRONT_BEHIND, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_STALL, "engine: {stall: none}\n", "engine: {stall: held}\n"},
      {GUARD_STALL, "engine: {stall: none}\n", "engine: {stall: end_run}\n"},
      {GUARD_REST, "engine: {stall: held}\n", NULL},
      {GUARD_FIRES, "engine: {stall: held}\n", NULL},
      {GUARD_COMMAND_SIDE, "limiter: {law: driven_side, side: swash}\n",
       "limiter: {law: driven_side, side: command}\n"},
      {GUARD_GEAR, "gearbox: {law: under_load}\n", NULL},
      {GUARD_COMMAND_SIDE, "limiter: {law: both_sides, side: command}\n", NULL},
      {GUARD_PUMP_MAP_SPEED, "motor: {losses: coefficients}\n", NULL},
      {GUARD_PUMP_MAP_PRESSURE, "pump: {losses: coefficients}\n", NULL},
      {GUARD_MOTOR_MAP_SPEED, "motor: {losses: coefficients}\n", NULL},
      {GUARD_MOTOR_MAP_PRESSURE, "pump: {losses: coefficients}\n", NULL},
      {GUARD_SECOND_MOTOR_MAP_SPEED, "motor: {losses: coefficients}\n", NULL},
      {GUARD_SECOND_MOTOR_MAP_PRESSURE, "vehicle: {axles: two, second_motor: yes}\n", NULL},
      {GUARD_GRIP_AHEAD, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_CONE_BEHIND, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_ROLLING_AHEAD, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_REAR_AHEAD, "ground: {wheelbase: 0 m}\n", NULL},
      {GUARD_REAR_BEHIND, "ground: {wheelbase: 0 m}\n", NULL},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    for (int there = 0; there <= (rows[i].with != NULL); there++) {
      struct sampler sampler = {42u};
      struct bench *bench = open_bench(there ? rows[i].with : rows[i].without);
      int fallen = 0;
      for (int k = 0; k < SCATTERED; k++) {
        scatter(bench, &sampler);
        fallen += !(guard_at(bench, rows[i].guard) > 0.0);
      }
      if (there ? fallen == 0 : fallen > 0) {
        fail_msg("guard %d, row %zu: %d of %d states let it fall", rows[i].guard, i, fallen, SCATTERED);
      }
      bench_close(bench);
    }
  }
}

/* How far a value that has fallen below its bound must rise above it before the next fall is told: so much as ripple
 * makes, in the trade's units as in docs/files.md; none where a valve opens and shuts sharply. */
static void a_value_that_plays_about_its_bound_is_told_once(void **state) {
  (void)state;
  static const struct {
    const char *event;
    double hysteresis; /* SI */
  } rows[] = {
      {"engine_underspeed", 2.0},                                                   /* rad/s, 19 rpm */
      {"engine_backwards", 0.5},  {"underspeed_control", 1.0}, {"line_oil", 1e-6},  /* of the volume */
      {"low_side", 0.2e5},                                                          /* bar */
      {"charge_pressure", 0.5e5}, {"wheel_lock", 0.02},                             /* m/s */
      {"case_pressure", 0.1e5},   {"tank_oil", 1e-6},                               /* m3 */
      {"relief_a_stop", 10e-6},                                                     /* m */
      {"relief_b_stop", 10e-6},   {"transfer_slip", 0.02},     {"brake_fade", 5.0}, /* of its capacity */
      {"smoke_limit", 0.01},                                                        /* of full fuel */
      {"implement_lugs", 0.05},   {"reversal", 0.02},          {"anti_stall", 0.005},
  };
  for (int i = 0; i < transmission_plant.event_count; i++) {
    double expected = 0.0;
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
      expected = strcmp(rows[k].event, transmission_plant.events[i].name) == 0 ? rows[k].hysteresis : expected;
    }
    if (!(fabs(transmission_plant.events[i].hysteresis - expected) <= 1e-12 * expected)) {
      fail_msg("%s: told again after %g, expected %g", transmission_plant.events[i].name,
               transmission_plant.events[i].hysteresis, expected);
    }
  }
}

/* Tolerances of states: those of a kind are alike. A share counts to a millionth of its range, a compression to a
 * pressure of 100 to 200 Pa in liquid, a valve's opening to 100 Pa and its poppet to 10 nm, temperatures to 0.1 mK, oil
 * to 10 uL; engine, swash and poppet, whose speeds are large, to ten times what wheels and machine are held to. */
static void states_of_a_kind_have_one_tolerance(void **state) {
  (void)state;
  static const struct {
    const char *unit;
    const char *word; /* in the name; "": any */
    double tolerance;
  } rows[] = {
      {"m/s", "relief", 1e-5},
      {"m", "relief", 1e-8},
      {"Pa", "relief", 100.0},
      {"rad/s", "engine", 1e-5},
      {"rad/s", "", 1e-6},
      {"m/s", "", 1e-6},
      {"m/s2", "", 1e-5},
      {"1/s", "", 1e-5},
      {"1", "compression", 1e-7},
      {"1", "", 1e-6},
      {"K", "", 1e-4},
      {"m3", "", 1e-8},
      {"N m", "gear_clutch", 0.02},
      {"N m", "transfer", 0.02}, /* before the gears of the axles */
      {"N m", "motor", 0.02},    /* likewise */
      {"N m", "", 1.0},
      {"m", "vehicle_distance", 1e-5},
      {"kg", "load", 1e-3},
      {"kg", "fuel", 1e-6},
  };
  int found = 0;
  for (int i = 0; i < transmission_plant.state_count; i++) {
    const struct state_row *row = &transmission_plant.states[i];
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
      if (strcmp(row->unit, rows[k].unit) == 0 && strstr(row->name, rows[k].word) != NULL) {
        if (!(fabs(row->tolerance / rows[k].tolerance - 1.0) <= 1e-12)) {
          fail_msg("%s: %g, others of its kind %g", row->name, row->tolerance, rows[k].tolerance);
        }
        found++;
        break;
      }
    }
  }
  assert_int_equal(found, transmission_plant.state_count);
  struct bench *bench = open_bench("fluid: {air_content: 0 %}\n");
  double stiff = fluid_compression(&bench->oil, 101e5) - fluid_compression(&bench->oil, 100e5); /* over 1 bar */
  double pressure = 1e-7 / stiff * 1e5;
  print_message("a compression counts to %.0f Pa\n", pressure);
  assert_true(pressure > 100.0 && pressure < 200.0);
  bench_close(bench);
}

/* What carries much of the energy is held tighter: speeds to a hundredth, those of the wheels to a thirtieth, lines and
 * cases to a tenth, a gearbox's clutches to a twentieth of their tolerances; temperatures, whose bodies hold up to 165
 * kJ a kelvin, to 1 nK (the tank), 0.1 uK (brakes) and 30 nK (the rest), for the balance of heat leaves open what their
 * errors times their capacities are: with 0.1 uK in the loop and 10 nK in the tank one random case in fourteen left
 * more than 1e-6; a brake's wind-up to a hundredth of a newton metre, whose error times the speed is a power, and that
 * of the friction in motor and gear, whose torques are less; nothing else. */
static void what_carries_energy_is_held_tighter(void **state) {
  (void)state;
  static const struct {
    const char *name;
    double share;
  } held[] = {{"engine_speed", 0.01},           {"vehicle_speed", 0.01},        {"wheel_speed", 0.03},
              {"front_wheel_speed", 0.03},      {"line_a_compression", 0.1},    {"line_b_compression", 0.1},
              {"loop_temperature", 3e-4},       {"case_temperature", 3e-4},     {"gallery_temperature", 3e-4},
              {"loop_metal_temperature", 3e-4}, {"tank_temperature", 1e-5},     {"brake_torque", 0.01},
              {"front_brake_torque", 0.01},     {"brake_temperature", 1e-3},    {"front_brake_temperature", 1e-3},
              {"motor_friction", 0.3},          {"second_motor_friction", 0.3}, {"gear_friction", 0.3},
              {"front_gear_friction", 0.3},     {"motor_shaft_speed", 0.01},    {"case_compression", 0.1},
              {"gear_clutch_a", 0.05},          {"gear_clutch_b", 0.05}};
  for (int i = 0; i < transmission_plant.state_count; i++) {
    double expected = 1.0;
    for (size_t k = 0; k < sizeof held / sizeof held[0]; k++) {
      expected = strcmp(held[k].name, transmission_plant.states[i].name) == 0 ? held[k].share : expected;
    }
    if (plant_share(&transmission_plant, i) != expected) {
      fail_msg("%s: %g, expected %g", transmission_plant.states[i].name, plant_share(&transmission_plant, i), expected);
    }
  }
  /* A valve alone is measured finer: its volume to half a per cent, the valve to a twentieth. */
  for (int i = 0; i < valve_rig_plant.state_count; i++) {
    const char *name = valve_rig_plant.states[i].name;
    double expected = strcmp(name, "line_a_compression") == 0 ? 0.005 : strncmp(name, "relief", 6) == 0 ? 0.05 : 1.0;
    CHECK_NEAR(plant_share(&valve_rig_plant, i), expected, 0.0);
  }
}

/* Every channel has a value, whether it moves or rests. */
static void every_channel_has_a_value(void **state) {
  (void)state;
  struct bench *bench = open_bench("operator: {forward_pedal: [[0 s, 0 %], [2 s, 100 %]], brake: 30 %}\n");
  const struct transmission_mode *mode = bench->mode;
  for (int moved = -1; moved < CHANNEL_COUNT; moved++) {
    real changed[CHANNEL_COUNT + 1];
    if (moved >= 0) {
      bench->data.plant->move(bench->model, bench->mode, 0.5, moved, 0.25, 0.0);
    }
    for (int i = 0; i <= CHANNEL_COUNT; i++) {
      changed[i] = NAN;
    }
    const real *values = transmission_channel_values(mode, 0.5, changed);
    assert_true(isnan(changed[CHANNEL_COUNT]));
    for (int i = 0; i < CHANNEL_COUNT; i++) {
      CHECK_NEAR(values[i], piece_at(&mode->channels[i].piece, 0.5), 1e-15);
    }
    if (moved < 0) {
      CHECK_NEAR(values[CHANNEL_forward_pedal], 0.25, 1e-12);
      CHECK_NEAR(values[CHANNEL_brake], 0.3, 1e-12);
      CHECK_NEAR(values[CHANNEL_throttle], 1.0, 0.0);
      CHECK_NEAR(values[CHANNEL_charge_lost], 0.0, 0.0);
    }
  }
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_not_fitted_tells_of_nothing),
      cmocka_unit_test(what_is_not_there_changes_no_mode),
      cmocka_unit_test(a_value_that_plays_about_its_bound_is_told_once),
      cmocka_unit_test(states_of_a_kind_have_one_tolerance),
      cmocka_unit_test(what_carries_energy_is_held_tighter),
      cmocka_unit_test(every_channel_has_a_value),
      cmocka_unit_test(wheels_lock_below_a_tenth_of_the_speed),
      cmocka_unit_test(the_bypass_opens_by_the_drop_that_the_signal_shows),
      cmocka_unit_test(charge_pressure_is_low_below_its_bound),
      cmocka_unit_test(lost_charge_and_burst_hoses_tell_of_low_charge_pressure),
      cmocka_unit_test(valves_and_lines_by_their_settings),
      cmocka_unit_test(a_line_gives_no_more_than_it_holds),
      cmocka_unit_test(the_low_side_is_the_lower_line),
      cmocka_unit_test(a_charge_pump_fills_to_ninety_nine_per_cent),
      cmocka_unit_test(engine_and_wheels_by_their_bounds),
      cmocka_unit_test(an_engine_fires_above_its_stall_speed),
      cmocka_unit_test(the_loop_cranks_a_stopped_engine_over),
      cmocka_unit_test(the_commanded_side_changes_past_zero),
      cmocka_unit_test(signals_have_the_signs_that_they_state),
      cmocka_unit_test(the_film_drags_by_its_reference_viscosity),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
