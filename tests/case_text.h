/* Cases given as text, for tests. */
#ifndef SWASHLOOP_TESTS_CASE_TEXT_H
#define SWASHLOOP_TESTS_CASE_TEXT_H

#include "case.h"

/* Reads the case; a refusal fails the test with its message. */
static inline void load_ok(const char *text, struct case_data *data) {
  struct error error = {0};
  if (!case_load_text("c.yaml", text, NULL, 0, data, &error)) {
    char message[2048];
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
}

#endif
