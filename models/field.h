/* The row types of the one table. A parameter is declared in its component's X-list, once; that line makes the struct
 * member and the table row, and parsing, bounds, help, docs, sweeps and file attributes all read the row.
 *
 * REAL(name, quantity, default, low, high, reference, baseline symbol, text)
 * CHOICE(name, default index, "first|second|third", baseline symbol, text)
 * TABLE(name, argument quantity, value quantity, low, high, baseline symbol, text)
 *
 * Numbers in a REAL or TABLE row are in the trade unit of the quantity (models/quantity.h); members are SI. A pressure
 * counted `gauge` is kept in its member as gauge too: the plant's prepare step adds the ambient pressure. */
#ifndef SWASHLOOP_MODELS_FIELD_H
#define SWASHLOOP_MODELS_FIELD_H

#include <stddef.h>

#include "profile.h"
#include "quantity.h"

enum field_kind { FIELD_REAL, FIELD_CHOICE, FIELD_TABLE };

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
#define FIELD_MEMBER_TABLE(name, argument, quantity, low, high, baseline, text) struct profile name;

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

#define FIELD_COUNT(table) ((int)(sizeof(table) / sizeof((table)[0])))

/* A signal (a time history) or a measure (one number a run). */
struct signal {
  const char *name;
  enum quantity quantity;
  enum reference reference;
  const char *text; /* long name, one line */
};

#endif
