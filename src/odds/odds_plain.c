/* Odds by counting runs that are drawn by lot. */
#include "odds_answer.h"

#include <math.h>
#include <stdlib.h>

#include "draw.h"

/* Points that are asked for at once. */
enum { CHUNK = 4096 };

static double share_at(const struct odds_answer *answer, int input, int64_t point) {
  return draw_share(answer->seed, (uint64_t)input, (uint64_t)point);
}

/* Runs until there are `wanted`; fewer after a wish to stop. */
static bool run_until(const struct odds_answer *answer, struct odds_runs *runs, int64_t wanted, double *values,
                      struct error *error) {
  const struct plan *plan = &answer->review->plan;
  bool good = true;
  while (good && !odds_runs_stopped(runs) && odds_runs_count(runs) < wanted) {
    int64_t first = odds_runs_count(runs);
    int64_t count = wanted - first < CHUNK ? wanted - first : CHUNK;
    for (int64_t i = 0; i < count; i++) {
      for (int a = 0; a < plan->axis_count; a++) {
        values[i * plan->axis_count + a] = axis_of_share(&plan->axes[a], share_at(answer, a, first + i));
      }
    }
    good = odds_runs_ask(runs, values, count, error);
  }
  return good;
}

static void count_until(struct odds_answer *answer, const struct odds_runs *runs, struct fate_counts *counts) {
  for (; answer->runs < odds_runs_count(runs); answer->runs++) {
    const unsigned char *fates = odds_runs_fates(runs, answer->runs);
    for (int p = 0; p < answer->probability_count; p++) {
      counts[p].of[fates[p]]++;
    }
  }
}

static void fill_parts(const struct odds_answer *answer, const struct odds_runs *runs, int input) {
  int count = answer->inputs[input].part_count;
  for (int64_t i = 0; i < answer->runs; i++) {
    const unsigned char *fates = odds_runs_fates(runs, i);
    int part = (int)(share_at(answer, input, i) * count);
    part = part < count ? part : count - 1;
    for (int p = 0; p < answer->probability_count; p++) {
      odds_parts(answer, p, input)[part].counts.of[fates[p]]++;
    }
  }
}

static bool find_drivers(struct odds_answer *answer, const struct odds_runs *runs, struct error *error) {
  double *shares = calloc((size_t)answer->runs + 1, sizeof *shares);
  signed char *flags = calloc((size_t)answer->runs + 1, sizeof *flags);
  bool good = shares != NULL && flags != NULL;
  for (int input = 0; good && input < answer->input_count; input++) {
    for (int64_t i = 0; i < answer->runs; i++) {
      shares[i] = share_at(answer, input, i);
    }
    for (int p = 0; good && p < answer->probability_count; p++) {
      for (int64_t i = 0; i < answer->runs; i++) {
        unsigned char fate = odds_runs_fates(runs, i)[p];
        flags[i] = (signed char)(fate == FATE_BROKEN ? 1 : fate == FATE_KEPT ? 0 : -1);
      }
      good = driver_of(shares, flags, answer->runs,
                       &answer->drivers[(size_t)p * (size_t)answer->input_count + (size_t)input]);
    }
    fill_parts(answer, runs, input);
  }
  free(shares);
  free(flags);
  return good || error_set(error, ERROR_MEMORY, "no memory for the odds");
}

bool odds_plain(struct odds_answer *answer, struct odds_runs *runs, const struct odds_question *question,
                struct error *error) {
  const struct plan *plan = &answer->review->plan;
  size_t probabilities = (size_t)answer->probability_count;
  double *values = calloc((size_t)CHUNK * (size_t)plan->axis_count, sizeof *values);
  struct fate_counts *counts = calloc(probabilities, sizeof *counts);
  if (values == NULL || counts == NULL) {
    free(values);
    free(counts);
    return error_set(error, ERROR_MEMORY, "no memory for the odds");
  }
  bool good = true;
  int64_t wanted = 0;
  while (good && !odds_runs_stopped(runs) &&
         (wanted = counting_next(&question->rule, counts, answer->probability_count)) > answer->runs) {
    good = run_until(answer, runs, wanted, values, error);
    count_until(answer, runs, counts);
  }
  answer->complete = !odds_runs_stopped(runs);
  answer->before = odds_runs_before(runs);
  answer->busy = odds_runs_busy(runs);
  for (size_t p = 0; good && p < probabilities; p++) {
    answer->probabilities[p].counts = counts[p];
    answer->probabilities[p].odds = fate_odds_of(&counts[p]);
  }
  answer->reached = counting_width(counts, answer->probability_count);
  free(values);
  free(counts);
  return good && find_drivers(answer, runs, error);
}
