/* Options of a command: declared as rows, read one by one, printed as help. */
#ifndef SWASHLOOP_CLI_OPTIONS_H
#define SWASHLOOP_CLI_OPTIONS_H

#include <stdio.h>

#include "error.h"

struct option_row {
  const char *name;  /* without the dashes */
  char letter;       /* short form, '\0' for none */
  const char *value; /* what stands for its value in the help; NULL: takes none */
  const char *text;
};

enum { OPTION_END = -1, OPTION_WORD = -2, OPTION_BAD = -3 };

struct option_reader {
  const struct option_row *rows;
  int row_count;
  char **arguments;
  int argument_count;
  int next;
  bool words_only; /* after `--` */
  const char *value;
};

/* The next option: its row, OPTION_WORD with the word as value, OPTION_END, or OPTION_BAD with `error` filled. */
int option_next(struct option_reader *reader, struct error *error);
/* The command line as typed, for a file's history; to be freed. NULL when memory is out. */
char *option_command_line(const char *command, int argument_count, char **arguments);
void option_help(FILE *out, const struct option_row *rows, int row_count);

#endif
