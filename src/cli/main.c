#include <stdio.h>
#include <string.h>

#include "commands.h"
#include "provenance.h"
#include "registry.h"
#include "terminal.h"

/* The program for clusters shares a sweep among the ranks of its launcher. */
#ifdef SWASHLOOP_MPI
#include <unistd.h>

#include "ranks.h"
#define SWEEP_COMMAND ranks_command_sweep
static int ranks_command_sweep(int argument_count, char **arguments) {
  struct ranks *ranks = ranks_begin();
  if (ranks == NULL) {
    struct error error;
    error_set(&error, ERROR_MEMORY, "out of memory for the ranks");
    return terminal_error(&error);
  }
  int code = sweep_with_communicator(argument_count, arguments, ranks_communicator(ranks));
  if (!ranks_end(ranks)) {
    code = terminal_finish(code);
    (void)fflush(NULL);
    _exit(code);
  }
  return code;
}
#else
#define SWEEP_COMMAND command_sweep
#endif

struct command_row {
  const char *name;
  int (*call)(int argument_count, char **arguments);
  const char *text;
};

static const struct command_row commands[] = {
    {"run", command_run, "integrate a case; print the summary, write the run file"},
    {"check", command_check, "read a case and say whether it is good"},
    {"list", command_list, "list parameters, signals, measures or units"},
    {"review", command_review, "all limits of several cases under several conditions"},
    {"envelope", command_envelope, "how far one or two quantities can go until a limit breaks"},
    {"odds", command_odds, "how often limits break when what scatters is drawn by lot"},
    {"tune", command_tune, "settings that keep every limit and are best by a goal"},
    {"sweep", SWEEP_COMMAND, "run many cases of a study, write one table"},
    {"merge", command_merge, "put the tables of shards together"},
    {"response", command_response, "how a relief valve answers; its flow-pressure curve"},
    {"steady", command_steady, "steady drive: hold-back, tractive effort, grade ability, efficiency, a point"},
    {"linear", command_linear, "linearised: modes, damping, frequency response, whether it hunts"},
    {"sensitivity", command_sensitivity, "which number of a case moves what, ranked"},
    {"compare", command_compare, "a run against a measured trace"},
    {"fit", command_fit, "find numbers of a case from measured traces"},
    {"report", command_report, "tell one run or several on a page for a browser"},
};

enum { COMMAND_COUNT = (int)(sizeof commands / sizeof commands[0]) };

static const char *command_name(const void *context, int index) {
  return ((const struct command_row *)context)[index].name;
}

static void print_help(FILE *out) {
  (void)fputs("swashloop simulates a closed-loop hydrostatic transmission in the time domain.\n\n"
              "usage: swashloop COMMAND [...]\n\ncommands\n",
              out);
  for (int i = 0; i < COMMAND_COUNT; i++) {
    (void)fprintf(out, "  %-8s %s\n", commands[i].name, commands[i].text);
  }
  (void)fputs(
      "\nswashloop COMMAND --help or swashloop help COMMAND says more; swashloop --version (-V) the version.\n\n"
      "exit codes\n"
      "  0 done   1 the run failed   2 bad usage or input   3 output could not be written\n"
      "  4 a limit of the case was broken   5 some cases of a sweep failed\n"
      "  6 no limit was broken, but one or more could not be judged\n"
      "  130 interrupted, file closed cleanly\n\n" CAUTION "\n",
      out);
}

int main(int argument_count, char **arguments) {
  static char help[] = "--help";
  const char *word = argument_count > 1 ? arguments[1] : "";
  bool asks_help = strcmp(word, "help") == 0;
  if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0 || (asks_help && argument_count == 2)) {
    print_help(stdout);
    return terminal_finish(EXIT_DONE);
  }
  if (asks_help) { /* `help run` is `run --help` */
    word = arguments[2];
    arguments[2] = help;
    argument_count = 3;
  }
  if (strcmp(word, "--version") == 0 || strcmp(word, "-V") == 0) {
    char program[PROVENANCE_SIZE];
    (void)puts(provenance_program(program));
    return terminal_finish(EXIT_DONE);
  }
  if (word[0] == '\0') {
    print_help(stderr);
    return EXIT_BAD_INPUT;
  }
  for (int i = 0; i < COMMAND_COUNT; i++) {
    if (strcmp(word, commands[i].name) == 0) {
      return terminal_finish(commands[i].call(argument_count - 2, arguments + 2));
    }
  }
  struct error error = {0};
  const char *near = registry_nearest(word, COMMAND_COUNT, command_name, commands);
  if (near != NULL) {
    error_set(&error, ERROR_USAGE, "unknown command '%s'; did you mean '%s'?", word, near);
  } else {
    error_set(&error, ERROR_USAGE, "unknown command '%s'; swashloop --help lists the commands", word);
  }
  return terminal_error(&error);
}
