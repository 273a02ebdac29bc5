/* A study made ready: what varies, how, and over how many cases. Case k is a pure function of plan and k. */
#ifndef SWASHLOOP_SWEEP_PLAN_H
#define SWASHLOOP_SWEEP_PLAN_H

#include <stdint.h>

#include "axis.h"
#include "measures.h"

/* The numbers of cases that a study may have: 2^32, the length of a Sobol sequence of 32 bits. */
#define PLAN_CASE_LIMIT INT64_C(4294967296)

enum arrangement {
  ARRANGE_GRID,            /* every value of each with every value of all others; the last varies fastest */
  ARRANGE_TOGETHER,        /* the first values, the second values, ... */
  ARRANGE_LATIN_HYPERCUBE, /* each axis cut into as many equal shares as there are cases, one case in each */
  ARRANGE_SOBOL,           /* Sobol points, scrambled by Owen's nested scheme */
  ARRANGE_POINTS,          /* as a table lists them */
  ARRANGE_RANDOM,          /* each case drawn by itself */
  ARRANGE_SALTELLI         /* for Sobol's indices: groups of axes + 2 cases (indices.h) over Sobol points */
};

/* One of the settings that a study compares: what it sets, over the same cases as the others. */
struct setting {
  const char *name;
  struct parameter_ref *refs;
  double *values; /* SI */
  int count;
};

/* One run of a review: a case under a condition. */
struct review_cell {
  struct case_data data;
  const char *case_name;
  const char *condition;
};

/* Which cases keep their time histories. */
struct keep {
  bool all;
  int samples; /* at most about so many of a history, where the case's own spacing gives more; 0: as the case */
  bool failed;
  int64_t *cases; /* rising */
  int case_count;
  struct condition *conditions; /* on measures; one that holds is enough */
  int condition_count;
};

struct plan {
  const char *source; /* path of the study file */
  const char *title;
  const char *text; /* the study file as read */
  struct case_data base;
  enum arrangement arrangement;
  struct axis *axes;
  int axis_count;
  const double *points;  /* [sample][axis], of ARRANGE_POINTS */
  int64_t samples;       /* points of the arrangement */
  int64_t first_samples; /* of a Latin hypercube: of the design that it has grown from; else all */
  struct setting *settings;
  int setting_count;
  struct setting unset; /* every number that some setting sets, with the value it has in the case */
  struct review_cell
      *cells; /* of a review: what runs at every sample, in place of `base`, which is the first of them */
  int cell_count;
  int64_t cases; /* samples x settings or cells, those of a sample one after the other */
  uint64_t seed;
  bool scramble;
  double case_budget; /* s of processor time that a case may take; 0: any */
  int *measures;
  int measure_count;
  struct keep keep;
  uint64_t fingerprint; /* of everything that decides about the numbers */
  struct arena *memory;
};

/* Read a study and the files that it names, from the disk (`carried` NULL) or among those that came along; give it back
 * with plan_free. */
bool plan_load(const char *path, const struct carried_files *carried, struct plan *plan, struct error *error);
/* Of a plan that was not read from a study: the number that plan_load gives it. */
uint64_t plan_fingerprint(const struct plan *plan);
void plan_free(struct plan *plan);

/* The name of its arrangement, as studies write it. */
const char *plan_arrangement(const struct plan *plan, char *buffer, int size);
/* Rows of two studies are alike where these two are the same and the values varied are: of the case without title and
 * limits; of what is varied and which settings are compared. */
uint64_t plan_base_fingerprint(const struct plan *plan);
uint64_t plan_varied_fingerprint(const struct plan *plan);
/* Value of an axis in case k, SI; a choice: its index. */
double plan_value(const struct plan *plan, int64_t k, int axis);
/* The setting of case k; -1 in a study without. */
int plan_setting(const struct plan *plan, int64_t k);
/* The cases that all others are made of: one, or the cells of a review; which of them case k is made of. */
int plan_base_count(const struct plan *plan);
int plan_base(const struct plan *plan, int64_t k);
const struct case_data *plan_base_case(const struct plan *plan, int base);
/* Limits that a case has at the most. */
int plan_limit_count(const struct plan *plan);
/* Put case k into a case_copy of the case that it is made of. Fails when its numbers do not go together. Allocates
 * nothing. */
bool plan_put(const struct plan *plan, int64_t k, struct case_data *own, struct error *error);
/* Case k as a case of its own, with its title and text; case_free it. */
bool plan_case(const struct plan *plan, int64_t k, struct case_data *data, struct error *error);
bool plan_keeps(const struct plan *plan, int64_t k);
/* For people: "vehicle.mass 14000 kg, relief.setting 420 bar". */
void plan_describe(const struct plan *plan, int64_t k, char *buffer, int size);

/* study.c: for plan_load. */
bool study_read(struct plan *plan, const struct carried_files *carried, const char *text, size_t length,
                struct error *error);
/* points.c: axes and points from a table. */
bool points_read(const struct loader *loader, const struct node *file, struct plan *plan);

#endif
