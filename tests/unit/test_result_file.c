/* The run file, written from a made-up plant and outcome and read back through the file library alone. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <hdf5.h>
#include <hdf5_hl.h>

#include "check.h"
#include "registry.h"
#include "result_file.h"

/* --- A plant with one parameter of each kind ------------------------------------------------------------------------
 */

struct box {
  real setting;
  int law;
  struct profile way;
  struct profile nothing;
};

static const struct field box_fields[] = {
    {"setting", FIELD_REAL, QUANTITY_PRESSURE, QUANTITY_NUMBER, 250.0, 0.0, 500.0, REFERENCE_LINE_TO_LINE, "", "p_set",
     offsetof(struct box, setting), "setting of the relief valve", NULL},
    {"law", FIELD_CHOICE, QUANTITY_NUMBER, QUANTITY_NUMBER, 0.0, 0.0, 0.0, REFERENCE_NONE, "first|second", "",
     offsetof(struct box, law), "which law", NULL},
    {"way", FIELD_TABLE, QUANTITY_FRACTION, QUANTITY_TIME, 0.0, 0.0, 100.0, REFERENCE_NONE, "", "",
     offsetof(struct box, way), "way of the pedal", NULL},
    {"nothing", FIELD_TABLE, QUANTITY_FRACTION, QUANTITY_TIME, 0.0, 0.0, 100.0, REFERENCE_NONE, "", "",
     offsetof(struct box, nothing), "empty table", NULL},
};

static const struct group box_groups[] = {
    {.name = "box", .fields = box_fields, .field_count = FIELD_COUNT(box_fields), .text = "a box"}};

static const struct signal box_signals[] = {
    {"line_a_pressure", QUANTITY_PRESSURE, REFERENCE_GAUGE, "pressure in line A"},
    {"vehicle_speed", QUANTITY_SPEED, REFERENCE_NONE, "speed of the machine"},
};

static const struct ledger_row box_ledger[] = {
    {"gravity", LEDGER_SOURCE, "work of gravity"},
    {"relief_a", LEDGER_LOSS, "heat in relief valve A"},
    {"motion", LEDGER_STORED, "motion of the machine"},
};

static const struct state_row box_states[] = {
    {"line_a", "Pa", 1.0, "pressure in line A"},
    {"unused", "1", 1.0, "a state that this model leaves out"},
    {"speed", "m/s", 1e-7, "speed"},
};

static const char *box_prepare(const void *parameters, void *model) {
  memcpy(model, parameters, sizeof(struct box));
  return NULL;
}

static int box_active_states(const void *model, int *rows) {
  (void)model;
  rows[0] = 0;
  rows[1] = 2;
  return 2;
}

static bool always(const void *parameters, int signal) {
  (void)parameters;
  (void)signal;
  return true;
}

static const struct plant box_plant = {.name = "box",
                                       .text = "a box",
                                       .groups = box_groups,
                                       .group_count = 1,
                                       .parameter_size = sizeof(struct box),
                                       .model_size = sizeof(struct box),
                                       .states = box_states,
                                       .state_count = 3,
                                       .signals = box_signals,
                                       .signal_count = 2,
                                       .signal_active = always,
                                       .ledger = box_ledger,
                                       .ledger_count = 3,
                                       .prepare = box_prepare,
                                       .active_states = box_active_states};

/* --- A case and its outcome -----------------------------------------------------------------------------------------
 */

struct scene {
  char folder[64];
  char path[96];
  char part[96];
  struct box box;
  struct limit limits[3];
  struct run_event events[2];
  struct limit_finding findings[3];
  struct case_data data;
  struct outcome outcome;
};

static const real way_times[] = {0.0, 5.0, 5.0};
static const real way_values[] = {1.0, 1.0, 0.0};

static void fill_case(struct scene *scene) {
  scene->box = (struct box){250e5, 1, {3, way_times, way_values, false}, {0, NULL, NULL, false}};
  scene->limits[0] = (struct limit){
      "engine_speed_max <= 2500 rpm", {"engine_speed_max", -2, MEASURE_engine_speed_max, false, 261.8}, 0.0, 3};
  scene->limits[1] = (struct limit){"line_a_pressure <= 400 bar", {"line_a_pressure", 0, 0, false, 400e5}, 0.0, 4};
  scene->limits[2] =
      (struct limit){"engine_speed <= 240 rad/s within 5 s", {"line_a_pressure", 0, 0, false, 240.0}, 5.0, 5};
  scene->data = (struct case_data){.title = "a made-up run",
                                   .source = "made-up.yaml",
                                   .plant = &box_plant,
                                   .parameters = &scene->box,
                                   .limits = scene->limits,
                                   .limit_count = 3,
                                   .resolved = "plant: box\nbox:\n  law: second\n"};
  registry_defaults(&simulation_group, 1, &scene->data.simulation);
}

static void fill_outcome(struct scene *scene) {
  struct outcome *outcome = &scene->outcome;
  memset(outcome, 0, sizeof *outcome);
  outcome->status = RUN_COMPLETE;
  outcome->end_time = 10.0;
  outcome->measures[MEASURE_peak_line_a_pressure] = 412.5e5;
  outcome->measures[MEASURE_engine_speed_max] = 250.0;
  outcome->measures[MEASURE_stop_time] = (double)NAN;
  (void)snprintf(outcome->absent[MEASURE_stop_time], sizeof outcome->absent[0], "the machine never stood still");
  outcome->ledger[0] = (struct ledger_entry){1000.0, 800.0};
  outcome->ledger[1] = (struct ledger_entry){700.0, (double)NAN};
  outcome->ledger[2] = (struct ledger_entry){299.0, -100.0};
  outcome->energy_in = 1000.0;
  outcome->energy_lost = 700.0;
  outcome->energy_stored = 299.0;
  outcome->energy_residual = 1.0;
  scene->events[0] = (struct run_event){1.25, "relief_a", "relief valve A opens at 402 bar", 0, 402e5};
  scene->events[1] = (struct run_event){5.0, "action", "pedal released", -1, 0.0};
  outcome->events = scene->events;
  outcome->event_count = 2;
  scene->findings[0] = (struct limit_finding){LIMIT_KEPT, (double)NAN, (double)NAN, 250.0, ""};
  scene->findings[1] = (struct limit_finding){LIMIT_BROKEN, 1.2, 1.5, 412.5e5, ""};
  scene->findings[2] =
      (struct limit_finding){LIMIT_NOT_JUDGED, (double)NAN, (double)NAN, (double)NAN, "braking never starts"};
  outcome->limits = scene->findings;
  outcome->limit_count = 3;
  outcome->broken_count = 1;
  outcome->unjudged_count = 1;
  outcome->counts = (struct run_counts){.steps = 1234,
                                        .rate_calls = 5678,
                                        .jacobians = 12,
                                        .jacobian_calls = 252,
                                        .factorizations = 40,
                                        .solves = 2345,
                                        .error_failures = 3,
                                        .convergence_failures = 1,
                                        .restarts = 4,
                                        .cpu_seconds = 0.0125};
}

static int scene_open(void **state) {
  struct scene *scene = calloc(1, sizeof *scene);
  if (scene == NULL) {
    return -1;
  }
  (void)snprintf(scene->folder, sizeof scene->folder, "/tmp/swashloop-test-XXXXXX");
  if (mkdtemp(scene->folder) == NULL) {
    free(scene);
    return -1;
  }
  (void)snprintf(scene->path, sizeof scene->path, "%s/run.h5", scene->folder);
  (void)snprintf(scene->part, sizeof scene->part, "%s/run.h5.part", scene->folder);
  fill_case(scene);
  fill_outcome(scene);
  *state = scene;
  return 0;
}

static int scene_close(void **state) {
  struct scene *scene = *state;
  (void)unlink(scene->path);
  (void)unlink(scene->part);
  (void)rmdir(scene->path);
  int result = rmdir(scene->folder);
  free(scene);
  return result;
}

static bool is_there(const char *path) {
  struct stat status;
  return stat(path, &status) == 0;
}

static double sample(int signal, int index) {
  return signal * 1e5 + 0.25 * index;
}

/* Feed `total` samples in blocks of an awkward size; returns whether all were taken. */
static bool feed(struct result_file *file, int total, struct error *error) {
  enum { BLOCK = 700 };
  double time[BLOCK];
  double values[2][BLOCK];
  const double *pointers[2] = {values[0], values[1]};
  for (int start = 0; start < total; start += BLOCK) {
    int count = total - start < BLOCK ? total - start : BLOCK;
    for (int i = 0; i < count; i++) {
      time[i] = 1e-3 * (start + i);
      values[0][i] = sample(0, start + i);
      values[1][i] = sample(1, start + i);
    }
    if (!result_file_block(file, count, time, pointers, error)) {
      return false;
    }
  }
  return true;
}

static void write_run(struct scene *scene, int samples) {
  struct error error = {0};
  struct result_file *file = result_file_open(scene->path, &scene->data, "swashloop run made-up.yaml", &error);
  assert_non_null(file);
  assert_true(feed(file, samples, &error));
  assert_true(is_there(scene->part));
  assert_false(is_there(scene->path));
  assert_true(result_file_close(file, &scene->data, &scene->outcome, DRAFT_NAME, &error));
  assert_false(is_there(scene->part));
  assert_true(is_there(scene->path));
}

/* --- Reading back ---------------------------------------------------------------------------------------------------
 */

static void expect_attribute(hid_t file, const char *object, const char *name, const char *expected) {
  hid_t attribute = H5Aopen_by_name(file, object, name, H5P_DEFAULT, H5P_DEFAULT);
  assert_true(attribute >= 0);
  hid_t type = H5Aget_type(attribute);
  char *text = NULL;
  assert_true(H5Aread(attribute, type, &text) >= 0);
  assert_string_equal(text, expected);
  (void)H5free_memory(text);
  (void)H5Tclose(type);
  (void)H5Aclose(attribute);
}

static double read_scalar(hid_t file, const char *path) {
  double value = 0.0;
  hid_t dataset = H5Dopen2(file, path, H5P_DEFAULT);
  assert_true(dataset >= 0);
  assert_true(H5Dread(dataset, H5T_NATIVE_DOUBLE, H5S_ALL, H5S_ALL, H5P_DEFAULT, &value) >= 0);
  (void)H5Dclose(dataset);
  return value;
}

static int length_of(hid_t file, const char *path) {
  hid_t dataset = H5Dopen2(file, path, H5P_DEFAULT);
  assert_true(dataset >= 0);
  hid_t space = H5Dget_space(dataset);
  hssize_t length = H5Sget_simple_extent_npoints(space);
  (void)H5Sclose(space);
  (void)H5Dclose(dataset);
  return (int)length;
}

/* The `index`-th number of an array; the array must have `count`. */
static double read_item(hid_t file, const char *path, int count, int index) {
  assert_int_equal(length_of(file, path), count);
  double *values = calloc((size_t)count, sizeof *values);
  assert_non_null(values);
  hid_t dataset = H5Dopen2(file, path, H5P_DEFAULT);
  assert_true(H5Dread(dataset, H5T_NATIVE_DOUBLE, H5S_ALL, H5S_ALL, H5P_DEFAULT, values) >= 0);
  (void)H5Dclose(dataset);
  double value = values[index];
  free(values);
  return value;
}

static void expect_text(hid_t file, const char *path, int count, int index, const char *expected) {
  assert_int_equal(length_of(file, path), count);
  char *texts[16] = {NULL};
  hid_t dataset = H5Dopen2(file, path, H5P_DEFAULT);
  hid_t type = H5Dget_type(dataset);
  assert_true(H5Dread(dataset, type, H5S_ALL, H5S_ALL, H5P_DEFAULT, texts) >= 0);
  assert_string_equal(texts[index], expected);
  for (int i = 0; i < count; i++) {
    (void)H5free_memory(texts[i]);
  }
  (void)H5Tclose(type);
  (void)H5Dclose(dataset);
}

/* The rule that keeps the file open to netCDF-4: an axis is a scale or has one. */
static herr_t check_scales(hid_t object, const char *name, const H5O_info_t *info, void *context) {
  int *checked = context;
  if (info->type != H5O_TYPE_DATASET) {
    return 0;
  }
  hid_t dataset = H5Dopen2(object, name, H5P_DEFAULT);
  hid_t space = H5Dget_space(dataset);
  if (H5Sget_simple_extent_ndims(space) == 1) {
    if (H5DSis_scale(dataset) <= 0 && H5DSget_num_scales(dataset, 0) != 1) {
      print_error("%s has no scale\n", name);
      return -1;
    }
    (*checked)++;
  }
  (void)H5Sclose(space);
  (void)H5Dclose(dataset);
  return 0;
}

/* --- Tests ----------------------------------------------------------------------------------------------------------
 */

enum { SAMPLES = 10001 };

static void histories_are_whole(void **state) {
  struct scene *scene = *state;
  write_run(scene, SAMPLES);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  assert_true(file >= 0);
  static double values[SAMPLES];
  static const char *const names[] = {"line_a_pressure", "vehicle_speed"};
  for (int s = 0; s < 2; s++) {
    assert_int_equal(length_of(file, names[s]), SAMPLES);
    hid_t dataset = H5Dopen2(file, names[s], H5P_DEFAULT);
    assert_true(H5Dread(dataset, H5T_NATIVE_DOUBLE, H5S_ALL, H5S_ALL, H5P_DEFAULT, values) >= 0);
    (void)H5Dclose(dataset);
    for (int i = 0; i < SAMPLES; i++) {
      CHECK_NEAR(values[i], sample(s, i), 0.0);
    }
  }
  CHECK_NEAR(read_item(file, "time", SAMPLES, SAMPLES - 1), 1e-3 * (SAMPLES - 1), 0.0);
  expect_attribute(file, "time", "units", "s");
  expect_attribute(file, "line_a_pressure", "units", "Pa");
  expect_attribute(file, "line_a_pressure", "trade_units", "bar");
  expect_attribute(file, "line_a_pressure", "pressure_reference", "gauge");
  expect_attribute(file, "vehicle_speed", "trade_units", "km/h");
  expect_attribute(file, "vehicle_speed", "long_name", "speed of the machine");
  assert_int_equal(H5Aexists_by_name(file, "vehicle_speed", "pressure_reference", H5P_DEFAULT), 0);
  assert_true(H5Fclose(file) >= 0);
}

static void root_tells_what_it_is(void **state) {
  struct scene *scene = *state;
  write_run(scene, 10);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  expect_attribute(file, ".", "title", "a made-up run");
  expect_attribute(file, ".", "Conventions", "CF-1.8");
  expect_attribute(file, ".", "case", scene->data.resolved);
  expect_attribute(file, ".", "status", "complete");
  expect_attribute(file, ".", "status_message", "");
  assert_true(H5Aexists(file, "history") > 0);
  assert_true(H5Aexists(file, "source") > 0);
  assert_true(H5Aexists(file, "swashloop_version") > 0);
  assert_true(H5Fclose(file) >= 0);
}

static void a_failed_run_says_so(void **state) {
  struct scene *scene = *state;
  scene->outcome.status = RUN_FAILED;
  (void)snprintf(scene->outcome.error.text, sizeof scene->outcome.error.text, "state line_a is no number at 1.5 s");
  write_run(scene, 10);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  expect_attribute(file, ".", "status", "failed");
  expect_attribute(file, ".", "status_message", "state line_a is no number at 1.5 s");
  assert_true(H5Fclose(file) >= 0);
}

static void groups_hold_the_outcome(void **state) {
  struct scene *scene = *state;
  write_run(scene, 10);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  CHECK_NEAR(read_scalar(file, "measures/peak_line_a_pressure"), 412.5e5, 0.0);
  expect_attribute(file, "measures/peak_line_a_pressure", "pressure_reference", "gauge");
  assert_true(isnan(read_scalar(file, "measures/stop_time")));
  expect_attribute(file, "measures/stop_time", "reason", "the machine never stood still");
  assert_int_equal(H5Aexists_by_name(file, "measures/peak_line_a_pressure", "reason", H5P_DEFAULT), 0);

  CHECK_NEAR(read_item(file, "events/time", 2, 0), 1.25, 0.0);
  CHECK_NEAR(read_item(file, "events/value", 2, 0), 402e5, 0.0);
  assert_true(isnan(read_item(file, "events/value", 2, 1)));
  expect_text(file, "events/name", 2, 1, "action");
  expect_text(file, "events/message", 2, 0, "relief valve A opens at 402 bar");
  expect_text(file, "events/signal", 2, 0, "line_a_pressure");
  expect_text(file, "events/signal", 2, 1, "");
  expect_text(file, "events/unit", 2, 0, "Pa");

  CHECK_NEAR(read_scalar(file, "ledger/relief_a"), 700.0, 0.0);
  expect_attribute(file, "ledger/relief_a", "kind", "loss");
  CHECK_NEAR(read_scalar(file, "ledger/from_release/motion"), -100.0, 0.0);
  expect_attribute(file, "ledger/from_release/motion", "kind", "stored");
  assert_true(isnan(read_scalar(file, "ledger/from_release/relief_a")));
  CHECK_NEAR(read_scalar(file, "ledger/energy_residual"), 1.0, 0.0);

  expect_text(file, "limits/result", 3, 0, "kept");
  expect_text(file, "limits/result", 3, 1, "broken");
  expect_text(file, "limits/result", 3, 2, "not judged");
  expect_text(file, "limits/reason", 3, 0, "");
  expect_text(file, "limits/reason", 3, 2, "braking never starts");
  expect_text(file, "limits/name", 3, 0, "engine_speed_max");
  expect_text(file, "limits/unit", 3, 0, "rad/s");
  expect_text(file, "limits/unit", 3, 1, "Pa");
  CHECK_NEAR(read_item(file, "limits/worst", 3, 0), 250.0, 0.0);
  CHECK_NEAR(read_item(file, "limits/worst", 3, 1), 412.5e5, 0.0);
  CHECK_NEAR(read_item(file, "limits/first_time", 3, 1), 1.2, 0.0);
  CHECK_NEAR(read_item(file, "limits/worst_time", 3, 1), 1.5, 0.0);
  assert_true(H5Fclose(file) >= 0);
}

static void groups_hold_the_settings(void **state) {
  struct scene *scene = *state;
  write_run(scene, 10);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  CHECK_NEAR(read_scalar(file, "parameters/box.setting"), 250e5, 0.0);
  expect_attribute(file, "parameters/box.setting", "pressure_reference", "line_to_line");
  expect_text(file, "parameters/box.law", 1, 0, "second");
  CHECK_NEAR(read_item(file, "parameters/box.way", 3, 2), 0.0, 0.0);
  CHECK_NEAR(read_item(file, "parameters/box.way.argument", 3, 2), 5.0, 0.0);
  assert_int_equal(length_of(file, "parameters/box.nothing"), 0);
  CHECK_NEAR(read_scalar(file, "parameters/simulation.end_time"), scene->data.simulation.end_time, 0.0);

  CHECK_NEAR(read_scalar(file, "solver/steps"), 1234.0, 0.0);
  CHECK_NEAR(read_scalar(file, "solver/cpu_seconds"), 0.0125, 0.0);
  expect_text(file, "solver/state_name", 2, 1, "speed");
  CHECK_CLOSE(read_item(file, "solver/absolute_tolerance", 2, 1), 3e-7,
              1e-15); /* three times what is stated at 100 Pa */
  assert_true(H5Fclose(file) >= 0);
}

static void every_axis_has_a_scale(void **state) {
  struct scene *scene = *state;
  scene->outcome.event_count = 0;
  scene->outcome.broken_count = 0;
  scene->data.limit_count = 0;
  write_run(scene, 10);
  hid_t file = H5Fopen(scene->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  int checked = 0;
  assert_int_equal(H5Ovisit2(file, H5_INDEX_NAME, H5_ITER_NATIVE, check_scales, &checked, H5O_INFO_BASIC), 0);
  assert_true(checked > 15);
  assert_int_equal(length_of(file, "events/time"), 0);
  assert_int_equal(length_of(file, "limits/sentence"), 0);
  assert_true(H5Fclose(file) >= 0);
}

static void expect_no_file(const struct scene *scene, const struct error *error, const char *word) {
  assert_int_equal(error->code, ERROR_OUTPUT);
  assert_non_null(strstr(error->text, word));
  assert_false(is_there(scene->part));
}

static void a_missing_folder_is_an_output_error(void **state) {
  struct scene *scene = *state;
  struct error error = {0};
  char path[160];
  (void)snprintf(path, sizeof path, "%s/none/run.h5", scene->folder);
  assert_null(result_file_open(path, &scene->data, "", &error));
  expect_no_file(scene, &error, "No such file or directory");
}

static void a_folder_in_the_way_is_found_before_the_run(void **state) {
  struct scene *scene = *state;
  struct error error = {0};
  assert_int_equal(mkdir(scene->path, 0777), 0);
  assert_null(result_file_open(scene->path, &scene->data, "", &error));
  expect_no_file(scene, &error, "cannot be replaced");
}

static void a_failed_rename_leaves_nothing(void **state) {
  struct scene *scene = *state;
  struct error error = {0};
  struct result_file *file = result_file_open(scene->path, &scene->data, "", &error);
  assert_non_null(file);
  assert_true(feed(file, 10, &error));
  assert_int_equal(mkdir(scene->path, 0777), 0);
  assert_false(result_file_close(file, &scene->data, &scene->outcome, DRAFT_NAME, &error));
  expect_no_file(scene, &error, "renamed");
}

static void giving_up_leaves_nothing(void **state) {
  struct scene *scene = *state;
  struct error error = {0};
  struct result_file *file = result_file_open(scene->path, &scene->data, "", &error);
  assert_non_null(file);
  assert_true(feed(file, 5000, &error));
  result_file_abandon(file);
  assert_false(is_there(scene->part));
  assert_false(is_there(scene->path));
}

/* A limit on the size of files stands for a full disk. */
static void limit_file_size(rlim_t size) {
  struct rlimit limit;
  if (getrlimit(RLIMIT_FSIZE, &limit) == 0) {
    limit.rlim_cur = size;
    (void)setrlimit(RLIMIT_FSIZE, &limit);
  }
}

/* Whether everything is as it should be after a disk that filled up. */
static bool full_disk_is_told(struct scene *scene, int samples) {
  struct error error = {0};
  struct result_file *file = result_file_open(scene->path, &scene->data, "", &error);
  if (file == NULL) {
    return false;
  }
  limit_file_size(150000);
  bool fed = feed(file, samples, &error);
  bool closed = false;
  if (fed) {
    closed = result_file_close(file, &scene->data, &scene->outcome, DRAFT_NAME, &error);
  } else {
    result_file_abandon(file);
  }
  return fed == (samples < 4096) && !closed && error.code == ERROR_OUTPUT && !is_there(scene->part) &&
         !is_there(scene->path) && strstr(error.text, "could not be written: File too large") != NULL;
}

/* In a child: the file library never quite recovers from a failed write, and keeps some memory. */
static void run_into_full_disk(struct scene *scene, int samples) {
  pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    _exit(full_disk_is_told(scene, samples) ? 0 : 1);
  }
  int status = -1;
  assert_int_equal(waitpid(child, &status, 0), child);
  assert_true(WIFEXITED(status));
  assert_int_equal(WEXITSTATUS(status), 0);
}

static void a_disk_full_within_the_run_is_told(void **state) {
  run_into_full_disk(*state, 50000);
}

static void a_disk_full_at_the_end_is_told(void **state) {
  struct scene *scene = *state;
  /* Less than one chunk: nothing is written before the file is closed. */
  run_into_full_disk(scene, 4000);
}

int main(void) {
  (void)signal(SIGXFSZ, SIG_IGN);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(histories_are_whole, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(root_tells_what_it_is, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_failed_run_says_so, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(groups_hold_the_outcome, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(groups_hold_the_settings, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(every_axis_has_a_scale, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_missing_folder_is_an_output_error, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_folder_in_the_way_is_found_before_the_run, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_failed_rename_leaves_nothing, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(giving_up_leaves_nothing, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_disk_full_within_the_run_is_told, scene_open, scene_close),
      cmocka_unit_test_setup_teardown(a_disk_full_at_the_end_is_told, scene_open, scene_close),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
