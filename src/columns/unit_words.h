/* Units as loggers and spreadsheets write them, by the names that a case has (models/lib/quantity.h). */
#ifndef SWASHLOOP_COLUMNS_UNIT_WORDS_H
#define SWASHLOOP_COLUMNS_UNIT_WORDS_H

#include <stdbool.h>
#include <stddef.h>

#include "quantity.h"

struct unit_word {
  char name[48];      /* as a case has it; the word itself where nobody knows it */
  bool absolute;      /* a pressure that is counted from vacuum */
  const char *remark; /* what had to be guessed, or NULL */
};

/* The unit that a word means for a quantity. A word that is no unit of it stays as it is, for units_read to refuse. */
struct unit_word unit_word_of(enum quantity quantity, const char *word);
/* Is it a unit of any quantity at all, or a dash for none? */
bool unit_word_known(const char *word);
/* SI = slope times number plus zero; false where the word is no unit of the quantity, with the reason in `why`. */
bool unit_word_line(enum quantity quantity, const struct unit_word *word, double *slope, double *zero, char *why,
                    size_t size);

#endif
