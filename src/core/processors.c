#define _GNU_SOURCE /* sched_getaffinity */
#include "processors.h"

#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST = 65536, PATH_ROOM = 4096 };

int processors_of_quota(const char *text) {
  char *end = NULL;
  double quota = strtod(text, &end);
  double period = end != text ? strtod(end, NULL) : 0.0;
  if (!(quota > 0.0 && period > 0.0 && quota / period < (double)MOST)) {
    return 0;
  }
  int whole = (int)(quota / period);
  return whole + ((double)whole * period < quota ? 1 : 0);
}

/* The first line of a file, or "". */
static const char *first_line(const char *path, char *line, int size) {
  FILE *file = fopen(path, "r");
  line[0] = '\0';
  if (file != NULL) {
    if (fgets(line, size, file) == NULL) {
      line[0] = '\0';
    }
    (void)fclose(file);
  }
  return line;
}

/* The control group of this process by the unified hierarchy ("0::/path"), without the slash at its end. */
static void own_group(char *group, int size) {
  char line[PATH_ROOM];
  FILE *file = fopen("/proc/self/cgroup", "r");
  group[0] = '\0';
  while (file != NULL && fgets(line, sizeof line, file) != NULL) {
    if (strncmp(line, "0::/", 4) == 0) {
      (void)snprintf(group, (size_t)size, "%.*s", (int)strcspn(line + 3, "\n"), line + 3);
    }
  }
  if (file != NULL) {
    (void)fclose(file);
  }
}

/* The smallest quota of the group and of those that it lies in; 0: none. */
static int quota_of_groups(void) {
  char group[PATH_ROOM];
  char path[PATH_ROOM + 64];
  char line[128];
  int least = 0;
  own_group(group, sizeof group);
  for (;;) {
    (void)snprintf(path, sizeof path, "/sys/fs/cgroup%s/cpu.max", strcmp(group, "/") == 0 ? "" : group);
    int quota = processors_of_quota(first_line(path, line, sizeof line));
    least = quota > 0 && (least == 0 || quota < least) ? quota : least;
    char *slash = strrchr(group, '/');
    if (slash == NULL) {
      break;
    }
    *slash = '\0';
  }
  /* The older hierarchy, as containers see it. */
  char period[64];
  (void)snprintf(path, sizeof path, "%.40s %.40s", first_line("/sys/fs/cgroup/cpu/cpu.cfs_quota_us", line, 64),
                 first_line("/sys/fs/cgroup/cpu/cpu.cfs_period_us", period, 64));
  int quota = processors_of_quota(path);
  return quota > 0 && (least == 0 || quota < least) ? quota : least;
}

static int bound_to(void) {
  cpu_set_t set;
  CPU_ZERO(&set);
  /* More processors than the set has room for: the call fails, and all count. */
  return sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 0;
}

int processors_allowed(void) {
  long online = sysconf(_SC_NPROCESSORS_ONLN);
  int count = online >= 1 && online <= MOST ? (int)online : 1;
  int bound = bound_to();
  int quota = quota_of_groups();
  count = bound > 0 && bound < count ? bound : count;
  return quota > 0 && quota < count ? quota : count;
}
