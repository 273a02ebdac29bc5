#include "subset.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "draw.h"

/* Half the width of the uniform proposal, in standard deviations (Au and Beck's). */
#define SPREAD 1.0
/* Where as many samples of a level lie at its margin or beyond, margins lead nowhere. */
#define STUCK_SHARE 0.5

struct sample {
  double margin;
  int64_t origin;
  int place; /* of its point */
};

struct state {
  const struct subset_question *question;
  struct subset *subset;
  struct error *error;
  struct sample *samples;
  double *points;     /* [place][input] */
  double *next;       /* of the level that is being made */
  double *candidates; /* [chain][input] */
  double *margins;
  int *asked; /* chains whose candidate differs from where they are */
  uint64_t counter;
};

static bool no_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the odds");
}

static double lot(struct state *state) {
  return draw_share(state->question->seed, 0x5ab5e7, state->counter++);
}

static int by_margin(const void *a_, const void *b_) {
  const struct sample *a = a_;
  const struct sample *b = b_;
  if (a->margin != b->margin) {
    return a->margin < b->margin ? -1 : 1;
  }
  return (a->origin > b->origin) - (a->origin < b->origin);
}

static bool ask(struct state *state, const double *points, int count) {
  state->subset->runs += count;
  return count == 0 || state->question->ask(state->question->context, points, count, state->margins, state->error);
}

/* The first level: plain lots. */
static bool begin(struct state *state) {
  const struct subset_question *question = state->question;
  int samples = question->samples;
  for (int i = 0; i < samples * question->inputs; i++) {
    state->points[i] = draw_normal_inverse(lot(state));
  }
  if (!ask(state, state->points, samples)) {
    return false;
  }
  for (int i = 0; i < samples; i++) {
    state->samples[i] = (struct sample){state->margins[i], i, i};
  }
  state->subset->levels[0] = (struct subset_level){INFINITY, 1.0, samples};
  state->subset->level_count = 1;
  return true;
}

/* A candidate for each chain: every component moves by itself or stays. Returns how many differ from where they are. */
static int make_candidates(struct state *state, const double *at, int chains) {
  int inputs = state->question->inputs;
  int moved = 0;
  for (int c = 0; c < chains; c++) {
    double *candidate = state->candidates + (size_t)moved * (size_t)inputs;
    bool differs = false;
    for (int i = 0; i < inputs; i++) {
      double from = at[c * inputs + i];
      double to = from + SPREAD * (2.0 * lot(state) - 1.0);
      bool moves = lot(state) < exp(0.5 * (from * from - to * to));
      candidate[i] = moves ? to : from;
      differs = differs || moves;
    }
    if (differs) {
      state->asked[moved++] = c;
    }
  }
  return moved;
}

/* Chains from the best samples, `level` deep: the samples of the next level, all of which lie beyond `margin`. */
static bool climb(struct state *state, double margin) {
  const struct subset_question *question = state->question;
  struct subset_level *level = &state->subset->levels[state->subset->level_count];
  size_t inputs = (size_t)question->inputs;
  int chains = question->samples / SUBSET_PART;
  int64_t taken = 0;
  *level = (struct subset_level){margin, 0.0, 0};
  for (int c = 0; c < chains; c++) {
    memcpy(state->next + (size_t)c * inputs, state->points + (size_t)state->samples[c].place * inputs,
           inputs * sizeof(double));
    state->samples[c].place = c;
  }
  for (int step = 1; step < SUBSET_PART; step++) {
    double *now = state->next + (size_t)((step - 1) * chains) * inputs;
    double *then = now + (size_t)chains * inputs;
    struct sample *before = state->samples + (size_t)(step - 1) * (size_t)chains;
    memcpy(then, now, (size_t)chains * inputs * sizeof(double));
    for (int c = 0; c < chains; c++) {
      before[chains + c] = (struct sample){before[c].margin, before[c].origin, step * chains + c};
    }
    int64_t first = state->subset->runs;
    int moved = make_candidates(state, now, chains);
    if (!ask(state, state->candidates, moved)) {
      return false;
    }
    level->runs += moved;
    for (int m = 0; m < moved; m++) {
      if (state->margins[m] <= margin) {
        int c = state->asked[m];
        memcpy(then + (size_t)c * inputs, state->candidates + (size_t)m * inputs, inputs * sizeof(double));
        before[chains + c].margin = state->margins[m];
        before[chains + c].origin = first + m;
        taken++;
      }
    }
  }
  level->accepted = (double)taken / (double)(chains * (SUBSET_PART - 1));
  state->subset->level_count++;
  double *before_it = state->points;
  state->points = state->next;
  state->next = before_it;
  return true;
}

/* Samples of the last level by rising margin, into the answer. */
static bool hand_over(struct state *state, int in_event) {
  struct subset *subset = state->subset;
  size_t inputs = (size_t)state->question->inputs;
  subset->in_event = in_event;
  subset->points = calloc((size_t)in_event * inputs + 1, sizeof *subset->points);
  subset->origin = calloc((size_t)in_event + 1, sizeof *subset->origin);
  if (subset->points == NULL || subset->origin == NULL) {
    return no_memory(state->error);
  }
  for (int i = 0; i < in_event; i++) {
    memcpy(subset->points + (size_t)i * inputs, state->points + (size_t)state->samples[i].place * inputs,
           inputs * sizeof(double));
    subset->origin[i] = state->samples[i].origin;
  }
  return true;
}

static int count_to(const struct sample *samples, int count, double margin) {
  int there = 0;
  while (there < count && samples[there].margin <= margin) {
    there++;
  }
  return there;
}

static bool descend(struct state *state) {
  struct subset *subset = state->subset;
  int samples = state->question->samples;
  int chains = samples / SUBSET_PART;
  double probability = 1.0;
  if (!begin(state)) {
    return false;
  }
  for (;;) {
    qsort(state->samples, (size_t)samples, sizeof *state->samples, by_margin);
    int in_event = count_to(state->samples, samples, -DBL_TRUE_MIN);
    if (in_event >= chains || subset->level_count == SUBSET_LEVELS_MOST) {
      subset->probability = probability * in_event / samples;
      return hand_over(state, in_event);
    }
    double best = state->samples[chains - 1].margin;
    double other = state->samples[chains].margin;
    double margin = isfinite(best) && isfinite(other) ? 0.5 * (best + other) : best;
    int beyond = count_to(state->samples, samples, margin);
    if ((double)beyond > STUCK_SHARE * samples) {
      subset->stuck = true;
      subset->probability = probability * in_event / samples;
      return hand_over(state, in_event);
    }
    probability *= (double)beyond / samples;
    if (!climb(state, margin)) {
      return false;
    }
  }
}

bool subset_find(const struct subset_question *question, struct subset *subset, struct error *error) {
  size_t samples = (size_t)question->samples;
  size_t numbers = samples * (size_t)question->inputs;
  *subset = (struct subset){0};
  double *points = calloc(2 * numbers, sizeof *points); /* of this level and the next */
  double *candidates = calloc(numbers, sizeof *candidates);
  double *margins = calloc(samples, sizeof *margins);
  struct sample *list = calloc(samples, sizeof *list);
  int *asked = calloc(samples, sizeof *asked);
  bool good = false;
  if (points == NULL || candidates == NULL || margins == NULL || list == NULL || asked == NULL) {
    no_memory(error);
  } else {
    struct state state = {.question = question,
                          .subset = subset,
                          .error = error,
                          .samples = list,
                          .points = points,
                          .next = points + numbers,
                          .candidates = candidates,
                          .margins = margins,
                          .asked = asked};
    good = descend(&state);
  }
  free(points);
  free(candidates);
  free(margins);
  free(list);
  free(asked);
  return good;
}

void subset_free(struct subset *subset) {
  free(subset->points);
  free(subset->origin);
  *subset = (struct subset){0};
}

/* ---- what repetitions say ---- */

/* Exact for one and two degrees, else by the expansion of Cornish and Fisher (Abramowitz and Stegun 26.7.5). */
double subset_student(int freedom) {
  if (freedom == 1) {
    return 12.706204736;
  }
  if (freedom == 2) {
    return 4.302652730;
  }
  double z = 1.959963984540054;
  double n = freedom;
  double z2 = z * z;
  double g1 = z * (z2 + 1.0) / 4.0;
  double g2 = z * ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0;
  double g3 = z * (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0;
  double g4 = z * ((((79.0 * z2 + 776.0) * z2 + 1482.0) * z2 - 1920.0) * z2 - 945.0) / 92160.0;
  return z + g1 / n + g2 / (n * n) + g3 / (n * n * n) + g4 / (n * n * n * n);
}

struct subset_interval subset_interval_of(const double *probabilities, int repetitions) {
  struct subset_interval interval = {NAN, 0.0, 1.0};
  double mean = 0.0;
  double logarithm = 0.0;
  double square = 0.0;
  for (int r = 0; r < repetitions; r++) {
    if (!(probabilities[r] > 0.0)) {
      return interval;
    }
    mean += probabilities[r] / repetitions;
    logarithm += log(probabilities[r]) / repetitions;
  }
  if (repetitions < 2) {
    return interval;
  }
  for (int r = 0; r < repetitions; r++) {
    double off = log(probabilities[r]) - logarithm;
    square += off * off;
  }
  double half = subset_student(repetitions - 1) * sqrt(square / (repetitions * (repetitions - 1.0)));
  interval.probability = mean;
  interval.low = mean * exp(-half);
  interval.high = fmin(mean * exp(half), 1.0);
  return interval;
}
