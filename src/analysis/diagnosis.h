/* What is wrong with the sensors, in words: terms that nobody asked for, each tried on what a model leaves over, kept
 * while they stand out, and told only when the interval of each excludes a channel that shows the signal as it is. */
#ifndef SWASHLOOP_ANALYSIS_DIAGNOSIS_H
#define SWASHLOOP_ANALYSIS_DIAGNOSIS_H

#include "information.h"
#include "observation.h"

enum { FINDINGS = 16 };

struct finding {
  struct unknown unknown;
  double value; /* SI */
  double from;  /* 95 %, all that were tried taken together */
  double to;
  char words[400]; /* "the sensor of line_a_pressure lags by 2 ms (1.9 ms to 2.1 ms)" */
};

struct diagnosis {
  struct finding findings[FINDINGS];
  int count;
  double values[ESTIMATE_UNKNOWNS]; /* of the observation's own unknowns, with these terms among the model */
};

/* From the minimum `values` of the observation, whose unknowns stay what they are. False: no memory. */
bool diagnosis_find(struct observation *observation, const double *values, struct diagnosis *diagnosis);

/* The words of a finding. */
void diagnosis_words(const struct observation *observation, struct finding *finding);

/* d model / d of each unknown, one column each, per unit of its size. */
bool diagnosis_columns(struct observation *observation, const double *values, double *columns);

/* Numbers that are no noise of the rest: more than `limit` scales off. */
struct outlier {
  int trace;
  int signal;
  double time; /* s, of the trace */
  double off;  /* SI, model less trace */
  double over; /* over the scale of the errors */
};
/* The farthest `room` of them, the farthest first; returns how many there are in all. `limit` is what one number in
 * twenty traces of this length would pass if errors were normal. */
long diagnosis_outliers(const struct observation *observation, const double *model, struct outlier *outliers, int room,
                        double *limit);

#endif
