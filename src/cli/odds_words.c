#include "odds_words.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>

#include "commands.h"
#include "terminal.h"
#include "text.h"

enum { SHOWN = 32 };

/* "1.2 %", "3.4e-05": a probability. */
static const char *show(double probability, char buffer[SHOWN]) {
  if (probability >= 1e-3 || probability == 0.0) {
    (void)snprintf(buffer, SHOWN, "%.3g %%", 100.0 * probability);
  } else {
    (void)snprintf(buffer, SHOWN, "%.2g", probability);
  }
  return buffer;
}

/* ---- text ---- */

static void print_probability(FILE *out, const struct paint *paint, const struct odds_probability *probability,
                              bool rare) {
  const struct fate_odds *odds = &probability->odds;
  char share[SHOWN];
  char low[SHOWN];
  char high[SHOWN];
  (void)fprintf(out, "  %-44s ", shown(probability->sentence).text);
  if (rare && !(odds->share > 0.0)) {
    (void)fprintf(out, "%sbelow %s%s: not met", paint->strong, show(odds->high, high), paint->plain);
  } else if (!rare && odds->broken == 0) {
    (void)fprintf(out, "%sbelow %s%s: none of %" PRId64 " broke it", paint->strong, show(odds->high, high),
                  paint->plain, odds->runs);
    if (odds->unsure > 0) {
      (void)fprintf(out, ", %" PRId64 " without a verdict", odds->unsure);
    }
  } else if (rare) {
    (void)fprintf(out, "%s%s%s, %s to %s", paint->strong, show(odds->share, share), paint->plain, show(odds->low, low),
                  show(odds->high, high));
  } else if (odds->unsure > 0) {
    double runs = (double)odds->runs;
    char upper[SHOWN];
    (void)fprintf(out, "%s%s to %s%s, %s to %s: %" PRId64 " of %" PRId64 ", %" PRId64 " without a verdict",
                  paint->strong, show((double)odds->broken / runs, share),
                  show((double)(odds->broken + odds->unsure) / runs, upper), paint->plain, show(odds->low, low),
                  show(odds->high, high), odds->broken, odds->runs, odds->unsure);
  } else {
    (void)fprintf(out, "%s%s%s, %s to %s: %" PRId64 " of %" PRId64, paint->strong, show(odds->share, share),
                  paint->plain, show(odds->low, low), show(odds->high, high), odds->broken, odds->runs);
  }
  (void)fputc('\n', out);
}

/* Runs without a verdict, counted apart, and what they may do to the probability. */
static void print_unsure(FILE *out, const struct odds_answer *answer) {
  const struct odds_probability *any = &answer->probabilities[0];
  char low[SHOWN];
  char high[SHOWN];
  if (any->odds.unsure == 0) {
    return;
  }
  (void)fprintf(out, "Without a verdict: %" PRId64 " of %" PRId64 " runs (", any->odds.unsure, any->odds.runs);
  const char *comma = "";
  for (int f = 0; f < FATE_COUNT; f++) {
    if (f != FATE_KEPT && f != FATE_BROKEN && any->counts.of[f] > 0) {
      (void)fprintf(out, "%s%" PRId64 " %s", comma, any->counts.of[f], fate_names[f]);
      comma = ", ";
    }
  }
  double runs = (double)any->odds.runs;
  (void)fprintf(
      out,
      "). They count as kept in the lower ends and as broken in the upper ends: %s of the runs break a limit if "
      "none of these does, %s if all do.\n",
      show((double)any->odds.broken / runs, low), show((double)(any->odds.broken + any->odds.unsure) / runs, high));
}

static void print_rare(FILE *out, const struct odds_answer *answer) {
  if (!answer->rare) {
    return;
  }
  (void)fprintf(out, "%d subset simulations of %d runs a level, %d levels at most\n", answer->simulations,
                answer->samples, answer->levels);
  if (answer->probabilities[0].odds.unsure > 0) {
    (void)fprintf(out,
                  "The counts above are of the plain lots of the first levels; on the way to the event a run without "
                  "a verdict counts as broken in the upper ends, too.\n");
  }
  if (answer->not_reached > 0) {
    (void)fprintf(
        out,
        "%d of the simulations reached no breaking%s: no interval by their scatter; the upper end is what the "
        "plain lots of the first levels say.\n",
        answer->not_reached, answer->stuck > 0 ? " (margins that do not differ lead nowhere)" : "");
  }
}

struct ranked {
  int input;
  double weight;
};

static int by_weight(const void *a_, const void *b_) {
  const struct ranked *a = a_;
  const struct ranked *b = b_;
  return a->weight != b->weight ? (a->weight < b->weight) - (a->weight > b->weight) : a->input - b->input;
}

/* Inputs in the order of what they do; the caller frees. */
static struct ranked *rank(const struct odds_answer *answer, int probability) {
  struct ranked *ranked = calloc((size_t)answer->input_count + 1, sizeof *ranked);
  for (int i = 0; ranked != NULL && i < answer->input_count; i++) {
    const struct driver *driver = odds_driver(answer, probability, i);
    double weight = !isnan(driver->index) ? driver->index : fabs(driver->broken_mean - 0.5);
    ranked[i] = (struct ranked){i, isnan(weight) ? -INFINITY : weight};
  }
  if (ranked != NULL) {
    qsort(ranked, (size_t)answer->input_count, sizeof *ranked, by_weight);
  }
  return ranked;
}

static void print_driver(FILE *out, const struct odds_answer *answer, int probability, int input) {
  const struct driver *driver = odds_driver(answer, probability, input);
  char value[96];
  (void)fprintf(out, "  %-44s ", shown(answer->inputs[input].label).text);
  if (!isnan(driver->index)) {
    (void)fprintf(out, "%5.1f %% (%.1f to %.1f)", 100.0 * driver->index, 100.0 * driver->index_low,
                  100.0 * driver->index_high);
  }
  (void)fprintf(out, "%sbroken at %s: %.1f +- %.1f %% of its distribution lies below\n",
                isnan(driver->index) ? "" : "; ", odds_value_words(answer, input, driver->broken_mean, value, 96),
                100.0 * driver->broken_mean, 100.0 * driver->broken_half);
}

static void print_drivers(FILE *out, const struct odds_answer *answer) {
  const struct fate_odds *odds = &answer->probabilities[0].odds;
  const struct driver *first = answer->input_count > 0 ? odds_driver(answer, 0, 0) : NULL;
  if (answer->rare && (first == NULL || isnan(first->broken_mean))) {
    (void)fprintf(out, "Which input drives the breaking is not told: not every simulation met one\n");
    return;
  }
  if (first == NULL || isnan(first->broken_mean)) {
    (void)fprintf(out,
                  "Which input drives the breaking is not told: it takes %d runs that break and as many that keep\n",
                  (int)DRIVER_MEAN_LEAST);
    return;
  }
  (void)fprintf(out, "What drives the breaking of any limit%s\n",
                isnan(first->index) ? ": where the mean run that breaks lies"
                                    : ": first-order index (95 %), and where the mean run that breaks lies");
  struct ranked *ranked = rank(answer, 0);
  for (int i = 0; ranked != NULL && i < answer->input_count; i++) {
    print_driver(out, answer, 0, ranked[i].input);
  }
  if (isnan(first->index) && !answer->rare && odds->runs > 0) {
    (void)fprintf(out, "  (an index takes %d runs that break and as many that keep)\n", (int)DRIVER_INDEX_LEAST);
  }
  free(ranked);
}

/* Which input stands first for each limit by itself: limits that break on opposite sides hide each other above. */
static void print_first_inputs(FILE *out, const struct odds_answer *answer) {
  for (int p = 1; answer->probability_count > 2 && p < answer->probability_count; p++) {
    int first = odds_first_input(answer, p);
    if (first >= 0) {
      (void)fprintf(out, "%s, first of all by\n", shown(answer->probabilities[p].sentence).text);
      print_driver(out, answer, p, first);
    }
  }
}

static void print_allowed(FILE *out, const struct paint *paint, const struct odds_answer *answer, double allowed) {
  const struct fate_odds *odds = &answer->probabilities[0].odds;
  char text[SHOWN];
  if (isnan(allowed)) {
    return;
  }
  int code = odds_exit(answer, allowed);
  bool within = odds->high <= allowed;
  (void)fprintf(out, "%s%s%s: allowed is %s\n",
                code == EXIT_LIMIT_BROKEN ? paint->bad
                : within                  ? paint->good
                                          : "",
                code == EXIT_LIMIT_BROKEN ? "Limits break more often than allowed"
                : within                  ? "Limits break no more often than allowed"
                                          : "Whether limits break more often than allowed is not established",
                paint->plain, show(allowed, text));
}

void odds_print(FILE *out, const struct odds_answer *answer, double allowed) {
  struct paint paint = paint_for(out);
  char text[SHOWN];
  char other[SHOWN];
  (void)fprintf(out, "%s\n", shown(answer->review->plan.title).text);
  if (!answer->complete) {
    (void)fprintf(out, "%sinterrupted%s: what follows is of the first %" PRId64 " runs\n", paint.bad, paint.plain,
                  answer->runs);
  }
  (void)fprintf(out, "Probability that a limit breaks, with its interval of 95 %% (%s)\n",
                answer->rare ? "scatter of independent subset simulations" : "Wilson");
  for (int p = 0; p < answer->probability_count; p++) {
    print_probability(out, &paint, &answer->probabilities[p], answer->rare);
  }
  print_unsure(out, answer);
  print_rare(out, answer);
  print_allowed(out, &paint, answer, allowed);
  print_drivers(out, answer);
  print_first_inputs(out, answer);
  if (answer->width > 0.0) {
    bool reached = answer->reached <= answer->width;
    (void)fprintf(out, "Wanted: intervals no wider than %s; %s: the widest is %s%s\n", show(answer->width, text),
                  reached ? "reached" : "not reached", show(answer->reached, other),
                  reached || !answer->complete ? "" : ", the largest number of runs was made");
  }
}

int odds_exit(const struct odds_answer *answer, double allowed) {
  const struct odds_probability *any = &answer->probabilities[0];
  if (!isnan(allowed) && any->odds.low > allowed) {
    return EXIT_LIMIT_BROKEN;
  }
  if (any->odds.unsure == any->odds.runs || (!isnan(allowed) && any->odds.high > allowed)) {
    return EXIT_LIMIT_NOT_JUDGED;
  }
  return any->counts.of[FATE_FAILED] > 0 ? EXIT_CASES_FAILED : EXIT_DONE;
}

/* ---- JSON ---- */

static void probability_json(struct json *json, const struct odds_probability *probability) {
  json_begin_object(json, NULL);
  json_text(json, "limit", probability->sentence);
  json_number(json, "probability", probability->odds.share);
  json_number(json, "low", probability->odds.low);
  json_number(json, "high", probability->odds.high);
  json_integer(json, "runs", (long)probability->odds.runs);
  json_integer(json, "broken", (long)probability->counts.of[FATE_BROKEN]);
  json_integer(json, "kept", (long)probability->counts.of[FATE_KEPT]);
  json_integer(json, "not_vouched", (long)probability->counts.of[FATE_NOT_VOUCHED]);
  json_integer(json, "not_judged", (long)probability->counts.of[FATE_NOT_JUDGED]);
  json_integer(json, "stopped", (long)probability->counts.of[FATE_STOPPED]);
  json_integer(json, "unfinished", (long)probability->counts.of[FATE_UNFINISHED]);
  json_integer(json, "failed", (long)probability->counts.of[FATE_FAILED]);
  json_end_object(json);
}

static void driver_json(struct json *json, const struct odds_answer *answer, int probability, int input) {
  const struct driver *driver = odds_driver(answer, probability, input);
  char value[96];
  json_begin_object(json, NULL);
  json_text(json, "of", answer->probabilities[probability].sentence);
  json_text(json, "input", answer->inputs[input].path);
  json_text(json, "label", answer->inputs[input].label);
  json_number(json, "first_order", driver->index);
  json_number(json, "first_order_low", driver->index_low);
  json_number(json, "first_order_high", driver->index_high);
  json_number(json, "broken_mean", driver->broken_mean);
  json_number(json, "broken_mean_half_width", driver->broken_half);
  json_text(json, "broken_mean_value",
            isnan(driver->broken_mean) ? NULL : odds_value_words(answer, input, driver->broken_mean, value, 96));
  json_number(json, "kept_mean", driver->kept_mean);
  json_number(json, "kept_mean_half_width", driver->kept_half);
  json_end_object(json);
}

void odds_json(struct json *json, const struct odds_answer *answer, double allowed) {
  json_text(json, "title", answer->review->plan.title);
  json_text(json, "method", answer->rare ? "subset simulation" : "counting");
  if (answer->rare) {
    json_integer(json, "simulations", answer->simulations);
    json_integer(json, "simulations_that_reached_no_breaking", answer->not_reached);
    json_integer(json, "samples_of_a_level", answer->samples);
    json_integer(json, "levels_at_most", answer->levels);
  }
  json_text(json, "status", answer->complete ? "complete" : "interrupted");
  json_integer(json, "seed", (long)answer->seed);
  json_integer(json, "runs", (long)answer->runs);
  json_integer(json, "runs_at_most", (long)answer->most);
  json_number(json, "wanted_width", answer->width > 0.0 ? answer->width : (double)NAN);
  json_number(json, "reached_width", answer->reached);
  json_number(json, "allowed", allowed);
  json_begin_list(json, "probabilities");
  for (int p = 0; p < answer->probability_count; p++) {
    probability_json(json, &answer->probabilities[p]);
  }
  json_end_list(json);
  json_begin_list(json, "drivers");
  for (int p = 0; p < answer->probability_count; p++) {
    for (int i = 0; i < answer->input_count; i++) {
      driver_json(json, answer, p, i);
    }
  }
  json_end_list(json);
}
