/* swashloop merge */
#include <inttypes.h>
#include <stdlib.h>

#include "commands.h"
#include "options.h"
#include "table.h"
#include "terminal.h"

static const struct option_row options[] = {
    {"output", 'o', "FILE", "the table of all shards"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { OUTPUT, QUIET, HELP, OPTION_COUNT };

struct request {
  const char **parts; /* into the arguments */
  int part_count;
  const char *output;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs("usage: swashloop merge SHARD.h5 ... -o FILE [--quiet]\n\n"
              "Puts the tables of all shards of one sweep together, in the order of the cases. Tables of different\n"
              "studies, program versions or builds, and a missing shard, are refused.\n\n"
              "  swashloop merge braking-*.h5 -o braking.h5\n\n",
              stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs("\n" CAUTION "\n", stdout);
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case OUTPUT:
      request->output = reader.value;
      break;
    case QUIET:
      request->quiet = true;
      break;
    case HELP:
      request->help = true;
      return true;
    case OPTION_WORD:
      request->parts[request->part_count++] = reader.value;
      break;
    case OPTION_END:
      if (request->part_count == 0) {
        return error_set(error, ERROR_USAGE, "which tables? usage: swashloop merge SHARD.h5 ... -o FILE");
      }
      return request->output != NULL || error_set(error, ERROR_USAGE, "where to? give -o FILE");
    default:
      return false;
    }
  }
}

static int merge(const struct request *request, const char *command) {
  struct error error = {0};
  struct merge_report report = {0};
  if (!table_merge(request->output, request->parts, request->part_count, command, &report, &error)) {
    return terminal_error(&error);
  }
  if (report.mixed_arithmetic) {
    (void)fprintf(stderr, "warning: the shards ran on machines whose mathematics libraries round differently; last "
                          "digits may differ from those of one machine\n");
  }
  if (!request->quiet) {
    (void)printf("%" PRId64 " cases of %d shard%s, %" PRId64 " failed\ntable %s\n", report.cases, request->part_count,
                 request->part_count == 1 ? "" : "s", report.failed, request->output);
  }
  return report.failed > 0 ? EXIT_CASES_FAILED : EXIT_DONE;
}

int command_merge(int argument_count, char **arguments) {
  struct request request = {0};
  struct error error = {0};
  int code;
  request.parts = calloc((size_t)argument_count + 1, sizeof *request.parts);
  char *command = option_command_line("swashloop merge", argument_count, arguments);
  if (request.parts == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!read_request(argument_count, arguments, &request, &error)) {
    code = terminal_error(&error);
  } else if (request.help) {
    print_help();
    code = EXIT_DONE;
  } else {
    code = merge(&request, command);
  }
  free(command);
  free(request.parts);
  return code;
}
