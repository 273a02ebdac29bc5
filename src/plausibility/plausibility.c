#include "plausibility.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "effect.h"
#include "machine_rules.h"
#include "units.h"

struct warning *plausibility_add(struct warnings *warnings, const char *name, const char *source) {
  if (warnings->count == WARNING_LIMIT) {
    warnings->left_out++;
    return NULL;
  }
  struct warning *warning = &warnings->at[warnings->count++];
  *warning = (struct warning){.name = name, .source = source};
  return warning;
}

void warn(struct warnings *warnings, const char *name, const char *source, const char *sentence,
          const struct told *numbers, int count) {
  struct warning *warning = plausibility_add(warnings, name, source);
  size_t used = 0;
  int next = 0;
  for (const char *c = sentence; warning != NULL && *c != '\0' && used + 1 < WARNING_WORDS; c++) {
    char shown[64];
    if (c[0] == '{' && c[1] == '}' && next < count) {
      units_show(numbers[next].quantity, numbers[next].value, shown, (int)sizeof shown);
      size_t length = strlen(shown);
      length = length < WARNING_WORDS - 1 - used ? length : WARNING_WORDS - 1 - used;
      memcpy(warning->words + used, shown, length);
      used += length;
      next++;
      c++;
    } else {
      warning->words[used++] = *c;
    }
  }
}

void plausibility_no_effect(const struct case_data *data, const struct group *group, const struct field *field,
                            const char *who, struct warnings *warnings) {
  char why[160];
  if (case_acts(data, (struct parameter){group, field}, why, (int)sizeof why)) {
    return;
  }
  struct warning *warning = plausibility_add(warnings, "no_effect", "unit_effect holds it against runs");
  if (warning != NULL) {
    (void)snprintf(warning->words, sizeof warning->words, "%s.%s %s and can have no effect: %s", group->name,
                   field->name, who, why);
  }
}

/* A case that sets every parameter there is was written by `check --resolved`: it means nothing by it. */
static bool sets_everything(const struct case_data *data) {
  int all = simulation_group.field_count;
  for (int g = 0; g < data->plant->group_count; g++) {
    all += data->plant->groups[g].field_count;
  }
  for (const struct given *given = data->given; given != NULL; given = given->next) {
    all--;
  }
  return all == 0;
}

/* What the case itself sets; a machine file may hold the data of laws that a case does not take. */
static void idle_settings(const struct case_data *data, struct warnings *warnings) {
  if (sets_everything(data)) {
    return;
  }
  for (const struct given *given = data->given; given != NULL; given = given->next) {
    int before = warnings->count;
    plausibility_no_effect(data, given->group, given->field, "is set", warnings);
    if (warnings->count > before) {
      warnings->at[before].file = given->file;
      warnings->at[before].line = given->line;
      warnings->at[before].column = given->column;
    }
  }
}

/* What a table's file does not say of itself: a guess may be wrong. */
static void guessed_files(const struct case_data *data, struct warnings *warnings) {
  for (const struct input_file *file = data->inputs; file != NULL; file = file->next) {
    struct warning *warning =
        file->guessed != NULL ? plausibility_add(warnings, "guessed", "the file does not say it itself") : NULL;
    if (warning != NULL) {
      (void)snprintf(warning->words, sizeof warning->words, "%s: %s", file->path, file->guessed);
    }
  }
}

void plausibility_check(const struct case_data *data, struct warnings *warnings) {
  *warnings = (struct warnings){0};
  guessed_files(data, warnings);
  idle_settings(data, warnings);
  machine_rules(data, warnings);
  duty_rules(data, warnings);
}

const char *plausibility_text(const struct warning *warning, char *buffer, int size) {
  if (warning->file != NULL && warning->line > 0) {
    (void)snprintf(buffer, (size_t)size, "%s:%d:%d: warning: %s (%s)", warning->file, warning->line, warning->column,
                   warning->words, warning->name);
  } else {
    (void)snprintf(buffer, (size_t)size, "warning: %s (%s)", warning->words, warning->name);
  }
  return buffer;
}

char *plausibility_lines(const struct warnings *warnings) {
  enum { LINE = WARNING_WORDS + 64 };
  char *lines = calloc((size_t)warnings->count + 1, LINE);
  size_t used = 0;
  for (int i = 0; lines != NULL && i < warnings->count; i++) {
    used += (size_t)snprintf(lines + used, LINE, "%s%s: %s", i > 0 ? "\n" : "", warnings->at[i].name,
                             warnings->at[i].words);
  }
  return lines;
}
