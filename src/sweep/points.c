/* The points of a study from a table: comma-separated, the header `PATH [UNIT], PATH [UNIT], ...`, one case a line.
 * Empty lines and lines that begin with # are skipped. */
#include "plan.h"

#include <stdio.h>
#include <string.h>

#include "text.h"

enum { CELL_LIMIT = 256, UNIT_LIMIT = 64 };
/* Bytes; tables may be larger than a case. */
#define POINTS_FILE_LIMIT ((size_t)1 << 32)

struct table {
  const struct loader *loader;
  struct plan *plan;
  const char *file;
  const char *at; /* the rest of the text */
  const char *end;
  int line; /* of `at`, from 1 */
  char (*units)[UNIT_LIMIT];
  double *points;
  int64_t room; /* rows that fit */
};

/* The next line that says something; false at the end. */
static bool next_line(struct table *table, const char **start, size_t *length) {
  while (table->at < table->end) {
    const char *line = table->at;
    const char *stop = memchr(line, '\n', (size_t)(table->end - line));
    table->at = stop ? stop + 1 : table->end;
    table->line++;
    *length = (size_t)((stop ? stop : table->end) - line);
    if (*length > 0 && line[*length - 1] == '\r') {
      (*length)--;
    }
    *start = line;
    if (*length > 0 && line[0] != '#' && strspn(line, " ") < *length) {
      return true;
    }
  }
  return false;
}

static bool fail_at(const struct table *table, size_t column, const char *text, const char *detail) {
  return error_at(table->loader->error, table->file, table->line, (int)column + 1, text, detail);
}

/* The next cell of a line without the blanks around it; *at moves behind its comma, or to -1 behind the last. */
static bool next_cell(const struct table *table, const char *line, size_t length, long *at, char *cell, size_t *start) {
  size_t from = (size_t)*at;
  const char *comma = memchr(line + from, ',', length - from);
  size_t to = comma ? (size_t)(comma - line) : length;
  *at = comma ? (long)to + 1 : -1;
  while (from < to && line[from] == ' ') {
    from++;
  }
  while (to > from && line[to - 1] == ' ') {
    to--;
  }
  *start = from;
  if (to - from >= CELL_LIMIT - UNIT_LIMIT) {
    return fail_at(table, from, "a cell of more than %s characters", "190");
  }
  for (size_t i = from; i < to; i++) {
    unsigned char letter = (unsigned char)line[i];
    if (letter < ' ' || letter >= 0x7f) {
      return fail_at(table, i, "a character that is neither letter nor digit%s", "");
    }
    cell[i - from] = line[i];
  }
  cell[to - from] = '\0';
  return true;
}

static int count_cells(const char *line, size_t length) {
  int count = 1;
  for (size_t i = 0; i < length; i++) {
    count += line[i] == ',';
  }
  return count;
}

/* `pump.displacement [cm3/rev]` to path and unit. */
static void split_unit(char *cell, char *unit) {
  unit[0] = '\0';
  size_t length = strlen(cell);
  char *open = length > 0 && cell[length - 1] == ']' ? strstr(cell, " [") : NULL;
  if (open && strlen(open) - 3 < UNIT_LIMIT) {
    cell[length - 1] = '\0';
    (void)snprintf(unit, UNIT_LIMIT, "%s", open + 2);
    *open = '\0';
  }
}

static bool read_header(struct table *table) {
  const char *line = NULL;
  size_t length = 0;
  if (!next_line(table, &line, &length)) {
    table->line = 1;
    return fail_at(table, 0, "the table is empty; expected a header 'PATH [UNIT], PATH [UNIT], ...'%s", "");
  }
  struct plan *plan = table->plan;
  int count = count_cells(line, length);
  plan->axes = arena_take(plan->memory, (size_t)count * sizeof *plan->axes);
  table->units = arena_take(plan->memory, (size_t)count * sizeof *table->units);
  if (!plan->axes || !table->units) {
    return loader_out_of_memory(table->loader);
  }
  long at = 0;
  while (at >= 0) {
    char cell[CELL_LIMIT];
    size_t start = 0;
    struct axis *axis = &plan->axes[plan->axis_count];
    if (!next_cell(table, line, length, &at, cell, &start)) {
      return false;
    }
    split_unit(cell, table->units[plan->axis_count]);
    char *path = arena_text(plan->memory, cell, strlen(cell));
    struct node *node = arena_take(plan->memory, sizeof *node);
    if (!path || !node) {
      return loader_out_of_memory(table->loader);
    }
    *node = (struct node){.kind = NODE_TEXT,
                          .file = table->file,
                          .line = table->line,
                          .column = (int)start + 1,
                          .verbatim = true,
                          .text = path};
    *axis = (struct axis){.node = node, .kind = AXIS_COLUMN};
    if (!axis_find_refs(table->loader, node, axis)) {
      return false;
    }
    for (int i = 0; i < plan->axis_count; i++) {
      if (strcmp(plan->axes[i].path, path) == 0) {
        return fail_at(table, start, "'%s' is in two columns", path);
      }
    }
    plan->axis_count++;
  }
  return true;
}

static bool make_room(struct table *table) {
  struct plan *plan = table->plan;
  if (table->points && plan->samples < table->room) {
    return true;
  }
  size_t width = (size_t)plan->axis_count * sizeof(double);
  int64_t room = table->room > 0 ? 2 * table->room : 256;
  double *points = arena_take(plan->memory, (size_t)room * width);
  if (!points) {
    return loader_out_of_memory(table->loader);
  }
  if (table->points && plan->samples > 0) {
    memcpy(points, table->points, (size_t)plan->samples * width);
  }
  table->points = points;
  table->room = room;
  return true;
}

static bool read_row(struct table *table, const char *line, size_t length) {
  struct plan *plan = table->plan;
  int count = count_cells(line, length);
  if (count != plan->axis_count) {
    char found[64];
    (void)snprintf(found, sizeof found, "%d cells, the header has %d", count, plan->axis_count);
    return fail_at(table, 0, "%s", found);
  }
  if (!make_room(table)) {
    return false;
  }
  long at = 0;
  for (int i = 0; i < plan->axis_count; i++) {
    char cell[CELL_LIMIT];
    size_t start = 0;
    if (!next_cell(table, line, length, &at, cell, &start)) {
      return false;
    }
    size_t used = strlen(cell);
    if (table->units && table->units[i][0] != '\0') {
      (void)snprintf(cell + used, sizeof cell - used, " %s", table->units[i]);
    }
    struct node node = {.kind = NODE_TEXT,
                        .file = table->file,
                        .line = table->line,
                        .column = (int)start + 1,
                        .verbatim = true,
                        .text = cell};
    const struct axis *axis = &plan->axes[i];
    if (!parameter_ref_read(table->loader, &axis->refs[0], axis->path, &node,
                            &table->points[plan->samples * plan->axis_count + i])) {
      return false;
    }
  }
  plan->samples++;
  return true;
}

bool points_read(const struct loader *loader, const struct node *file, struct plan *plan) {
  struct table table = {.loader = loader, .plan = plan};
  table.file = loader_beside(plan->memory, plan->source, file->text);
  size_t length = 0;
  const char *why = "the path is too long";
  table.at =
      table.file ? reader_file(plan->memory, table.file, POINTS_FILE_LIMIT, &plan->base.inputs, &length, &why) : NULL;
  if (!table.at) {
    return error_at(loader->error, file->file, file->line, file->column, "table '%s' cannot be read: %s",
                    table.file ? table.file : file->text, why);
  }
  if (length > POINTS_FILE_LIMIT) {
    return error_at(loader->error, table.file, 0, 0, "larger than 4 GiB");
  }
  table.end = table.at + length;
  const char *line = NULL;
  size_t line_length = 0;
  if (!read_header(&table)) {
    return false;
  }
  while (next_line(&table, &line, &line_length)) {
    if (!read_row(&table, line, line_length)) {
      return false;
    }
  }
  plan->points = table.points;
  return plan->samples > 0 || fail_at(&table, 0, "the table has a header and no rows%s", "");
}
