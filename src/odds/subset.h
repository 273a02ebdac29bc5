/* Subset simulation of a rare event (S. K. Au and J. L. Beck, Probabilistic Engineering Mechanics 16 (2001) 263-277,
 * doi 10.1016/S0266-8920(01)00019-4; from memory): the event is reached through levels of a margin, each of which a
 * tenth of the samples of the level before lies beyond; samples beyond a level come from Markov chains by the modified
 * Metropolis rule, component by component in the space of independent standard normal inputs. The probability is the
 * product of the shares. Everything is a function of question and answers: random numbers come by counters.
 *
 * One simulation says nothing of its own error that could be relied on (samples of a chain, and levels, depend on each
 * other); subset_interval takes it from independent repetitions. Any function can be tried: only margins are asked
 * for. */
#ifndef SWASHLOOP_ODDS_SUBSET_H
#define SWASHLOOP_ODDS_SUBSET_H

#include <stdbool.h>
#include <stdint.h>

#include "error.h"

enum { SUBSET_LEVELS_MOST = 12, SUBSET_PART = 10 }; /* one of ten lies beyond a level */

struct subset_question {
  int inputs;
  int samples; /* of each level; a multiple of SUBSET_PART */
  uint64_t seed;
  void *context;
  /* Margins of `count` points [point][input] of standard normal numbers; less than 0: the event. False ends it all. */
  bool (*ask)(void *context, const double *points, int count, double *margins, struct error *error);
};

struct subset_level {
  double margin;   /* that its samples lie beyond; of the first INFINITY */
  double accepted; /* share of candidates that the chains took; of the first 1 */
  int runs;
};

struct subset {
  double probability; /* 0: the event was not reached */
  struct subset_level levels[SUBSET_LEVELS_MOST];
  int level_count;
  bool stuck; /* margins do not differ: nothing leads towards the event */
  int64_t runs;
  int in_event;    /* samples of the last level that lie in the event: the first of these */
  double *points;  /* [sample][input], of the last level, by rising margin */
  int64_t *origin; /* of each, the number of its run among those that were asked for, from 0 */
};

/* Give it back with subset_free, whatever is returned. */
bool subset_find(const struct subset_question *question, struct subset *subset, struct error *error);
void subset_free(struct subset *subset);

struct subset_interval {
  double probability; /* mean of the repetitions; NaN: of less than two, or one did not reach the event */
  double low;         /* of 95 % */
  double high;
};

/* From the probabilities that independent repetitions gave: mean, and Student's interval of their logarithms' mean. */
struct subset_interval subset_interval_of(const double *probabilities, int repetitions);
/* The point that a variable of Student's distribution stays below with 97.5 %. */
double subset_student(int freedom);

#endif
