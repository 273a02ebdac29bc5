#include "arena.h"

#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK_SIZE = 16384 };

struct block {
  struct block *older;
  size_t size;
  size_t used;
  alignas(max_align_t) unsigned char bytes[];
};

struct arena {
  struct block *newest;
};

struct arena *arena_open(void) {
  return calloc(1, sizeof(struct arena));
}

void arena_close(struct arena *arena) {
  if (!arena) {
    return;
  }
  while (arena->newest) {
    struct block *older = arena->newest->older;
    free(arena->newest);
    arena->newest = older;
  }
  free(arena);
}

static struct block *add_block(struct arena *arena, size_t size) {
  struct block *block = calloc(1, sizeof *block + size);
  if (block) {
    block->older = arena->newest;
    block->size = size;
    arena->newest = block;
  }
  return block;
}

void *arena_take(struct arena *arena, size_t size) {
  size_t unit = alignof(max_align_t);
  if (size > SIZE_MAX / 2) {
    return NULL;
  }
  size = (size / unit + 1) * unit;
  struct block *block = arena->newest;
  if (!block || block->size - block->used < size) {
    block = add_block(arena, size > BLOCK_SIZE ? size : BLOCK_SIZE);
    if (!block) {
      return NULL;
    }
  }
  void *taken = block->bytes + block->used;
  block->used += size;
  return taken;
}

char *arena_text(struct arena *arena, const char *text, size_t length) {
  char *copy = arena_take(arena, length + 1);
  if (copy && length > 0) {
    memcpy(copy, text, length);
  }
  return copy;
}
