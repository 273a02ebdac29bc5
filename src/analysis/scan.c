#include "scan.h"

#include <math.h>

double scan_pedal_at(const struct machine *machine, int i) {
  if (machine_by_accelerator(machine)) {
    return (double)i / (SCAN_POINTS - 1);
  }
  double share = machine->own.operator->pump_share;
  if (i <= SCAN_PUMP_STEPS) {
    double part = (double)i / SCAN_PUMP_STEPS;
    return share * part * (0.3 + 0.7 * part); /* closer at small strokes */
  }
  return share + (1.0 - share) * (double)(i - SCAN_PUMP_STEPS) / SCAN_MOTOR_STEPS;
}

/* The same by accelerator: the first at which the set speed commands that speed. */
static int start_by_accelerator(const struct machine *machine, double speed) {
  double wanted = machine->own.motor->displacement * machine->own.driveline->ratio * fabs(speed) /
                  machine->own.driveline->wheel_radius;
  double full = machine->own.engine->set_speed * machine->inputs[MACHINE_THROTTLE];
  int i = 0;
  for (; i < SCAN_POINTS - 1; i++) {
    double channels[CHANNEL_COUNT] = {0.0};
    double set = controls_set_speed(machine->own.controls, full, scan_pedal_at(machine, i));
    channels[CHANNEL_direction] = 1.0;
    struct operator_demand demand =
        operator_demand_of(machine->own.operator, channels, controls_drive(machine->own.controls, set));
    double ratio = controls_ratio(demand.stroke, demand.motor_part, machine->own.motor->smallest);
    if (machine->own.pump->displacement * set * ratio >= wanted) {
      break;
    }
  }
  return i;
}

/* The pedal at which the displaced flows meet with the engine at its set speed, as a place of the scan. */
static int start_of(const struct machine *machine, double speed) {
  if (machine_by_accelerator(machine)) {
    return start_by_accelerator(machine, speed);
  }
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
  while (i < SCAN_POINTS - 1 && scan_pedal_at(machine, i) < pedal) {
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
  here->at.inputs[MACHINE_PEDAL] = (scan->speed < 0.0 ? -1.0 : 1.0) * scan_pedal_at(machine, i);
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
    start.inputs[MACHINE_PEDAL] = (speed < 0.0 ? -1.0 : 1.0) * scan_pedal_at(machine, i);
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

int scan_level(const struct scan *scan) {
  double side = scan->speed < 0.0 ? -1.0 : 1.0;
  int last = -1;
  for (int i = 0; i < SCAN_POINTS; i++) {
    if (scan->points[i].found) {
      last = i;
      if (side * scan->points[i].at.inputs[scan->freed] >= 0.0) {
        break;
      }
    }
  }
  return last;
}

/* Is this so near to the level that it is the same? A pull of a newton, or a grade of a millionth, counts as a size. */
static bool is_level(const struct scan *scan, double value, double level) {
  double size = scan->freed == MACHINE_PULL ? 1.0 : 1e-6;
  return fabs(value - level) <= 1e-9 * fmax(fabs(level), size);
}

/* Newton from `start`; the pedal it finds lies within the bracket. */
static bool jump(struct machine *machine, const struct scan *scan, const struct machine_point *start,
                 const double bracket[2], double level, struct machine_point *point) {
  *point = *start;
  point->inputs[scan->freed] = level;
  if (!machine_find(machine, scan->speed, MACHINE_PEDAL, point)) {
    return false;
  }
  double pedal = point->inputs[MACHINE_PEDAL];
  return pedal >= fmin(bracket[0], bracket[1]) - 1e-9 && pedal <= fmax(bracket[0], bracket[1]) + 1e-9;
}

bool scan_pedal_between(struct machine *machine, const struct scan *scan, const struct machine_point *one,
                        const struct machine_point *other, double level, struct machine_point *point) {
  enum { HALVINGS = 48, JUMP_EVERY = 6 };
  struct machine_point ends[2] = {*one, *other};
  for (int k = 0; k < 2; k++) {
    if (is_level(scan, ends[k].inputs[scan->freed], level)) {
      *point = ends[k];
      return true;
    }
  }
  bool side = ends[0].inputs[scan->freed] > level;
  for (int i = 0; i < HALVINGS; i++) {
    double bracket[2] = {ends[0].inputs[MACHINE_PEDAL], ends[1].inputs[MACHINE_PEDAL]};
    int near = fabs(ends[0].inputs[scan->freed] - level) < fabs(ends[1].inputs[scan->freed] - level) ? 0 : 1;
    /* From both ends; within a narrower bracket no kink may lie between. */
    if (i % JUMP_EVERY == 0 && (jump(machine, scan, &ends[near], bracket, level, point) ||
                                jump(machine, scan, &ends[1 - near], bracket, level, point))) {
      return true;
    }
    struct machine_point middle = ends[near];
    middle.inputs[MACHINE_PEDAL] = 0.5 * (bracket[0] + bracket[1]);
    if (!machine_follow(machine, scan->speed, scan->freed, &middle)) {
      return false;
    }
    if (is_level(scan, middle.inputs[scan->freed], level)) {
      *point = middle;
      return true;
    }
    ends[(middle.inputs[scan->freed] > level) == side ? 0 : 1] = middle;
  }
  return false;
}

bool scan_pedal_for(struct machine *machine, const struct scan *scan, double level, struct machine_point *point) {
  int from = scan_level(scan);
  bool up = (scan->speed < 0.0 ? -level : level) >= 0.0;
  /* Level drive lies between the place below and this one. */
  for (int i = up && from > 0 ? from - 1 : from; up ? i + 1 < SCAN_POINTS : i > 0; i += up ? 1 : -1) {
    const struct scan_point *here = &scan->points[i];
    const struct scan_point *next = &scan->points[up ? i + 1 : i - 1];
    if (!here->found || !next->found) {
      continue;
    }
    double before = here->at.inputs[scan->freed] - level;
    double after = next->at.inputs[scan->freed] - level;
    bool passes = (before > 0.0) != (after > 0.0) || is_level(scan, before + level, level) ||
                  is_level(scan, after + level, level);
    if (passes && scan_pedal_between(machine, scan, &here->at, &next->at, level, point)) {
      return true;
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
        if (pedal <= fabs(high->at.inputs[MACHINE_PEDAL]) + 1e-9 && pedal >= scan_pedal_at(machine, i - 1) - 1e-3) {
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
  double from = scan_pedal_at(machine, low);
  double to = scan_pedal_at(machine, low + 1);
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
