/* A review: all limits of several cases under several conditions, the one question that the commands review and
 * envelope put. A file names the cases and the conditions (sets of parameters with a name); each pair is a cell, a case
 * of its own, and what runs is a plan of the sweep engine. Layout of the file: docs/review.md. */
#ifndef SWASHLOOP_REVIEW_REVIEW_H
#define SWASHLOOP_REVIEW_REVIEW_H

#include "plan.h"
#include "row.h"

/* One sentence that must hold, in however many cells. */
struct review_limit {
  const char *sentence;
  enum quantity quantity;
  enum reference reference;
  double level; /* SI */
  bool above;   /* must be at least `level` */
};

struct review {
  struct plan plan; /* its cells: those of the first case under each condition, then those of the second ... */
  const char **cases;
  int case_count;
  const char **conditions;
  int condition_count;
  struct review_limit *limits; /* each sentence once, in order of first mention */
  int limit_count;
  int *places; /* [cell][plan_limit_count]: which of them the cell's limit is; -1 behind its last */
};

/* Read the file. `sets` (PATH=VALUE) stand upon what the file sets for all, below what cases and conditions set. */
bool review_load(const char *path, const char *const *sets, int set_count, struct review *review, struct error *error);
/* One case and its limits alone, as a review of one cell. */
bool review_of_case(const char *path, const char *const *sets, int set_count, struct review *review,
                    struct error *error);
/* The case of a study with its limits, as a review without cells whose plan varies what the study does. */
bool review_of_study(const char *path, const char *const *sets, int set_count, struct review *review,
                     struct error *error);
/* Is the file a review? Told by its key `cases`; false too where it cannot be read. */
bool review_is(const char *path);
void review_free(struct review *review);

/* What a cell comes to. Only the first is a pass. */
enum review_verdict { REVIEW_KEPT, REVIEW_BROKEN, REVIEW_NOT_JUDGED, REVIEW_NO_LIMITS, REVIEW_FAILED, REVIEW_COUNT };
extern const char *const review_verdict_names[REVIEW_COUNT]; /* "kept", "broken", "not judged", "no limits", "failed" */

/* What a run says about its limits. */
struct judgement {
  enum review_verdict verdict;
  int limit;     /* of the review: the one with the least margin, of those broken if any is; -1: none has a margin */
  double margin; /* of it, see limit_margin; -INFINITY: broken and without a value */
};

/* Judge a row of the plan. `margins`, if not NULL, gets the margin of each limit of the review; NaN: not in this cell,
 * or not judged. */
struct judgement review_judge(const struct review *review, const struct row *row, double *margins);

#endif
