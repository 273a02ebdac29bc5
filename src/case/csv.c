/* Tables and maps from text files, as a spreadsheet or a logger writes them (src/columns/columns.h).
 *
 * Which columns: those that the case names; without a word the first is the argument, and the value is the column named
 * as the field, or else the only other one. Where a table wants a fraction over a length (a grade) and its column is a
 * length, it is a height, and the grade is made of it: rise over run between the points, and at each point the corner
 * rounded as roads are, by a parabola over half of the shorter neighbour either way, so that the grade runs in a
 * straight line from one slope to the next and the height is kept. Without a word a column named `height` is taken if
 * none has the field's name. */
#include "loader.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "columns.h"
#include "text.h"
#include "unit_words.h"
#include "units.h"

enum { CSV_ROW_LIMIT = 100000, CELL_ROOM = 2 * COLUMNS_NAME, ARGUMENT = 0, VALUE = 1, VARIED = 2 };

struct csv {
  const struct loader *loader;
  const char *path; /* of the parameter, for messages */
  struct columns columns;
  struct error inner; /* of the columns, before the path is put in front */
  int chosen[VARIED];
  enum quantity quantities[VARIED];
};

/* A fault that the columns found, with the parameter in front. */
static bool pass_on(struct csv *csv) {
  const struct error *inner = &csv->inner;
  if (inner->code != ERROR_INPUT) {
    return loader_out_of_memory(csv->loader);
  }
  return error_at(csv->loader->error, inner->file, inner->line, inner->column, "%s: %s", csv->path, inner->text);
}

/* A fault of the row read last, or of the heading when there is none yet. */
static bool fail_at(const struct csv *csv, int column, const char *text) {
  int row = csv->columns.line.number;
  return error_at(csv->loader->error, csv->columns.file, row > 0 ? row : csv->columns.heading_line, column, "%s: %s",
                  csv->path, text);
}

/* --- Columns --------------------------------------------------------------------------------------------------------
 */

static const char *heading_at(const void *context, int index) {
  return ((const struct csv *)context)->columns.headings[index].name;
}

/* Is this column's unit one of the quantity's? If not and `tell`, say so. */
static bool unit_fits(const struct csv *csv, int index, enum quantity quantity, bool tell) {
  const struct heading *heading = &csv->columns.headings[index];
  struct unit_word word = unit_word_of(quantity, heading->unit);
  char why[512];
  double slope;
  double zero;
  if (!word.absolute && unit_word_line(quantity, &word, &slope, &zero, why, sizeof why)) {
    return true;
  }
  return tell && error_at(csv->loader->error, csv->columns.file, csv->columns.heading_line, heading->column,
                          "%s: column '%s' [%s]: %s; expected a name and a unit in brackets, as in 'distance [m]'",
                          csv->path, heading->name, heading->unit,
                          word.absolute ? "a pressure of a case is not counted from vacuum" : why);
}

static bool unknown_column(const struct csv *csv, const char *name) {
  return error_at(csv->loader->error, csv->columns.file, csv->columns.heading_line, 1, "%s: there is no column '%s'%s",
                  csv->path, text_excerpt(name).text, hint_nearest(name, csv->columns.count, heading_at, csv).text);
}

/* Height serves where a table wants a fraction over a length. */
static bool takes_height(const struct field *field) {
  return field->quantity == QUANTITY_FRACTION && field->argument == QUANTITY_LENGTH;
}

/* `named`: what the case says of argument and value, NULL where it says nothing. */
static bool choose_columns(struct csv *csv, const struct field *field, const char *const *named) {
  int argument = named[ARGUMENT] ? columns_find(&csv->columns, named[ARGUMENT]) : 0;
  if (argument < 0) {
    return unknown_column(csv, named[ARGUMENT]);
  }
  int value = columns_find(&csv->columns, named[VALUE] ? named[VALUE] : field->name);
  if (value < 0 && named[VALUE]) {
    return unknown_column(csv, named[VALUE]);
  }
  if (value < 0 && takes_height(field)) {
    value = columns_find(&csv->columns, "height");
  }
  if (value < 0 && csv->columns.count == 2) {
    value = 1 - argument;
  }
  if (value < 0) {
    return error_at(csv->loader->error, csv->columns.file, csv->columns.heading_line, 1,
                    "%s: no column is named '%s'; name the column with 'value:'", csv->path, field->name);
  }
  bool height = takes_height(field) && !unit_fits(csv, value, field->quantity, false) &&
                unit_fits(csv, value, QUANTITY_LENGTH, false);
  csv->chosen[ARGUMENT] = argument;
  csv->chosen[VALUE] = value;
  csv->quantities[ARGUMENT] = field->argument;
  csv->quantities[VALUE] = height ? QUANTITY_LENGTH : field->quantity;
  return unit_fits(csv, argument, csv->quantities[ARGUMENT], true) &&
         unit_fits(csv, value, csv->quantities[VALUE], true);
}

/* --- Points ---------------------------------------------------------------------------------------------------------
 */

/* One cell as a number of its column's quantity; `node` gets its place. */
static bool read_cell(const struct csv *csv, int which, struct node *node, char *text, real *si) {
  const struct heading *heading = &csv->columns.headings[csv->chosen[which]];
  const struct cell *cell = &csv->columns.cells[csv->chosen[which]];
  struct unit_word word = unit_word_of(csv->quantities[which], heading->unit);
  struct error inner = {0};
  *node = (struct node){.kind = NODE_TEXT,
                        .file = csv->columns.file,
                        .line = csv->columns.line.number,
                        .column = line_column(&csv->columns.line, cell->text),
                        .text = text};
  if (cell->length >= COLUMNS_NAME) {
    return fail_at(csv, node->column, "found a long text, expected a number");
  }
  columns_amount(&csv->columns, cell, word.name, text, CELL_ROOM);
  if (cell->length == 0) {
    return error_at(csv->loader->error, node->file, node->line, node->column, "%s: found nothing in column '%s'",
                    csv->path, heading->name);
  }
  if (units_read(csv->quantities[which], text, si, &inner)) {
    return true;
  }
  return error_at(csv->loader->error, node->file, node->line, node->column + inner.column - 1, "%s: %s", csv->path,
                  inner.text);
}

static bool read_points(struct csv *csv, const struct field *field, real *arguments, real *values, int *lines,
                        int *count) {
  bool height = csv->quantities[VALUE] != field->quantity;
  enum columns_step step;
  for (*count = 0; (step = columns_next(&csv->columns)) == COLUMNS_ROW; (*count)++) {
    struct node node[VARIED];
    char text[VARIED][CELL_ROOM];
    if (*count == CSV_ROW_LIMIT) {
      return fail_at(csv, 1, "more than 100000 points");
    }
    if (!read_cell(csv, ARGUMENT, &node[ARGUMENT], text[ARGUMENT], &arguments[*count]) ||
        !read_cell(csv, VALUE, &node[VALUE], text[VALUE], &values[*count]) ||
        (!height && !value_check(csv->loader, field, csv->path, values[*count], &node[VALUE])) ||
        !table_order(csv->loader, csv->path, field, arguments, *count, &node[ARGUMENT])) {
      return false;
    }
    if (height && *count > 0 && !(arguments[*count] > arguments[*count - 1])) {
      return fail_at(csv, node[ARGUMENT].column, "a second height at one distance; heights make no steps");
    }
    lines[*count] = csv->columns.line.number;
  }
  if (step == COLUMNS_FAILED) {
    return pass_on(csv);
  }
  if (*count == 0 || (height && *count < 2)) {
    return fail_at(csv, 0, height ? "a grade needs two heights or more" : "there is no point below the header");
  }
  return true;
}

/* Heights to grades (see above). At most two points a corner. */
static bool make_grade(const struct csv *csv, const struct field *field, const int *lines, struct profile *table) {
  int corners = table->count - 2;
  real *arguments = arena_take(csv->loader->arena, (size_t)(2 * corners + 1) * sizeof *arguments);
  real *grades = arena_take(csv->loader->arena, (size_t)(2 * corners + 1) * sizeof *grades);
  if (!arguments || !grades) {
    return loader_out_of_memory(csv->loader);
  }
  const real *distance = table->argument;
  const real *height = table->value;
  int count = 0;
  real before = 0.0;
  for (int i = 0; i <= corners; i++) {
    real run = distance[i + 1] - distance[i];
    real grade = (height[i + 1] - height[i]) / run;
    if (!(fabs(grade) <= quantity_from_trade(field->quantity, field->high))) {
      char steep[64];
      return error_at(csv->loader->error, csv->columns.file, lines[i + 1], 1,
                      "%s: the height rises by %s from the point before", csv->path,
                      units_show(QUANTITY_FRACTION, grade, steep, sizeof steep));
    }
    if (i > 0) {
      real half = 0.5 * fmin(run, distance[i] - distance[i - 1]);
      real from = distance[i] - half;
      /* Evenly spaced, one corner ends where the next begins. */
      if (count == 0 || from > arguments[count - 1] + 1e-6 * half) {
        arguments[count] = from;
        grades[count++] = before;
      }
      arguments[count] = distance[i] + half;
      grades[count++] = grade;
    }
    before = grade;
  }
  if (count == 0) {
    arguments[count] = distance[0];
    grades[count++] = before;
  }
  *table = (struct profile){count, arguments, grades, false};
  return true;
}

/* --- The mapping in the case ----------------------------------------------------------------------------------------
 */

static const char *key_at(const void *context, int index) {
  return ((const char *const *)context)[index];
}

/* The names that the mapping gives for `keys`, the first of which is `file`; NULL where it gives none. */
static bool read_keys(const struct loader *loader, const char *path, const struct node *mapping,
                      const char *const *keys, int count, const char **names) {
  char known[160] = "";
  for (int i = 0; i < count; i++) {
    size_t used = strlen(known);
    (void)snprintf(known + used, sizeof known - used, "%s%s", i == 0 ? "" : i + 1 < count ? ", " : " or ", keys[i]);
    names[i] = NULL;
  }
  for (const struct node *node = mapping->first; node; node = node->next) {
    int i = 0;
    if (strcmp(node->key, "curve") == 0) {
      continue; /* values.c reads it */
    }
    while (i < count && strcmp(node->key, keys[i]) != 0) {
      i++;
    }
    if (i == count) {
      return error_at(loader->error, node->file, node->key_line, node->key_column, "%s: found '%s', expected %s%s",
                      path, text_excerpt(node->key).text, known, hint_nearest(node->key, count, key_at, keys).text);
    }
    if (node->kind != NODE_TEXT || node->text[0] == '\0') {
      return error_at(loader->error, node->file, node->line, node->column, "%s: found %s, expected a name", path,
                      node->kind == NODE_TEXT ? "nothing" : node_kind_words(node));
    }
    names[i] = node->text;
  }
  return names[0] || error_at(loader->error, mapping->file, mapping->line, mapping->column,
                              "%s: a mapping without 'file:'; expected {file: NAME.csv}", path);
}

static bool open_file(struct csv *csv, const struct node *mapping, const char *name) {
  const struct loader *loader = csv->loader;
  /* What the command line sets is looked for beside the case. */
  const char *file = loader_beside(loader->arena, mapping->line > 0 ? mapping->file : loader->data->source, name);
  size_t length = 0;
  const char *why = "the path is too long";
  char *text =
      file ? reader_file(loader->arena, loader->carried, file, READER_FILE_LIMIT, &loader->data->inputs, &length, &why)
           : NULL;
  if (!text) {
    if (file && errno == ENOMEM) {
      loader_out_of_memory(loader);
    } else {
      error_at(loader->error, mapping->file, mapping->line, mapping->column, "%s: file '%s' cannot be read: %s",
               csv->path, file ? file : name, why);
    }
    return false;
  }
  if (length > READER_FILE_LIMIT) {
    error_at(loader->error, file, 0, 0, "%s: larger than 16 MiB", csv->path);
    return false;
  }
  if (!columns_open(&csv->columns, COLUMNS_OF_A_CASE, file, text, length, &csv->inner)) {
    pass_on(csv);
    return false;
  }
  return true;
}

/* What had to be guessed of the file, kept with its name. */
static bool keep_guessed(const struct csv *csv) {
  return csv->columns.told.text[0] == '\0' ||
         reader_guessed(csv->loader->arena, &csv->loader->data->inputs, csv->columns.told.text) ||
         loader_out_of_memory(csv->loader);
}

/* Lines in the rest of the text, at least. */
static size_t count_lines(const struct columns *columns) {
  size_t count = 1;
  for (const char *at = columns->lines.at; at < columns->lines.end; at++) {
    count += *at == '\n' || *at == '\r';
  }
  return count < CSV_ROW_LIMIT ? count : CSV_ROW_LIMIT;
}

static bool read_table(struct csv *csv, const struct field *field, const char *const *named, struct profile *table) {
  const struct loader *loader = csv->loader;
  size_t room = count_lines(&csv->columns);
  real *arguments = arena_take(loader->arena, room * sizeof *arguments);
  real *values = arena_take(loader->arena, room * sizeof *values);
  int *lines = arena_take(loader->arena, room * sizeof *lines);
  int count = 0;
  if (!arguments || !values || !lines) {
    return loader_out_of_memory(loader);
  }
  if (!choose_columns(csv, field, named) || !read_points(csv, field, arguments, values, lines, &count) ||
      !keep_guessed(csv)) {
    return false;
  }
  *table = (struct profile){count, arguments, values, false};
  return csv->quantities[VALUE] == field->quantity || make_grade(csv, field, lines, table);
}

bool csv_table(const struct loader *loader, const char *path, const struct field *field, const struct node *mapping,
               struct profile *table) {
  static const char *const keys[] = {"file", "argument", "value", "curve"};
  const char *names[4];
  struct csv csv = {.loader = loader, .path = path};
  bool good = read_keys(loader, path, mapping, keys, 4, names) && open_file(&csv, mapping, names[0]) &&
              read_table(&csv, field, names + 1, table);
  columns_close(&csv.columns);
  return good;
}

/* --- Rows of a map --------------------------------------------------------------------------------------------------
 */

/* The columns of a map: by their names, or else all of them in the order of the map. */
static bool choose_map_columns(const struct csv *csv, const struct map_form *form, const char *const *named,
                               int *chosen) {
  int found = 0;
  int most = map_form_columns(form);
  int least = form->names[MAP_STROKE] != NULL ? most - 1 : most;
  for (int i = 0; i < MAP_COLUMNS; i++) {
    if (form->names[i] == NULL) {
      chosen[i] = -1;
      continue;
    }
    chosen[i] = columns_find(&csv->columns, named[i] ? named[i] : form->names[i]);
    if (chosen[i] < 0 && named[i]) {
      return unknown_column(csv, named[i]);
    }
    found += chosen[i] >= 0;
  }
  if (found >= least && (found == most || chosen[MAP_STROKE] < 0)) {
    return true;
  }
  if (found > 0 || csv->columns.count < least || csv->columns.count > most) {
    return error_at(csv->loader->error, csv->columns.file, csv->columns.heading_line, 1,
                    "%s: expected columns %s; name others with 'speed: COLUMN' and so on", csv->path,
                    form->column_words);
  }
  bool strokes = csv->columns.count == MAP_COLUMNS;
  for (int i = 0, next = 0; i < MAP_COLUMNS; i++) {
    chosen[i] = form->names[i] == NULL || (i == MAP_STROKE && !strokes) ? -1 : next++;
  }
  return true;
}

/* A text that stands in the file as a node that a map reads. */
static struct node *map_node(const struct csv *csv, int column, enum quantity quantity) {
  struct arena *arena = csv->loader->arena;
  const struct cell *cell = &csv->columns.cells[column];
  struct unit_word word = unit_word_of(quantity, csv->columns.headings[column].unit);
  char text[CELL_ROOM];
  columns_amount(&csv->columns, cell, word.name, text, sizeof text);
  struct node *node = arena_take(arena, sizeof *node);
  char *own = arena_text(arena, text, strlen(text));
  if (node == NULL || own == NULL) {
    return NULL;
  }
  *node = (struct node){.kind = NODE_TEXT,
                        .file = csv->columns.file,
                        .line = csv->columns.line.number,
                        .column = line_column(&csv->columns.line, cell->text),
                        .text = own};
  return node;
}

/* The cells of one row, in the order of a map's. */
static struct node *map_row_node(const struct csv *csv, const struct map_form *form, const int *chosen) {
  struct node *row = arena_take(csv->loader->arena, sizeof *row);
  if (row == NULL) {
    return NULL;
  }
  *row = (struct node){.kind = NODE_LIST, .file = csv->columns.file, .line = csv->columns.line.number, .column = 1};
  struct node **end = &row->first;
  for (int i = 0; i < MAP_COLUMNS; i++) {
    if (chosen[i] < 0) {
      continue;
    }
    *end = map_node(csv, chosen[i], map_column_quantity(form, i, false));
    if (*end == NULL) {
      return NULL;
    }
    end = &(*end)->next;
    row->count++;
  }
  return row;
}

static bool read_map_rows(struct csv *csv, const struct map_form *form, const char *const *named, struct node *list) {
  int chosen[MAP_COLUMNS] = {0};
  struct node **end = &list->first;
  enum columns_step step;
  if (!choose_map_columns(csv, form, named, chosen)) {
    return false;
  }
  while ((step = columns_next(&csv->columns)) == COLUMNS_ROW) {
    if (list->count == CSV_ROW_LIMIT) {
      return fail_at(csv, 1, "more than 100000 rows");
    }
    *end = map_row_node(csv, form, chosen);
    if (*end == NULL) {
      return loader_out_of_memory(csv->loader);
    }
    end = &(*end)->next;
    list->count++;
  }
  if (step == COLUMNS_FAILED) {
    return pass_on(csv);
  }
  return (list->count > 0 || fail_at(csv, 0, "there is no row below the header")) && keep_guessed(csv);
}

const struct node *csv_map_rows(const struct loader *loader, const char *path, const struct map_form *form,
                                const struct node *mapping) {
  const char *keys[MAP_COLUMNS + 1] = {"file"};
  const char *found[MAP_COLUMNS + 1];
  const char *names[MAP_COLUMNS] = {NULL};
  int key_count = 1;
  struct csv csv = {.loader = loader, .path = path};
  struct node *list = arena_take(loader->arena, sizeof *list);
  if (list == NULL) {
    (void)loader_out_of_memory(loader);
    return NULL;
  }
  *list = (struct node){.kind = NODE_LIST, .file = mapping->file, .line = mapping->line, .column = mapping->column};
  for (int i = 0; i < MAP_COLUMNS; i++) {
    if (form->names[i] != NULL) {
      keys[key_count++] = form->names[i];
    }
  }
  bool good = read_keys(loader, path, mapping, keys, key_count, found) && open_file(&csv, mapping, found[0]);
  for (int i = 0, next = 1; good && i < MAP_COLUMNS; i++) {
    names[i] = form->names[i] != NULL ? found[next++] : NULL;
  }
  good = good && read_map_rows(&csv, form, names, list);
  columns_close(&csv.columns);
  return good ? list : NULL;
}
