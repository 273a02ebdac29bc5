/* The course: what a driver (driver.h) is to do with the machine, leg by leg.
 *
 * A leg ends at a place, a distance along the ground counted from the start of the run; the machine drives forward to a
 * place ahead and in reverse to one behind. There it stands for the dwell: the load on board goes evenly to what the
 * leg leaves (what comes while the machine still creeps brings its motion along, a row of the ledger; its height is no
 * store of the machine's, as the ledger's slope is a power), and the implement takes its power, or flow and pressure,
 * from the engine's shaft (implement.h). When the last leg's dwell is over the course begins again, as often as it is
 * repeated or until no temperature changes any more from one end of the course to the next, its grade, soil and speeds
 * laid on behind the place where it ended.
 *
 * Speed, wanted and allowed, goes by stretches: a point's speed holds from its place to the next point's, whichever way
 * the machine drives. Legs are counted 1, 2, ... in their tables; a leg that a table does not name has no dwell, no
 * power, and the load that it had.
 *
 * Grade and soil over distance are the ground's (ground.h). */
#ifndef SWASHLOOP_MODELS_COURSE_H
#define SWASHLOOP_MODELS_COURSE_H

#include <stdbool.h>

#include "field.h"

enum course_ends { COURSE_BY_REPEATS, COURSE_WHEN_SETTLED };
enum course_at_end { COURSE_ENDS_RUN, COURSE_HOLDS };

/* clang-format off */
#define COURSE_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  TABLE(speed, LENGTH, SPEED, 0.1, 200.0, "", "speed wanted and allowed over distance, in steps: each holds from its place to the next; empty: the driver's top speed") \
  TABLE(to, NUMBER, LENGTH, -1e7, 1e7, "", "where a leg ends, by its number from 1: forward to a place ahead, in reverse to one behind") \
  TABLE(dwell, NUMBER, TIME, 0.0, 1e5, "", "how long the machine stands at the end of a leg, by its number; none: not at all") \
  TABLE(load, NUMBER, MASS, 0.0, 1e6, "", "load on board, over vehicle.mass, when a leg's dwell is over, by its number; none: as before") \
  TABLE(dwell_power, NUMBER, POWER, 0.0, 5000.0, "", "power that the implement asks for during the dwell, by the leg's number", "implement.law power") \
  TABLE(dwell_flow, NUMBER, FLOW, 0.0, 5000.0, "", "flow that the implement asks for during the dwell, by the leg's number", "implement.law flow_and_pressure") \
  TABLE(dwell_pressure, NUMBER, PRESSURE, 0.0, 700.0, "", "pressure of the implement's circuit during the dwell, by the leg's number", "implement.law flow_and_pressure") \
  REAL(repeats, NUMBER, 1.0, 1.0, 1e6, NONE, "", "how often the course is driven") \
  CHOICE(ends, COURSE_BY_REPEATS, "after_repeats|when_settled", "", "when it is over: after its repeats, or, before them, when the temperatures have settled") \
  REAL(settled_within, TEMPERATURE_DIFFERENCE, 0.1, 1e-4, 100.0, NONE, "", "largest change of a temperature from one end of the course to the next that counts as settled", "ends when_settled") \
  CHOICE(at_end, COURSE_ENDS_RUN, "end_run|hold", "", "what happens when it is over")
/* clang-format on */

struct course_parameters {
  COURSE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct course_parameters
static const struct field course_fields[] = {COURSE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

#define COURSE_RAMP 0.5 /* s, over which the implement's power comes and goes at a stop */

#if REAL_LANES == 1 /* modes change in plain kernels only */

/* Does the table say anything of a leg? */
static inline bool course_names(const struct profile *table, int leg) {
  int index = profile_index(table, leg);
  return index > 0 && table->argument[index - 1] == leg;
}

/* What the table says of a leg; `otherwise` where it says nothing. */
static inline double course_of_leg(const struct profile *table, int leg, double otherwise) {
  return course_names(table, leg) ? table->value[profile_index(table, leg) - 1] : otherwise;
}

/* The last number that a table names, or 0. */
static inline double course_last(const struct profile *table) {
  return table->count > 0 ? table->argument[table->count - 1] : 0.0;
}

/* Why this course cannot be, or NULL. */
static inline const char *course_refusal(const struct course_parameters *course) {
  const struct profile *others[] = {&course->dwell, &course->load, &course->dwell_power, &course->dwell_flow,
                                    &course->dwell_pressure};
  for (int i = 0; i < course->to.count; i++) {
    if (course->to.argument[i] != i + 1) {
      return "course.to counts its legs 1, 2, 3, ... without gaps";
    }
  }
  if (course->repeats != floor(course->repeats)) {
    return "course.repeats is a whole number";
  }
  for (int k = 0; k < FIELD_COUNT(others); k++) {
    for (int i = 0; i < others[k]->count; i++) {
      double leg = others[k]->argument[i];
      if (others[k] == &course->load && leg >= 1.0 && !(course_of_leg(&course->dwell, (int)leg, 0.0) > 0.0)) {
        return "course.load changes the load during a leg's dwell; give that leg a course.dwell";
      }
      if (leg != floor(leg) || leg < 1.0 || leg > course->to.count || (i > 0 && leg == others[k]->argument[i - 1])) {
        return "course.dwell, load, dwell_power, dwell_flow and dwell_pressure name legs of course.to by their whole "
               "numbers, each once";
      }
    }
  }
  const struct profile *tables[] = {&course->speed, &course->to, &course->dwell, &course->load};
  for (int k = 0; k < FIELD_COUNT(tables); k++) {
    if (tables[k]->smooth) {
      return "course.speed, to, dwell and load go in steps; they cannot be smooth";
    }
  }
  return NULL;
}

/* A stretch of one speed along the way of travel (places times the direction). */
struct course_stretch {
  double speed; /* m/s, wanted */
  double line;  /* m, where the line of comfortable deceleration to what comes reaches zero speed */
  double low;   /* m, where it begins */
  double high;  /* m, where it ends */
};

#define COURSE_FAR 1e9 /* m, farther than any machine goes */

/* The stretch that the table has between two neighbouring points, seen by who travels in `direction` (1, -1) and has
 * come `offset` further than the table. */
static inline struct course_stretch course_stretch_on(const struct profile *table, int index, double direction,
                                                      double offset) {
  double back = index > 0 ? table->argument[index - 1] + offset : -COURSE_FAR;
  double ahead = index < table->count ? table->argument[index] + offset : COURSE_FAR;
  struct course_stretch stretch = {table->count > 0 ? table->value[index > 0 ? index - 1 : 0] : COURSE_FAR, COURSE_FAR,
                                   direction > 0.0 ? back : -ahead, direction > 0.0 ? ahead : -back};
  return stretch;
}

/* The stretch at `place` along the way of travel, or the one that begins there; `onward`: it is met going the way of
 * travel, else going back. Backward pass: v^2 = v_j^2 + 2 a (x_j - x) before each slower stretch j that begins at x_j;
 * all these lines fall with the same slope, so that the lowest is known by the place where it reaches zero. `top`: the
 * speed that no stretch exceeds, m/s; `end`: beyond which nothing counts; `deceleration`: a, m/s2. */
static inline struct course_stretch course_stretch_at(const struct profile *table, double place, double direction,
                                                      double offset, bool onward, double top, double end,
                                                      double deceleration) {
  bool ahead = (direction > 0.0) == onward;
  int index = profile_next_index(table, direction * place - offset, ahead);
  struct course_stretch stretch = course_stretch_on(table, index, direction, offset);
  stretch.speed = stretch.speed < top ? stretch.speed : top;
  struct course_stretch next = stretch;
  int step = direction > 0.0 ? 1 : -1;
  while (next.high < end && next.high < stretch.line) {
    index += step;
    double begins = next.high;
    next = course_stretch_on(table, index, direction, offset);
    double zero = begins + 0.5 * next.speed * next.speed / deceleration;
    stretch.line = zero < stretch.line ? zero : stretch.line;
  }
  stretch.low = place < stretch.low ? place : stretch.low;
  stretch.high = place > stretch.high ? place : stretch.high;
  return stretch;
}

#endif

#endif
