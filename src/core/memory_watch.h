/* Has the system refused memory? Libraries that run out of it do not always say so: they lose what they were to keep,
 * take a wrong turn or die. So every request of the process is watched, whoever makes it, and what was made while one
 * was refused is not given out: no file gets its name, no command ends as done, nobody's input is blamed. */
#ifndef SWASHLOOP_CORE_MEMORY_WATCH_H
#define SWASHLOOP_CORE_MEMORY_WATCH_H

#include <stdbool.h>
#include <stddef.h>

#include "error.h"

/* 0 where a sanitizer has taken the place of the C library's allocator: nothing is watched then, and address space, of
 * which it takes terabytes for its book-keeping, cannot be bounded. */
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define MEMORY_IS_PLAIN 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define MEMORY_IS_PLAIN 0
#else
#define MEMORY_IS_PLAIN 1
#endif
#else
#define MEMORY_IS_PLAIN 1
#endif

/* Requests refused so far: in all threads and in processes forked after memory_watch_share, or in this thread alone.
 */
unsigned long memory_refusals(void);
unsigned long memory_refusals_here(void);

/* Count together with the processes that are forked from now on; false: there is no memory to do it in. */
bool memory_watch_share(void);
/* From now on a request for more than `most` bytes is one that no honest input leads to: its refusal does not count. */
void memory_watch_bound(size_t most);

/* Fill `error` if memory was refused; returns whether it was not. */
bool memory_suffices(struct error *error);

#endif
