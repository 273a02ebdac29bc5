/* The most that a machine pulls or climbs at a speed, or holds back: along the pedal from the best place of a scan to
 * the peak itself. What it gives over the pedal is smooth but for kinks, where the limiter begins, the engine comes to
 * full fuel, a relief valve cracks, pump or motor come to their ends; a peak lies in a smooth part or on a kink. */
#include <math.h>

#include "scan.h"
#include "steady.h"

struct ascent {
  struct machine *machine;
  const struct scan *scan;
  double sign;  /* 1: the largest value of the freed input is sought, -1: the smallest */
  double drive; /* 1: the drive gives it, -1: it holds back */
};

/* A place on the way: the pedal, and what it gives; nothing where there is no balance. */
struct trial {
  double pedal;
  double value; /* times the sign */
  struct machine_point at;
};

static struct trial trial_of(const struct ascent *ascent, const struct machine_point *at) {
  return (struct trial){at->inputs[MACHINE_PEDAL], ascent->sign * at->inputs[ascent->scan->freed], *at};
}

static struct trial try_pedal(const struct ascent *ascent, double pedal, const struct machine_point *near) {
  struct trial trial = {pedal, -HUGE_VAL, *near};
  trial.at.inputs[MACHINE_PEDAL] = pedal;
  if (fabs(pedal) <= 1.0 && machine_find(ascent->machine, ascent->scan->speed, ascent->scan->freed, &trial.at)) {
    trial.value = ascent->sign * trial.at.inputs[ascent->scan->freed];
  }
  return trial;
}

/* Signals at whose levels there may be a kink that is a peak. */
enum { KINKS = 3 };

static int kinks_of(const struct ascent *ascent, struct balance_condition *kinks) {
  const struct machine *machine = ascent->machine;
  const struct machine_sections *own = &machine->own;
  double side = ascent->scan->speed < 0.0 ? -ascent->drive : ascent->drive; /* 1: line A is the high side */
  int count = 0;
  /* Full fuel is reached; by an accelerator the set speed moves with it, and from there on more of it gives the same.
   */
  if (ascent->drive > 0.0 && own->engine->governor == ENGINE_DROOP && !machine_by_accelerator(machine)) {
    kinks[count++] = (struct balance_condition){machine_signal(machine, READ_engine_speed),
                                                own->engine->set_speed * machine->inputs[MACHINE_THROTTLE], 100.0};
  }
  if (ascent->drive > 0.0 && own->limiter->fitted == LIMITER_FITTED) { /* it begins */
    kinks[count++] =
        (struct balance_condition){machine_signal(machine, side > 0.0 ? READ_line_a_pressure : READ_line_b_pressure),
                                   own->limiter->setting + own->lines->case_pressure, 1e7};
  }
  kinks[count++] =
      (struct balance_condition){machine_signal(machine, READ_line_pressure_difference),
                                 side > 0.0 ? own->relief->setting : -relief_valve_b(own->relief).setting, 1e7};
  return count;
}

/* Is it a peak with a kink: less on both sides close by? */
static bool is_peak(const struct ascent *ascent, const struct trial *trial) {
  const double apart = 1e-5; /* of pedal: far beyond what balances differ by, close enough for a straight line */
  double less = trial->value - 1e-9 * fabs(trial->value);
  return try_pedal(ascent, trial->pedal + apart, &trial->at).value < less &&
         try_pedal(ascent, trial->pedal - apart, &trial->at).value < less;
}

/* The kink between two pedals that is a peak and gives no less than `peak`, which it becomes. */
static bool kink_between(const struct ascent *ascent, double low, double high, struct trial *peak) {
  struct balance_condition kinks[KINKS];
  int count = kinks_of(ascent, kinks);
  for (int k = 0; k < count; k++) {
    struct machine_point at = peak->at;
    if (!machine_find_edge(ascent->machine, ascent->scan->speed, MACHINE_PEDAL, ascent->scan->freed, kinks[k], &at)) {
      continue;
    }
    struct trial trial = trial_of(ascent, &at);
    if (trial.pedal >= low && trial.pedal <= high && trial.value >= peak->value && is_peak(ascent, &trial)) {
      *peak = trial;
      return true;
    }
  }
  return false;
}

/* The peak between two pedals by golden section and, where the three best lie on a parabola, its top (R. P. Brent,
 * Algorithms for Minimization without Derivatives (1973), ch. 5, from memory). */
static void climb(const struct ascent *ascent, double low, double high, struct trial *best) {
  enum { STEPS = 60 };
  const double golden = 0.3819660112501051;
  const double close = 1e-8; /* of pedal */
  struct trial second = *best;
  struct trial third = *best;
  double step = 0.0;
  double before = 0.0;
  for (int i = 0; i < STEPS; i++) {
    double middle = 0.5 * (low + high);
    if (fabs(best->pedal - middle) <= 2.0 * close - 0.5 * (high - low)) {
      return;
    }
    bool parabola = false;
    if (fabs(before) > close && isfinite(second.value) && isfinite(third.value)) {
      double r = (best->pedal - second.pedal) * (best->value - third.value);
      double q = (best->pedal - third.pedal) * (best->value - second.value);
      double p = (best->pedal - third.pedal) * q - (best->pedal - second.pedal) * r;
      q = 2.0 * (q - r);
      double ahead = q != 0.0 ? -p / q : HUGE_VAL;
      parabola = fabs(ahead) < 0.5 * fabs(before) && best->pedal + ahead > low && best->pedal + ahead < high;
      before = step;
      step = parabola ? ahead : step;
    }
    if (!parabola) {
      before = best->pedal < middle ? high - best->pedal : low - best->pedal;
      step = golden * before;
    }
    double apart = fabs(step) >= close ? step : copysign(close, step);
    struct trial next = try_pedal(ascent, best->pedal + apart, &best->at);
    if (next.value >= best->value) {
      *(next.pedal >= best->pedal ? &low : &high) = best->pedal;
      third = second;
      second = *best;
      *best = next;
    } else {
      *(next.pedal < best->pedal ? &low : &high) = next.pedal;
      if (next.value >= second.value || second.pedal == best->pedal) {
        third = second;
        second = next;
      } else if (next.value >= third.value || third.pedal == best->pedal || third.pedal == second.pedal) {
        third = next;
      }
    }
  }
}

/* Where a range of pedals gives the same: the one nearest to `inner`, which gives less. */
static void innermost_pedal(const struct ascent *ascent, double inner, struct trial *best) {
  enum { HALVINGS = 40 };
  double enough = best->value - 1e-9 * fabs(best->value);
  struct trial here = try_pedal(ascent, best->pedal + copysign(1e-7, inner - best->pedal), &best->at);
  for (int i = 0; i < HALVINGS && (i > 0 || here.value >= enough); i++) {
    here = try_pedal(ascent, 0.5 * (inner + best->pedal), &best->at);
    if (here.value >= enough) {
      *best = here;
    } else {
      inner = here.pedal;
    }
  }
}

/* From place `best` of the scan to the peak itself; `step`: towards level drive. */
static void refine(const struct ascent *ascent, int best, int step, struct steady_most *most) {
  const struct scan *scan = ascent->scan;
  double side = scan->speed < 0.0 ? -1.0 : 1.0;
  struct trial peak = trial_of(ascent, &scan->points[best].at);
  int inner = best + step;
  int outer = best - step;
  bool has_inner = inner >= 0 && inner < SCAN_POINTS && scan->points[inner].found;
  bool has_outer = outer >= 0 && outer < SCAN_POINTS;
  double inside = has_inner ? side * scan_pedal_at(ascent->machine, inner) : peak.pedal;
  double outside = has_outer ? side * scan_pedal_at(ascent->machine, outer) : peak.pedal;
  bool corner = best == SCAN_PUMP_STEPS || !has_outer; /* of pump or motor, or of the pedal */
  bool flat = has_outer && scan->points[outer].found &&
              trial_of(ascent, &scan->points[outer].at).value >= peak.value - 1e-9 * fabs(peak.value);
  most->inner = has_inner ? scan->points[inner].at : peak.at;
  if (!flat && !(corner && is_peak(ascent, &peak)) &&
      !kink_between(ascent, fmin(inside, outside), fmax(inside, outside), &peak)) {
    climb(ascent, fmin(inside, outside), fmax(inside, outside), &peak);
  }
  if (has_inner) {
    innermost_pedal(ascent, inside, &peak);
  }
  most->at = peak.at;
}

/* What ends it, where several do at once all of them. */
static const char *limit_of(const struct machine_point *point, unsigned bounds) {
  enum { ENDS = 4 };
  static const enum machine_bound ends[ENDS] = {BOUND_grip, BOUND_relief, BOUND_limiter, BOUND_engine_power};
  static const char *const words[1 << ENDS] = {
      [1] = "grip",
      [2] = "relief valve",
      [3] = "grip and relief valve",
      [4] = "pressure limiter",
      [5] = "grip and pressure limiter",
      [6] = "relief valve and pressure limiter",
      [7] = "grip, relief valve and pressure limiter",
      [8] = "engine power",
      [9] = "grip and engine power",
      [10] = "relief valve and engine power",
      [11] = "grip, relief valve and engine power",
      [12] = "pressure limiter and engine power",
      [13] = "grip, pressure limiter and engine power",
      [14] = "relief valve, pressure limiter and engine power",
      [15] = "grip, relief valve, pressure limiter and engine power",
  };
  unsigned set = 0;
  for (int i = 0; i < ENDS; i++) {
    set |= bounds & (1u << ends[i]) ? 1u << i : 0;
  }
  if (set != 0) {
    return words[set];
  }
  if (bounds & (1u << BOUND_anti_stall)) {
    return machine_bound_words[BOUND_anti_stall];
  }
  return fabs(point->inputs[MACHINE_PEDAL]) > 0.999 ? machine_bound_words[BOUND_gearing] : "drive";
}

/* Is the scan no higher at its neighbours than at place i? Where a range of pedals gives the same, what balances differ
 * by does not count. */
static bool is_hump(const struct ascent *ascent, int i) {
  const struct scan_point *points = ascent->scan->points;
  double high = points[i].found ? ascent->sign * points[i].at.inputs[ascent->scan->freed] : 0.0;
  for (int k = i - 1; k <= i + 1; k += 2) {
    if (k >= 0 && k < SCAN_POINTS && points[k].found &&
        ascent->sign * points[k].at.inputs[ascent->scan->freed] > high + 1e-7 * fabs(high)) {
      return false;
    }
  }
  return points[i].found;
}

void steady_extreme(struct machine *machine, const struct scan *scan, double sign, struct steady_most *most) {
  double side = scan->speed < 0.0 ? -1.0 : 1.0;
  struct ascent ascent = {machine, scan, sign, sign * side};
  int highest = scan_extremum(scan, sign);
  int step = ascent.drive > 0.0 ? -1 : 1;
  *most = (struct steady_most){.found = false, .limit = ""};
  if (highest < 0) {
    return;
  }
  /* From level drive outward: of humps that come to the same the first counts, where a machine comes that is loaded
   * more and more. How high a hump is the places of the scan about it say within a few parts of a hundred. */
  const double margin = 0.05;
  double high = sign * scan->points[highest].at.inputs[scan->freed];
  for (int i = step < 0 ? 0 : SCAN_POINTS - 1; i >= 0 && i < SCAN_POINTS; i -= step) {
    struct steady_most hump;
    if (!is_hump(&ascent, i) || sign * scan->points[i].at.inputs[scan->freed] < high - margin * fabs(high)) {
      continue;
    }
    refine(&ascent, i, step, &hump);
    double value = sign * hump.at.inputs[scan->freed];
    double before = sign * most->at.inputs[scan->freed];
    if (!most->found || value > before + 1e-7 * fabs(before)) {
      *most = hump;
      most->found = true;
    }
  }
  /* Where the grip ends it the peak is where the curve of the tyre has it. */
  struct balance_condition peak = {machine_signal(machine, READ_wheel_slip), sign * tyre_peak_slip(machine->own.tyre),
                                   0.1};
  struct machine_point edge;
  int top = ascent.drive > 0.0 ? SCAN_POINTS - 1 : scan_level(scan);
  most->bounds = machine_bounds(machine, &most->at);
  if (scan_edge(machine, scan, top, peak, &edge) &&
      sign * edge.inputs[scan->freed] >
          sign * most->at.inputs[scan->freed] + 1e-9 * fabs(most->at.inputs[scan->freed])) {
    most->at = edge;
    most->bounds = machine_bounds(machine, &edge) | (1u << BOUND_grip);
  }
  most->limit = limit_of(&most->at, most->bounds);
}

void steady_most(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *from,
                 struct steady_most *most) {
  struct scan scan;
  scan_pedal(machine, speed, freed, from, &scan);
  steady_extreme(machine, &scan, 1.0, most);
  most->found = most->found && most->at.inputs[freed] > 0.0;
}
