/* A single point of steady drive: what the machine does there, or why it cannot. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scan.h"
#include "steady.h"
#include "units.h"

/* "23.4 %" of a quantity, in a text of its own to stand among arguments. */
struct shown {
  char text[48];
};

static struct shown show(enum quantity quantity, double si) {
  struct shown shown;
  (void)units_show(quantity, si, shown.text, sizeof shown.text);
  return shown;
}

static struct shown show_signal(const struct machine *machine, const double *signals, enum machine_signal signal) {
  int i = machine_signal(machine, signal);
  return show(machine->data.plant->signals[i].quantity, signals[i]);
}

/* Why no more than this: the bound that is reached at the nearest point. */
static void explain(struct machine *machine, const struct scan *scan, int nearest, enum machine_input freed,
                    double asked, bool more, struct error *error) {
  const struct scan_point *point = &scan->points[nearest];
  const char *what = freed == MACHINE_PULL ? "pull" : "grade";
  enum quantity quantity = freed == MACHINE_PULL ? QUANTITY_FORCE : QUANTITY_FRACTION;
  char reason[256];
  const char *foot_on = machine_pedal_word(machine);
  bool by_accelerator = machine_by_accelerator(machine);
  /* With an accelerator an engine that is pushed beyond its set speed burns nothing, however far it is pressed. */
  bool full_pedal = fabs(point->at.inputs[MACHINE_PEDAL]) > 0.999 ||
                    (by_accelerator && point->signals[machine_signal(machine, READ_fuel_fraction)] < 1e-3);
  if (point->bounds & (1u << BOUND_grip)) {
    (void)snprintf(reason, sizeof reason, "the grip is used up (slip %s)",
                   show_signal(machine, point->signals, machine_slip(machine, point->signals)).text);
  } else if (point->bounds & (1u << BOUND_relief)) {
    (void)snprintf(reason, sizeof reason, "the relief valve passes oil at %s",
                   show_signal(machine, point->signals, more ? READ_line_a_pressure : READ_line_b_pressure).text);
  } else if (point->bounds & (1u << BOUND_limiter)) {
    (void)snprintf(reason, sizeof reason, "the pressure limiter takes the pump's stroke at %s",
                   show_signal(machine, point->signals, more ? READ_line_a_pressure : READ_line_b_pressure).text);
  } else if (point->bounds & (1u << BOUND_engine_power)) {
    (void)snprintf(reason, sizeof reason, "the engine is at full fuel and down to %s",
                   show_signal(machine, point->signals, READ_engine_speed).text);
  } else if (more && full_pedal) {
    (void)snprintf(reason, sizeof reason, "full %s is no faster than that: pump at full stroke, motor at its smallest",
                   foot_on);
  } else if (by_accelerator && !more) {
    (void)snprintf(
        reason, sizeof reason,
        "with the foot off the engine burns nothing at %s and brakes no harder; steeper, the machine goes faster",
        show_signal(machine, point->signals, READ_engine_speed).text);
  } else {
    (void)snprintf(reason, sizeof reason, "the drive has no more to give with the foot %s", more ? "down" : "off");
  }
  error_set(error, ERROR_RUN, "no steady drive at %s with a %s of %s: at most %s there, for %s",
            show(QUANTITY_SPEED, scan->speed).text, what, show(quantity, asked).text,
            show(quantity, point->at.inputs[freed]).text, reason);
}

/* The pedal that belongs to a speed and a grade (or pull). */
static bool seek_pedal(struct machine *machine, double speed, enum machine_input freed, double asked,
                       struct machine_point *point, struct error *error) {
  struct scan scan;
  scan_pedal(machine, speed, freed, point, &scan);
  if (scan_pedal_for(machine, &scan, asked, point)) {
    return true;
  }
  int most = scan_extremum(&scan, speed < 0.0 ? -1.0 : 1.0);
  int least = scan_extremum(&scan, speed < 0.0 ? 1.0 : -1.0);
  if (most < 0) {
    return error_set(error, ERROR_RUN, "no steady drive at %s: with no %s does the machine come to balance there",
                     show(QUANTITY_SPEED, speed).text, machine_pedal_word(machine));
  }
  /* The scan may have stepped over the top. At the top itself two pedals become one, which no Newton's method finds. */
  double level = scan.points[scan_level(&scan)].at.inputs[freed];
  bool rises = asked > level;
  bool more = speed < 0.0 ? !rises : rises;
  struct steady_most peak;
  steady_extreme(machine, &scan, rises ? 1.0 : -1.0, &peak);
  double value = peak.at.inputs[freed];
  if (fabs(value - asked) <= 1e-8 * fabs(asked)) {
    *point = peak.at;
    return true;
  }
  if ((rises ? value > asked : value < asked) &&
      scan_pedal_between(machine, &scan, &peak.inner, &peak.at, asked, point)) {
    return true;
  }
  struct scan_point *top = &scan.points[more ? most : least];
  top->at = peak.at;
  top->bounds = peak.bounds;
  machine_signals(machine, &peak.at, top->signals);
  explain(machine, &scan, more ? most : least, freed, asked, more, error);
  return false;
}

/* In small steps of the pedal from a place of a scan, so that no other balance with the same pedal is jumped to. */
static bool walk(struct machine *machine, const struct scan *scan, int from, double pedal,
                 struct machine_point *point) {
  enum { STEPS = 8 };
  *point = scan->points[from].at;
  double begin = point->inputs[MACHINE_PEDAL];
  for (int k = 1; k <= STEPS; k++) {
    /* From a foot that is off and stays off not by way of +0: the lever's direction is in its sign. */
    point->inputs[MACHINE_PEDAL] = k < STEPS && pedal != begin ? begin + (pedal - begin) * k / STEPS : pedal;
    if (!machine_follow(machine, scan->speed, scan->freed, point)) {
      return false;
    }
  }
  return true;
}

/* From the places of a scan about the pedal of the point; first from that on the side of level drive. */
static bool follow_scan(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point) {
  struct scan scan;
  double pedal = point->inputs[MACHINE_PEDAL];
  scan_pedal(machine, speed, freed, point, &scan);
  int level = scan_level(&scan);
  int below = -1; /* the last place with no more pedal, and the first with no less */
  int above = -1;
  for (int i = 0; i < SCAN_POINTS; i++) {
    if (scan.points[i].found && fabs(scan.points[i].at.inputs[MACHINE_PEDAL]) <= fabs(pedal)) {
      below = i;
    }
    if (scan.points[i].found && fabs(scan.points[i].at.inputs[MACHINE_PEDAL]) >= fabs(pedal) && above < 0) {
      above = i;
    }
  }
  int order[2] = {below >= level ? below : above, below >= level ? above : below};
  for (int k = 0; k < 2; k++) {
    if (order[k] >= 0 && walk(machine, &scan, order[k], pedal, point)) {
      return true;
    }
  }
  return false;
}

/* Grade or pull that belongs to a speed and a pedal. */
static bool seek_freed(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point,
                       struct error *error) {
  const char *words = NULL;
  struct machine_point from = *point;
  /* Where there are several balances: that of a machine which is loaded more and more, as in the maps. */
  if (follow_scan(machine, speed, freed, point)) {
    return true;
  }
  *point = from;
  machine_set_all(machine, point->inputs);
  if (!machine_guess(machine, speed, point, &words) || !machine_follow(machine, speed, freed, point)) {
    return error_set(error, ERROR_RUN, "no steady drive at %s with a%s %s of %s: %s", show(QUANTITY_SPEED, speed).text,
                     machine_by_accelerator(machine) ? "n" : "", machine_pedal_word(machine),
                     show(QUANTITY_FRACTION, point->inputs[MACHINE_PEDAL]).text,
                     words != NULL ? words : "the drive does not come to balance");
  }
  return true;
}

static void add_signals(struct machine *machine, const struct machine_point *point, struct chart *chart) {
  const struct plant *plant = machine->data.plant;
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, point, signals);
  for (int i = 0; i < plant->signal_count; i++) {
    if (plant->signal_active(machine->data.parameters, i)) {
      double *value = chart_column(chart, 0, plant->signals[i]);
      if (value != NULL) {
        *value = signals[i];
      }
    }
  }
}

static void add_powers(struct machine *machine, const struct machine_point *point, struct chart *chart) {
  const struct plant *plant = machine->data.plant;
  double powers[PLANT_LEDGER_LIMIT];
  machine_powers(machine, point, powers);
  for (int i = 0; i < plant->ledger_integrated; i++) {
    if (plant->ledger[i].kind == LEDGER_SOURCE || ledger_is_loss(plant->ledger[i].kind)) {
      struct signal row = {plant->ledger[i].name, QUANTITY_POWER, REFERENCE_NONE, plant->ledger[i].text};
      double *value = chart_column(chart, 0, row);
      if (value != NULL) {
        *value = powers[i];
      }
    }
  }
}

/* In steady drive a line that loses oil stands below the gallery that makes it up. */
#define TRAPPED_ABOVE_CHARGE 1e5 /* Pa */

static void warn(struct machine *machine, const struct machine_point *point, struct steady_answer *answer) {
  unsigned bounds = machine_bounds(machine, point);
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, point, signals);
  for (int i = 0; i < BOUND_COUNT; i++) {
    if ((bounds & (1u << i)) == 0) {
      continue;
    }
    enum machine_signal reported = i == BOUND_grip ? machine_slip(machine, signals)
                                   : i == BOUND_engine_power || i == BOUND_engine_overspeed ? READ_engine_speed
                                   : i == BOUND_charge                                      ? READ_charge_pressure
                                   : i == BOUND_heat                                        ? READ_loop_oil_temperature
                                   : i == BOUND_anti_stall                                  ? READ_anti_stall_cut
                                                           : READ_line_pressure_difference;
    const char *words = i == BOUND_grip               ? "the grip is used up: slip"
                        : i == BOUND_relief           ? "a relief valve is open: line A over line B"
                        : i == BOUND_limiter          ? "the pressure limiter acts: line A over line B"
                        : i == BOUND_engine_power     ? "the engine is at full fuel:"
                        : i == BOUND_engine_overspeed ? "the engine is above its allowed speed:"
                        : i == BOUND_charge           ? "the charge pressure is low:"
                        : i == BOUND_anti_stall       ? "the anti-stall control takes drive:"
                                                      : "the loop is hot:";
    steady_say(answer, "%s %s", words, show_signal(machine, signals, reported).text);
  }
  if (fmin(signals[machine_signal(machine, READ_line_a_pressure)],
           signals[machine_signal(machine, READ_line_b_pressure)]) >
      signals[machine_signal(machine, READ_charge_pressure)] + TRAPPED_ABOVE_CHARGE) {
    steady_say(answer, "nothing leaks from the lines: both stand above the charge pressure, at a level that what went "
                       "before has left; only their difference is an answer");
  }
}

bool steady_find(struct machine *machine, const struct steady_given *given, struct machine_point *point,
                 struct error *error) {
  memset(point, 0, sizeof *point);
  memcpy(point->inputs, machine->inputs, sizeof point->inputs);
  bool has_speed = !isnan(given->speed);
  bool has_grade = !isnan(given->grade);
  bool has_pull = !isnan(given->pull);
  bool has_pedal = !isnan(given->pedal);
  point->inputs[MACHINE_GRADE] = has_grade ? given->grade : point->inputs[MACHINE_GRADE];
  point->inputs[MACHINE_PULL] = has_pull ? given->pull : point->inputs[MACHINE_PULL];
  point->inputs[MACHINE_PEDAL] = has_pedal ? given->pedal : point->inputs[MACHINE_PEDAL];
  if (has_speed && point->inputs[MACHINE_PEDAL] == 0.0) {
    /* The foot is off; the lever goes with the speed. */
    point->inputs[MACHINE_PEDAL] = copysign(0.0, given->speed);
  }
  if (has_speed && given->speed == 0.0) {
    return error_set(error, ERROR_USAGE, "at zero speed there is no steady drive");
  }
  if (has_speed && !has_pedal) {
    /* Pedal sought. Where a pull is given, the scan frees the pull. */
    enum machine_input freed = has_pull ? MACHINE_PULL : MACHINE_GRADE;
    return seek_pedal(machine, given->speed, freed, point->inputs[freed], point, error);
  }
  if (has_speed) {
    return seek_freed(machine, given->speed, has_grade ? MACHINE_PULL : MACHINE_GRADE, point, error);
  }
  const char *words = NULL;
  if (!machine_settle_speed(machine, point, &words)) {
    return error_set(error, ERROR_RUN,
                     "with a%s %s of %s on a grade of %s the machine does not come to a steady speed: %s",
                     machine_by_accelerator(machine) ? "n" : "", machine_pedal_word(machine),
                     show(QUANTITY_FRACTION, point->inputs[MACHINE_PEDAL]).text,
                     show(QUANTITY_FRACTION, point->inputs[MACHINE_GRADE]).text,
                     words != NULL ? words : "it runs away or does not settle");
  }
  return true;
}

static struct steady_question question_of(const struct steady_given *given) {
  bool speed_sought = isnan(given->speed);
  bool pedal_given = speed_sought || !isnan(given->pedal);
  bool frees_pull = pedal_given ? !isnan(given->grade) : !isnan(given->pull);
  enum machine_input freed = frees_pull ? MACHINE_PULL : MACHINE_GRADE;
  return (struct steady_question){pedal_given ? MACHINE_PEDAL : freed, freed, speed_sought, true};
}

static const enum machine_signal told_of_others[] = {
    READ_pedal, READ_grade, READ_wheel_slip, READ_front_wheel_slip, READ_engine_speed, READ_line_pressure_difference};

enum { OTHERS_TOLD = sizeof told_of_others / sizeof told_of_others[0] };

/* "grows" in words of a person: e-fold in so many seconds. */
static const char *grows(double growth, char *words, size_t size) {
  (void)snprintf(words, size, growth > 0.0 ? "a departure from it grows, e-fold in %.2g s" : "it keeps itself",
                 1.0 / growth);
  return words;
}

/* Say whether the point keeps itself, and where the same question has other answers. */
static void tell_others(struct machine *machine, const struct steady_given *given, const struct machine_point *point,
                        struct steady_answer *answer) {
  const struct plant *plant = machine->data.plant;
  struct steady_question question = question_of(given);
  struct steady_others others;
  char words[96];
  struct signal count_row = {"other_balances", QUANTITY_NUMBER, REFERENCE_NONE,
                             "other balances that answer the same, found along the slip of the driven wheels"};
  struct signal growth_row = {"growth", QUANTITY_NUMBER, REFERENCE_NONE, "how fast a small departure from it grows"};
  steady_others(machine, &question, point, &others);
  double growth = steady_growth(machine, point);
  double *value = chart_column(&answer->charts[0], 0, count_row);
  double *grown = chart_column_in(&answer->charts[0], 0, growth_row, "1/s");
  if (value == NULL || grown == NULL) {
    return;
  }
  *value = others.count;
  *grown = growth;
  if (growth > 0.0) {
    steady_say(answer, "this balance does not keep itself: %s; `swashloop linear` says in which mode",
               grows(growth, words, sizeof words));
  }
  if (others.count == 0) {
    return;
  }
  struct chart *chart = &answer->charts[answer->chart_count++];
  chart_begin(chart, "others", "other balances that answer the same");
  double *number = chart_axis(chart, "other", QUANTITY_NUMBER, "other balance, by number", others.count);
  double *speeds = chart_column(chart, 1, plant->signals[machine_signal(machine, READ_vehicle_speed)]);
  double *pulls = chart_column(
      chart, 1, (struct signal){"pull", QUANTITY_FORCE, REFERENCE_NONE, "pull at the drawbar, besides a dragged load"});
  double *growths = chart_column_in(chart, 1, growth_row, "1/s");
  double *columns[OTHERS_TOLD];
  for (int k = 0; k < OTHERS_TOLD; k++) {
    columns[k] = chart_column(chart, 1, plant->signals[machine_signal(machine, told_of_others[k])]);
  }
  if (chart->failed) {
    return;
  }
  double own[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, point, own);
  bool two = machine_drives_front(machine);
  for (int i = 0; i < others.count; i++) {
    double signals[PLANT_SIGNAL_LIMIT];
    machine_signals(machine, &others.at[i], signals);
    number[i] = i + 1;
    speeds[i] = others.at[i].state[machine->speed];
    pulls[i] = others.at[i].inputs[MACHINE_PULL];
    growths[i] = others.growth[i];
    for (int k = 0; k < OTHERS_TOLD; k++) {
      columns[k][i] = signals[machine_signal(machine, told_of_others[k])];
    }
    struct shown front = show_signal(machine, signals, READ_front_wheel_slip);
    steady_say(answer, "another balance answers the same: slip %s%s%s, %s %s, %s, grade %s; %s",
               show_signal(machine, signals, READ_wheel_slip).text, two ? " behind and in front " : "",
               two ? front.text : "", machine_pedal_word(machine),
               show(QUANTITY_FRACTION, others.at[i].inputs[MACHINE_PEDAL]).text, show(QUANTITY_SPEED, speeds[i]).text,
               show(QUANTITY_FRACTION, others.at[i].inputs[MACHINE_GRADE]).text,
               grows(others.growth[i], words, sizeof words));
  }
  steady_say(answer,
             "shown is the one that a machine comes to which is loaded more and more from level drive (wheel slip "
             "%s)",
             show_signal(machine, own, READ_wheel_slip).text);
}

bool steady_point(struct machine *machine, const struct steady_given *given, struct steady_answer *answer,
                  struct error *error) {
  struct machine_point point;
  if (!steady_find(machine, given, &point, error)) {
    return false;
  }
  struct chart *chart = &answer->charts[answer->chart_count++];
  chart_begin(chart, "", "a point of steady drive");
  add_signals(machine, &point, chart);
  struct chart *powers = &answer->charts[answer->chart_count++];
  chart_begin(powers, "powers", "power of every source and loss");
  add_powers(machine, &point, powers);
  warn(machine, &point, answer);
  tell_others(machine, given, &point, answer);
  return (!chart->failed && !powers->failed) || error_set(error, ERROR_MEMORY, "out of memory for the point");
}
