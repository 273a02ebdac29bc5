/* How a relief valve answers a disturbance: definitions in words, and where they come from, in docs/response.md. All by
 * the drop over the valve. Pure: works on time histories, whoever made them. */
#ifndef SWASHLOOP_ANALYSIS_RESPONSE_H
#define SWASHLOOP_ANALYSIS_RESPONSE_H

#include <stdbool.h>

#include "error.h"
#include "field.h"

/* Of the first opening, unless the text says otherwise. RESPONSE(name, quantity, reference, long name) */
/* clang-format off */
#define RESPONSE_LIST(RESPONSE)                                                                                        \
  RESPONSE(cracking_time, TIME, NONE, "when the drop over the valve reached its setting")                              \
  RESPONSE(cracking_pressure, PRESSURE, GAUGE, "pressure of the line at that moment")                                  \
  RESPONSE(rise_rate, PRESSURE_RATE, NONE, "rise of the drop at that moment")                                          \
  RESPONSE(opening_delay, TIME, NONE, "from cracking to more than 0.6 L/min through the valve")                        \
  RESPONSE(opening_drop, PRESSURE, NONE, "drop when more than 0.6 L/min begin to flow")                                \
  RESPONSE(opening_pressure, PRESSURE, GAUGE, "pressure of the line at that moment")                                   \
  RESPONSE(opening_time, TIME, NONE, "from cracking until the valve first passes 90 % of the flow of the first peak")  \
  RESPONSE(response_time, TIME, NONE, "from cracking to the first peak of the drop")                                   \
  RESPONSE(first_peak_time, TIME, NONE, "when the drop was first at a peak")                                           \
  RESPONSE(first_peak_drop, PRESSURE, NONE, "drop at that peak")                                                       \
  RESPONSE(first_peak_flow, FLOW, NONE, "flow through the valve at that peak")                                         \
  RESPONSE(static_drop, PRESSURE, NONE, "drop that the static curve asks for that flow")                               \
  RESPONSE(overshoot, PRESSURE, NONE, "first peak over the static curve at the same flow")                             \
  RESPONSE(overshoot_share, FRACTION, NONE, "overshoot over the static drop at that flow")                             \
  RESPONSE(peak_drop, PRESSURE, NONE, "highest drop, of all openings")                                                 \
  RESPONSE(peak_pressure, PRESSURE, GAUGE, "highest pressure of the line, of all openings")                            \
  RESPONSE(peak_time, TIME, NONE, "when that was")                                                                     \
  RESPONSE(settled_drop, PRESSURE, NONE, "mean drop over the last tenth between the first peak and the end of the flow") \
  RESPONSE(settled_pressure, PRESSURE, GAUGE, "pressure of the line over the same tenth")                              \
  RESPONSE(settled_flow, FLOW, NONE, "flow through the valve over the same tenth")                                     \
  RESPONSE(settling_time, TIME, NONE, "from cracking until the drop stays within the band about the settled one")      \
  RESPONSE(reseat_time, TIME, NONE, "when no more than 0.6 L/min flowed again")                                        \
  RESPONSE(reseat_drop, PRESSURE, NONE, "drop at that moment")                                                         \
  RESPONSE(reseat_pressure, PRESSURE, GAUGE, "pressure of the line at that moment")                                    \
  RESPONSE(hysteresis, PRESSURE, NONE, "drop at opening less drop at reseat")                                          \
  RESPONSE(frequency, FREQUENCY, NONE, "of the oscillation of the drop")                                               \
  RESPONSE(damping_ratio, NUMBER, NONE, "of the oscillation, from its logarithmic decrement")                          \
  RESPONSE(decrement, NUMBER, NONE, "logarithmic decrement of the oscillation, one full swing to the next")            \
  RESPONSE(swings, NUMBER, NONE, "full swings that the decrement comes from")                                          \
  RESPONSE(energy, ENERGY, NONE, "energy turned into heat in the valve, of all openings")                              \
  RESPONSE(peak_power, POWER, NONE, "highest power turned into heat in the valve, of all openings")                    \
  RESPONSE(peak_flow, FLOW, NONE, "largest flow through the valve, of all openings")                                   \
  RESPONSE(open_time, TIME, NONE, "total time with more than 0.6 L/min through the valve")                             \
  RESPONSE(openings, NUMBER, NONE, "how often the valve opened")                                                       \
  RESPONSE(last_reseat_time, TIME, NONE, "when the valve reseated for the last time")                                  \
  RESPONSE(stickings, NUMBER, NONE, "how often the valve stood still for 5 ms while the drop moved by 1 % of the setting")  \
  RESPONSE(longest_sticking, TIME, NONE, "longest of these")                                                           \
  RESPONSE(limiter_begin, TIME, NONE, "from cracking until the pressure limiter takes 1 % of the stroke; before: negative") \
  RESPONSE(handover_time, TIME, NONE, "from cracking until the valve is shut for good and the pressure limiter holds alone")

/* A row for each opening: from one cracking to the reseat that follows. OPENING(name, quantity, long name) */
#define OPENING_LIST(OPENING)                                                                                          \
  OPENING(cracking_time, TIME, "when the drop reached the setting")                                                    \
  OPENING(peak_time, TIME, "when the drop was first at a peak in this opening")                                        \
  OPENING(peak_drop, PRESSURE, "drop at that peak")                                                                    \
  OPENING(peak_flow, FLOW, "flow through the valve at that peak")                                                      \
  OPENING(opening_time, TIME, "from cracking to 90 % of that flow")                                                    \
  OPENING(response_time, TIME, "from cracking to that peak")                                                           \
  OPENING(overshoot, PRESSURE, "that peak over the static curve at the same flow")                                     \
  OPENING(settling_time, TIME, "from cracking until the drop stays within the band")                                   \
  OPENING(reseat_time, TIME, "when no more than 0.6 L/min flowed again")                                               \
  OPENING(reseat_drop, PRESSURE, "drop at that moment")
/* clang-format on */

enum response_id {
#define RESPONSE_ID(name, quantity, reference, text) RESPONSE_##name,
  RESPONSE_LIST(RESPONSE_ID)
#undef RESPONSE_ID
      RESPONSE_COUNT
};

enum opening_id {
#define OPENING_ID(name, quantity, text) OPENING_##name,
  OPENING_LIST(OPENING_ID)
#undef OPENING_ID
      OPENING_COUNT
};

extern const struct signal response_rows[RESPONSE_COUNT];
extern const struct signal opening_rows[OPENING_COUNT];

enum { RESPONSE_MARKS = 48, RESPONSE_OPENINGS = 500 };

/* Where a number comes from, to be drawn: on the drop or on the flow. */
enum response_curve { RESPONSE_ON_DROP, RESPONSE_ON_FLOW };

struct response_mark {
  enum response_curve curve;
  double time;  /* s */
  double value; /* SI, of that curve */
  char name[40];
};

struct response_opening {
  double values[OPENING_COUNT];      /* SI */
  const char *absent[OPENING_COUNT]; /* why a value is NaN; "" where it is not */
};

struct response {
  double values[RESPONSE_COUNT];   /* SI */
  char absent[RESPONSE_COUNT][96]; /* why a value is NaN */
  struct response_mark marks[RESPONSE_MARKS];
  int mark_count;
  double band_low;     /* of settling, Pa of drop; NaN without a settled drop */
  double band_high;    /* Pa */
  double settled_from; /* s, the tenth that the settled values are means of */
  double settled_to;   /* s */
  struct response_opening each[RESPONSE_OPENINGS];
  int each_count; /* of the first RESPONSE_OPENINGS; values[RESPONSE_openings] counts all */
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
  double band;    /* of settling, share of the settled override, either way */
  double from;    /* s */
  double to;      /* s */
  /* The static curve: the drop, Pa, at which the open valve passes a flow > 0. */
  double (*static_drop)(const void *valve, double flow);
  const void *valve;
};

/* False only when the histories hold no sample between `from` and `to`. */
bool response_find(const struct response_history *history, const struct response_settings *settings,
                   struct response *response, struct error *error);

#endif
