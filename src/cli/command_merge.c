/* swashloop merge */
#include <inttypes.h>

#include "answers.h"
#include "commands.h"
#include "histories.h"
#include "table.h"
#include "text.h"

struct request {
  struct asked asked;
  struct words parts;
};

static const struct option_row options[] = {
    OPTION_OUTPUT("the table of all shards"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  return words_add(&request->parts, word, error);
}

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  if (request->parts.count == 0) {
    return error_set(error, ERROR_USAGE, "which tables? usage: swashloop merge SHARD.h5 ... -o FILE");
  }
  return request->asked.output != NULL || error_set(error, ERROR_USAGE, "where to? give -o FILE");
}

static int merge(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  (void)data;
  struct error error = {0};
  struct merge_report report = {0};
  if (!histories_may_be_written(request->asked.output, request->asked.force, &error) ||
      !table_merge(request->asked.output, request->parts.list, request->parts.count, command, &report, &error)) {
    return terminal_error(&error);
  }
  if (report.mixed_arithmetic) {
    (void)fprintf(stderr, "warning: the shards ran on machines whose mathematics libraries round differently; last "
                          "digits may differ from those of one machine\n");
  }
  if (!request->asked.quiet) {
    (void)printf("%" PRId64 " cases of %d shard%s, %" PRId64 " failed\n", report.cases, request->parts.count,
                 request->parts.count == 1 ? "" : "s", report.failed);
    if (report.histories > 0) {
      (void)printf("%" PRId64 " kept histories in %s.runs\n", report.histories, shown(request->asked.output).text);
    }
    (void)printf("table %s\n", shown(request->asked.output).text);
  }
  return report.failed > 0 ? EXIT_CASES_FAILED : EXIT_DONE;
}

int command_merge(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "merge",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head = "usage: swashloop merge SHARD.h5 ... -o FILE [--quiet]\n\n"
                      "Puts the tables of all shards of one sweep together, in the order of the cases. Tables of "
                      "different\n"
                      "studies, program versions or builds, and a missing shard, are refused. Kept histories come "
                      "along from\n"
                      "SHARD.h5.runs to FILE.runs.\n\n"
                      "  swashloop merge braking-*.h5 -o braking.h5\n\n",
              .tail = "\n" CAUTION "\n",
              .take_word = take_word,
          },
      .makes = OUTPUT_TABLE,
      .takes_case = false,
      .guarded = true,
      .check = check_request,
      .answer = merge,
  };
  struct request request = {.parts = {NULL, 0}};
  int code = answers_command(&command, &request.asked, argument_count, arguments);
  words_free(&request.parts);
  return code;
}
