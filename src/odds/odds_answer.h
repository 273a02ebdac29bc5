/* How often limits break when what scatters is drawn by lot: what was asked, what was found, and its file. */
#ifndef SWASHLOOP_ODDS_ODDS_ANSWER_H
#define SWASHLOOP_ODDS_ODDS_ANSWER_H

#include "counting.h"
#include "drivers.h"
#include "odds_runs.h"

/* What is asked. */
struct odds_question {
  uint64_t seed;
  struct counting_rule rule;
  int simulations; /* of rare breaking: how many, else 0; rule.most bounds the runs, no further one begins beyond */
  int samples;     /* of a level of these */
};

/* The probability that a limit breaks, or any of them. */
struct odds_probability {
  const char *sentence; /* "any limit" of all together */
  struct fate_counts counts;
  struct fate_odds odds;
};

/* A part of the distribution of one input, and how the runs in it fared. */
struct odds_part {
  double share_low; /* shares of the distribution */
  double share_high;
  double centre; /* value in the middle of it, SI; of a choice its index */
  struct fate_counts counts;
};

enum { ODDS_PARTS = 10, ODDS_PARTS_MOST = 40, ODDS_LABEL = 160 };

/* One thing that varies. */
struct odds_input {
  const char *path;
  char label[ODDS_LABEL];
  int part_count;
};

struct odds_answer {
  const struct review *review;
  uint64_t seed;
  bool complete;  /* not interrupted before what was asked for was done */
  int64_t runs;   /* points that were run; of a review each in every cell */
  int64_t before; /* of them, made earlier */
  int64_t most;
  double width;          /* wanted; 0: none */
  double reached;        /* of the widest interval */
  int probability_count; /* all limits together, then each */
  struct odds_probability *probabilities;
  int input_count;
  struct odds_input *inputs;
  struct driver *drivers;  /* [probability][input] */
  struct odds_part *parts; /* [probability][input][ODDS_PARTS_MOST] */
  bool rare;               /* by subset simulation: `counts` are of the plain lots of its first levels */
  int simulations;         /* that came to their end */
  int samples;             /* of a level of these */
  int not_reached;         /* of them, those that did not reach any breaking */
  int stuck;               /* of them, those whose margins led nowhere */
  int levels;              /* of the longest */
  double seconds;          /* wall time */
  double busy;             /* s of processors within the runs */
};

/* Prepare an answer about the study of `review`; odds_answer_free gives it back, whatever is returned. */
bool odds_answer_open(struct odds_answer *answer, const struct review *review, const struct odds_question *question,
                      struct error *error);
void odds_answer_free(struct odds_answer *answer);

/* Count plain runs, as many as the question's rule wants. */
bool odds_plain(struct odds_answer *answer, struct odds_runs *runs, const struct odds_question *question,
                struct error *error);

/* Subset simulations, as many as the question wants. */
bool odds_rare(struct odds_answer *answer, struct odds_runs *runs, const struct odds_question *question,
               struct error *error);

/* The value of an input where so much of its distribution lies below, for people. */
const char *odds_value_words(const struct odds_answer *answer, int input, double share, char *buffer, int size);
struct odds_part *odds_parts(const struct odds_answer *answer, int probability, int input);
const struct driver *odds_driver(const struct odds_answer *answer, int probability, int input);
/* The input with the largest index, or the mean that lies farthest off, for this probability; -1: none is known. */
int odds_first_input(const struct odds_answer *answer, int probability);

/* The file (layout: docs/files.md). */
bool odds_write(const char *path, const struct odds_answer *answer, const char *command, struct error *error);

#endif
