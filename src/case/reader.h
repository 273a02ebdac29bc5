/* The strict subset of YAML that cases are written in, as a tree whose every node knows its place.
 *
 * Refused: anchors, aliases, tags, directives, merge keys, a second document, duplicate keys, keys that are no text,
 * nesting beyond 64, a text beyond 4 kB, a file beyond 16 MiB, more than 1000 keys in one mapping, tabs, control
 * characters, bytes that are no UTF-8. Every scalar is text; what it means is decided by who asks. */
#ifndef SWASHLOOP_CASE_READER_H
#define SWASHLOOP_CASE_READER_H

#include <stdbool.h>
#include <stddef.h>

#include "arena.h"
#include "error.h"
#include "input_file.h"

enum { READER_FILE_LIMIT = 16777216, READER_TEXT_LIMIT = 4096, READER_DEPTH_LIMIT = 64, READER_KEY_LIMIT = 1000 };

enum node_kind { NODE_TEXT, NODE_LIST, NODE_MAPPING };

struct node {
  enum node_kind kind;
  const char *file; /* as it stands in messages */
  int line;         /* from 1; 0: the text is no file and has but one line */
  int column;       /* from 1, in characters */
  bool verbatim;    /* plain text on one line: its i-th character stands at column + i */
  const char *text; /* of a NODE_TEXT */

  const char *key; /* name in the mapping around it; NULL in a list */
  int key_line;
  int key_column;

  struct node *first; /* children in order */
  struct node *next;
  int count; /* children */
};

/* Read `length` bytes. `column_shift` < 0: a file named `file`. Otherwise a one-line text, as from the command line,
 * whose first byte stands at column 1 + column_shift of what `file` quotes. NULL with `error` filled. */
struct node *reader_parse(struct arena *arena, const char *file, const char *text, size_t length, int column_shift,
                          struct error *error);

/* The whole file as bytes (see input_read), from the disk or, unless NULL, from `carried`, put before `*files` (which
 * may be NULL); NULL with `*why` pointing to the reason, errno too. */
char *reader_file(struct arena *arena, const struct carried_files *carried, const char *path, size_t limit,
                  const struct input_file **files, size_t *length, const char **why);

/* Note what had to be guessed of the file that was read last; false: memory is out. */
bool reader_guessed(struct arena *arena, const struct input_file **files, const char *words);

/* Child of a mapping, NULL if it has none of this name. */
const struct node *node_child(const struct node *mapping, const char *key);
/* Column of the character `offset` characters into the node's text; of the node itself where that is not known. */
int node_column(const struct node *node, int offset);
/* "a list", for messages. */
const char *node_kind_words(const struct node *node);

#endif
