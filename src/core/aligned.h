/* Memory aligned for vectors. */
#ifndef SWASHLOOP_CORE_ALIGNED_H
#define SWASHLOOP_CORE_ALIGNED_H

#include <stddef.h>

enum { ALIGNED_BYTES = 64 }; /* a cache line, and the widest vector registers */

/* At least `size` bytes, all zero, aligned to ALIGNED_BYTES; freed by free(). NULL without memory. */
void *aligned_zeros(size_t size);

#endif
