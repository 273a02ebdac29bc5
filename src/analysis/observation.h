/* Traces as a run and sensors would have made them: the model of a fit and of a comparison, over all that is unknown of
 * it. Several tests, each a case of its own (or a run that is there already) with its traces and mapping, share the
 * numbers of the machine; tests of one mapping share its sensors. */
#ifndef SWASHLOOP_ANALYSIS_OBSERVATION_H
#define SWASHLOOP_ANALYSIS_OBSERVATION_H

#include "estimate.h"
#include "history.h"
#include "loss.h"
#include "mapping.h"
#include "measured.h"
#include "varied_parameter.h"

enum { FIT_PARAMETERS = 12, FIT_TRACES = 16, FIT_TESTS = 8 };

/* Everything that the traces depend on, known or not. */
struct observation_state {
  double parameters[FIT_PARAMETERS]; /* SI */
  double shifts[FIT_TRACES];         /* s, run time less trace time, at the trace's first instant */
  double drifts[FIT_TESTS];          /* of the clock, by mapping */
  double sensors[FIT_TESTS][MAPPING_SIGNALS][SENSOR_TERMS]; /* by mapping */
};

enum unknown_kind { UNKNOWN_PARAMETER, UNKNOWN_SHIFT, UNKNOWN_DRIFT, UNKNOWN_SENSOR };

struct unknown {
  enum unknown_kind kind;
  int place;  /* parameter, trace, or mapping */
  int signal; /* of the mapping, for a sensor */
  enum sensor_term term;
  enum quantity quantity;
  double low; /* SI */
  double high;
  char name[200];
};

struct observation_test {
  int mapping;
  struct case_data *data;          /* written to; NULL: the history is there already */
  struct run_workspace *workspace; /* NULL likewise */
  struct varied_parameter varied[FIT_PARAMETERS];
  bool has[FIT_PARAMETERS]; /* its case has this parameter */
  struct history history;
  int columns[MAPPING_SIGNALS];
  bool ran; /* the history is that of `parameters` */
  double parameters[FIT_PARAMETERS];
  double *lagged[MAPPING_SIGNALS]; /* room for the history behind a lag */
  double lags[MAPPING_SIGNALS];    /* it is behind this one; NaN: of an earlier history */
  int room;
};

struct observation_trace {
  int test;
  char file[512];
  struct measured measured;
  double shift_low; /* s, the clock is sought within these; one where it is not sought */
  double shift_high;
};

/* One channel of one trace: a block of the residuals. */
struct observation_channel {
  int trace;
  int signal;
  int noise; /* whose errors are its errors */
  long first;
  long count;
};

/* Errors of a channel in all traces of a mapping. */
struct observation_noise {
  int mapping;
  int signal;
  double scale;   /* SI */
  double quantum; /* SI */
  double range;   /* SI, of what was measured */
  bool given;     /* the mapping gave the scale */
  double worth;   /* of how many free numbers the scale is known as well as */
};

struct observation {
  struct mapping mappings[FIT_TESTS];
  int mapping_count;
  struct observation_test tests[FIT_TESTS];
  int test_count;
  struct observation_trace traces[FIT_TRACES];
  int trace_count;
  int parameter_count;
  struct unknown unknowns[ESTIMATE_UNKNOWNS];
  int unknown_count;
  double sizes[ESTIMATE_UNKNOWNS];
  double lows[ESTIMATE_UNKNOWNS];
  double highs[ESTIMATE_UNKNOWNS];
  enum loss loss;
  struct observation_state known; /* what is no unknown stands here */
  struct observation_channel *channels;
  int channel_count;
  struct observation_noise noises[FIT_TESTS * MAPPING_SIGNALS];
  int noise_count;
  long count;     /* residuals */
  double *times;  /* s, of the trace */
  double *values; /* SI, measured */
  double *model;  /* room for one model */
  double *other;
  const struct watcher *watcher;
  long runs;
  bool interrupted;
};

/* Measured numbers that count, by channel: those that the clocks as they stand in `known` put within the window of the
 * mapping and within the run. Noise begins at a share of a channel's range. False: no memory, or no number. */
bool observation_gather(struct observation *observation, struct error *error);
void observation_free(struct observation *observation);

/* The known state as the mappings have it: sensors, clocks that run as they should. */
void observation_know(struct observation *observation);
/* A term of a channel and the drift of a mapping's clock as unknowns within the usual bounds; *size as observation_add
 * wants it. */
struct unknown observation_term(const struct observation *observation, int mapping, int signal, enum sensor_term term,
                                double *size);
struct unknown observation_drift(int mapping, double *size);
/* The unknowns of the mappings, within the usual bounds where none are given: terms of sensors, drifts, shifts. */
void observation_add_sensors(struct observation *observation);
void observation_add(struct observation *observation, const struct unknown *unknown, double size);
/* The member of a state that an unknown is. */
double *observation_slot(struct observation_state *state, const struct unknown *unknown);
struct observation_state observation_state_of(const struct observation *observation, const double *values);

/* The history of one test. */
bool observation_run(struct observation *observation, int test, const double *parameters);
/* One signal of one trace at all of its instants, in the known state, whose histories are there. False: no memory. */
bool observation_show(struct observation *observation, int trace, int signal, double *shown);
/* What the traces would show. False: the run failed. */
bool observation_model(struct observation *observation, const struct observation_state *state, double *model);
/* d model / d unknown, per unit of `size`, by central differences (on one side at a bound). */
bool observation_column(struct observation *observation, const struct observation_state *state,
                        const struct unknown *unknown, double size, double *column);
/* Scales anew from what a model leaves over; how much the largest change of one is, as a share. */
double observation_rescale(struct observation *observation, const double *model);
/* The instant of residual k of a channel in the time of the run. */
double observation_run_time(const struct observation *observation, const struct observation_state *state,
                            const struct observation_channel *channel, long k);
/* The same model for the estimator. */
struct estimate_model observation_estimate(struct observation *observation);

#endif
