#include "registry.h"

#include <math.h>
#include <string.h>

enum { NAME_LIMIT = 64 };

const struct plant *const registry_plants[] = {&transmission_plant, &valve_rig_plant, NULL};

const struct plant *registry_plant(const char *name) {
  for (int i = 0; registry_plants[i]; i++) {
    if (strcmp(registry_plants[i]->name, name) == 0) {
      return registry_plants[i];
    }
  }
  return NULL;
}

const struct group *registry_group(const struct group *groups, int group_count, const char *name) {
  for (int i = 0; i < group_count; i++) {
    if (strcmp(groups[i].name, name) == 0) {
      return &groups[i];
    }
  }
  return NULL;
}

const struct field *registry_field(const struct group *group, const char *name) {
  for (int i = 0; i < group->field_count; i++) {
    if (strcmp(group->fields[i].name, name) == 0) {
      return &group->fields[i];
    }
  }
  return NULL;
}

const struct registry_rename *registry_rename(int i) {
  static const struct registry_rename renames[] = {
      {"engine", "told_overspeed", "overspeed_alarm"},
      {"engine", "told_underspeed", "underspeed_alarm"},
      {"tyre", "told_slip", "slip_alarm"},
  };
  return i >= 0 && i < (int)(sizeof renames / sizeof renames[0]) ? &renames[i] : NULL;
}

const char *registry_renamed(const char *group, const char *field) {
  const struct registry_rename *rename;
  for (int i = 0; (rename = registry_rename(i)) != NULL; i++) {
    if (strcmp(rename->group, group) == 0 && strcmp(rename->before, field) == 0) {
      return rename->now;
    }
  }
  return NULL;
}

void *registry_member(void *base, struct parameter parameter) {
  return (char *)base + parameter.group->offset + parameter.field->offset;
}

const void *registry_member_const(const void *base, struct parameter parameter) {
  return (const char *)base + parameter.group->offset + parameter.field->offset;
}

static void set_default(void *member, const struct field *field) {
  switch (field->kind) {
  case FIELD_REAL:
    *(real *)member = quantity_from_trade(field->quantity, field->initial);
    break;
  case FIELD_CHOICE:
    *(int *)member = (int)field->initial;
    break;
  case FIELD_TABLE:
    *(struct profile *)member = (struct profile){0, NULL, NULL, false};
    break;
  case FIELD_MAP:
    *(struct map *)member = (struct map){0};
    break;
  }
}

void registry_defaults(const struct group *groups, int group_count, void *base) {
  for (int i = 0; i < group_count; i++) {
    for (int k = 0; k < groups[i].field_count; k++) {
      struct parameter parameter = {&groups[i], &groups[i].fields[k]};
      set_default(registry_member(base, parameter), parameter.field);
    }
  }
}

/* Start of the choice behind this one, NULL after the last. */
static const char *next_choice(const char *choice) {
  const char *bar = strchr(choice, '|');
  return bar ? bar + 1 : NULL;
}

double registry_sampling(const struct group *groups, int group_count, const void *base) {
  double finest = HUGE_VAL;
  for (int g = 0; g < group_count; g++) {
    for (int f = 0; f < groups[g].field_count; f++) {
      struct parameter parameter = {&groups[g], &groups[g].fields[f]};
      if (parameter.field->kind != FIELD_TABLE) {
        continue;
      }
      const struct profile *table = registry_member_const(base, parameter);
      if (table->smooth && table->count > 1) {
        finest = fmin(finest, (table->argument[table->count - 1] - table->argument[0]) / (table->count - 1));
      }
    }
  }
  return finest;
}

int registry_choice(const char *choices, const char *name) {
  int index = 0;
  for (const char *choice = choices; choice; choice = next_choice(choice), index++) {
    size_t length = strcspn(choice, "|");
    if (length > 0 && strlen(name) == length && strncmp(choice, name, length) == 0) {
      return index;
    }
  }
  return -1;
}

const char *registry_choice_name(const char *choices, int index, char *buffer, int size) {
  const char *choice = choices;
  for (int i = 0; choice && i < index; i++) {
    choice = next_choice(choice);
  }
  if (size > 0) {
    size_t length = choice && index >= 0 ? strcspn(choice, "|") : 0;
    length = length < (size_t)size ? length : (size_t)size - 1;
    if (length > 0) {
      memcpy(buffer, choice, length);
    }
    buffer[length] = '\0';
  }
  return buffer;
}

int registry_signal(const struct plant *plant, const char *name) {
  for (int i = 0; i < plant->signal_count; i++) {
    if (strcmp(plant->signals[i].name, name) == 0) {
      return i;
    }
  }
  return -1;
}

/* What a name that the program reads comes to. */
static bool settle_place(const struct plant *plant, const char *what, const char *name, int index,
                         struct row_place *place, struct error *error) {
  place->there = index >= 0;
  place->index = index >= 0 ? index : 0;
  bool known = place->there;
  for (int i = 0; !known && i < plant->lack_count; i++) {
    known = strcmp(plant->lacks[i], name) == 0;
  }
  return known ||
         error_set(error, ERROR_RUN,
                   "a mistake in the program: it reads the %s '%s', which the circuit %s neither has nor lacks "
                   "by design",
                   what, name, plant->name);
}

bool registry_place(const struct plant *plant, const char *name, struct row_place *place, struct error *error) {
  return settle_place(plant, "signal", name, registry_signal(plant, name), place, error);
}

bool registry_ledger_place(const struct plant *plant, const char *name, struct row_place *place, struct error *error) {
  int index = plant->ledger_count - 1;
  while (index >= 0 && strcmp(plant->ledger[index].name, name) != 0) {
    index--;
  }
  return settle_place(plant, "ledger row", name, index, place, error);
}

/* Names that a message may offer for one that is not there. */
struct known_names {
  const struct plant *plant;
  const int *rows; /* of states */
};

static const char *known_signal(const void *context, int index) {
  return ((const struct known_names *)context)->plant->signals[index].name;
}

static const char *known_state(const void *context, int index) {
  const struct known_names *known = context;
  return known->plant->states[known->rows[index]].name;
}

static bool tell_need(const char *what, const char *name, const struct plant *plant, const char *near,
                      struct error *error) {
  return error_set(error, ERROR_RUN,
                   "a mistake in the program: it needs the %s '%s', which the circuit %s has not%s%s%s", what, name,
                   plant->name, near != NULL ? "; the nearest that it has is '" : "", near != NULL ? near : "",
                   near != NULL ? "'" : "");
}

bool registry_need(const struct plant *plant, const char *name, int *index, struct error *error) {
  const struct known_names known = {plant, NULL};
  *index = registry_signal(plant, name);
  if (*index < 0) {
    *index = 0;
    return tell_need("signal", name, plant, registry_nearest(name, plant->signal_count, known_signal, &known), error);
  }
  return true;
}

bool registry_need_state(const struct plant *plant, const int *rows, int count, const char *name, int *place,
                         struct error *error) {
  const struct known_names known = {plant, rows};
  for (*place = 0; *place < count; ++*place) {
    if (strcmp(known_state(&known, *place), name) == 0) {
      return true;
    }
  }
  *place = 0;
  return tell_need("state", name, plant, registry_nearest(name, count, known_state, &known), error);
}

void *registry_need_section(const struct plant *plant, void *base, const char *section, struct error *error) {
  const struct group *group = registry_group(plant->groups, plant->group_count, section);
  if (group == NULL) {
    error_set(error, ERROR_RUN, "a mistake in the program: it needs the section '%s', which the circuit %s has not",
              section, plant->name);
    return NULL;
  }
  return (char *)base + group->offset;
}

void *registry_need_parameter(const struct plant *plant, void *base, const char *section, const char *name,
                              struct error *error) {
  struct parameter parameter = {registry_group(plant->groups, plant->group_count, section), NULL};
  parameter.field = parameter.group != NULL ? registry_field(parameter.group, name) : NULL;
  if (parameter.field == NULL) {
    error_set(error, ERROR_RUN,
              "a mistake in the program: it needs the parameter '%s.%s', which the circuit %s has not", section, name,
              plant->name);
    return NULL;
  }
  return registry_member(base, parameter);
}

int registry_channel(const struct plant *plant, const char *name) {
  for (int i = 0; i < plant->channel_count; i++) {
    if (strcmp(plant->channels[i], name) == 0) {
      return i;
    }
  }
  return -1;
}

static int lower(char letter) {
  return letter >= 'A' && letter <= 'Z' ? letter - 'A' + 'a' : (unsigned char)letter;
}

static int least(int a, int b) {
  return a < b ? a : b;
}

/* Letters to insert, drop, replace or swap with a neighbour to make one name of the other; case does not count. */
static int edit_distance(const char *a, int a_length, const char *b, int b_length) {
  int rows[3][NAME_LIMIT + 1];
  int *before = rows[0];
  int *above = rows[1];
  int *row = rows[2];
  memset(rows, 0, sizeof rows);
  for (int k = 0; k <= b_length; k++) {
    above[k] = k;
  }
  for (int i = 1; i <= a_length; i++) {
    row[0] = i;
    for (int k = 1; k <= b_length; k++) {
      int same = lower(a[i - 1]) == lower(b[k - 1]);
      row[k] = least(least(above[k], row[k - 1]) + 1, above[k - 1] + (same ? 0 : 1));
      if (i > 1 && k > 1 && lower(a[i - 1]) == lower(b[k - 2]) && lower(a[i - 2]) == lower(b[k - 1])) {
        row[k] = least(row[k], before[k - 2] + 1);
      }
    }
    int *spare = before;
    before = above;
    above = row;
    row = spare;
  }
  return above[b_length];
}

const char *registry_nearest(const char *name, int count, const char *(*name_at)(const void *context, int index),
                             const void *context) {
  size_t length = strlen(name);
  if (length == 0 || length > NAME_LIMIT) {
    return NULL;
  }
  /* A third of the letters may be wrong; beyond that a hint misleads. */
  int best = (int)length / 3 + 1;
  const char *nearest = NULL;
  const char *begun = NULL; /* a known name that only goes on longer */
  for (int i = 0; i < count; i++) {
    const char *known = name_at(context, i);
    size_t known_length = strlen(known);
    if (known_length == 0 || known_length > NAME_LIMIT) {
      continue;
    }
    int distance = edit_distance(name, (int)length, known, (int)known_length);
    /* All letters changed is no likeness, however short the name. */
    if (distance < best && distance < (int)known_length) {
      best = distance;
      nearest = known;
    }
    if (!begun && length >= 3 && known_length > length && strncmp(known, name, length) == 0) {
      begun = known;
    }
  }
  return nearest ? nearest : begun;
}

const char *ledger_kind_word(enum ledger_kind kind) {
  static const char *const kinds[LEDGER_KIND_COUNT] = {
      [LEDGER_SOURCE] = "source",      [LEDGER_LOSS] = "loss",          [LEDGER_LOSS_TO_OIL] = "loss",
      [LEDGER_STORED_RATE] = "stored", [LEDGER_HEAT_LEAVES] = "leaves", [LEDGER_HEAT_STORED_RATE] = "stored",
      [LEDGER_STORED] = "stored",      [LEDGER_OIL_LOST] = "oil_lost",  [LEDGER_HEAT_STORED] = "stored",
      [LEDGER_FUEL_HEAT] = "loss",     [LEDGER_FUEL_SPENT] = "source",
  };
  return kinds[kind];
}
