/* What a person sees: error lines, colour, and the progress line of a long run. */
#ifndef SWASHLOOP_CLI_TERMINAL_H
#define SWASHLOOP_CLI_TERMINAL_H

#include <stdbool.h>
#include <stdio.h>

#include "error.h"
#include "plausibility.h"

/* The one caution, wherever a caution stands. */
#define CAUTION                                                                                                        \
  "A simulation proves no brake. A hydrostatic drive is no parking brake. Measured tests, local codes and licensed "   \
  "practice decide."

/* Colours of `stream`; empty strings when it is no terminal or NO_COLOR is set. */
struct paint {
  const char *strong;
  const char *good;
  const char *bad;
  const char *faint;
  const char *plain;
};

/* The colours for a stream: none unless it is a terminal that wants them. */
struct paint paint_for(FILE *stream);

/* Print the error on standard error; returns its exit status. Once memory has been refused that is the error. */
int terminal_error(const struct error *error);

/* All of them, and how many more there are; the exit status of the last, which is what ended the reading. */
int terminal_faults(const struct faults *faults);

/* All of them on standard error, a line each. */
void terminal_warnings(const struct warnings *warnings);

/* "1.3 min", "12.0 GB". */
const char *terminal_seconds(double seconds, char *buffer, int size);
const char *terminal_bytes(double bytes, char *buffer, int size);

/* Flush standard output; if that fails, or if memory was refused though the command ended as done, say so and return
 * the exit code for it instead of `code`. */
int terminal_finish(int code);

/* A line on standard error, only on a terminal and only once the run has lasted a second. */
struct progress {
  bool wanted;
  bool shown;
  double started; /* s, wall clock */
  double drawn;   /* s, last time */
};

/* A line of progress on standard error, if that is a terminal and `quiet` is not said; showing it draws a few times a
 * second at the most. */
struct progress progress_start(bool quiet);
void progress_show(struct progress *progress, double time, double end_time);
/* The same with a text of one's own. */
void progress_line(struct progress *progress, const char *text);
/* Seconds since it was started, wall clock. */
double progress_seconds(const struct progress *progress);
void progress_clear(struct progress *progress);

#endif
