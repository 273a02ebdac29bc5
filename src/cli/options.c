#include "options.h"

#include <stdlib.h>
#include <string.h>

#include "registry.h"

static const char *row_name(const void *context, int index) {
  return ((const struct option_row *)context)[index].name;
}

static int unknown(const struct option_reader *reader, const char *argument, struct error *error) {
  const char *name = argument + strspn(argument, "-");
  const char *near = registry_nearest(name, reader->row_count, row_name, reader->rows);
  if (near != NULL) {
    error_set(error, ERROR_USAGE, "unknown option '%s'; did you mean '--%s'?", argument, near);
  } else {
    error_set(error, ERROR_USAGE, "unknown option '%s'; --help lists the options", argument);
  }
  return OPTION_BAD;
}

/* The row of `--name`, `--name=value` or `-x`, or -1. */
static int find_row(const struct option_reader *reader, const char *argument) {
  for (int i = 0; i < reader->row_count; i++) {
    const struct option_row *row = &reader->rows[i];
    if (argument[1] == '-') {
      size_t length = strcspn(argument + 2, "=");
      if (strlen(row->name) == length && strncmp(row->name, argument + 2, length) == 0) {
        return i;
      }
    } else if (row->letter != '\0' && argument[1] == row->letter && argument[2] == '\0') {
      return i;
    }
  }
  return -1;
}

int option_next(struct option_reader *reader, struct error *error) {
  if (reader->next >= reader->argument_count) {
    return OPTION_END;
  }
  const char *argument = reader->arguments[reader->next++];
  if (!reader->words_only && strcmp(argument, "--") == 0) {
    reader->words_only = true;
    return option_next(reader, error);
  }
  if (reader->words_only || argument[0] != '-' || argument[1] == '\0') {
    reader->value = argument;
    return OPTION_WORD;
  }
  int row = find_row(reader, argument);
  if (row < 0) {
    return unknown(reader, argument, error);
  }
  const char *equals = argument[1] == '-' ? strchr(argument, '=') : NULL;
  const char *wanted = reader->rows[row].value;
  if (wanted == NULL) {
    if (equals != NULL) {
      error_set(error, ERROR_USAGE, "option '--%s' takes no value", reader->rows[row].name);
      return OPTION_BAD;
    }
    return row;
  }
  if (equals != NULL) {
    reader->value = equals + 1;
    return row;
  }
  if (reader->next >= reader->argument_count) {
    error_set(error, ERROR_USAGE, "option '%s' needs %s behind it", argument, wanted);
    return OPTION_BAD;
  }
  reader->value = reader->arguments[reader->next++];
  return row;
}

char *option_command_line(const char *command, int argument_count, char **arguments) {
  size_t size = strlen(command) + 1;
  for (int i = 0; i < argument_count; i++) {
    size += strlen(arguments[i]) + 3;
  }
  char *line = malloc(size);
  if (line == NULL) {
    return NULL;
  }
  int length = snprintf(line, size, "%s", command);
  for (int i = 0; i < argument_count; i++) {
    const char *quote = strpbrk(arguments[i], " \t\"'*") != NULL ? "'" : "";
    length += snprintf(line + length, size - (size_t)length, " %s%s%s", quote, arguments[i], quote);
  }
  return line;
}

void option_help(FILE *out, const struct option_row *rows, int row_count) {
  for (int i = 0; i < row_count; i++) {
    char left[48];
    const char *value = rows[i].value != NULL ? rows[i].value : "";
    if (rows[i].letter != '\0') {
      (void)snprintf(left, sizeof left, "-%c, --%s %s", rows[i].letter, rows[i].name, value);
    } else {
      (void)snprintf(left, sizeof left, "    --%s %s", rows[i].name, value);
    }
    (void)fprintf(out, "  %-26s %s\n", left, rows[i].text);
  }
}
