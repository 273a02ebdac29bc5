#include "aligned.h"

#include <stdlib.h>
#include <string.h>

void *aligned_zeros(size_t size) {
  size_t bytes = (size + ALIGNED_BYTES - 1) / ALIGNED_BYTES * ALIGNED_BYTES;
  void *memory = aligned_alloc(ALIGNED_BYTES, bytes);
  if (memory != NULL) {
    memset(memory, 0, bytes);
  }
  return memory;
}
