#include "plan_plausibility.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "effect.h"

enum { CASES_LOOKED_AT = 64, VARIED_LIMIT = 256 };

/* One parameter that varies, over axes and settings. */
struct varied {
  const struct parameter_ref *ref;
  bool acts; /* in one of the cases looked at */
};

struct survey {
  const struct plan *plan;
  struct varied varied[VARIED_LIMIT];
  int varied_count;
  struct warnings *warnings;
  struct warnings own; /* of one case */
};

static void add_varied(struct survey *survey, const struct parameter_ref *ref) {
  bool names_one =
      ref->kind == REF_FIELD || ref->kind == REF_ARGUMENT || ref->kind == REF_VALUE || ref->kind == REF_CELL;
  for (int i = 0; names_one && i < survey->varied_count; i++) {
    const struct parameter *known = &survey->varied[i].ref->parameter;
    names_one = known->field != ref->parameter.field || known->group != ref->parameter.group;
  }
  if (names_one && survey->varied_count < VARIED_LIMIT) {
    survey->varied[survey->varied_count++] = (struct varied){ref, false};
  }
}

static bool is_varied(const struct survey *survey, const struct given *given) {
  for (int i = 0; i < survey->varied_count; i++) {
    const struct parameter *varied = &survey->varied[i].ref->parameter;
    if (varied->field == given->field && varied->group == given->group) {
      return true;
    }
  }
  return false;
}

static bool told(const struct warnings *warnings, const char *name) {
  for (int i = 0; i < warnings->count; i++) {
    if (strcmp(warnings->at[i].name, name) == 0) {
      return true;
    }
  }
  return false;
}

/* Each rule that speaks of this case and has not spoken yet. */
static void look_at(struct survey *survey, int64_t k, const struct case_data *own) {
  for (int i = 0; i < survey->varied_count; i++) {
    char why[160];
    survey->varied[i].acts =
        survey->varied[i].acts || case_acts(own, survey->varied[i].ref->parameter, why, (int)sizeof why);
  }
  plausibility_check(own, &survey->own);
  for (int i = 0; i < survey->own.count; i++) {
    const struct warning *found = &survey->own.at[i];
    if (strcmp(found->name, "no_effect") == 0 || told(survey->warnings, found->name)) {
      continue;
    }
    struct warning *warning = plausibility_add(survey->warnings, found->name, found->source);
    if (warning != NULL) {
      (void)snprintf(warning->words, sizeof warning->words, "in case %" PRId64 ", and maybe others: %.330s", k,
                     found->words);
    }
  }
}

static void tell_idle(const struct survey *survey, const struct case_data *base) {
  for (int i = 0; i < survey->varied_count; i++) {
    const struct parameter *parameter = &survey->varied[i].ref->parameter;
    if (!survey->varied[i].acts) {
      plausibility_no_effect(base, parameter->group, parameter->field, "is varied", survey->warnings);
    }
  }
}

/* A parameter that is set and varied is told as varied. */
static void drop_varied(struct survey *survey) {
  const struct warnings all = *survey->warnings;
  survey->warnings->count = 0;
  for (int i = 0; i < all.count; i++) {
    bool drop = false;
    for (const struct given *given = survey->plan->base.given; given != NULL && !drop; given = given->next) {
      drop = all.at[i].file == given->file && all.at[i].line == given->line && all.at[i].column == given->column &&
             is_varied(survey, given);
    }
    if (!drop) {
      survey->warnings->at[survey->warnings->count++] = all.at[i];
    }
  }
}

bool plan_warnings(const struct plan *plan, struct warnings *warnings, struct error *error) {
  struct survey *survey = calloc(1, sizeof *survey);
  struct case_data own;
  if (survey == NULL || !case_copy(&plan->base, &own, error)) {
    free(survey);
    return error_set(error, ERROR_MEMORY, "no memory to look at the study");
  }
  survey->plan = plan;
  survey->warnings = warnings;
  for (int a = 0; a < plan->axis_count; a++) {
    for (int r = 0; r < plan->axes[a].ref_count; r++) {
      add_varied(survey, &plan->axes[a].refs[r]);
    }
  }
  for (int i = 0; i < plan->unset.count; i++) {
    add_varied(survey, &plan->unset.refs[i]);
  }
  plausibility_check(&plan->base, warnings);
  drop_varied(survey);
  int64_t looks = plan->cases < CASES_LOOKED_AT ? plan->cases : CASES_LOOKED_AT;
  for (int64_t i = 0; i < looks; i++) {
    int64_t k = (int64_t)((double)plan->cases * ((double)i + 0.5) / (double)looks);
    struct error refused;
    if (plan_put(plan, k, &own, &refused)) {
      look_at(survey, k, &own);
    }
  }
  tell_idle(survey, &plan->base);
  case_free(&own);
  free(survey);
  return true;
}
