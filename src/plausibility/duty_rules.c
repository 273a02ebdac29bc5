/* What a case does over its time: can it happen, can it be seen, can it be judged? One row a rule. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "effect.h"
#include "machine_rules.h"
#include "registry.h"

#define FOLLOWS "follows from the case"
#define TOLD(quantity, value)                                                                                          \
  { QUANTITY_##quantity, (value) }

/* The table over time that moves a channel; false: there is none, or it is empty. */
static bool channel_table(const struct case_data *data, int channel, const struct profile **table) {
  *table = NULL;
  for (int g = 0; g < data->plant->group_count && *table == NULL; g++) {
    const struct group *group = &data->plant->groups[g];
    const struct field *field = registry_field(group, data->plant->channels[channel]);
    if (field != NULL && field->kind == FIELD_TABLE && field->argument == QUANTITY_TIME) {
      *table = registry_member_const(data->parameters, (struct parameter){group, field});
    }
  }
  return *table != NULL && (*table)->count > 0;
}

/* When a table first changes its value, s; HUGE_VAL: never. */
static double first_change(const struct profile *table) {
  for (int i = 1; i < table->count; i++) {
    if (table->value[i] != table->value[i - 1]) {
      return table->argument[i - 1];
    }
  }
  return HUGE_VAL;
}

static void tables_after_the_end(const struct case_data *data, struct warnings *warnings) {
  double end = data->simulation.end_time;
  for (int c = 0; c < data->plant->channel_count; c++) {
    const struct profile *table;
    double from = channel_table(data, c, &table) ? first_change(table) : HUGE_VAL;
    if (from >= end && from < HUGE_VAL) {
      char sentence[WARNING_WORDS];
      const struct told numbers[] = {TOLD(TIME, from), TOLD(TIME, end)};
      (void)snprintf(sentence, sizeof sentence, "the table of the channel %s first changes at {}, the run ends at {}",
                     data->plant->channels[c]);
      warn(warnings, "table_after_end", FOLLOWS, sentence, numbers, 2);
    }
  }
}

/* Bounds that a signal cannot leave whatever the machine does. */
struct bound {
  const char *signal;
  double low;  /* SI */
  double high; /* SI */
};
static const struct bound bounds[] = {
    {"pump_stroke", -1.0, 1.0},
    {"stroke_command", -1.0, 1.0},
    {"motor_displacement", 0.0, 1.0},
    {"second_motor_displacement", 0.0, 1.0},
    {"pedal", -1.0, 1.0},
    {"brake", 0.0, 1.0},
    {"accelerator", 0.0, 1.0},
    {"inching", 0.0, 1.0},
    {"anti_stall_cut", 0.0, 1.0},
    {"exhaust_brake", 0.0, 1.0},
    {"fuel_fraction", 0.0, 1.0},
    {"limiter_a", 0.0, 1.0},
    {"limiter_b", 0.0, 1.0},
    {"relief_a_lift", 0.0, HUGE_VAL},
    {"relief_b_lift", 0.0, HUGE_VAL},
};

static const struct bound *bound_of(const struct condition *condition) {
  for (size_t i = 0; i < sizeof bounds / sizeof bounds[0]; i++) {
    if (strcmp(bounds[i].signal, condition->name) == 0) {
      return &bounds[i];
    }
  }
  return NULL;
}

/* Can the condition become true? It cannot where the signal's bound lies on the wrong side of the level. */
static bool can_hold(const struct condition *condition, double end) {
  if (condition->signal == CONDITION_CLOCK) {
    return !condition->above || condition->level < end;
  }
  const struct bound *bound = bound_of(condition);
  return bound == NULL || (condition->above ? bound->high > condition->level : bound->low < condition->level);
}

static void actions_that_never_come(const struct case_data *data, struct warnings *warnings) {
  double end = data->simulation.end_time;
  for (int i = 0; i < data->action_count; i++) {
    const struct action *action = &data->actions[i];
    char sentence[WARNING_WORDS];
    if (!can_hold(&action->when, end)) {
      bool clock = action->when.signal == CONDITION_CLOCK;
      const struct told numbers[] = {
          {clock ? QUANTITY_TIME : data->plant->signals[action->when.signal].quantity, action->when.level},
          TOLD(TIME, end)};
      (void)snprintf(sentence, sizeof sentence,
                     clock ? "the action '%.80s' waits for %s, {}, and the run ends at {}"
                           : "the action '%.80s' waits for %s to pass {}, which it cannot",
                     action->name, action->when.name);
      warn(warnings, "action_never", FOLLOWS, sentence, numbers, 2);
    }
  }
}

/* An action upon a channel whose lever or device the machine does not have. */
static void actions_without_effect(const struct case_data *data, struct warnings *warnings) {
  static const struct {
    const char *channel;
    const char *group;
    const char *field; /* acts only where the channel's device is there */
  } devices[] = {
      {"limiter_dead", "limiter", "setting"},
      {"filter_blocked", "filter", "rated_flow"},
      {"pedal", "operator", "pedal"},
      {"direction", "operator", "direction"},
      {"forward_pedal", "operator", "forward_pedal"},
      {"reverse_pedal", "operator", "reverse_pedal"},
      {"accelerator", "operator", "accelerator"},
      {"inching", "operator", "inching"},
  };
  for (int i = 0; i < data->action_count; i++) {
    const char *channel = data->plant->channels[data->actions[i].channel];
    for (size_t d = 0; d < sizeof devices / sizeof devices[0]; d++) {
      const struct group *group = registry_group(data->plant->groups, data->plant->group_count, devices[d].group);
      const struct field *field = group != NULL ? registry_field(group, devices[d].field) : NULL;
      char why[160];
      if (field != NULL && strcmp(devices[d].channel, channel) == 0 &&
          !case_acts(data, (struct parameter){group, field}, why, (int)sizeof why)) {
        char sentence[WARNING_WORDS];
        (void)snprintf(sentence, sizeof sentence, "the action '%.80s' moves %s, which does nothing: %s",
                       data->actions[i].name, channel, why);
        warn(warnings, "action_no_effect", FOLLOWS, sentence, NULL, 0);
      }
    }
  }
}

static void limits_that_say_nothing(const struct case_data *data, struct warnings *warnings) {
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *limit = &data->limits[i];
    char sentence[WARNING_WORDS];
    struct condition broken = limit->keep;
    broken.above = !broken.above;
    if (limit->keep.signal >= 0 && !can_hold(&broken, 0.0)) {
      (void)snprintf(sentence, sizeof sentence, "the limit '%.120s' cannot be broken: %s never leaves that range",
                     limit->text, limit->keep.name);
      warn(warnings, "limit_never_broken", FOLLOWS, sentence, NULL, 0);
    }
    if (limit->within >= data->simulation.end_time) {
      const struct told numbers[] = {TOLD(TIME, data->simulation.end_time)};
      (void)snprintf(sentence, sizeof sentence, "the limit '%.120s' holds only after the run has ended at {}",
                     limit->text);
      warn(warnings, "limit_after_end", FOLLOWS, sentence, numbers, 1);
    }
  }
}

/* The shortest time in which a table or an action brings a channel from one value to another; steps take none. */
static double shortest_ramp(const struct case_data *data) {
  double shortest = HUGE_VAL;
  for (int c = 0; c < data->plant->channel_count; c++) {
    const struct profile *table;
    for (int i = 1; channel_table(data, c, &table) && i < table->count; i++) {
      double span = table->argument[i] - table->argument[i - 1];
      if (span > 0.0 && table->value[i] != table->value[i - 1]) {
        shortest = fmin(shortest, span);
      }
    }
  }
  for (int i = 0; i < data->action_count; i++) {
    if (data->actions[i].duration > 0.0) {
      shortest = fmin(shortest, data->actions[i].duration);
    }
  }
  return shortest;
}

static void samples_too_far_apart(const struct case_data *data, struct warnings *warnings) {
  double step = data->simulation.output_step;
  double ramp = shortest_ramp(data);
  if (step > ramp) {
    const struct told numbers[] = {TOLD(TIME, step), TOLD(TIME, ramp)};
    warn(warnings, "samples_coarse", FOLLOWS,
         "samples are {} apart, the fastest ramp of the operator takes {}: the time histories do not show it", numbers,
         2);
  }
  if (step >= data->simulation.end_time) {
    const struct told numbers[] = {TOLD(TIME, step), TOLD(TIME, data->simulation.end_time)};
    warn(warnings, "samples_none", FOLLOWS, "samples are {} apart, the run lasts {}: it is seen at its ends only",
         numbers, 2);
  }
}

/* A lag as long as the run: the element hardly begins to move. */
static void lags_beyond_the_run(const struct case_data *data, struct warnings *warnings) {
  double end = data->simulation.end_time;
  for (int g = 0; g < data->plant->group_count; g++) {
    const struct group *group = &data->plant->groups[g];
    for (int f = 0; f < group->field_count; f++) {
      const struct field *field = &group->fields[f];
      const char *ending = strstr(field->name, "lag");
      char why[160];
      if (field->kind != FIELD_REAL || field->quantity != QUANTITY_TIME || ending == NULL || ending[3] != '\0') {
        continue;
      }
      double lag = *(const double *)registry_member_const(data->parameters, (struct parameter){group, field});
      if (lag >= end && case_acts(data, (struct parameter){group, field}, why, (int)sizeof why)) {
        char sentence[WARNING_WORDS];
        const struct told numbers[] = {TOLD(TIME, lag), TOLD(TIME, end)};
        (void)snprintf(sentence, sizeof sentence,
                       "%s.%s of {} is not shorter than the run of {}: it hardly begins to act", group->name,
                       field->name);
        warn(warnings, "lag_beyond_run", FOLLOWS, sentence, numbers, 2);
      }
    }
  }
}

static bool something_moves(const struct case_data *data) {
  const struct profile *table;
  for (int c = 0; c < data->plant->channel_count; c++) {
    if (channel_table(data, c, &table)) {
      for (int i = 0; i < table->count; i++) {
        if (table->value[i] != 0.0) {
          return true;
        }
      }
    }
  }
  const struct group *group = registry_group(data->plant->groups, data->plant->group_count, "driver");
  const struct field *drives = group != NULL ? registry_field(group, "drives") : NULL;
  return data->action_count > 0 || (drives != NULL && *(const int *)registry_member_const(
                                                          data->parameters, (struct parameter){group, drives}) != 0);
}

/* No pedal, no action, no grade and no speed: the run shows a machine at rest. */
static void nothing_happens(const struct case_data *data, struct warnings *warnings) {
  const struct plant *plant = data->plant;
  const struct group *ground = registry_group(plant->groups, plant->group_count, "ground");
  const struct group *vehicle = registry_group(plant->groups, plant->group_count, "vehicle");
  const struct field *grade = ground != NULL ? registry_field(ground, "grade") : NULL;
  const struct field *speed = vehicle != NULL ? registry_field(vehicle, "start_speed") : NULL;
  if (grade == NULL || speed == NULL || something_moves(data)) {
    return;
  }
  const struct profile *slope = registry_member_const(data->parameters, (struct parameter){ground, grade});
  for (int i = 0; i < slope->count; i++) {
    if (slope->value[i] != 0.0) {
      return;
    }
  }
  if (*(const double *)registry_member_const(data->parameters, (struct parameter){vehicle, speed}) == 0.0) {
    warn(warnings, "nothing_happens", FOLLOWS,
         "no pedal and no action moves, the ground is level and the machine at rest: nothing will happen", NULL, 0);
  }
}

void duty_rules(const struct case_data *data, struct warnings *warnings) {
  static void (*const rules[])(const struct case_data *, struct warnings *) = {
      nothing_happens,         tables_after_the_end,  actions_that_never_come, actions_without_effect,
      limits_that_say_nothing, samples_too_far_apart, lags_beyond_the_run,
  };
  for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
    rules[i](data, warnings);
  }
}
