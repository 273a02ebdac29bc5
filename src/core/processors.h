/* How many processors this process may use. */
#ifndef SWASHLOOP_CORE_PROCESSORS_H
#define SWASHLOOP_CORE_PROCESSORS_H

/* At least 1: those that are online, fewer where the process is bound to some of them (affinity) or its control group
 * is given a share of time (quota, rounded up). */
int processors_allowed(void);

/* "200000 100000" (a quota and its period), as cpu.max tells it: 2, rounded up; 0 where there is no quota. */
int processors_of_quota(const char *text);

#endif
