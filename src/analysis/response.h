/* How a relief valve answers a disturbance: definitions in words in docs/response.md, after the public terms for
 * transient tests of pressure valves. Pure: works on time histories, whoever made them. */
#ifndef SWASHLOOP_ANALYSIS_RESPONSE_H
#define SWASHLOOP_ANALYSIS_RESPONSE_H

#include <stdbool.h>

#include "error.h"
#include "field.h"

/* RESPONSE(name, quantity, reference, long name) */
/* clang-format off */
#define RESPONSE_LIST(RESPONSE)                                                                                        \
  RESPONSE(cracking_time, TIME, NONE, "when the drop over the valve first reached its setting")                        \
  RESPONSE(cracking_pressure, PRESSURE, GAUGE, "pressure at that moment")                                              \
  RESPONSE(rise_rate, PRESSURE_RATE, NONE, "rise of the pressure at that moment")                                      \
  RESPONSE(opening_delay, TIME, NONE, "from cracking to more than 0.6 L/min through the valve")                        \
  RESPONSE(opening_pressure, PRESSURE, GAUGE, "pressure when more than 0.6 L/min first flow")                          \
  RESPONSE(opening_time, TIME, NONE, "from cracking until the valve first passes 90 % of the settled flow")            \
  RESPONSE(response_time, TIME, NONE, "from cracking to the highest pressure")                                         \
  RESPONSE(peak_pressure, PRESSURE, GAUGE, "highest pressure")                                                         \
  RESPONSE(peak_time, TIME, NONE, "when the pressure was highest")                                                     \
  RESPONSE(settled_pressure, PRESSURE, GAUGE, "mean over the last tenth between the peak and the end of the flow")     \
  RESPONSE(settled_flow, FLOW, NONE, "flow through the valve over the same tenth")                                     \
  RESPONSE(overshoot, PRESSURE, NONE, "highest pressure over the settled one")                                         \
  RESPONSE(overshoot_share, FRACTION, NONE, "overshoot over the settled pressure")                                     \
  RESPONSE(settling_time, TIME, NONE, "from cracking until the pressure stays within the band")                        \
  RESPONSE(reseat_time, TIME, NONE, "when the valve last let less than 0.6 L/min through")                             \
  RESPONSE(reseat_pressure, PRESSURE, GAUGE, "pressure at that moment")                                                \
  RESPONSE(hysteresis, PRESSURE, NONE, "opening pressure less reseat pressure")                                        \
  RESPONSE(frequency, FREQUENCY, NONE, "of the oscillation about the settled pressure")                                \
  RESPONSE(damping_ratio, NUMBER, NONE, "of the oscillation, from its logarithmic decrement")                          \
  RESPONSE(decrement, NUMBER, NONE, "logarithmic decrement of the oscillation, one full swing to the next")            \
  RESPONSE(swings, NUMBER, NONE, "full swings that the decrement comes from")                                          \
  RESPONSE(energy, ENERGY, NONE, "energy turned into heat in the valve")                                               \
  RESPONSE(peak_power, POWER, NONE, "highest power turned into heat in the valve")                                     \
  RESPONSE(peak_flow, FLOW, NONE, "largest flow through the valve")                                                    \
  RESPONSE(open_time, TIME, NONE, "total time with more than 0.6 L/min through the valve")                             \
  RESPONSE(openings, NUMBER, NONE, "how often the valve opened")                                                       \
  RESPONSE(stickings, NUMBER, NONE, "how often the valve stood still for 5 ms while the pressure moved by 1 % of the setting")  \
  RESPONSE(longest_sticking, TIME, NONE, "longest of these")                                                           \
  RESPONSE(limiter_begin, TIME, NONE, "from cracking until the pressure limiter takes 1 % of the stroke; before: negative") \
  RESPONSE(handover_time, TIME, NONE, "from cracking until the valve is shut and the pressure limiter holds alone")
/* clang-format on */

enum response_id {
#define RESPONSE_ID(name, quantity, reference, text) RESPONSE_##name,
  RESPONSE_LIST(RESPONSE_ID)
#undef RESPONSE_ID
      RESPONSE_COUNT
};

extern const struct signal response_rows[RESPONSE_COUNT];

enum { RESPONSE_MARKS = 48, RESPONSE_EXTREMA = 512 };

/* Where a number comes from, to be drawn: on the pressure or on the flow. */
enum response_curve { RESPONSE_ON_PRESSURE, RESPONSE_ON_FLOW };

struct response_mark {
  enum response_curve curve;
  double time;  /* s */
  double value; /* SI, of that curve */
  char name[40];
};

struct response {
  double values[RESPONSE_COUNT];   /* SI */
  char absent[RESPONSE_COUNT][96]; /* why a value is NaN */
  struct response_mark marks[RESPONSE_MARKS];
  int mark_count;
  double band_low;     /* of settling, Pa; NaN without a settled pressure */
  double band_high;    /* Pa */
  double settled_from; /* s, the tenth that the settled values are means of */
  double settled_to;   /* s */
};

/* Rising times; SI. Columns that a plant lacks are NULL. */
struct response_history {
  int count;
  const double *time;
  const double *pressure; /* gauge, of the line that the valve protects */
  const double *drop;     /* over the valve */
  const double *flow;
  const double *opening; /* lift, or its equal; NULL: no sticking is looked for */
  const double *feed;    /* flow into a rig; NULL in a machine */
  const double *limiter; /* share of stroke taken by the pressure limiter */
};

struct response_settings {
  double setting; /* drop at which the valve cracks, Pa */
  double stop;    /* opening at which the poppet meets its stop, where it must stand still */
  double band;    /* of settling, share of the settled pressure, either way */
  double from;    /* s */
  double to;      /* s */
};

/* False only when the histories hold no sample between `from` and `to`. */
bool response_find(const struct response_history *history, const struct response_settings *settings,
                   struct response *response, struct error *error);

#endif
