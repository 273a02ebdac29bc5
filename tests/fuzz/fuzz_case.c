/* Any bytes as a case: it is read or refused, and what was read reads back to the same text.
 *
 * After a first line `#set TEXT` the rest is the case and TEXT is given as by `--set`. */
#include "fuzz.h"

/* No machine file lies beside it: the tree of files stays out of the play. */
static const char name[] = "/no/such/folder/case.yaml";

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  char *text = text_of(bytes, size);
  const char *body = text;
  const char *set = NULL;
  char *end = strchr(text, '\n');
  if (end && strncmp(text, "#set ", 5) == 0) {
    *end = '\0';
    set = text + 5;
    body = end + 1;
  }
  check_case(name, body, set);
  free(text);
  return 0;
}
