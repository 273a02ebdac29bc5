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

/* Where the path of a line begins if it is the hierarchy's: "0::/path" the unified one, "4:cpu,cpuacct:/path" the older
 * one with the controller of time; else NULL. */
static const char *path_of_line(const char *line, bool unified) {
  size_t number = strcspn(line, ":\n");
  size_t length = line[number] == ':' ? strcspn(line + number + 1, ":\n") : 0;
  const char *names = line + number + 1;
  if (line[number] != ':' || names[length] != ':') {
    return NULL;
  }
  if (unified) {
    return strncmp(line, "0::", 3) == 0 ? names + 1 : NULL;
  }
  for (size_t at = 0; at < length; at += strcspn(names + at, ",:") + 1) {
    if (strcspn(names + at, ",:") == 3 && strncmp(names + at, "cpu", 3) == 0) {
      return names + length + 1;
    }
  }
  return NULL;
}

void processors_group(const char *text, bool unified, char *group, size_t size) {
  const char *path = NULL;
  for (const char *line = text; path == NULL && line != NULL;) {
    path = path_of_line(line, unified);
    line = strchr(line, '\n');
    line = line != NULL ? line + 1 : NULL;
  }
  int length = path != NULL ? (int)strcspn(path, "\n") : 0;
  length -= length > 0 && path[length - 1] == '/';
  (void)snprintf(group, size, "%.*s", length, path != NULL ? path : "");
}

static int smaller_quota(int least, int quota) {
  return quota > 0 && (least == 0 || quota < least) ? quota : least;
}

/* What one group may use; 0: no quota. */
static int quota_of_group(const char *group, bool unified) {
  char path[PATH_ROOM + 64];
  char text[128];
  char period[64];
  char both[sizeof text + sizeof period];
  if (unified) {
    (void)snprintf(path, sizeof path, "/sys/fs/cgroup%s/cpu.max", group);
    return processors_of_quota(small_text(path, text, sizeof text));
  }
  (void)snprintf(path, sizeof path, "/sys/fs/cgroup/cpu%s/cpu.cfs_quota_us", group);
  (void)small_text(path, text, sizeof text);
  (void)snprintf(path, sizeof path, "/sys/fs/cgroup/cpu%s/cpu.cfs_period_us", group);
  (void)snprintf(both, sizeof both, "%.40s %.40s", text, small_text(path, period, sizeof period));
  return processors_of_quota(both);
}

/* The smallest quota of the process's group and of those that it lies in; 0: none. A container may see its own group
 * as the root, and be told a path that is not there: the root is asked at last. */
static int quota_of_groups(bool unified) {
  char text[PATH_ROOM];
  char group[PATH_ROOM];
  int least = 0;
  processors_group(small_text("/proc/self/cgroup", text, sizeof text), unified, group, sizeof group);
  for (char *slash = group; slash != NULL;) {
    least = smaller_quota(least, quota_of_group(group, unified));
    slash = strrchr(group, '/');
    if (slash != NULL) {
      *slash = '\0';
    }
  }
  return least;
}

static int bound_to(void) {
  cpu_set_t set;
  CPU_ZERO(&set);
  /* More processors than the set has room for: the call fails, and all count. */
  return sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 0;
}

int processors_here(void) {
  long online = sysconf(_SC_NPROCESSORS_ONLN);
  int count = online >= 1 && online <= MOST ? (int)online : 1;
  int quota = smaller_quota(quota_of_groups(true), quota_of_groups(false));
  return quota > 0 && quota < count ? quota : count;
}

int processors_allowed(void) {
  int count = processors_here();
  int bound = bound_to();
  return bound > 0 && bound < count ? bound : count;
}
