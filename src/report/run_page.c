#include "run_page.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base64.h"
#include "curve.h"
#include "h5_read.h"
#include "json.h"
#include "registry.h"
#include "run_groups.h"
#include "sha256.h"

/* Times are counted in steps of this: finer than any output step, so that no millisecond is lost in the longest run. */
static const double TICK = 1e-7; /* s */
/* A curve keeps what lies farther than this share of its range from the drawn line: below a pixel at any zoom that
 * shows more than a hundredth of the range. */
static const double FINEST = 1.0 / 131072.0;
enum { SIGNAL_LIMIT = 256, POINTS_OF_ONE_CURVE = 400000 };

struct signals {
  struct curve curves[SIGNAL_LIMIT];
  int count;
};

/* --- Bytes of the curves: for each its values as 32-bit numbers, then the time steps as numbers of 7 bits a byte -----
 */

struct bytes {
  unsigned char *items;
  size_t count;
  size_t room;
  bool failed;
};

static void add_byte(struct bytes *bytes, unsigned byte) {
  if (bytes->count == bytes->room) {
    size_t room = 2 * bytes->room + 65536;
    unsigned char *items = realloc(bytes->items, room);
    if (items == NULL) {
      bytes->failed = true;
      return;
    }
    bytes->items = items;
    bytes->room = room;
  }
  bytes->items[bytes->count++] = (unsigned char)byte;
}

static void add_value(struct bytes *bytes, double value) {
  float single = (float)value;
  uint32_t bits = 0;
  memcpy(&bits, &single, sizeof bits);
  for (int i = 0; i < 4; i++) {
    add_byte(bytes, bits >> (8 * i) & 255);
  }
}

static void add_step(struct bytes *bytes, uint64_t step) {
  while (step >= 128) {
    add_byte(bytes, (unsigned)(step & 127) | 128);
    step >>= 7;
  }
  add_byte(bytes, (unsigned)step);
}

static void add_curve(struct bytes *bytes, const struct curve *curve, double start) {
  uint64_t before = 0;
  for (long i = 0; i < curve->count; i++) {
    add_value(bytes, curve->value[i]);
  }
  for (long i = 0; i < curve->count; i++) {
    uint64_t ticks = (uint64_t)llround(fmax(0.0, curve->time[i] - start) / TICK);
    ticks = ticks > before ? ticks : before;
    add_step(bytes, ticks - before);
    before = ticks;
  }
}

/* --- Reading
 * ---------------------------------------------------------------------------------------------------------- */

static double *read_time(struct h5_reading *reading, long *count) {
  hid_t dataset = h5_reading_dataset(reading, reading->file, "time");
  if (dataset < 0 || h5_reading_kind(reading, dataset, count) != H5_KIND_NUMBER || *count < 1) {
    h5_reading_fail(reading, "it has no time; expected a run file that 'swashloop run' wrote");
    h5_reading_shut(dataset);
    return NULL;
  }
  double *time = h5_reading_numbers(reading, dataset, *count);
  h5_reading_shut(dataset);
  for (long i = 0; time != NULL && i < *count; i++) {
    if (!(fabs(time[i]) < 1e9) || (i > 0 && time[i] < time[i - 1])) {
      h5_reading_fail(reading, "its time runs backwards or is no number");
      free(time);
      return NULL;
    }
  }
  return time;
}

/* Known points of one signal that lie inside the run. */
static int points_of(const struct known_points *known, const char *signal, double start, double end,
                     struct curve_point *points) {
  int count = 0;
  for (int i = 0; i < known->count; i++) {
    double time = known->items[i].point.time;
    if (strcmp(known->items[i].signal, signal) == 0 && time >= start && time <= end) {
      points[count++] = known->items[i].point;
    }
  }
  return count;
}

static void read_curve(struct h5_reading *reading, hid_t dataset, const char *name, long count, const double *time,
                       const struct known_points *known, struct curve *curve) {
  double *value = h5_reading_numbers(reading, dataset, count);
  struct curve_point *points = h5_reading_memory(reading, (size_t)known->count, sizeof *points);
  if (value != NULL && points != NULL) {
    int point_count = points_of(known, name, time[0], time[count - 1], points);
    if (!curve_make(curve, count, time, value, point_count, points)) {
      (void)h5_reading_memory(reading, SIZE_MAX / 16, 1); /* notes that memory is out */
    }
    curve_thin(curve, FINEST);
    curve_cut(curve, POINTS_OF_ONE_CURVE);
  }
  free(points);
  free(value);
}

static void write_signal(struct h5_reading *reading, hid_t dataset, const char *name, const struct curve *curve,
                         struct json *json) {
  json_begin_object(json, NULL);
  json_text(json, "name", name);
  run_group_describe(reading, dataset, json);
  json_number(json, "low", curve->low);
  json_number(json, "high", curve->high);
  json_end_object(json);
}

/* Every history on `time`: its description to the JSON, its curve to `signals`. */
static void read_signals(struct h5_reading *reading, long count, const double *time, const struct known_points *known,
                         struct signals *signals, struct json *json) {
  struct h5_names names;
  h5_reading_names(reading, reading->file, &names);
  json_begin_list(json, "signals");
  for (int i = 0; i < names.count && signals->count < SIGNAL_LIMIT && !reading->failed; i++) {
    long length = 0;
    if (strcmp(names.items[i], "time") == 0) {
      continue;
    }
    hid_t dataset = h5_reading_dataset(reading, reading->file, names.items[i]);
    if (dataset >= 0 && h5_reading_kind(reading, dataset, &length) == H5_KIND_NUMBER && length == count) {
      struct curve *curve = &signals->curves[signals->count++];
      read_curve(reading, dataset, names.items[i], count, time, known, curve);
      write_signal(reading, dataset, names.items[i], curve, json);
    }
    h5_reading_shut(dataset);
  }
  json_end_list(json);
  h5_names_free(&names);
}

static void write_curves(struct json *json, struct signals *signals, double start, long limit, struct bytes *bytes) {
  curves_fit(signals->curves, signals->count, limit);
  json_number(json, "tick", TICK);
  json_begin_list(json, "curves");
  for (int s = 0; s < signals->count; s++) {
    const struct curve *curve = &signals->curves[s];
    json_begin_object(json, NULL);
    json_integer(json, "offset", (long)bytes->count);
    json_integer(json, "points", curve->count);
    json_integer(json, "samples", curve->samples);
    json_number(json, "tolerance", curve->tolerance);
    json_integer(json, "pieces", curve->pieces);
    json_end_object(json);
    add_curve(bytes, curve, start);
  }
  json_end_list(json);
}

/* Root attributes. Returns the plant, NULL if this program does not know it; fails if the file is no run file. */
static const struct plant *write_root(struct h5_reading *reading, struct json *json) {
  static const char *const names[] = {"title",           "history", "source",        "swashloop_version",
                                      "swashloop_build", "status",  "status_message"};
  char hash[65] = "";
  const char *slash = strrchr(reading->path, '/');
  json_text(json, "file", slash != NULL ? slash + 1 : reading->path);
  if (!sha256_of_file(reading->path, hash)) {
    h5_reading_fail(reading, "its bytes could not all be read");
  }
  json_text(json, "file_hash", hash);
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    char *text = h5_reading_attribute(reading, reading->file, names[i]);
    json_text(json, names[i], text);
    free(text);
  }
  char *resolved = h5_reading_attribute(reading, reading->file, "case");
  char *plant_name = h5_reading_attribute(reading, reading->file, "plant");
  const struct plant *plant = plant_name != NULL ? registry_plant(plant_name) : NULL;
  if (resolved != NULL && plant_name != NULL && plant_name[0] == '\0') {
    h5_reading_fail(reading, "it is HDF5 but no run file: it names no plant; expected what run, sweep or review wrote "
                             "(tools/plot draws the other answers)");
  }
  json_text(json, "plant", plant_name);
  json_text(json, "plant_text", plant != NULL ? plant->text : "");
  json_text(json, "case", resolved);
  sha256_of_text(resolved != NULL ? resolved : "", hash);
  json_text(json, "case_hash", hash);
  free(resolved);
  free(plant_name);
  return plant;
}

/* A run that is over has all of them, however little they hold; one that was killed has none. */
static void expect_groups(struct h5_reading *reading) {
  static const char *const names[] = {"measures", "events", "limits", "ledger", "parameters", "solver"};
  char *status = h5_reading_attribute(reading, reading->file, "status");
  bool over = status != NULL && strcmp(status, "running") != 0;
  for (size_t i = 0; over && i < sizeof names / sizeof names[0]; i++) {
    hid_t group = h5_reading_group(reading, reading->file, names[i]);
    if (group < 0) {
      char words[96];
      (void)snprintf(words, sizeof words, "it has no group '%s', which every run file has", names[i]);
      h5_reading_fail(reading, words);
    }
    h5_reading_shut(group);
  }
  free(status);
}

static void write_run(struct h5_reading *reading, struct json *json, long point_limit, struct bytes *bytes) {
  struct known_points known = {0};
  struct signals *signals = h5_reading_memory(reading, 1, sizeof *signals);
  long count = 0;
  json_begin_object(json, NULL);
  const struct plant *plant = write_root(reading, json);
  double *time = read_time(reading, &count);
  if (time != NULL && signals != NULL) {
    json_number(json, "start", time[0]);
    json_number(json, "end", time[count - 1]);
    json_integer(json, "samples", count);
    expect_groups(reading);
    run_group_measures(reading, json, &known);
    run_group_events(reading, plant, json, &known);
    run_group_limits(reading, json, &known);
    run_group_ledger(reading, json);
    run_group_parameters(reading, plant, json);
    run_group_solver(reading, json);
    read_signals(reading, count, time, &known, signals, json);
    write_curves(json, signals, time[0], point_limit, bytes);
  }
  json_end_object(json);
  for (int s = 0; signals != NULL && s < signals->count; s++) {
    curve_free(&signals->curves[s]);
  }
  free(signals);
  free(time);
  known_points_free(&known);
}

bool run_page_write(FILE *out, int index, const char *path, long point_limit, struct error *error) {
  struct h5_reading reading;
  struct bytes bytes = {0};
  if (h5_reading_open(&reading, path, error)) {
    struct json json = {.out = out, .for_page = true};
    (void)fprintf(out, "<script type=\"application/json\" id=\"run-%d\">", index);
    write_run(&reading, &json, point_limit, &bytes);
    (void)fprintf(out, "</script>\n<script type=\"text/plain\" id=\"curves-%d\">", index);
    base64_write(out, bytes.items, bytes.count);
    (void)fputs("</script>\n", out);
  }
  h5_reading_close(&reading);
  if (bytes.failed && !reading.failed) {
    reading.failed = true;
    error_set(error, ERROR_MEMORY, "no memory for the curves of %s", path);
  }
  free(bytes.items);
  return !reading.failed;
}
