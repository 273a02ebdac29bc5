/* What a row says about the limits of its cell. */
#include "review.h"

#include <math.h>

#include "limit_margin.h"

const char *const review_verdict_names[REVIEW_COUNT] = {"kept", "broken", "not judged", "no limits", "failed"};

/* Less is worse; broken comes before all else. */
static bool is_worse(bool broken, double margin, bool than_broken, double than) {
  return broken != than_broken ? broken : isnan(than) || margin < than;
}

struct judgement review_judge(const struct review *review, const struct row *row, double *margins) {
  const struct plan *plan = &review->plan;
  int cell = plan_base(plan, row->k);
  const struct case_data *data = plan_base_case(plan, cell);
  const int *places = review->places + (size_t)cell * (size_t)plan_limit_count(plan);
  struct judgement judgement = {REVIEW_KEPT, -1, NAN};
  bool broken = false;
  bool unjudged = false;
  for (int i = 0; margins != NULL && i < review->limit_count; i++) {
    margins[i] = NAN;
  }
  for (int i = 0; i < data->limit_count; i++) {
    bool breaks = row->kept[i] == ROW_BROKEN;
    double margin = limit_margin(data, &data->limits[i], row->numbers[plan->measure_count + i]);
    margin = breaks && isnan(margin) ? -(double)INFINITY : margin;
    unjudged = unjudged || row->kept[i] == ROW_NOT_JUDGED;
    if (row->kept[i] == ROW_NOT_JUDGED || isnan(margin)) {
      continue;
    }
    if (is_worse(breaks, margin, broken, judgement.margin)) {
      judgement.limit = places[i];
      judgement.margin = margin;
      broken = breaks;
    }
    if (margins != NULL && !(margins[places[i]] < margin)) {
      margins[places[i]] = margin;
    }
  }
  if (broken) {
    judgement.verdict = REVIEW_BROKEN;
  } else if (row->status == RUN_FAILED) {
    judgement.verdict = REVIEW_FAILED;
  } else if (data->limit_count == 0) {
    judgement.verdict = REVIEW_NO_LIMITS;
  } else if (unjudged || row->status == RUN_STOPPED) { /* an event ended it: nobody saw the rest of the manoeuvre */
    judgement.verdict = REVIEW_NOT_JUDGED;
  }
  return judgement;
}
