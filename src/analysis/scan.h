/* All that a machine does at one speed: the balances along the pedal, from the foot off to full. */
#ifndef SWASHLOOP_ANALYSIS_SCAN_H
#define SWASHLOOP_ANALYSIS_SCAN_H

#include "machine.h"

enum { SCAN_PUMP_STEPS = 24, SCAN_MOTOR_STEPS = 16, SCAN_POINTS = SCAN_PUMP_STEPS + SCAN_MOTOR_STEPS + 1 };

struct scan_point {
  bool found;
  struct machine_point at;
  double signals[PLANT_SIGNAL_LIMIT]; /* SI */
  double heating;                     /* of the loop, K/s */
  unsigned bounds;
};

struct scan {
  double speed;             /* m/s */
  enum machine_input freed; /* what keeps the balance: grade or pull */
  struct scan_point points[SCAN_POINTS];
};

/* The pedal of place i, forward. */
double scan_pedal_at(const struct machine *machine, int i);
/* From the pedal that would give the speed without load, up to full and down to none, as far as there is balance. The
 * inputs of `from` but the pedal and the freed one are kept. */
void scan_pedal(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *from,
                struct scan *scan);
/* Only from `start`, which takes place `top` of the scan, downward. */
void scan_pedal_down(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *start,
                     int top, struct scan *scan);
/* The first scan point from which the freed input drives (or, going back, holds the other way): where level drive lies
 * just below it. -1: nothing was found. */
int scan_level(const struct scan *scan);
/* From level drive on, up for a load and down for an overrun, two neighbours between which the freed input passes
 * `level`: the balance there with the pedal sought. The first such place is what a machine comes to that is loaded
 * more and more; farther on there may be others. False if the scan never passes it. */
bool scan_pedal_for(struct machine *machine, const struct scan *scan, double level, struct machine_point *point);
/* The same between two points of which one lies on either side of `level`, or on it. */
bool scan_pedal_between(struct machine *machine, const struct scan *scan, const struct machine_point *one,
                        const struct machine_point *other, double level, struct machine_point *point);
/* The first place, from scan point `top` down to the foot off, at which a signal passes `level`: the balance there. */
bool scan_edge(struct machine *machine, const struct scan *scan, int top, struct balance_condition condition,
               struct machine_point *point);
/* The same between scan point `high` and a point with a smaller pedal on the other side of the edge, by halving. */
bool scan_edge_between(struct machine *machine, const struct scan *scan, int high, const struct machine_point *low,
                       struct balance_condition condition, struct machine_point *point);
/* Between place `low` and the next above it, in fine steps upward as long as `while_below` holds: the first point at
 * which `condition` is not exceeded takes that next place. False if there is none. */
bool scan_finer(struct machine *machine, struct scan *scan, int low, struct balance_condition condition,
                struct balance_condition while_below);
/* The found point with the largest value of the freed input (sign 1) or the smallest (-1); -1 if there is none. */
int scan_extremum(const struct scan *scan, double sign);

#endif
