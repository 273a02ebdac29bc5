/* Inside the case room: what the parts of reading a case share. */
#ifndef SWASHLOOP_CASE_LOADER_H
#define SWASHLOOP_CASE_LOADER_H

#include "arena.h"
#include "case.h"
#include "measures.h"
#include "reader.h"
#include "registry.h"

struct loader {
  struct arena *arena;
  struct case_data *data; /* being filled */
  struct error *error;
};

/* "; did you mean 'x'?" for the nearest of the names, or "". */
struct hint {
  char text[128];
};
struct hint hint_nearest(const char *name, int count, const char *(*name_at)(const void *context, int index),
                         const void *context);

/* Fails with "no memory". */
bool loader_out_of_memory(const struct loader *loader);

/* values.c: a node into the member of a parameter; its bounds are checked. */
bool value_read(const struct loader *loader, void *base, struct parameter parameter, const struct node *node);
/* Is `si` within the field's bounds? `name` stands in the message. */
bool value_check(const struct loader *loader, const struct field *field, const char *name, double si,
                 const struct node *node);

/* conditions.c: the lists `actions:` and `limits:`. */
bool actions_read(const struct loader *loader, const struct node *list);
bool limits_read(const struct loader *loader, const struct node *list);

/* resolve.c: the whole case as YAML; NULL when memory is out. */
char *resolve_case(struct arena *arena, const struct case_data *data);

#endif
