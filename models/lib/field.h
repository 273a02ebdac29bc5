/* The row types of the one table. A parameter is declared in its component's X-list, once; that line makes the struct
 * member and the table row, and parsing, bounds, help, docs, sweeps and file attributes all read the row.
 *
 * REAL(name, quantity, default, low, high, reference, baseline symbol, text)
 * CHOICE(name, default index, "first|second|third", baseline symbol, text)
 * TABLE(name, argument quantity, value quantity, low, high, baseline symbol, text)
 * MAP(name, text)
 *
 * Numbers in a REAL or TABLE row are in the trade unit of the quantity (models/lib/quantity.h); members are SI. A
 * pressure counted `gauge` is kept in its member as gauge too: the plant's prepare step adds the ambient pressure. */
#ifndef SWASHLOOP_MODELS_FIELD_H
#define SWASHLOOP_MODELS_FIELD_H

#include <stddef.h>

#include "map.h"
#include "profile.h"
#include "quantity.h"

enum field_kind { FIELD_REAL, FIELD_CHOICE, FIELD_TABLE, FIELD_MAP };

struct field {
  const char *name;
  enum field_kind kind;
  enum quantity quantity; /* of the value */
  enum quantity argument; /* of a table's first column */
  double initial;         /* default, trade unit; a choice: its index; a table starts empty */
  double low;             /* smallest accepted value, trade unit */
  double high;            /* largest accepted value, trade unit */
  enum reference reference;
  const char *choices;  /* names separated by '|', for a choice */
  const char *baseline; /* symbol in the reference set of equations, or "" */
  const char *text;     /* what it is, one line, no full stop */
  size_t offset;        /* of the member in its component's struct */
};

/* One component of a plant: a section of the case file. */
struct group {
  const char *name;
  const char *text;
  const struct field *fields;
  int field_count;
  size_t offset; /* of the component's struct in the plant's parameter struct */
};

#define FIELD_MEMBER_REAL(name, quantity, initial, low, high, reference, baseline, text) real name;
#define FIELD_MEMBER_CHOICE(name, initial, choices, baseline, text) int name;
#define FIELD_MEMBER_TABLE(name, argument, quantity, low, high, baseline, text) struct profile name PER_LANE;
#define FIELD_MEMBER_MAP(name, text) struct map name PER_LANE;

/* Rows need the struct they lie in: define FIELD_OWNER around the table. */
#define FIELD_ROW_REAL(name, quantity, initial, low, high, reference, baseline, text)                                  \
  {#name,    FIELD_REAL, QUANTITY_##quantity,        QUANTITY_NUMBER, initial, low, high, REFERENCE_##reference, "",   \
   baseline, text,       offsetof(FIELD_OWNER, name)},
#define FIELD_ROW_CHOICE(name, initial, choices, baseline, text)                                                       \
  {#name, FIELD_CHOICE,   QUANTITY_NUMBER, QUANTITY_NUMBER, initial, 0.0,                                              \
   0.0,   REFERENCE_NONE, choices,         baseline,        text,    offsetof(FIELD_OWNER, name)},
#define FIELD_ROW_TABLE(name, argument, quantity, low, high, baseline, text)                                           \
  {#name,    FIELD_TABLE, QUANTITY_##quantity,        QUANTITY_##argument, 0.0, low, high, REFERENCE_NONE, "",         \
   baseline, text,        offsetof(FIELD_OWNER, name)},

/* Bounds and quantity of a map's row are those of its efficiencies. */
#define FIELD_ROW_MAP(name, text)                                                                                      \
  {#name, FIELD_MAP, QUANTITY_FRACTION,          QUANTITY_ANGULAR_SPEED, 0.0, 1.0, 100.0, REFERENCE_NONE, "",          \
   "",    text,      offsetof(FIELD_OWNER, name)},

/* The columns of a map's rows. */
enum { MAP_SPEED, MAP_PRESSURE, MAP_VOLUMETRIC, MAP_HYDROMECHANICAL, MAP_COLUMNS };
static const char *const map_column_names[MAP_COLUMNS] = {"speed", "pressure", "volumetric", "hydromechanical"};
static const enum quantity map_column_quantities[MAP_COLUMNS] = {QUANTITY_ANGULAR_SPEED, QUANTITY_PRESSURE,
                                                                 QUANTITY_FRACTION, QUANTITY_FRACTION};

/* The number in a column of row `row`. */
static inline double map_cell(const struct map *map, int row, int column) {
  switch (column) {
  case MAP_SPEED:
    return map->speed[row / map->pressures];
  case MAP_PRESSURE:
    return map->pressure[row % map->pressures];
  case MAP_VOLUMETRIC:
    return map->volumetric[row];
  default:
    return map->hydromechanical[row];
  }
}

#define FIELD_COUNT(table) ((int)(sizeof(table) / sizeof((table)[0])))

/* A signal (a time history) or a measure (one number a run). */
struct signal {
  const char *name;
  enum quantity quantity;
  enum reference reference;
  const char *text; /* long name, one line */
};

#endif
