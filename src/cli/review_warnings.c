#include "review_warnings.h"

#include <stdlib.h>
#include <string.h>

#include "plausibility.h"
#include "text.h"

/* A rule and the cells that it speaks of. */
struct told {
  struct warning first;
  int cell;
  int cells;
};

static void take(struct told *told, int *count, const struct warning *warning, int cell) {
  int i = 0;
  while (i < *count && strcmp(told[i].first.name, warning->name) != 0) {
    i++;
  }
  if (i == WARNING_LIMIT) {
    return;
  }
  if (i == *count) {
    told[(*count)++] = (struct told){*warning, cell, 0};
  }
  told[i].cells++;
}

void review_tell_warnings(FILE *out, const struct review *review) {
  struct told *told = calloc(WARNING_LIMIT, sizeof *told);
  struct warnings *warnings = calloc(1, sizeof *warnings);
  int count = 0;
  for (int c = 0; told != NULL && warnings != NULL && c < review->plan.cell_count; c++) {
    warnings->count = 0;
    plausibility_check(&review->plan.cells[c].data, warnings);
    for (int i = 0; i < warnings->count; i++) {
      take(told, &count, &warnings->at[i], c);
    }
  }
  for (int i = 0; i < count; i++) {
    const struct review_cell *cell = &review->plan.cells[told[i].cell];
    (void)fprintf(out, "warning: %s, %s: %s", shown(cell->case_name).text, shown(cell->condition).text,
                  shown(told[i].first.words).text);
    if (told[i].cells > 1) {
      (void)fprintf(out, "; and %d more like it", told[i].cells - 1);
    }
    (void)fprintf(out, " (%s)\n", told[i].first.name);
  }
  free(warnings);
  free(told);
}
