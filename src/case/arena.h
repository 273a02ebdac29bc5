/* Memory that is given back all at once. */
#ifndef SWASHLOOP_CASE_ARENA_H
#define SWASHLOOP_CASE_ARENA_H

#include <stddef.h>

struct arena;

/* An empty arena, NULL when memory is out; closing it gives back all that was taken from it. */
struct arena *arena_open(void);
void arena_close(struct arena *arena);
/* `size` zero bytes, aligned for anything; NULL when memory is out. */
void *arena_take(struct arena *arena, size_t size);
/* A copy of `length` bytes with a zero behind. */
char *arena_text(struct arena *arena, const char *text, size_t length);

#endif
