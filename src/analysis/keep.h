/* Is the relief valve fast enough? A limit that must hold, judged over runs of a case: its margin, how far each number
 * of the valve may go before it breaks, and what the peak is made of, against an ideal valve. Definitions in words in
 * docs/response.md. */
#ifndef SWASHLOOP_ANALYSIS_KEEP_H
#define SWASHLOOP_ANALYSIS_KEEP_H

#include "run.h"
#include "varied_parameter.h"

enum { KEEP_POINTS = 21, KEEP_TRIALS = 160, KEEP_PARAMETERS = 6, KEEP_RANGES = 4 };

/* One run with a number moved. */
struct keep_trial {
  double value;               /* SI, of the number */
  double worst;               /* SI, of the limit; NaN: not judged */
  enum limit_verdict verdict; /* of the limit */
  bool all_kept;              /* this limit and every one of the case */
  char why[128];              /* it is not judged */
};

/* Where a limit holds: from `low` to `high`, both kept; what lies within the bracket beyond them breaks it. An end that
 * is open is as far as was tried. */
struct keep_range {
  double low;
  double high;
  bool low_open;
  bool high_open;
};

/* Ranges by rising values. */
struct keep_ranges {
  int count; /* of those kept in `at` */
  struct keep_range at[KEEP_RANGES];
  int chosen; /* the one with the value of the case, else the nearest below it, else the lowest; -1: none */
};

/* A number of the valve and the runs with it, by rising value. */
struct keep_parameter {
  const char *path;
  struct varied_parameter varied;
  double bracket; /* no edge is known worse than to this: a share of it, or Pa for a setting */
  bool in_share;
  int count;
  struct keep_trial trials[KEEP_TRIALS];
  struct keep_ranges kept;     /* the limit */
  struct keep_ranges all_kept; /* and those of the case with it */
};

/* KEEP_PART(name, long name): what a peak of a line's pressure is made of, Pa; they add up to it. */
/* clang-format off */
#define KEEP_PARTS(PART)                                                                                               \
  PART(return_pressure, "where the valve returns its oil, gauge, at the peak of the last run below")                   \
  PART(setting, "drop at which the valve cracks")                                                                      \
  PART(static_override, "what the static curve asks for beyond it: ideal valve, no limiter, a tenth of the volume")   \
  PART(volume, "what the volume as it is changes of that")                                                             \
  PART(limiter, "what the pressure limiter changes of that")                                                           \
  PART(valve_lag, "what the valve's own delay adds to that: the peak less that of an ideal valve")
/* KEEP_WHAT_IF(name, long name): the limit's worst value when one thing is changed. */
#define KEEP_WHAT_IFS(WHAT_IF)                                                                                         \
  WHAT_IF(as_is, "as it is")                                                                                           \
  WHAT_IF(ideal_valve, "an ideal valve: the same static curve, a hundred times as quick, no friction")                 \
  WHAT_IF(half_as_ideal, "the same, fifty times as quick: how near the ideal that is")                                 \
  WHAT_IF(no_limiter, "no pressure limiter")                                                                           \
  WHAT_IF(twice_the_volume, "twice the volume of the lines")                                                           \
  WHAT_IF(half_the_volume, "half the volume of the lines")                                                             \
  WHAT_IF(ideal_no_limiter, "an ideal valve and no limiter")                                                           \
  WHAT_IF(ideal_no_limiter_no_volume, "an ideal valve, no limiter and a tenth of the volume")
/* clang-format on */

enum keep_part {
#define KEEP_PART_ID(name, text) KEEP_PART_##name,
  KEEP_PARTS(KEEP_PART_ID)
#undef KEEP_PART_ID
      KEEP_PART_COUNT
};

enum keep_what_if {
#define KEEP_WHAT_IF_ID(name, text) KEEP_##name,
  KEEP_WHAT_IFS(KEEP_WHAT_IF_ID)
#undef KEEP_WHAT_IF_ID
      KEEP_WHAT_IF_COUNT
};

extern const struct signal keep_part_rows[KEEP_PART_COUNT];
extern const char *const keep_what_if_names[KEEP_WHAT_IF_COUNT];
extern const char *const keep_what_if_texts[KEEP_WHAT_IF_COUNT];

struct keep {
  struct limit limit;
  int limit_index; /* among those of the case: the last */
  enum quantity quantity;
  struct outcome outcome; /* as the case is */
  double worst;           /* SI */
  double margin;          /* SI, what is left to the limit; less than zero: it is broken */
  int parameter_count;
  struct keep_parameter parameters[KEEP_PARAMETERS];
  double what_ifs[KEEP_WHAT_IF_COUNT]; /* SI; NaN: `what_if_absent` says why */
  char what_if_absent[KEEP_WHAT_IF_COUNT][96];
  double parts[KEEP_PART_COUNT]; /* Pa; NaN: `part_absent` says why */
  char part_absent[KEEP_PART_COUNT][96];
  int runs;
};

/* `data` has the limit as its last (case_add_limit). False when it cannot start, the run as it is fails, or it is
 * interrupted. keep_free in any case. */
bool keep_find(const struct case_data *data, int jobs, const struct watcher *watcher, struct keep *keep,
               struct error *error);
void keep_free(struct keep *keep);
/* Into a file that opens as netCDF-4 (docs/response.md). */
bool keep_write(const struct keep *keep, const struct case_data *data, const char *path, const char *command,
                struct error *error);

#endif
