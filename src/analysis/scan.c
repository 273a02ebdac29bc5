#include "scan.h"

#include <math.h>

static double pedal_of(const struct machine *machine, int i) {
  double share = machine->own.operator->pump_share;
  if (i <= SCAN_PUMP_STEPS) {
    double part = (double)i / SCAN_PUMP_STEPS;
    return share * part * (0.3 + 0.7 * part); /* closer at small strokes */
  }
  return share + (1.0 - share) * (double)(i - SCAN_PUMP_STEPS) / SCAN_MOTOR_STEPS;
}

/* The pedal at which the displaced flows meet with the engine at its set speed, as a place of the scan. */
static int start_of(const struct machine *machine, double speed) {
  double ratio = machine->own.driveline->ratio;
  double motor_speed = ratio * fabs(speed) / machine->own.driveline->wheel_radius;
  double full = machine->own.pump->displacement * machine->own.engine->set_speed * machine->inputs[MACHINE_THROTTLE];
  double share = machine->own.operator->pump_share;
  double smallest = machine->own.motor->smallest;
  double stroke = machine->own.motor->displacement * motor_speed / full;
  double pedal = share * stroke;
  if (stroke > 1.0) {
    double part = smallest < 1.0 ? (1.0 - 1.0 / stroke) / (1.0 - smallest) : 1.0;
    pedal = share + (1.0 - share) * part;
  }
  int i = 0;
  while (i < SCAN_POINTS - 1 && pedal_of(machine, i) < pedal) {
    i++;
  }
  return i;
}

static void take(struct machine *machine, struct scan_point *here, const struct machine_point *at) {
  here->at = *at;
  here->found = true;
  machine_signals(machine, at, here->signals);
  here->heating = machine_heating(machine, at);
  here->bounds = machine_bounds(machine, at);
}

/* Point i near `guess`; the guess moves on to it. */
static bool visit(struct machine *machine, struct scan *scan, int i, struct machine_point *guess) {
  struct scan_point *here = &scan->points[i];
  here->at = *guess;
  here->at.inputs[MACHINE_PEDAL] = (scan->speed < 0.0 ? -1.0 : 1.0) * pedal_of(machine, i);
  here->found = machine_follow(machine, scan->speed, scan->freed, &here->at);
  if (here->found) {
    *guess = here->at;
    take(machine, here, guess);
  }
  return here->found;
}

static void clear(struct scan *scan, double speed, enum machine_input freed) {
  scan->speed = speed;
  scan->freed = freed;
  for (int i = 0; i < SCAN_POINTS; i++) {
    scan->points[i].found = false;
  }
}

enum { MISSES = 2 }; /* in a row, after which there is nothing beyond */

void scan_pedal(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *from,
                struct scan *scan) {
  struct machine_point start = *from;
  int first = start_of(machine, speed);
  bool found = false;
  clear(scan, speed, freed);
  for (int k = 0; k < 5 && !found; k++) {
    /* 0, 1, -1, 2, -2 from where it should be. */
    int i = first + (k % 2 == 1 ? (k + 1) / 2 : -(k / 2));
    if (i < 0 || i >= SCAN_POINTS) {
      continue;
    }
    start = *from;
    start.inputs[MACHINE_PEDAL] = (speed < 0.0 ? -1.0 : 1.0) * pedal_of(machine, i);
    machine_set_all(machine, start.inputs);
    found = machine_guess(machine, speed, &start, NULL) && visit(machine, scan, i, &start);
    first = found ? i : first;
  }
  if (!found) {
    return;
  }
  struct machine_point guess = start;
  int missed = 0;
  for (int i = first + 1; i < SCAN_POINTS && missed < MISSES; i++) {
    missed = visit(machine, scan, i, &guess) ? 0 : missed + 1;
  }
  guess = start;
  missed = 0;
  for (int i = first - 1; i >= 0 && missed < MISSES; i--) {
    missed = visit(machine, scan, i, &guess) ? 0 : missed + 1;
  }
}

/* Signal over level, or the loop's heating. */
static double excess(const struct scan_point *point, const struct balance_condition *condition) {
  return condition->signal == MACHINE_HEATING ? point->heating : point->signals[condition->signal] - condition->level;
}

void scan_pedal_down(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *start,
                     int top, struct scan *scan) {
  clear(scan, speed, freed);
  struct machine_point guess = *start;
  int missed = 0;
  take(machine, &scan->points[top], start);
  for (int i = top - 1; i >= 0 && missed < MISSES; i--) {
    missed = visit(machine, scan, i, &guess) ? 0 : missed + 1;
  }
}

bool scan_pedal_for(struct machine *machine, const struct scan *scan, double level, struct machine_point *point) {
  for (int i = SCAN_POINTS - 1; i > 0; i--) {
    const struct scan_point *high = &scan->points[i];
    const struct scan_point *low = &scan->points[i - 1];
    if (!high->found || !low->found) {
      continue;
    }
    double above = high->at.inputs[scan->freed] - level;
    double below = low->at.inputs[scan->freed] - level;
    if ((above >= 0.0) == (below >= 0.0) && above != 0.0) {
      continue;
    }
    const struct scan_point *starts[2] = {fabs(above) < fabs(below) ? high : low,
                                          fabs(above) < fabs(below) ? low : high};
    for (int k = 0; k < 2; k++) {
      *point = starts[k]->at;
      point->inputs[scan->freed] = level;
      if (machine_find(machine, scan->speed, MACHINE_PEDAL, point) && fabs(point->inputs[MACHINE_PEDAL]) <= 1.0) {
        return true;
      }
    }
  }
  return false;
}

/* Between two found neighbours on both sides of the edge, by halving. */
static bool halve(struct machine *machine, const struct scan *scan, const struct scan_point *high,
                  const struct scan_point *low, const struct balance_condition *condition,
                  struct machine_point *point) {
  struct scan_point above = *high;
  struct scan_point below = *low;
  bool side = excess(high, condition) > 0.0;
  for (int i = 0; i < 40; i++) {
    struct machine_point middle = below.at;
    middle.inputs[MACHINE_PEDAL] = 0.5 * (above.at.inputs[MACHINE_PEDAL] + below.at.inputs[MACHINE_PEDAL]);
    if (!machine_follow(machine, scan->speed, scan->freed, &middle)) {
      return false;
    }
    struct scan_point here;
    take(machine, &here, &middle);
    if ((excess(&here, condition) > 0.0) == side) {
      above = here;
    } else {
      below = here;
    }
  }
  *point = below.at;
  return true;
}

bool scan_edge(struct machine *machine, const struct scan *scan, int top, struct balance_condition condition,
               struct machine_point *point) {
  for (int i = top; i > 0; i--) {
    const struct scan_point *high = &scan->points[i];
    const struct scan_point *low = &scan->points[i - 1];
    if (!high->found) {
      continue;
    }
    double above = excess(high, &condition);
    double below = low->found ? excess(low, &condition) : 0.0;
    /* Where there is nothing below, the edge may be what takes the balance away. */
    if (low->found && (above > 0.0) == (below > 0.0)) {
      continue;
    }
    const struct scan_point *starts[2] = {low->found ? low : high, high};
    for (int k = 0; k < 2; k++) {
      *point = starts[k]->at;
      if (machine_find_edge(machine, scan->speed, MACHINE_PEDAL, scan->freed, condition, point)) {
        double pedal = fabs(point->inputs[MACHINE_PEDAL]);
        if (pedal <= fabs(high->at.inputs[MACHINE_PEDAL]) + 1e-9 && pedal >= pedal_of(machine, i - 1) - 1e-3) {
          return true;
        }
      }
    }
    if (low->found && halve(machine, scan, high, low, &condition, point)) {
      return true;
    }
  }
  return false;
}

bool scan_edge_between(struct machine *machine, const struct scan *scan, int high, const struct machine_point *low,
                       struct balance_condition condition, struct machine_point *point) {
  struct scan_point below;
  take(machine, &below, low);
  if ((excess(&scan->points[high], &condition) > 0.0) == (excess(&below, &condition) > 0.0)) {
    return false;
  }
  return halve(machine, scan, &scan->points[high], &below, &condition, point);
}

bool scan_finer(struct machine *machine, struct scan *scan, int low, struct balance_condition condition,
                struct balance_condition while_below) {
  enum { FINER = 16 };
  if (low + 1 >= SCAN_POINTS) {
    return false;
  }
  struct machine_point guess = scan->points[low].at;
  struct scan_point *above = &scan->points[low + 1];
  double from = pedal_of(machine, low);
  double to = pedal_of(machine, low + 1);
  for (int k = 1; k < FINER; k++) {
    guess.inputs[MACHINE_PEDAL] = (scan->speed < 0.0 ? -1.0 : 1.0) * (from + (to - from) * k / FINER);
    if (!machine_follow(machine, scan->speed, scan->freed, &guess)) {
      break;
    }
    take(machine, above, &guess);
    if (excess(above, &while_below) > 0.0) {
      break;
    }
    if (excess(above, &condition) <= 0.0) {
      return true;
    }
  }
  above->found = false;
  return false;
}

int scan_extremum(const struct scan *scan, double sign) {
  int best = -1;
  for (int i = 0; i < SCAN_POINTS; i++) {
    if (scan->points[i].found && (best < 0 || sign * scan->points[i].at.inputs[scan->freed] >
                                                  sign * scan->points[best].at.inputs[scan->freed])) {
      best = i;
    }
  }
  return best;
}
