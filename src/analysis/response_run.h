/* A run of a case, examined for how its relief valves respond. */
#ifndef SWASHLOOP_ANALYSIS_RESPONSE_RUN_H
#define SWASHLOOP_ANALYSIS_RESPONSE_RUN_H

#include "history.h"
#include "response.h"
#include "run.h"

enum { RESPONSE_VALVES = 2 };

struct response_options {
  double band;       /* of settling, share of the settled override */
  double from;       /* s */
  double to;         /* s */
  double resolution; /* s between samples; 0: a 200000th of the run, a microsecond at least */
};

struct response_valve {
  char letter;  /* of its line: 'a' or 'b' */
  int pressure; /* columns of the history */
  int flow;
  int lift;       /* its position, in the measure of its law */
  int limiter;    /* of a machine */
  double *drop;   /* Pa, one a sample */
  double setting; /* Pa */
  struct response response;
};

struct response_run {
  struct outcome outcome;
  struct history history;
  struct response_valve valves[RESPONSE_VALVES];
  int valve_count;
  int gallery; /* columns: where the valves return to it; of the rig alone */
  int feed;
};

/* Runs the case, whose output step is written to. False when it cannot start, fails or is interrupted. */
bool response_run(struct case_data *data, const struct response_options *options, const struct watcher *watcher,
                  struct response_run *run, struct error *error);
void response_run_free(struct response_run *run);
/* Into a file that opens as netCDF-4 (docs/response.md). */
bool response_run_write(const struct response_run *run, const struct case_data *data, const char *path,
                        const char *command, struct error *error);

#endif
