#include "effect.h"

#include <stdio.h>
#include <string.h>

#define RIG_OIL "nothing on the valve rig leaks, and relief.law is not poppet", "relief.law poppet"

/* Parameters of a component that one plant, or one of its places in a plant, has no use for. */
static const struct {
  const char *plant;
  const char *group;
  const char *field;
  const char *why;
  const char *unless; /* a clause under which it has; NULL: never */
} idle[] = {
    {"valve_rig", "fluid", "specific_heat", "the oil of the valve rig keeps its temperature", NULL},
    {"valve_rig", "fluid", "viscosity_by", RIG_OIL},
    {"valve_rig", "fluid", "viscosity_at_40", RIG_OIL},
    {"valve_rig", "fluid", "viscosity_at_100", RIG_OIL},
    {"valve_rig", "fluid", "grade", RIG_OIL},
    {"valve_rig", "fluid", "grade_deviation", RIG_OIL},
    {"valve_rig", "fluid", "viscosity_index", RIG_OIL},
    {"valve_rig", "simulation", "stop_from", "nothing brakes on the valve rig", NULL},
};

static bool channel_moves(const struct case_data *data, const char *names) {
  const struct plant *plant = data->plant;
  for (int i = 0; i < data->action_count; i++) {
    if (registry_choice(names, plant->channels[data->actions[i].channel]) >= 0) {
      return true;
    }
  }
  for (int g = 0; g < plant->group_count; g++) {
    for (int f = 0; f < plant->groups[g].field_count; f++) {
      struct parameter parameter = {&plant->groups[g], &plant->groups[g].fields[f]};
      if (parameter.field->kind == FIELD_TABLE && registry_choice(names, parameter.field->name) >= 0 &&
          ((const struct profile *)registry_member_const(data->parameters, parameter))->count > 0) {
        return true;
      }
    }
  }
  return false;
}

static bool clause_holds(const struct case_data *data, struct parameter own, const struct clause *clause, char *why,
                         int size) {
  char words[CLAUSE_LIMIT + 32];
  char chosen[CLAUSE_LIMIT];
  registry_alternatives(clause->choices, words, (int)sizeof words);
  if (clause->group[0] == '\0' && strcmp(clause->name, "channel") == 0) {
    (void)snprintf(why, (size_t)size, "nothing moves the channel %s", words);
    return channel_moves(data, clause->choices);
  }
  const struct plant *plant = data->plant;
  const struct group *group =
      clause->group[0] != '\0' ? registry_group(plant->groups, plant->group_count, clause->group) : own.group;
  struct parameter asked = {group, group != NULL ? registry_field(group, clause->name) : NULL};
  if (asked.field == NULL) { /* a row that names what is not there: unit_effect finds it */
    (void)snprintf(why, (size_t)size, "there is no %s.%s", clause->group, clause->name);
    return false;
  }
  if (asked.field == own.field) {
    return true;
  }
  const void *base = group == &simulation_group ? (const void *)&data->simulation : data->parameters;
  const void *member = registry_member_const(base, asked);
  if (asked.field->kind != FIELD_CHOICE) {
    (void)snprintf(why, (size_t)size, "%s.%s is 0", group->name, asked.field->name);
    return *(const real *)member != 0.0;
  }
  registry_choice_name(asked.field->choices, *(const int *)member, chosen, (int)sizeof chosen);
  (void)snprintf(why, (size_t)size, "%s.%s is %s, not %s", group->name, asked.field->name, chosen, words);
  return registry_choice(clause->choices, chosen) >= 0;
}

/* Does the case choose what makes an idle parameter act after all? */
static bool acts_after_all(const struct case_data *data, struct parameter parameter, const char *unless) {
  struct clause clause;
  char why[160];
  if (unless == NULL) {
    return false;
  }
  registry_clause(unless, &clause);
  return clause_holds(data, parameter, &clause, why, (int)sizeof why);
}

bool case_acts(const struct case_data *data, struct parameter parameter, char *why, int size) {
  for (size_t i = 0; i < sizeof idle / sizeof idle[0]; i++) {
    if (strcmp(idle[i].field, parameter.field->name) == 0 && strcmp(idle[i].group, parameter.group->name) == 0 &&
        strcmp(idle[i].plant, data->plant->name) == 0 && !acts_after_all(data, parameter, idle[i].unless)) {
      (void)snprintf(why, (size_t)size, "%s", idle[i].why);
      return false;
    }
  }
  const char *all[] = {parameter.group->acts, parameter.field->acts};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    struct clause clause;
    for (const char *from = all[i]; from != NULL;) {
      from = registry_clause(from, &clause);
      if (!clause_holds(data, parameter, &clause, why, size)) {
        return false;
      }
    }
  }
  why[0] = '\0';
  return true;
}
