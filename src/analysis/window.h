/* Whether a run hunts: the modes along a window of a run. A mode that grows in passing is normal (engine droop,
 * override, rate limits); one that goes on growing, or swings that do not die out, are not. */
#ifndef SWASHLOOP_ANALYSIS_WINDOW_H
#define SWASHLOOP_ANALYSIS_WINDOW_H

#include "chart.h"
#include "linear.h"
#include "run.h"

enum window_verdict { WINDOW_SOUND, WINDOW_IN_PASSING, WINDOW_GROWS, WINDOW_HUNTS };

struct window {
  double from; /* s */
  double to;   /* s */
  int samples;
  double *time;                    /* s */
  double *growth;                  /* real part of the fastest growing (or least damped) mode at the sample, 1/s */
  double *mean;                    /* of it over a span about the sample, 1/s: one swing, two samples at least */
  double *highest;                 /* in that span */
  double *frequency;               /* its imaginary part, rad/s */
  double *swing;                   /* line A over line B, Pa: where swings are sought; of a plant without it, line A */
  int taken;                       /* samples so far */
  double *fine_time;               /* s: between the samples too, at uneven places (window.c) */
  double *fine_growth;             /* 1/s */
  int fine;                        /* how many so far */
  double span;                     /* s, that `mean` is over */
  double share[PLANT_STATE_LIMIT]; /* by active state: part in the growing modes, weighed by time and growth */
  double growing_time;             /* s */
  double longest_time;             /* s, longest stretch of growth */
  int turns;                       /* turning points of the swing that exceed a bar, in the second half */
  double amplitude;                /* Pa, half of the largest swing between turning points in the last quarter */
  double swing_frequency;          /* Hz, from the turning points */
  enum window_verdict verdict;
  char words[512];
};

/* Runs the case to `to` and judges the window. */
bool window_evaluate(const struct case_data *data, double from, double to, int samples, struct window *window,
                     struct error *error);
void window_free(struct window *window);

/* The case run to `time`: its instant there, with model and mode in the workspace, which the caller frees. */
struct run_workspace *window_run_to(const struct case_data *data, double time, struct instant *instant,
                                    struct error *error);

#endif
