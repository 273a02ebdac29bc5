/* Tables from CSV files, as a spreadsheet or a logger writes them. The first line names the columns, each with its unit
 * in brackets: `distance [m], grade [%]`. Then one line a point. Columns are parted by commas, decimals have a point; a
 * cell may stand in double quotes. Lines that are empty or start with # are skipped.
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

#include "text.h"
#include "units.h"

enum { CSV_ROW_LIMIT = 100000, CSV_COLUMN_LIMIT = 64, CSV_CELL_LIMIT = 128, ARGUMENT = 0, VALUE = 1, VARIED = 2 };

/* A cell as it lies in the file. */
struct cell {
  const char *text;
  int length;
  int column; /* in characters, from 1 */
};

/* A column of the header. */
struct heading {
  char name[CSV_CELL_LIMIT];
  char unit[CSV_CELL_LIMIT];
  int column; /* where it stands */
};

struct csv {
  const struct loader *loader;
  const char *path; /* of the parameter, for messages */
  const char *file;
  const char *at; /* the rest of the text */
  const char *end;
  int line; /* of the last line read */
  int heading_line;
  int heading_count;
  struct heading headings[CSV_COLUMN_LIMIT];
  const char *argument; /* names that the case gives, or NULL */
  const char *value;
  int chosen[VARIED];
  enum quantity quantities[VARIED];
};

static bool fail_at(const struct csv *csv, int column, const char *text) {
  return error_at(csv->loader->error, csv->file, csv->line, column, "%s: %s", csv->path, text);
}

/* --- Lines and cells ------------------------------------------------------------------------------------------------
 */

/* The next line that says something; false at the end of the file. */
static bool next_line(struct csv *csv, const char **line, int *length) {
  while (csv->at < csv->end) {
    const char *stop = memchr(csv->at, '\n', (size_t)(csv->end - csv->at));
    const char *after = stop ? stop + 1 : csv->end;
    const char *last = stop ? stop : csv->end;
    const char *start = csv->at;
    csv->at = after;
    csv->line++;
    if (last > start && last[-1] == '\r') {
      last--;
    }
    const char *first = start;
    while (first < last && *first == ' ') {
      first++;
    }
    if (first < last && *first != '#') {
      *line = start;
      *length = (int)(last - start);
      return true;
    }
  }
  return false;
}

/* Characters in the first `bytes` bytes. */
static int characters(const char *text, int bytes) {
  int count = 0;
  for (int i = 0; i < bytes; i++) {
    count += ((unsigned char)text[i] & 0xC0U) != 0x80U;
  }
  return count;
}

/* Cut a line into cells without blanks and quotes around them; returns how many there are, though no more than `room`
 * are kept. */
static int cut_line(const char *line, int length, struct cell *cells, int room) {
  int count = 0;
  for (int at = 0; at <= length; count++) {
    int start = at;
    bool quoted = false;
    while (at < length && (quoted || line[at] != ',')) {
      quoted = quoted != (line[at] == '"');
      at++;
    }
    int last = at;
    while (start < last && line[start] == ' ') {
      start++;
    }
    while (last > start && line[last - 1] == ' ') {
      last--;
    }
    if (last - start >= 2 && line[start] == '"' && line[last - 1] == '"') {
      start++;
      last--;
    }
    if (count < room) {
      cells[count] = (struct cell){line + start, last - start, characters(line, start) + 1};
    }
    at++; /* the comma */
  }
  return count;
}

/* --- The header -----------------------------------------------------------------------------------------------------
 */

static const char *heading_at(const void *context, int index) {
  return ((const struct csv *)context)->headings[index].name;
}

/* `name [unit]` */
static bool read_heading(const struct csv *csv, const struct cell *cell, struct heading *heading) {
  char text[CSV_CELL_LIMIT];
  if (cell->length >= CSV_CELL_LIMIT) {
    return fail_at(csv, cell->column, "the name of this column is too long");
  }
  (void)snprintf(text, sizeof text, "%.*s", cell->length, cell->text);
  heading->column = cell->column;
  heading->unit[0] = '\0';
  char *open = strchr(text, '[');
  if (open) {
    char *shut = strchr(open, ']');
    if (!shut || shut[1] != '\0') {
      return fail_at(csv, cell->column, "expected a name and a unit in brackets, as in 'distance [m]'");
    }
    *shut = '\0';
    (void)snprintf(heading->unit, sizeof heading->unit, "%s", open + 1);
    while (open > text && open[-1] == ' ') {
      open--;
    }
    *open = '\0';
  }
  (void)snprintf(heading->name, sizeof heading->name, "%s", text);
  return true;
}

static bool read_header(struct csv *csv) {
  const char *line = NULL;
  int length = 0;
  if (!next_line(csv, &line, &length)) {
    csv->line = 0;
    return fail_at(csv, 0, "nothing is written here; expected a line 'NAME [UNIT], NAME [UNIT]' and points below it");
  }
  struct cell cells[CSV_COLUMN_LIMIT];
  csv->heading_line = csv->line;
  csv->heading_count = cut_line(line, length, cells, CSV_COLUMN_LIMIT);
  if (csv->heading_count < 2) {
    return fail_at(csv, 1, "found one column, expected 'NAME [UNIT], NAME [UNIT]', parted by a comma");
  }
  if (csv->heading_count > CSV_COLUMN_LIMIT) {
    return fail_at(csv, 1, "more than 64 columns");
  }
  for (int i = 0; i < csv->heading_count; i++) {
    if (!read_heading(csv, &cells[i], &csv->headings[i])) {
      return false;
    }
  }
  return true;
}

static int find_heading(const struct csv *csv, const char *name) {
  for (int i = 0; i < csv->heading_count; i++) {
    if (strcmp(csv->headings[i].name, name) == 0) {
      return i;
    }
  }
  return -1;
}

/* Is this column's unit one of the quantity's? If not and `tell`, say so. */
static bool unit_fits(const struct csv *csv, int index, enum quantity quantity, bool tell) {
  const struct heading *heading = &csv->headings[index];
  char text[CSV_CELL_LIMIT + 2];
  double si = 0.0;
  struct error inner = {0};
  (void)snprintf(text, sizeof text, "1 %s", heading->unit);
  if (units_read(quantity, text, &si, &inner)) {
    return true;
  }
  return tell && error_at(csv->loader->error, csv->file, csv->heading_line, heading->column, "%s: column '%s' [%s]: %s",
                          csv->path, heading->name, heading->unit, inner.text);
}

static bool unknown_column(const struct csv *csv, const char *name) {
  return error_at(csv->loader->error, csv->file, csv->heading_line, 1, "%s: there is no column '%s'%s", csv->path,
                  text_excerpt(name).text, hint_nearest(name, csv->heading_count, heading_at, csv).text);
}

/* Height serves where a table wants a fraction over a length. */
static bool takes_height(const struct field *field) {
  return field->quantity == QUANTITY_FRACTION && field->argument == QUANTITY_LENGTH;
}

static bool choose_columns(struct csv *csv, const struct field *field) {
  int argument = csv->argument ? find_heading(csv, csv->argument) : 0;
  if (argument < 0) {
    return unknown_column(csv, csv->argument);
  }
  int value = find_heading(csv, csv->value ? csv->value : field->name);
  if (value < 0 && csv->value) {
    return unknown_column(csv, csv->value);
  }
  if (value < 0 && takes_height(field)) {
    value = find_heading(csv, "height");
  }
  if (value < 0 && csv->heading_count == 2) {
    value = 1 - argument;
  }
  if (value < 0) {
    csv->line = csv->heading_line;
    return error_at(csv->loader->error, csv->file, csv->heading_line, 1,
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
static bool read_cell(const struct csv *csv, const struct cell *cell, int which, struct node *node, char *text,
                      real *si) {
  const struct heading *heading = &csv->headings[csv->chosen[which]];
  struct error inner = {0};
  if (cell->length >= CSV_CELL_LIMIT) {
    return fail_at(csv, cell->column, "found a long text, expected a number");
  }
  (void)snprintf(text, (size_t)2 * CSV_CELL_LIMIT, "%.*s %s", cell->length, cell->text, heading->unit);
  *node = (struct node){.kind = NODE_TEXT, .file = csv->file, .line = csv->line, .column = cell->column, .text = text};
  if (cell->length == 0) {
    return error_at(csv->loader->error, csv->file, csv->line, cell->column, "%s: found nothing in column '%s'",
                    csv->path, heading->name);
  }
  if (units_read(csv->quantities[which], text, si, &inner)) {
    return true;
  }
  return error_at(csv->loader->error, csv->file, csv->line, cell->column + inner.column - 1, "%s: %s", csv->path,
                  inner.text);
}

static bool read_points(struct csv *csv, const struct field *field, real *arguments, real *values, int *lines,
                        int *count) {
  const char *line = NULL;
  int length = 0;
  bool height = csv->quantities[VALUE] != field->quantity;
  for (*count = 0; next_line(csv, &line, &length); (*count)++) {
    struct cell cells[CSV_COLUMN_LIMIT];
    struct node node[VARIED];
    char text[VARIED][2 * CSV_CELL_LIMIT];
    int found = cut_line(line, length, cells, CSV_COLUMN_LIMIT);
    if (found != csv->heading_count) {
      return error_at(csv->loader->error, csv->file, csv->line, 1,
                      "%s: found %d columns, the header has %d; columns are parted by commas, decimals have a point",
                      csv->path, found, csv->heading_count);
    }
    if (*count == CSV_ROW_LIMIT) {
      return fail_at(csv, 1, "more than 100000 points");
    }
    if (!read_cell(csv, &cells[csv->chosen[ARGUMENT]], ARGUMENT, &node[ARGUMENT], text[ARGUMENT], &arguments[*count]) ||
        !read_cell(csv, &cells[csv->chosen[VALUE]], VALUE, &node[VALUE], text[VALUE], &values[*count]) ||
        (!height && !value_check(csv->loader, field, csv->path, values[*count], &node[VALUE])) ||
        !table_order(csv->loader, csv->path, field, arguments, *count, &node[ARGUMENT])) {
      return false;
    }
    if (height && *count > 0 && !(arguments[*count] > arguments[*count - 1])) {
      return fail_at(csv, node[ARGUMENT].column, "a second height at one distance; heights make no steps");
    }
    lines[*count] = csv->line;
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
      return error_at(csv->loader->error, csv->file, lines[i + 1], 1,
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

static bool read_keys(const struct csv *csv, const struct node *mapping, const char **file, const char **argument,
                      const char **value) {
  static const char *const keys[] = {"file", "argument", "value"};
  const char **targets[] = {file, argument, value};
  for (const struct node *node = mapping->first; node; node = node->next) {
    int i = 0;
    if (strcmp(node->key, "curve") == 0) {
      continue; /* values.c reads it */
    }
    while (i < 3 && strcmp(node->key, keys[i]) != 0) {
      i++;
    }
    if (i == 3) {
      return error_at(csv->loader->error, node->file, node->key_line, node->key_column,
                      "%s: found '%s', expected file, argument, value or curve%s", csv->path,
                      text_excerpt(node->key).text, hint_nearest(node->key, 3, key_at, keys).text);
    }
    if (node->kind != NODE_TEXT || node->text[0] == '\0') {
      return error_at(csv->loader->error, node->file, node->line, node->column, "%s: found %s, expected a name",
                      csv->path, node->kind == NODE_TEXT ? "nothing" : node_kind_words(node));
    }
    *targets[i] = node->text;
  }
  return *file || error_at(csv->loader->error, mapping->file, mapping->line, mapping->column,
                           "%s: a mapping without 'file:'; expected {file: NAME.csv}", csv->path);
}

static bool open_file(struct csv *csv, const struct node *mapping, const char *name) {
  const struct loader *loader = csv->loader;
  /* What the command line sets is looked for beside the case. */
  csv->file = loader_beside(loader->arena, mapping->line > 0 ? mapping->file : loader->data->source, name);
  size_t length = 0;
  const char *why = "the path is too long";
  char *text =
      csv->file ? reader_file(loader->arena, csv->file, READER_FILE_LIMIT, &loader->data->inputs, &length, &why) : NULL;
  if (!text && csv->file && errno == ENOMEM) {
    return loader_out_of_memory(loader);
  }
  if (!text) {
    return error_at(loader->error, mapping->file, mapping->line, mapping->column, "%s: file '%s' cannot be read: %s",
                    csv->path, csv->file ? csv->file : name, why);
  }
  if (length > READER_FILE_LIMIT) {
    return fail_at(csv, 0, "larger than 16 MiB");
  }
  csv->at = text;
  csv->end = text + length;
  if (length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0) {
    csv->at += 3;
  }
  return true;
}

/* Lines in the rest of the text, at least. */
static size_t count_lines(const struct csv *csv) {
  size_t count = 1;
  for (const char *at = csv->at; at < csv->end; at++) {
    count += *at == '\n';
  }
  return count < CSV_ROW_LIMIT ? count : CSV_ROW_LIMIT;
}

bool csv_table(const struct loader *loader, const char *path, const struct field *field, const struct node *mapping,
               struct profile *table) {
  struct csv *csv = arena_take(loader->arena, sizeof *csv);
  const char *file = NULL;
  if (!csv) {
    return loader_out_of_memory(loader);
  }
  csv->loader = loader;
  csv->path = path;
  if (!read_keys(csv, mapping, &file, &csv->argument, &csv->value) || !open_file(csv, mapping, file) ||
      !read_header(csv) || !choose_columns(csv, field)) {
    return false;
  }
  size_t room = count_lines(csv);
  real *arguments = arena_take(loader->arena, room * sizeof *arguments);
  real *values = arena_take(loader->arena, room * sizeof *values);
  int *lines = arena_take(loader->arena, room * sizeof *lines);
  int count = 0;
  if (!arguments || !values || !lines) {
    return loader_out_of_memory(loader);
  }
  if (!read_points(csv, field, arguments, values, lines, &count)) {
    return false;
  }
  *table = (struct profile){count, arguments, values, false};
  return csv->quantities[VALUE] == field->quantity || make_grade(csv, field, lines, table);
}
