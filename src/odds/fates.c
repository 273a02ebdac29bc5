#include "fates.h"

#include <float.h>
#include <math.h>

#include "limit_margin.h"
#include "share_interval.h"

const char *const fate_names[FATE_COUNT] = {"kept",       "not vouched for", "not judged", "stopped",
                                            "unfinished", "failed",          "broken"};
const char *const fate_texts[FATE_COUNT] = {"runs that keep it",
                                            "runs whose extremes are not vouched for, broken or not",
                                            "runs that give no evidence",
                                            "runs that an event (a stall) ended before anything broke",
                                            "runs whose budget was spent before anything broke",
                                            "runs that failed before anything broke",
                                            "runs that break it"};

/* Of one limit in one cell. */
static enum fate fate_of(const struct row *row, int limit, bool vouched) {
  if (row->kept[limit] == ROW_BROKEN) {
    return vouched ? FATE_BROKEN : FATE_NOT_VOUCHED;
  }
  switch (row->status) {
  case RUN_FAILED:
    return FATE_FAILED;
  case RUN_INTERRUPTED:
    return FATE_UNFINISHED;
  case RUN_STOPPED:
    return FATE_STOPPED;
  default:
    return row->kept[limit] == ROW_NOT_JUDGED ? FATE_NOT_JUDGED : vouched ? FATE_KEPT : FATE_NOT_VOUCHED;
  }
}

double fates_of_row(const struct review *review, const struct row *row, unsigned char *fates) {
  const struct plan *plan = &review->plan;
  int cell = plan_base(plan, row->k);
  const struct case_data *data = plan_base_case(plan, cell);
  const int *places = review->places + (size_t)cell * (size_t)plan_limit_count(plan);
  bool vouched = row->numbers[0] != 0.0; /* a circuit that has no such measure has nothing to vouch for */
  double least = INFINITY;
  for (int i = 0; i <= review->limit_count; i++) {
    fates[i] = FATE_KEPT;
  }
  for (int i = 0; i < data->limit_count; i++) {
    enum fate fate = fate_of(row, i, vouched);
    double margin = limit_margin(data, &data->limits[i], row->numbers[plan->measure_count + i]);
    fates[1 + places[i]] = (unsigned char)fate;
    fates[0] = fates[0] < fate ? (unsigned char)fate : fates[0];
    if (fate == FATE_BROKEN) {
      least = fmin(least, isnan(margin) ? -DBL_MIN : fmin(margin, -DBL_MIN));
    } else if (fate != FATE_KEPT) {
      least = -INFINITY;
    } else if (!isnan(margin)) {
      least = fmin(least, fmax(margin, 0.0));
    }
  }
  return least;
}

struct fate_odds fate_odds_of(const struct fate_counts *counts) {
  struct fate_odds odds = {0, counts->of[FATE_BROKEN], 0, NAN, 0.0, 1.0};
  for (int f = 0; f < FATE_COUNT; f++) {
    odds.runs += counts->of[f];
  }
  int64_t judged = counts->of[FATE_BROKEN] + counts->of[FATE_KEPT];
  odds.unsure = odds.runs - judged;
  if (judged > 0) {
    odds.share = (double)odds.broken / (double)judged;
  }
  if (odds.runs > 0) {
    odds.low = share_interval_low((double)odds.broken, (double)odds.runs);
    odds.high = share_interval_high((double)(odds.broken + odds.unsure), (double)odds.runs);
  }
  return odds;
}
