/* Bytes of a text file to UTF-8, whatever they were written in. */
#ifndef SWASHLOOP_COLUMNS_DECODE_H
#define SWASHLOOP_COLUMNS_DECODE_H

#include <stdbool.h>
#include <stddef.h>

enum encoding { ENCODING_UTF8, ENCODING_UTF16_LITTLE, ENCODING_UTF16_BIG, ENCODING_LATIN1 };
extern const char *const encoding_names[];

struct decoded {
  enum encoding encoding;
  const char *text; /* without a byte-order mark */
  size_t length;
  char *own; /* the text where it had to be made anew, to be freed; NULL: it lies in the bytes */
};

/* By the byte-order mark; without one, bytes every second of which is zero are UTF-16, and what is no UTF-8 is
 * ISO 8859-1. What is no character becomes U+FFFD. False: memory is out. */
bool decode_text(const char *bytes, size_t length, struct decoded *decoded);

#endif
