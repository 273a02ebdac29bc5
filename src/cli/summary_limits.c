#include "summary_limits.h"

#include <math.h>
#include <stdlib.h>

#include "commands.h"
#include "limit_margin.h"
#include "text.h"
#include "units.h"

enum { SHOWN = 48 };

static int worst_first(const void *left, const void *right) {
  const struct ranked_limit *a = left;
  const struct ranked_limit *b = right;
  int by_excess = (a->excess < b->excess) - (a->excess > b->excess);
  return by_excess != 0 ? by_excess : (a->index > b->index) - (a->index < b->index);
}

/* By how much of its level. A limit without a worst value is broken without bound, or kept with all of it left. */
static double excess_of(const struct case_data *data, const struct limit *limit, const struct limit_finding *found) {
  if (isnan(found->worst)) {
    return found->verdict == LIMIT_BROKEN ? (double)INFINITY : -(double)INFINITY;
  }
  return -limit_margin(data, limit, found->worst);
}

int summary_rank(const struct case_data *data, const struct outcome *outcome, enum limit_verdict verdict,
                 struct ranked_limit *ranks) {
  int count = 0;
  for (int i = 0; i < data->limit_count; i++) {
    if (outcome->limits[i].verdict == verdict) {
      ranks[count++] = (struct ranked_limit){i, excess_of(data, &data->limits[i], &outcome->limits[i])};
    }
  }
  if (count > 0) {
    qsort(ranks, (size_t)count, sizeof *ranks, worst_first);
  }
  return count;
}

static const char *colour_of(const struct paint *paint, enum limit_verdict verdict) {
  return verdict == LIMIT_BROKEN ? paint->bad : verdict == LIMIT_KEPT ? paint->good : paint->strong;
}

void summary_limit(FILE *out, const struct paint *paint, const struct case_data *data, const struct outcome *outcome,
                   int index) {
  const struct limit *limit = &data->limits[index];
  const struct limit_finding *found = &outcome->limits[index];
  const char *word = found->verdict == LIMIT_BROKEN ? "BROKEN" : limit_verdict_names[found->verdict];
  (void)fprintf(out, "  %s%-10s%s  %s", colour_of(paint, found->verdict), word, paint->plain, shown(limit->text).text);
  const char *between = ": ";
  if (found->why[0] != '\0') {
    (void)fprintf(out, "%s%s", between, found->why);
    between = ", ";
  }
  if (!isnan(found->worst)) {
    char worst[SHOWN];
    bool is_measure = limit->keep.signal == CONDITION_MEASURE;
    (void)fprintf(out, "%s%s%s%s", between, is_measure ? "" : "worst ",
                  found->verdict == LIMIT_NOT_JUDGED ? "so far " : "",
                  units_show(condition_quantity(data, &limit->keep), found->worst, worst, SHOWN));
    if (!isnan(found->time)) {
      (void)fprintf(out, " at %.3f s", found->time);
    }
  }
  if (!isnan(found->first)) {
    (void)fprintf(out, ", first broken at %.3f s", found->first);
  }
  (void)fputc('\n', out);
}

void summary_limits(FILE *out, const struct paint *paint, const struct case_data *data, const struct outcome *outcome) {
  struct ranked_limit *ranks = calloc((size_t)data->limit_count + 1, sizeof *ranks);
  if (ranks == NULL) {
    return; /* the watch over memory has seen it */
  }
  int broken = summary_rank(data, outcome, LIMIT_BROKEN, ranks);
  for (int i = 0; i < broken; i++) {
    summary_limit(out, paint, data, outcome, ranks[i].index);
  }
  free(ranks);
  /* The others in the order of the case. */
  static const enum limit_verdict order[] = {LIMIT_NOT_JUDGED, LIMIT_KEPT};
  for (int pass = 0; pass < 2; pass++) {
    for (int i = 0; i < data->limit_count; i++) {
      if (outcome->limits[i].verdict == order[pass]) {
        summary_limit(out, paint, data, outcome, i);
      }
    }
  }
}

int summary_limits_exit(const struct outcome *outcome) {
  return outcome->broken_count > 0     ? EXIT_LIMIT_BROKEN
         : outcome->unjudged_count > 0 ? EXIT_LIMIT_NOT_JUDGED
                                       : EXIT_DONE;
}
