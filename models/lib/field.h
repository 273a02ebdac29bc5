/* The row types of the one table. A parameter is declared in its component's X-list, once; that line makes the struct
 * member and the table row, and parsing, bounds, help, docs, sweeps and file attributes all read the row.
 *
 * REAL(name, quantity, default, low, high, reference, baseline symbol, text [, acts])
 * CHOICE(name, default index, "first|second|third", baseline symbol, text [, acts])
 * TABLE(name, argument quantity, value quantity, low, high, baseline symbol, text [, acts])
 * MAP(name, text [, acts])                       of efficiencies
 * CONSUMPTION_MAP(name, low, high, text [, acts]) of specific consumption
 *
 * `acts` names the choices under which the parameter can have an effect; a row without it always can. Clauses joined
 * by " and ": "law poppet" or "ground gee_clough|brixius" of the own section, "vehicle.axles two" of another,
 * "clean_drop": that number is not zero, "channel brake": a table or an action moves that channel.
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
  size_t offset;        /* of the member in its component's struct */
  const char *text;     /* what it is, one line, no full stop */
  const char *acts;     /* when it can have an effect; NULL: always */
};

/* One component of a plant: a section of the case file. */
struct group {
  const char *name;
  const struct field *fields;
  int field_count;
  size_t offset; /* of the component's struct in the plant's parameter struct */
  const char *text;
  const char *acts; /* when its parameters can have an effect, but for the choice that it names; NULL: always */
};

#define FIELD_MEMBER_REAL(name, quantity, initial, low, high, reference, baseline, ...) real name;
#define FIELD_MEMBER_CHOICE(name, initial, choices, baseline, ...) int name;
#define FIELD_MEMBER_TABLE(name, argument, quantity, low, high, baseline, ...) struct profile name PER_LANE;
#define FIELD_MEMBER_MAP(name, ...) struct map name PER_LANE;
#define FIELD_MEMBER_CONSUMPTION_MAP(name, ...) struct map name PER_LANE;

/* A row records the offset of its member, so FIELD_OWNER must name the struct while a table is expanded. The optional
 * argument behind the text is `acts`. */
#define FIELD_ROW(member, of_kind, values, of_argument, first, least, most, pressure, names, symbol, ...)              \
  {.name = #member,                                                                                                    \
   .kind = of_kind,                                                                                                    \
   .quantity = QUANTITY_##values,                                                                                      \
   .argument = QUANTITY_##of_argument,                                                                                 \
   .initial = first,                                                                                                   \
   .low = least,                                                                                                       \
   .high = most,                                                                                                       \
   .reference = REFERENCE_##pressure,                                                                                  \
   .choices = names,                                                                                                   \
   .baseline = symbol,                                                                                                 \
   .offset = offsetof(FIELD_OWNER, member),                                                                            \
   .text = __VA_ARGS__},
#define FIELD_ROW_REAL(name, quantity, initial, low, high, reference, baseline, ...)                                   \
  FIELD_ROW(name, FIELD_REAL, quantity, NUMBER, initial, low, high, reference, "", baseline, __VA_ARGS__)
#define FIELD_ROW_CHOICE(name, initial, choices, baseline, ...)                                                        \
  FIELD_ROW(name, FIELD_CHOICE, NUMBER, NUMBER, initial, 0.0, 0.0, NONE, choices, baseline, __VA_ARGS__)
#define FIELD_ROW_TABLE(name, argument, quantity, low, high, baseline, ...)                                            \
  FIELD_ROW(name, FIELD_TABLE, quantity, argument, 0.0, low, high, NONE, "", baseline, __VA_ARGS__)
/* Bounds and quantity of a map's row are those of its efficiencies; without the stroke a row is one of full stroke. */
#define FIELD_ROW_MAP(name, ...)                                                                                       \
  FIELD_ROW(name, FIELD_MAP, FRACTION, ANGULAR_SPEED, 0.0, 1.0, 100.0, NONE, "", "", __VA_ARGS__)

#define FIELD_ROW_CONSUMPTION_MAP(name, low, high, ...)                                                                \
  FIELD_ROW(name, FIELD_MAP, SPECIFIC_CONSUMPTION, ANGULAR_SPEED, 0.0, low, high, NONE, "", "", __VA_ARGS__)

/* The columns of a map's rows. */
enum { MAP_SPEED, MAP_PRESSURE, MAP_STROKE, MAP_VOLUMETRIC, MAP_HYDROMECHANICAL, MAP_COLUMNS };

/* What stands in the columns; names NULL: there is no such column. */
struct map_form {
  const char *names[MAP_COLUMNS];
  enum quantity quantities[MAP_COLUMNS];
  const char *row_words;    /* a row, for people */
  const char *column_words; /* the columns by their names, for people */
  const char *value_words;  /* the values by their names, for people */
};

static const struct map_form map_of_efficiency = {
    .names = {"speed", "pressure", "stroke", "volumetric", "hydromechanical"},
    .quantities = {QUANTITY_ANGULAR_SPEED, QUANTITY_PRESSURE, QUANTITY_FRACTION, QUANTITY_FRACTION, QUANTITY_FRACTION},
    .row_words = "a row [SPEED, PRESSURE, VOLUMETRIC EFFICIENCY, HYDRO-MECHANICAL EFFICIENCY], or with the STROKE as "
                 "third column",
    .column_words = "speed, pressure, volumetric and hydromechanical, and maybe stroke",
    .value_words = "volumetric or hydromechanical"};

static const struct map_form map_of_consumption = {.names = {"speed", "torque", NULL, "consumption", NULL},
                                                   .quantities = {QUANTITY_ANGULAR_SPEED, QUANTITY_TORQUE,
                                                                  QUANTITY_FRACTION, QUANTITY_SPECIFIC_CONSUMPTION,
                                                                  QUANTITY_FRACTION},
                                                   .row_words = "a row [SPEED, TORQUE, SPECIFIC CONSUMPTION]",
                                                   .column_words = "speed, torque and consumption",
                                                   .value_words = "consumption"};

/* The form of a parameter's map. */
static inline const struct map_form *map_form_of(const struct field *field) {
  return field->quantity == QUANTITY_SPECIFIC_CONSUMPTION ? &map_of_consumption : &map_of_efficiency;
}

/* How many columns rows have, with the stroke if they can have one. */
static inline int map_form_columns(const struct map_form *form) {
  int count = 0;
  for (int i = 0; i < MAP_COLUMNS; i++) {
    count += form->names[i] != NULL;
  }
  return count;
}

/* How many values a row has. */
static inline int map_form_values(const struct map_form *form) {
  return form->names[MAP_HYDROMECHANICAL] != NULL ? 2 : 1;
}

/* What stands in a row of zero stroke in place of the efficiencies. */
static const char *const map_idle_names[] = {"lost_flow", "lost_torque"};

/* The quantity of a column, in a row of zero stroke or in another. */
static inline enum quantity map_column_quantity(const struct map_form *form, int column, bool idles) {
  return idles && column == MAP_VOLUMETRIC        ? QUANTITY_FLOW
         : idles && column == MAP_HYDROMECHANICAL ? QUANTITY_TORQUE
                                                  : form->quantities[column];
}

/* The number in a column of row `row`. */
static inline double map_cell(const struct map *map, int row, int column) {
  switch (column) {
  case MAP_SPEED:
    return map->speed[row / map->pressures % map->speeds];
  case MAP_PRESSURE:
    return map->pressure[row % map->pressures];
  case MAP_STROKE:
    return map->stroke[row / (map->speeds * map->pressures)];
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
