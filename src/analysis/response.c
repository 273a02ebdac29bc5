#include "response.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "response_search.h"
#include "thresholds.h"

#define SMALLEST_SWING 0.01    /* of the first overshoot */
#define STILL_SHARE 2e-3       /* of the largest opening: less is standing still */
#define STILL_TIME 5e-3        /* s; shorter is the turning point of a swing */
#define STICKING_PRESSURE 0.01 /* of the setting */
#define LIMITER_ACTS 0.01      /* of the stroke */
#define LARGEST_SWINGS 12

const struct signal response_rows[RESPONSE_COUNT] = {
#define RESPONSE_ROW(name, quantity, reference, text) {#name, QUANTITY_##quantity, REFERENCE_##reference, text},
    RESPONSE_LIST(RESPONSE_ROW)
#undef RESPONSE_ROW
};

const struct signal opening_rows[OPENING_COUNT] = {
#define OPENING_ROW(name, quantity, text) {#name, QUANTITY_##quantity, REFERENCE_NONE, text},
    OPENING_LIST(OPENING_ROW)
#undef OPENING_ROW
};

static void give(const struct search *search, enum response_id id, double value) {
  search->response->values[id] = value;
  search->response->absent[id][0] = '\0';
}

static void lack(const struct search *search, enum response_id id, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void lack(const struct search *search, enum response_id id, const char *format, ...) {
  va_list list;
  va_start(list, format);
  search->response->values[id] = NAN;
  (void)vsnprintf(search->response->absent[id], sizeof search->response->absent[id], format, list);
  va_end(list);
}

/* The value, or why there is none. */
static void take(const struct search *search, enum response_id id, double value, const char *why) {
  if (isnan(value)) {
    lack(search, id, "%s", why);
  } else {
    give(search, id, value);
  }
}

static double value_of(const struct search *search, enum response_id id) {
  return search->response->values[id];
}

static void mark(const struct search *search, enum response_curve curve, double t, const char *name) {
  struct response *response = search->response;
  if (response->mark_count < RESPONSE_MARKS && !isnan(t)) {
    struct response_mark *next = &response->marks[response->mark_count++];
    next->curve = curve;
    next->time = t;
    next->value = search_at(search, curve == RESPONSE_ON_DROP ? search->history->drop : search->history->flow, t);
    (void)snprintf(next->name, sizeof next->name, "%s", name);
  }
}

/* ---- the first opening ---- */

/* Whoever stays shut has no answer: the whole list lacks it with the same reason. */
static void lack_all(const struct search *search, bool cracks, double highest) {
  for (int i = 0; i < RESPONSE_COUNT; i++) {
    if (cracks) {
      lack(search, (enum response_id)i, "the valve cracks, but no more than 0.6 L/min ever flow through it");
    } else {
      lack(search, (enum response_id)i, "the valve never cracks: the drop over it reaches %.1f of %.1f bar",
           highest / 1e5, search->settings->setting / 1e5);
    }
  }
}

static void find_cracking(const struct search *search, const struct opening_span *span) {
  const struct response_history *history = search->history;
  double t = span->cracking_time;
  int k = span->cracking;
  give(search, RESPONSE_cracking_time, t);
  give(search, RESPONSE_cracking_pressure, search_at(search, history->pressure, t));
  if (k > search->first && k < search->last && t > history->time[k - 1]) {
    double half = 0.5 * (history->time[k] - history->time[k - 1]);
    give(search, RESPONSE_rise_rate,
         (search_at(search, history->drop, t + half) - search_at(search, history->drop, t - half)) / (2.0 * half));
  } else {
    lack(search, RESPONSE_rise_rate, "the valve is open from the start");
  }
  give(search, RESPONSE_opening_delay, span->open_time - t);
  give(search, RESPONSE_opening_drop, search_at(search, history->drop, span->open_time));
  give(search, RESPONSE_opening_pressure, search_at(search, history->pressure, span->open_time));
  mark(search, RESPONSE_ON_DROP, t, "cracks");
  mark(search, RESPONSE_ON_FLOW, span->open_time, "opens");
}

static void find_first_peak(const struct search *search, const struct response_opening *row) {
  const double *values = row->values;
  const char *why = row->absent[OPENING_peak_time];
  double overshoot = values[OPENING_overshoot];
  double still = values[OPENING_peak_drop] - overshoot;
  take(search, RESPONSE_first_peak_time, values[OPENING_peak_time], why);
  take(search, RESPONSE_first_peak_drop, values[OPENING_peak_drop], why);
  take(search, RESPONSE_first_peak_flow, values[OPENING_peak_flow], why);
  take(search, RESPONSE_response_time, values[OPENING_response_time], row->absent[OPENING_response_time]);
  take(search, RESPONSE_opening_time, values[OPENING_opening_time], row->absent[OPENING_opening_time]);
  take(search, RESPONSE_static_drop, still, why);
  take(search, RESPONSE_overshoot, overshoot, why);
  take(search, RESPONSE_overshoot_share, overshoot / still, why);
  mark(search, RESPONSE_ON_DROP, values[OPENING_peak_time], "first peak");
  mark(search, RESPONSE_ON_FLOW, value_of(search, RESPONSE_cracking_time) + values[OPENING_opening_time],
       "90 % of the peak's");
}

static void find_rest(const struct search *search, const struct response_opening *row,
                      const struct opening_settled *settled) {
  struct response *response = search->response;
  double none = settled->settled ? 0.0 : NAN;
  take(search, RESPONSE_settled_drop, settled->drop + none, settled->why);
  take(search, RESPONSE_settled_pressure, settled->pressure + none, settled->why);
  take(search, RESPONSE_settled_flow, settled->flow + none, settled->why);
  take(search, RESPONSE_settling_time, row->values[OPENING_settling_time], row->absent[OPENING_settling_time]);
  if (settled->settled) {
    response->settled_from = settled->from;
    response->settled_to = settled->to;
    response->band_low = settled->drop - settled->band;
    response->band_high = settled->drop + settled->band;
    mark(search, RESPONSE_ON_DROP, value_of(search, RESPONSE_cracking_time) + row->values[OPENING_settling_time],
         "settles");
  }
  double reseat = row->values[OPENING_reseat_time];
  const char *why = row->absent[OPENING_reseat_time];
  take(search, RESPONSE_reseat_time, reseat, why);
  take(search, RESPONSE_reseat_drop, row->values[OPENING_reseat_drop], why);
  take(search, RESPONSE_reseat_pressure, isnan(reseat) ? NAN : search_at(search, search->history->pressure, reseat),
       why);
  take(search, RESPONSE_hysteresis, value_of(search, RESPONSE_opening_drop) - row->values[OPENING_reseat_drop], why);
  mark(search, RESPONSE_ON_DROP, reseat, "reseats");
}

/* All openings: a row each. Returns the sample at which the last one shut, or -1. */
static int find_openings(const struct search *search, const struct opening_span *first) {
  struct response *response = search->response;
  struct opening_span span = *first;
  double open_time = 0.0;
  int openings = 0;
  for (bool more = true; more;) {
    struct response_opening row;
    struct opening_settled settled;
    if (openings++ < RESPONSE_OPENINGS) {
      opening_examine(search, &span, &row, &settled);
      response->each[response->each_count++] = row;
      if (openings == 1) {
        find_first_peak(search, &row);
        find_rest(search, &row, &settled);
      }
    }
    open_time += (span.shut >= 0 ? span.shut_time : search->history->time[search->last]) - span.open_time;
    more = span.shut >= 0 && opening_next(search, span.shut, &span);
  }
  give(search, RESPONSE_openings, openings);
  give(search, RESPONSE_open_time, open_time);
  take(search, RESPONSE_last_reseat_time, span.shut_time, "the valve is still open at the end");
  return span.shut;
}

/* The highest drop and pressure over all openings. */
static void find_highest(const struct search *search, int cracking) {
  const struct response_history *history = search->history;
  int best = cracking;
  double pressure = history->pressure[cracking];
  for (int k = cracking; k <= search->last; k++) {
    best = history->drop[k] > history->drop[best] ? k : best;
    pressure = fmax(pressure, history->pressure[k]);
  }
  double time;
  double drop;
  search_top(search, best, &time, &drop);
  give(search, RESPONSE_peak_time, time);
  give(search, RESPONSE_peak_drop, drop);
  /* Where line and drop are highest together, at the top of the parabola. */
  give(search, RESPONSE_peak_pressure, fmax(pressure, search_at(search, history->pressure, time)));
}

/* The oscillation about `level`, from one maximum of the drop to the next. */
static void find_oscillation(const struct search *search, const struct opening_span *span, double level) {
  const double *p = search->history->drop;
  double times[LARGEST_SWINGS + 1];
  double heights[LARGEST_SWINGS + 1];
  int count = 0;
  for (int k = span->cracking + 1; k < span->until && count <= LARGEST_SWINGS; k++) {
    if (!(p[k] > p[k - 1] && p[k] >= p[k + 1])) {
      continue;
    }
    double time;
    double value;
    search_top(search, k, &time, &value);
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
    mark(search, RESPONSE_ON_DROP, times[i], "swing");
  }
}

/* A valve that never comes to rest: how often the drop rises through its mean, over the second half of the time from
 * the first cracking to the end of the flow, or to the last reseat. */
static void find_chatter(const struct search *search, int cracking, int until, const char *why) {
  const double *p = search->history->drop;
  int from = (cracking + until) / 2;
  double mean = 0.0;
  for (int k = from; k <= until; k++) {
    mean += p[k] / (until - from + 1);
  }
  double first = NAN;
  double last = NAN;
  int count = 0;
  for (int k = from + 1; k <= until; k++) {
    if (p[k] >= mean && p[k - 1] < mean) {
      last = search->history->time[k];
      first = count++ == 0 ? last : first;
    }
  }
  enum response_id none[] = {RESPONSE_frequency, RESPONSE_damping_ratio, RESPONSE_decrement, RESPONSE_swings};
  for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
    lack(search, none[i], "nothing to swing about: %s", why);
  }
  if (count > 2) {
    give(search, RESPONSE_frequency, (count - 1) / (last - first));
    give(search, RESPONSE_swings, count - 1);
  }
}

static void find_energy(const struct search *search) {
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

/* The valve stands still while the drop moves: stretches of little movement of the opening, one after the other. */
static void find_sticking(const struct search *search) {
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
      least = fmin(least, history->drop[k]);
      most = fmax(most, history->drop[k]);
      continue;
    }
    if (start >= 0 && most - least >= STICKING_PRESSURE * search->settings->setting &&
        history->time[k - 1] - history->time[start] >= STILL_TIME) {
      count++;
      longest = fmax(longest, history->time[k - 1] - history->time[start]);
    }
    start = open ? k : -1;
    low = high = opening;
    least = most = history->drop[k];
  }
  give(search, RESPONSE_stickings, count);
  give(search, RESPONSE_longest_sticking, longest);
}

static void find_handover(const struct search *search, int cracking, int shut) {
  const struct response_history *history = search->history;
  double begin = value_of(search, RESPONSE_cracking_time);
  if (history->limiter == NULL) {
    lack(search, RESPONSE_limiter_begin, "no pressure limiter here");
    lack(search, RESPONSE_handover_time, "no pressure limiter here");
    return;
  }
  int k = history->limiter[search->first] >= LIMITER_ACTS
              ? search->first
              : search_beyond(history->limiter, LIMITER_ACTS, true, search->first, search->last);
  if (k < 0) {
    lack(search, RESPONSE_limiter_begin, "the pressure limiter never takes 1 %% of the stroke");
    lack(search, RESPONSE_handover_time, "the pressure limiter never takes 1 %% of the stroke");
    return;
  }
  double t = k > search->first ? search_crossing(search, history->limiter, LIMITER_ACTS, k) : history->time[k];
  give(search, RESPONSE_limiter_begin, t - begin);
  mark(search, RESPONSE_ON_DROP, t, "limiter begins");
  if (shut < 0) {
    lack(search, RESPONSE_handover_time, "the valve is still open at the end");
  } else if (history->limiter[shut] < LIMITER_ACTS) {
    lack(search, RESPONSE_handover_time, "the pressure limiter does not act when the valve shuts");
  } else if (shut > cracking) {
    give(search, RESPONSE_handover_time, value_of(search, RESPONSE_last_reseat_time) - begin);
  } else {
    lack(search, RESPONSE_handover_time, "the valve shuts before it cracks again");
  }
}

/* The highest drop of the window, and whether it reaches the setting. */
static bool cracks_ever(const struct search *search, double *highest) {
  *highest = -INFINITY;
  for (int k = search->first; k <= search->last; k++) {
    *highest = fmax(*highest, search->history->drop[k]);
  }
  return *highest >= search->settings->setting;
}

bool response_find(const struct response_history *history, const struct response_settings *settings,
                   struct response *response, struct error *error) {
  memset(response, 0, sizeof *response);
  for (int i = 0; i < RESPONSE_COUNT; i++) {
    response->values[i] = NAN;
  }
  response->band_low = response->band_high = response->settled_from = response->settled_to = NAN;
  struct search search = {history, settings, response, 0, history->count - 1};
  while (search.first < history->count && history->time[search.first] < settings->from) {
    search.first++;
  }
  while (search.last >= 0 && history->time[search.last] > settings->to) {
    search.last--;
  }
  if (search.last - search.first < 3) {
    return error_set(error, ERROR_USAGE, "the run has no samples from %.6g to %.6g s", settings->from, settings->to);
  }
  double highest;
  bool cracks = cracks_ever(&search, &highest);
  struct opening_span first;
  if (!cracks || !opening_next(&search, search.first, &first)) {
    lack_all(&search, cracks, highest);
    return true;
  }
  find_cracking(&search, &first);
  int shut = find_openings(&search, &first);
  find_highest(&search, first.cracking);
  if (!isnan(response->values[RESPONSE_settled_drop])) {
    find_oscillation(&search, &first, response->values[RESPONSE_settled_drop]);
  } else {
    int until = history->feed != NULL && first.until != first.shut ? first.until : shut >= 0 ? shut : search.last;
    find_chatter(&search, first.cracking, until, response->absent[RESPONSE_settled_drop]);
  }
  find_energy(&search);
  find_sticking(&search);
  find_handover(&search, first.cracking, shut);
  return true;
}
