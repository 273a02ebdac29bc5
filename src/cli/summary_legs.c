#include "summary_legs.h"

#include <math.h>
#include <string.h>

enum { LINES_SHOWN = 40 };

/* Energy of the ledger's row, kJ; 0 where the plant has none of the name. */
static double energy_of(const struct plant *plant, const struct run_leg *leg, const char *name) {
  for (int i = 0; i < plant->ledger_integrated; i++) {
    if (strcmp(plant->ledger[i].name, name) == 0) {
      return 1e-3 * leg->energy[i];
    }
  }
  return 0.0;
}

/* One leg, with the dwell behind it; `stands` may be NULL. */
static void print_leg(FILE *out, const struct plant *plant, const struct run_leg *leg, const struct run_leg *stands) {
  double time = leg->until - leg->from;
  double way = fabs(leg->ended_at - leg->began_at);
  (void)fprintf(out, "  %3d.%-3d %9.1f %9.1f %9.2f %9.1f", leg->repeat, leg->number, way, time,
                time > 0.0 ? 3.6 * way / time : 0.0, stands != NULL ? stands->until - stands->from : 0.0);
  if (stands != NULL) {
    (void)fprintf(out, " %9.2f %9.2f", stands->ended_at - stands->place, 1e-3 * stands->load);
  } else {
    (void)fprintf(out, " %9s %9.2f", "-", 1e-3 * leg->load);
  }
  (void)fprintf(out, " %7.2f %7.2f", leg->fuel, stands != NULL ? stands->fuel : 0.0);
  (void)fprintf(out, " %6d %9.0f %9.0f %9.0f\n", leg->brake_uses, energy_of(plant, leg, "brake"),
                energy_of(plant, leg, "relief_a") + energy_of(plant, leg, "relief_b"),
                energy_of(plant, leg, "engine_friction") + energy_of(plant, leg, "exhaust_brake"));
}

void summary_legs(FILE *out, const struct plant *plant, const struct outcome *outcome) {
  int shown = 0;
  (void)fputs("  repeat.       way      time     speed     dwell       off      load fuel,kg fuel,kg  brake     brake"
              "   reliefs    engine\n"
              "      leg         m         s      km/h         s         m         t     way   dwell   uses        kJ"
              "        kJ        kJ\n",
              out);
  for (int i = 0; i < outcome->leg_count; i++) {
    const struct run_leg *leg = &outcome->legs[i];
    const struct run_leg *next = i + 1 < outcome->leg_count ? &outcome->legs[i + 1] : NULL;
    if (leg->stands) {
      continue;
    }
    if (shown++ < LINES_SHOWN) {
      print_leg(out, plant, leg, next != NULL && next->stands ? next : NULL);
    }
  }
  if (shown > LINES_SHOWN || outcome->legs_left_out > 0) {
    (void)fprintf(out, "  ... %d legs in all; the file has them\n", shown);
  }
  (void)fprintf(
      out, "  off: where the machine stood at the end of the dwell, beyond (+) or before (-) the place; reliefs and\n"
           "  engine: heat made in the relief valves, in engine friction and the exhaust brake, on the way\n");
}
