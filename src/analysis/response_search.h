/* What the parts of the search for a response share. Private to response.c and response_opening.c. */
#ifndef SWASHLOOP_ANALYSIS_RESPONSE_SEARCH_H
#define SWASHLOOP_ANALYSIS_RESPONSE_SEARCH_H

#include "response.h"

/* Samples `first` to `last`, both of the window. */
struct search {
  const struct response_history *history;
  const struct response_settings *settings;
  struct response *response;
  int first;
  int last;
};

/* One opening among the samples. */
struct opening_span {
  int cracking;         /* the sample at or behind the cracking */
  double cracking_time; /* s */
  int open;             /* the first sample above OPEN_FLOW */
  double open_time;     /* s, when that flow was passed */
  int shut;             /* the sample at which no more flows again; -1: open at the end */
  double shut_time;     /* s; NaN: open at the end */
  int until;            /* the last sample of the disturbance: the feed falls, the valve shuts, or the window ends */
};

/* What is found of one opening besides its row. */
struct opening_settled {
  bool settled;
  const char *why; /* not */
  double drop;     /* Pa, mean of the last tenth, settled or not */
  double flow;     /* m3/s */
  double pressure; /* Pa gauge, of the line */
  double from;     /* s */
  double to;       /* s */
  double band;     /* Pa, either way */
};

/* The value of a column at a time, through cubics. */
double search_at(const struct search *search, const double *column, double t);
/* When `column` crosses `level` between the samples k - 1 and k. */
double search_crossing(const struct search *search, const double *column, double level, int k);
/* The first sample in (from, to] at which the column is at or above (below) the level, or -1. */
int search_beyond(const double *column, double level, bool above, int from, int to);
/* Top of the parabola through the samples of the drop about k. */
void search_top(const struct search *search, int k, double *time, double *value);

/* The next opening from sample `from` on; false: there is none. */
bool opening_next(const struct search *search, int from, struct opening_span *span);
/* Its row, and how it settles. */
void opening_examine(const struct search *search, const struct opening_span *span, struct response_opening *row,
                     struct opening_settled *settled);

#endif
