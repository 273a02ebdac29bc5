#include "terminal.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "commands.h"
#include "memory_watch.h"
#include "text.h"

static bool is_plain(FILE *stream) {
  const char *no_color = getenv("NO_COLOR");
  const char *term = getenv("TERM");
  return (no_color != NULL && no_color[0] != '\0') || isatty(fileno(stream)) == 0 || term == NULL ||
         strcmp(term, "dumb") == 0;
}

struct paint paint_for(FILE *stream) {
  if (is_plain(stream)) {
    return (struct paint){"", "", "", "", ""};
  }
  return (struct paint){"\033[1m", "\033[32m", "\033[1;31m", "\033[2m", "\033[0m"};
}

int terminal_error(const struct error *error) {
  char text[1600];
  struct error cause = {0};
  /* Whatever failed, it failed without memory: nothing else is to blame. */
  if (error->code != ERROR_MEMORY && !memory_suffices(&cause)) {
    error = &cause;
  }
  (void)fprintf(stderr, "%s\n", error_text(error, text, (int)sizeof text));
  return error_exit_status(error->code);
}

int terminal_faults(const struct faults *faults) {
  int code = EXIT_BAD_INPUT;
  struct error cause = {0};
  if (!memory_suffices(&cause)) {
    return terminal_error(&cause);
  }
  for (int i = 0; i < faults->count; i++) {
    code = terminal_error(&faults->at[i]);
  }
  if (faults->left_out > 0) {
    (void)fprintf(stderr, "and %ld faults more\n", faults->left_out);
  }
  return code;
}

void terminal_warnings(const struct warnings *warnings) {
  for (int i = 0; i < warnings->count; i++) {
    char text[WARNING_WORDS + 700];
    (void)fprintf(stderr, "%s\n", shown(plausibility_text(&warnings->at[i], text, (int)sizeof text)).text);
  }
  if (warnings->left_out > 0) {
    (void)fprintf(stderr, "and %d warnings more\n", warnings->left_out);
  }
}

const char *terminal_seconds(double seconds, char *buffer, int size) {
  if (!(seconds < 3.2e9)) {
    (void)snprintf(buffer, (size_t)size, "unknown");
  } else if (seconds < 0.1) {
    (void)snprintf(buffer, (size_t)size, "%.2g s", seconds);
  } else if (seconds < 100.0) {
    (void)snprintf(buffer, (size_t)size, "%.*f s", seconds < 10.0 ? 1 : 0, seconds);
  } else if (seconds < 6000.0) {
    (void)snprintf(buffer, (size_t)size, "%.0f min", seconds / 60.0);
  } else if (seconds < 172800.0) {
    (void)snprintf(buffer, (size_t)size, "%.1f h", seconds / 3600.0);
  } else {
    (void)snprintf(buffer, (size_t)size, "%.1f days", seconds / 86400.0);
  }
  return buffer;
}

const char *terminal_bytes(double bytes, char *buffer, int size) {
  static const char *const units[] = {"B", "kB", "MB", "GB", "TB"};
  int unit = 0;
  while (bytes >= 1000.0 && unit < 4) {
    bytes /= 1000.0;
    unit++;
  }
  (void)snprintf(buffer, (size_t)size, "%.*f %s", unit == 0 || bytes >= 100.0 ? 0 : 1, bytes, units[unit]);
  return buffer;
}

int terminal_finish(int code) {
  struct error error = {0};
  if (fflush(stdout) == 0 && ferror(stdout) == 0) {
    return code == EXIT_RUN_FAILED || code == EXIT_INTERRUPTED || memory_suffices(&error) ? code
                                                                                          : terminal_error(&error);
  }
  (void)fprintf(stderr, "error: standard output could not be written: %s\n", strerror(errno));
  return code == EXIT_INTERRUPTED ? code : EXIT_NO_OUTPUT;
}

static double wall_clock(void) {
  struct timespec now = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

struct progress progress_start(bool quiet) {
  return (struct progress){!quiet && isatty(STDERR_FILENO) != 0, false, wall_clock(), 0.0};
}

double progress_seconds(const struct progress *progress) {
  return wall_clock() - progress->started;
}

void progress_line(struct progress *progress, const char *text) {
  if (!progress->wanted) {
    return;
  }
  double now = wall_clock();
  if (now - progress->started < 1.0 || now - progress->drawn < 0.2) {
    return;
  }
  (void)fprintf(stderr, "\r\033[K%s", text);
  (void)fflush(stderr);
  progress->drawn = now;
  progress->shown = true;
}

void progress_show(struct progress *progress, double time, double end_time) {
  if (!progress->wanted) {
    return;
  }
  double elapsed = wall_clock() - progress->started;
  double share = end_time > 0.0 ? time / end_time : 0.0;
  char text[160];
  int used = snprintf(text, sizeof text, "%3.0f %%   %.4g of %.4g s simulated   %.0f s gone", 100.0 * share, time,
                      end_time, elapsed);
  if (share > 0.01 && used < (int)sizeof text) {
    (void)snprintf(text + used, sizeof text - (size_t)used, ", about %.0f s to go", elapsed * (1.0 - share) / share);
  }
  progress_line(progress, text);
}

void progress_clear(struct progress *progress) {
  if (progress->shown) {
    (void)fputs("\r\033[K", stderr);
    progress->shown = false;
  }
}
