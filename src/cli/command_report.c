/* swashloop report */
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "commands.h"
#include "options.h"
#include "report.h"
#include "terminal.h"

static const struct option_row options[] = {
    {"output", 'o', "FILE", "the page; default: the name of the first file with .html, in the current folder"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { OUTPUT, QUIET, HELP, OPTION_COUNT };

struct request {
  const char *runs[REPORT_RUN_LIMIT];
  int run_count;
  const char *output;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs(
      "usage: swashloop report RUN.h5 [MORE.h5 ...] [-o FILE] [--quiet]\n"
      "       swashloop report TABLE.h5 [-o FILE] [--quiet]\n\n"
      "Writes one page for a browser that tells the run: verdict, story, measures, charts, the circuit at every\n"
      "instant, where the energy went, the case. It needs no network and can be mailed. Several runs are\n"
      "compared, differences first. The table of a sweep becomes a page of its own: how many cases keep every\n"
      "limit, maps, curves, what matters most, and every case with the command that runs it again.\n\n"
      "  swashloop run cases/baseline/downhill.yaml -o downhill.h5\n"
      "  swashloop report downhill.h5 -o downhill.html\n"
      "  swashloop sweep cases/studies/braking.yaml -o braking.h5\n"
      "  swashloop report braking.h5 -o braking.html\n\n",
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
      if (request->run_count == REPORT_RUN_LIMIT) {
        return error_set(error, ERROR_USAGE, "a page compares at most %d runs", REPORT_RUN_LIMIT);
      }
      request->runs[request->run_count++] = reader.value;
      break;
    case OPTION_END:
      return true;
    default:
      return false;
    }
  }
}

/* "out/downhill.h5" to "downhill.html", to be freed. */
static char *default_output(const char *run) {
  const char *slash = strrchr(run, '/');
  const char *base = slash != NULL ? slash + 1 : run;
  const char *dot = strrchr(base, '.');
  int length = dot != NULL && dot != base ? (int)(dot - base) : (int)strlen(base);
  size_t size = (size_t)length + sizeof ".html";
  char *output = malloc(size);
  if (output != NULL) {
    (void)snprintf(output, size, "%.*s.html", length, base);
  }
  return output;
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

int command_report(int argument_count, char **arguments) {
  struct request request = {0};
  struct error error = {0};
  if (!read_request(argument_count, arguments, &request, &error)) {
    return terminal_error(&error);
  }
  if (request.help) {
    print_help();
    return EXIT_DONE;
  }
  if (request.run_count == 0) {
    error_set(&error, ERROR_USAGE, "which run? usage: swashloop report RUN.h5 [MORE.h5 ...] -o report.html");
    return terminal_error(&error);
  }
  char *own_output = request.output == NULL ? default_output(request.runs[0]) : NULL;
  const char *output = request.output != NULL ? request.output : own_output;
  int code = EXIT_RUN_FAILED;
  if (output != NULL) {
    struct report_request wanted = {request.runs, request.run_count, output, CAUTION};
    code = write_guarded(&wanted, &error);
    if (error.code != ERROR_NONE) {
      (void)terminal_error(&error);
    } else if (code == EXIT_DONE && !request.quiet) {
      tell(&wanted);
    }
  }
  free(own_output);
  return code;
}
