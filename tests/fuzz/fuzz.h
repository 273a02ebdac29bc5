/* What the fuzz targets share: what must hold whatever the bytes. tests/fuzz/run gives them to libFuzzer; in every
 * build mutate.c drives them over samples, so that CI runs them too. */
#ifndef SWASHLOOP_TESTS_FUZZ_H
#define SWASHLOOP_TESTS_FUZZ_H

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static inline void check(bool good) {
  if (!good) {
    abort();
  }
}

/* The bytes with a zero behind, to be freed. */
static inline char *text_of(const uint8_t *bytes, size_t size) {
  char *text = malloc(size + 1);
  check(text);
  if (size > 0) {
    memcpy(text, bytes, size);
  }
  text[size] = '\0';
  return text;
}

/* A refusal is one line that says something. */
static inline void check_error(const struct error *error) {
  check(error->code == ERROR_INPUT && error->text[0] != '\0' && error->line >= 0 && error->column >= 0);
  check(!strpbrk(error->text, "\n\r\t"));
}

static inline void check_reads_back(const char *name, const struct case_data *data) {
  struct case_data again;
  struct error error = {0};
  check(case_load_text(name, data->resolved, NULL, 0, &again, &error));
  check(strcmp(again.resolved, data->resolved) == 0);
  case_free(&again);
}

/* Read as a case: refused with a reason, or good, and then its own text says the same again. */
static inline void check_case(const char *name, const char *text, const char *set) {
  struct case_data data;
  struct error error = {0};
  if (case_load_text(name, text, &set, set ? 1 : 0, &data, &error)) {
    check_reads_back(name, &data);
    case_free(&data);
  } else {
    check_error(&error);
  }
}

#endif
