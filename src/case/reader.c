#include "reader.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

#include "text.h"

struct reading {
  yaml_parser_t parser;
  struct arena *arena;
  const char *file;
  int column_shift;
  size_t length;
  struct error *error;
};

struct place {
  int line;
  int column;
};

static struct place place_of(const struct reading *reading, yaml_mark_t mark) {
  struct place place = {(int)mark.line + 1, (int)mark.column + 1};
  if (reading->column_shift >= 0) {
    /* The library lets a text end on a line of its own. */
    place.column = reading->column_shift + (mark.line > 0 ? (int)reading->length + 1 : place.column);
    place.line = 0;
  }
  return place;
}

#define FAIL_AT(reading, mark, ...)                                                                                    \
  error_at((reading)->error, (reading)->file, place_of(reading, mark).line, place_of(reading, mark).column, __VA_ARGS__)

static struct node *out_of_memory(const struct reading *reading) {
  error_set(reading->error, ERROR_MEMORY, "no memory to read %s", reading->file);
  return NULL;
}

/* --- Before the YAML library sees the text: it tells no line for these ----------------------------------------------
 */

static bool scan_characters(const struct reading *reading, const char *text, size_t length) {
  yaml_mark_t mark = {0, 0, 0};
  bool one_line = reading->column_shift >= 0;
  for (size_t at = 0; at < length;) {
    unsigned long code = 0;
    size_t bytes = text_decode(text + at, length - at, &code);
    if (bytes == 0) {
      return FAIL_AT(reading, mark, "this byte is no UTF-8 text");
    }
    if (code == '\t') {
      return FAIL_AT(reading, mark, "a tab; indent and separate with blanks");
    }
    bool line_ends = !one_line && (code == '\n' || (code == '\r' && at + 1 < length && text[at + 1] == '\n'));
    if (!line_ends && !text_printable(code)) {
      return FAIL_AT(reading, mark, "a control character (U+%04lX)", code);
    }
    at += bytes;
    mark.column++;
    if (code == '\n') {
      mark.line++;
      mark.column = 0;
    }
  }
  return true;
}

/* --- Events to nodes ------------------------------------------------------------------------------------------------
 */

static bool parser_failed(const struct reading *reading) {
  const yaml_parser_t *parser = &reading->parser;
  if (parser->error == YAML_MEMORY_ERROR) {
    return error_set(reading->error, ERROR_MEMORY, "no memory to read %s", reading->file);
  }
  const char *problem = parser->problem ? parser->problem : "not readable";
  return FAIL_AT(reading, parser->problem_mark, "no well-formed YAML: %s%s%s", parser->context ? parser->context : "",
                 parser->context ? ", " : "", problem);
}

static bool next_event(struct reading *reading, yaml_event_t *event) {
  return yaml_parser_parse(&reading->parser, event) ? true : parser_failed(reading);
}

static struct node *build(struct reading *reading, const yaml_event_t *event, int depth);

static struct node *new_node(const struct reading *reading, const yaml_event_t *event, enum node_kind kind) {
  struct node *node = arena_take(reading->arena, sizeof *node);
  if (!node) {
    return out_of_memory(reading);
  }
  struct place place = place_of(reading, event->start_mark);
  node->kind = kind;
  node->file = reading->file;
  node->line = place.line;
  node->column = place.column;
  return node;
}

/* Escapes in a quoted text can make what scan_characters refused, and more. */
static bool check_text(const struct reading *reading, const yaml_event_t *event) {
  const char *text = (const char *)event->data.scalar.value;
  size_t length = event->data.scalar.length;
  if (length > READER_TEXT_LIMIT) {
    return FAIL_AT(reading, event->start_mark, "a text of %zu bytes; at most %d are read", length, READER_TEXT_LIMIT);
  }
  for (size_t at = 0; at < length;) {
    unsigned long code = 0;
    size_t bytes = text_decode(text + at, length - at, &code);
    if (bytes == 0 || !text_printable(code)) {
      return FAIL_AT(reading, event->start_mark, "a line break or control character in a text; texts have one line");
    }
    at += bytes;
  }
  return true;
}

static struct node *build_text(const struct reading *reading, const yaml_event_t *event) {
  if (!check_text(reading, event)) {
    return NULL;
  }
  struct node *node = new_node(reading, event, NODE_TEXT);
  if (!node) {
    return NULL;
  }
  node->text = arena_text(reading->arena, (const char *)event->data.scalar.value, event->data.scalar.length);
  if (!node->text) {
    return out_of_memory(reading);
  }
  node->verbatim =
      event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE && event->start_mark.line == event->end_mark.line;
  return node;
}

static struct node *build_list(struct reading *reading, const yaml_event_t *start, int depth) {
  struct node *list = new_node(reading, start, NODE_LIST);
  struct node **end = list ? &list->first : NULL;
  while (list) {
    yaml_event_t event;
    if (!next_event(reading, &event)) {
      return NULL;
    }
    bool done = event.type == YAML_SEQUENCE_END_EVENT;
    struct node *item = done ? NULL : build(reading, &event, depth + 1);
    yaml_event_delete(&event);
    if (done) {
      break;
    }
    if (!item) {
      return NULL;
    }
    *end = item;
    end = &item->next;
    list->count++;
  }
  return list;
}

static bool check_key(const struct reading *reading, const yaml_event_t *event, const struct node *mapping) {
  if (event->type == YAML_ALIAS_EVENT) {
    return FAIL_AT(reading, event->start_mark, "an alias (*); a case spells every value out");
  }
  if (event->type != YAML_SCALAR_EVENT) {
    return FAIL_AT(reading, event->start_mark, "a list or mapping as a key; a key is a name");
  }
  if (event->data.scalar.anchor || event->data.scalar.tag) {
    return FAIL_AT(reading, event->start_mark, "an anchor (&) or tag (!); a case has neither");
  }
  if (!check_text(reading, event)) {
    return false;
  }
  const char *key = (const char *)event->data.scalar.value;
  if (key[0] == '\0') {
    return FAIL_AT(reading, event->start_mark, "a value without a name before the colon");
  }
  if (strcmp(key, "<<") == 0) {
    return FAIL_AT(reading, event->start_mark, "a merge key (<<); a case has none, 'machine:' brings in other files");
  }
  if (mapping->count >= READER_KEY_LIMIT) {
    return FAIL_AT(reading, event->start_mark, "more than %d keys in one mapping", READER_KEY_LIMIT);
  }
  const struct node *twin = node_child(mapping, key);
  if (twin) {
    return FAIL_AT(reading, event->start_mark, "'%s' is here twice, first in line %d", text_excerpt(key).text,
                   twin->key_line);
  }
  return true;
}

/* One `key: value`; the key's event is given. */
static struct node *build_pair(struct reading *reading, const yaml_event_t *key, const struct node *mapping,
                               int depth) {
  if (!check_key(reading, key, mapping)) {
    return NULL;
  }
  const char *name = arena_text(reading->arena, (const char *)key->data.scalar.value, key->data.scalar.length);
  if (!name) {
    return out_of_memory(reading);
  }
  yaml_event_t event;
  if (!next_event(reading, &event)) {
    return NULL;
  }
  struct node *value = build(reading, &event, depth + 1);
  yaml_event_delete(&event);
  if (value) {
    struct place place = place_of(reading, key->start_mark);
    value->key = name;
    value->key_line = place.line;
    value->key_column = place.column;
  }
  return value;
}

static struct node *build_mapping(struct reading *reading, const yaml_event_t *start, int depth) {
  struct node *mapping = new_node(reading, start, NODE_MAPPING);
  struct node **end = mapping ? &mapping->first : NULL;
  while (mapping) {
    yaml_event_t key;
    if (!next_event(reading, &key)) {
      return NULL;
    }
    bool done = key.type == YAML_MAPPING_END_EVENT;
    struct node *value = done ? NULL : build_pair(reading, &key, mapping, depth);
    yaml_event_delete(&key);
    if (done) {
      break;
    }
    if (!value) {
      return NULL;
    }
    *end = value;
    end = &value->next;
    mapping->count++;
  }
  return mapping;
}

static bool check_plain_event(const struct reading *reading, const yaml_event_t *event, int depth) {
  const yaml_char_t *anchor = NULL;
  const yaml_char_t *tag = NULL;
  switch (event->type) {
  case YAML_ALIAS_EVENT:
    return FAIL_AT(reading, event->start_mark, "an alias (*); a case spells every value out");
  case YAML_SCALAR_EVENT:
    anchor = event->data.scalar.anchor;
    tag = event->data.scalar.tag;
    break;
  case YAML_SEQUENCE_START_EVENT:
    anchor = event->data.sequence_start.anchor;
    tag = event->data.sequence_start.tag;
    break;
  default:
    anchor = event->data.mapping_start.anchor;
    tag = event->data.mapping_start.tag;
    break;
  }
  if (anchor) {
    return FAIL_AT(reading, event->start_mark, "an anchor (&); a case spells every value out");
  }
  if (tag) {
    return FAIL_AT(reading, event->start_mark, "a tag (!); a value's kind follows from its name");
  }
  if (depth > READER_DEPTH_LIMIT) {
    return FAIL_AT(reading, event->start_mark, "nested deeper than %d levels", READER_DEPTH_LIMIT);
  }
  return true;
}

/* The node that begins with `event`. The depth limit bounds the recursion. */
static struct node *build(struct reading *reading, const yaml_event_t *event, int depth) {
  if (!check_plain_event(reading, event, depth)) {
    return NULL;
  }
  if (event->type == YAML_SCALAR_EVENT) {
    return build_text(reading, event);
  }
  return event->type == YAML_SEQUENCE_START_EVENT ? build_list(reading, event, depth)
                                                  : build_mapping(reading, event, depth);
}

/* From the start of the stream to the content of its first document. */
static bool open_document(struct reading *reading, yaml_event_t *content) {
  yaml_event_t event;
  if (!next_event(reading, &event)) {
    return false;
  }
  yaml_event_delete(&event); /* start of the stream */
  if (!next_event(reading, &event)) {
    return false;
  }
  bool good = true;
  if (event.type == YAML_STREAM_END_EVENT) {
    good = FAIL_AT(reading, event.start_mark, "nothing is written here");
  } else if (event.data.document_start.version_directive ||
             event.data.document_start.tag_directives.start != event.data.document_start.tag_directives.end) {
    good = FAIL_AT(reading, event.start_mark, "a directive (%%); a case has none");
  }
  yaml_event_delete(&event);
  return good && next_event(reading, content);
}

/* Nothing may follow the first document. */
static bool close_document(struct reading *reading) {
  yaml_event_t event;
  if (!next_event(reading, &event)) {
    return false;
  }
  yaml_event_delete(&event); /* end of the document */
  if (!next_event(reading, &event)) {
    return false;
  }
  bool good = event.type == YAML_STREAM_END_EVENT ||
              FAIL_AT(reading, event.start_mark, "a second document (---); a file holds one case");
  yaml_event_delete(&event);
  return good;
}

static struct node *read_document(struct reading *reading) {
  yaml_event_t content;
  if (!open_document(reading, &content)) {
    return NULL;
  }
  struct node *root = build(reading, &content, 1);
  yaml_event_delete(&content);
  return root && close_document(reading) ? root : NULL;
}

struct node *reader_parse(struct arena *arena, const char *file, const char *text, size_t length, int column_shift,
                          struct error *error) {
  struct reading reading = {
      .arena = arena, .file = file, .column_shift = column_shift, .length = length, .error = error};
  if (length > READER_FILE_LIMIT) {
    error_at(error, file, 0, 0, "larger than 16 MiB; a case is smaller");
    return NULL;
  }
  /* A byte-order mark is allowed in front. */
  if (column_shift < 0 && length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0) {
    text += 3;
    length -= 3;
  }
  if (!scan_characters(&reading, text, length)) {
    return NULL;
  }
  if (!yaml_parser_initialize(&reading.parser)) {
    return out_of_memory(&reading);
  }
  yaml_parser_set_input_string(&reading.parser, (const unsigned char *)text, length);
  struct node *root = read_document(&reading);
  yaml_parser_delete(&reading.parser);
  return root;
}

/* --- Files ----------------------------------------------------------------------------------------------------------
 */

/* Remembered, so that nothing is written over it. */
static bool note_file(struct arena *arena, const char *path, const struct stat *status, const char *text, size_t length,
                      const struct input_file **files) {
  struct input_file *file = arena_take(arena, sizeof *file);
  char *name = arena_text(arena, path, strlen(path));
  if (!file || !name) {
    return false;
  }
  *file = (struct input_file){name, status->st_dev, status->st_ino, *files, NULL, text, length};
  *files = file;
  return true;
}

/* A copy of a file that was sent along; to be freed. */
static char *carried_text(const struct carried_files *carried, const char *path, size_t *length, struct stat *status,
                          const char **why) {
  for (int i = 0; i < carried->count; i++) {
    const struct carried_file *file = &carried->list[i];
    if (strcmp(file->path, path) == 0) {
      char *text = malloc(file->length + 1);
      if (text != NULL) {
        memcpy(text, file->text, file->length);
        text[file->length] = '\0';
        *length = file->length;
        memset(status, 0, sizeof *status);
        status->st_ino = (ino_t)i + 1;
        return text;
      }
      *why = "no memory";
      errno = ENOMEM;
      return NULL;
    }
  }
  *why = "it is not among the files that came along";
  errno = ENOENT;
  return NULL;
}

char *reader_file(struct arena *arena, const struct carried_files *carried, const char *path, size_t limit,
                  const struct input_file **files, size_t *length, const char **why) {
  struct stat status;
  char *read = carried != NULL ? carried_text(carried, path, length, &status, why)
                               : input_read(path, limit, length, &status, why);
  if (!read) {
    return NULL;
  }
  char *text = arena_text(arena, read, *length);
  free(read);
  if (!text || (files && !note_file(arena, path, &status, text, *length, files))) {
    *why = "no memory";
    errno = ENOMEM;
    return NULL;
  }
  return text;
}

bool reader_guessed(struct arena *arena, const struct input_file **files, const char *words) {
  struct input_file *file = arena_take(arena, sizeof *file);
  char *own = arena_text(arena, words, strlen(words));
  if (!file || !own) {
    return false;
  }
  *file = **files;
  file->guessed = own;
  *files = file;
  return true;
}

/* --- Nodes ----------------------------------------------------------------------------------------------------------
 */

const struct node *node_child(const struct node *mapping, const char *key) {
  for (const struct node *child = mapping->first; child; child = child->next) {
    if (strcmp(child->key, key) == 0) {
      return child;
    }
  }
  return NULL;
}

int node_column(const struct node *node, int offset) {
  return node->verbatim ? node->column + offset : node->column;
}

const char *node_kind_words(const struct node *node) {
  switch (node->kind) {
  case NODE_LIST:
    return "a list";
  case NODE_MAPPING:
    return "a mapping";
  default:
    return "a text";
  }
}
