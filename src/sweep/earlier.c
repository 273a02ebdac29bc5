#include "earlier.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw.h"
#include "h5_read.h"
#include "h5_write.h"
#include "histories.h"
#include "row.h"
#include "table.h"

/* Rows looked at and appended at once. Beyond so many cases a row is found under its own number only. */
enum { SLAB_ROWS = 1024, SEARCHED_CASES = 1 << 27 };

/* A column of the earlier table, a slab of it in memory. */
struct column {
  hid_t dataset;
  bool of_texts;
  double numbers[SLAB_ROWS];
  char *texts[SLAB_ROWS];
};

struct earlier {
  const struct earlier_order *order;
  const struct plan *plan;
  struct journal *journal;
  struct earlier_report *report;
  struct error *error;
  struct h5_reading reading;
  struct h5_log log;
  int64_t rows;
  struct column *columns;
  int column_count;
  /* Places among the columns; -1: the table has none. */
  int case_number, setting, status, message, steps, rate_calls;
  int *axes;
  int *measures;   /* of every measure that the program knows */
  int *kept;       /* of each limit */
  int *worst;      /* of each limit */
  bool *lacking;   /* limits that some row could not be judged by */
  bool no_history; /* some row's history is not there, or not this study's */
  bool same_text;  /* title and whole case are the same: histories may be taken */
  char folder[HISTORIES_PATH];

  unsigned char *held; /* a bit a position of the shard: it is in the journal */
  int64_t positions;
  int64_t *found; /* by a hash of its values: case + 1 */
  uint64_t found_room;

  struct outcome outcome; /* of a row */
  unsigned char *payload; /* rows of positions that follow each other */
  size_t used;
  int64_t first;
  int64_t count;
};

static bool out_of_memory(struct earlier *earlier) {
  return error_set(earlier->error, ERROR_MEMORY, "no memory for the rows of an earlier table");
}

/* ---- columns ---- */

static int add_column(struct earlier *earlier, const char *name, bool of_texts) {
  struct h5_reading *reading = &earlier->reading;
  long rows = 0;
  hid_t dataset = h5_reading_dataset(reading, reading->file, name);
  if (dataset < 0) {
    return -1;
  }
  enum h5_kind wanted = of_texts ? H5_KIND_TEXT : H5_KIND_NUMBER;
  if (h5_reading_kind(reading, dataset, &rows) != wanted || (earlier->rows > 0 && rows != earlier->rows)) {
    h5_reading_fail(reading, "a column in it is not of the kind that a table has");
  }
  earlier->rows = rows;
  struct column *column = &earlier->columns[earlier->column_count];
  column->dataset = dataset;
  column->of_texts = of_texts;
  return earlier->column_count++;
}

static int need_column(struct earlier *earlier, const char *name, bool of_texts) {
  int place = add_column(earlier, name, of_texts);
  if (place < 0) {
    h5_reading_fail(&earlier->reading, "it is no table of a sweep");
  }
  return place;
}

/* The sentence of a limit, "" if the column is another; to be freed. */
static char *limit_sentence(struct earlier *earlier, const char *name) {
  struct h5_reading *reading = &earlier->reading;
  hid_t dataset = strncmp(name, "limit_", 6) == 0 ? h5_reading_dataset(reading, reading->file, name) : H5I_INVALID_HID;
  if (dataset < 0) {
    return NULL;
  }
  char *role = h5_reading_attribute(reading, dataset, "role");
  char *sentence = h5_reading_attribute(reading, dataset, "long_name");
  h5_reading_shut(dataset);
  if (role == NULL || strcmp(role, "limit") != 0) {
    free(sentence);
    sentence = NULL;
  }
  free(role);
  return sentence;
}

/* Limits are the same where their sentences are, whatever their number. */
static void find_limits(struct earlier *earlier) {
  const struct case_data *base = &earlier->plan->base;
  struct h5_names names;
  h5_reading_names(&earlier->reading, earlier->reading.file, &names);
  for (int i = 0; i < base->limit_count; i++) {
    earlier->kept[i] = earlier->worst[i] = -1;
  }
  for (int n = 0; n < names.count && !earlier->reading.failed; n++) {
    char *sentence = limit_sentence(earlier, names.items[n]);
    for (int i = 0; sentence != NULL && i < base->limit_count; i++) {
      if (earlier->kept[i] < 0 && strcmp(base->limits[i].text, sentence) == 0) {
        char worst[CASE_NAME_LIMIT + 64];
        (void)snprintf(worst, sizeof worst, "%s_worst", names.items[n]);
        earlier->kept[i] = need_column(earlier, names.items[n], false);
        earlier->worst[i] = need_column(earlier, worst, false);
      }
    }
    free(sentence);
  }
  h5_names_free(&names);
}

static bool make_room(struct earlier *earlier) {
  const struct plan *plan = earlier->plan;
  size_t axes = (size_t)plan->axis_count;
  size_t limits = (size_t)plan->base.limit_count;
  earlier->columns = calloc(6 + axes + MEASURE_COUNT + 2 * limits, sizeof *earlier->columns);
  earlier->axes = calloc(axes + 1, sizeof *earlier->axes);
  earlier->measures = calloc(MEASURE_COUNT, sizeof *earlier->measures);
  earlier->kept = calloc(limits + 1, sizeof *earlier->kept);
  earlier->worst = calloc(limits + 1, sizeof *earlier->worst);
  earlier->lacking = calloc(limits + 1, sizeof *earlier->lacking);
  earlier->outcome.limits = calloc(limits + 1, sizeof *earlier->outcome.limits);
  earlier->payload = calloc(SLAB_ROWS, row_bytes_limit(row_shape_of(plan)));
  earlier->held = calloc((size_t)(earlier->positions / 8) + 1, 1);
  return (earlier->columns && earlier->axes && earlier->measures && earlier->kept && earlier->worst &&
          earlier->lacking && earlier->outcome.limits && earlier->payload && earlier->held) ||
         out_of_memory(earlier);
}

static void find_columns(struct earlier *earlier) {
  const struct plan *plan = earlier->plan;
  earlier->case_number = need_column(earlier, "case", false);
  earlier->status = need_column(earlier, "status", true);
  earlier->message = need_column(earlier, "message", true);
  earlier->setting = plan->setting_count > 0 ? need_column(earlier, "setting", true) : -1;
  earlier->steps = need_column(earlier, "solver_steps", false);
  earlier->rate_calls = need_column(earlier, "solver_rate_calls", false);
  for (int a = 0; a < plan->axis_count; a++) {
    earlier->axes[a] = need_column(earlier, plan->axes[a].path, plan->axes[a].refs[0].choices != NULL);
  }
  for (int m = 0; m < MEASURE_COUNT; m++) {
    earlier->measures[m] = add_column(earlier, measure_rows[m].name, false);
  }
  find_limits(earlier);
}

static void free_texts(struct column *column) {
  for (int i = 0; column->of_texts && i < SLAB_ROWS; i++) {
    if (column->texts[i] != NULL) {
      (void)H5free_memory(column->texts[i]);
      column->texts[i] = NULL;
    }
  }
}

static bool read_slab(struct earlier *earlier, int64_t start, int count) {
  for (int c = 0; c < earlier->column_count; c++) {
    struct column *column = &earlier->columns[c];
    free_texts(column);
    bool good = column->of_texts ? h5_reading_slab(&earlier->reading, column->dataset, earlier->log.text_type, start,
                                                   count, (void *)column->texts)
                                 : h5_reading_slab(&earlier->reading, column->dataset, H5T_NATIVE_DOUBLE, start, count,
                                                   column->numbers);
    if (!good) {
      return false;
    }
  }
  return true;
}

static double number_at(const struct earlier *earlier, int column, int row) {
  return column >= 0 ? earlier->columns[column].numbers[row] : (double)NAN;
}

static const char *text_at(const struct earlier *earlier, int column, int row) {
  const char *text = column >= 0 ? earlier->columns[column].texts[row] : NULL;
  return text != NULL ? text : "";
}

/* ---- which case is it? ---- */

static double value_in_row(const struct earlier *earlier, int axis, int row) {
  const char *choices = earlier->plan->axes[axis].refs[0].choices;
  return choices != NULL ? (double)registry_choice(choices, text_at(earlier, earlier->axes[axis], row))
                         : number_at(earlier, earlier->axes[axis], row);
}

static int setting_in_row(const struct earlier *earlier, int row) {
  for (int i = 0; i < earlier->plan->setting_count; i++) {
    if (strcmp(earlier->plan->settings[i].name, text_at(earlier, earlier->setting, row)) == 0) {
      return i;
    }
  }
  return -1;
}

static bool is_case(const struct earlier *earlier, int row, int64_t k) {
  const struct plan *plan = earlier->plan;
  bool same = setting_in_row(earlier, row) == plan_setting(plan, k);
  for (int a = 0; same && a < plan->axis_count; a++) {
    same = value_in_row(earlier, a, row) == plan_value(plan, k, a);
  }
  return same;
}

/* Zeros of both signs are one value. */
static uint64_t hash_values(uint64_t hash, double value) {
  value = value == 0.0 ? 0.0 : value;
  return draw_bits(hash, 0, draw_hash(hash, &value, sizeof value));
}

/* Cases by their values, for rows that have another number now: values were put between others, say. */
static bool index_cases(struct earlier *earlier) {
  const struct plan *plan = earlier->plan;
  uint64_t room = 64;
  while (room < 2 * (uint64_t)plan->cases) {
    room *= 2;
  }
  earlier->found = calloc(room, sizeof *earlier->found);
  if (earlier->found == NULL) {
    return out_of_memory(earlier);
  }
  earlier->found_room = room;
  for (int64_t k = 0; k < plan->cases; k++) {
    uint64_t hash = (uint64_t)plan_setting(plan, k);
    for (int a = 0; a < plan->axis_count; a++) {
      hash = hash_values(hash, plan_value(plan, k, a));
    }
    while (earlier->found[hash & (room - 1)] != 0) {
      hash++;
    }
    earlier->found[hash & (room - 1)] = k + 1;
  }
  return true;
}

/* -1: the study has no such case; false: memory is out. */
static bool find_case(struct earlier *earlier, int row, int64_t *k) {
  const struct plan *plan = earlier->plan;
  double own = number_at(earlier, earlier->case_number, row);
  *k = own >= 0.0 && own < (double)plan->cases ? (int64_t)own : -1;
  if ((*k >= 0 && is_case(earlier, row, *k)) || plan->cases > SEARCHED_CASES) {
    return true;
  }
  *k = -1;
  if (earlier->found == NULL && !index_cases(earlier)) {
    return false;
  }
  uint64_t hash = (uint64_t)setting_in_row(earlier, row);
  for (int a = 0; a < plan->axis_count; a++) {
    hash = hash_values(hash, value_in_row(earlier, a, row));
  }
  for (; earlier->found[hash & (earlier->found_room - 1)] != 0; hash++) {
    int64_t candidate = earlier->found[hash & (earlier->found_room - 1)] - 1;
    if (is_case(earlier, row, candidate)) {
      *k = candidate;
      break;
    }
  }
  return true;
}

/* ---- what a row holds ---- */

static bool breaks(const struct condition *keep, double value) {
  return keep->above ? value < keep->level : value > keep->level;
}

/* A limit that the earlier table has not, by a measure that it has. What a run without the measure comes to, and a run
 * that failed, needs the run (src/run/limits.c). */
static bool judge_anew(struct earlier *earlier, int i, int row) {
  const struct condition *keep = &earlier->plan->base.limits[i].keep;
  struct limit_finding *finding = &earlier->outcome.limits[i];
  if (keep->signal != CONDITION_MEASURE || earlier->measures[keep->measure] < 0 ||
      earlier->outcome.status == RUN_FAILED) {
    return false;
  }
  double value = number_at(earlier, earlier->measures[keep->measure], row);
  bool of_stop = keep->measure == MEASURE_stop_time || keep->measure == MEASURE_stop_distance;
  if (isnan(value) && of_stop && !keep->above) {
    return false;
  }
  finding->worst = value;
  finding->verdict = isnan(value) ? LIMIT_NOT_JUDGED : breaks(keep, value) ? LIMIT_BROKEN : LIMIT_KEPT;
  return true;
}

static bool take_limits(struct earlier *earlier, int row) {
  static const enum limit_verdict verdicts[] = {
      [ROW_BROKEN] = LIMIT_BROKEN, [ROW_KEPT] = LIMIT_KEPT, [ROW_NOT_JUDGED] = LIMIT_NOT_JUDGED};
  bool good = true;
  for (int i = 0; i < earlier->plan->base.limit_count; i++) {
    double flag = number_at(earlier, earlier->kept[i], row);
    if (flag >= ROW_BROKEN && flag <= ROW_NOT_JUDGED) {
      earlier->outcome.limits[i].verdict = verdicts[(int)flag];
      earlier->outcome.limits[i].worst = number_at(earlier, earlier->worst[i], row);
    } else if (!judge_anew(earlier, i, row)) {
      earlier->lacking[i] = true;
      good = false;
    }
  }
  return good;
}

static bool take_measures(struct earlier *earlier, int row) {
  bool good = true;
  for (int m = 0; m < MEASURE_COUNT; m++) {
    earlier->outcome.measures[m] = number_at(earlier, earlier->measures[m], row);
  }
  for (int i = 0; earlier->outcome.status != RUN_FAILED && i < earlier->plan->measure_count; i++) {
    good = good && earlier->measures[earlier->plan->measures[i]] >= 0;
  }
  return good;
}

/* Is a history wanted of it? Then it must be there. Whether it is, the condition's measure must tell. */
static bool take_history(struct earlier *earlier, int row, int64_t k) {
  const struct keep *keep = &earlier->plan->keep;
  bool failed = earlier->outcome.status == RUN_FAILED;
  bool wanted = plan_keeps(earlier->plan, k) || (keep->failed && failed);
  bool known = true;
  for (int i = 0; !failed && i < keep->condition_count; i++) {
    const struct condition *condition = &keep->conditions[i];
    double value = earlier->outcome.measures[condition->measure];
    known = known && earlier->measures[condition->measure] >= 0;
    wanted = wanted || (condition->above ? value >= condition->level : value <= condition->level);
  }
  if (!wanted && known) {
    return true;
  }
  char from[HISTORIES_PATH];
  char to[HISTORIES_PATH];
  bool there = known && earlier->same_text && number_at(earlier, earlier->case_number, row) == (double)k &&
               histories_file(earlier->folder, k, from, earlier->error) &&
               histories_file(earlier->order->runs_folder, k, to, earlier->error) && histories_there(from);
  earlier->no_history = earlier->no_history || !there;
  return there && (earlier->journal == NULL || histories_copy(from, to, earlier->error));
}

/* Does the row hold all that this study's rows do? What was left unfinished may end otherwise now. */
static bool take_row(struct earlier *earlier, int row, int64_t k) {
  struct outcome *outcome = &earlier->outcome;
  const char *status = text_at(earlier, earlier->status, row);
  int s = RUN_COMPLETE;
  while (s <= RUN_FAILED && strcmp(status, run_status_names[s]) != 0) {
    s++;
  }
  if (s > RUN_FAILED) {
    return false;
  }
  outcome->status = (enum run_status)s;
  outcome->limit_count = earlier->plan->base.limit_count;
  outcome->counts.steps = (long)number_at(earlier, earlier->steps, row);
  outcome->counts.rate_calls = (long)number_at(earlier, earlier->rate_calls, row);
  bool measured = take_measures(earlier, row);
  bool judged = take_limits(earlier, row);
  return measured && judged && take_history(earlier, row, k);
}

/* ---- into the journal ---- */

static bool is_held(const struct earlier *earlier, int64_t position) {
  return (earlier->held[position / 8] >> (position % 8) & 1) != 0;
}

static void hold(struct earlier *earlier, int64_t position) {
  earlier->held[position / 8] |= (unsigned char)(1 << (position % 8));
}

static bool append(struct earlier *earlier) {
  bool good =
      earlier->count == 0 || earlier->journal == NULL ||
      journal_append(earlier->journal, earlier->first, earlier->count, earlier->payload, earlier->used, earlier->error);
  earlier->count = 0;
  earlier->used = 0;
  return good;
}

static bool put_row(struct earlier *earlier, int row, int64_t k, int64_t position) {
  if ((position != earlier->first + earlier->count || earlier->count == SLAB_ROWS) && !append(earlier)) {
    return false;
  }
  earlier->first = earlier->count == 0 ? position : earlier->first;
  earlier->used += row_encode(earlier->plan, k, &earlier->outcome, text_at(earlier, earlier->message, row),
                              earlier->payload + earlier->used);
  earlier->count++;
  earlier->report->taken++;
  hold(earlier, position);
  return true;
}

static bool look_at(struct earlier *earlier, int row) {
  const struct journal_head *head = earlier->order->head;
  int64_t k = -1;
  if (!find_case(earlier, row, &k)) {
    return false;
  }
  if (k < 0 || k % head->shards != head->shard || is_held(earlier, k / head->shards)) {
    return true;
  }
  if (take_row(earlier, row, k)) {
    return put_row(earlier, row, k, k / head->shards);
  }
  earlier->report->again++;
  return earlier->error->code == ERROR_NONE; /* a history that could not be copied ends it */
}

static bool take_rows(struct earlier *earlier) {
  for (int64_t b = 0; earlier->journal != NULL && b < earlier->journal->block_count; b++) {
    const struct journal_block *block = &earlier->journal->blocks[b];
    for (int64_t i = 0; i < block->count && block->first + i < earlier->positions; i++) {
      hold(earlier, block->first + i);
    }
  }
  for (int64_t start = 0; start < earlier->rows; start += SLAB_ROWS) {
    int count = (int)(earlier->rows - start < SLAB_ROWS ? earlier->rows - start : SLAB_ROWS);
    if (!read_slab(earlier, start, count)) {
      return false;
    }
    for (int row = 0; row < count; row++) {
      if (!look_at(earlier, row)) {
        return false;
      }
    }
  }
  return append(earlier) && (earlier->journal == NULL || journal_sync(earlier->journal, earlier->error));
}

/* ---- does it belong here? ---- */

static bool same_fingerprint(struct earlier *earlier, const char *name, uint64_t wanted) {
  char expected[32];
  char *found = h5_reading_attribute(&earlier->reading, earlier->reading.file, name);
  (void)snprintf(expected, sizeof expected, "%016" PRIx64, wanted);
  bool same = found != NULL && strcmp(found, expected) == 0;
  free(found);
  return same;
}

static bool same_attribute(struct earlier *earlier, const char *name, const char *wanted) {
  char *found = h5_reading_attribute(&earlier->reading, earlier->reading.file, name);
  bool same = found != NULL && strcmp(found, wanted) == 0;
  free(found);
  return same;
}

static bool check(struct earlier *earlier) {
  const char *path = earlier->order->path;
  const struct plan *plan = earlier->plan;
  if (!same_attribute(earlier, "source", earlier->order->head->program)) {
    return error_set(earlier->error, ERROR_INPUT,
                     "%s is no table written by %s: rows of another program or build would not be those of this one",
                     path, earlier->order->head->program);
  }
  if (!same_fingerprint(earlier, "arithmetic_fingerprint", earlier->order->head->arithmetic)) {
    return error_set(earlier->error, ERROR_INPUT,
                     "%s was made where the mathematics library rounds otherwise: its rows would differ in their last "
                     "digits",
                     path);
  }
  if (!same_fingerprint(earlier, "varied_fingerprint", plan_varied_fingerprint(plan))) {
    return error_set(earlier->error, ERROR_INPUT, "%s varies other things, or compares other settings", path);
  }
  if (!same_fingerprint(earlier, "base_fingerprint", plan_base_fingerprint(plan))) {
    return error_set(earlier->error, ERROR_INPUT,
                     "%s is of another case: a parameter, an action or a setting of the run differs; only limits, "
                     "measures and the cases may",
                     path);
  }
  earlier->same_text =
      same_attribute(earlier, "title", plan->title) && same_attribute(earlier, "case", plan->base.resolved);
  return !earlier->reading.failed;
}

static void add_words(struct earlier_report *report, const char *what, const char *name) {
  size_t used = strlen(report->lacking);
  (void)snprintf(report->lacking + used, sizeof report->lacking - used, "%s%s%s", used > 0 ? ", " : "", what, name);
}

/* What made cases run again, for people. */
static void tell_lacking(struct earlier *earlier) {
  struct earlier_report *report = earlier->report;
  const struct plan *plan = earlier->plan;
  report->lacking[0] = '\0';
  for (int i = 0; i < plan->measure_count; i++) {
    if (earlier->measures[plan->measures[i]] < 0) {
      add_words(report, "", measure_rows[plan->measures[i]].name);
    }
  }
  for (int i = 0; i < plan->base.limit_count; i++) {
    if (earlier->lacking[i]) {
      add_words(report, "", plan->base.limits[i].text);
    }
  }
  if (earlier->no_history) {
    add_words(report, "kept histories", "");
  }
}

static void close_all(struct earlier *earlier) {
  for (int c = 0; c < earlier->column_count; c++) {
    free_texts(&earlier->columns[c]);
    h5_reading_shut(earlier->columns[c].dataset);
  }
  h5_reading_close(&earlier->reading);
  h5_stop(&earlier->log);
  free(earlier->columns);
  free(earlier->axes);
  free(earlier->measures);
  free(earlier->kept);
  free(earlier->worst);
  free(earlier->lacking);
  free(earlier->outcome.limits);
  free(earlier->payload);
  free(earlier->held);
  free(earlier->found);
}

bool earlier_take(const struct earlier_order *order, struct journal *journal, struct earlier_report *report,
                  struct error *error) {
  const struct journal_head *head = order->head;
  struct earlier earlier = {.order = order,
                            .plan = order->plan,
                            .journal = journal,
                            .report = report,
                            .error = error,
                            .positions = (order->plan->cases - head->shard - 1) / head->shards + 1};
  *report = (struct earlier_report){0};
  *error = (struct error){0};
  h5_start(&earlier.log);
  bool good = h5_reading_open_sealed(&earlier.reading, order->path, error) && check(&earlier) &&
              histories_folder(order->path, earlier.folder, error) && make_room(&earlier);
  if (good) {
    find_columns(&earlier);
    good = !earlier.reading.failed && take_rows(&earlier);
    tell_lacking(&earlier);
  }
  close_all(&earlier);
  return good;
}
