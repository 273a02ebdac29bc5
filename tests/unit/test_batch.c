/* Runs side by side give what runs by themselves give, to the last bit: whichever lane a case sits in, whoever is
 * beside it, in whatever order the cases come. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "batch.h"
#include "registry.h"

#include <math.h>

#define CASES SWASHLOOP_SOURCE "/cases/"

enum { SETS = 3 };

/* Of many kinds: with restarts, actions, limits and a stall, that fail, that end early, with other laws, and one that
 * goes by the other method. */
struct variant {
  const char *path;
  const char *sets[SETS];
};

static const struct variant variants[] = {
    {CASES "baseline/downhill.yaml", {"simulation.end_time=19 s", "vehicle.mass=14 t"}},
    {CASES "baseline/downhill.yaml", {"simulation.end_time=19 s", "vehicle.mass=10 t"}},
    {CASES "baseline/downhill.yaml", {"simulation.end_time=4 s", "relief.setting=300 bar"}},
    {CASES "baseline/shuttle.yaml", {"simulation.end_time=12 s", "vehicle.mass=12 t"}},
    {CASES "baseline/stall.yaml", {"vehicle.mass=12 t"}},
    {CASES "braking.yaml", {"vehicle.mass=11 t"}},
    {CASES "braking.yaml", {"vehicle.mass=18 t", "relief.setting=240 bar"}},
    {CASES "baseline/climb.yaml", {"simulation.end_time=5 s", "engine.stall=end_run", "engine.start_speed=24.5 %"}},
    {CASES "baseline/downhill.yaml", {"simulation.end_time=3 s", "tyre.law=relaxation"}},
    {CASES "baseline/downhill.yaml", {"simulation.end_time=3 s", "simulation.method=bdf"}},
    {CASES "hose_burst.yaml", {NULL}},
    {CASES "stall_and_restart.yaml", {NULL}},
    {CASES "forest_course.yaml",
     {"simulation.end_time=40 s", "course.to=[[1, 30 m], [2, 20 m], [3, 25 m], [4, 30 m], [5, 35 m]]"}},
    {CASES "baseline/downhill.yaml", {"simulation.end_time=0.5 s"}},
    {CASES "baseline/climb.yaml", {"simulation.end_time=6 s", "simulation.relative_tolerance=1e-8"}},
    {CASES "baseline/climb.yaml", {"simulation.end_time=6 s", "fluid.air_content=3 %"}},
};
enum { VARIANTS = sizeof variants / sizeof variants[0] };

/* One of them cannot start. */
enum { REFUSED = 13 };

struct fleet {
  struct case_data data[VARIANTS];
  struct outcome alone[VARIANTS];
  bool ran[VARIANTS];
  int order[VARIANTS];
  int dealt;
  int done;
  int at[BATCH_LANES]; /* case that runs there */
};

static void load(struct fleet *fleet) {
  for (int i = 0; i < VARIANTS; i++) {
    const char *sets[SETS + 1] = {"simulation.method=rosenbrock"};
    int count = 1;
    struct error error = {0};
    for (int k = 0; k < SETS && variants[i].sets[k] != NULL; k++) {
      sets[count++] = variants[i].sets[k];
    }
    if (!case_load(variants[i].path, sets, count, &fleet->data[i], &error)) {
      fail_msg("%s", error.text);
    }
    if (i == REFUSED) {
      const struct plant *plant = fleet->data[i].plant;
      const struct group *charge = registry_group(plant->groups, plant->group_count, "charge");
      struct parameter open = {charge, registry_field(charge, "check_open")};
      *(double *)registry_member(fleet->data[i].parameters, open) = 0.0;
    }
    fleet->ran[i] = run_case(&fleet->data[i], NULL, NULL, &fleet->alone[i], &error);
  }
}

static const struct case_data *next(void *context, int lane) {
  struct fleet *fleet = context;
  if (fleet->dealt == VARIANTS) {
    return NULL;
  }
  int i = fleet->order[fleet->dealt++];
  fleet->at[lane] = i;
  return &fleet->data[i];
}

static uint64_t bits_of(double number) {
  uint64_t bits;
  memcpy(&bits, &number, sizeof bits);
  return bits;
}

static void same(const double *a, const double *b, int count, int which, const char *what) {
  for (int i = 0; i < count; i++) {
    if (bits_of(a[i]) != bits_of(b[i])) {
      fail_msg("case %d: %s %d is %.17g alone and %.17g beside others", which, what, i, a[i], b[i]);
    }
  }
}

static void done(void *context, int lane, bool ran, struct outcome *outcome, const struct error *error) {
  struct fleet *fleet = context;
  int i = fleet->at[lane];
  const struct outcome *alone = &fleet->alone[i];
  fleet->done++;
  assert_int_equal(ran, fleet->ran[i]);
  assert_true(batch_takes(&fleet->data[i]) || !outcome->side_by_side);
  if (!ran) {
    assert_non_null(strstr(error->text, "check_open"));
    return;
  }
  assert_int_equal(alone->status, outcome->status);
  assert_string_equal(alone->stop_words, outcome->stop_words);
  assert_string_equal(alone->error.text, outcome->error.text);
  same(alone->measures, outcome->measures, MEASURE_COUNT, i, "measure");
  for (int k = 0; k < PLANT_LEDGER_LIMIT; k++) {
    same(&alone->ledger[k].energy, &outcome->ledger[k].energy, 1, i, "energy");
  }
  assert_int_equal(alone->broken_count, outcome->broken_count);
  assert_int_equal(alone->limit_count, outcome->limit_count);
  for (int k = 0; k < alone->limit_count; k++) {
    assert_int_equal(alone->limits[k].verdict, outcome->limits[k].verdict);
    same(&alone->limits[k].worst, &outcome->limits[k].worst, 1, i, "worst value of limit");
    same(&alone->limits[k].time, &outcome->limits[k].time, 1, i, "time of the worst of limit");
    same(&alone->limits[k].first, &outcome->limits[k].first, 1, i, "first time of limit");
  }
  assert_int_equal(alone->counts.steps, outcome->counts.steps);
  assert_int_equal(alone->counts.rate_calls, outcome->counts.rate_calls);
  assert_int_equal(alone->counts.restarts, outcome->counts.restarts);
}

static void run_all(struct fleet *fleet, struct batch *batch, int lane_count) {
  const struct batch_cases cases = {fleet, next, done};
  fleet->dealt = 0;
  fleet->done = 0;
  batch_run(batch, &cases, lane_count, NULL);
  assert_int_equal(fleet->done, VARIANTS);
}

static void test_same_bits(void **state) {
  (void)state;
  struct error error = {0};
  struct fleet *fleet = calloc(1, sizeof *fleet);
  assert_non_null(fleet);
  load(fleet);
  struct batch *batch = batch_new(fleet->data[0].plant, &error);
  assert_non_null(batch);
  for (int i = 0; i < VARIANTS; i++) {
    fleet->order[i] = i;
  }
  run_all(fleet, batch, 1);
  run_all(fleet, batch, BATCH_LANES);
  for (int i = 0; i < VARIANTS; i++) {
    fleet->order[i] = (7 * i + 5) % VARIANTS;
  }
  run_all(fleet, batch, BATCH_LANES);
  run_all(fleet, batch, 3);
  batch_free(batch);
  for (int i = 0; i < VARIANTS; i++) {
    outcome_free(&fleet->alone[i]);
    case_free(&fleet->data[i]);
  }
  free(fleet);
}

/* ---- without vector kernels ---- */

/* A plant that has none is asked for its rates lane by lane. */
static void test_plain_kernels(void **state) {
  (void)state;
  enum { FEW = 3 };
  static const struct variant few[FEW] = {
      {CASES "baseline/downhill.yaml", {"simulation.end_time=3 s"}},
      {CASES "braking.yaml", {"simulation.end_time=4 s", "vehicle.mass=18 t"}},
      {CASES "baseline/shuttle.yaml", {"simulation.end_time=3 s"}},
  };
  struct error error = {0};
  struct fleet *fleet = calloc(1, sizeof *fleet);
  assert_non_null(fleet);
  struct plant plain = transmission_plant;
  plain.lanes = NULL;
  for (int i = 0; i < VARIANTS; i++) {
    const struct variant *variant = &few[i % FEW];
    const char *sets[SETS + 1] = {"simulation.method=rosenbrock", variant->sets[0], variant->sets[1]};
    assert_true(case_load(variant->path, sets, variant->sets[1] != NULL ? 3 : 2, &fleet->data[i], &error));
    fleet->data[i].plant = &plain;
    fleet->order[i] = i;
    if (i < FEW) {
      fleet->ran[i] = run_case(&fleet->data[i], NULL, NULL, &fleet->alone[i], &error);
    } else {
      fleet->ran[i] = fleet->ran[i % FEW];
      fleet->alone[i] = fleet->alone[i % FEW];
    }
    assert_true(fleet->ran[i] && fleet->alone[i].status == RUN_COMPLETE);
  }
  struct batch *batch = batch_new(&plain, &error);
  assert_non_null(batch);
  run_all(fleet, batch, BATCH_LANES);
  batch_free(batch);
  for (int i = 0; i < VARIANTS; i++) {
    if (i < FEW) {
      outcome_free(&fleet->alone[i]);
    }
    case_free(&fleet->data[i]);
  }
  free(fleet);
}

/* ---- processor time ---- */

struct timed {
  struct fleet fleet;
  double sum;      /* s, of all cases */
  double longest;  /* s, of one */
  double shortest; /* s, of one */
};

static const struct case_data *next_timed(void *context, int lane) {
  return next(&((struct timed *)context)->fleet, lane);
}

static void done_timed(void *context, int lane, bool ran, struct outcome *outcome, const struct error *error) {
  struct timed *timed = context;
  (void)lane;
  (void)error;
  assert_true(ran);
  timed->fleet.done++;
  timed->sum += outcome->counts.cpu_seconds;
  timed->longest = fmax(timed->longest, outcome->counts.cpu_seconds);
  timed->shortest = fmin(timed->shortest, outcome->counts.cpu_seconds);
}

static double processor_time(void) {
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* The cases of a batch share the processor's time that the batch took, and no case gets another's: those of one method
 * side by side, one of the other method by itself, some that cannot start beside. */
static void test_processor_time_is_shared_out(void **state) {
  (void)state;
  struct error error = {0};
  struct timed *timed = calloc(1, sizeof *timed);
  assert_non_null(timed);
  struct fleet *fleet = &timed->fleet;
  for (int i = 0; i < VARIANTS; i++) {
    const char *sets[] = {i == 4 ? "simulation.method=bdf" : "simulation.method=rosenbrock",
                          i % 3 == 0 ? "simulation.end_time=2 s" : "simulation.end_time=6 s"};
    assert_true(case_load(CASES "baseline/downhill.yaml", sets, 2, &fleet->data[i], &error));
    fleet->order[i] = i;
  }
  struct batch *batch = batch_new(fleet->data[0].plant, &error);
  assert_non_null(batch);
  timed->shortest = HUGE_VAL;
  const struct batch_cases cases = {timed, next_timed, done_timed};
  double began = processor_time();
  batch_run(batch, &cases, 4, NULL);
  double gone = processor_time() - began;
  print_message("%.4f s for all, %.4f s told of %d cases, %.4f to %.4f s each\n", gone, timed->sum, fleet->done,
                timed->shortest, timed->longest);
  assert_int_equal(fleet->done, VARIANTS);
  assert_true(timed->sum <= gone);
  assert_true(timed->sum >= 0.9 * gone);
  assert_true(timed->shortest > 0.0 && timed->longest < 0.7 * gone);
  batch_free(batch);
  for (int i = 0; i < VARIANTS; i++) {
    case_free(&fleet->data[i]);
  }
  free(timed);
}

static bool never(void *context, double time, double end_time) {
  (void)context;
  (void)time;
  (void)end_time;
  return false;
}

static void interrupted(void *context, int lane, bool ran, struct outcome *outcome, const struct error *error) {
  struct fleet *fleet = context;
  (void)lane;
  (void)error;
  fleet->done++;
  if (ran && outcome->status == RUN_INTERRUPTED) {
    fleet->dealt = VARIANTS; /* and no more */
  }
}

/* Who is told to stop stops, all lanes. */
static void test_interrupted(void **state) {
  (void)state;
  struct error error = {0};
  struct fleet *fleet = calloc(1, sizeof *fleet);
  assert_non_null(fleet);
  for (int i = 0; i < VARIANTS; i++) {
    const char *sets[] = {"simulation.method=rosenbrock", "simulation.largest_step=1e-6 s"};
    assert_true(case_load(CASES "baseline/downhill.yaml", sets, 2, &fleet->data[i], &error));
    fleet->order[i] = i;
  }
  struct batch *batch = batch_new(fleet->data[0].plant, &error);
  const struct batch_cases cases = {fleet, next, interrupted};
  const struct watcher watcher = {NULL, never, 0.0};
  batch_run(batch, &cases, BATCH_LANES, &watcher);
  assert_int_equal(fleet->done, BATCH_LANES);
  batch_free(batch);
  for (int i = 0; i < VARIANTS; i++) {
    case_free(&fleet->data[i]);
  }
  free(fleet);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_same_bits), cmocka_unit_test(test_plain_kernels),
                                     cmocka_unit_test(test_processor_time_is_shared_out),
                                     cmocka_unit_test(test_interrupted)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
