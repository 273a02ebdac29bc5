/* The whole case as YAML, every default written out; it reads back to the same numbers, bit by bit. */
#include "loader.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "text.h"
#include "units.h"

enum { LINE_LIMIT = 512, FIRST_SIZE = 16384, PAIRS_A_LINE = 6, ROWS_A_LINE = 3 };

struct writer {
  struct arena *arena;
  char *text;
  size_t length;
  size_t size;
  bool failed; /* memory ran out */
};

static bool make_room(struct writer *writer, size_t more) {
  if (writer->failed || writer->length + more + 1 <= writer->size) {
    return !writer->failed;
  }
  size_t size = writer->size ? writer->size : FIRST_SIZE;
  while (size < writer->length + more + 1) {
    size *= 2;
  }
  char *text = arena_take(writer->arena, size);
  if (!text) {
    writer->failed = true;
    return false;
  }
  if (writer->length > 0) {
    memcpy(text, writer->text, writer->length);
  }
  writer->text = text;
  writer->size = size;
  return true;
}

static void put_text(struct writer *writer, const char *text) {
  size_t length = strlen(text);
  if (make_room(writer, length)) {
    memcpy(writer->text + writer->length, text, length + 1);
    writer->length += length;
  }
}

static void put(struct writer *writer, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void put(struct writer *writer, const char *format, ...) {
  char line[LINE_LIMIT];
  va_list arguments;
  va_start(arguments, format);
  (void)vsnprintf(line, sizeof line, format, arguments);
  va_end(arguments);
  put_text(writer, line);
}

/* A text of any printable characters; marks that turn the direction of writing would show another text than it is. */
static void put_quoted(struct writer *writer, const char *text) {
  put_text(writer, "\"");
  for (; *text; text++) {
    char letter[] = {*text, '\0'};
    unsigned long code = 0;
    size_t bytes = text_decode(text, strlen(text), &code);
    if (bytes > 1 && text_turns(code)) {
      put(writer, "\\u%04lX", code);
      text += bytes - 1;
      continue;
    }
    if (*text == '"' || *text == '\\') {
      put_text(writer, "\\");
    }
    put_text(writer, letter);
  }
  put_text(writer, "\"");
}

static void put_number(struct writer *writer, enum quantity quantity, double si) {
  char text[96];
  put_text(writer, units_write(quantity, si, text, sizeof text));
}

static void put_table(struct writer *writer, const struct field *field, const struct profile *profile) {
  if (profile->count == 0) {
    put_text(writer, "none");
    return;
  }
  put_text(writer, profile->smooth ? "{curve: smooth, points: [" : "[");
  for (int i = 0; i < profile->count; i++) {
    put_text(writer, i == 0 ? "[" : i % PAIRS_A_LINE == 0 ? ",\n    [" : ", [");
    put_number(writer, field->argument, profile->argument[i]);
    put_text(writer, ", ");
    put_number(writer, field->quantity, profile->value[i]);
    put_text(writer, "]");
  }
  put_text(writer, profile->smooth ? "]}" : "]");
}

static void put_map(struct writer *writer, const struct map_form *form, const struct map *map) {
  if (map->speeds == 0) {
    put_text(writer, "none");
    return;
  }
  bool full_stroke_alone = map->strokes == 1;
  put_text(writer, "[");
  for (int row = 0; row < map_rows(map); row++) {
    put_text(writer, row == 0 ? "[" : row % ROWS_A_LINE == 0 ? ",\n    [" : ", [");
    for (int column = 0; column < MAP_COLUMNS; column++) {
      if (form->names[column] == NULL || (column == MAP_STROKE && full_stroke_alone)) {
        continue;
      }
      put_text(writer, column == 0 ? "" : ", ");
      put_number(writer, map_column_quantity(form, column, map_row_idles(map, row)), map_cell(map, row, column));
    }
    put_text(writer, "]");
  }
  put_text(writer, "]");
}

static void put_value(struct writer *writer, const struct field *field, const void *member) {
  char name[64];
  switch (field->kind) {
  case FIELD_REAL:
    put_number(writer, field->quantity, *(const real *)member);
    break;
  case FIELD_CHOICE:
    put_text(writer, registry_choice_name(field->choices, *(const int *)member, name, sizeof name));
    break;
  case FIELD_TABLE:
    put_table(writer, field, member);
    break;
  case FIELD_MAP:
    put_map(writer, map_form_of(field), member);
    break;
  }
}

static void put_group(struct writer *writer, const struct group *group, const void *base) {
  put(writer, "%s:%s\n", group->name, group->field_count > 0 ? "" : " {}");
  for (int i = 0; i < group->field_count; i++) {
    struct parameter parameter = {group, &group->fields[i]};
    put(writer, "  %s: ", parameter.field->name);
    put_value(writer, parameter.field, registry_member_const(base, parameter));
    put_text(writer, "\n");
  }
}

static void put_action(struct writer *writer, const struct case_data *data, const struct action *action) {
  const struct plant *plant = data->plant;
  enum quantity quantity = action->when.signal >= 0 ? plant->signals[action->when.signal].quantity : QUANTITY_TIME;
  put_text(writer, "  - name: ");
  put_quoted(writer, action->name);
  put(writer, "\n    when: \"%s %c ", action->when.name, action->when.above ? '>' : '<');
  put_number(writer, quantity, action->when.level);
  put(writer, "\"\n    move: %s\n    to: ", plant->channels[action->channel]);
  put_number(writer, plant->channel_quantities[action->channel], action->target);
  put_text(writer, "\n    over: ");
  put_number(writer, QUANTITY_TIME, action->duration);
  put_text(writer, "\n");
}

char *resolve_case(struct arena *arena, const struct case_data *data) {
  struct writer writer = {.arena = arena};
  put_text(&writer, "title: ");
  put_quoted(&writer, data->title);
  put(&writer, "\ncircuit: %s\n", data->plant->name);
  for (int i = 0; i < data->plant->group_count; i++) {
    put_group(&writer, &data->plant->groups[i], data->parameters);
  }
  put_group(&writer, &simulation_group, &data->simulation);
  put_text(&writer, data->action_count > 0 ? "actions:\n" : "actions: []\n");
  for (int i = 0; i < data->action_count; i++) {
    put_action(&writer, data, &data->actions[i]);
  }
  put_text(&writer, data->limit_count > 0 ? "limits:\n" : "limits: []\n");
  for (int i = 0; i < data->limit_count; i++) {
    put_text(&writer, "  - ");
    put_quoted(&writer, data->limits[i].text);
    put_text(&writer, "\n");
  }
  return writer.failed ? NULL : writer.text;
}
