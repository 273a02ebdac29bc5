/* Every parameter of the registry moves the result of a run in which it should act, and moves nothing, to the last
 * bit, where its row says that it cannot act. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "case.h"
#include "check.h"
#include "effect.h"
#include "registry.h"
#include "run.h"

#define DRIVE                                                                                                          \
  "machine: forwarder.yaml\n"                                                                                          \
  "operator:\n"                                                                                                        \
  "  forward_pedal: [[0 s, 0 %], [0.1 s, 0 %], [0.4 s, 60 %], [1.5 s, 60 %], [1.7 s, 0 %]]\n"                          \
  "  reverse_pedal: [[0 s, 0 %], [1 s, 0 %], [1.1 s, 3 %], [1.5 s, 3 %], [1.6 s, 0 %]]\n"

#define MAP                                                                                                            \
  "[[0.1 rpm, 1 bar, 90 %, 90 %], [0.1 rpm, 900 bar, 80 %, 88 %], [9000 rpm, 1 bar, 95 %, 92 %], "                     \
  "[9000 rpm, 900 bar, 85 %, 90 %]]"

/* Between them they press every lever, take every law and break whatever can break. Short: what acts does so soon. */
static const char *const scenarios[] = {
    /* Drive off, climb into limiter and override, let go on a downgrade. */
    DRIVE "simulation: {end_time: 2.2 s}\n"
          "ground: {grade: [[0 m, 20 %], [1 m, -30 %]], wheelbase: 1 m, grip: [[0 m, 0.8], [1 m, 0.9]],"
          " rolling_resistance: [[0 m, 0.03], [2 m, 0.05]]}\n"
          "vehicle: {start_speed: 9 km/h, dragged_mass: 1 t, draft: 20 kN}\n"
          "heat: {fan_curve: [[0 rpm, 0 %], [3000 rpm, 120 %]], thermostat_begin: 40 degC, thermostat_open: 55 degC,"
          " cooler_fouling: 5 %}\n"
          "engine: {exhaust_brake_torque: 200 N m}\n"
          "limiter: {setting: 150 bar}\nmotor: {override_begin: 120 bar, upstroke_delay: 50 ms, rate_down: 90 %/s,"
          " churning_coefficient: 40}\npump: {churning_coefficient: 40, churning_at_zero_stroke: 20 %}\n"
          "relief: {setting: 200 bar}\n"
          "swash: {rate_down: 110 %/s}\n"
          "charge: {suction_resistance: 2e8 1/m3}\n"
          "filter: {clean_drop: 0.4 bar, bypass_crack: 0.5 bar}\n"
          "actions:\n"
          "  - {when: time > 1.8 s, move: brake, to: 50 %, over: 0.1 s}\n"
          "  - {when: time > 1.6 s, move: exhaust_brake, to: 100 %}\n"
          "  - {when: time > 1.2 s, move: filter_blocked, to: 100 %}\n"
          "  - {when: time > 0.9 s, move: draft, to: 30 %}\n"
          "  - {when: time > 1.4 s, move: throttle, to: 80 %, over: 0.3 s}\n",
    /* The same machine by its other laws. */
    DRIVE "simulation: {end_time: 2 s}\n"
          "lines: {starved_flow: unlimited}\n"
          "engine: {torque_law: curve, torque_curve: [[0 rpm, 500 N m], [3000 rpm, 600 N m]], friction_law: curve,"
          " friction_curve: [[0 rpm, 30 N m], [4000 rpm, 100 N m]], governor: isochronous, stall: held}\n"
          "pump: {losses: map, efficiency_map: " MAP "}\n"
          "motor: {losses: map, efficiency_map: " MAP ", control: two_position, override_line: higher_line,"
          " override_begin: 100 bar, friction: smoothed}\ndriveline: {friction: smoothed}\n"
          "swash: {servo: second_order, underspeed: on, underspeed_high: 2200 rpm}\n"
          "limiter: {law: both_sides, setting: 120 bar}\n"
          "relief: {law: poppet, setting: 160 bar, poppet_friction: 5 N, return_to: gallery, settings: each, "
          "setting_b: 150 bar}\n"
          "brake: {law: smoothed}\n"
          "tyre: {law: slip_curve}\n"
          "heat: {nodes: four}\n"
          "vehicle: {start_speed: 9 km/h}\n"
          "ground: {grade: -15 %}\n"
          "actions:\n"
          "  - {when: time > 1.7 s, move: park_brake, to: 60 %}\n"
          "  - {when: time > 1 s, move: relief_b_stuck_open, to: 100 %}\n",
    /* Two axles and motors on soft ground, an axle that brakes. */
    "machine: forwarder_two_motors.yaml\n"
    "simulation: {end_time: 2 s}\n"
    "brake: {heat: one_mass, fade_begin: 35 degC, fade_end: 60 degC}\n"
    "tyre: {ground: brixius}\n"
    "ground: {grade: 15 %}\n"
    "vehicle: {start_speed: 4 km/h, draft: 20 kN}\n"
    "motor: {override_begin: 120 bar}\n"
    "second_motor: {override_begin: 120 bar, upstroke_delay: 50 ms, rate_down: 70 %/s, churning_coefficient: 40}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 70 %], [1.2 s, 70 %], [1.4 s, 0 %]]}\n"
    "actions:\n  - {when: time > 1.6 s, move: brake, to: 30 %}\n",
    /* One pedal with a direction, cold oil, the charge lost, a hose burst, an engine that dies and is cranked. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 2.6 s}\n"
    "operator: {layout: pedal_and_direction, pedal: [[0 s, 20 %], [1 s, 60 %]], direction: [[0 s, 100 %], [1 s, 90 "
    "%]]}\n"
    "engine: {stall: held, stall_speed: 900 rpm}\n"
    "relief: {setting: 60 bar}\n"
    "fluid: {air_content: 3 %, viscosity_by: grade_and_index}\n"
    "ground: {grade: 12 %}\n"
    "limiter: {side: command, setting: 50 bar}\n"
    "actions:\n"
    "  - {when: time > 0.8 s, move: relief_a_stuck_open, to: 100 %}\n"
    "  - {when: time > 1 s, move: charge_lost, to: 100 %}\n"
    "  - {when: time > 1.4 s, move: hose_burst_a, to: 100 %}\n"
    "  - {when: time > 0.6 s, move: engine_off, to: 100 %}\n"
    "  - {when: time > 1.9 s, move: starter, to: 100 %}\n"
    "  - {when: time > 1.9 s, move: engine_off, to: 0 %}\n",
    /* The second motor's other laws, soil by its table, the limiter by the higher line. */
    "machine: forwarder_two_motors.yaml\n"
    "simulation: {end_time: 1.5 s}\n"
    "tyre: {ground: gee_clough}\n"
    "ground: {grade: [[0 m, 5 %], [1 m, 15 %]], cone_index: [[0 m, 5 bar], [3 m, 12 bar]]}\n"
    "vehicle: {start_speed: 4 km/h}\n"
    "limiter: {law: higher_line, setting: 60 bar}\n"
    "second_motor: {losses: map, efficiency_map: " MAP ", control: two_position, override_line: higher_line,"
    " override_begin: 60 bar, friction: smoothed}\nsecond_driveline: {friction: smoothed}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 70 %]]}\n",
    /* A turbocharged engine that an implement pulls below the speed of its full power. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 2 s}\n"
    "engine: {stall: held, governor: isochronous}\n"
    "turbocharger: {fitted: yes}\n"
    "fuel: {law: willans}\n"
    "implement: {law: power}\n"
    "operator: {implement_power: [[0 s, 0 kW], [0.5 s, 200 kW]]}\n",
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 1 s}\n"
    "implement: {law: flow_and_pressure}\n"
    "fuel: {law: map, consumption_map: [[500 rpm, 50 N m, 400 g/kWh], [500 rpm, 900 N m, 220 g/kWh], [2600 rpm, 50 N "
    "m, 450 g/kWh], [2600 rpm, 900 N m, 240 g/kWh]]}\n"
    "operator: {implement_flow: [[0 s, 0 L/min], [0.5 s, 100 L/min], [0.6 s, 200 L/min]], implement_pressure: 150 "
    "bar}\n",
    /* All gears, one after the other, under load; then by standstill, where one shift comes in time and one too late.
     */
    "machine: forwarder_gearbox.yaml\n"
    "simulation: {end_time: 3.4 s}\n"
    "gearbox: {ratio_3: 0.8, ratio_4: 0.7, shift_time: 0.2 s}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 50 %]],"
    " gear: [[0 s, 1], [1 s, 1], [1 s, 2], [1.7 s, 2], [1.7 s, 3], [2.4 s, 3], [2.4 s, 4]]}\n",
    "machine: forwarder_gearbox.yaml\n"
    "simulation: {end_time: 2 s}\n"
    "gearbox: {law: standstill, standstill_speed: 1 km/h}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 50 %]], gear: [[0 s, 1], [0.45 s, 1], [0.45 s, 2]]}\n",
    /* One motor on both axles, which roll unlike distances; a clutch that slips. */
    "machine: forwarder_transfer_case.yaml\n"
    "simulation: {end_time: 1.5 s}\n"
    "transfer_case: {law: limited, torque: 60 N m}\n"
    "second_driveline: {wheel_radius: 0.56 m}\n"
    "vehicle: {start_speed: 4 km/h}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 70 %]], transfer_clutch: [[0 s, 100 %], [1 s, 40 %]]}\n",
    "machine: forwarder_transfer_case.yaml\n"
    "simulation: {end_time: 1 s}\n"
    "second_driveline: {wheel_radius: 0.6 m}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.4 s, 70 %]]}\n",
    /* Dirt, an engine that is started, and a balance to begin with. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 1.5 s, start: steady, stop_from: 0.5 s}\n"
    "motor: {friction: smoothed}\ndriveline: {friction: smoothed}\n"
    "filter: {clean_drop: 0.4 bar}\n"
    "contamination: {fitted: yes, start_dirt: 1 g}\n"
    "operator: {forward_pedal: [[0 s, 10 %], [0.5 s, 10 %], [0.7 s, 0 %]]}\n",
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 1 s, method: rosenbrock}\n"
    "filter: {clean_drop: 0.4 bar}\n"
    "contamination: {fitted: yes, start_by: counts, start_count_4: 30000 1/mL}\n"
    "brake: {law: smoothed}\n"
    "engine: {exhaust_brake_torque: 100 N m}\n"
    "vehicle: {draft: 3 kN}\n"
    "ground: {grade: -5 %}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.5 s, 10 %]], brake: [[0 s, 20 %], [0.2 s, 0 %]],"
    " exhaust_brake: [[0 s, 100 %], [0.2 s, 50 %]], throttle: [[0 s, 90 %], [0.5 s, 100 %]],"
    " park_brake: [[0 s, 50 %], [0.3 s, 0 %]], draft: [[0 s, 50 %], [0.5 s, 100 %]]}\n",
    /* A stalled engine that the starter's table cranks. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 1.5 s}\n"
    "engine: {stall: held, start_speed: 5 %, stall_speed: 300 rpm}\n"
    "operator: {starter: [[0 s, 0 %], [0.5 s, 100 %]]}\n",
    /* Hoses, drained cases, and a small cold tank that runs empty. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 1.5 s}\n"
    "operator: {forward_pedal: [[0 s, 0 %], [0.3 s, 60 %]]}\n"
    "hoses: {length: 3 m, bore: 16 mm}\n"
    "lines: {cases: drained, case_alarm: 0.5 bar, tank_volume: 1 L, tank_reserve: 90 %}\n"
    "drain: {length: 2 m, bore: 16 mm}\n"
    "charge: {suction_resistance: 4e8 1/m3}\n"
    "heat: {loop_start: 90 degC, tank_start: -10 degC}\n"
    "actions: [{when: time > 0.6 s, move: hose_burst_b, to: 100 %}]\n",
    /* Stroke by engine speed, with every control. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 2.4 s}\n"
    "operator: {layout: accelerator_and_direction, accelerator: [[0 s, 20 %], [0.2 s, 90 %]],"
    " direction: [[0 s, 100 %], [1.8 s, 100 %], [1.9 s, -100 %]],"
    " inching: [[0 s, 0 %], [1.2 s, 0 %], [1.4 s, 90 %], [1.6 s, 0 %]]}\n"
    "engine: {start_speed: 180 %}\n"
    "vehicle: {start_speed: 5 km/h}\n"
    "ground: {grade: 25 %}\n"
    "controls: {reversal: held_below, ramp: ratio, inching: cut_and_brake, anti_stall: by_load}\n",
    /* A driver, downhill too fast for the drive, to and fro, with stops at which loads and power come and go. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 20 s}\n"
    "vehicle: {start_speed: 12 km/h, mass: 20 t}\n"
    "ground: {grade: -35 %}\n"
    "implement: {law: power}\n"
    "driver: {drives: yes, holds_by: park_brake, park_delay: 0.2 s, brake_above: 0.6 km/h, brake_after: 0.2 s,"
    " pedal: [[0 km/h, 0 %], [20 km/h, 90 %]], stop_within: 0.6 m}\n"
    "course: {speed: [[0 m, 10 km/h], [5 m, 6 km/h]], to: [[1, 12 m], [2, 10 m]], dwell: [[1, 1 s], [2, 0.5 s]],"
    " load: [[1, 2 t], [2, 1 t]], dwell_power: [[1, 20 kW]], repeats: 2}\n",
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 30 s}\n"
    "implement: {law: flow_and_pressure}\n"
    "driver: {drives: yes}\n"
    "course: {speed: [[0 m, 3 km/h], [2 m, 20 km/h]], to: [[1, 4 m], [2, 5 m], [3, 30 m]], dwell: [[1, 1 s]],"
    " dwell_flow: [[1, 60 L/min]], dwell_pressure: [[1, 100 bar]], at_end: hold}\n",
    /* To and fro until the temperatures have settled. */
    "machine: forwarder.yaml\n"
    "simulation: {end_time: 60 s}\n"
    "driver: {drives: yes}\n"
    "course: {speed: 5 km/h, to: [[1, 1 m], [2, 0 m]], repeats: 6, ends: when_settled, settled_within: 0.5 K}\n",
    "circuit: valve_rig\n"
    "simulation: {end_time: 0.2 s}\n"
    "relief: {setting: 100 bar}\n"
    "rig: {feed: [[0 s, 100 %], [0.1 s, 50 %]], oil_temperature: 20 degC}\n",
    "circuit: valve_rig\n"
    "simulation: {end_time: 0.2 s}\n"
    "relief: {setting: 100 bar, law: poppet, poppet_friction: 5 N, damping_temperature: 30 degC}\n"
    "rig: {feed_law: rise, rise: 1000 bar/s}\n",
};
enum { IDLE = 6 }; /* the list in src/case/effect.c: five that no scenario wakes; and valve B's setting on the rig */
enum { SCENARIOS = sizeof scenarios / sizeof scenarios[0] };

/* Those that move no result, and why. */
static const struct {
  const char *path;
  const char *plant; /* NULL: any */
  const char *why;
} still[] = {
    {"simulation.output_step", NULL, "measures do not depend on the spacing of the samples"},
    {"simulation.work_limit", "valve_rig", "the rig's runs are shorter than the lowest limit"},
};
enum { STILL = sizeof still / sizeof still[0] };

struct scenario {
  struct case_data data;
  struct outcome outcome;
};

static void load(const char *text, struct case_data *data) {
  struct error error = {0};
  char message[2048];
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/test.yaml", text, NULL, 0, data, &error)) {
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
}

static bool same_number(double a, double b) {
  return a == b || (isnan(a) && isnan(b));
}

/* Are two runs the same, to the last bit of what they tell? */
static bool same(const struct outcome *a, const struct outcome *b) {
  bool same = a->status == b->status && same_number(a->end_time, b->end_time) && a->event_count == b->event_count;
  for (int m = 0; same && m < MEASURE_COUNT; m++) {
    same = same_number(a->measures[m], b->measures[m]);
  }
  for (int i = 0; same && i < a->event_count; i++) {
    same = same_number(a->events[i].time, b->events[i].time) && strcmp(a->events[i].message, b->events[i].message) == 0;
  }
  return same;
}

/* Its place in the case that holds it. */
static void *member(struct case_data *data, struct parameter parameter) {
  return registry_member(parameter.group == &simulation_group ? (void *)&data->simulation : data->parameters,
                         parameter);
}

static const double factors[] = {1.07, 0.8, 3.0, 0.1, 1e-8};
enum { TRIES = sizeof factors / sizeof factors[0] };

/* Another value within the bounds, the n-th that is tried; false: there is none. */
static bool move(struct case_data *data, struct parameter parameter, int n) {
  const struct field *field = parameter.field;
  void *at = member(data, parameter);
  double low = quantity_from_trade(field->quantity, field->low);
  double high = quantity_from_trade(field->quantity, field->high);
  if (field->kind == FIELD_CHOICE) {
    int count = 1;
    for (const char *c = field->choices; *c != '\0'; c++) {
      count += *c == '|';
    }
    *(int *)at = (*(int *)at + 1 + n) % count;
    return n < count - 1;
  }
  if (field->kind == FIELD_REAL) {
    double from = *(double *)at;
    double to = from != 0.0 ? from * factors[n] : high * factors[n] * 0.1;
    *(double *)at = fmax(low, fmin(high, to));
    return *(double *)at != from;
  }
  if (field->kind == FIELD_TABLE) {
    const struct profile *table = at;
    double *values = (double *)(uintptr_t)table->value;
    for (int i = 0; i < table->count; i++) {
      values[i] = fmax(low, fmin(high, values[i] * factors[n] + 0.01 * (high - low) * n));
    }
    return table->count > 0;
  }
  const struct map *map = at;
  double *values = (double *)(uintptr_t)map->volumetric;
  for (int i = 0; i < map->speeds * map->pressures; i++) {
    values[i] *= 0.97;
  }
  return n == 0 && map->speeds > 0;
}

/* What the n-th other value does to the result. */
enum move { NO_SUCH_VALUE, NOTHING_MOVES, MACHINE_REFUSED, RESULT_MOVES };
static enum move try(const struct scenario *scenario, struct parameter parameter, int n) {
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  assert_true(case_copy(&scenario->data, &data, &error));
  enum move found = NO_SUCH_VALUE;
  if (move(&data, parameter, n)) {
    bool ran = run_case(&data, NULL, NULL, &outcome, &error);
    found = !ran ? MACHINE_REFUSED : same(&outcome, &scenario->outcome) ? NOTHING_MOVES : RESULT_MOVES;
    outcome_free(&outcome);
  }
  case_free(&data);
  return found;
}

static bool stays_still(const char *path, const struct plant *plant) {
  for (int i = 0; i < STILL; i++) {
    if (strcmp(path, still[i].path) == 0 && (still[i].plant == NULL || strcmp(plant->name, still[i].plant) == 0)) {
      return true;
    }
  }
  return false;
}

/* Tried where it should act until it moves a result, and once where it should not. */
static int judge(struct scenario *all, const struct plant *plant, struct parameter parameter, int *never_count) {
  char path[128];
  char why[160];
  bool moved = false;
  bool idle = false; /* seen where it should not act */
  bool never = true; /* there is no scenario in which it should */
  int faults = 0;
  (void)snprintf(path, sizeof path, "%s.%s", parameter.group->name, parameter.field->name);
  for (int s = 0; s < SCENARIOS; s++) {
    if (all[s].data.plant != plant) {
      continue;
    }
    bool should = case_acts(&all[s].data, parameter, why, (int)sizeof why);
    for (int n = 0; n < TRIES && (should ? !moved : !idle); n++) {
      enum move found = try(&all[s], parameter, n);
      moved = moved || (should && found >= MACHINE_REFUSED);
      if (!should && found == RESULT_MOVES) {
        print_error("%s: moves a result although %s\n", path, why);
        faults++;
      }
      never = never && !should;
      idle = idle || (!should && found != NO_SUCH_VALUE);
    }
  }
  if (never && !idle) {
    print_error("%s of %s: tried in no scenario\n", path, plant->name);
    faults++;
  } else if (!never && moved != (!stays_still(path, plant))) {
    print_error("%s of %s: %s\n", path, plant->name,
                moved ? "moves a result, but is listed as one that does not" : "moves no result where it should act");
    faults++;
  }
  *never_count += never;
  return faults;
}

static void parameters_act_where_they_say(void **state) {
  (void)state;
  static struct scenario all[SCENARIOS];
  int faults = 0;
  int never_count = 0;
  for (int s = 0; s < SCENARIOS; s++) {
    struct error error = {0};
    load(scenarios[s], &all[s].data);
    if (!run_case(&all[s].data, NULL, NULL, &all[s].outcome, &error) || all[s].outcome.status == RUN_FAILED) {
      fail_msg("scenario %d: %s%s", s, error.text, all[s].outcome.error.text);
    }
  }
  for (int p = 0; registry_plants[p] != NULL; p++) {
    const struct plant *plant = registry_plants[p];
    for (int g = 0; g <= plant->group_count; g++) {
      const struct group *group = g < plant->group_count ? &plant->groups[g] : &simulation_group;
      for (int f = 0; f < group->field_count; f++) {
        faults += judge(all, plant, (struct parameter){group, &group->fields[f]}, &never_count);
      }
    }
  }
  for (int s = 0; s < SCENARIOS; s++) {
    outcome_free(&all[s].outcome);
    case_free(&all[s].data);
  }
  assert_int_equal(faults, 0);
  assert_int_equal(never_count, IDLE); /* nothing else has no scenario in which it should act */
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(parameters_act_where_they_say),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
