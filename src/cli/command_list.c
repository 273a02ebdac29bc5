/* swashloop list: the registry, read out. Needs no file library. */
#include <ctype.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "json.h"
#include "registry.h"
#include "run.h"

/* What goes where: to `json` when it is not NULL, else to standard output as a table. */
struct listing {
  struct json *json;
  const char *word; /* print only what has it in its name or text; NULL: everything */
};

static bool contains(const char *text, const char *word) {
  size_t length = strlen(word);
  for (; *text != '\0'; text++) {
    size_t i = 0;
    while (i < length && tolower((unsigned char)text[i]) == tolower((unsigned char)word[i])) {
      i++;
    }
    if (i == length) {
      return true;
    }
  }
  return length == 0;
}

static bool wanted(const struct listing *listing, const char *name, const char *text) {
  return listing->word == NULL || contains(name, listing->word) || contains(text, listing->word);
}

/* "a|b|c" as a list of texts; of "name=expression" only the name. */
static void json_names(struct json *json, const char *key, const char *names) {
  json_begin_list(json, key);
  while (*names != '\0') {
    char name[96];
    size_t length = strcspn(names, "|");
    size_t shown = strcspn(names, "|=");
    (void)snprintf(name, sizeof name, "%.*s", (int)shown, names);
    json_text(json, NULL, name);
    names += length;
    names += *names == '|';
  }
  json_end_list(json);
}

/* The same for people. */
static void print_names(const char *names, const char *separator) {
  bool first = true;
  while (*names != '\0') {
    size_t length = strcspn(names, "|");
    (void)printf("%s%.*s", first ? "" : separator, (int)strcspn(names, "|="), names);
    first = false;
    names += length;
    names += *names == '|';
  }
}

static void json_value(struct json *json, const struct field *field) {
  const struct quantity_row *row = &quantity_rows[field->quantity];
  json_text(json, "quantity", row->name);
  json_text(json, "unit", row->si_unit);
  json_text(json, "trade_unit", row->trade_unit);
  if (field->kind == FIELD_MAP) {
    json_begin_list(json, "columns");
    const struct map_form *form = map_form_of(field);
    for (int i = 0; i < MAP_COLUMNS; i++) {
      if (form->names[i] == NULL) {
        continue;
      }
      const struct quantity_row *column = &quantity_rows[map_column_quantity(form, i, false)];
      json_begin_object(json, NULL);
      json_text(json, "name", form->names[i]);
      json_text(json, "quantity", column->name);
      json_text(json, "unit", column->si_unit);
      json_text(json, "trade_unit", column->trade_unit);
      json_end_object(json);
    }
    json_end_list(json);
  } else if (field->kind == FIELD_TABLE) {
    json_text(json, "argument_quantity", quantity_rows[field->argument].name);
    json_text(json, "argument_unit", quantity_rows[field->argument].si_unit);
    json_text(json, "argument_trade_unit", quantity_rows[field->argument].trade_unit);
  } else {
    json_number(json, "default", quantity_from_trade(field->quantity, field->initial));
    json_number(json, "default_trade", field->initial);
  }
  json_number(json, "low", quantity_from_trade(field->quantity, field->low));
  json_number(json, "high", quantity_from_trade(field->quantity, field->high));
  json_number(json, "low_trade", field->low);
  json_number(json, "high_trade", field->high);
  json_text(json, "reference", field->reference == REFERENCE_NONE ? NULL : reference_names[field->reference]);
  json_names(json, "accepted_units", row->accepted);
}

static void json_parameter(struct json *json, const char *plant, const char *path, const struct field *field,
                           const char *text, bool repeated) {
  static const char *const kinds[] = {
      [FIELD_REAL] = "real", [FIELD_CHOICE] = "choice", [FIELD_TABLE] = "table", [FIELD_MAP] = "map"};
  json_begin_object(json, NULL);
  json_text(json, "plant", plant);
  json_text(json, "path", path);
  json_text(json, "kind", kinds[field->kind]);
  if (field->kind == FIELD_CHOICE) {
    char name[96];
    json_text(json, "default", registry_choice_name(field->choices, (int)field->initial, name, sizeof name));
    json_names(json, "choices", field->choices);
  } else {
    json_value(json, field);
  }
  json_text(json, "baseline", field->baseline[0] != '\0' && !repeated ? field->baseline : NULL);
  json_text(json, "text", text);
  json_end_object(json);
}

static void print_parameter(const char *path, const struct field *field, const char *text) {
  const char *unit = field->quantity == QUANTITY_NUMBER ? "" : quantity_rows[field->quantity].trade_unit;
  if (field->kind == FIELD_CHOICE) {
    char name[96];
    (void)printf("  %-40s %s  (", path, registry_choice_name(field->choices, (int)field->initial, name, sizeof name));
    print_names(field->choices, " | ");
    (void)printf(")\n");
  } else if (field->kind == FIELD_TABLE) {
    (void)printf("  %-40s table of %s to %s, %g .. %g\n", path, quantity_rows[field->argument].trade_unit,
                 unit[0] != '\0' ? unit : "a number", field->low, field->high);
  } else if (field->kind == FIELD_MAP) {
    bool efficiency = map_form_of(field) == &map_of_efficiency;
    (void)printf("  %-40s map, rows of %s\n", path,
                 efficiency ? "rpm, bar, %, % or rpm, bar, %, %, %" : "rpm, N m, g/kWh");
  } else {
    (void)printf("  %-40s %g%s%s  (%g .. %g%s%s)\n", path, field->initial, unit[0] != '\0' ? " " : "", unit, field->low,
                 field->high, field->reference != REFERENCE_NONE ? ", " : "", reference_names[field->reference]);
  }
  (void)printf("  %-40s   %s\n", "", text);
}

/* `repeated`: the same component stands in the plant before; the reference symbols are the first one's. */
static void list_group(const struct listing *listing, const char *plant, const struct group *group, bool repeated) {
  for (int f = 0; f < group->field_count; f++) {
    const struct field *field = &group->fields[f];
    char path[128];
    (void)snprintf(path, sizeof path, "%s.%s", group->name, field->name);
    char text[256];
    registry_text(group, field, text, (int)sizeof text);
    if (!wanted(listing, path, text)) {
      continue;
    }
    if (listing->json != NULL) {
      json_parameter(listing->json, plant, path, field, text, repeated);
    } else {
      print_parameter(path, field, text);
    }
  }
}

static void print_plant(const struct listing *listing, const char *name, const char *text) {
  if (listing->json == NULL) {
    (void)printf("circuit %s: %s\n", name, text);
  }
}

static void list_parameters(const struct listing *listing) {
  for (int p = 0; registry_plants[p] != NULL; p++) {
    const struct plant *plant = registry_plants[p];
    print_plant(listing, plant->name, plant->text);
    for (int g = 0; g < plant->group_count; g++) {
      bool repeated = false;
      for (int earlier = 0; earlier < g; earlier++) {
        repeated = repeated || plant->groups[earlier].fields == plant->groups[g].fields;
      }
      list_group(listing, plant->name, &plant->groups[g], repeated);
    }
  }
  print_plant(listing, "of any kind", simulation_group.text);
  list_group(listing, NULL, &simulation_group, false);
}

static void list_row(const struct listing *listing, const char *plant, const struct signal *row) {
  if (!wanted(listing, row->name, row->text)) {
    return;
  }
  const struct quantity_row *quantity = &quantity_rows[row->quantity];
  if (listing->json == NULL) {
    (void)printf("  %-40s %-10s %s%s%s\n", row->name, quantity->trade_unit, row->text,
                 row->reference != REFERENCE_NONE ? ", " : "", reference_names[row->reference]);
    return;
  }
  json_begin_object(listing->json, NULL);
  if (plant != NULL) {
    json_text(listing->json, "plant", plant);
  }
  json_text(listing->json, "name", row->name);
  json_text(listing->json, "quantity", quantity->name);
  json_text(listing->json, "unit", quantity->si_unit);
  json_text(listing->json, "trade_unit", quantity->trade_unit);
  json_text(listing->json, "reference", row->reference != REFERENCE_NONE ? reference_names[row->reference] : NULL);
  json_text(listing->json, "text", row->text);
  json_end_object(listing->json);
}

static void list_signals(const struct listing *listing) {
  for (int p = 0; registry_plants[p] != NULL; p++) {
    const struct plant *plant = registry_plants[p];
    print_plant(listing, plant->name, plant->text);
    for (int s = 0; s < plant->signal_count; s++) {
      list_row(listing, plant->name, &plant->signals[s]);
    }
  }
}

static void list_channels(const struct listing *listing) {
  for (int p = 0; registry_plants[p] != NULL; p++) {
    const struct plant *plant = registry_plants[p];
    print_plant(listing, plant->name, plant->text);
    for (int c = 0; c < plant->channel_count; c++) {
      struct signal row = {plant->channels[c], plant->channel_quantities[c], REFERENCE_NONE, plant->channel_texts[c]};
      list_row(listing, plant->name, &row);
    }
  }
}

static void list_measures(const struct listing *listing) {
  for (int m = 0; m < MEASURE_COUNT; m++) {
    list_row(listing, NULL, &measure_rows[m]);
  }
}

static void list_units(const struct listing *listing) {
  for (int q = 0; q < QUANTITY_COUNT; q++) {
    const struct quantity_row *row = &quantity_rows[q];
    if (!wanted(listing, row->name, row->accepted)) {
      continue;
    }
    if (listing->json == NULL) {
      (void)printf("  %-24s %-12s in files, %-14s for people; accepted: ", row->name, row->si_unit, row->trade_unit);
      print_names(row->accepted, ", ");
      (void)printf("\n");
      continue;
    }
    json_begin_object(listing->json, NULL);
    json_text(listing->json, "quantity", row->name);
    json_text(listing->json, "unit", row->si_unit);
    json_text(listing->json, "trade_unit", row->trade_unit);
    json_number(listing->json, "scale", row->scale);
    json_number(listing->json, "offset", row->offset);
    json_names(listing->json, "accepted_units", row->accepted);
    json_end_object(listing->json);
  }
}

struct subject {
  const char *name;
  void (*list)(const struct listing *listing);
};

static const struct subject subjects[] = {
    {"parameters", list_parameters}, {"signals", list_signals},
    {"measures", list_measures},     {"channels", list_channels}, /* what an action can move, faults among them */
    {"units", list_units},
};

enum { SUBJECT_COUNT = (int)(sizeof subjects / sizeof subjects[0]) };

static const char *subject_name(const void *context, int index) {
  return ((const struct subject *)context)[index].name;
}

static const struct subject *find_subject(const char *name, struct error *error) {
  for (int i = 0; i < SUBJECT_COUNT; i++) {
    if (strcmp(subjects[i].name, name) == 0) {
      return &subjects[i];
    }
  }
  const char *near = registry_nearest(name, SUBJECT_COUNT, subject_name, subjects);
  if (near != NULL) {
    error_set(error, ERROR_USAGE, "unknown list '%s'; did you mean '%s'?", name, near);
  } else {
    error_set(error, ERROR_USAGE, "unknown list '%s'; there are parameters, signals, measures, channels and units",
              name);
  }
  return NULL;
}

struct request {
  struct asked asked;
  const struct subject *subject;
  const char *word;
};

static const struct option_row options[] = {
    OPTION_JSON("print one JSON document"),
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  if (request->subject == NULL) {
    request->subject = find_subject(word, error);
    return request->subject != NULL;
  }
  if (request->word != NULL) {
    return error_set(error, ERROR_USAGE, "one word at a time: found '%s' behind '%s'", word, request->word);
  }
  request->word = word;
  return true;
}

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  return request->subject != NULL ||
         error_set(error, ERROR_USAGE, "which list? usage: swashloop list parameters|signals|measures|channels|units");
}

static int list(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct json json = {.out = stdout};
  struct listing listing = {request->asked.json ? &json : NULL, request->word};
  (void)data;
  (void)command;
  if (listing.json != NULL) {
    json_begin_list(&json, NULL);
  }
  request->subject->list(&listing);
  if (listing.json != NULL) {
    json_end_list(&json);
  }
  return EXIT_DONE;
}

int command_list(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "list",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head = "usage: swashloop list parameters|signals|measures|channels|units [--json] [WORD]\n\n"
                      "With WORD only what has it in its name or description. JSON numbers are SI; those ending in "
                      "_trade are\n"
                      "in the trade unit.\n\n",
              .tail = "",
              .take_word = take_word,
          },
      .takes_case = false,
      .check = check_request,
      .answer = list,
  };
  struct request request = {.subject = NULL};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
