/* Writes random cases around the demo machine, for test_properties.c: machine, operator, ground and fault of case
 * number k, the same on every machine, and its mirror image. */
#ifndef SWASHLOOP_TESTS_OUTSIDE_RANDOM_CASE_H
#define SWASHLOOP_TESTS_OUTSIDE_RANDOM_CASE_H

#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "random_ranges.h"
#include "sample.h"

enum { TEXT_LIMIT = 16384, END_TIME = 5 };

struct text {
  char bytes[TEXT_LIMIT];
  size_t length;
};

__attribute__((format(printf, 2, 3))) static void add(struct text *text, const char *format, ...) {
  va_list arguments;
  va_start(arguments, format);
  int added = vsnprintf(text->bytes + text->length, sizeof text->bytes - text->length, format, arguments);
  va_end(arguments);
  assert_true(added >= 0 && text->length + (size_t)added < sizeof text->bytes);
  text->length += (size_t)added;
}

/* ---- parameters ---- */

enum { RANGES = sizeof ranges / sizeof ranges[0], CHOICES = sizeof choices / sizeof choices[0] };
enum { FAULTS = sizeof faults / sizeof faults[0] };

static void add_word(struct text *text, struct sampler *sampler, const char *words) {
  int count = 1;
  for (const char *c = words; *c != '\0'; c++) {
    count += *c == '|';
  }
  int taken = sample_choice(sampler, count);
  const char *start = words;
  for (int i = 0; i < taken; i++) {
    start = strchr(start, '|') + 1;
  }
  add(text, "%.*s", (int)strcspn(start, "|"), start);
}

/* What one random case is: everything but which way it drives. */
struct plan {
  unsigned number;
  bool mirrored;    /* pedals, lines and ground swapped */
  bool mirrors;     /* one of a pair that must be mirror images */
  double tolerance; /* relative; 0: the default */
  bool rosenbrock;  /* by the linearly implicit method */
};

/* The place of a range. */
static int find_range(const char *path) {
  int i = 0;
  while (strcmp(ranges[i].path, path) != 0) {
    i++;
  }
  return i;
}

/* Dry friction of motor and gear, and the heat of the brakes, by numbers of its own, so that the cases keep what they
 * had before. */
static void add_friction_and_heat(struct text *text, const char *section, const char *comma, unsigned number) {
  struct sampler sampler = {0xF51C7u + 1000003u * (uint64_t)number};
  bool smoothed = sample_unit(&sampler) < 0.25;
  if (strcmp(section, "motor") == 0) {
    add(text, "%sfriction: %s, starting_efficiency: %.4g %%, starting_speed: %.4g rpm, wind_up_angle: %.4g deg", comma,
        smoothed ? "smoothed" : "stick", sample_between(&sampler, 75.0, 100.0), sample_decades(&sampler, 10.0, 400.0),
        sample_decades(&sampler, 0.3, 10.0));
  } else if (strcmp(section, "brake") == 0) {
    (void)sample_unit(&sampler);
    add(text, "%sheat: %s, heat_capacity: %.4g kJ/K, cooling: %.4g W/K, fade_begin: %.4g degC, fade_end: 260 degC",
        comma, sample_choice(&sampler, 2) == 0 ? "none" : "one_mass", sample_decades(&sampler, 0.5, 50.0),
        sample_between(&sampler, 0.0, 300.0), sample_between(&sampler, 41.0, 250.0));
  } else if (strcmp(section, "driveline") == 0) {
    (void)sample_unit(&sampler);
    add(text, "%sfriction: %s, breakaway: %.4g %%, starting_speed: %.4g rpm, wind_up_angle: %.4g deg", comma,
        smoothed ? "smoothed" : "stick", sample_between(&sampler, 100.0, 250.0), sample_decades(&sampler, 0.5, 20.0),
        sample_decades(&sampler, 0.01, 0.3));
  }
}

/* One unit in four by a measured map: efficiencies at full stroke, half or none of them with a middle plane, and some
 * with a plane of zero stroke (lost flow and torque). It reaches further than any run, so that none ends at its edge.
 * By numbers of its own. */
static void add_map(struct text *text, const char *section, const char *comma, unsigned number) {
  bool motor = strcmp(section, "motor") == 0;
  if (!motor && strcmp(section, "pump") != 0) {
    return;
  }
  struct sampler sampler = {(motor ? 0xAAB17u : 0xAAB16u) + 1000003u * (uint64_t)number};
  bool chosen = sample_unit(&sampler) < 0.25;
  if (!chosen) {
    return;
  }
  static const double strokes[] = {0.0, 50.0, 100.0};
  static const double pressures[] = {50.0, 300.0, 1500.0};
  double speeds[] = {sample_between(&sampler, 100.0, 600.0), sample_between(&sampler, 1000.0, 3000.0), 60e3};
  int first = sample_choice(&sampler, 3); /* of the strokes */
  add(text, "%slosses: map, map_case_share: %.4g %%, efficiency_map: [", comma, sample_between(&sampler, 0.0, 100.0));
  for (int s = first; s < 3; s++) {
    for (int i = 0; i < 3; i++) {
      for (int k = 0; k < 3; k++) {
        add(text, "%s[%.6g rpm, %g bar", s + i + k > first ? ", " : "", speeds[i], pressures[k]);
        if (first < 2) {
          add(text, ", %g %%", strokes[s]);
        }
        if (strokes[s] == 0.0) {
          add(text, ", %.4g L/min, %.4g N m]", sample_between(&sampler, 0.0, 6.0), sample_between(&sampler, 0.0, 25.0));
        } else {
          add(text, ", %.4g %%, %.4g %%]", sample_between(&sampler, 70.0, 99.0), sample_between(&sampler, 70.0, 98.0));
        }
      }
    }
  }
  add(text, "]");
}

/* A section's parameters as one flow mapping: all of those that start with its name. Is there a second motor? */
static bool add_sections(struct text *text, struct sampler *sampler, unsigned number, bool axles, bool mirrored) {
  static const char *const sections[] = {"fluid",   "heat",      "engine", "pump",  "swash",
                                         "limiter", "relief",    "charge", "hoses", "flushing",
                                         "motor",   "driveline", "brake",  "tyre",  "vehicle"};
  double values[RANGES];
  bool second_motor = false;
  for (int i = 0; i < RANGES; i++) {
    /* most parameters stay where the machine has them: a corner of forty is no machine */
    values[i] = sample_unit(sampler) < 0.35 ? sample_between(sampler, ranges[i].low, ranges[i].high) : NAN;
  }
  /* One in three machines has relief valves that differ; the mirror image has them the other way round. */
  bool each = sample_unit(sampler) < 0.33;
  double setting_b = sample_between(sampler, 300.0, 500.0);
  double setting_a = sample_between(sampler, 300.0, 500.0);
  if (each) {
    values[find_range("relief.setting")] = mirrored ? setting_b : setting_a;
  }
  for (size_t s = 0; s < sizeof sections / sizeof sections[0]; s++) {
    size_t length = strlen(sections[s]);
    add(text, "%s: {", sections[s]);
    const char *comma = "";
    for (int i = 0; i < RANGES; i++) {
      if (strncmp(ranges[i].path, sections[s], length) == 0 && ranges[i].path[length] == '.' && !isnan(values[i])) {
        add(text, "%s%s: %.6g%s%s", comma, ranges[i].path + length + 1, values[i], ranges[i].unit[0] ? " " : "",
            ranges[i].unit);
        comma = ", ";
      }
    }
    for (int i = 0; i < CHOICES; i++) {
      if (strncmp(choices[i].path, sections[s], length) == 0 && choices[i].path[length] == '.') {
        add(text, "%s%s: ", comma, choices[i].path + length + 1);
        add_word(text, sampler, choices[i].words);
        comma = ", ";
      }
    }
    add_friction_and_heat(text, sections[s], comma, number);
    add_map(text, sections[s], strcmp(sections[s], "pump") == 0 ? comma : ", ", number);
    if (each && strcmp(sections[s], "relief") == 0) {
      add(text, "%ssettings: each, setting_b: %.6g bar", comma, mirrored ? setting_a : setting_b);
    }
    if (axles && strcmp(sections[s], "vehicle") == 0) {
      add(text, "%saxles: two, second_motor: ", comma);
      second_motor = sample_choice(sampler, 2) == 1;
      add(text, second_motor ? "yes" : "no");
    }
    add(text, "}\n");
  }
  return second_motor;
}

static void add_table(struct text *text, struct sampler *sampler, const char *unit, double high, double rest) {
  double t = 0.0;
  add(text, "[[0 s, 0 %s]", unit);
  for (int i = 0; i < 4; i++) {
    t += sample_between(sampler, 0.1, 1.5);
    double value = sample_unit(sampler) < rest ? 0.0 : sample_between(sampler, 0.0, high);
    add(text, ", [%.4g s, %.4g %s]", t, value, unit);
  }
  add(text, "]");
}

/* What else a machine may have, and what its operator does with it (`machinery`). By numbers of its own, so that the
 * cases keep what they had before. */
static void add_machinery(struct text *text, struct text *machinery, const struct plan *plan, bool axles,
                          bool second_motor) {
  struct sampler sampler = {0xD81FEu + 1000003u * (uint64_t)plan->number};
  static const char *const levels[] = {"implement_power", "implement_flow", "implement_pressure"};
  static const char *const units[] = {"kW", "L/min", "bar"};
  static const double highest[] = {90.0, 160.0, 250.0};
  add(text, "turbocharger: {natural_share: %.4g %%, lag: %.4g s, fitted: ", sample_between(&sampler, 30.0, 100.0),
      sample_between(&sampler, 0.1, 2.0));
  add_word(text, &sampler, "no|no|yes");
  add(text, "}\nimplement: {full_power_speed: %.4g rpm, displacement: %.4g cm3/rev, law: ",
      sample_between(&sampler, 300.0, 1800.0), sample_between(&sampler, 20.0, 120.0));
  add_word(text, &sampler, "none|none|power|flow_and_pressure");
  add(text, "}\n");
  add(text,
      "gearbox: {ratio_1: %.4g, ratio_2: %.4g, clutch_torque: %.4g N m, shift_time: %.4g s, overlap: %.4g %%, law: ",
      sample_between(&sampler, 1.0, 3.0), sample_between(&sampler, 0.5, 1.5), sample_between(&sampler, 200.0, 3000.0),
      sample_between(&sampler, 0.05, 1.0), sample_between(&sampler, 0.0, 100.0));
  add_word(text, &sampler, "none|none|standstill|under_load|under_load");
  double shift = sample_between(&sampler, 0.1, 2.0);
  double back = sample_between(&sampler, 2.0, 4.0);
  add(text, "}\n");
  add(machinery, "  gear: [[0 s, 1], [%.4g s, 1], [%.4g s, 2], [%.4g s, 2], [%.4g s, 1]]\n", shift, shift, back, back);
  for (size_t i = 0; i < sizeof levels / sizeof levels[0]; i++) {
    add(machinery, "  %s: ", levels[i]);
    add_table(machinery, &sampler, units[i], highest[i], 0.4);
    add(machinery, "\n");
  }
  if (axles && !second_motor) {
    add(text, "transfer_case: {torque: %.4g N m, wind_up_angle: %.4g deg, front_share: %.4g %%, law: ",
        sample_decades(&sampler, 50.0, 2000.0), sample_between(&sampler, 10.0, 120.0),
        sample_between(&sampler, 20.0, 80.0));
    add_word(text, &sampler, "none|locked|clutch|open|limited");
    add(text, "}\nsecond_driveline: {wheel_radius: %.4g m}\n", sample_between(&sampler, 0.55, 0.65));
  }
}

/* The controls between pedals and machine, half of all cases without any. By numbers of their own, as the machinery. Is
 * there an accelerator? */
static bool add_controls(struct text *text, const struct plan *plan, struct sampler *sampler) {
  *sampler = (struct sampler){0xC0417u + 1000003u * (uint64_t)plan->number};
  if (sample_unit(sampler) < 0.5) {
    return false;
  }
  add(text, "controls: {idle_speed: %.4g rpm, drive_begin: %.4g rpm, drive_full: %.4g rpm, ",
      sample_between(sampler, 600.0, 1400.0), sample_between(sampler, 700.0, 1500.0),
      sample_between(sampler, 1600.0, 2300.0));
  add(text, "reversal_speed: %.4g km/h, ramp_up_time: %.4g s, ramp_down_time: %.4g s, ramp_ease: %.4g s, ",
      sample_between(sampler, 0.5, 8.0), sample_decades(sampler, 0.2, 8.0), sample_decades(sampler, 0.2, 8.0),
      sample_decades(sampler, 0.01, 0.6));
  add(text,
      "inching_begin: %.4g %%, inching_full: %.4g %%, inching_brake_begin: %.4g %%, inching_brake_share: %.4g %%, ",
      sample_between(sampler, 0.0, 40.0), sample_between(sampler, 50.0, 100.0), sample_between(sampler, 0.0, 95.0),
      sample_between(sampler, 5.0, 100.0));
  add(text, "anti_stall_load: %.4g %%, anti_stall_gain: %.4g, anti_stall_reset: %.4g s, ",
      sample_between(sampler, 50.0, 100.0), sample_decades(sampler, 0.05, 1.0), sample_decades(sampler, 0.1, 2.0));
  add(text, "reversal: ");
  add_word(text, sampler, "free|held_below");
  add(text, ", ramp: ");
  add_word(text, sampler, "off|ratio");
  add(text, ", inching: ");
  add_word(text, sampler, "none|cut|cut_and_brake");
  add(text, ", anti_stall: ");
  add_word(text, sampler, "off|by_load");
  add(text, "}\n");
  return sample_unit(sampler) < 0.5;
}

/* The levers of a machine with an accelerator. */
static void add_levers(struct text *text, const struct plan *plan, struct sampler *sampler) {
  double way = plan->mirrored ? -1.0 : 1.0;
  add(text, "  layout: accelerator_and_direction\n  accelerator: ");
  add_table(text, sampler, "%", 100.0, 0.2);
  double turned = sample_between(sampler, 0.5, 3.0);
  add(text, "\n  direction: [[0 s, %g %%], [%.4g s, %g %%], [%.4g s, %g %%]]", 100.0 * way, turned, 100.0 * way,
      turned + sample_between(sampler, 0.0, 0.5), sample_unit(sampler) < 0.5 ? 0.0 : -100.0 * way);
}

/* Fuel is counted in half of the cases; by numbers of its own. */
static void add_fuel(struct text *text, const struct plan *plan) {
  struct sampler sampler = {0xF0E1u + 1000003u * (uint64_t)plan->number};
  if (sample_unit(&sampler) < 0.5) {
    add(text, "fuel: {law: willans, indicated_efficiency: %.4g %%}\n", sample_between(&sampler, 30.0, 50.0));
  }
}

static void write_case(const struct plan *plan, struct text *text) {
  struct sampler sampler = {0xC0FFEEu + 1000003u * (uint64_t)plan->number};
  text->length = 0;
  add(text, "machine: forwarder.yaml\nsimulation: {end_time: %d s, output_step: 5 ms", END_TIME);
  if (plan->tolerance > 0.0) {
    add(text, ", relative_tolerance: %.3g, pressure_tolerance: %.3g Pa", plan->tolerance, 1e9 * plan->tolerance);
  }
  add(text, "%s}\n", plan->rosenbrock ? ", method: rosenbrock" : "");
  /* A machine with two axles has a front: it is no mirror image of itself. */
  bool axles = !plan->mirrors && sample_unit(&sampler) < 0.3;
  bool second_motor = add_sections(text, &sampler, plan->number, axles, plan->mirrored);
  struct text machinery = {.length = 0};
  add_machinery(text, &machinery, plan, axles, second_motor);
  double one = sample_between(&sampler, 1.0, 8.0);
  double other = sample_between(&sampler, 1.0, 8.0);
  double case_pressure = sample_between(&sampler, 0.0, 2.0);
  bool drained = sample_unit(&sampler) < 0.5;
  double tank = sample_unit(&sampler) < 0.2 ? 5.0 : 100.0; /* a small one runs empty when a hose bursts */
  add(text, "lines: {volume_a: %.5g L, volume_b: %.5g L, case_pressure: %.5g bar, cases: %s, tank_volume: %g L}\n",
      plan->mirrored ? other : one, plan->mirrored ? one : other, case_pressure, drained ? "drained" : "constant",
      tank);
  double drain_length = sample_between(&sampler, 0.3, 6.0);
  double drain_bore = sample_between(&sampler, 8.0, 32.0);
  if (drained) {
    add(text, "drain: {length: %.4g m, bore: %.4g mm}\n", drain_length, drain_bore);
  }

  add_fuel(text, plan);
  struct sampler controls;
  bool accelerator = add_controls(text, plan, &controls);
  add(text, "operator:\n");
  size_t pedals = text->length;
  add(text, "  %s: ", plan->mirrored ? "reverse_pedal" : "forward_pedal");
  add_table(text, &sampler, "%", 100.0, 0.3);
  add(text, "\n  %s: ", plan->mirrored ? "forward_pedal" : "reverse_pedal");
  add_table(text, &sampler, "%", 100.0, 0.7);
  if (accelerator) { /* in their place */
    text->length = pedals;
    add_levers(text, plan, &controls);
  }
  add(text, "\n  inching: ");
  add_table(text, &controls, "%", 100.0, 0.5);
  add(text, "\n%s  brake: ", machinery.bytes);
  add_table(text, &sampler, "%", 100.0, 0.7);
  add(text, "\n");

  double points[5];
  double grades[5];
  points[0] = sample_between(&sampler, -6.0, 0.0);
  for (int i = 0; i < 5; i++) {
    points[i] = i > 0 ? points[i - 1] + sample_between(&sampler, 0.0, 4.0) : points[0];
    grades[i] = sample_between(&sampler, -30.0, 30.0);
  }
  add(text, "ground: {wheelbase: %.4g m, grade: [", sample_unit(&sampler) < 0.5 ? 0.0 : 3.2);
  for (int i = 0; i < 5; i++) {
    int k = plan->mirrored ? 4 - i : i;
    double sign = plan->mirrored ? -1.0 : 1.0;
    add(text, "%s[%.6g m, %.5g %%]", i > 0 ? ", " : "", sign * points[k], sign * grades[k]);
  }
  add(text, "]}\n");

  if (sample_unit(&sampler) < 0.4) {
    const char *fault = faults[sample_choice(&sampler, FAULTS)];
    char name[64];
    (void)snprintf(name, sizeof name, "%s", fault);
    for (char *c = name; plan->mirrored && *c != '\0'; c++) {
      if (c[0] == '_' && (c[1] == 'a' || c[1] == 'b') && (c[2] == '\0' || c[2] == '_')) {
        c[1] = c[1] == 'a' ? 'b' : 'a';
      }
    }
    add(text, "actions: [{when: time > %.4g s, move: %s, to: 100 %%, over: %.3g s}]\n",
        sample_between(&sampler, 0.5, 4.0), name, sample_unit(&sampler) < 0.5 ? 0.0 : 0.2);
  }
}

#endif
