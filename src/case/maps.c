/* Measured efficiency maps: rows in any order that together fill a grid. */
#include "loader.h"

#include <stdio.h>
#include <stdlib.h>

#include "units.h"

enum { PATH_LIMIT = 128 };

static const char row_expected[] = "a row [SPEED, PRESSURE, VOLUMETRIC EFFICIENCY, HYDRO-MECHANICAL EFFICIENCY]";

/* One row as read. */
struct map_row {
  real cell[MAP_COLUMNS];
  const struct node *node;
};

static bool read_cell(const struct loader *loader, const char *path, const struct field *field, int column,
                      const struct node *node, real *si) {
  if (!number_read(loader, path, map_column_quantities[column], node, si)) {
    return false;
  }
  if (column >= MAP_VOLUMETRIC) {
    return value_check(loader, field, path, *si, node);
  }
  return *si > 0.0 || error_at(loader->error, node->file, node->line, node->column, "%s: %s must lie above zero", path,
                               map_column_names[column]);
}

static bool read_row(const struct loader *loader, const char *path, const struct field *field, const struct node *node,
                     struct map_row *row) {
  if (node->kind != NODE_LIST || node->count != MAP_COLUMNS) {
    char found[48];
    if (node->kind == NODE_LIST) {
      (void)snprintf(found, sizeof found, "a list of %d", node->count);
    } else {
      (void)snprintf(found, sizeof found, "%s", node_kind_words(node));
    }
    return error_at(loader->error, node->file, node->line, node->column, "%s: found %s, expected %s", path, found,
                    row_expected);
  }
  row->node = node;
  const struct node *cell = node->first;
  for (int column = 0; column < MAP_COLUMNS; column++, cell = cell->next) {
    if (!read_cell(loader, path, field, column, cell, &row->cell[column])) {
      return false;
    }
  }
  return true;
}

static int by_speed_then_pressure(const void *a_, const void *b_) {
  const struct map_row *a = a_;
  const struct map_row *b = b_;
  for (int column = MAP_SPEED; column <= MAP_PRESSURE; column++) {
    if (a->cell[column] != b->cell[column]) {
      return a->cell[column] < b->cell[column] ? -1 : 1;
    }
  }
  /* Of two rows of one point the later comes last, to be the one that is reported. */
  return a->node->line != b->node->line ? (a->node->line < b->node->line ? -1 : 1)
                                        : (a->node->column > b->node->column) - (a->node->column < b->node->column);
}

static const char *say_point(real speed, real pressure, char *text, size_t size) {
  char first[48];
  char second[48];
  (void)snprintf(text, size, "%s, %s", units_show(QUANTITY_ANGULAR_SPEED, speed, first, sizeof first),
                 units_show(QUANTITY_PRESSURE, pressure, second, sizeof second));
  return text;
}

static bool check_twins(const struct loader *loader, const char *path, const struct map_row *rows, int count) {
  char point[112];
  for (int i = 1; i < count; i++) {
    const struct map_row *row = &rows[i];
    if (row->cell[MAP_SPEED] == rows[i - 1].cell[MAP_SPEED] &&
        row->cell[MAP_PRESSURE] == rows[i - 1].cell[MAP_PRESSURE]) {
      return error_at(loader->error, row->node->file, row->node->line, row->node->column, "%s: a second row for %s",
                      path, say_point(row->cell[MAP_SPEED], row->cell[MAP_PRESSURE], point, sizeof point));
    }
  }
  return true;
}

static int by_size(const void *a, const void *b) {
  real first = *(const real *)a;
  real second = *(const real *)b;
  return (first > second) - (first < second);
}

/* Every pressure that some row has, rising; how many. */
static int list_pressures(const struct map_row *rows, int count, real *pressures) {
  for (int i = 0; i < count; i++) {
    pressures[i] = rows[i].cell[MAP_PRESSURE];
  }
  qsort(pressures, (size_t)count, sizeof *pressures, by_size);
  int kept = 1;
  for (int i = 1; i < count; i++) {
    if (pressures[i] != pressures[kept - 1]) {
      pressures[kept++] = pressures[i];
    }
  }
  return kept;
}

/* Has each speed a row for every pressure? A hole is reported at the first row of its speed. */
static bool check_grid(const struct loader *loader, const char *path, const struct map_row *rows, int count,
                       const real *pressures, int pressure_count) {
  int first = 0;
  while (first < count) {
    for (int k = 0; k < pressure_count; k++) {
      int i = first + k;
      if (i < count && rows[i].cell[MAP_SPEED] == rows[first].cell[MAP_SPEED] &&
          rows[i].cell[MAP_PRESSURE] == pressures[k]) {
        continue;
      }
      char point[112];
      const struct node *node = rows[first].node;
      return error_at(loader->error, node->file, node->line, node->column,
                      "%s: no row for %s; the rows must fill a grid, each speed with the same pressures", path,
                      say_point(rows[first].cell[MAP_SPEED], pressures[k], point, sizeof point));
    }
    first += pressure_count;
  }
  return true;
}

static bool fill(const struct loader *loader, const struct map_row *rows, int count, int pressures, struct map *map) {
  int speeds = count / pressures;
  real *numbers = arena_take(loader->arena, (size_t)(speeds + pressures + 2 * count) * sizeof *numbers);
  if (!numbers) {
    return loader_out_of_memory(loader);
  }
  real *speed = numbers;
  real *pressure = speed + speeds;
  real *volumetric = pressure + pressures;
  real *hydromechanical = volumetric + count;
  for (int i = 0; i < count; i++) {
    speed[i / pressures] = rows[i].cell[MAP_SPEED];
    pressure[i % pressures] = rows[i].cell[MAP_PRESSURE];
    volumetric[i] = rows[i].cell[MAP_VOLUMETRIC];
    hydromechanical[i] = rows[i].cell[MAP_HYDROMECHANICAL];
  }
  *map = (struct map){speeds, pressures, speed, pressure, volumetric, hydromechanical};
  return true;
}

bool map_read(const struct loader *loader, struct map *map, struct parameter parameter, const struct node *node) {
  char path[PATH_LIMIT];
  (void)snprintf(path, sizeof path, "%s.%s", parameter.group->name, parameter.field->name);
  if (value_is_none(node)) {
    *map = (struct map){0, 0, NULL, NULL, NULL, NULL};
    return true;
  }
  if (node->kind != NODE_LIST || node->count == 0) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: found %s, expected none or a list of rows, each %s", path,
                    node->kind == NODE_LIST ? "an empty list" : node_kind_words(node), row_expected);
  }
  struct map_row *rows = arena_take(loader->arena, (size_t)node->count * sizeof *rows);
  if (!rows) {
    return loader_out_of_memory(loader);
  }
  int count = 0;
  for (const struct node *row = node->first; row; row = row->next, count++) {
    if (!read_row(loader, path, parameter.field, row, &rows[count])) {
      return false;
    }
  }
  qsort(rows, (size_t)count, sizeof *rows, by_speed_then_pressure);
  real *pressures = arena_take(loader->arena, (size_t)count * sizeof *pressures);
  if (!pressures) {
    return loader_out_of_memory(loader);
  }
  int pressure_count = list_pressures(rows, count, pressures);
  return check_twins(loader, path, rows, count) && check_grid(loader, path, rows, count, pressures, pressure_count) &&
         fill(loader, rows, count, pressure_count, map);
}
