#define _GNU_SOURCE /* RTLD_NEXT */

#include "memory_watch.h"

#include <dlfcn.h>
#include <errno.h>
#include <stdatomic.h>
#include <stdint.h>
#include <sys/mman.h>

struct tally {
  atomic_ulong count;
  atomic_size_t first; /* bytes asked for by the first that was refused */
};

/* The allocator has no context to be handed: what it notes can lie nowhere else. */
static struct tally own;
static struct tally *tally = &own;
static _Thread_local unsigned long here;
static size_t plausible = SIZE_MAX;

unsigned long memory_refusals(void) {
  return atomic_load_explicit(&tally->count, memory_order_relaxed);
}

unsigned long memory_refusals_here(void) {
  return here;
}

bool memory_watch_share(void) {
  struct tally *shared = mmap(NULL, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
  if (shared == MAP_FAILED) {
    return false;
  }
  atomic_store(&shared->count, memory_refusals());
  atomic_store(&shared->first, atomic_load(&tally->first));
  tally = shared;
  return true;
}

void memory_watch_bound(size_t most) {
  plausible = most;
}

bool memory_suffices(struct error *error) {
  return memory_refusals() == 0 || error_set(error, ERROR_MEMORY, "out of memory: a request for %zu bytes was refused",
                                             atomic_load_explicit(&tally->first, memory_order_relaxed));
}

#if MEMORY_IS_PLAIN

/* ---- the allocator of the C library, looked at from outside ----
 *
 * A definition in the program stands before those of all libraries, and libraries linked into it use it, too. free() is
 * left alone: memory comes from whom it came from before. */

/* Not by <stdlib.h>: the names that it gives to parameters are reserved. */
void *malloc(size_t size);
void *calloc(size_t count, size_t size);
void *realloc(void *old, size_t size);
void *aligned_alloc(size_t alignment, size_t size);
int posix_memalign(void **place, size_t alignment, size_t size);

static void *noted(void *memory, size_t size) {
  if (memory == NULL && size > 0 && size <= plausible) {
    here++;
    if (atomic_fetch_add_explicit(&tally->count, 1, memory_order_relaxed) == 0) {
      atomic_store_explicit(&tally->first, size, memory_order_relaxed);
    }
    errno = ENOMEM;
  }
  return memory;
}

static size_t product(size_t count, size_t size) {
  return size == 0 || count <= SIZE_MAX / size ? count * size : SIZE_MAX;
}

/* The function of that name behind this one; looked up again where two threads are first at once, which finds the
 * same. A function pointer is made of what dlsym gives as POSIX shows it. */
#define BEHIND(name, result, arguments)                                                                                \
  static result(*_Atomic next) arguments;                                                                              \
  result(*behind) arguments = atomic_load_explicit(&next, memory_order_relaxed);                                       \
  if (behind == NULL) {                                                                                                \
    *(void **)&behind = dlsym(RTLD_NEXT, name);                                                                        \
    if (behind == NULL) {                                                                                              \
      return NOTHING_BEHIND;                                                                                           \
    }                                                                                                                  \
    atomic_store_explicit(&next, behind, memory_order_relaxed);                                                        \
  }

#define NOTHING_BEHIND NULL
void *malloc(size_t size) {
  BEHIND("malloc", void *, (size_t))
  return noted(behind(size), size);
}

void *calloc(size_t count, size_t size) {
  BEHIND("calloc", void *, (size_t, size_t))
  return noted(behind(count, size), product(count, size));
}

void *realloc(void *old, size_t size) {
  BEHIND("realloc", void *, (void *, size_t))
  return noted(behind(old, size), size);
}

void *aligned_alloc(size_t alignment, size_t size) {
  BEHIND("aligned_alloc", void *, (size_t, size_t))
  return noted(behind(alignment, size), size);
}
#undef NOTHING_BEHIND

#define NOTHING_BEHIND ENOSYS
int posix_memalign(void **place, size_t alignment, size_t size) {
  BEHIND("posix_memalign", int, (void **, size_t, size_t))
  int result = behind(place, alignment, size);
  if (result == ENOMEM) {
    (void)noted(NULL, size);
  }
  return result;
}
#undef NOTHING_BEHIND

#endif
