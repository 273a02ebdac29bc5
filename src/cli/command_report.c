/* swashloop report */
#include <sys/stat.h>

#include "answers.h"
#include "commands.h"
#include "report.h"
#include "text.h"

struct request {
  struct asked asked; /* its file: the first */
  const char *runs[REPORT_RUN_LIMIT];
  int run_count;
};

static const struct option_row options[] = {
    OPTION_OUTPUT("the page; default: the name of the first file with .html, in the current folder"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  if (request->run_count == REPORT_RUN_LIMIT) {
    return error_set(error, ERROR_USAGE, "a page compares at most %d runs", REPORT_RUN_LIMIT);
  }
  request->asked.file = request->run_count == 0 ? word : request->asked.file;
  request->runs[request->run_count++] = word;
  return true;
}

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  return request->run_count > 0 ||
         error_set(error, ERROR_USAGE, "which run? usage: swashloop report RUN.h5 [MORE.h5 ...] -o report.html");
}

static void tell(const struct report_request *wanted) {
  struct stat status;
  double size = stat(wanted->output, &status) == 0 ? (double)status.st_size : 0.0;
  (void)printf("page %s (%d %s, %.2f MB)\n", shown(wanted->output).text, wanted->file_count,
               wanted->file_count == 1 ? "file" : "files", size / 1e6);
}

static int write_page(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  const struct report_request wanted = {request->runs, request->run_count, request->asked.output, CAUTION};
  struct error error = {0};
  (void)data;
  (void)command;
  if (!report_write(&wanted, &error)) {
    return terminal_error(&error);
  }
  if (!request->asked.quiet) {
    tell(&wanted);
  }
  return EXIT_DONE;
}

int command_report(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "report",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop report RUN.h5 [MORE.h5 ...] [-o FILE] [--quiet]\n"
                  "       swashloop report TABLE.h5 [-o FILE] [--quiet]\n"
                  "       swashloop report REVIEW.h5 [-o FILE] [--quiet]\n\n"
                  "Writes one page for a browser that shows the run: verdict, events, measures, charts, the circuit at "
                  "every\n"
                  "instant, where the energy went, the case. It needs no network and can be mailed. Several runs are\n"
                  "compared, differences first. The table of a sweep becomes a page of its own: how many cases keep "
                  "every\n"
                  "limit, maps, curves, what matters most, and every case with the command that runs it again. A "
                  "review shows\n"
                  "its matrix; a click on a cell tells that run.\n\n"
                  "  swashloop run cases/baseline/downhill.yaml -o downhill.h5\n"
                  "  swashloop report downhill.h5 -o downhill.html\n"
                  "  swashloop sweep cases/studies/braking.yaml -o braking.h5\n"
                  "  swashloop report braking.h5 -o braking.html\n\n",
              .tail = "\n" CAUTION "\n",
              .take_word = take_word,
          },
      .makes = OUTPUT_PAGE,
      .takes_case = false,
      .guarded = true,
      .check = check_request,
      .answer = write_page,
  };
  struct request request = {.asked.ending = ".html"};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
