#include "options.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_file.h"
#include "processors.h"
#include "registry.h"
#include "text.h"
#include "units.h"

/* ---- words ---- */

bool words_add(struct words *words, const char *word, struct error *error) {
  const char **list = realloc(words->list, ((size_t)words->count + 1) * sizeof *list);
  if (list == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for names");
  }
  words->list = list;
  words->list[words->count++] = word;
  return true;
}

void words_free(struct words *words) {
  free(words->list);
  *words = (struct words){NULL, 0};
}

/* ---- one option ---- */

static const char *row_name(const void *context, int index) {
  return ((const struct option_row *)context)[index].name;
}

static void unknown(const struct option_table *table, const char *argument, struct error *error) {
  const char *name = argument + strspn(argument, "-");
  const char *near = registry_nearest(name, table->row_count, row_name, table->rows);
  if (near != NULL) {
    error_set(error, ERROR_USAGE, "unknown option '%s'; did you mean '--%s'?", argument, near);
  } else {
    error_set(error, ERROR_USAGE, "unknown option '%s'; --help lists the options", argument);
  }
}

/* The row of `--name`, `--name=value`, `-x` or `-xVALUE`, or NULL. */
static const struct option_row *find_row(const struct option_table *table, const char *argument) {
  for (int i = 0; i < table->row_count; i++) {
    const struct option_row *row = &table->rows[i];
    if (argument[1] == '-') {
      size_t length = strcspn(argument + 2, "=");
      if (strlen(row->name) == length && strncmp(row->name, argument + 2, length) == 0) {
        return row;
      }
    } else if (row->letter != '\0' && argument[1] == row->letter && (argument[2] == '\0' || row->value != NULL)) {
      return row;
    }
  }
  return NULL;
}

bool option_amount(const char *name, enum quantity quantity, const char *text, double low, double high, double *si,
                   struct error *error) {
  struct error reason = {0};
  if (!units_read(quantity, text, si, &reason)) {
    return error_set(error, ERROR_USAGE, "--%s: %s", name, reason.text);
  }
  if (!(*si >= low && *si <= high)) {
    char from[64];
    char to[64];
    return error_set(error, ERROR_USAGE, "--%s: found '%s', expected %s to %s", name, text,
                     units_show(quantity, low, from, sizeof from), units_show(quantity, high, to, sizeof to));
  }
  return true;
}

static bool any_amount(const struct option_row *row, const char *text, double *si, struct error *error) {
  struct error reason = {0};
  return units_read(row->quantity, text, si, &reason) ||
         error_set(error, ERROR_USAGE, "option '--%s': %s", row->name, reason.text);
}

/* Could a file be called so? */
static bool check_name(const struct option_row *row, const char *name, struct error *error) {
  if (name == NULL || name[0] == '\0') {
    return error_set(error, ERROR_USAGE, "--%s: an empty name; expected the name of a file", row->name);
  }
  if (strcmp(name, "-") == 0) {
    return error_set(error, ERROR_USAGE,
                     "--%s -: this file cannot go to standard output; expected a name (./- for a file called -)",
                     row->name);
  }
  return name[strlen(name) - 1] != '/' ||
         error_set(error, ERROR_USAGE, "--%s %s: this names a folder; expected the name of a file", row->name, name);
}

static bool put_jobs(const char *text, int most, int *jobs, struct error *error) {
  int64_t wanted = 0;
  if (text == NULL || !option_whole(text, 1, most, &wanted)) {
    return error_set(error, ERROR_USAGE, "--jobs '%s': expected a whole number from 1 to %d",
                     text_excerpt(text != NULL ? text : "").text, most);
  }
  *jobs = (int)wanted;
  return true;
}

static bool put(const struct option_row *row, const char *value, void *request, struct error *error) {
  void *place = (char *)request + row->place;
  switch (row->kind) {
  case OPTION_KIND_TEXT:
    *(const char **)place = value;
    return true;
  case OPTION_KIND_INPUT:
    *(const char **)place = value;
    return words_add(&((struct asked *)request)->reads, value, error);
  case OPTION_KIND_OUTPUT:
    *(const char **)place = value;
    return check_name(row, value, error);
  case OPTION_KIND_WORDS:
    return words_add(place, value, error);
  case OPTION_KIND_AMOUNT:
    return option_amount(row->name, row->quantity, value, row->low, row->high, place, error);
  case OPTION_KIND_ANY_AMOUNT:
    return any_amount(row, value, place, error);
  case OPTION_KIND_JOBS:
    return put_jobs(value, (int)row->high, place, error);
  case OPTION_KIND_READ:
    return row->read(request, value, error);
  default:
    *(bool *)place = true;
    return true;
  }
}

static bool take_one(const struct option_table *table, struct asked *asked, const char *word, struct error *error) {
  if (asked->file != NULL) {
    return error_set(error, ERROR_USAGE, "one %s at a time: found '%s' behind '%s'",
                     table->one != NULL ? table->one : "case", word, asked->file);
  }
  asked->file = strcmp(word, "-") == 0 && table->one == NULL ? STANDARD_INPUT : word;
  return true;
}

/* ---- all of them ---- */

struct reader {
  const struct option_table *table;
  char **arguments;
  int argument_count;
  int next;
};

/* The option's value: behind '=' or the letter, or the next argument. NULL for one that takes none. */
static bool find_value(struct reader *reader, const struct option_row *row, const char *argument, const char **value,
                       struct error *error) {
  const char *equals = argument[1] == '-' ? strchr(argument, '=') : NULL;
  *value = NULL;
  if (row->value == NULL) {
    return equals == NULL || error_set(error, ERROR_USAGE, "option '--%s' takes no value", row->name);
  }
  if (equals != NULL) {
    *value = equals + 1;
    return true;
  }
  if (argument[1] != '-' && argument[2] != '\0') {
    *value = argument + 2;
    return true;
  }
  if (reader->next >= reader->argument_count) {
    return error_set(error, ERROR_USAGE, "option '%s' needs %s behind it", argument, row->value);
  }
  *value = reader->arguments[reader->next++];
  return true;
}

bool options_read(const struct option_table *table, int argument_count, char **arguments, void *request,
                  struct error *error) {
  struct reader reader = {table, arguments, argument_count, 0};
  bool words_only = false; /* after `--` */
  while (reader.next < argument_count) {
    const char *argument = arguments[reader.next++];
    if (!words_only && strcmp(argument, "--") == 0) {
      words_only = true;
      continue;
    }
    if (words_only || argument[0] != '-' || argument[1] == '\0') {
      if (!(table->take_word != NULL ? table->take_word(request, argument, error)
                                     : take_one(table, request, argument, error)) ||
          !words_add(&((struct asked *)request)->reads, argument, error)) {
        return false;
      }
      continue;
    }
    const struct option_row *row = find_row(table, argument);
    const char *value;
    if (row == NULL) {
      unknown(table, argument, error);
      return false;
    }
    if (!find_value(&reader, row, argument, &value, error) || !put(row, value, request, error)) {
      return false;
    }
    if (row->kind == OPTION_KIND_HELP) {
      return true;
    }
  }
  return true;
}

void options_free(const struct option_table *table, void *request) {
  words_free(&((struct asked *)request)->reads);
  for (int i = 0; i < table->row_count; i++) {
    if (table->rows[i].kind == OPTION_KIND_WORDS) {
      words_free((struct words *)(void *)((char *)request + table->rows[i].place));
    }
  }
}

void options_help(const struct option_table *table) {
  (void)fputs(table->head, stdout);
  for (int i = 0; i < table->row_count; i++) {
    const struct option_row *row = &table->rows[i];
    char left[48];
    const char *value = row->value != NULL ? row->value : "";
    if (row->letter != '\0') {
      (void)snprintf(left, sizeof left, "-%c, --%s %s", row->letter, row->name, value);
    } else {
      (void)snprintf(left, sizeof left, "    --%s %s", row->name, value);
    }
    (void)printf("  %-26s %s\n", left, row->text);
  }
  (void)fputs(table->tail, stdout);
}

/* ---- what else is done with the command line ---- */

bool option_whole(const char *text, int64_t low, int64_t high, int64_t *value) {
  size_t length = strspn(text, "0123456789");
  if (length == 0 || length > 12 || text[length] != '\0') {
    return false;
  }
  *value = strtoll(text, NULL, 10);
  return *value >= low && *value <= high;
}

int option_threads(int asked) {
  int allowed = processors_allowed();
  return asked > 0 ? asked : allowed < JOB_LIMIT ? allowed : JOB_LIMIT;
}

char *option_command_line(const char *command, int argument_count, char **arguments) {
  size_t size = strlen("swashloop ") + strlen(command) + 1;
  for (int i = 0; i < argument_count; i++) {
    size += strlen(arguments[i]) + 3;
  }
  char *line = malloc(size);
  if (line == NULL) {
    return NULL;
  }
  int length = snprintf(line, size, "swashloop %s", command);
  for (int i = 0; i < argument_count; i++) {
    const char *quote = strpbrk(arguments[i], " \t\"'*") != NULL ? "'" : "";
    length += snprintf(line + length, size - (size_t)length, " %s%s%s", quote, arguments[i], quote);
  }
  return line;
}

char *option_default_file(const char *path, const char *ending) {
  const char *slash = strrchr(path, '/');
  const char *base = slash != NULL ? slash + 1 : path;
  const char *dot = strrchr(base, '.');
  int length = dot != NULL && dot != base ? (int)(dot - base) : (int)strlen(base);
  size_t size = (size_t)length + strlen(ending) + 1;
  char *file = malloc(size);
  if (file != NULL) {
    (void)snprintf(file, size, "%.*s%s", length, base, ending);
  }
  return file;
}

bool option_check_output(const struct asked *asked, enum output_kind kind, bool again, const struct input_file *read,
                         struct error *error) {
  struct output output = {asked->output, kind, asked->force, again};
  return output_check(&output, asked->reads.list, asked->reads.count, read, error);
}
