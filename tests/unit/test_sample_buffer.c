/* A run that uses vector lanes, for the signals of its samples and for the groups of columns of its Jacobians, gives
 * the histories of the plain plant whose columns are found one by one, to the last bit: whatever the steps, the changes
 * of mode, the interruptions and the blocks. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "run.h"

struct history {
  int signals;
  long count;
  long room;
  double *values; /* [sample][1 + signals], time first */
};

static bool keep(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct history *history = context;
  (void)error;
  size_t row = (size_t)history->signals + 1;
  if (history->count + count > history->room) {
    history->room = 2 * (history->count + count);
    history->values = realloc(history->values, (size_t)history->room * row * sizeof *history->values);
    assert_non_null(history->values);
  }
  for (int k = 0; k < count; k++) {
    double *to = history->values + (size_t)history->count++ * row;
    to[0] = time[k];
    for (int i = 0; i < history->signals; i++) {
      to[1 + i] = values[i][k];
    }
  }
  return true;
}

static int ticks_left;

static bool tick(void *context, double t, double end) {
  (void)context;
  (void)t;
  (void)end;
  return --ticks_left > 0;
}

static void run_with(struct run_workspace *workspace, struct case_data *data, const struct plant *plant, bool interrupt,
                     struct history *history) {
  struct error error = {0};
  struct outcome outcome;
  const struct plant *own = data->plant;
  memset(&outcome, 0, sizeof outcome);
  *history = (struct history){.signals = plant->signal_count};
  struct recorder recorder = {history, keep};
  struct watcher watcher = {NULL, tick, 0.0};
  ticks_left = interrupt ? 1 : 1 << 30;
  data->plant = plant;
  bool good = run_in(workspace, data, &recorder, interrupt ? &watcher : NULL, &outcome, &error);
  data->plant = own;
  assert_true(good);
  outcome_free(&outcome);
}

/* The same case in lanes and plainly, each twice in one workspace. */
static void compare(const char *path, const char *const *sets, int set_count, bool interrupt) {
  struct error error = {0};
  struct case_data data;
  assert_true(case_load(path, sets, set_count, &data, &error));
  struct plant plain = *data.plant;
  assert_non_null(plain.lanes);
  plain.lanes = NULL;
  struct run_workspace *in_lanes = run_workspace_new(data.plant, true, &error);
  struct run_workspace *one_by_one = run_workspace_new(&plain, true, &error);
  for (int turn = 0; turn < 2; turn++) {
    struct history a;
    struct history b;
    run_with(in_lanes, &data, data.plant, interrupt, &a);
    run_with(one_by_one, &data, &plain, interrupt, &b);
    assert_true(a.count > (interrupt ? 0 : 500));
    if (interrupt) { /* when it came is by the clock of the wall, and the last sample is of that moment */
      a.count = b.count = (a.count < b.count ? a.count : b.count) - 1;
    }
    assert_int_equal(a.count, b.count);
    size_t size = (size_t)a.count * ((size_t)a.signals + 1);
    for (size_t i = 0; i < size; i++) {
      if (!(a.values[i] == b.values[i])) {
        print_error("%s: sample %zu, column %zu: %.17g in lanes, %.17g plainly\n", path, i / ((size_t)a.signals + 1),
                    i % ((size_t)a.signals + 1), a.values[i], b.values[i]);
        fail();
      }
    }
    free(a.values);
    free(b.values);
  }
  run_workspace_free(in_lanes);
  run_workspace_free(one_by_one);
  case_free(&data);
}

#define CASES SWASHLOOP_SOURCE "/cases/"

static void test_whole_runs(void **unused) {
  (void)unused;
  compare(CASES "baseline/shuttle.yaml", NULL, 0, false);
  compare(CASES "baseline/stall.yaml", NULL, 0, false);
  compare(CASES "axle_spins.yaml", NULL, 0, false);
  compare(CASES "hose_burst.yaml", NULL, 0, false);
}

/* Many samples a step, and fewer than one; a run that is over at once. */
static void test_output_steps(void **unused) {
  (void)unused;
  const char *fine[] = {"simulation.output_step=0.05 ms", "simulation.end_time=0.7 s"};
  const char *coarse[] = {"simulation.output_step=7.3 ms"};
  compare(CASES "baseline/downhill.yaml", fine, 2, false);
  compare(CASES "baseline/downhill.yaml", coarse, 1, false);
}

static void test_linear_method(void **unused) {
  (void)unused;
  const char *method[] = {"simulation.method=rosenbrock"};
  compare(CASES "baseline/downhill.yaml", method, 1, false);
}

/* The last sample of a run that fails comes alone, behind those in lanes. */
static void test_failed(void **unused) {
  (void)unused;
  const char *limited[] = {"simulation.work_limit=1500", "simulation.output_step=1 ms"};
  compare(CASES "axle_spins.yaml", limited, 2, false);
}

static void test_interrupted(void **unused) {
  (void)unused;
  const char *endless[] = {"simulation.output_step=0.01 ms"};
  compare(CASES "baseline/downhill.yaml", endless, 1, true);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_whole_runs), cmocka_unit_test(test_output_steps), cmocka_unit_test(test_linear_method),
      cmocka_unit_test(test_failed),     cmocka_unit_test(test_interrupted),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
