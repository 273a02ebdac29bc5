/* Which parameters a case itself sets. */
#include "loader.h"

#include <string.h>

bool given_note(const struct loader *loader, struct parameter parameter, const char *file, int line, int column) {
  struct given **end = &loader->data->given;
  while (*end != NULL && ((*end)->field != parameter.field || (*end)->group != parameter.group)) {
    end = &(*end)->next;
  }
  struct given *given = arena_take(loader->arena, sizeof *given);
  if (!given) {
    return loader_out_of_memory(loader);
  }
  struct given *next = *end != NULL ? (*end)->next : NULL;
  *given = (struct given){parameter.group, parameter.field, file, line, column, next};
  *end = given;
  return true;
}

bool given_copy(struct arena *arena, const struct given *given, struct given **copy) {
  *copy = NULL;
  for (; given; given = given->next) {
    struct given *own = arena_take(arena, sizeof *own);
    const char *file = arena_text(arena, given->file, strlen(given->file));
    if (!own || !file) {
      return false;
    }
    *own = (struct given){given->group, given->field, file, given->line, given->column, NULL};
    *copy = own;
    copy = &own->next;
  }
  return true;
}
