/* Any bytes as each of the tables that come from outside: a measured trace, the points of a study, a table of a case.
 *
 * A first line `#points` or `#table` says which; without, it is a trace. */
#include "fuzz.h"

#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <unistd.h>

#include "arena.h"
#include "loader.h"
#include "plan.h"
#include "reader.h"
#include "trace.h"

/* A file without a name that holds `text`; `path` opens it. */
static void write_file(const char *text, size_t size, char *path, size_t room) {
  static int descriptor = -1;
  if (descriptor < 0) {
    char in_memory[] = "/dev/shm/swashloop-fuzz-XXXXXX";
    char anywhere[] = "/tmp/swashloop-fuzz-XXXXXX";
    descriptor = mkstemp(in_memory);
    char *name = descriptor >= 0 ? in_memory : anywhere;
    descriptor = descriptor >= 0 ? descriptor : mkstemp(anywhere);
    check(descriptor >= 0);
    (void)unlink(name);
  }
  check(ftruncate(descriptor, 0) == 0);
  check(pwrite(descriptor, text, size, 0) == (ssize_t)size);
  (void)snprintf(path, room, "/proc/self/fd/%d", descriptor);
}

static void try_trace(const char *text, size_t size) {
  struct trace *trace = malloc(sizeof *trace);
  struct error error = {0};
  check(trace);
  if (!trace_read_text("trace.csv", text, size, trace, &error)) {
    check_error(&error);
    check(error.line >= 1 && error.column >= 1);
  } else {
    check(trace->count >= 2 && trace->column_count >= 1);
    for (int c = 0; c < trace->column_count; c++) {
      /* A number or a gap; a name finds the first column that bears it. */
      const struct trace_column *column = &trace->columns[c];
      check(!isinf(column->values[0]) && !isinf(column->values[trace->count - 1]));
      if (!trace_check(trace, c, TRACE_NUMBERS, &error)) {
        check_error(&error);
      }
      int found = trace_column(trace, column->name, &error);
      check(found >= 0 && found <= c);
    }
    if (trace_column(trace, "no such column", &error) < 0) {
      check_error(&error);
    }
    trace_free(trace);
  }
  free(trace);
}

static void try_points(const char *text, size_t size) {
  static struct case_data base;
  struct error error = {0};
  char path[64];
  if (!base.memory) {
    check(case_load_text("/no/such/folder/case.yaml", "title: points\n", NULL, 0, &base, &error));
  }
  write_file(text, size, path, sizeof path);
  struct plan plan = {.memory = arena_open(), .source = "/no/such/folder/study.yaml", .base = base};
  struct loader loader = {plan.memory, &plan.base, &error, NULL, NULL};
  struct node file = {.kind = NODE_TEXT, .file = plan.source, .line = 1, .column = 1, .text = path};
  check(plan.memory);
  if (!points_read(&loader, &file, &plan)) {
    check_error(&error);
  } else {
    check(plan.samples >= 1 && plan.axis_count >= 1);
    for (int64_t i = 0; i < plan.samples * plan.axis_count; i++) {
      check(isfinite(plan.points[i]));
    }
  }
  arena_close(plan.memory);
}

static void try_table(const char *text, size_t size) {
  char path[64];
  char body[160];
  write_file(text, size, path, sizeof path);
  (void)snprintf(body, sizeof body, "title: table\nground:\n  grade: {file: %s}\n", path);
  check_case("/no/such/folder/case.yaml", body, NULL);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  char *text = text_of(bytes, size);
  if (strncmp(text, "#points", 7) == 0) {
    try_points(text, size);
  } else if (strncmp(text, "#table", 6) == 0) {
    try_table(text, size);
  } else {
    try_trace(text, size);
  }
  free(text);
  return 0;
}
