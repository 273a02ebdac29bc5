/* The points of a study from a table (src/columns/columns.h): the heading `PATH [UNIT], PATH [UNIT], ...`, one case a
 * line. */
#include "plan.h"

#include <stdio.h>
#include <string.h>

#include "columns.h"
#include "text.h"
#include "unit_words.h"

enum { CELL_ROOM = 2 * COLUMNS_NAME };
/* Bytes; tables may be larger than a case. */
#define POINTS_FILE_LIMIT ((size_t)1 << 32)

struct table {
  const struct loader *loader;
  struct plan *plan;
  struct columns columns;
  double *points;
  int64_t room; /* rows that fit */
};

/* The axes from the heading. */
static bool read_header(struct table *table) {
  struct plan *plan = table->plan;
  const struct columns *columns = &table->columns;
  plan->axes = arena_take(plan->memory, (size_t)columns->count * sizeof *plan->axes);
  if (!plan->axes) {
    return loader_out_of_memory(table->loader);
  }
  for (int c = 0; c < columns->count; c++) {
    const struct heading *heading = &columns->headings[c];
    struct axis *axis = &plan->axes[plan->axis_count];
    char *path = arena_text(plan->memory, heading->name, strlen(heading->name));
    struct node *node = arena_take(plan->memory, sizeof *node);
    if (!path || !node) {
      return loader_out_of_memory(table->loader);
    }
    *node = (struct node){.kind = NODE_TEXT,
                          .file = columns->file,
                          .line = columns->heading_line,
                          .column = heading->column,
                          .verbatim = true,
                          .text = path};
    *axis = (struct axis){.node = node, .kind = AXIS_COLUMN};
    if (!axis_find_refs(table->loader, node, axis)) {
      return false;
    }
    for (int i = 0; i < plan->axis_count; i++) {
      if (strcmp(plan->axes[i].path, path) == 0) {
        return error_at(table->loader->error, columns->file, columns->heading_line, heading->column,
                        "'%s' is in two columns", path);
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

static bool read_row(struct table *table) {
  struct plan *plan = table->plan;
  const struct columns *columns = &table->columns;
  if (!make_room(table)) {
    return false;
  }
  for (int i = 0; i < plan->axis_count; i++) {
    const struct axis *axis = &plan->axes[i];
    const struct cell *cell = &columns->cells[i];
    int place = line_column(&columns->line, cell->text);
    char text[CELL_ROOM];
    if (cell->length >= COLUMNS_NAME) {
      return error_at(table->loader->error, columns->file, columns->line.number, place,
                      "a cell of more than %d letters", COLUMNS_NAME - 1);
    }
    struct unit_word word = unit_word_of(axis->refs[0].quantity, columns->headings[i].unit);
    columns_amount(columns, cell, word.name, text, sizeof text);
    struct node node = {.kind = NODE_TEXT,
                        .file = columns->file,
                        .line = columns->line.number,
                        .column = place,
                        .verbatim = true,
                        .text = text};
    if (!parameter_ref_read(table->loader, &axis->refs[0], axis->path, &node,
                            &table->points[plan->samples * plan->axis_count + i])) {
      return false;
    }
  }
  plan->samples++;
  return true;
}

static bool read_rows(struct table *table) {
  enum columns_step step;
  while ((step = columns_next(&table->columns)) == COLUMNS_ROW) {
    if (!read_row(table)) {
      return false;
    }
  }
  table->plan->points = table->points;
  const char *guessed = table->columns.told.text;
  if (guessed[0] != '\0' && !reader_guessed(table->plan->memory, &table->plan->base.inputs, guessed)) {
    return loader_out_of_memory(table->loader);
  }
  return step == COLUMNS_END &&
         (table->plan->samples > 0 || error_at(table->loader->error, table->columns.file, table->columns.heading_line,
                                               1, "the table has a header and no rows"));
}

bool points_read(const struct loader *loader, const struct node *file, struct plan *plan) {
  struct table table = {.loader = loader, .plan = plan};
  const char *name = loader_beside(plan->memory, plan->source, file->text);
  size_t length = 0;
  const char *why = "the path is too long";
  const char *text =
      name ? reader_file(plan->memory, loader->carried, name, POINTS_FILE_LIMIT, &plan->base.inputs, &length, &why)
           : NULL;
  if (!text) {
    return error_at(loader->error, file->file, file->line, file->column, "table '%s' cannot be read: %s",
                    name ? name : file->text, why);
  }
  if (length > POINTS_FILE_LIMIT) {
    return error_at(loader->error, name, 0, 0, "larger than 4 GiB");
  }
  bool good = columns_open(&table.columns, COLUMNS_OF_A_CASE, name, text, length, loader->error) &&
              read_header(&table) && read_rows(&table);
  columns_close(&table.columns);
  return good;
}
