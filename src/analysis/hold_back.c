/* The hold-back map: how steep a downgrade the drive holds at a steady speed without the friction brake, and what ends
 * it. At every speed the machine is put in balance along the pedal, from level drive down to the foot off; each
 * edge is then found exactly, with pedal and grade sought. Engine braking, relief and grip at the oil temperatures of
 * the case; heat in thermal balance. */
#include <math.h>
#include <string.h>

#include "scan.h"
#include "steady.h"
#include "relief.h"
#include "registry.h"
#include "units.h"

static const char FOOT_OFF[] = "foot off";

/* What ends the hold, in the order in which a tie is reported. */
enum edge { EDGE_ENGINE, EDGE_RELIEF, EDGE_GRIP, EDGE_HEAT, EDGE_COUNT };

static const struct {
  enum machine_bound bound;
  const char *hot; /* words where it ends the hold with the loop at its highest temperature */
  struct signal row;
} edges[EDGE_COUNT] = {
    {BOUND_engine_overspeed,
     "engine braking, hot oil",
     {"grade_engine_braking", QUANTITY_FRACTION, REFERENCE_NONE,
      "downgrade at which the engine reaches its allowed speed"}},
    {BOUND_relief,
     "relief valve, hot oil",
     {"grade_relief", QUANTITY_FRACTION, REFERENCE_NONE, "downgrade at which the relief valve cracks"}},
    {BOUND_grip,
     "grip, hot oil",
     {"grade_grip", QUANTITY_FRACTION, REFERENCE_NONE, "downgrade at which the grip is used up"}},
    {BOUND_heat,
     "heat",
     {"grade_heat", QUANTITY_FRACTION, REFERENCE_NONE,
      "downgrade at which the loop reaches its highest temperature in thermal balance"}},
};

struct hold {
  double grades[EDGE_COUNT]; /* NaN: not met before the foot is off */
  double foot_off;           /* downgrade held with the foot off, NaN if there is no balance */
  struct machine_point best; /* at the edge that is met first */
  double usable;             /* grade there */
  const char *limit;
};

static struct balance_condition edge_condition(const struct machine *machine, enum edge edge) {
  struct balance_condition condition = {-1, 0.0, 1.0};
  switch (edge) {
  case EDGE_ENGINE:
    condition =
        (struct balance_condition){machine_signal(machine, READ_engine_speed), machine->allowed_overspeed, 100.0};
    break;
  case EDGE_RELIEF:
    condition = (struct balance_condition){machine_signal(machine, READ_line_pressure_difference),
                                           -relief_valve_b(machine->own.relief).setting, 1e7};
    break;
  case EDGE_GRIP:
    condition =
        (struct balance_condition){machine_signal(machine, READ_wheel_slip), -tyre_peak_slip(machine->own.tyre), 0.1};
    break;
  case EDGE_HEAT:
    condition = (struct balance_condition){MACHINE_HEATING, 0.0, 1.0};
    break;
  case EDGE_COUNT:
    break;
  }
  return condition;
}

/* The scan point from which to go down: level drive, or full pedal where the machine is too fast for that. */
static int top_of(const struct scan *scan) {
  int top = -1;
  for (int i = 0; i < SCAN_POINTS; i++) {
    if (scan->points[i].found) {
      top = i;
      if (scan->points[i].at.inputs[MACHINE_GRADE] >= 0.0) {
        break;
      }
    }
  }
  return top;
}

static void consider(struct hold *hold, const struct machine_point *point, const char *limit) {
  double grade = point->inputs[MACHINE_GRADE];
  if (grade <= 0.0 && (isnan(hold->usable) || grade > hold->usable)) {
    hold->usable = grade;
    hold->limit = limit;
    hold->best = *point;
  }
}

/* Where heat ends the hold the oil is hot, and the other bounds are those of hot oil: it leaks more, and the engine
 * turns faster. */
static void hold_hot_edges(struct machine *machine, const struct scan *hot, int from, struct hold *hold) {
  struct machine_point point;
  for (int k = 0; k < EDGE_HEAT; k++) {
    if (scan_edge(machine, hot, from, edge_condition(machine, (enum edge)k), &point)) {
      hold->grades[k] = point.inputs[MACHINE_GRADE];
      if (!isnan(hold->usable)) {
        consider(hold, &point, edges[k].hot);
      }
    }
  }
}

/* The edge of heat, the loop at its highest temperature and all behind it in balance. `cold` is the scan at the
 * temperatures of the case. About no load the flushing shuttle stands shut and the loop keeps its heat: the edge is
 * looked for from where the shuttle is open, down. */
static void hold_heat(struct machine *machine, const struct scan *cold, int top, struct hold *hold) {
  struct balance_condition hot = edge_condition(machine, EDGE_HEAT);
  int drop = machine_signal(machine, READ_line_pressure_difference);
  double shift = machine->own.flushing->shift_pressure;
  struct machine_point start;
  struct machine_point point;
  struct scan scan;
  bool found = false;
  int open = top + 1;
  while (open > 0 && !found) {
    const struct scan_point *here = &cold->points[--open];
    start = here->at;
    found = here->found && here->signals[drop] < -shift && machine_follow(machine, cold->speed, MACHINE_GRADE, &start);
  }
  if (!found) {
    return;
  }
  scan_pedal_down(machine, cold->speed, MACHINE_GRADE, &start, open, &scan);
  /* Hot oil leaks more, so that the shuttle may still stand shut at the first of them. */
  int cool = open;
  while (cool >= 0 && !(scan.points[cool].found && scan.points[cool].heating <= 0.0)) {
    cool--;
  }
  /* Or the loop is cool only between the first at which it stands open and the place above. */
  while (cool < 0 && open > 0 && scan.points[open].found && !(scan.points[open].signals[drop] < -shift)) {
    open--;
  }
  struct balance_condition opened = {drop, -shift, 1e7};
  if (cool < 0 && scan.points[open].found && scan_finer(machine, &scan, open, hot, opened)) {
    cool = open + 1;
  }
  if (cool < 0) {
    /* Hot on every grade that goes with this speed. */
    hold->usable = NAN;
    hold->limit = machine_bound_words[BOUND_heat];
    hold_hot_edges(machine, &scan, open, hold);
  } else if (scan_edge(machine, &scan, cool, hot, &point)) {
    hold->grades[EDGE_HEAT] = point.inputs[MACHINE_GRADE];
    consider(hold, &point, machine_bound_words[BOUND_heat]);
    if (hold->usable == hold->grades[EDGE_HEAT]) {
      hold_hot_edges(machine, &scan, cool, hold);
    }
  }
}

/* The engine may pass its allowed speed and come back between two points of the scan, where the relief valve opens. */
static void hold_engine_again(struct machine *machine, const struct scan *scan, int top, struct hold *hold) {
  if (isnan(hold->usable) || !isnan(hold->grades[EDGE_ENGINE]) ||
      (machine_bounds(machine, &hold->best) & (1u << BOUND_engine_overspeed)) == 0) {
    return;
  }
  struct machine_point point;
  int above = top;
  while (above > 0 && scan->points[above - 1].found &&
         fabs(scan->points[above - 1].at.inputs[MACHINE_PEDAL]) > fabs(hold->best.inputs[MACHINE_PEDAL])) {
    above--;
  }
  if (scan_edge_between(machine, scan, above, &hold->best, edge_condition(machine, EDGE_ENGINE), &point)) {
    hold->grades[EDGE_ENGINE] = point.inputs[MACHINE_GRADE];
    consider(hold, &point, machine_bound_words[BOUND_engine_overspeed]);
  }
}

static void hold_at(struct machine *machine, double speed, const struct machine_point *from, struct hold *hold) {
  struct scan scan;
  struct machine_point point;
  hold->usable = NAN;
  hold->foot_off = NAN;
  hold->limit = "";
  for (int k = 0; k < EDGE_COUNT; k++) {
    hold->grades[k] = NAN;
  }
  machine->warm = false;
  scan_pedal(machine, speed, MACHINE_GRADE, from, &scan);
  int top = top_of(&scan);
  if (top < 0) {
    hold->limit = "no balance";
    return;
  }
  const struct scan_point *start = &scan.points[top];
  if (start->at.inputs[MACHINE_GRADE] < 0.0 && (start->bounds & (1u << BOUND_engine_overspeed)) != 0) {
    /* Full pedal, and the engine already turns too fast. */
    hold->limit = machine_bound_words[BOUND_gearing];
    return;
  }
  if (scan.points[0].found) {
    hold->foot_off = scan.points[0].at.inputs[MACHINE_GRADE];
  }
  for (int k = 0; k < EDGE_HEAT; k++) {
    if (scan_edge(machine, &scan, top, edge_condition(machine, (enum edge)k), &point)) {
      hold->grades[k] = point.inputs[MACHINE_GRADE];
      consider(hold, &point, machine_bound_words[edges[k].bound]);
    }
  }
  struct balance_condition front = edge_condition(machine, EDGE_GRIP);
  front.signal = machine_signal(machine, READ_front_wheel_slip);
  if (machine_drives_front(machine) && scan_edge(machine, &scan, top, front, &point) &&
      !(point.inputs[MACHINE_GRADE] <= hold->grades[EDGE_GRIP])) {
    /* The front wheels give up first. */
    hold->grades[EDGE_GRIP] = point.inputs[MACHINE_GRADE];
    consider(hold, &point, machine_bound_words[BOUND_grip]);
  }
  if (isnan(hold->usable) && scan.points[0].found) {
    consider(hold, &scan.points[0].at, FOOT_OFF);
  }
  hold_engine_again(machine, &scan, top, hold);
  machine->warm = true;
  hold_heat(machine, &scan, top, hold);
  machine->warm = false;
}

/* With the foot off nothing answers a machine that gets faster but the drive itself. Where it then holds less, as one
 * by accelerator does, whose engine is pushed up and strokes the pump, the balance does not keep itself. */
static void tell_falling(struct steady_answer *answer, const double *speeds, const double *usable,
                         const char *const *limits, int count) {
  int first = -1;
  for (int i = 0; i < count; i++) {
    bool falls = i + 1 < count && strcmp(limits[i], FOOT_OFF) == 0 && strcmp(limits[i + 1], FOOT_OFF) == 0 &&
                 usable[i + 1] > usable[i];
    if (falls && first < 0) {
      first = i;
    }
    if (!falls && first >= 0) {
      char from[48];
      char to[48];
      steady_say(
          answer,
          "from %s to %s the faster the machine, the less it is held with the foot off: on the grade told it gets "
          "ever faster, or slower, unless the driver answers",
          units_show(QUANTITY_SPEED, speeds[first], from, sizeof from),
          units_show(QUANTITY_SPEED, speeds[i], to, sizeof to));
      first = -1;
    }
  }
}

/* Where two axles are driven the grade told may be held in more than one way: `counts` says in how many others. */
static void tell_shared(struct steady_answer *answer, const double *speeds, const double *counts, int count) {
  int found = 0;
  int first = -1;
  int last = -1;
  for (int i = 0; i < count; i++) {
    if (counts[i] > 0.0) {
      found++;
      first = first < 0 ? i : first;
      last = i;
    }
  }
  if (found > 0) {
    char from[48];
    char to[48];
    steady_say(
        answer,
        "at %d of these speeds, %s to %s, the axles can share the grade told in another way, too; told is that of a "
        "machine loaded more and more from level drive, and --speed with --grade tells the others",
        found, units_show(QUANTITY_SPEED, speeds[first], from, sizeof from),
        units_show(QUANTITY_SPEED, speeds[last], to, sizeof to));
  }
}

enum { REPORTED_COUNT = 8 };

static const enum machine_signal reported[REPORTED_COUNT] = {
    READ_engine_speed, READ_pump_stroke, READ_motor_displacement, READ_line_b_pressure,
    READ_motor_speed,  READ_wheel_slip,  READ_traction_force,     READ_loop_oil_temperature};

bool steady_hold_back(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                      struct error *error) {
  const struct plant *plant = machine->data.plant;
  int count = options->speed_count;
  struct chart *chart = &answer->charts[answer->chart_count++];
  chart_begin(chart, "", "downgrade held without the friction brake");
  double *speeds = chart_axis(chart, "speed", QUANTITY_SPEED, "steady speed", count);
  struct signal usable_row = {"grade_held", QUANTITY_FRACTION, REFERENCE_NONE, "steepest grade held within all bounds"};
  struct signal foot_row = {"grade_foot_off", QUANTITY_FRACTION, REFERENCE_NONE,
                            "grade held with the foot off the pedal"};
  struct signal pedal_row = {"pedal", QUANTITY_FRACTION, REFERENCE_NONE, "pedal that belongs to the grade held"};
  double *usable = chart_column(chart, 1, usable_row);
  const char **limits = chart_texts(chart, "limit", "what ends the hold");
  double *columns[EDGE_COUNT] = {NULL};
  for (int k = 0; k < EDGE_COUNT; k++) {
    columns[k] = chart_column(chart, 1, edges[k].row);
  }
  double *foot_off = chart_column(chart, 1, foot_row);
  double *pedals = chart_column(chart, 1, pedal_row);
  struct signal others_row = {"other_balances", QUANTITY_NUMBER, REFERENCE_NONE,
                              "other balances that hold the same grade; not looked for where grip ends it"};
  double *other_counts = machine_drives_front(machine) ? chart_column(chart, 1, others_row) : NULL;
  double *signals_told[REPORTED_COUNT];
  int signal_index[REPORTED_COUNT];
  for (int k = 0; k < REPORTED_COUNT; k++) {
    signal_index[k] = machine_signal(machine, reported[k]);
    signals_told[k] = chart_column(chart, 1, plant->signals[signal_index[k]]);
  }
  double *powers_told[PLANT_LEDGER_LIMIT] = {NULL};
  for (int k = 0; k < plant->ledger_integrated; k++) {
    if (plant->ledger[k].kind == LEDGER_SOURCE || ledger_is_loss(plant->ledger[k].kind)) {
      struct signal row = {plant->ledger[k].name, QUANTITY_POWER, REFERENCE_NONE, plant->ledger[k].text};

      powers_told[k] = chart_column(chart, 1, row);
    }
  }
  if (chart->failed) {
    return error_set(error, ERROR_MEMORY, "out of memory for the map");
  }
  double allowed = machine->allowed_overspeed / machine->own.engine->set_speed;
  if (!steady_speeds(machine, options, fmax(1.0, allowed), speeds, error)) {
    return false;
  }
  struct machine_point from;
  memcpy(from.inputs, machine->inputs, sizeof from.inputs);
  from.inputs[MACHINE_PULL] = 0.0;
  from.inputs[MACHINE_GRADE] = 0.0;
  from.inputs[MACHINE_BRAKE] = 0.0;
  for (int i = 0; i < count; i++) {
    struct hold hold;
    hold_at(machine, speeds[i], &from, &hold);
    usable[i] = hold.usable;
    limits[i] = hold.limit;
    foot_off[i] = hold.foot_off;
    for (int k = 0; k < EDGE_COUNT; k++) {
      columns[k][i] = hold.grades[k];
    }
    if (isnan(hold.usable)) {
      continue;
    }
    double signals[PLANT_SIGNAL_LIMIT];
    double powers[PLANT_LEDGER_LIMIT];
    machine_signals(machine, &hold.best, signals);
    machine_powers(machine, &hold.best, powers);
    pedals[i] = hold.best.inputs[MACHINE_PEDAL];
    if (other_counts != NULL && (machine_bounds(machine, &hold.best) & (1u << BOUND_grip)) == 0) {
      static const struct steady_question held = {MACHINE_GRADE, MACHINE_GRADE, false, false};
      struct steady_others others;
      steady_others(machine, &held, &hold.best, &others);
      other_counts[i] = others.count;
    }
    for (int k = 0; k < REPORTED_COUNT; k++) {
      signals_told[k][i] = signals[signal_index[k]];
    }
    for (int k = 0; k < plant->ledger_integrated; k++) {
      if (powers_told[k] != NULL) {
        powers_told[k][i] = powers[k];
      }
    }
  }
  tell_falling(answer, speeds, usable, limits, count);
  if (other_counts != NULL) {
    tell_shared(answer, speeds, other_counts, count);
  }
  return true;
}
