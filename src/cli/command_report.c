/* swashloop report */
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "answers.h"
#include "commands.h"
#include "report.h"

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

/* --- A damaged file can bring the file library down or to circle for ever: it is read in a process of its own
 * --------- */

enum { CPU_SECONDS_LIMIT = 120 };

static void read_apart(const struct report_request *wanted, int pipe_end) {
  struct rlimit seconds = {CPU_SECONDS_LIMIT, CPU_SECONDS_LIMIT};
  struct rlimit no_core = {0, 0};
  struct error error = {0};
  (void)setrlimit(RLIMIT_CPU, &seconds);
  (void)setrlimit(RLIMIT_CORE, &no_core);
  (void)signal(SIGXFSZ, SIG_IGN); /* a file size limit is an error of writing, not the end */
  bool good = report_write(wanted, &error);
  bool told = good || write(pipe_end, &error, sizeof error) == (ssize_t)sizeof error;
  _exit(good ? EXIT_DONE : told ? EXIT_BAD_INPUT : EXIT_RUN_FAILED);
}

/* What the process left behind when it died in the middle. */
static void remove_part(const char *output) {
  size_t size = strlen(output) + sizeof ".part";
  char *part = malloc(size);
  if (part != NULL) {
    (void)snprintf(part, size, "%s.part", output);
    (void)unlink(part);
  }
  free(part);
}

/* Returns the exit code, with `error` filled if there is something to say. */
static int write_guarded(const struct report_request *wanted, struct error *error) {
  int ends[2];
  int status = 0;
  if (pipe(ends) != 0) {
    error_set(error, ERROR_RUN, "no pipe: %s", strerror(errno));
    return EXIT_RUN_FAILED;
  }
  pid_t child = fork();
  if (child == 0) {
    (void)close(ends[0]);
    read_apart(wanted, ends[1]);
  }
  /* Ctrl-C goes to both: the child dies of it, this one stays to tidy up. */
  (void)signal(SIGINT, SIG_IGN);
  (void)close(ends[1]);
  bool told = child > 0 && read(ends[0], error, sizeof *error) == (ssize_t)sizeof *error;
  (void)close(ends[0]);
  if (child < 0 || waitpid(child, &status, 0) != child) {
    error_set(error, ERROR_RUN, "no process to read the file in: %s", strerror(errno));
    return EXIT_RUN_FAILED;
  }
  if (told) {
    return error_exit_status(error->code);
  }
  if (WIFEXITED(status) && WEXITSTATUS(status) == EXIT_DONE) {
    return EXIT_DONE;
  }
  remove_part(wanted->output);
  if (WIFSIGNALED(status) && WTERMSIG(status) == SIGINT) {
    return EXIT_INTERRUPTED;
  }
  error_set(error, ERROR_INPUT, "%s%s cannot be read: damaged so badly that the file library gave up", wanted->files[0],
            wanted->file_count > 1 ? " or one of the other files" : "");
  return EXIT_BAD_INPUT;
}

static void tell(const struct report_request *wanted) {
  struct stat status;
  double size = stat(wanted->output, &status) == 0 ? (double)status.st_size : 0.0;
  (void)printf("page %s (%d %s, %.2f MB)\n", wanted->output, wanted->file_count,
               wanted->file_count == 1 ? "file" : "files", size / 1e6);
}

static int write_page(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  const struct report_request wanted = {request->runs, request->run_count, request->asked.output, CAUTION};
  struct error error = {0};
  (void)data;
  (void)command;
  int code = write_guarded(&wanted, &error);
  if (error.code != ERROR_NONE) {
    (void)terminal_error(&error);
  } else if (code == EXIT_DONE && !request->asked.quiet) {
    tell(&wanted);
  }
  return code;
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
                  "       swashloop report TABLE.h5 [-o FILE] [--quiet]\n\n"
                  "Writes one page for a browser that tells the run: verdict, story, measures, charts, the circuit at "
                  "every\n"
                  "instant, where the energy went, the case. It needs no network and can be mailed. Several runs are\n"
                  "compared, differences first. The table of a sweep becomes a page of its own: how many cases keep "
                  "every\n"
                  "limit, maps, curves, what matters most, and every case with the command that runs it again.\n\n"
                  "  swashloop run cases/baseline/downhill.yaml -o downhill.h5\n"
                  "  swashloop report downhill.h5 -o downhill.html\n"
                  "  swashloop sweep cases/studies/braking.yaml -o braking.h5\n"
                  "  swashloop report braking.h5 -o braking.html\n\n",
              .tail = "\n" CAUTION "\n",
              .take_word = take_word,
          },
      .takes_case = false,
      .check = check_request,
      .answer = write_page,
  };
  struct request request = {.asked.ending = ".html"};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
