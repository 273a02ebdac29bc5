/* The commands, one file each. A command gets the arguments behind its name and returns the exit code. */
#ifndef SWASHLOOP_CLI_COMMANDS_H
#define SWASHLOOP_CLI_COMMANDS_H

enum exit_code {
  EXIT_DONE = 0,
  EXIT_RUN_FAILED = 1,
  EXIT_BAD_INPUT = 2,
  EXIT_NO_OUTPUT = 3,
  EXIT_LIMIT_BROKEN = 4,
  EXIT_CASES_FAILED = 5,
  EXIT_LIMIT_NOT_JUDGED = 6,
  EXIT_INTERRUPTED = 130
};

/* Each runs one command with the arguments behind its name and returns the exit code. */
int command_run(int argument_count, char **arguments);
int command_check(int argument_count, char **arguments);
int command_list(int argument_count, char **arguments);
int command_response(int argument_count, char **arguments);
int command_sensitivity(int argument_count, char **arguments);
int command_compare(int argument_count, char **arguments);
int command_fit(int argument_count, char **arguments);
int command_report(int argument_count, char **arguments);
int command_steady(int argument_count, char **arguments);
int command_linear(int argument_count, char **arguments);
int command_envelope(int argument_count, char **arguments);
int command_odds(int argument_count, char **arguments);
int command_tune(int argument_count, char **arguments);
int command_review(int argument_count, char **arguments);
int command_sweep(int argument_count, char **arguments);
int command_merge(int argument_count, char **arguments);

/* sweep for a process that shares the work with others. */
struct communicator;
int sweep_with_communicator(int argument_count, char **arguments, const struct communicator *communicator);

#endif
