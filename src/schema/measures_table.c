#include "measures.h"

#include <string.h>

const struct signal measure_rows[MEASURE_COUNT] = {
#define MEASURE_ROW(name, quantity, reference, text) {#name, QUANTITY_##quantity, REFERENCE_##reference, text},
    MEASURE_LIST(MEASURE_ROW)
#undef MEASURE_ROW
};

int measure_find(const char *name) {
  for (int i = 0; i < MEASURE_COUNT; i++) {
    if (strcmp(measure_rows[i].name, name) == 0) {
      return i;
    }
  }
  return -1;
}
