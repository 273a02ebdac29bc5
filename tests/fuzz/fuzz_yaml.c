/* Any bytes as a mapping of a trace, or, after a first line `#study`, as a study: read or refused with a place. */
#include "fuzz.h"

#include "arena.h"
#include "mapping.h"
#include "plan.h"

static void try_mapping(const char *text) {
  struct mapping *mapping = malloc(sizeof *mapping);
  struct error error = {0};
  check(mapping);
  if (mapping_read_text("mapping.yaml", text, strlen(text), mapping, &error)) {
    check(mapping->count >= 1);
  } else {
    check_error(&error);
  }
  free(mapping);
}

static void try_study(const char *text) {
  struct error error = {0};
  struct plan plan = {.memory = arena_open()};
  check(plan.memory);
  /* Its case lies in the tree. */
  plan.source = SWASHLOOP_SOURCE "/cases/studies/study.yaml";
  if (!study_read(&plan, NULL, text, strlen(text), &error)) {
    check(error.text[0] != '\0' && !strpbrk(error.text, "\n\r\t"));
  } else {
    check(plan.axis_count >= 1 && plan.samples >= 1);
    /* Case k is one, or has a reason why it is none. */
    struct case_data data;
    if (plan_case(&plan, plan.samples - 1, &data, &error)) {
      case_free(&data);
    } else {
      check(error.text[0] != '\0');
    }
  }
  plan_free(&plan);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  char *text = text_of(bytes, size);
  if (strncmp(text, "#study", 6) == 0) {
    try_study(text);
  } else {
    try_mapping(text);
  }
  free(text);
  return 0;
}
