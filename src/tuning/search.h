/* The best settings under limits: some are numbers within bounds, 0 to 1 here, some are lists, of which every
 * combination is one choice. What a run says comes from a function of the caller's, so that the search can be held
 * against problems with known answers.
 *
 * The choices race: each is searched a little, the worse half is dropped, the others are searched more. In the one that
 * is left several seeded starts search by linear approximations (COBYLA, Powell 1994, of NLopt), which takes kinks and
 * needs no derivatives. Every run is kept and none is made twice. The order of the runs depends on the question
 * alone. No claim of a global optimum is made: the starts are told one by one. */
#ifndef SWASHLOOP_TUNING_SEARCH_H
#define SWASHLOOP_TUNING_SEARCH_H

#include <stdbool.h>
#include <stdint.h>

#include "error.h"

enum { SEARCH_GOALS = 2, SEARCH_VARIABLES = 16 };

/* One run of everything that is asked. */
struct search_point {
  int choice;
  int tag; /* the caller's own number */
  double at[SEARCH_VARIABLES];
  double goals[SEARCH_GOALS]; /* less is better; NaN: the run does not tell */
  double *margins;            /* of the limits, then of the other conditions: less than 0 is broken */
  double worst;               /* least margin of the limits */
  double reach;               /* least of all, what is to stay taken off: not below 0 where everything is kept */
};

/* What is made as small as can be. */
struct search_goal {
  bool of_margin; /* the worst margin, the other way round: its value is -worst */
  double size;    /* what counts as one */
};

struct search_question {
  int variables;
  int choices;         /* 1 at least */
  int first_choice;    /* where the search begins */
  const double *first; /* [variable], within 0 to 1 */
  const double *steps; /* [variable] between settings that can be made; 0: any */
  int limits;
  int conditions; /* further margins that are no limits */
  double reserve; /* margin that every limit is to keep */
  struct search_goal goals[SEARCH_GOALS];
  int goal_count;
  int starts;
  int points; /* runs that the race and the starts may take together */
  double accuracy;
  uint64_t seed;
  void *context;
  /* Fill goals and margins (a goal of_margin is filled in behind it). */
  bool (*ask)(void *context, struct search_point *point, struct error *error);
};

/* How far a choice went. */
struct search_lane {
  int points; /* runs that it took */
  int best;   /* -1: never asked */
  int round;  /* in which it was dropped; -1: it was not */
};

/* A search from one place. */
struct search_start {
  int first; /* the runs where it began and ended */
  int best;
  int points;
};

struct search {
  const struct search_question *question;
  struct search_point **points;
  int count;
  int room;
  struct search_lane *lanes; /* [choice] */
  struct search_start *starts;
  int start_count;
  int best; /* of the starts, anywhere between the settings that can be made */
};

/* Give it back with search_close, whatever is returned. */
bool search_open(const struct search_question *question, struct search *search, struct error *error);
void search_close(struct search *search);
/* The whole search: race and starts. */
bool search_find(struct search *search, struct error *error);
/* The run at a place, made if it has not been; its number in *index. */
bool search_try(struct search *search, int choice, const double *at, int *index, struct error *error);
/* Is everything kept there? */
bool search_keeps(const struct search *search, int index);
/* Is `a` better than `b` by goal number `goal`? Whoever keeps everything is better than who does not. */
bool search_better(const struct search *search, int goal, int a, int b);
/* Do two ends of starts count as the same, 1 % of the goal or half a per cent of margin apart? */
bool search_agrees(const struct search *search, int goal, int a, int b);

/* A search from one place with a number of runs. */
struct search_order {
  int from;    /* run */
  int goal;    /* -1: to keep everything, whatever the goals; ends where it does */
  bool capped; /* the other goal stays below `cap` */
  double cap;
  double reach; /* first step, of the range */
  int points;
  const bool *held; /* [variable] that stay as they are; NULL: none */
};
/* The best run that was made on the way, `from` included. */
bool search_locally(struct search *search, const struct search_order *order, int *best, struct error *error);

/* The nearest settings that can be made to run `from`, tried; where these are worse, those around it; then steps of one
 * setting or of two, while they are better by the goal, for about `points` runs. `*settled`: no such step is better. */
bool search_settle(struct search *search, int from, int goal, bool walk, int points, int *best, bool *settled,
                   struct error *error);

/* What limits cost at a run: derivatives by differences, and the multipliers that balance them. */
struct search_prices {
  double *multipliers; /* [limit or condition]: how much the goal, less is better, falls as that margin is let down by
                        * one; 0: it does not bind */
  double slope[SEARCH_VARIABLES]; /* of the goal */
  double bound[SEARCH_VARIABLES]; /* what a bound costs; 0 where there is none or it does not bind */
  double unbalanced;              /* what is left of the slope, as a share of it */
};
/* `goal` -1: of what is least kept. Give it back with search_prices_free. */
bool search_price(struct search *search, int at, int goal, double difference, struct search_prices *prices,
                  struct error *error);
void search_prices_free(struct search_prices *prices);

#endif
