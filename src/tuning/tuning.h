/* Settings of a machine that keep all limits of a review and are best by a goal. A file names the review, what may be
 * set and how finely, and the goal; the search (search.h) asks, the cells of the review are run. Layout of the file:
 * docs/tuning.md. */
#ifndef SWASHLOOP_TUNING_TUNING_H
#define SWASHLOOP_TUNING_TUNING_H

#include "journal.h"
#include "probe.h"
#include "search.h"

enum { TUNING_SAME = 8, TUNING_MEASURES = TUNING_SAME + SEARCH_GOALS + 4, TUNING_TRADE = 7 };

/* A margin that a run does not tell, or a limit broken without a value. */
#define TUNING_MISSING (-10.0)

/* What may be set. */
struct tuning_setting {
  const char *path;
  struct parameter_ref ref;
  double *values;  /* SI, of a list; a choice: its index */
  int value_count; /* 0: a range */
  double from;     /* SI, of a range */
  double to;       /* SI */
  double step;     /* SI; 0: any */
  int variable;    /* number of the variable; -1: a list */
  int stride;      /* of a list, within the number of a choice */
  double start;    /* SI, as the review has it, in its first cell */
  bool uneven;     /* its cells have it otherwise */
};

enum tuning_over { TUNING_WORST, TUNING_MEAN };

/* What is made as good as can be. */
struct tuning_goal {
  bool of_margin; /* the worst margin; else a measure */
  int measure;
  int place; /* of the measure among those that are kept */
  bool most; /* the larger the better */
  enum tuning_over over;
  bool *cells; /* [cell] that count */
  char words[160];
};

/* What must stay as it was at the start. */
struct tuning_same {
  int measure;
  int place;
  double within; /* share of the value at the start */
  bool *cells;   /* [cell] that count */
};

/* What all cells said at one set of settings. Everything lies in one block. */
struct tuning_run {
  double *values;   /* [setting], SI; NaN: as the review has it */
  double *verdicts; /* [cell], enum review_verdict */
  double *measures; /* [place][cell] */
  double *margins;  /* [limit of a cell], flat; NaN: not told */
};

struct tuning {
  struct review review;
  bool loaded; /* the review is there */
  struct arena *memory;
  const struct input_file *own_file; /* what was read beside the files of the review */
  const char *source;
  const char *title;
  struct tuning_setting *settings;
  int setting_count;
  struct tuning_goal goals[SEARCH_GOALS];
  int goal_count;
  struct tuning_same same[TUNING_SAME];
  int same_count;
  int measures[TUNING_MEASURES]; /* that are kept of each cell */
  int measure_count;
  double reserve;
  int starts;
  int points;
  double accuracy;
  uint64_t seed;
  int variables;
  int choices;
  double first[SEARCH_VARIABLES];
  double steps[SEARCH_VARIABLES];
  int first_choice;
  int *flat;      /* [flat limit]: which limit of the review it is */
  int *flat_cell; /* and whose */
  int flat_count;
  uint64_t fingerprint;

  /* While it runs: */
  struct probe *probe;
  struct journal journal;
  bool journaled;
  bool (*stop)(void);
  void *context; /* of `heard` */
  void (*heard)(void *context, const struct tuning *tuning);
  struct tuning_run *runs;
  int run_count;
  int run_room;
  int taken_up; /* of them from the journal */
  int start_run;
  int condition_count; /* of the search, once the start is known */
  int *conditions;     /* [condition]: same x cells + cell */
};

/* Read the file and the review that it names. `sets` as for a review. Give it back with tuning_free. */
bool tuning_load(const char *path, const char *const *sets, int set_count, struct tuning *tuning, struct error *error);
void tuning_free(struct tuning *tuning);

/* ---- runs ---- */

/* Make ready: threads, and the journal at `journal_path` (NULL: none). `resume`: go on with what is there. */
bool tuning_begin(struct tuning *tuning, int jobs, const char *journal_path, bool resume, struct error *error);
/* `values` [setting], SI, NaN: as the review has it. The number of the run in *number. */
bool tuning_try(struct tuning *tuning, const double *values, int *number, struct error *error);
void tuning_end(struct tuning *tuning);
/* What its cells measured, [cell], of the measure at a place of those that are kept. */
const double *tuning_measured(const struct tuning *tuning, int run, int place);
/* Settings of a point of the search, SI. */
void tuning_values(const struct tuning *tuning, int choice, const double *at, double *values);
/* Fill a point of the search: goals, margins, conditions. */
void tuning_tell(const struct tuning *tuning, int number, struct search_point *point);
/* Cells that come to this. */
int tuning_cells(const struct tuning *tuning, int run, enum review_verdict verdict);
/* The worst limit of a run, flat; -1: none is told. The margin of it in *margin. */
int tuning_worst(const struct tuning *tuning, int run, double *margin);
/* The least margin of a limit of the review over its cells; NaN: none. `cell` whose. */
double tuning_margin(const struct tuning *tuning, int run, int limit, int *cell);

/* ---- the whole ---- */

/* What one setting did. */
struct tuning_change {
  bool changed;
  int alone; /* run: the start with this setting alone */
  int back;  /* run: what was found, with this setting as at the start */
};

struct tuning_answer {
  struct search_question question;
  struct search search;
  int best;     /* of the search, before settings are rounded; -1: nothing ran */
  int found;    /* of settings that can be made */
  bool settled; /* no step of one setting or of two is better */
  bool keeps;   /* everything asked for */
  struct search_prices prices;
  int priced_at;   /* the point */
  int agreeing;    /* starts that came to the same goal as the best */
  int same_places; /* of them, to the same settings */
  struct tuning_change changes[SEARCH_VARIABLES];
  int trade[TUNING_TRADE]; /* points, of two goals */
  int trade_count;
};

/* Everything: start, search, rounding, what limits cost, what changed, the trade-off. The start alone may be known on
 * failure. Give it back with tuning_answer_free. */
bool tuning_find(struct tuning *tuning, struct tuning_answer *answer, struct error *error);
void tuning_answer_free(struct tuning_answer *answer);
/* The run of a point of the search. */
int tuning_run_of(const struct tuning_answer *answer, int point);
/* What a goal came to at a point, in the quantity of its measure, as it is read (not the other way round). */
double tuning_goal_value(const struct tuning *tuning, const struct tuning_answer *answer, int goal, int point);
/* The same of any run, also of one that the search did not make. */
double tuning_goal_of_run(const struct tuning *tuning, int goal, int number);
enum quantity tuning_goal_quantity(const struct tuning *tuning, int goal);
/* By how much the goal betters (in its own quantity, larger meaning better) when the level of the limit is let out by
 * `share` of it, over all cells where it binds; 0: it does not bind. */
double tuning_price(const struct tuning *tuning, const struct tuning_answer *answer, int limit, double share);
/* The manoeuvre of a cell differs from that at the start: the measure and by which share; 0: it does not. */
double tuning_other_question(const struct tuning *tuning, const struct tuning_answer *answer, int cell, int *measure);

/* The file of the answer. */
bool tuning_write(const char *path, const struct tuning *tuning, const struct tuning_answer *answer,
                  const char *command, struct error *error);

#endif
