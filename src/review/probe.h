/* All limits of a review asked again and again with quantities set: rounds of points, the cells of each in parallel
 * through the pool of the sweep engine. */
#ifndef SWASHLOOP_REVIEW_PROBE_H
#define SWASHLOOP_REVIEW_PROBE_H

#include "pool.h"
#include "review.h"

enum { PROBE_AXES = 16 };

/* One quantity between two bounds. */
struct probe_axis {
  const char *path;
  double low; /* SI; of a choice: an index */
  double high;
  bool choice; /* it may be one; its values are not checked */
};

/* What all cells together say of a point. */
struct probe_answer {
  enum review_verdict verdict; /* broken if any cell is, else the first that is no pass */
  int limit;                   /* the worst; -1: none */
  int cell;                    /* whose it is */
  double margin;
};

struct probe;

/* The paths must be numbers of every cell, the bounds within theirs. */
struct probe *probe_open(struct review *review, const struct probe_axis *axes, int axis_count, int jobs,
                         struct error *error);
/* The same over what the review's own plan varies (review_of_study). */
struct probe *probe_open_varied(struct review *review, int jobs, struct error *error);

/* Points to be run, and who takes the rows. */
struct probe_order {
  const double *values; /* [point][axis], SI */
  int64_t count;        /* points */
  int64_t span;         /* cases that a thread takes at once, SPAN_LIMIT at most */
  void *context;
  /* A block of rows, in no order; positions are cases of this order: point x cells + cell. */
  bool (*take)(void *context, const struct pool_block *block, struct error *error);
  bool (*stop)(void *context); /* asked now and then */
};
/* False: a run could not be recorded, or `take` failed. `stopped`: some were left out because `stop` said so; nothing
 * more can be asked then. */
bool probe_run(struct probe *probe, const struct probe_order *order, bool *stopped, struct error *error);

/* Ask `count` points, `values` [point][axis] in SI. `stop` is asked now and then; true ends it as a failure. */
bool probe_ask(struct probe *probe, const double *values, int count, struct probe_answer *answers, bool (*stop)(void),
               struct error *error);
/* Who hears each cell of each point, in whatever order they end. */
struct probe_listener {
  void *context;
  void (*take)(void *context, int point, int cell, const struct row *row);
};
/* The same, told cell by cell. A value that is NaN leaves each cell what its case has. */
bool probe_listen(struct probe *probe, const double *values, int count, const struct probe_listener *listener,
                  bool (*stop)(void), struct error *error);
/* What an axis is: quantity, reference, text. */
const struct parameter_ref *probe_quantity(const struct probe *probe, int axis);
void probe_close(struct probe *probe);

#endif
