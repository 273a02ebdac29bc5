/* How many processors this process may use. */
#ifndef SWASHLOOP_CORE_PROCESSORS_H
#define SWASHLOOP_CORE_PROCESSORS_H

#include <stdbool.h>
#include <stddef.h>

/* At least 1: those that are online, fewer where the process is bound to some of them (affinity) or its control group
 * is given a share of time (quota, rounded up). */
int processors_allowed(void);
/* The same without what it is bound to: what all processes of a launcher on this machine may use together. */
int processors_here(void);

/* "200000 100000" (a quota and its period), as cpu.max tells it: 2, rounded up; 0 where there is no quota. */
int processors_of_quota(const char *text);

/* The path of the process's control group, without a slash at its end, from what /proc/self/cgroup says: of the unified
 * hierarchy, or of the older one that shares out processor time. "" for the root, and where there is none. */
void processors_group(const char *text, bool unified, char *group, size_t size);

#endif
