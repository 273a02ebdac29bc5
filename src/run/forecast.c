#include "forecast.h"

#include <math.h>
#include <time.h>

struct trial {
  double ends; /* s, wall clock */
  bool (*stop)(void);
};

static double wall_clock(void) {
  struct timespec now = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

double forecast_rows(const struct simulation_parameters *simulation) {
  /* As the main loop has it: sample k stands at k times the step, rounded. */
  double last = floor(simulation->end_time / simulation->output_step) + 1.0;
  while (last > 0.0 && last * simulation->output_step > simulation->end_time) {
    last -= 1.0;
  }
  return last + 1.0;
}

double forecast_whole(double took, double reached, double end_time) {
  return reached > 0.0 ? took * fmax(1.0, end_time / reached) : NAN;
}

static bool go_on(void *context, double time, double end_time) {
  const struct trial *trial = context;
  (void)time;
  (void)end_time;
  return wall_clock() < trial->ends && (trial->stop == NULL || !trial->stop());
}

static bool drop(void *context, int count, const double *time, const double *const *values, struct error *error) {
  (void)context;
  (void)count;
  (void)time;
  (void)values;
  (void)error;
  return true;
}

bool forecast_run(struct run_workspace *workspace, const struct case_data *data, double budget, bool (*stop)(void),
                  struct outcome *outcome, struct forecast *forecast, struct error *error) {
  struct trial trial = {wall_clock() + budget, stop};
  struct watcher watcher = {&trial, go_on, 0.0};
  struct recorder recorder = {NULL, drop};
  *forecast = (struct forecast){.rows = forecast_rows(&data->simulation), .seconds = NAN};
  if (!run_in(workspace, data, &recorder, &watcher, outcome, error)) {
    return false;
  }
  double end = outcome->status == RUN_INTERRUPTED ? data->simulation.end_time : outcome->end_time;
  forecast->tried = outcome->end_time;
  forecast->seconds = forecast_whole(outcome->counts.cpu_seconds, outcome->end_time, end);
  forecast->events = forecast_whole(outcome->event_count, outcome->end_time, end);
  return true;
}
