#include "response_search.h"

#include <math.h>

#include "history.h"
#include "thresholds.h"

#define OPENED_SHARE 0.9        /* of the flow at the first peak */
#define SETTLED_SHARE 0.1       /* of the time from the first peak to the end of the disturbance */
#define FEED_FALL 0.98          /* the disturbance is over when the feed falls below this share of its largest */
#define SMALLEST_FALL 1e-3      /* of the setting: what the drop must fall by behind a peak; a gauge shows no less */
#define SMALLEST_OVERSHOOT 1e-3 /* of the setting: below, the peak is that of the flow */

double search_at(const struct search *search, const double *column, double t) {
  return history_at(search->history->time, column, search->history->count, t);
}

double search_crossing(const struct search *search, const double *column, double level, int k) {
  double low = search->history->time[k - 1];
  double high = search->history->time[k];
  bool rises = column[k] >= column[k - 1];
  for (int i = 0; i < 60; i++) {
    double middle = 0.5 * (low + high);
    if ((search_at(search, column, middle) >= level) == rises) {
      high = middle;
    } else {
      low = middle;
    }
  }
  return high;
}

int search_beyond(const double *column, double level, bool above, int from, int to) {
  for (int k = from + 1; k <= to; k++) {
    if (above ? column[k] >= level : column[k] < level) {
      return k;
    }
  }
  return -1;
}

void search_top(const struct search *search, int k, double *time, double *value) {
  const double *p = search->history->drop;
  const double *t = search->history->time;
  *time = t[k];
  *value = p[k];
  if (k > search->first && k < search->last) { /* evenly spaced */
    double bend = p[k - 1] - 2.0 * p[k] + p[k + 1];
    double rise = 0.5 * (p[k + 1] - p[k - 1]);
    if (bend < 0.0 && fabs(rise) <= -bend) {
      *time = t[k] - 0.5 * (t[k + 1] - t[k - 1]) * rise / bend;
      *value = p[k] - 0.5 * rise * rise / bend;
    }
  }
}

/* ---- where it begins and ends ---- */

/* The last sample of the disturbance that began at `cracking`. */
static int end_of(const struct search *search, int cracking, int shut) {
  const struct response_history *history = search->history;
  int last = shut >= 0 ? shut : search->last;
  if (history->feed == NULL) {
    return last;
  }
  double largest = 0.0;
  for (int k = cracking; k <= last; k++) {
    largest = fmax(largest, history->feed[k]);
    if (history->feed[k] < FEED_FALL * largest) {
      return k - 1 > cracking ? k - 1 : cracking;
    }
  }
  return last;
}

bool opening_next(const struct search *search, int from, struct opening_span *span) {
  const struct response_history *history = search->history;
  const double *drop = history->drop;
  double setting = search->settings->setting;
  int open =
      history->flow[from] >= OPEN_FLOW ? from : search_beyond(history->flow, OPEN_FLOW, true, from, search->last);
  if (open < 0) {
    return false;
  }
  span->open = open;
  span->open_time =
      open > search->first ? search_crossing(search, history->flow, OPEN_FLOW, open) : history->time[open];
  /* The last time before that the drop reached the setting; a valve that stands open never cracked. */
  int k = open;
  while (k > from && !(drop[k] >= setting && drop[k - 1] < setting)) {
    k--;
  }
  bool cracks = k > from;
  span->cracking = cracks ? k : open;
  span->cracking_time = cracks ? search_crossing(search, drop, setting, k) : span->open_time;
  span->shut = search_beyond(history->flow, OPEN_FLOW, false, open, search->last);
  span->shut_time = span->shut >= 0 ? search_crossing(search, history->flow, OPEN_FLOW, span->shut) : NAN;
  span->until = end_of(search, span->cracking, span->shut);
  return true;
}

/* ---- its row ---- */

static void give(struct response_opening *row, enum opening_id id, double value) {
  row->values[id] = value;
  row->absent[id] = "";
}

static void lack(struct response_opening *row, enum opening_id id, const char *why) {
  row->values[id] = NAN;
  row->absent[id] = why;
}

/* The first sample that is a peak: from there the drop falls by more than a gauge shows. -1: there is none; `highest`
 * is the highest sample either way. */
static int first_peak(const struct search *search, const struct opening_span *span, int *highest) {
  const double *drop = search->history->drop;
  double fall = SMALLEST_FALL * search->settings->setting;
  int top = span->cracking;
  for (int k = span->cracking; k <= span->until; k++) {
    top = drop[k] > drop[top] ? k : top;
    if (k > top && drop[k] <= drop[top] - fall && top > span->cracking) {
      *highest = top;
      return top;
    }
  }
  *highest = top;
  return -1;
}

static void find_opening_time(const struct search *search, const struct opening_span *span, double flow,
                              struct response_opening *row) {
  const struct response_history *history = search->history;
  double wanted = OPENED_SHARE * flow;
  int k = wanted > history->flow[span->cracking]
              ? search_beyond(history->flow, wanted, true, span->cracking, span->until)
              : -1;
  if (k >= 0) {
    give(row, OPENING_opening_time, search_crossing(search, history->flow, wanted, k) - span->cracking_time);
  } else {
    lack(row, OPENING_opening_time, "it passes 90 % of that flow from the start, or never");
  }
}

static void find_peak(const struct search *search, const struct opening_span *span, struct response_opening *row) {
  const char *creeps = "the drop creeps up: no peak from which it falls by 0.1 % of the setting before the flow ends";
  static const enum opening_id of_peak[] = {OPENING_peak_time, OPENING_peak_drop, OPENING_peak_flow,
                                            OPENING_response_time, OPENING_overshoot};
  int highest;
  int peak = first_peak(search, span, &highest);
  if (peak < 0) {
    for (size_t i = 0; i < sizeof of_peak / sizeof of_peak[0]; i++) {
      lack(row, of_peak[i], creeps);
    }
    return;
  }
  double time;
  double drop;
  search_top(search, peak, &time, &drop);
  double flow = search_at(search, search->history->flow, time);
  double still = flow > 0.0 ? search->settings->static_drop(search->settings->valve, flow) : search->settings->setting;
  give(row, OPENING_peak_time, time);
  give(row, OPENING_peak_drop, drop);
  give(row, OPENING_peak_flow, flow);
  give(row, OPENING_overshoot, drop - still);
  if (drop - still >= SMALLEST_OVERSHOOT * search->settings->setting) {
    give(row, OPENING_response_time, time - span->cracking_time);
  } else {
    lack(row, OPENING_response_time, "the valve keeps to its static curve: the peak is that of the flow");
  }
}

/* The last tenth of the time from the peak (or the cracking) to the end of the disturbance. */
static void find_settled(const struct search *search, const struct opening_span *span,
                         const struct response_opening *row, struct opening_settled *settled) {
  const struct response_history *history = search->history;
  double peak = row->values[OPENING_peak_time];
  double end = history->time[span->until];
  double from = end - SETTLED_SHARE * (end - (isnan(peak) ? span->cracking_time : peak));
  double drop = 0.0;
  double flow = 0.0;
  double pressure = 0.0;
  double low = INFINITY;
  double high = -INFINITY;
  int count = 0;
  for (int k = span->until; k >= search->first && (history->time[k] >= from || count == 0); k--) {
    drop += history->drop[k];
    flow += history->flow[k];
    pressure += history->pressure[k];
    low = fmin(low, history->drop[k]);
    high = fmax(high, history->drop[k]);
    count++;
  }
  *settled = (struct opening_settled){
      .drop = drop / count, .flow = flow / count, .pressure = pressure / count, .from = from, .to = end};
  settled->band = search->settings->band * (settled->drop - search->settings->setting);
  if (settled->flow < OPEN_FLOW || span->until == span->shut) {
    settled->why = "the valve is shut again before the drop settles";
  } else if (!(settled->band > 0.0)) {
    settled->why = "the drop comes to rest below the setting";
  } else if (high > settled->drop + settled->band || low < settled->drop - settled->band) {
    settled->why = "the drop still leaves the band in the last tenth of the flow";
  } else {
    settled->settled = true;
    settled->why = "";
  }
}

static void find_settling(const struct search *search, const struct opening_span *span,
                          const struct opening_settled *settled, struct response_opening *row) {
  const struct response_history *history = search->history;
  if (!settled->settled) {
    lack(row, OPENING_settling_time, settled->why);
    return;
  }
  int outside = -1;
  for (int k = span->cracking; k <= span->until; k++) {
    outside = fabs(history->drop[k] - settled->drop) > settled->band ? k : outside;
  }
  double time = span->cracking_time;
  if (outside >= 0 && outside < span->until) {
    double side = history->drop[outside] > settled->drop ? settled->band : -settled->band;
    time = search_crossing(search, history->drop, settled->drop + side, outside + 1);
  }
  give(row, OPENING_settling_time, time - span->cracking_time);
}

void opening_examine(const struct search *search, const struct opening_span *span, struct response_opening *row,
                     struct opening_settled *settled) {
  give(row, OPENING_cracking_time, span->cracking_time);
  find_peak(search, span, row);
  find_settled(search, span, row, settled);
  find_settling(search, span, settled, row);
  if (!isnan(row->values[OPENING_peak_flow])) {
    find_opening_time(search, span, row->values[OPENING_peak_flow], row);
  } else if (settled->settled) {
    find_opening_time(search, span, settled->flow, row);
  } else {
    lack(row, OPENING_opening_time, row->absent[OPENING_peak_flow]);
  }
  if (span->shut >= 0) {
    give(row, OPENING_reseat_time, span->shut_time);
    give(row, OPENING_reseat_drop, search_at(search, search->history->drop, span->shut_time));
  } else {
    lack(row, OPENING_reseat_time, "the valve is still open at the end");
    lack(row, OPENING_reseat_drop, "the valve is still open at the end");
  }
}
