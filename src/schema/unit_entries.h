/* The list of units that a quantity accepts, taken apart: for reading, and for the program that asks UDUNITS for their
 * factors when this one is built. */
#ifndef SWASHLOOP_SCHEMA_UNIT_ENTRIES_H
#define SWASHLOOP_SCHEMA_UNIT_ENTRIES_H

#include <stdbool.h>
#include <string.h>

#include "quantity.h"

enum { UNIT_LIMIT = 12, UNIT_NAME_LIMIT = 48 };

/* One entry of a quantity's list of accepted units. */
struct entry {
  char name[UNIT_NAME_LIMIT];
  char meaning[UNIT_NAME_LIMIT]; /* what the unit library is asked, or "*FACTOR" */
};

struct entries {
  int count;
  struct entry at[UNIT_LIMIT];
};

/* At most `size` - 1 bytes, and a zero. */
static inline void entry_copy(char *to, size_t size, const char *from, size_t length) {
  length = length < size ? length : size - 1;
  memcpy(to, from, length);
  to[length] = '\0';
}

/* Units that a quantity accepts. */
static inline struct entries entries_of(enum quantity quantity) {
  struct entries entries = {0};
  const char *from = quantity_rows[quantity].accepted;
  while (from && entries.count < UNIT_LIMIT) {
    struct entry *entry = &entries.at[entries.count++];
    size_t length = strcspn(from, "|");
    size_t name = strcspn(from, "=|");
    entry_copy(entry->name, sizeof entry->name, from, name);
    if (name < length) {
      entry_copy(entry->meaning, sizeof entry->meaning, from + name + 1, length - name - 1);
    } else {
      entry_copy(entry->meaning, sizeof entry->meaning, from, name);
    }
    from = from[length] ? from + length + 1 : NULL;
  }
  return entries;
}

/* The trade unit and the SI unit convert by their row, some units by a factor written there; the others are UDUNITS'.
 */
static inline bool entry_asks_library(enum quantity quantity, const struct entry *entry) {
  const struct quantity_row *row = &quantity_rows[quantity];
  return strcmp(entry->name, row->trade_unit) != 0 && strcmp(entry->name, row->si_unit) != 0 &&
         entry->meaning[0] != '*';
}

#endif
