/* The flow-pressure curve of a relief valve: a slow ramp of flow up and down again on the valve rig, beside the static
 * balance of the valve's law. */
#ifndef SWASHLOOP_ANALYSIS_VALVE_CURVE_H
#define SWASHLOOP_ANALYSIS_VALVE_CURVE_H

#include "case.h"
#include "run.h"

enum { VALVE_CURVE_POINTS = 401 };

/* CURVE(name, quantity, reference, long name) */
/* clang-format off */
#define VALVE_CURVE_LIST(CURVE)                                                                                        \
  CURVE(cracking_drop, PRESSURE, NONE, "drop when more than 0.6 L/min first flow")                                     \
  CURVE(largest_flow, FLOW, NONE, "flow at the top of the ramp")                                                       \
  CURVE(full_drop, PRESSURE, NONE, "drop at the largest flow")                                                         \
  CURVE(pressure_override, PRESSURE, NONE, "drop at the largest flow over that at cracking")                           \
  CURVE(override_share, FRACTION, NONE, "the same over the drop at cracking")                                          \
  CURVE(reseat_drop, PRESSURE, NONE, "drop when less than 0.6 L/min flow again")                                       \
  CURVE(hysteresis, PRESSURE, NONE, "largest difference between the way up and the way down at one flow")              \
  CURVE(full_lift, LENGTH, NONE, "lift at the largest flow")                                                           \
  CURVE(stop_flow, FLOW, NONE, "flow at which the poppet meets its stop, by the balance")                              \
  CURVE(balance_deviation, PRESSURE, NONE, "largest deviation of the mean of both ways from the static balance")       \
  CURVE(ramp_time, TIME, NONE, "time of the ramp each way")                                                            \
  CURVE(ramp_change, PRESSURE, NONE, "largest change of the curve when the ramp takes twice that time")
/* clang-format on */

enum valve_curve_id {
#define CURVE_ID(name, quantity, reference, text) CURVE_##name,
  VALVE_CURVE_LIST(CURVE_ID)
#undef CURVE_ID
      CURVE_COUNT
};

extern const struct signal valve_curve_rows[CURVE_COUNT];

struct valve_curve {
  double flow[VALVE_CURVE_POINTS];    /* m3/s, even steps from 0.6 L/min to the largest flow */
  double up[VALVE_CURVE_POINTS];      /* drop over the valve, Pa */
  double down[VALVE_CURVE_POINTS];    /* Pa */
  double balance[VALVE_CURVE_POINTS]; /* Pa, by the static inverse of the law */
  double lift[VALVE_CURVE_POINTS];    /* on the way up: m, or Pa above cracking, by the law */
  enum quantity lift_quantity;
  bool ends_at_stop;          /* the poppet meets its stop before the flow wanted: the curve goes no further */
  double values[CURVE_COUNT]; /* SI */
  char absent[CURVE_COUNT][96];
};

/* A rig with the oil and the valve of `data`, whatever its circuit: a copy with the same numbers where it is a rig,
 * else a rig of defaults with that oil and valve. case_free it. */
bool valve_curve_rig(const struct case_data *data, struct case_data *rig, struct error *error);
/* The curve of the valve in `rig` up to `largest_flow`, m3/s, each way within `ramp_time`, s; 0: as slow
 * as the valve wants, until half the rate changes the curve by less than a thousandth of its override. The case is
 * written to.
 */
bool valve_curve_find(struct case_data *rig, double largest_flow, double ramp_time, const struct watcher *watcher,
                      struct valve_curve *curve, struct error *error);

#endif
