/* How far one or two quantities can go until a limit breaks. The quantities run from 0 to 1 here, whatever they are;
 * what a run says comes from a function of the caller's, so that the search can be held against boundaries in closed
 * form.
 *
 * One quantity: a scan, then every change between neighbours is narrowed; nothing is assumed to rise or fall. Two: a
 * coarse grid, its edges with a change narrowed, the crossings joined square by square, and each chord halved along its
 * normal until the boundary lies within the accuracy of it. Every point of the answer lies between two runs, of which
 * one keeps all limits and the other does not. What is smaller than the scan and between its points is not seen. */
#ifndef SWASHLOOP_REVIEW_ENVELOPE_H
#define SWASHLOOP_REVIEW_ENVELOPE_H

#include <stdbool.h>

#include "error.h"

enum { ENVELOPE_AXES = 2 };

/* One run. */
struct envelope_run {
  double at[ENVELOPE_AXES];
  bool kept;     /* all limits */
  int label;     /* else what ends it; the caller's own number */
  double margin; /* worst margin, negative where broken; NaN or infinite where there is none */
  int cell;      /* whose that is; the caller's own number */
};

/* A place where kept and not kept are neighbours. */
struct envelope_crossing {
  int kept; /* runs on either side */
  int other;
};

/* A piece of the boundary between two crossings. */
struct envelope_chord {
  int ends[2];
};

/* A curve of one label, or a part of one: crossings in order. */
struct envelope_stretch {
  int first; /* in `order` */
  int count;
  int label;
  bool closed; /* ends where it begins */
};

struct envelope_question {
  int dimensions;  /* 1 or 2 */
  int scan;        /* points of the scan along each, 2 at least */
  double accuracy; /* of the range */
  void *context;
  /* Fill all but `at` of `count` runs. */
  bool (*ask)(void *context, struct envelope_run *runs, int count, struct error *error);
};

struct envelope {
  struct envelope_run *runs; /* the scan first */
  int run_count;
  int run_room;
  int scan_count;
  struct envelope_crossing *crossings; /* of one quantity: in rising order */
  int crossing_count;
  int crossing_room;
  struct envelope_chord *chords; /* of two */
  int chord_count;
  int chord_room;
  int *order; /* crossings along the stretches */
  int order_count;
  struct envelope_stretch *stretches;
  int stretch_count;
  double deviation; /* largest distance of the boundary from the middle of a chord that was kept */
  int unresolved;   /* chords beside which no boundary was found: it is known no better than the scan there */
};

/* The whole search; give it back with envelope_free, whatever is returned. */
bool envelope_find(const struct envelope_question *question, struct envelope *envelope, struct error *error);
void envelope_free(struct envelope *envelope);
/* The middle between both sides of a crossing. */
void envelope_place(const struct envelope *envelope, int crossing, double *at);
/* Runs of a grid that tells the boundary as closely. */
double envelope_grid_runs(const struct envelope_question *question);

#endif
