/* What is not told of files outside the folders of the user. */
#include "case.h"

#include <stdio.h>
#include <string.h>

#include "text.h"

void case_hide_outside(const char *named, struct error *error) {
  char file[sizeof error->file];
  bool of_other = error != NULL && error->code == ERROR_INPUT && error->line > 0 && error->file[0] != '\0' &&
                  strcmp(error->file, named) != 0 && strncmp(error->file, "--set ", 6) != 0;
  if (of_other && input_is_outside(error->file, named)) {
    (void)snprintf(file, sizeof file, "%s", error->file);
    error_at(error, file, error->line, error->column,
             "this is not what a case may hold; its words are not shown, for the file lies outside the folder of '%s' "
             "and the present folder",
             text_excerpt(named).text);
  }
}
