/* Maps of a machine in steady drive. Every function fills charts, the first of them the answer itself. */
#ifndef SWASHLOOP_ANALYSIS_STEADY_H
#define SWASHLOOP_ANALYSIS_STEADY_H

#include "chart.h"
#include "machine.h"

struct steady_options {
  double allowed_engine_speed; /* rad/s; NaN: the case's overspeed_alarm */
  double hot;                  /* K, highest loop temperature */
  double lowest_speed;         /* m/s; NaN: chosen from the machine */
  double highest_speed;        /* m/s */
  int speed_count;
  double lowest_pull;  /* of the efficiency map, N; NaN: chosen */
  double highest_pull; /* N */
  int pull_count;
};

enum { STEADY_WORDS = 8 };

struct steady_answer {
  struct chart charts[3];
  int chart_count;
  char words[STEADY_WORDS][256]; /* what to say below the table */
  int word_count;
};

/* The most pull or climb (`freed`) at one speed, with the inputs of `from` but the pedal. */
struct steady_most {
  bool found;
  struct machine_point at;
  struct machine_point inner; /* a balance with less of it, on the side of level drive */
  unsigned bounds;
  const char *limit; /* what ends it, in words */
};
/* Sets `most` for speed, m/s; `found` false: there is no such balance. */
void steady_most(struct machine *machine, double speed, enum machine_input freed, const struct machine_point *from,
                 struct steady_most *most);

/* The same of a scan that is made: the largest value of its freed input (sign 1), or the smallest (-1). */
struct scan;
void steady_extreme(struct machine *machine, const struct scan *scan, double sign, struct steady_most *most);

/* Give back the charts of an answer. */
void steady_answer_free(struct steady_answer *answer);
/* Add a line of words. */
void steady_say(struct steady_answer *answer, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Fastest steady speed on the level with full pedal and nothing to pull; NaN if there is none. */
double steady_top_speed(struct machine *machine);
/* Spread the speeds of the options over the machine's range, the last at `factor` times its top speed. */
bool steady_speeds(struct machine *machine, const struct steady_options *options, double factor, double *speeds,
                   struct error *error);

/* The maps of `steady --map`, each over speed: downgrade held, pull, grade climbed, efficiency (docs/steady.md). */
bool steady_hold_back(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                      struct error *error);
bool steady_tractive_effort(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                            struct error *error);
bool steady_grade_ability(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                          struct error *error);
bool steady_efficiency(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                       struct error *error);

/* One point, of a warm machine with its oil hot: two of speed, grade, pull and pedal given (NaN: not), see
 * docs/steady.md. */
struct steady_given {
  double speed; /* m/s */
  double grade; /* tangent, uphill positive */
  double pull;  /* N, backward positive */
  double pedal; /* -1 to 1 */
};
/* What a balance answers. */
struct steady_question {
  enum machine_input asked; /* the input whose value is given: pedal, grade or pull */
  enum machine_input freed; /* where a speed is held too: grade or pull, which goes with the pedal */
  bool speed_sought;
  bool thorough; /* seek from wheels that stand, or spin, as well: takes longer */
};

/* Other balances that answer the same, found along the slip of the driven wheels. */
enum { STEADY_OTHERS = 6 };
struct steady_others {
  int count;
  struct machine_point at[STEADY_OTHERS];
  double growth[STEADY_OTHERS]; /* 1/s, see steady_growth */
};
/* Seeks them; `others` gets what was found, perhaps nothing. */
void steady_others(struct machine *machine, const struct steady_question *question, const struct machine_point *point,
                   struct steady_others *others);
/* How fast a small departure from a balance grows, the fastest of its modes, 1/s; below zero: it dies out. NaN where
 * that cannot be told. */
double steady_growth(struct machine *machine, const struct machine_point *point);

/* The point itself: state and inputs. */
bool steady_find(struct machine *machine, const struct steady_given *given, struct machine_point *point,
                 struct error *error);
bool steady_point(struct machine *machine, const struct steady_given *given, struct steady_answer *answer,
                  struct error *error);

#endif
