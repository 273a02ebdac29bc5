/* Inside the case room: what the parts of reading a case share. */
#ifndef SWASHLOOP_CASE_LOADER_H
#define SWASHLOOP_CASE_LOADER_H

#include <stdint.h>

#include "arena.h"
#include "case.h"
#include "measures.h"
#include "reader.h"
#include "registry.h"

struct loader {
  struct arena *arena;
  struct case_data *data; /* being filled */
  struct error *error;
  struct faults *faults;               /* where all faults go; NULL: the first ends it */
  const struct carried_files *carried; /* where files are read from; NULL: the disk */
};

/* After a fault in loader->error: may reading go on, to find more? The fault is kept then. */
bool loader_goes_on(const struct loader *loader);

/* "; did you mean 'x'?" for the nearest of the names, or "". */
struct hint {
  char text[128];
};
/* `name_at` returns the i-th of `count` names. */
struct hint hint_nearest(const char *name, int count, const char *(*name_at)(const void *context, int index),
                         const void *context);

/* Fails with "no memory". */
bool loader_out_of_memory(const struct loader *loader);

/* values.c: a node into the member of a parameter; its bounds are checked. */
bool value_read(const struct loader *loader, void *base, struct parameter parameter, const struct node *node);
/* The word `none`: a table or map that the machine below has is taken away. */
bool value_is_none(const struct node *node);
/* Is `si` within the field's bounds? `name` stands in the message. */
bool value_check(const struct loader *loader, const struct field *field, const char *name, double si,
                 const struct node *node);

/* Arguments of a table never fall, and no more than two are equal; asked for the point `index`, which stands at `at`.
 */
bool table_order(const struct loader *loader, const char *path, const struct field *field, const real *arguments,
                 int index, const struct node *at);
/* csv.c: a table from the file that the mapping {file: NAME, argument: COLUMN, value: COLUMN} names. */
bool csv_table(const struct loader *loader, const char *path, const struct field *field, const struct node *mapping,
               struct profile *table);
/* The rows of a map from the file that {file: NAME, speed: COLUMN, ...} names, as a case would list them; NULL after a
 * fault. */
const struct node *csv_map_rows(const struct loader *loader, const char *path, const struct map_form *form,
                                const struct node *mapping);
/* maps.c: the rows of a map. */
bool map_read(const struct loader *loader, struct map *map, struct parameter parameter, const struct node *node);

/* One number of the quantity; the index of one of the choices "a|b". */
bool number_read(const struct loader *loader, const char *path, enum quantity quantity, const struct node *node,
                 double *si);
bool choice_read(const struct loader *loader, const char *path, const char *choices, const struct node *node,
                 int *index);

/* conditions.c: the lists `actions:` and `limits:`; further limits stand behind those before. */
bool actions_read(const struct loader *loader, const struct node *list);
bool limits_read(const struct loader *loader, const struct node *list);
/* The sentence `NAME OP VALUE` of a limit, without `within`. */
bool condition_read(const struct loader *loader, const struct node *node, struct condition *condition);
/* The table that moves a channel otherwise, whose bounds the channel has; NULL if there is none. */
const struct field *action_table(const struct plant *plant, int channel);

/* entries.c: what a file of entries must be, a study or a review. Does the mapping have these keys alone? `what` says
 * in words what it is. */
bool entries_known(const struct loader *loader, const struct node *mapping, const char *what, const char *const *keys,
                   int count);
/* Is it a list of at least one? */
bool entries_list(const struct loader *loader, const struct node *node, const char *entries);
/* Is it a text that is not empty? */
bool entry_word(const struct loader *loader, const struct node *node, const char *what);
/* A whole number within bounds. */
bool entry_whole(const struct loader *loader, const struct node *node, double low, double high, int64_t *value);

/* case.c: names that a case and its sections may have. The group of this name, and the block that its struct lies in.
 */
const struct group *loader_group(const struct case_data *data, const char *name, void **base);
const char *loader_field_at(const void *context, int index);
bool loader_is_top_key(const char *key);
/* " (pump has displacement, losses, ...)" in full, or as many as fit. */
struct field_list {
  char text[600];
};
/* The fields of a group, as such words. */
struct field_list loader_fields(const struct group *group);
/* The node becomes the title. */
bool loader_title(const struct loader *loader, const struct node *node);

/* Where a path is written. */
struct set_place {
  const char *file;
  int line;
  int column;
};
/* sets.c: set what `path` names; the text "PATH=VALUE" of a --set. */
bool loader_set_path(const struct loader *loader, struct set_place place, const char *path, const struct node *value);
bool loader_set(const struct loader *loader, const char *text);
/* The parameter or setting of this path, and the block that it lies in. The column of the error counts in the path. */
bool loader_find(const struct case_data *data, const char *path, struct parameter *parameter, void **base,
                 struct error *error);
/* case.c: `name` as written in the file `beside`; NULL if it is too long or memory is out. */
const char *loader_beside(struct arena *arena, const char *beside, const char *name);

/* given.c: keep in mind that the case itself sets this parameter, and where; the last place counts. */
bool given_note(const struct loader *loader, struct parameter parameter, const char *file, int line, int column);
/* The list, with the names of its files, in another arena; false: memory is out. */
bool given_copy(struct arena *arena, const struct given *given, struct given **copy);

/* resolve.c: the whole case as YAML; NULL when memory is out. */
char *resolve_case(struct arena *arena, const struct case_data *data);

#endif
