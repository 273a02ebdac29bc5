/* Least squares of any model within bounds, and what a minimum knows: Levenberg and Marquardt's way downhill with
 * Broyden's corrections between Jacobians, and profiles of the sum of squares. What is minimised is told as residuals
 * whose squares add up to twice minus the logarithm of the likelihood (deviances), so that one unit of the sum is one
 * unit of a chi-square. */
#ifndef SWASHLOOP_ANALYSIS_ESTIMATE_H
#define SWASHLOOP_ANALYSIS_ESTIMATE_H

#include <stdbool.h>

enum { ESTIMATE_UNKNOWNS = 96 };

struct estimate_model {
  void *context;
  int unknowns;
  long count;         /* residuals */
  const double *low;  /* bounds */
  const double *high; /* bounds */
  const double *size; /* what counts as large for each unknown: it is searched in these units */
  /* False: there is no model at these values. */
  bool (*residuals)(void *context, const double *values, double *residuals);
  /* Column by column, over each unknown in units of its size; those that are held need no column. */
  bool (*jacobian)(void *context, const double *values, const bool *held, double *jacobian);
  /* Asked between evaluations; true: give up. */
  bool (*stopped)(void *context);
};

/* A point of the search with what is known there. */
struct estimate_point {
  double values[ESTIMATE_UNKNOWNS];
  double sum;        /* of squares */
  double *residuals; /* belongs to the point */
  double *jacobian;  /* likewise; taken at the point, or brought there by Broyden's corrections */
  bool fresh;        /* taken at the point */
  bool ended;        /* the search came to an end */
};

/* False: no memory. */
bool estimate_point_new(const struct estimate_model *model, struct estimate_point *point);
void estimate_point_copy(const struct estimate_model *model, const struct estimate_point *from,
                         struct estimate_point *to);
void estimate_point_free(struct estimate_point *point);

/* Downhill from point->values; unknowns that are `held` (NULL: none) stay. Ends when a step from a Jacobian that was
 * taken on the spot promises the sum to fall by less than `worth`. `known`: the point has its
 * sum, residuals and a Jacobian that is good enough to begin with. False: the model failed at the start. */
bool estimate_descend(const struct estimate_model *model, struct estimate_point *point, const bool *held, bool known,
                      double worth);

/* An end of a profile. */
struct estimate_profile {
  double end;                             /* the value; the bound where the sum does not rise enough */
  bool open;                              /* it did not */
  bool lower;                             /* on the way the sum fell below the minimum by more than 0.1 ... */
  double lower_values[ESTIMATE_UNKNOWNS]; /* ... here */
};
/* How far the unknown `i` goes to a side (-1, +1) until the sum, least over the others, has risen by `rise`; `best` is
 * the minimum with a Jacobian taken there, `deviation` what it says of the unknown alone, `moves` how the others move
 * with it (each in units of its size, over the unknown in units of its size). */
bool estimate_profile_find(const struct estimate_model *model, const struct estimate_point *best, int i, int side,
                           double rise, double deviation, const double *moves, struct estimate_profile *profile);

#endif
