/* A workspace used for many runs gives the numbers of fresh ones, bit by bit. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "registry.h"
#include "run.h"
#include "units.h"

#define CASE SWASHLOOP_SOURCE "/cases/baseline/downhill.yaml"

/* The solver's sizes, tolerances and fate differ from one to the next. */
static const char *const changes[][3] = {
    {"simulation.end_time=3 s", "vehicle.mass=14 t", "tyre.law=slip_curve"},
    {"simulation.end_time=2 s", "vehicle.mass=9 t", "tyre.law=relaxation"},
    {"simulation.end_time=4 s", "fluid.bulk_modulus=0.9 GPa", "brake.law=stick"},
    {"simulation.end_time=3 s", "simulation.relative_tolerance=1e-9", "simulation.largest_order=2"},
    {"simulation.end_time=3 s", "vehicle.mass=14 t", "tyre.law=slip_curve"},
    {"simulation.end_time=3 s", "engine.stall=end_run", "engine.start_speed=24.5 %"},
    {"simulation.end_time=3 s", "vehicle.mass=14 t", "simulation.stop_from=1 s"},
    {"simulation.end_time=3 s", "vehicle.mass=14 t", "simulation.method=rosenbrock"},
    {"simulation.end_time=2 s", "vehicle.mass=9 t", "simulation.method=rosenbrock"},
    {"simulation.end_time=2 s", "relief.return_to=gallery", "simulation.method=rosenbrock"},
};
enum { CHANGES = sizeof changes / sizeof changes[0] };

static void load(int i, struct case_data *data) {
  struct error error = {0};
  if (!case_load(CASE, changes[i], 3, data, &error)) {
    fail_msg("%s", error.text);
  }
}

static void same_outcome(const struct outcome *a, const struct outcome *b) {
  assert_int_equal(a->status, b->status);
  assert_memory_equal(a->measures, b->measures, sizeof a->measures);
  assert_memory_equal(a->ledger, b->ledger, sizeof a->ledger);
  assert_memory_equal(&a->end_time, &b->end_time, sizeof a->end_time);
  assert_int_equal(a->counts.steps, b->counts.steps);
  assert_int_equal(a->counts.rate_calls, b->counts.rate_calls);
  assert_int_equal(a->counts.restarts, b->counts.restarts);
  assert_int_equal(a->broken_count, b->broken_count);
  assert_string_equal(a->error.text, b->error.text);
  assert_string_equal(a->stop_words, b->stop_words);
}

/* Every case in one workspace, forwards and backwards, against a fresh one each. */
static void test_reuse_changes_nothing(void **state) {
  (void)state;
  struct error error = {0};
  struct run_workspace *workspace = NULL;
  struct outcome used = {0};
  for (int turn = 0; turn < 2 * CHANGES; turn++) {
    int i = turn < CHANGES ? turn : 2 * CHANGES - 1 - turn;
    struct case_data data;
    struct outcome fresh;
    load(i, &data);
    workspace = workspace != NULL ? workspace : run_workspace_new(data.plant, false, &error);
    assert_non_null(workspace);
    assert_true(run_in(workspace, &data, NULL, NULL, &used, &error));
    assert_true(run_case(&data, NULL, NULL, &fresh, &error));
    same_outcome(&fresh, &used);
    assert_int_equal(used.event_count, 0);
    outcome_free(&fresh);
    case_free(&data);
  }
  outcome_free(&used);
  run_workspace_free(workspace);
}

/* A case that cannot start leaves the workspace fit for the next. */
static void test_a_refused_case_leaves_no_trace(void **state) {
  (void)state;
  struct error error = {0};
  struct case_data data;
  load(0, &data);
  struct outcome before;
  assert_true(run_case(&data, NULL, NULL, &before, &error));
  struct run_workspace *workspace = run_workspace_new(data.plant, true, &error);
  struct outcome outcome = {0};
  assert_true(run_in(workspace, &data, NULL, NULL, &outcome, &error));
  const struct group *charge = registry_group(data.plant->groups, data.plant->group_count, "charge");
  struct parameter open = {charge, registry_field(charge, "check_open")};
  double *member = registry_member(data.parameters, open);
  double kept = *member;
  *member = 0.0;
  assert_false(run_in(workspace, &data, NULL, NULL, &outcome, &error));
  assert_non_null(strstr(error.text, "check_open"));
  *member = kept;
  assert_true(run_in(workspace, &data, NULL, NULL, &outcome, &error));
  same_outcome(&before, &outcome);
  assert_int_equal(before.event_count, outcome.event_count);
  outcome_free(&outcome);
  outcome_free(&before);
  run_workspace_free(workspace);
  case_free(&data);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_reuse_changes_nothing),
      cmocka_unit_test(test_a_refused_case_leaves_no_trace),
  };
  int failed = cmocka_run_group_tests(tests, NULL, NULL);
  return failed;
}
