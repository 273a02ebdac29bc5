/* The law of losses against a real pump on its stand: 116 readings of flow and torque from 500 to 4500 rpm, 50 to 380
 * bar, a fifth to full stroke (pump_stand.csv, where its source stands). The coefficients are what tools/fit-losses
 * makes of two thirds of them (pump_stand.yaml; pump_stand_plain.yaml without the terms by stroke and speed;
 * tests/cli/fit_losses.py holds both to the tool), the other third tells what the law says of readings that it was not
 * fitted to. And the readings as a map of three strokes: what it says of the two strokes between. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "case.h"
#include "component.h"
#include "fluid.h"
#include "pump.h"
#include "registry.h"
#include "rows.h"

#define FOLDER SWASHLOOP_SOURCE "/tests/outside/"
#define STAND_VISCOSITY 0.020 /* taken, the stand's is not told; also the film's, whatever the exponent */

enum { READINGS = 116, LEAVE_OUT = 3 };

struct reading {
  double speed;  /* rad/s */
  double drop;   /* Pa */
  double stroke; /* m3/rad */
  double torque; /* N m */
  double flow;   /* m3/s at the high pressure */
};

static struct reading readings[READINGS];

/* False if the file is not what it was. */
static bool read_stand(void) {
  static int count = 0;
  if (count == 0) {
    char line[256];
    FILE *file = fopen(FOLDER "pump_stand.csv", "r");
    while (file != NULL && fgets(line, sizeof line, file) != NULL) {
      double cell[6];
      char *at = line;
      int cells = 0;
      for (char *end = at; cells < 6; cells++, at = end + (*end == ',')) {
        cell[cells] = strtod(at, &end);
        if (end == at) {
          break;
        }
      }
      if (cells == 6 && count < READINGS) {
        readings[count++] = (struct reading){cell[0] * RPM, cell[1] * BAR, cell[2] * 1e-6 * PER_REVOLUTION, cell[3],
                                             cell[4] * LITRE_PER_MINUTE};
      }
    }
    if (file != NULL) {
      (void)fclose(file);
    }
  }
  return count == READINGS;
}

/* The losses of the pump of a file beside this one. */
static bool losses_of(const char *machine, struct rotary_losses *losses) {
  char text[128];
  struct case_data data;
  struct error error = {0};
  (void)snprintf(text, sizeof text, "machine: %s\n", machine);
  if (!read_stand() || !case_load_text(FOLDER "stand.yaml", text, NULL, 0, &data, &error)) {
    return false;
  }
  const struct pump_parameters *pump = registry_need_section(data.plant, data.parameters, "pump", &error);
  const struct fluid_parameters *oil = registry_need_section(data.plant, data.parameters, "fluid", &error);
  *losses = pump_losses(pump, 1.0);
  rotary_losses_in_oil(losses, oil->density, oil->bulk_modulus, oil->bulk_modulus_slope);
  case_free(&data);
  return true;
}

enum { VOLUMETRIC, MECHANICAL, OVERALL };

/* Law less reading, in points of efficiency. */
static double miss(const struct rotary_losses *losses, const struct reading *at, int which) {
  double stroke = at->stroke / losses->displacement;
  double flow = pump_displaced_flow(losses->displacement, stroke, at->speed);
  double torque = pump_pressure_torque(losses->displacement, stroke, at->drop);
  struct rotary_leaks leaks = rotary_leaks_of(losses, at->drop, at->drop, 0.0, stroke, at->speed, STAND_VISCOSITY);
  double lost = rotary_torque_of(losses, at->drop, stroke, at->speed, STAND_VISCOSITY);
  double law[] = {(flow - leaks.slip - leaks.case_a) / flow, torque / (torque + lost)};
  double stand[] = {at->flow / flow, torque / at->torque};
  return 100.0 * (which == OVERALL ? law[0] * law[1] - stand[0] * stand[1] : law[which] - stand[which]);
}

/* Which readings. */
enum { MOST, SMALL_STROKE, SLOW, ALL };

static bool belongs(const struct reading *at, int part) {
  bool small = at->stroke < 0.3 * 57e-6 * PER_REVOLUTION;
  bool slow = at->speed < 750.0 * RPM;
  return part == ALL || (part == SMALL_STROKE ? small : part == SLOW ? slow && !small : !small && !slow);
}

/* Largest miss of the readings of that part, fitted or left out or either. */
static double largest(const char *machine, int part, int which, bool fitted, bool left_out) {
  struct rotary_losses losses;
  double worst = 0.0;
  if (!losses_of(machine, &losses)) {
    return NAN;
  }
  for (int i = 0; i < READINGS; i++) {
    bool out = i % LEAVE_OUT == LEAVE_OUT - 1;
    if (belongs(&readings[i], part) && (out ? left_out : fitted)) {
      worst = fmax(worst, fabs(miss(&losses, &readings[i], which)));
    }
  }
  return worst;
}

static double fitted_most(double which) {
  return largest("pump_stand.yaml", MOST, (int)which, true, false);
}

static double left_out_most(double which) {
  return largest("pump_stand.yaml", MOST, (int)which, false, true);
}

static double small_stroke(double which) {
  return largest("pump_stand.yaml", SMALL_STROKE, (int)which, true, true);
}

static double slow(double which) {
  return largest("pump_stand.yaml", SLOW, (int)which, true, true);
}

static double plain(double which) {
  return largest("pump_stand_plain.yaml", ALL, (int)which, true, true);
}

/* Root of the mean square of the overall misses, of the readings fitted (0) or left out (1). */
static double scatter(double left_out) {
  struct rotary_losses losses;
  double sum = 0.0;
  int count = 0;
  if (!losses_of("pump_stand.yaml", &losses)) {
    return NAN;
  }
  for (int i = 0; i < READINGS; i++) {
    if ((i % LEAVE_OUT == LEAVE_OUT - 1) == (left_out > 0.0)) {
      double off = miss(&losses, &readings[i], OVERALL);
      sum += off * off;
      count++;
    }
  }
  return sqrt(sum / count);
}

/* ---- a map of several strokes ---- */

enum { SPEEDS = 4, PRESSURES = 4, STROKES = 3 };
static const double speeds[SPEEDS] = {1500.0, 2500.0, 3500.0, 4500.0};
static const double strokes[5] = {0.2055, 0.407, 0.599, 0.802, 1.0}; /* means of the lines, each within 1 % of full */
static const double pressures[PRESSURES] = {49.0, 140.0, 260.0, 380.0};

/* The reading nearest to this point. */
static const struct reading *reading_at(double speed, double stroke, double bar) {
  const struct reading *best = readings;
  double least = HUGE_VAL;
  for (int i = 0; i < READINGS; i++) {
    double off = fabs(readings[i].speed / RPM - speed) / 100.0 +
                 fabs(readings[i].stroke / (57e-6 * PER_REVOLUTION) - stroke) * 20.0 +
                 fabs(readings[i].drop / BAR - bar) / 20.0;
    if (off < least) {
      least = off;
      best = &readings[i];
    }
  }
  return best;
}

/* Largest miss of the map of the strokes 20, 60 and 100 % at 40 and 80 %. Its readings are moved to the points of a
 * grid, by 1 % of full stroke and 20 bar at most. */
static double by_map(int which) {
  real volumetric[STROKES * SPEEDS * PRESSURES];
  real mechanical[STROKES * SPEEDS * PRESSURES];
  real axis_speed[SPEEDS];
  real axis_pressure[PRESSURES];
  real axis_stroke[STROKES] = {strokes[0], strokes[2], strokes[4]};
  struct map map = {SPEEDS, PRESSURES, STROKES, axis_speed, axis_pressure, axis_stroke, volumetric, mechanical};
  struct rotary_losses losses;
  if (!losses_of("pump_stand.yaml", &losses)) {
    return NAN;
  }
  for (int s = 0; s < STROKES; s++) {
    for (int i = 0; i < SPEEDS; i++) {
      for (int k = 0; k < PRESSURES; k++) {
        const struct reading *at = reading_at(speeds[i], strokes[s + s], pressures[k]);
        axis_speed[i] = speeds[i] * RPM;
        axis_pressure[k] = pressures[k] * BAR;
        volumetric[map_row(&map, s, i, k)] = at->flow / (at->stroke * at->speed);
        mechanical[map_row(&map, s, i, k)] = at->stroke * at->drop / at->torque;
      }
    }
  }
  losses.map = &map;
  double worst = 0.0;
  for (int s = 1; s < 5; s += 2) {
    for (int i = 0; i < SPEEDS; i++) {
      for (int k = 0; k < PRESSURES; k++) {
        worst = fmax(worst, fabs(miss(&losses, reading_at(speeds[i], strokes[s], pressures[k]), which)));
      }
    }
  }
  return worst;
}

static double map_between(double which) {
  return by_map((int)which);
}

#define LAW "measured pump"
#define STAND "readings of a test stand in a public repository, no author told"

static const struct row rows[] = {
    {"L1", LAW, "78 readings fitted, from 40 % stroke and 1000 rpm on: largest miss of the volumetric efficiency",
     "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, fitted_most, VOLUMETRIC, NULL},
    {"L1", LAW, "of the hydro-mechanical efficiency", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, fitted_most,
     MECHANICAL, NULL},
    {"L1", LAW, "of the overall efficiency", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, fitted_most, OVERALL,
     "3.02 at full stroke, 3500 rpm and 49 bar, where churning takes most: the hydro-mechanical efficiency alone is "
     "2.98 off there"},
    {"L2", LAW, "38 readings left out of the fit, the same range: volumetric", "points", 0.0, 3.0, ABSOLUTE, STAND,
     PUBLISHED, left_out_most, VOLUMETRIC, NULL},
    {"L2", LAW, "hydro-mechanical", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, left_out_most, MECHANICAL, NULL},
    {"L2", LAW, "overall", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, left_out_most, OVERALL, NULL},
    {"L3", LAW, "at a fifth of the stroke, all speeds: volumetric", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED,
     small_stroke, VOLUMETRIC,
     "at a fifth of the stroke the leakage rises faster than the pressure: the law has 3 to 4 points too much of it at "
     "140 and 260 bar, and 1 to 3 too little at 380"},
    {"L3", LAW, "hydro-mechanical", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, small_stroke, MECHANICAL, NULL},
    {"L3", LAW, "overall", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, small_stroke, OVERALL,
     "as the volumetric efficiency"},
    {"L3", LAW, "at 500 rpm, from 40 % stroke on: volumetric", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, slow,
     VOLUMETRIC,
     "one of twelve readings, 80 % stroke and 261 bar, is 3.2 off; what leaks at 500 rpm is a third to a half of what "
     "is displaced"},
    {"L3", LAW, "hydro-mechanical", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, slow, MECHANICAL, NULL},
    {"L4", LAW, "overall efficiency of all readings fitted: root of the mean square", "points", 0.0, 1.5, ABSOLUTE,
     STAND, PUBLISHED, scatter, 0.0, NULL},
    {"L4", LAW, "of all left out", "points", 0.0, 1.5, ABSOLUTE, STAND, PUBLISHED, scatter, 1.0, NULL},
    {"L5", LAW, "do the readings ask for the terms by stroke and speed? fitted without them: volumetric, largest miss",
     "points", 3.0, 0.0, AT_LEAST, STAND, PUBLISHED, plain, VOLUMETRIC, NULL},
    {"L5", LAW, "hydro-mechanical", "points", 3.0, 0.0, AT_LEAST, STAND, PUBLISHED, plain, MECHANICAL, NULL},
    {"L6", LAW, "strokes 20, 60 and 100 % as a map, 1500 to 4500 rpm: at 40 and 80 %, left out of it, volumetric",
     "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, map_between, VOLUMETRIC, NULL},
    {"L6", LAW, "hydro-mechanical", "points", 0.0, 3.0, ABSOLUTE, STAND, PUBLISHED, map_between, MECHANICAL, NULL},
};

ROWS_MAIN(rows)
