#include "differences.h"

#include <stdlib.h>
#include <string.h>

#include "aligned.h"
#include "lane_number.h"

#define EVALUATE_AHEAD(differences, t, later, state) (void)0
#define EVALUATE(differences, k, t, state, rates)                                                                      \
  ((void)(k), (differences)->rates_of((differences)->context, t, state, rates))

#include "differences_text.h"

bool differences_lanes_open(struct differences_lanes *differences) {
  return differences_lanes_open_memory(differences);
}

void differences_lanes_close(struct differences_lanes *differences) {
  differences_lanes_close_memory(differences);
}
