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
  ARRANGE_POINTS           /* as a table lists them */
};

/* One of the settings that a study compares: what it sets, over the same cases as the others. */
struct setting {
  const char *name;
  struct parameter_ref *refs;
  double *values; /* SI */
  int count;
};

/* Which cases keep their time histories. */
struct keep {
  bool all;
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
  const double *points; /* [sample][axis], of ARRANGE_POINTS */
  int64_t samples;      /* points of the arrangement */
  struct setting *settings;
  int setting_count;
  struct setting unset; /* every number that some setting sets, with the value it has in the case */
  int64_t cases;        /* samples x settings, the settings of a sample one after the other */
  uint64_t seed;
  bool scramble;
  int *measures;
  int measure_count;
  struct keep keep;
  uint64_t fingerprint; /* of everything that decides about the numbers */
  struct arena *memory;
};

/* Read a study; give it back with plan_free. */
bool plan_load(const char *path, struct plan *plan, struct error *error);
void plan_free(struct plan *plan);

/* Value of an axis in case k, SI; a choice: its index. */
double plan_value(const struct plan *plan, int64_t k, int axis);
/* The setting of case k; -1 in a study without. */
int plan_setting(const struct plan *plan, int64_t k);
/* Put case k into a case_copy of plan->base. Fails when its numbers do not go together. Allocates nothing. */
bool plan_put(const struct plan *plan, int64_t k, struct case_data *own, struct error *error);
/* Case k as a case of its own, with its title and text; case_free it. */
bool plan_case(const struct plan *plan, int64_t k, struct case_data *data, struct error *error);
bool plan_keeps(const struct plan *plan, int64_t k);
/* For people: "vehicle.mass 14000 kg, relief.setting 420 bar". */
void plan_describe(const struct plan *plan, int64_t k, char *buffer, int size);

/* study.c: for plan_load. */
bool study_read(struct plan *plan, const char *text, size_t length, struct error *error);
/* points.c: axes and points from a table. */
bool points_read(const struct loader *loader, const struct node *file, struct plan *plan);

#endif
