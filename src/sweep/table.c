#include "table.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "axis_label.h"
#include "h5_columns.h"
#include "part_file.h"
#include "plan_plausibility.h"
#include "provenance.h"
#include "result_groups.h"
#include "row.h"
#include "table_views.h"

/* Rows held before they are written: one piece of each column. */
enum { SLAB_ROWS = 1024 };

enum { LAST_NUMBERS = 2 }; /* steps and right-hand sides, behind measures and limits */

struct writer {
  struct part_file table;
  const struct plan *plan;
  const struct journal_head *head;
  struct row_shape shape;
  int number_count;
  int64_t rows; /* of the table */
  hid_t case_scale;
  hid_t *axes;
  hid_t setting;
  hid_t *numbers; /* measures, worst values, work */
  hid_t *kept;
  hid_t all_kept;
  hid_t status;
  hid_t message;

  int64_t start; /* position of the slab's first row */
  int held;
  int64_t *cases;
  double *slab;        /* [number][row] */
  signed char *flags;  /* [limit][row] */
  signed char *all;    /* [row] */
  const char **states; /* [row] */
  char *messages;      /* [row][limit + 1] */
  const char **pointers;
  double *scratch; /* a piece of an axis, or of a decoded row */
  int64_t failed;
  int64_t side_by_side;
};

/* ---- columns ---- */

static void describe(hid_t column, const char *unit, const char *trade, enum reference reference, const char *text,
                     struct h5_log *log) {
  h5_text_attribute(column, "units", unit, log);
  h5_text_attribute(column, "long_name", text, log);
  h5_text_attribute(column, "trade_units", trade, log);
  if (reference != REFERENCE_NONE) {
    h5_text_attribute(column, "pressure_reference", reference_names[reference], log);
  }
}

static hid_t make_column(struct writer *writer, const char *name, enum h5_column_kind kind, const char *role) {
  struct h5_log *log = &writer->table.log;
  hid_t column = h5_column(writer->table.file, name, kind, writer->rows, writer->case_scale, log);
  h5_text_attribute(column, "role", role, log);
  return column;
}

static void make_axis(struct writer *writer, int a) {
  const struct axis *axis = &writer->plan->axes[a];
  const struct parameter_ref *ref = &axis->refs[0];
  struct h5_log *log = &writer->table.log;
  hid_t column = make_column(writer, axis->path, ref->choices ? COLUMN_OF_TEXTS : COLUMN_OF_REALS, "varied");
  writer->axes[a] = column;
  char label[AXIS_LABEL_SIZE];
  h5_text_attribute(column, "label", axis_label(&writer->plan->base, axis->path, ref, label), log);
  h5_text_attribute(column, "spacing", axis_is_logarithmic(axis) ? "logarithmic" : "linear", log);
  if (ref->choices) {
    h5_text_attribute(column, "long_name", ref->text, log);
    h5_text_attribute(column, "choices", ref->choices, log);
  } else {
    const struct quantity_row *row = &quantity_rows[ref->quantity];
    describe(column, row->si_unit, row->trade_unit, ref->reference, ref->text, log);
  }
  for (int i = 1; i < axis->ref_count; i++) {
    char name[32];
    (void)snprintf(name, sizeof name, "also_sets_%d", i);
    h5_text_attribute(column, name, axis->paths[i], log);
  }
}

static const struct signal *limited(const struct plan *plan, const struct condition *keep) {
  if (keep->signal >= 0) {
    return &plan->base.plant->signals[keep->signal];
  }
  return keep->signal == CONDITION_MEASURE ? &measure_rows[keep->measure] : NULL;
}

static hid_t make_flags(struct writer *writer, const char *name, const char *text, const char *role) {
  static const signed char values[] = {ROW_BROKEN, ROW_KEPT, ROW_NOT_JUDGED};
  struct h5_log *log = &writer->table.log;
  hid_t column = make_column(writer, name, COLUMN_OF_BYTES, role);
  h5_text_attribute(column, "long_name", text, log);
  h5_bytes_attribute(column, "flag_values", 3, values, log);
  h5_text_attribute(column, "flag_meanings", "broken kept not_judged", log);
  return column;
}

static void make_limit(struct writer *writer, int i) {
  const struct limit *limit = &writer->plan->base.limits[i];
  const struct signal *signal = limited(writer->plan, &limit->keep);
  const struct quantity_row *row = &quantity_rows[signal ? signal->quantity : QUANTITY_TIME];
  struct h5_log *log = &writer->table.log;
  char name[CASE_NAME_LIMIT + 32];
  char level[64];
  (void)snprintf(name, sizeof name, "limit_%d_%s", i + 1, limit->keep.name);
  writer->kept[i] = make_flags(writer, name, limit->text, "limit");
  (void)snprintf(name, sizeof name, "limit_%d_%s_worst", i + 1, limit->keep.name);
  hid_t column = make_column(writer, name, COLUMN_OF_REALS, "worst");
  writer->numbers[writer->shape.measures + i] = column;
  describe(column, row->si_unit, row->trade_unit, signal ? signal->reference : REFERENCE_NONE, limit->text, log);
  (void)snprintf(level, sizeof level, "%.17g", limit->keep.level);
  h5_text_attribute(column, "level", level, log);
  h5_text_attribute(column, "side", limit->keep.above ? "at least" : "at most", log);
}

static void make_columns(struct writer *writer) {
  const struct plan *plan = writer->plan;
  struct h5_log *log = &writer->table.log;
  writer->case_scale = h5_column(writer->table.file, "case", COLUMN_OF_INTEGERS, writer->rows, H5I_INVALID_HID, log);
  h5_text_attribute(writer->case_scale, "long_name", "number of the case in its study, from 0", log);
  for (int a = 0; a < plan->axis_count; a++) {
    make_axis(writer, a);
  }
  if (plan->setting_count > 0) {
    writer->setting = make_column(writer, "setting", COLUMN_OF_TEXTS, "setting");
    h5_text_attribute(writer->setting, "long_name", "setting that is compared over the same cases", log);
  }
  writer->status = make_column(writer, "status", COLUMN_OF_TEXTS, "status");
  h5_text_attribute(writer->status, "long_name",
                    "complete, stopped (an event ended the run), failed, or unfinished (its budget was spent)", log);
  writer->message = make_column(writer, "message", COLUMN_OF_TEXTS, "status");
  h5_text_attribute(writer->message, "long_name",
                    "why it stopped, failed, was left unfinished, is not vouched for or not judged", log);
  for (int i = 0; i < writer->shape.measures; i++) {
    const struct signal *row = &measure_rows[plan->measures[i]];
    writer->numbers[i] = make_column(writer, row->name, COLUMN_OF_REALS, "measure");
    result_describe(writer->numbers[i], row->quantity, row->reference, row->text, log);
  }
  for (int i = 0; i < writer->shape.limits; i++) {
    make_limit(writer, i);
  }
  if (writer->shape.limits > 0) {
    writer->all_kept = make_flags(writer, "all_limits", "all limits together", "all_limits");
  }
  static const char *const work[LAST_NUMBERS][2] = {{"solver_steps", "accepted steps of the integrator"},
                                                    {"solver_rate_calls", "right-hand sides, all causes"}};
  for (int i = 0; i < LAST_NUMBERS; i++) {
    hid_t column = make_column(writer, work[i][0], COLUMN_OF_REALS, "work");
    describe(column, "1", "1", REFERENCE_NONE, work[i][1], log);
    writer->numbers[writer->number_count - LAST_NUMBERS + i] = column;
  }
}

static void write_attributes(struct writer *writer, const char *command) {
  const struct plan *plan = writer->plan;
  struct h5_log *log = &writer->table.log;
  hid_t file = writer->table.file;
  char study[32];
  char arrangement[32];
  struct warnings warnings;
  struct error error;
  (void)snprintf(study, sizeof study, "%016" PRIx64, plan->fingerprint);
  provenance_write(file, OUTPUT_TABLE, plan->title, command, log);
  h5_text_attribute(file, "plant", plan->base.plant->name, log);
  h5_text_attribute(file, "case", plan->base.resolved, log);
  h5_text_attribute(file, "arrangement", plan_arrangement(plan, arrangement, sizeof arrangement), log);
  h5_text_attribute(file, "study_file", plan->source, log);
  h5_text_attribute(file, "study", plan->text, log);
  h5_text_attribute(file, "study_fingerprint", study, log);
  (void)snprintf(study, sizeof study, "%016" PRIx64, plan_base_fingerprint(plan));
  h5_text_attribute(file, "base_fingerprint", study, log);
  (void)snprintf(study, sizeof study, "%016" PRIx64, plan_varied_fingerprint(plan));
  h5_text_attribute(file, "varied_fingerprint", study, log);
  (void)snprintf(study, sizeof study, "%016" PRIx64, writer->head->arithmetic);
  h5_text_attribute(file, "arithmetic_fingerprint", study, log);
  if (plan_warnings(plan, &warnings, &error)) {
    provenance_warning_lines(file, &warnings, log);
  }
  h5_text_attribute(file, "status", "complete", log);
  h5_integer_attribute(file, "case_count", plan->cases, log);
  h5_integer_attribute(file, "shard", writer->head->shard, log);
  h5_integer_attribute(file, "shards", writer->head->shards, log);
}

/* ---- rows ---- */

static bool make_slab(struct writer *writer) {
  size_t rows = SLAB_ROWS;
  size_t numbers = (size_t)writer->number_count;
  size_t limits = (size_t)writer->shape.limits;
  size_t wide = numbers > rows ? numbers : rows;
  writer->axes = calloc((size_t)writer->plan->axis_count + 1, sizeof *writer->axes);
  writer->numbers = calloc(numbers, sizeof *writer->numbers);
  writer->kept = calloc(limits + 1, sizeof *writer->kept);
  writer->cases = calloc(rows, sizeof *writer->cases);
  writer->slab = calloc(numbers * rows, sizeof *writer->slab);
  writer->flags = calloc(limits * rows + 1, sizeof *writer->flags);
  writer->all = calloc(rows, sizeof *writer->all);
  writer->states = calloc(rows, sizeof *writer->states);
  writer->messages = calloc(rows, ROW_MESSAGE_LIMIT + 1);
  writer->pointers = calloc(rows, sizeof *writer->pointers);
  writer->scratch = calloc(wide, sizeof *writer->scratch);
  return writer->axes && writer->numbers && writer->kept && writer->cases && writer->slab && writer->flags &&
         writer->all && writer->states && writer->messages && writer->pointers && writer->scratch;
}

static void free_slab(struct writer *writer) {
  free(writer->axes);
  free(writer->numbers);
  free(writer->kept);
  free(writer->cases);
  free(writer->slab);
  free(writer->flags);
  free(writer->all);
  free(writer->states);
  free(writer->messages);
  free(writer->pointers);
  free(writer->scratch);
}

static void put_axis(struct writer *writer, int a) {
  const struct parameter_ref *ref = &writer->plan->axes[a].refs[0];
  struct h5_log *log = &writer->table.log;
  if (!ref->choices) {
    for (int i = 0; i < writer->held; i++) {
      writer->scratch[i] = plan_value(writer->plan, writer->cases[i], a);
    }
    h5_column_put(writer->axes[a], COLUMN_OF_REALS, writer->start, writer->held, writer->scratch, log);
    return;
  }
  enum { CHOICE_LIMIT = 16, CHOICE_LENGTH = 64 };
  char names[CHOICE_LIMIT][CHOICE_LENGTH];
  for (int c = 0; c < CHOICE_LIMIT; c++) {
    registry_choice_name(ref->choices, c, names[c], CHOICE_LENGTH);
  }
  for (int i = 0; i < writer->held; i++) {
    int choice = (int)plan_value(writer->plan, writer->cases[i], a);
    writer->pointers[i] = choice >= 0 && choice < CHOICE_LIMIT ? names[choice] : "";
  }
  h5_column_put(writer->axes[a], COLUMN_OF_TEXTS, writer->start, writer->held, writer->pointers, log);
}

static void put_slab(struct writer *writer) {
  const struct plan *plan = writer->plan;
  struct h5_log *log = &writer->table.log;
  int64_t start = writer->start;
  int held = writer->held;
  if (held == 0) {
    return;
  }
  h5_column_put(writer->case_scale, COLUMN_OF_INTEGERS, start, held, writer->cases, log);
  for (int a = 0; a < plan->axis_count; a++) {
    put_axis(writer, a);
  }
  if (plan->setting_count > 0) {
    for (int i = 0; i < held; i++) {
      writer->pointers[i] = plan->settings[plan_setting(plan, writer->cases[i])].name;
    }
    h5_column_put(writer->setting, COLUMN_OF_TEXTS, start, held, writer->pointers, log);
  }
  h5_column_put(writer->status, COLUMN_OF_TEXTS, start, held, writer->states, log);
  for (int i = 0; i < held; i++) {
    writer->pointers[i] = writer->messages + (size_t)i * (ROW_MESSAGE_LIMIT + 1);
  }
  h5_column_put(writer->message, COLUMN_OF_TEXTS, start, held, writer->pointers, log);
  for (int n = 0; n < writer->number_count; n++) {
    h5_column_put(writer->numbers[n], COLUMN_OF_REALS, start, held, writer->slab + (size_t)n * SLAB_ROWS, log);
  }
  for (int i = 0; i < writer->shape.limits; i++) {
    h5_column_put(writer->kept[i], COLUMN_OF_BYTES, start, held, writer->flags + (size_t)i * SLAB_ROWS, log);
  }
  if (writer->shape.limits > 0) {
    h5_column_put(writer->all_kept, COLUMN_OF_BYTES, start, held, writer->all, log);
  }
  writer->start += held;
  writer->held = 0;
}

static void add_row(struct writer *writer, const struct row *row) {
  int i = writer->held++;
  char *message = writer->messages + (size_t)i * (ROW_MESSAGE_LIMIT + 1);
  writer->cases[i] = row->k;
  writer->states[i] = row->status == RUN_INTERRUPTED ? "unfinished" : run_status_names[row->status];
  memcpy(message, row->message, (size_t)row->message_length);
  message[row->message_length] = '\0';
  for (int n = 0; n < writer->number_count; n++) {
    writer->slab[(size_t)n * SLAB_ROWS + (size_t)i] = row->numbers[n];
  }
  writer->all[i] = ROW_KEPT;
  for (int l = 0; l < writer->shape.limits; l++) {
    signed char kept = (signed char)row->kept[l];
    writer->flags[(size_t)l * SLAB_ROWS + (size_t)i] = kept;
    bool worse = kept == ROW_BROKEN || (kept == ROW_NOT_JUDGED && writer->all[i] == ROW_KEPT);
    writer->all[i] = worse ? kept : writer->all[i];
  }
  writer->failed += row->status == RUN_FAILED;
  writer->side_by_side += row->side_by_side;
  if (writer->held == SLAB_ROWS) {
    put_slab(writer);
  }
}

/* The rows of one block, in order; its positions follow those before. */
static bool add_block(struct writer *writer, const struct journal *journal, const struct journal_block *block,
                      const unsigned char *payload, struct error *error) {
  size_t used = 0;
  double *numbers = writer->scratch;
  for (int64_t i = 0; i < block->count; i++) {
    struct row row;
    size_t took = row_decode(writer->shape, payload + used, block->bytes - used, numbers, &row);
    int64_t k = writer->head->shard + (block->first + i) * writer->head->shards;
    if (took == 0 || row.k != k) {
      return error_set(error, ERROR_INPUT, "%s: the row of case %" PRId64 " is damaged", journal->path, k);
    }
    used += took;
    add_row(writer, &row);
  }
  return !writer->table.log.failed;
}

static bool add_blocks(struct writer *writer, const struct journal *journal, struct error *error) {
  uint32_t largest = 1;
  int64_t next = 0;
  for (int64_t i = 0; i < journal->block_count; i++) {
    largest = journal->blocks[i].bytes > largest ? journal->blocks[i].bytes : largest;
  }
  unsigned char *payload = malloc(largest);
  if (!payload) {
    return error_set(error, ERROR_MEMORY, "no memory for the table");
  }
  bool good = true;
  for (int64_t i = 0; good && i < journal->block_count; i++) {
    const struct journal_block *block = &journal->blocks[i];
    good = block->first == next || error_set(error, ERROR_INPUT, "%s has a hole", journal->path);
    good = good && journal_read(journal, block, payload, error) && add_block(writer, journal, block, payload, error);
    next = block->first + block->count;
  }
  put_slab(writer);
  free(payload);
  return good;
}

static void close_columns(struct writer *writer) {
  struct h5_log *log = &writer->table.log;
  h5_close_dataset(writer->case_scale, log);
  for (int a = 0; a < writer->plan->axis_count; a++) {
    h5_close_dataset(writer->axes[a], log);
  }
  for (int n = 0; n < writer->number_count; n++) {
    h5_close_dataset(writer->numbers[n], log);
  }
  for (int i = 0; i < writer->shape.limits; i++) {
    h5_close_dataset(writer->kept[i], log);
  }
  h5_close_dataset(writer->setting, log);
  h5_close_dataset(writer->all_kept, log);
  h5_close_dataset(writer->status, log);
  h5_close_dataset(writer->message, log);
}

bool table_write(const char *path, const struct plan *plan, const struct journal_head *head,
                 const struct journal *journal, const char *command, int64_t *failed, int64_t *side_by_side,
                 struct error *error) {
  struct writer writer = {.plan = plan,
                          .head = head,
                          .shape = row_shape_of(plan),
                          .rows = journal->rows,
                          .setting = H5I_INVALID_HID,
                          .all_kept = H5I_INVALID_HID};
  writer.number_count = row_number_count(writer.shape);
  if (!make_slab(&writer)) {
    free_slab(&writer);
    return error_set(error, ERROR_MEMORY, "no memory for the table");
  }
  bool good = part_open(&writer.table, path, error);
  if (good) {
    write_attributes(&writer, command);
    make_columns(&writer);
    good = part_good(&writer.table, error) && add_blocks(&writer, journal, error);
    h5_integer_attribute(writer.table.file, "failed_cases", writer.failed, &writer.table.log);
    h5_integer_attribute(writer.table.file, "side_by_side_cases", writer.side_by_side, &writer.table.log);
    close_columns(&writer);
    good = good && table_views_write(writer.table.file, path, writer.rows, &writer.table.log, error);
    good = part_good(&writer.table, error) && good;
    good = part_close(&writer.table, good ? DRAFT_NAME : DRAFT_REMOVE, error);
  }
  *failed = writer.failed;
  *side_by_side = writer.side_by_side;
  free_slab(&writer);
  return good;
}
