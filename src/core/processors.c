#define _GNU_SOURCE /* sched_getaffinity */
#include "processors.h"

#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "input_file.h"

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

/* What a small file of the system says, or "": a quota that cannot be read is none. */
static const char *small_text(const char *path, char *text, size_t size) {
  size_t length = 0;
  const char *why;
  char *found = input_read(path, size - 1, &length, NULL, &why);
  (void)snprintf(text, size, "%.*s", (int)(length < size ? length : size - 1), found != NULL ? found : "");
  free(found);
  return text;
}

/* The control group of this process by the unified hierarchy ("0::/path"), without the slash at its end. */
static void own_group(char *group, size_t size) {
  char text[PATH_ROOM];
  const char *line = small_text("/proc/self/cgroup", text, sizeof text);
  while (line != NULL && strncmp(line, "0::/", 4) != 0) {
    line = strchr(line, '\n');
    line = line != NULL ? line + 1 : NULL;
  }
  (void)snprintf(group, size, "%.*s", line != NULL ? (int)strcspn(line + 3, "\n") : 0, line != NULL ? line + 3 : "");
}

static int smaller_quota(int least, int quota) {
  return quota > 0 && (least == 0 || quota < least) ? quota : least;
}

/* The smallest quota of the group and of those that it lies in; 0: none. */
static int quota_of_groups(void) {
  char group[PATH_ROOM];
  char path[PATH_ROOM + 64];
  char text[128];
  char period[64];
  int least = 0;
  own_group(group, sizeof group);
  for (char *slash = group; slash != NULL;) {
    (void)snprintf(path, sizeof path, "/sys/fs/cgroup%s/cpu.max", strcmp(group, "/") == 0 ? "" : group);
    least = smaller_quota(least, processors_of_quota(small_text(path, text, sizeof text)));
    slash = strrchr(group, '/');
    if (slash != NULL) {
      *slash = '\0';
    }
  }
  /* The older hierarchy, as containers see it. */
  (void)snprintf(path, sizeof path, "%.40s %.40s", small_text("/sys/fs/cgroup/cpu/cpu.cfs_quota_us", text, sizeof text),
                 small_text("/sys/fs/cgroup/cpu/cpu.cfs_period_us", period, sizeof period));
  return smaller_quota(least, processors_of_quota(path));
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
