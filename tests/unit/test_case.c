/* Cases: layers, values, sentences, what the command line sets, and every error with its place. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "case.h"
#include "case_text.h"
#include "check.h"
#include "measures.h"
#include "registry.h"
#include "units.h"

static struct parameter find(const struct case_data *data, const char *group, const char *field) {
  struct parameter parameter = {registry_group(data->plant->groups, data->plant->group_count, group), NULL};
  assert_non_null(parameter.group);
  parameter.field = registry_field(parameter.group, field);
  assert_non_null(parameter.field);
  return parameter;
}

static double real_of(const struct case_data *data, const char *group, const char *field) {
  return *(const real *)registry_member_const(data->parameters, find(data, group, field));
}

static int choice_of(const struct case_data *data, const char *group, const char *field) {
  return *(const int *)registry_member_const(data->parameters, find(data, group, field));
}

static const struct profile *table_of(const struct case_data *data, const char *group, const char *field) {
  return registry_member_const(data->parameters, find(data, group, field));
}

/* The case is refused with exactly this, and the caller's data stay as they were. */
static void refused_with(const char *text, const char *const *sets, int set_count, const char *message) {
  struct case_data data;
  memset(&data, 0x5A, sizeof data);
  struct case_data before = data;
  struct error error = {0};
  char found[2048];
  if (case_load_text("c.yaml", text, sets, set_count, &data, &error)) {
    fail_msg("accepted, expected: %s", message);
  }
  assert_string_equal(error_text(&error, found, sizeof found), message);
  assert_memory_equal(&data, &before, sizeof data);
  assert_int_equal(error.code, ERROR_INPUT);
}

static void refused(const char *text, const char *message) {
  refused_with(text, NULL, 0, message);
}

static void set_refused(const char *set, const char *message) {
  refused_with("title: x\n", &set, 1, message);
}

/* --- What is read ---------------------------------------------------------------------------------------------------
 */

static void a_bare_case_is_all_defaults(void **state) {
  (void)state;
  struct case_data data;
  load_ok("title: Nothing \"set\"\n", &data);
  assert_string_equal(data.title, "Nothing \"set\"");
  assert_string_equal(data.source, "c.yaml");
  assert_ptr_equal(data.plant, &transmission_plant);
  CHECK_CLOSE(real_of(&data, "relief", "setting"), 450e5, 0.0);
  CHECK_CLOSE(data.simulation.end_time, 20.0, 0.0);
  assert_int_equal(data.action_count, 0);
  assert_int_equal(data.limit_count, 0);
  case_free(&data);
  assert_null(data.memory);
  case_free(&data);
}

static void values_of_every_kind(void **state) {
  (void)state;
  struct case_data data;
  load_ok("circuit: transmission\n"
          "pump: {displacement: 110 cm3/rev}\n"
          "limiter:\n"
          "  law: both_sides\n"
          "  setting: 40 MPa\n"
          "ground:\n"
          "  grade: [[0 m, 0 %], [50 m, -25 %], [50 m, 0 %]]\n"
          "operator:\n"
          "  brake: 5 %\n"
          "  forward_pedal: none\n"
          "heat: {loop_start: 80 degC}\n"
          "simulation: {end_time: 2 min}\n",
          &data);
  assert_string_equal(data.title, "c");
  CHECK_CLOSE(real_of(&data, "pump", "displacement"), 110e-6 / TWO_PI, 1e-15);
  assert_int_equal(choice_of(&data, "limiter", "law"), 1);
  CHECK_CLOSE(real_of(&data, "limiter", "setting"), 400e5, 0.0);
  CHECK_NEAR(real_of(&data, "heat", "loop_start"), 353.15, 1e-12);
  CHECK_CLOSE(data.simulation.end_time, 120.0, 0.0);
  const struct profile *grade = table_of(&data, "ground", "grade");
  assert_int_equal(grade->count, 3);
  CHECK_CLOSE(grade->argument[1], 50.0, 0.0);
  CHECK_CLOSE(grade->argument[2], 50.0, 0.0);
  CHECK_CLOSE(grade->value[1], -0.25, 0.0);
  const struct profile *brake = table_of(&data, "operator", "brake");
  assert_int_equal(brake->count, 1);
  CHECK_CLOSE(profile_at(brake, 1000.0), 0.05, 0.0);
  assert_int_equal(table_of(&data, "operator", "forward_pedal")->count, 0);
  case_free(&data);
}

static void another_circuit(void **state) {
  (void)state;
  struct case_data data;
  load_ok("rig: {volume: 2 L}\ncircuit: valve_rig\nlimits: [line_a_pressure <= 500 bar]\n", &data);
  assert_ptr_equal(data.plant, &valve_rig_plant);
  CHECK_CLOSE(real_of(&data, "rig", "volume"), 2e-3, 0.0);
  case_free(&data);
}

static void actions_and_limits(void **state) {
  (void)state;
  struct case_data data;
  load_ok("actions:\n"
          "  - name: let go\n"
          "    when: vehicle_distance > 20 m\n"
          "    move: forward_pedal\n"
          "    to: 30 %\n"
          "    over: 300 ms\n"
          "  - {when: time>=3 s, move: brake, to: 100 %}\n"
          "  - when: line_a_pressure < 30 bar\n"
          "    move: throttle\n"
          "    to: 80 %\n"
          "limits:\n"
          "  - line_a_pressure <= 480 bar\n"
          "  - vehicle_speed <= 5 km/h within 2 s\n"
          "  - lowest_low_side_pressure >= 10 bar\n",
          &data);
  assert_int_equal(data.action_count, 3);
  const struct action *first = &data.actions[0];
  assert_string_equal(first->name, "let go");
  assert_int_equal(first->when.signal, registry_signal(data.plant, "vehicle_distance"));
  assert_true(first->when.above);
  CHECK_CLOSE(first->when.level, 20.0, 0.0);
  assert_int_equal(first->channel, registry_channel(data.plant, "forward_pedal"));
  CHECK_CLOSE(first->target, 0.3, 1e-15);
  CHECK_CLOSE(first->duration, 0.3, 1e-15);
  assert_int_equal(first->line, 2);
  const struct action *second = &data.actions[1];
  assert_string_equal(second->name, "time>=3 s");
  assert_int_equal(second->when.signal, -1);
  assert_string_equal(second->when.name, "time");
  CHECK_CLOSE(second->when.level, 3.0, 0.0);
  CHECK_CLOSE(second->duration, 0.0, 0.0);
  assert_int_equal(second->line, 7);
  assert_false(data.actions[2].when.above);
  CHECK_CLOSE(data.actions[2].when.level, 30e5, 0.0); /* gauge, as the signal */

  assert_int_equal(data.limit_count, 3);
  assert_string_equal(data.limits[0].text, "line_a_pressure <= 480 bar");
  assert_false(data.limits[0].keep.above);
  CHECK_CLOSE(data.limits[0].keep.level, 480e5, 0.0);
  CHECK_CLOSE(data.limits[0].within, 0.0, 0.0);
  assert_int_equal(data.limits[0].line, 12);
  CHECK_CLOSE(data.limits[1].within, 2.0, 0.0);
  assert_true(data.limits[1].keep.signal >= 0);
  assert_int_equal(data.limits[2].keep.signal, -2);
  assert_int_equal(data.limits[2].keep.measure, MEASURE_lowest_low_side_pressure);
  assert_true(data.limits[2].keep.above);
  case_free(&data);
}

/* --- Errors in a case -----------------------------------------------------------------------------------------------
 */

static void unknown_names(void **state) {
  (void)state;
  refused("title: x\npmup:\n  displacement: 1 cm3/rev\n",
          "c.yaml:2:1: error: 'pmup' is no section of the circuit 'transmission'; did you mean 'pump'?");
  refused(
      "pump:\n  displacment: 110 cm3/rev\n",
      "c.yaml:2:3: error: 'displacment' is no field of 'pump'; did you mean 'displacement'?"
      " (pump has displacement, slip_coefficient, case_leak_coefficient, viscous_coefficient, viscous_exponent, "
      "friction_coefficient, constant_torque, friction_at_zero_stroke, churning_coefficient, churning_at_zero_stroke, "
      "compressed_at_zero_stroke, compressed_at_full_stroke, pressure_width, losses, efficiency_map, map_case_share)");
  refused("limit:\n  - a\n",
          "c.yaml:1:1: error: 'limit' is no section of the circuit 'transmission'; did you mean 'limits'?");
  refused("circuit: transmision\n",
          "c.yaml:1:10: error: circuit: found 'transmision', expected transmission or valve_rig; did you mean "
          "'transmission'?");
  refused("circuit: [a]\n", "c.yaml:1:10: error: circuit: found 'a list', expected transmission or valve_rig");
  refused("limiter:\n  law: drivn_side\n",
          "c.yaml:2:8: error: limiter.law: 'drivn_side' is no choice; expected driven_side, both_sides or "
          "higher_line; did you mean 'driven_side'?");
  refused("circuit: valve_rig\npump: {displacement: 1 cm3/rev}\n",
          "c.yaml:2:1: error: 'pump' is no section of the circuit 'valve_rig'");
  refused("simulation: {endtime: 3 s}\n",
          "c.yaml:1:14: error: 'endtime' is no field of 'simulation'; did you mean 'end_time'?"
          " (simulation has end_time, output_step, method, relative_tolerance, pressure_tolerance, "
          "nonlinear_tolerance, largest_order, largest_step, start, stop_from, work_limit)");
}

/* A key of an earlier version is refused with the new one, in a case and on the command line; the new one is there. */
static void renamed_keys_name_the_new_one(void **state) {
  (void)state;
  const struct registry_rename *rename;
  int count = 0;
  for (; (rename = registry_rename(count)) != NULL; count++) {
    char text[128];
    char set[128];
    char words[192];
    char message[512];
    (void)snprintf(text, sizeof text, "%s:\n  %s: 1\n", rename->group, rename->before);
    (void)snprintf(set, sizeof set, "%s.%s=1", rename->group, rename->before);
    (void)snprintf(words, sizeof words, "%s.%s is now called %s.%s", rename->group, rename->before, rename->group,
                   rename->now);
    (void)snprintf(message, sizeof message, "c.yaml:2:3: error: %s", words);
    refused(text, message);
    (void)snprintf(message, sizeof message, "--set '%s', column %d: error: %s", set, (int)strlen(rename->group) + 2,
                   words);
    set_refused(set, message);
    int found = 0;
    for (int k = 0; registry_plants[k] != NULL; k++) {
      const struct group *group =
          registry_group(registry_plants[k]->groups, registry_plants[k]->group_count, rename->group);
      found += group != NULL && registry_field(group, rename->now) != NULL;
      assert_true(group == NULL || registry_field(group, rename->before) == NULL);
    }
    assert_true(found > 0);
  }
  assert_true(count >= 3);
  assert_null(registry_renamed("engine", "inertia"));
}

static void wrong_values(void **state) {
  (void)state;
  refused("relief:\n  setting: 450\n",
          "c.yaml:2:12: error: relief.setting: '450' has no unit; expected Pa, kPa, MPa, GPa, bar, mbar or psi");
  refused("relief:\n  setting: 450 barg\n",
          "c.yaml:2:16: error: relief.setting: 'barg' is no unit of pressure; expected Pa, kPa, MPa, GPa, bar, mbar or "
          "psi; did you mean 'bar'?");
  refused("relief:\n  setting: \"450 barg\"\n",
          "c.yaml:2:12: error: relief.setting: 'barg' is no unit of pressure; expected Pa, kPa, MPa, GPa, bar, mbar or "
          "psi; did you mean 'bar'?");
  refused("engine: {set_speed: 35 Hz}\n",
          "c.yaml:1:24: error: engine.set_speed: 'Hz' is no unit of angular speed; expected rad/s, rpm, rev/min or "
          "rev/s");
  refused("pump:\n  displacement: 3000 cm3/rev\n",
          "c.yaml:2:17: error: pump.displacement: 3000 cm3/rev lies outside 5 cm3/rev to 2000 cm3/rev");
  refused("pump:\n  displacement: -1 L/rev\n",
          "c.yaml:2:17: error: pump.displacement: -1 L/rev lies outside 5 cm3/rev to 2000 cm3/rev");
  refused("pump:\n  displacement: [1 cm3/rev]\n",
          "c.yaml:2:17: error: pump.displacement: found a list, expected one number with a unit");
  refused("pump:\n  displacement:\n    a: b\n",
          "c.yaml:3:5: error: pump.displacement: found a mapping, expected one number with a unit");
  refused("pump:\n  displacement:\n",
          "c.yaml:2:16: error: pump.displacement: '' is no number; expected a number with a unit, m3/rad, cm3/rev, "
          "mL/rev, L/rev or in3/rev");
  refused("limiter: {law: [off]}\n", "c.yaml:1:16: error: limiter.law: found a list, expected a name");
  refused("title: [a]\n", "c.yaml:1:8: error: title: found a list, expected a text");
  refused("pump: 5\n", "c.yaml:1:7: error: section 'pump': found a text, expected fields 'NAME: VALUE' below it");
  refused("title: x\npump:\n", "c.yaml:2:1: error: section 'pump': found nothing, expected fields 'NAME: VALUE' below "
                               "it");
  refused("- a\n", "c.yaml:1:1: error: found a list, expected sections 'NAME:' with fields below");
  refused("---\n", "c.yaml:2:1: error: found nothing, expected sections 'NAME:' with fields below");
  refused("pump: {displacement: 100 cm3/rev, displacement: 110 cm3/rev}\n",
          "c.yaml:1:35: error: 'displacement' is here twice, first in line 1");
}

static void bounds_themselves_are_accepted(void **state) {
  (void)state;
  struct case_data data;
  load_ok("pump: {displacement: 2 L/rev}\nrelief: {setting: 100 MPa}\nengine: {droop: 0.5 1}\n", &data);
  case_free(&data);
  load_ok("pump: {displacement: 5 mL/rev}\nrelief: {setting: 0.1 MPa}\n", &data);
  case_free(&data);
}

static void wrong_tables(void **state) {
  (void)state;
  refused("operator:\n  brake: [[1 s, 0 %], [0.5 s, 5 %]]\n",
          "c.yaml:2:23: error: operator.brake: 0.5 s comes after 1 s; arguments must not fall");
  refused("operator:\n  brake:\n  - [1 s, 0 %]\n  - [1 s, 5 %]\n  - [1000 ms, 6 %]\n",
          "c.yaml:5:5: error: operator.brake: a third point at 1 s; two make a step");
  refused("operator:\n  brake: [[0 s, 0 %], [1e-300 s, 5 %]]\n",
          "c.yaml:2:23: error: operator.brake: a point at 1e-300 s; expected 0 or at least 1e-09 s, nothing moves "
          "within less");
  refused("ground:\n  grade: [[-1e-12 m, 0 %]]\n", "c.yaml:2:11: error: ground.grade: a point at -1e-12 m; expected "
                                                   "0 or at least 1e-09 m, nothing moves within less");
  refused("operator:\n  forward_pedal: []\n",
          "c.yaml:2:18: error: operator.forward_pedal: found an empty list, expected a list of pairs "
          "[[ARGUMENT, VALUE], ...], one value, {file: NAME.csv}, or none: a table without points is a slip");
  refused("pump:\n  efficiency_map: []\n",
          "c.yaml:2:19: error: pump.efficiency_map: found an empty list, expected "
          "none, {file: NAME.csv} or a list of rows, each a row [SPEED, PRESSURE, VOLUMETRIC EFFICIENCY, "
          "HYDRO-MECHANICAL EFFICIENCY], or with the STROKE as third column");
  refused("operator:\n  brake: [0 s, 5 %]\n",
          "c.yaml:2:11: error: operator.brake: found a text, expected a pair [ARGUMENT, VALUE]; a table is a list of "
          "pairs [[ARGUMENT, VALUE], ...], one value, {file: NAME.csv}, or none");
  refused("operator:\n  brake: [[0 s, 5 %, 3]]\n",
          "c.yaml:2:11: error: operator.brake: found a list of 3, expected a pair [ARGUMENT, VALUE]; a table is a list "
          "of pairs [[ARGUMENT, VALUE], ...], one value, {file: NAME.csv}, or none");
  refused("operator:\n  brake: {0 s: 5 %}\n",
          "c.yaml:2:11: error: operator.brake: found '0 s', expected file, argument, value or curve");
  refused("operator:\n  brake: [[0 s, 5 %], [1 m, 5 %]]\n",
          "c.yaml:2:26: error: operator.brake: 'm' is no unit of time; expected s, ms, us, ns, min, h or d");
  refused("operator:\n  brake: [[0 s, 5 %], [1 s, 105 %]]\n",
          "c.yaml:2:29: error: operator.brake: 105 % lies outside 0 % to 100 %");
  refused("operator:\n  brake: [[0 s, [5 %]]]\n",
          "c.yaml:2:17: error: operator.brake: found a list, expected a number with a unit");
  refused("operator:\n  brake: 105 %\n", "c.yaml:2:10: error: operator.brake: 105 % lies outside 0 % to 100 %");
}

static void wrong_actions(void **state) {
  (void)state;
  refused("actions: 5\n",
          "c.yaml:1:10: error: found a text, expected a list: each entry of 'actions' begins with '- '");
  refused("actions:\n  - go\n",
          "c.yaml:2:5: error: found a text, expected an action: when, move, to and, if wanted, over and name");
  refused("actions:\n  - when: time > 1 s\n    mov: brake\n    to: 1 %\n",
          "c.yaml:3:5: error: 'mov' is no part of an action; expected name, when, move, to or over; did you mean "
          "'move'?");
  refused("actions:\n  - when: time > 1 s\n    to: 1 %\n", "c.yaml:2:5: error: the action has no 'move:'");
  refused("actions:\n  - {when: time > 1 s, move: brak, to: 1 %}\n",
          "c.yaml:2:30: error: 'brak' is no channel of the circuit 'transmission'; did you mean 'brake'?");
  refused("actions:\n  - {when: time > 1 s, move: [a], to: 1 %}\n",
          "c.yaml:2:30: error: found a list, expected the name of a channel");
  refused("actions:\n  - {when: time > 1 s, move: brake, to: 1 s}\n",
          "c.yaml:2:43: error: to: 's' is no unit of fraction; expected % or 1");
  refused("actions:\n  - {when: time > 1 s, move: brake, to: [1 %]}\n",
          "c.yaml:2:41: error: to: found a list, expected one number with a unit");
  refused("actions:\n  - {when: time > 1 s, move: brake, to: 120 %}\n",
          "c.yaml:2:41: error: brake: 120 % lies outside 0 % to 100 %");
  refused("actions:\n  - {when: time > 1 s, move: brake, to: 1 %, over: -1 s}\n",
          "c.yaml:2:52: error: over: a movement cannot take less than 0 s");
  refused("actions:\n  - {when: time 1 s, move: brake, to: 1 %}\n",
          "c.yaml:2:17: error: found '1 s' behind 'time', expected <, <=, > or >=");
  refused("actions:\n  - {when: time > , move: brake, to: 1 %}\n",
          "c.yaml:2:18: error: time: '' is no number; expected a number with a unit, s, ms, us, ns, min, h or d");
  refused("actions:\n  - {when: '> 5 s', move: brake, to: 1 %}\n",
          "c.yaml:2:12: error: found '> 5 s', expected a sentence 'SIGNAL > VALUE'");
  refused("actions:\n  - {when: engine_sped > 5 rpm, move: brake, to: 1 %}\n",
          "c.yaml:2:12: error: 'engine_sped' is no signal of the circuit 'transmission'; did you mean 'engine_speed'?");
  refused("actions:\n  - {when: peak_line_a_pressure > 5 bar, move: brake, to: 1 %}\n",
          "c.yaml:2:12: error: 'peak_line_a_pressure' is a measure, known at the end of the run; an action waits for a "
          "signal");
  refused("actions:\n  - {when: engine_speed > 5 bar, move: brake, to: 1 %}\n",
          "c.yaml:2:29: error: engine_speed: 'bar' is no unit of angular speed; expected rad/s, rpm, rev/min or rev/s");
  char text[400];
  char name[120];
  memset(name, 'n', 96);
  name[96] = '\0';
  (void)snprintf(text, sizeof text, "actions:\n  - {name: %s, when: time > 1 s, move: brake, to: 1 %%}\n", name);
  refused(text, "c.yaml:2:12: error: a name of 96 bytes; at most 95 fit");
  (void)snprintf(text, sizeof text, "actions:\n  - {when: %.94s > 1 s, move: brake, to: 1 %%}\n", name);
  refused(text, "c.yaml:2:12: error: a sentence 'SIGNAL > VALUE' of 100 bytes; at most 95 fit");
}

static void wrong_limits(void **state) {
  (void)state;
  refused("limits: {a: b}\n",
          "c.yaml:1:9: error: found a mapping, expected a list: each entry of 'limits' begins with '- '");
  refused("limits:\n  - a: b\n", "c.yaml:2:5: error: found a mapping, expected a sentence 'NAME <= VALUE'");
  refused("limits:\n  - line_a_presure <= 480 bar\n",
          "c.yaml:2:5: error: 'line_a_presure' is no signal or measure of the circuit 'transmission'; did you mean "
          "'line_a_pressure'?");
  refused("limits:\n  - peak_line_c_pressure <= 480 bar\n",
          "c.yaml:2:5: error: 'peak_line_c_pressure' is no signal or measure of the circuit 'transmission'; did you "
          "mean 'peak_line_a_pressure'?");
  refused("limits:\n  - line_a_pressure < 480 bar\n",
          "c.yaml:2:21: error: a limit holds at its level, too; write <= instead of <");
  refused("limits:\n  - line_a_pressure = 480 bar\n",
          "c.yaml:2:21: error: found '= 480 bar' behind 'line_a_pressure', expected <= or >=");
  refused("limits:\n  - line_a_pressure <= 480 rpm\n",
          "c.yaml:2:28: error: line_a_pressure: 'rpm' is no unit of pressure; expected Pa, kPa, MPa, GPa, bar, mbar or "
          "psi");
  refused("limits:\n  - peak_line_a_pressure <= 480 bar within 3 s\n",
          "c.yaml:2:37: error: 'within' has no meaning for 'peak_line_a_pressure': a measure is one number for the "
          "whole run");
  refused("limits:\n  - vehicle_speed <= 5 km/h within 3 m\n",
          "c.yaml:2:38: error: within: 'm' is no unit of time; expected s, ms, us, ns, min, h or d");
  refused("limits:\n  - vehicle_speed <= 5 km/h within -3 s\n", "c.yaml:2:36: error: within: less than 0 s");
  refused("limits:\n  - time <= 5 s\n",
          "c.yaml:2:5: error: 'time' is no signal or measure of the circuit 'transmission'");
  refused("limits:\n  -\n", "c.yaml:2:4: error: found '', expected a sentence 'NAME <= VALUE'");
}

static void laws_that_do_not_go_together(void **state) {
  (void)state;
  refused("charge:\n  leak: 0.1 L/min/bar\n  check_crack: 2 bar\n",
          "c.yaml:3:3: error: charge.check_open must lie above charge.check_crack");
  const char *sets[] = {"charge.check_crack=2 bar"};
  refused_with("title: x\n", sets, 1, "c.yaml: error: charge.check_open must lie above charge.check_crack");
}

/* --- What the command line sets -------------------------------------------------------------------------------------
 */

static void sets_override_in_order(void **state) {
  (void)state;
  const char *sets[] = {
      "pump.displacement=100 cm3/rev", "pump.displacement = 110 cm3/rev",          "title=\"Run = 2: wet\"",
      "simulation.end_time=3 s",       "operator.brake=[[0 s, 0 %], [1 s, 50 %]]", "limiter.law=both_sides"};
  struct case_data data;
  struct error error = {0};
  assert_true(case_load_text("c.yaml", "title: a\npump: {displacement: 90 cm3/rev}\n", sets, 6, &data, &error));
  CHECK_CLOSE(real_of(&data, "pump", "displacement"), 110e-6 / TWO_PI, 1e-15);
  assert_string_equal(data.title, "Run = 2: wet");
  CHECK_CLOSE(data.simulation.end_time, 3.0, 0.0);
  assert_int_equal(table_of(&data, "operator", "brake")->count, 2);
  assert_int_equal(choice_of(&data, "limiter", "law"), 1);
  assert_non_null(strstr(data.resolved, "  displacement: 110 cm3/rev\n"));
  case_free(&data);
}

static void wrong_sets(void **state) {
  (void)state;
  set_refused("pump.displacment=1 cm3/rev",
              "--set 'pump.displacment=1 cm3/rev', column 6: error: 'displacment' is no field of 'pump'; did you mean "
              "'displacement'? (pump has displacement, slip_coefficient, case_leak_coefficient, viscous_coefficient, "
              "viscous_exponent, friction_coefficient, constant_torque, friction_at_zero_stroke, churning_coefficient, "
              "churning_at_zero_stroke, compressed_at_zero_stroke, compressed_at_full_stroke, pressure_width, losses, "
              "efficiency_map, "
              "map_case_share)");
  set_refused("pump.displacement=110 cc",
              "--set 'pump.displacement=110 cc', column 23: error: pump.displacement: 'cc' is no unit of displacement; "
              "expected m3/rad, cm3/rev, mL/rev, L/rev or in3/rev");
  set_refused("pump.displacement=3 L/rev", "--set 'pump.displacement=3 L/rev', column 19: error: pump.displacement: "
                                           "3 L/rev lies outside 5 cm3/rev to 2000 cm3/rev");
  set_refused("pmup.displacement=1", "--set 'pmup.displacement=1', column 1: error: 'pmup.displacement' is no "
                                     "parameter of the circuit 'transmission'; did you mean 'pump.displacement'?");
  set_refused("droop=5 %", "--set 'droop=5 %', column 1: error: 'droop' is no parameter of the circuit 'transmission'; "
                           "did you mean 'engine.droop'?");
  set_refused("pump=5", "--set 'pump=5', column 1: error: 'pump' is a section; set one of its fields, "
                        "'pump.FIELD=VALUE'");
  set_refused("machine=x.yaml",
              "--set 'machine=x.yaml', column 1: error: 'machine' cannot be set here; write it in the case");
  set_refused("pump.displacement",
              "--set 'pump.displacement', column 1: error: found no path and '=', expected PATH=VALUE");
  set_refused("=5", "--set '=5', column 1: error: found no path and '=', expected PATH=VALUE");
  set_refused("title=", "--set 'title=', column 7: error: nothing is written here");
  set_refused("title=*x", "--set 'title=*x', column 7: error: an alias (*); a case spells every value out");
  set_refused("operator.brake=[[1 s, 0 %], [0 s, 5 %]]",
              "--set 'operator.brake=[[1 s, 0 %], [0 s, 5 %]]', column 29: error: operator.brake: 0 s comes after 1 s; "
              "arguments must not fall");
  set_refused("operator.brake=[[1 s, 0 %]",
              "--set 'operator.brake=[[1 s, 0 %]', column 27: error: no well-formed YAML: while parsing a flow "
              "sequence, did not find expected ',' or ']'");
}

/* --- Files ----------------------------------------------------------------------------------------------------------
 */

static char folder[] = "/tmp/swashloop-case-XXXXXX";

static const char *in_folder(const char *name) {
  static char path[256];
  (void)snprintf(path, sizeof path, "%s/%s", folder, name);
  return path;
}

static void write_file(const char *name, const char *text) {
  FILE *file = fopen(in_folder(name), "wb");
  assert_non_null(file);
  assert_true(fputs(text, file) >= 0);
  assert_int_equal(fclose(file), 0);
}

static void file_refused(const char *name, const char *message) {
  struct case_data data;
  struct error error = {0};
  char found[2048];
  char expected[2048];
  char path[256];
  (void)snprintf(path, sizeof path, "%s", in_folder(name));
  assert_false(case_load(path, NULL, 0, &data, &error));
  /* '@' stands for the folder. */
  size_t used = 0;
  for (const char *from = message; *from; from++) {
    int wrote =
        snprintf(expected + used, sizeof expected - used, "%.*s", *from == '@' ? 255 : 1, *from == '@' ? folder : from);
    used += (size_t)wrote;
  }
  assert_string_equal(error_text(&error, found, sizeof found), expected);
}

static int make_folder(void **state) {
  (void)state;
  if (!mkdtemp(folder)) {
    return 1;
  }
  return mkdir(in_folder("machines"), 0700);
}

static int remove_folder(void **state) {
  (void)state;
  static const char *const files[] = {"machines/base.yaml", "machines/big.yaml", "machines/loop.yaml",
                                      "machines/self.yaml", "machines/bad.yaml", "machines/run.yaml",
                                      "case.yaml",          "loop.yaml",         "other.yaml"};
  for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
    (void)unlink(in_folder(files[i]));
  }
  (void)rmdir(in_folder("machines"));
  return rmdir(folder);
}

/* Reading goes on behind a fault, up to a bound. */
static void all_faults_are_told(void **state) {
  (void)state;
  static struct faults faults;
  struct case_data data;
  write_file("faults.yaml", "title: [x]\npump: {displacment: 1 cm3/rev, losses: mapp}\nrelief:\n  setting: 4000 bar\n"
                            "grund: 3\nactions:\n  - {when: pedal > 0 %, move: brakes, to: 1 %}\n  - 3\n"
                            "limits:\n  - foo <= 3\n  - engine_speed < 3 rpm\n");
  char path[256];
  (void)snprintf(path, sizeof path, "%s", in_folder("faults.yaml"));
  const char *sets[] = {"pump.displacement=1 bar", "vehicle.mass=3"};
  assert_false(case_load_telling(path, sets, 2, &data, &faults));
  static const int lines[] = {1, 2, 2, 4, 5, 7, 8, 10, 11, 0, 0};
  assert_int_equal(faults.count, 11);
  assert_int_equal(faults.left_out, 0);
  for (int i = 0; i < faults.count; i++) {
    assert_int_equal(faults.at[i].code, ERROR_INPUT);
    assert_int_equal(faults.at[i].line, lines[i]);
    assert_true(faults.at[i].column > 0);
  }
  char many[4096] = "operator:\n  brake: 1 %\npump:\n";
  for (int i = 0; i < FAULT_LIMIT + 5; i++) {
    (void)snprintf(many + strlen(many), sizeof many - strlen(many), "  no_%d: 1\n", i);
  }
  write_file("faults.yaml", many);
  assert_false(case_load_telling(path, NULL, 0, &data, &faults));
  assert_int_equal(faults.count, FAULT_LIMIT);
  assert_int_equal(faults.left_out, 5);
  /* What cannot be read at all ends it. */
  write_file("faults.yaml", "pump: {x: 1}\n\tbad\n");
  assert_false(case_load_telling(path, NULL, 0, &data, &faults));
  assert_int_equal(faults.count, 1);
  assert_int_equal(unlink(path), 0);
}

static void machines_lie_below_the_case(void **state) {
  (void)state;
  write_file("machines/base.yaml", "title: base\npump: {displacement: 90 cm3/rev}\nmotor: {displacement: 150 cm3/rev}\n"
                                   "vehicle: {mass: 5 t}\noperator: {brake: 5 %}\n");
  write_file("machines/big.yaml", "title: big\nmachine: base.yaml\nmotor: {displacement: 200 cm3/rev}\n"
                                  "vehicle: {mass: 9 t}\n");
  write_file("case.yaml", "machine: machines/big.yaml\nvehicle: {mass: 10 t}\noperator: {brake: none}\n");
  struct case_data data;
  struct error error = {0};
  char path[256];
  (void)snprintf(path, sizeof path, "%s", in_folder("case.yaml"));
  const char *sets[] = {"vehicle.gravity=9.8 m/s2"};
  assert_true(case_load(path, sets, 1, &data, &error));
  assert_string_equal(data.title, "big");
  assert_string_equal(data.source, path);
  CHECK_CLOSE(real_of(&data, "pump", "displacement"), 90e-6 / TWO_PI, 1e-15);
  CHECK_CLOSE(real_of(&data, "motor", "displacement"), 200e-6 / TWO_PI, 1e-15);
  CHECK_CLOSE(real_of(&data, "vehicle", "mass"), 10000.0, 0.0);
  CHECK_CLOSE(real_of(&data, "vehicle", "gravity"), 9.8, 0.0);
  assert_int_equal(table_of(&data, "operator", "brake")->count, 0);
  assert_null(strstr(data.resolved, "machine"));
  case_free(&data);
}

static void wrong_files(void **state) {
  (void)state;
  file_refused("no.yaml", "@/no.yaml: error: cannot be read: No such file or directory");
  file_refused("machins", "@/machins: error: cannot be read: No such file or directory; did you mean '@/machines'?");
  file_refused("machines", "@/machines: error: cannot be read: Is a directory");
  write_file("other.yaml", "title: x\nmachine: machines/no.yaml\n");
  file_refused("other.yaml", "@/other.yaml:2:10: error: machine file '@/machines/no.yaml' cannot be read: No such file "
                             "or directory");
  write_file("other.yaml", "machine: [a]\n");
  file_refused("other.yaml", "@/other.yaml:1:10: error: machine: found a list, expected a file name");
  write_file("other.yaml", "machine:\n");
  file_refused("other.yaml", "@/other.yaml:1:9: error: machine: found nothing, expected a file name");
  write_file("machines/bad.yaml", "vehicle:\n  mas: 5 t\n");
  write_file("other.yaml", "machine: machines/bad.yaml\npmup: {}\n");
  file_refused("other.yaml", "@/machines/bad.yaml:2:3: error: 'mas' is no field of 'vehicle'; did you mean 'mass'?"
                             " (vehicle has mass, gravity, axles, second_motor, rear_share, wheelbase, gravity_height, "
                             "drawbar_height, pitch_lag, dragged_mass, drag_friction, draft, drag_width, start_speed)");
  write_file("machines/run.yaml", "title: a\nsimulation: {end_time: 5 s}\n");
  write_file("other.yaml", "machine: machines/run.yaml\n");
  file_refused("other.yaml", "@/machines/run.yaml:2:1: error: 'simulation' belongs in the case, not in a machine file");
  write_file("other.yaml", "a: b\nb: c: d\n");
  file_refused("other.yaml", "@/other.yaml:2:5: error: no well-formed YAML: mapping values are not allowed in this "
                             "context");
}

static void machines_must_not_go_round(void **state) {
  (void)state;
  write_file("machines/self.yaml", "machine: ../machines/self.yaml\n");
  write_file("case.yaml", "machine: machines/self.yaml\n");
  file_refused("case.yaml", "@/machines/self.yaml:1:10: error: machine '../machines/self.yaml' leads back to "
                            "@/machines/self.yaml");
  write_file("loop.yaml", "machine: machines/loop.yaml\n");
  write_file("machines/loop.yaml", "machine: ../loop.yaml\n");
  file_refused("loop.yaml", "@/machines/loop.yaml:1:10: error: machine '../loop.yaml' leads back to @/loop.yaml");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_bare_case_is_all_defaults),
      cmocka_unit_test(values_of_every_kind),
      cmocka_unit_test(another_circuit),
      cmocka_unit_test(actions_and_limits),
      cmocka_unit_test(unknown_names),
      cmocka_unit_test(renamed_keys_name_the_new_one),
      cmocka_unit_test(wrong_values),
      cmocka_unit_test(bounds_themselves_are_accepted),
      cmocka_unit_test(wrong_tables),
      cmocka_unit_test(wrong_actions),
      cmocka_unit_test(wrong_limits),
      cmocka_unit_test(laws_that_do_not_go_together),
      cmocka_unit_test(sets_override_in_order),
      cmocka_unit_test(all_faults_are_told),
      cmocka_unit_test(wrong_sets),
      cmocka_unit_test(machines_lie_below_the_case),
      cmocka_unit_test(wrong_files),
      cmocka_unit_test(machines_must_not_go_round),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
