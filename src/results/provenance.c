#include "provenance.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "build_id.h"

_Static_assert(sizeof "swashloop " SWASHLOOP_VERSION ", build " + BUILD_ID_SIZE <= PROVENANCE_SIZE, "a whole text");

const char *provenance_program(char buffer[PROVENANCE_SIZE]) {
  (void)snprintf(buffer, PROVENANCE_SIZE, "swashloop " SWASHLOOP_VERSION ", build %s", build_id());
  return buffer;
}

void provenance_history(hid_t file, const char *command, const char *earlier, struct h5_log *log) {
  char when[32] = "";
  time_t now = time(NULL);
  struct tm parts;
  if (gmtime_r(&now, &parts) != NULL) {
    (void)strftime(when, sizeof when, "%Y-%m-%dT%H:%M:%SZ", &parts);
  }
  const char *below = earlier != NULL ? earlier : "";
  size_t size = sizeof when + strlen(command) + strlen(below) + 4;
  char *history = malloc(size);
  if (history != NULL) {
    (void)snprintf(history, size, "%s: %s%s%s", when, command, below[0] != '\0' ? "\n" : "", below);
  }
  h5_text_attribute(file, "history", history != NULL ? history : when, log);
  free(history);
}

void provenance_write(hid_t file, enum output_kind kind, const char *title, const char *command, struct h5_log *log) {
  char program[PROVENANCE_SIZE];
  h5_text_attribute(file, "swashloop_output", output_mark(kind), log);
  h5_text_attribute(file, "title", title, log);
  h5_text_attribute(file, "Conventions", "CF-1.8", log);
  provenance_history(file, command, NULL, log);
  h5_text_attribute(file, "source", provenance_program(program), log);
  h5_text_attribute(file, "swashloop_version", SWASHLOOP_VERSION, log);
  h5_text_attribute(file, "swashloop_build", build_id(), log);
  h5_flush_file(file, log);
}

void provenance_warning_lines(hid_t file, const struct warnings *warnings, struct h5_log *log) {
  char *lines = plausibility_lines(warnings);
  h5_text_attribute(file, "warnings", lines != NULL ? lines : "no memory to tell them", log);
  free(lines);
}

void provenance_warnings(hid_t file, const struct case_data *data, struct h5_log *log) {
  struct warnings warnings;
  plausibility_check(data, &warnings);
  provenance_warning_lines(file, &warnings, log);
}
