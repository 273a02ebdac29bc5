/* What a review came to: written from the journal of its sweep, read back from its file (layout: docs/files.md). What
 * is printed, drawn and compared comes from the file, so that an old one can be asked the same. */
#ifndef SWASHLOOP_REVIEW_REVIEW_ANSWER_H
#define SWASHLOOP_REVIEW_REVIEW_ANSWER_H

#include "journal.h"
#include "review.h"

/* A case under a condition. */
struct answer_cell {
  enum review_verdict verdict;
  const char *status;  /* of the run */
  int limit;           /* the worst; -1: none */
  double margin;       /* of it; NaN without, -INFINITY: broken without a value */
  const char *message; /* why it stopped, failed, is not judged or not vouched for; "" */
  bool doubtful;       /* its extremes are not vouched for */
};

/* One sentence over all cells. */
struct answer_limit {
  const char *sentence;
  enum quantity quantity;
  double level;                  /* SI */
  double *margins;               /* [cell]; NaN: it is not a limit of this cell, or not judged */
  double *worst;                 /* [cell], SI */
  enum review_verdict *verdicts; /* [cell]; REVIEW_NO_LIMITS: not in this cell */
  int place;                     /* the cell that it is worst in; -1: it has no margin anywhere */
  int counts[REVIEW_COUNT];      /* cells */
};

struct review_answer {
  const char *title;
  const char **cases;
  int case_count;
  const char **conditions;
  int condition_count;
  struct answer_cell *cells; /* [case][condition] */
  int cell_count;
  struct answer_limit *limits;
  int limit_count;
  int counts[REVIEW_COUNT]; /* cells */
  int stopped;              /* runs that an event ended */
  int doubtful;             /* cells that keep every limit and are not vouched for */
  void *memory;
};

/* The output of a review's sweep (sweep_order.write). `runs`: were the histories kept? */
bool review_answer_write(const char *path, const struct review *review, const char *command, bool runs,
                         const struct journal_head *head, const struct journal *journal, int64_t *failed,
                         struct error *error);
/* Read the file; give it back with review_answer_free. */
bool review_answer_read(const char *path, struct review_answer *answer, struct error *error);
void review_answer_free(struct review_answer *answer);

/* What became of a cell since an older review. */
enum change {
  CHANGE_NONE,
  CHANGE_BETTER,
  CHANGE_WORSE,
  CHANGE_MENDED, /* it was no pass and is one */
  CHANGE_BROKEN, /* it was not broken and is */
  CHANGE_LOST,   /* it was established, and is not */
  CHANGE_NEW,    /* the older one has no such cell */
  CHANGE_COUNT
};
extern const char *const change_names[CHANGE_COUNT];

/* A margin that moved by no more counts as unchanged. */
#define CHANGE_LEAST 0.005

/* The cell of the older review with the names of cell `index`; -1: none. */
int review_answer_same_cell(const struct review_answer *answer, int index, const struct review_answer *older);
/* What became of cell `index`. */
enum change review_answer_change(const struct review_answer *answer, int index, const struct review_answer *older);

#endif
