/* Odds of rare breaking: independent subset simulations, whose scatter is the error that is told. */
#include "odds_answer.h"

#include <math.h>
#include <stdlib.h>

#include "draw.h"
#include "subset.h"

enum { CHUNK = 4096 };

/* What asking goes through. */
struct asking {
  struct odds_answer *answer;
  struct odds_runs *runs;
  double *values; /* SI, [CHUNK][input] */
};

/* What one simulation says of a limit. */
struct part {
  double broken; /* probability, established */
  double event;  /* with all that is not established */
};

static double value_at(const struct axis *axis, double z) {
  return axis_of_share(axis, fmin(fmax(draw_normal_share(z), 1e-300), 1.0 - 0x1p-53));
}

/* After a wish to stop fewer runs are there: that ends the simulation, and is no error. */
static bool ask(void *context, const double *points, int count, double *margins, struct error *error) {
  struct asking *asking = context;
  const struct plan *plan = &asking->answer->review->plan;
  int inputs = plan->axis_count;
  for (int done = 0; done < count;) {
    int now = count - done < CHUNK ? count - done : CHUNK;
    int64_t first = odds_runs_count(asking->runs);
    for (int i = 0; i < now * inputs; i++) {
      asking->values[i] = value_at(&plan->axes[i % inputs], points[done * inputs + i]);
    }
    if (!odds_runs_ask(asking->runs, asking->values, now, error) || odds_runs_count(asking->runs) < first + now) {
      return false;
    }
    for (int i = 0; i < now; i++) {
      margins[done + i] = odds_runs_margin(asking->runs, first + i);
    }
    done += now;
  }
  return true;
}

/* The plain lots of the first level are counted. */
static void count_first(struct odds_answer *answer, const struct odds_runs *runs, int64_t first, int samples) {
  for (int i = 0; i < samples; i++) {
    const unsigned char *fates = odds_runs_fates(runs, first + i);
    for (int p = 0; p < answer->probability_count; p++) {
      answer->probabilities[p].counts.of[fates[p]]++;
    }
  }
}

/* Shares of the samples in the event; `means` [probability][input]: where the broken ones lie, NaN without. */
static void look_into(const struct odds_answer *answer, const struct odds_runs *runs, int64_t first,
                      const struct subset *subset, struct part *parts, double *means) {
  int inputs = answer->input_count;
  for (int p = 0; p < answer->probability_count; p++) {
    double *own = means + (size_t)p * (size_t)inputs;
    int64_t broken = 0;
    int64_t event = 0;
    for (int a = 0; a < inputs; a++) {
      own[a] = 0.0;
    }
    for (int i = 0; i < subset->in_event; i++) {
      unsigned char fate = odds_runs_fates(runs, first + subset->origin[i])[p];
      event += fate != FATE_KEPT;
      broken += fate == FATE_BROKEN;
      for (int a = 0; fate == FATE_BROKEN && a < inputs; a++) {
        own[a] += draw_normal_share(subset->points[i * inputs + a]);
      }
    }
    for (int a = 0; a < inputs; a++) {
      own[a] = broken > 0 ? own[a] / (double)broken : (double)NAN;
    }
    double each = subset->in_event > 0 ? subset->probability / subset->in_event : 0.0;
    parts[p] = (struct part){each * (double)broken, each * (double)event};
  }
}

/* ---- all simulations together ---- */

/* Mean and Student's interval of what the simulations say of one input. */
static void join_driver(struct driver *driver, const double *means, size_t stride, int count) {
  double mean = 0.0;
  double square = 0.0;
  *driver = (struct driver){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
  for (int r = 0; r < count; r++) {
    mean += means[(size_t)r * stride] / count;
  }
  for (int r = 0; r < count; r++) {
    square += (means[(size_t)r * stride] - mean) * (means[(size_t)r * stride] - mean);
  }
  if (count > 1 && !isnan(mean)) {
    driver->broken_mean = mean;
    driver->broken_half = subset_student(count - 1) * sqrt(square / (count * (count - 1.0)));
  }
}

/* `room` is for as many numbers as there are simulations. A limit that was not met in all of them breaks no more often
 * than any does; where the event itself was not, the plain lots alone say what is known. */
static void join(struct odds_answer *answer, const struct part *parts, double *room) {
  int count = answer->simulations;
  size_t probabilities = (size_t)answer->probability_count;
  for (int p = 0; p < answer->probability_count; p++) {
    struct odds_probability *probability = &answer->probabilities[p];
    struct fate_odds plain = fate_odds_of(&probability->counts);
    struct fate_odds *odds = &probability->odds;
    double mean = 0.0;
    for (int r = 0; r < count; r++) {
      room[r] = parts[(size_t)r * probabilities + (size_t)p].broken;
      mean += room[r] / count;
    }
    struct subset_interval broken = subset_interval_of(room, count);
    for (int r = 0; r < count; r++) {
      room[r] = parts[(size_t)r * probabilities + (size_t)p].event;
    }
    struct subset_interval event = subset_interval_of(room, count);
    *odds = plain;
    odds->share = count > 0 ? mean : (double)NAN;
    odds->low = isnan(broken.probability) ? 0.0 : broken.low;
    odds->high = !isnan(event.probability) ? event.high : p == 0 ? plain.high : answer->probabilities[0].odds.high;
  }
}

static bool simulate(struct asking *asking, const struct odds_question *question, struct part *parts, double *means,
                     struct error *error) {
  struct odds_answer *answer = asking->answer;
  size_t probabilities = (size_t)answer->probability_count;
  int inputs = answer->input_count;
  bool good = true;
  while (good && answer->simulations < question->simulations && odds_runs_count(asking->runs) < answer->most) {
    int r = answer->simulations;
    int64_t first = odds_runs_count(asking->runs);
    const uint64_t seeds[2] = {answer->seed, (uint64_t)r};
    const struct subset_question wish = {.inputs = inputs,
                                         .samples = question->samples,
                                         .seed = draw_hash(DRAW_HASH_START, seeds, sizeof seeds),
                                         .context = asking,
                                         .ask = ask};
    struct subset subset;
    good = subset_find(&wish, &subset, error);
    if (good) {
      count_first(answer, asking->runs, first, question->samples);
      look_into(answer, asking->runs, first, &subset, parts + (size_t)r * probabilities,
                means + (size_t)r * probabilities * (size_t)inputs);
      answer->not_reached += !(subset.probability > 0.0);
      answer->stuck += subset.stuck;
      answer->levels = subset.level_count > answer->levels ? subset.level_count : answer->levels;
      answer->simulations++;
    }
    subset_free(&subset);
  }
  return good || odds_runs_stopped(asking->runs);
}

bool odds_rare(struct odds_answer *answer, struct odds_runs *runs, const struct odds_question *question,
               struct error *error) {
  size_t probabilities = (size_t)answer->probability_count;
  size_t inputs = (size_t)answer->input_count;
  size_t simulations = (size_t)question->simulations;
  struct asking asking = {answer, runs, calloc((size_t)CHUNK * inputs, sizeof(double))};
  struct part *parts = calloc(simulations * probabilities, sizeof *parts);
  double *means = calloc(simulations * probabilities * inputs, sizeof *means);
  double *room = calloc(simulations, sizeof *room);
  bool there = asking.values != NULL && parts != NULL && means != NULL && room != NULL;
  bool good = there && simulate(&asking, question, parts, means, error);
  answer->rare = true;
  answer->samples = question->samples;
  answer->complete = !odds_runs_stopped(runs);
  answer->runs = odds_runs_count(runs);
  answer->before = odds_runs_before(runs);
  answer->busy = odds_runs_busy(runs);
  if (good) {
    join(answer, parts, room);
    answer->reached = answer->probabilities[0].odds.high - answer->probabilities[0].odds.low;
    for (size_t d = 0; d < probabilities * inputs; d++) {
      join_driver(&answer->drivers[d], means + d, probabilities * inputs, answer->simulations);
    }
  }
  free(asking.values);
  free(parts);
  free(means);
  free(room);
  return there ? good : error_set(error, ERROR_MEMORY, "no memory for the odds");
}
