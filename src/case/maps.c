/* Measured efficiency maps: rows in any order that together fill a grid. */
#include "loader.h"

#include <stdio.h>
#include <stdlib.h>

#include "units.h"

enum { PATH_LIMIT = 128 };

/* One row as read. */
struct map_row {
  real cell[MAP_COLUMNS];
  const struct node *node;
};

/* All of them, sorted, and the axes that they stand on. */
struct map_rows {
  const struct map_form *form;
  struct map_row *rows;
  int count;
  real *axis[MAP_VOLUMETRIC]; /* rising */
  int length[MAP_VOLUMETRIC];
};

static bool read_cell(const struct loader *loader, const char *path, const struct field *field, int column, bool idles,
                      const struct node *node, real *si) {
  const struct map_form *form = map_form_of(field);
  if (!number_read(loader, path, map_column_quantity(form, column, idles), node, si)) {
    return false;
  }
  if (column >= MAP_VOLUMETRIC && !idles) {
    return value_check(loader, field, path, *si, node);
  }
  if (column >= MAP_VOLUMETRIC) {
    return *si >= 0.0 || error_at(loader->error, node->file, node->line, node->column, "%s: %s must not lie below zero",
                                  path, map_idle_names[column - MAP_VOLUMETRIC]);
  }
  if (column == MAP_STROKE) {
    return (*si >= 0.0 && *si <= 1.0) || error_at(loader->error, node->file, node->line, node->column,
                                                  "%s: the stroke must lie within 0 %% to 100 %%", path);
  }
  return *si > 0.0 || error_at(loader->error, node->file, node->line, node->column, "%s: %s must lie above zero", path,
                               form->names[column]);
}

/* `columns`: how many the first row has, 0 before it. */
static bool read_row(const struct loader *loader, const char *path, const struct field *field, const struct node *node,
                     int columns, struct map_row *row) {
  bool list = node->kind == NODE_LIST;
  const struct map_form *form = map_form_of(field);
  int most = map_form_columns(form);
  bool strokes = form->names[MAP_STROKE] != NULL;
  bool good = list && (node->count == most || (strokes && node->count == most - 1));
  if (good && columns > 0 && node->count != columns) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: found a row of %d, expected %d as in the first: either all rows have a stroke or none", path,
                    node->count, columns);
  }
  if (!good) {
    char found[48];
    if (list) {
      (void)snprintf(found, sizeof found, "a list of %d", node->count);
    } else {
      (void)snprintf(found, sizeof found, "%s", node_kind_words(node));
    }
    return error_at(loader->error, node->file, node->line, node->column, "%s: found %s, expected %s", path, found,
                    form->row_words);
  }
  row->node = node;
  row->cell[MAP_STROKE] = 1.0;
  const struct node *cell = node->first;
  for (int column = 0; column < MAP_COLUMNS; column++) {
    if (form->names[column] == NULL || (column == MAP_STROKE && node->count < most)) {
      continue;
    }
    if (!read_cell(loader, path, field, column, row->cell[MAP_STROKE] == 0.0, cell, &row->cell[column])) {
      return false;
    }
    cell = cell->next;
  }
  return true;
}

/* By stroke, then speed, then pressure. */
static int by_place(const void *a_, const void *b_) {
  static const int order[] = {MAP_STROKE, MAP_SPEED, MAP_PRESSURE};
  const struct map_row *a = a_;
  const struct map_row *b = b_;
  for (int i = 0; i < 3; i++) {
    if (a->cell[order[i]] != b->cell[order[i]]) {
      return a->cell[order[i]] < b->cell[order[i]] ? -1 : 1;
    }
  }
  /* Of two rows of one point the later comes last, to be the one that is reported. */
  return a->node->line != b->node->line ? (a->node->line < b->node->line ? -1 : 1)
                                        : (a->node->column > b->node->column) - (a->node->column < b->node->column);
}

/* A point for people, its stroke only where the map has several. */
static const char *say_point(const struct map_rows *all, real stroke, real speed, real pressure, char *text,
                             size_t size) {
  char first[48];
  char second[48];
  char third[48];
  bool several = all->length[MAP_STROKE] > 1;
  (void)snprintf(text, size, "%s, %s%s%s", units_show(QUANTITY_ANGULAR_SPEED, speed, first, sizeof first),
                 units_show(all->form->quantities[MAP_PRESSURE], pressure, second, sizeof second), several ? ", " : "",
                 several ? units_show(QUANTITY_FRACTION, stroke, third, sizeof third) : "");
  return text;
}

static bool check_twins(const struct loader *loader, const char *path, const struct map_rows *all) {
  char point[160];
  for (int i = 1; i < all->count; i++) {
    const struct map_row *row = &all->rows[i];
    const real *before = all->rows[i - 1].cell;
    if (row->cell[MAP_STROKE] == before[MAP_STROKE] && row->cell[MAP_SPEED] == before[MAP_SPEED] &&
        row->cell[MAP_PRESSURE] == before[MAP_PRESSURE]) {
      return error_at(
          loader->error, row->node->file, row->node->line, row->node->column, "%s: a second row for %s", path,
          say_point(all, row->cell[MAP_STROKE], row->cell[MAP_SPEED], row->cell[MAP_PRESSURE], point, sizeof point));
    }
  }
  return true;
}

static int by_size(const void *a, const void *b) {
  real first = *(const real *)a;
  real second = *(const real *)b;
  return (first > second) - (first < second);
}

/* Every value of a column that some row has, rising. */
static bool list_axis(const struct loader *loader, struct map_rows *all, int column) {
  real *values = arena_take(loader->arena, (size_t)all->count * sizeof *values);
  if (!values) {
    return loader_out_of_memory(loader);
  }
  for (int i = 0; i < all->count; i++) {
    values[i] = all->rows[i].cell[column];
  }
  qsort(values, (size_t)all->count, sizeof *values, by_size);
  int kept = 1;
  for (int i = 1; i < all->count; i++) {
    if (values[i] != values[kept - 1]) {
      values[kept++] = values[i];
    }
  }
  all->axis[column] = values;
  all->length[column] = kept;
  return true;
}

/* The first row of this stroke and speed, or else of this stroke. */
static const struct node *nearest_row(const struct map_rows *all, real stroke, real speed) {
  const struct node *of_stroke = NULL;
  for (int i = 0; i < all->count; i++) {
    const struct map_row *row = &all->rows[i];
    if (row->cell[MAP_STROKE] == stroke) {
      of_stroke = of_stroke ? of_stroke : row->node;
      if (row->cell[MAP_SPEED] == speed) {
        return row->node;
      }
    }
  }
  return of_stroke;
}

/* Has each stroke and speed a row for every pressure? A hole is reported at the first row of its speed. */
static bool check_grid(const struct loader *loader, const char *path, const struct map_rows *all) {
  size_t strokes = (size_t)all->length[MAP_STROKE];
  size_t speeds = (size_t)all->length[MAP_SPEED];
  size_t pressures = (size_t)all->length[MAP_PRESSURE];
  int found = 0;
  for (size_t point = 0; point < strokes * speeds * pressures; point++) {
    real stroke = all->axis[MAP_STROKE][point / (speeds * pressures)];
    real speed = all->axis[MAP_SPEED][point / pressures % speeds];
    real pressure = all->axis[MAP_PRESSURE][point % pressures];
    const struct map_row *row = found < all->count ? &all->rows[found] : NULL;
    if (row && row->cell[MAP_STROKE] == stroke && row->cell[MAP_SPEED] == speed &&
        row->cell[MAP_PRESSURE] == pressure) {
      found++;
      continue;
    }
    char text[160];
    const struct node *node = nearest_row(all, stroke, speed);
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: no row for %s; the rows must fill a grid, each %sspeed with the same %ss", path,
                    say_point(all, stroke, speed, pressure, text, sizeof text),
                    strokes > 1 ? "stroke with the same speeds, each " : "", all->form->names[MAP_PRESSURE]);
  }
  const struct map_row *last = &all->rows[all->count - 1]; /* sorted: of the largest stroke */
  return last->cell[MAP_STROKE] == 1.0 ||
         error_at(loader->error, last->node->file, last->node->line, last->node->column,
                  "%s: no row has a stroke of 100 %%; what is lost beyond the largest stroke would be a guess", path);
}

static bool fill(const struct loader *loader, const struct map_rows *all, struct map *map) {
  int count = all->count;
  real *cells = arena_take(loader->arena, (size_t)(2 * count) * sizeof *cells);
  if (!cells) {
    return loader_out_of_memory(loader);
  }
  for (int i = 0; i < count; i++) {
    cells[i] = all->rows[i].cell[MAP_VOLUMETRIC];
    cells[count + i] = all->rows[i].cell[MAP_HYDROMECHANICAL];
  }
  *map = (struct map){.speeds = all->length[MAP_SPEED],
                      .pressures = all->length[MAP_PRESSURE],
                      .strokes = all->length[MAP_STROKE],
                      .speed = all->axis[MAP_SPEED],
                      .pressure = all->axis[MAP_PRESSURE],
                      .stroke = all->axis[MAP_STROKE],
                      .volumetric = cells,
                      .hydromechanical = cells + count};
  return true;
}

bool map_read(const struct loader *loader, struct map *map, struct parameter parameter, const struct node *node) {
  char path[PATH_LIMIT];
  (void)snprintf(path, sizeof path, "%s.%s", parameter.group->name, parameter.field->name);
  if (value_is_none(node)) {
    *map = (struct map){0};
    return true;
  }
  if (node->kind == NODE_MAPPING && (node = csv_map_rows(loader, path, map_form_of(parameter.field), node)) == NULL) {
    return false;
  }
  if (node->kind != NODE_LIST || node->count == 0) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: found %s, expected none, {file: NAME.csv} or a list of rows, each %s", path,
                    node->kind == NODE_LIST ? "an empty list" : node_kind_words(node),
                    map_form_of(parameter.field)->row_words);
  }
  struct map_rows all = {.form = map_form_of(parameter.field),
                         .rows = arena_take(loader->arena, (size_t)node->count * sizeof *all.rows)};
  if (!all.rows) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *row = node->first; row; row = row->next) {
    if (!read_row(loader, path, parameter.field, row, all.count > 0 ? node->first->count : 0, &all.rows[all.count])) {
      return false;
    }
    all.count++;
  }
  qsort(all.rows, (size_t)all.count, sizeof *all.rows, by_place);
  for (int column = 0; column < MAP_VOLUMETRIC; column++) {
    if (!list_axis(loader, &all, column)) {
      return false;
    }
  }
  return check_twins(loader, path, &all) && check_grid(loader, path, &all) && fill(loader, &all, map);
}
