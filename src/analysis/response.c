#include "response.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "history.h"
#include "thresholds.h"

#define OPENED_SHARE 0.9        /* of the settled flow */
#define SETTLED_SHARE 0.1       /* of the time from the peak to the end of the flow */
#define FEED_FALL 0.98          /* the disturbance is over when the feed falls below this share of its largest */
#define SMALLEST_OVERSHOOT 1e-3 /* of the settled pressure; a gauge shows no less */
#define SMALLEST_SWING 0.01     /* of the first overshoot */
#define STILL_SHARE 2e-3        /* of the largest opening: less is standing still */
#define STILL_TIME 5e-3         /* s; shorter is the turning point of a swing */
#define STICKING_PRESSURE 0.01  /* of the setting */
#define LIMITER_ACTS 0.01       /* of the stroke */
#define LARGEST_SWINGS 12

const struct signal response_rows[RESPONSE_COUNT] = {
#define RESPONSE_ROW(name, quantity, reference, text) {#name, QUANTITY_##quantity, REFERENCE_##reference, text},
    RESPONSE_LIST(RESPONSE_ROW)
#undef RESPONSE_ROW
};

/* What the parts below share. Samples `first` to `last`, both of the window; `until`: the end of the disturbance. */
struct search {
  const struct response_history *history;
  const struct response_settings *settings;
  struct response *response;
  int first;
  int last;
  int until;
};

static void give(struct search *search, enum response_id id, double value) {
  search->response->values[id] = value;
  search->response->absent[id][0] = '\0';
}

static void lack(struct search *search, enum response_id id, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void lack(struct search *search, enum response_id id, const char *format, ...) {
  va_list list;
  va_start(list, format);
  search->response->values[id] = NAN;
  (void)vsnprintf(search->response->absent[id], sizeof search->response->absent[id], format, list);
  va_end(list);
}

static double value_of(const struct search *search, enum response_id id) {
  return search->response->values[id];
}

static double at(const struct search *search, const double *column, double t) {
  return history_at(search->history->time, column, search->history->count, t);
}

static void mark(struct search *search, enum response_curve curve, double t, const char *name) {
  struct response *response = search->response;
  if (response->mark_count < RESPONSE_MARKS) {
    struct response_mark *next = &response->marks[response->mark_count++];
    next->curve = curve;
    next->time = t;
    next->value = at(search, curve == RESPONSE_ON_PRESSURE ? search->history->pressure : search->history->flow, t);
    (void)snprintf(next->name, sizeof next->name, "%s", name);
  }
}

/* When `column` crosses `level` between the samples k - 1 and k. */
static double crossing(const struct search *search, const double *column, double level, int k) {
  double low = search->history->time[k - 1];
  double high = search->history->time[k];
  bool rises = column[k] >= column[k - 1];
  for (int i = 0; i < 60; i++) {
    double middle = 0.5 * (low + high);
    if ((at(search, column, middle) >= level) == rises) {
      high = middle;
    } else {
      low = middle;
    }
  }
  return high;
}

/* The first sample in (from, to] at which the column is at or above (below) the level, or -1. */
static int first_beyond(const double *column, double level, bool above, int from, int to) {
  for (int k = from + 1; k <= to; k++) {
    if (above ? column[k] >= level : column[k] < level) {
      return k;
    }
  }
  return -1;
}

/* Top of the parabola through the samples k - 1, k, k + 1 (evenly spaced). */
static void top_of(const struct search *search, int k, double *time, double *value) {
  const double *p = search->history->pressure;
  const double *t = search->history->time;
  *time = t[k];
  *value = p[k];
  if (k > search->first && k < search->last) {
    double bend = p[k - 1] - 2.0 * p[k] + p[k + 1];
    double rise = 0.5 * (p[k + 1] - p[k - 1]);
    if (bend < 0.0 && fabs(rise) <= -bend) {
      *time = t[k] - 0.5 * (t[k + 1] - t[k - 1]) * rise / bend;
      *value = p[k] - 0.5 * rise * rise / bend;
    }
  }
}

/* ---- the parts ---- */

/* Cracking: returns the sample at or behind it, or -1. */
static int find_cracking(struct search *search) {
  const struct response_history *history = search->history;
  double level = search->settings->setting;
  double highest = -INFINITY;
  for (int k = search->first; k <= search->last; k++) {
    highest = fmax(highest, history->drop[k]);
  }
  int k = history->drop[search->first] >= level ? search->first
                                                : first_beyond(history->drop, level, true, search->first, search->last);
  if (k < 0) {
    for (int i = 0; i < RESPONSE_COUNT; i++) {
      lack(search, (enum response_id)i, "the valve never cracks: the drop over it reaches %.1f of %.1f bar",
           highest / 1e5, level / 1e5);
    }
    return -1;
  }
  double t = k == search->first ? history->time[k] : crossing(search, history->drop, level, k);
  give(search, RESPONSE_cracking_time, t);
  give(search, RESPONSE_cracking_pressure, at(search, history->pressure, t));
  if (k > search->first && k < search->last) {
    double half = 0.5 * (history->time[k] - history->time[k - 1]);
    give(search, RESPONSE_rise_rate,
         (at(search, history->pressure, t + half) - at(search, history->pressure, t - half)) / (2.0 * half));
  } else {
    lack(search, RESPONSE_rise_rate, "the valve is open from the start");
  }
  mark(search, RESPONSE_ON_PRESSURE, t, "cracks");
  return k;
}

/* Openings and shuttings by the flow. Returns the sample at which the valve last shut, or -1. */
static int find_openings(struct search *search) {
  const struct response_history *history = search->history;
  const double *flow = history->flow;
  int openings = 0;
  int shut = -1;
  double open_time = 0.0;
  double since = NAN;
  for (int k = search->first; k <= search->last; k++) {
    bool open = flow[k] >= OPEN_FLOW;
    bool was_open = k > search->first && flow[k - 1] >= OPEN_FLOW;
    if (open && !was_open) {
      since = k > search->first ? crossing(search, flow, OPEN_FLOW, k) : history->time[k];
      shut = -1;
      if (openings++ == 0) {
        give(search, RESPONSE_opening_delay, since - value_of(search, RESPONSE_cracking_time));
        give(search, RESPONSE_opening_pressure, at(search, history->pressure, since));
        mark(search, RESPONSE_ON_FLOW, since, "opens");
      }
    } else if (!open && was_open) {
      double t = crossing(search, flow, OPEN_FLOW, k);
      open_time += t - since;
      shut = k;
      give(search, RESPONSE_reseat_time, t);
      give(search, RESPONSE_reseat_pressure, at(search, history->pressure, t));
    }
  }
  give(search, RESPONSE_openings, openings);
  if (openings > 0 && shut < 0) {
    open_time += history->time[search->last] - since;
    lack(search, RESPONSE_reseat_time, "the valve is still open at the end");
    lack(search, RESPONSE_reseat_pressure, "the valve is still open at the end");
  }
  give(search, RESPONSE_open_time, open_time);
  if (openings == 0) {
    enum response_id none[] = {RESPONSE_opening_delay, RESPONSE_opening_pressure, RESPONSE_reseat_time,
                               RESPONSE_reseat_pressure};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
      lack(search, none[i], "no more than 0.6 L/min ever flow through the valve");
    }
  }
  if (shut >= 0) {
    give(search, RESPONSE_hysteresis,
         value_of(search, RESPONSE_opening_pressure) - value_of(search, RESPONSE_reseat_pressure));
    mark(search, RESPONSE_ON_PRESSURE, value_of(search, RESPONSE_reseat_time), "reseats");
  } else {
    lack(search, RESPONSE_hysteresis, "%s", search->response->absent[RESPONSE_reseat_time]);
  }
  return shut;
}

/* The last sample of the disturbance: the feed falls, or the valve shuts for good, or the window ends. */
static int find_end(const struct search *search, int cracking, int shut) {
  const struct response_history *history = search->history;
  if (history->feed != NULL) {
    double largest = 0.0;
    for (int k = cracking; k <= search->last; k++) {
      largest = fmax(largest, history->feed[k]);
      if (history->feed[k] < FEED_FALL * largest) {
        return k - 1 > cracking ? k - 1 : cracking;
      }
    }
    return search->last;
  }
  return shut > cracking ? shut : search->last;
}

static void find_peak(struct search *search, int cracking) {
  const double *p = search->history->pressure;
  int best = cracking;
  for (int k = cracking; k <= search->until; k++) {
    best = p[k] > p[best] ? k : best;
  }
  double time;
  double value;
  top_of(search, best, &time, &value);
  give(search, RESPONSE_peak_pressure, value);
  give(search, RESPONSE_peak_time, time);
  give(search, RESPONSE_response_time, time - value_of(search, RESPONSE_cracking_time));
  mark(search, RESPONSE_ON_PRESSURE, time, "peak");
}

static void lack_settled(struct search *search, const char *why) {
  enum response_id none[] = {RESPONSE_settled_pressure, RESPONSE_settled_flow,  RESPONSE_overshoot,
                             RESPONSE_overshoot_share,  RESPONSE_settling_time, RESPONSE_opening_time};
  for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
    lack(search, none[i], "%s", why);
  }
}

/* The settled values; returns the mean pressure of the tenth, settled or not. */
static double find_settled(struct search *search, bool *settled) {
  const struct response_history *history = search->history;
  struct response *response = search->response;
  double peak_time = value_of(search, RESPONSE_peak_time);
  double end = history->time[search->until];
  double from = end - SETTLED_SHARE * (end - peak_time);
  double pressure = 0.0;
  double flow = 0.0;
  double low = INFINITY;
  double high = -INFINITY;
  int count = 0;
  for (int k = search->until; k >= search->first && (history->time[k] >= from || count == 0); k--) {
    pressure += history->pressure[k];
    flow += history->flow[k];
    low = fmin(low, history->pressure[k]);
    high = fmax(high, history->pressure[k]);
    count++;
  }
  pressure /= count;
  flow /= count;
  *settled = false;
  if (flow < OPEN_FLOW || (history->feed == NULL && !isnan(value_of(search, RESPONSE_reseat_time)))) {
    lack_settled(search, "the valve is shut again before the pressure settles");
  } else if (!(high - low <= search->settings->band * pressure)) {
    char why[96];
    (void)snprintf(why, sizeof why, "the pressure still moves by %.3g bar while the valve is open", (high - low) / 1e5);
    lack_settled(search, why);
  } else {
    *settled = true;
    give(search, RESPONSE_settled_pressure, pressure);
    give(search, RESPONSE_settled_flow, flow);
    give(search, RESPONSE_overshoot, value_of(search, RESPONSE_peak_pressure) - pressure);
    give(search, RESPONSE_overshoot_share, value_of(search, RESPONSE_overshoot) / pressure);
    if (value_of(search, RESPONSE_overshoot) < SMALLEST_OVERSHOOT * pressure) {
      give(search, RESPONSE_overshoot, 0.0);
      give(search, RESPONSE_overshoot_share, 0.0);
      lack(search, RESPONSE_response_time, "the pressure creeps to its settled value without a highest point");
    }
    response->settled_from = from;
    response->settled_to = end;
    response->band_low = (1.0 - search->settings->band) * pressure;
    response->band_high = (1.0 + search->settings->band) * pressure;
  }
  return pressure;
}

/* Needs the settled values. */
static void find_times(struct search *search, int cracking) {
  const struct response_history *history = search->history;
  const struct response *response = search->response;
  double begin = value_of(search, RESPONSE_cracking_time);
  int last_outside = -1;
  for (int k = cracking; k <= search->until; k++) {
    if (history->pressure[k] < response->band_low || history->pressure[k] > response->band_high) {
      last_outside = k;
    }
  }
  double settled = begin;
  if (last_outside >= 0 && last_outside < search->until) {
    double level = history->pressure[last_outside] > response->band_high ? response->band_high : response->band_low;
    settled = crossing(search, history->pressure, level, last_outside + 1);
  }
  give(search, RESPONSE_settling_time, settled - begin);
  mark(search, RESPONSE_ON_PRESSURE, settled, "settles");
  double wanted = OPENED_SHARE * value_of(search, RESPONSE_settled_flow);
  int k = first_beyond(history->flow, wanted, true, cracking, search->until);
  if (k >= 0) {
    double t = crossing(search, history->flow, wanted, k);
    give(search, RESPONSE_opening_time, t - begin);
    mark(search, RESPONSE_ON_FLOW, t, "90 % open");
  } else {
    lack(search, RESPONSE_opening_time, "the valve is open from the start");
  }
}

/* The oscillation about `level`, from one pressure maximum to the next. */
static void find_oscillation(struct search *search, int cracking, double level) {
  const double *p = search->history->pressure;
  double times[LARGEST_SWINGS + 1];
  double heights[LARGEST_SWINGS + 1];
  int count = 0;
  for (int k = cracking + 1; k < search->until && count <= LARGEST_SWINGS; k++) {
    if (!(p[k] > p[k - 1] && p[k] >= p[k + 1])) {
      continue;
    }
    double time;
    double value;
    top_of(search, k, &time, &value);
    if (value - level > (count > 0 ? SMALLEST_SWING * heights[0] : 1e-6 * level)) {
      times[count] = time;
      heights[count++] = value - level;
    }
  }
  if (count < 2) {
    enum response_id none[] = {RESPONSE_frequency, RESPONSE_damping_ratio, RESPONSE_decrement};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
      lack(search, none[i], "no second swing above 1 %% of the first");
    }
    give(search, RESPONSE_swings, 0.0);
    return;
  }
  int swings = count - 1;
  double decrement = log(heights[0] / heights[swings]) / swings;
  give(search, RESPONSE_swings, swings);
  give(search, RESPONSE_decrement, decrement);
  give(search, RESPONSE_frequency, swings / (times[swings] - times[0]));
  give(search, RESPONSE_damping_ratio, decrement / sqrt(4.0 * 9.869604401089358 + decrement * decrement));
  for (int i = 1; i <= swings && i <= 8; i++) {
    mark(search, RESPONSE_ON_PRESSURE, times[i], "swing");
  }
}

/* A valve that never comes to rest: how often the pressure rises through its mean, over the second half. */
static void find_chatter(struct search *search, int cracking) {
  const double *p = search->history->pressure;
  int from = (cracking + search->until) / 2;
  double mean = 0.0;
  for (int k = from; k <= search->until; k++) {
    mean += p[k] / (search->until - from + 1);
  }
  double first = NAN;
  double last = NAN;
  int count = 0;
  for (int k = from + 1; k <= search->until; k++) {
    if (p[k] >= mean && p[k - 1] < mean) {
      last = search->history->time[k];
      first = count++ == 0 ? last : first;
    }
  }
  enum response_id none[] = {RESPONSE_frequency, RESPONSE_damping_ratio, RESPONSE_decrement, RESPONSE_swings};
  for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
    lack(search, none[i], "no settled pressure to swing about");
  }
  if (count > 2) {
    give(search, RESPONSE_frequency, (count - 1) / (last - first));
    give(search, RESPONSE_swings, count - 1);
  }
}

static void find_energy(struct search *search) {
  const struct response_history *history = search->history;
  double energy = 0.0;
  double peak = 0.0;
  double flow = 0.0;
  for (int k = search->first; k <= search->last; k++) {
    double power = history->flow[k] * history->drop[k];
    peak = fmax(peak, power);
    flow = fmax(flow, history->flow[k]);
    if (k > search->first) {
      energy += 0.5 * (history->time[k] - history->time[k - 1]) * (power + history->flow[k - 1] * history->drop[k - 1]);
    }
  }
  give(search, RESPONSE_energy, energy);
  give(search, RESPONSE_peak_power, peak);
  give(search, RESPONSE_peak_flow, flow);
}

/* The valve stands still while the pressure moves: stretches of little movement of the opening, one after the other. */
static void find_sticking(struct search *search) {
  const struct response_history *history = search->history;
  if (history->opening == NULL) {
    lack(search, RESPONSE_stickings, "the valve's law knows no friction");
    lack(search, RESPONSE_longest_sticking, "the valve's law knows no friction");
    return;
  }
  double largest = 0.0;
  for (int k = search->first; k <= search->last; k++) {
    largest = fmax(largest, history->opening[k]);
  }
  int count = 0;
  double longest = 0.0;
  int start = -1;
  double low = 0.0;
  double high = 0.0;
  double least = 0.0;
  double most = 0.0;
  for (int k = search->first; k <= search->last; k++) {
    double opening = history->opening[k];
    bool open = history->flow[k] >= OPEN_FLOW && opening < (1.0 - STILL_SHARE) * search->settings->stop;
    bool goes_on = start >= 0 && open && fmax(high, opening) - fmin(low, opening) <= STILL_SHARE * largest;
    if (goes_on) {
      low = fmin(low, opening);
      high = fmax(high, opening);
      least = fmin(least, history->pressure[k]);
      most = fmax(most, history->pressure[k]);
      continue;
    }
    if (start >= 0 && most - least >= STICKING_PRESSURE * search->settings->setting &&
        history->time[k - 1] - history->time[start] >= STILL_TIME) {
      count++;
      longest = fmax(longest, history->time[k - 1] - history->time[start]);
    }
    start = open ? k : -1;
    low = high = opening;
    least = most = history->pressure[k];
  }
  give(search, RESPONSE_stickings, count);
  give(search, RESPONSE_longest_sticking, longest);
}

static void find_handover(struct search *search, int cracking, int shut) {
  const struct response_history *history = search->history;
  double begin = value_of(search, RESPONSE_cracking_time);
  if (history->limiter == NULL) {
    lack(search, RESPONSE_limiter_begin, "no pressure limiter here");
    lack(search, RESPONSE_handover_time, "no pressure limiter here");
    return;
  }
  int k = history->limiter[search->first] >= LIMITER_ACTS
              ? search->first
              : first_beyond(history->limiter, LIMITER_ACTS, true, search->first, search->last);
  if (k < 0) {
    lack(search, RESPONSE_limiter_begin, "the pressure limiter never takes 1 %% of the stroke");
    lack(search, RESPONSE_handover_time, "the pressure limiter never takes 1 %% of the stroke");
    return;
  }
  double t = k > search->first ? crossing(search, history->limiter, LIMITER_ACTS, k) : history->time[k];
  give(search, RESPONSE_limiter_begin, t - begin);
  mark(search, RESPONSE_ON_PRESSURE, t, "limiter begins");
  if (shut < 0) {
    lack(search, RESPONSE_handover_time, "the valve is still open at the end");
  } else if (history->limiter[shut] < LIMITER_ACTS) {
    lack(search, RESPONSE_handover_time, "the pressure limiter does not act when the valve shuts");
  } else if (shut > cracking) {
    give(search, RESPONSE_handover_time, value_of(search, RESPONSE_reseat_time) - begin);
  }
}

bool response_find(const struct response_history *history, const struct response_settings *settings,
                   struct response *response, struct error *error) {
  memset(response, 0, sizeof *response);
  for (int i = 0; i < RESPONSE_COUNT; i++) {
    response->values[i] = NAN;
  }
  response->band_low = response->band_high = response->settled_from = response->settled_to = NAN;
  struct search search = {history, settings, response, 0, history->count - 1, 0};
  while (search.first < history->count && history->time[search.first] < settings->from) {
    search.first++;
  }
  while (search.last >= 0 && history->time[search.last] > settings->to) {
    search.last--;
  }
  if (search.last - search.first < 3) {
    return error_set(error, ERROR_USAGE, "the run has no samples from %.6g to %.6g s", settings->from, settings->to);
  }
  int cracking = find_cracking(&search);
  if (cracking < 0) {
    return true;
  }
  int shut = find_openings(&search);
  search.until = find_end(&search, cracking, shut);
  find_peak(&search, cracking);
  bool settled;
  double level = find_settled(&search, &settled);
  if (settled) {
    find_times(&search, cracking);
    find_oscillation(&search, cracking, level);
  } else {
    find_chatter(&search, cracking);
  }
  find_energy(&search);
  find_sticking(&search);
  find_handover(&search, cracking, shut);
  return true;
}
