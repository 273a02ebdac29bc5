/* Any bytes as a case: it is read or refused, and what was read reads back to the same text.
 *
 * tests/fuzz/run builds and runs it.
 *
 * After a first line `#set TEXT` the rest is the case and TEXT is given as by `--set`. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"

/* No machine file lies beside it: the tree of files stays out of the play. */
static const char name[] = "/no/such/folder/case.yaml";

static void check(bool good) {
  if (!good) {
    abort();
  }
}

static void check_error(const struct error *error) {
  check(error->code == ERROR_INPUT && error->text[0] != '\0' && error->line >= 0 && error->column >= 0);
  check(!strpbrk(error->text, "\n\r\t"));
}

static void check_reads_back(const struct case_data *data) {
  struct case_data again;
  struct error error = {0};
  check(case_load_text(name, data->resolved, NULL, 0, &again, &error));
  check(strcmp(again.resolved, data->resolved) == 0);
  case_free(&again);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  char *text = malloc(size + 1);
  if (!text) {
    return 0;
  }
  if (size > 0) {
    memcpy(text, bytes, size);
  }
  text[size] = '\0';
  const char *body = text;
  const char *set = NULL;
  char *end = strchr(text, '\n');
  if (end && strncmp(text, "#set ", 5) == 0) {
    *end = '\0';
    set = text + 5;
    body = end + 1;
  }
  struct case_data data;
  struct error error = {0};
  if (case_load_text(name, body, &set, set ? 1 : 0, &data, &error)) {
    check_reads_back(&data);
    case_free(&data);
  } else {
    check_error(&error);
  }
  free(text);
  return 0;
}
