/* swashloop sweep */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bundle.h"
#include "commands.h"
#include "guarded.h"
#include "histories.h"
#include "interrupt.h"
#include "plan_plausibility.h"
#include "processors.h"
#include "options.h"
#include "row.h"
#include "sweep.h"
#include "terminal.h"
#include "text.h"
#include "cost_estimate.h"
#include "units.h"

struct request {
  struct asked asked; /* its file: the study */
  int jobs;           /* 0: as many as there are processors */
  int64_t shard;
  int64_t shards;
  const char *earlier; /* a table whose rows are taken */
  double patience;     /* s, with a rank that says nothing */
  bool resume;
  bool dry_run;
};

/* ---- what is asked for ---- */

static bool read_shard(void *context, const char *text, struct error *error) {
  struct request *request = context;
  char first[16] = "";
  const char *slash = strchr(text, '/');
  size_t length = slash ? (size_t)(slash - text) : sizeof first;
  if (length < sizeof first) {
    memcpy(first, text, length);
    if (option_whole(slash + 1, 1, 1000000, &request->shards) &&
        option_whole(first, 0, request->shards - 1, &request->shard)) {
      return true;
    }
  }
  return error_set(error, ERROR_USAGE, "--shard '%s': expected I/N with I from 0 to N-1, as 0/8 or 7/8",
                   text_excerpt(text).text);
}

static const struct option_row options[] = {
    OPTION_OUTPUT("the table; default: the name of the study with .h5, in the current folder"),
    OPTION_JOBS(jobs, JOB_LIMIT,
                "threads; default: one a processor that this process may use (under a launcher: one a rank)"),
    OPTION_READ("shard", '\0', "I/N", read_shard,
                "only every N-th case, from case I on (0/N to N-1/N); swashloop merge joins the tables"),
    OPTION_INPUT("from", '\0', "TABLE", earlier,
                 "take the rows of an earlier table that are this study's: it has grown by cases, limits or measures"),
    OPTION_AMOUNT("patience", "TIME", patience, TIME, 1.0, 1e6,
                  "of ranks: one not heard of for so long (default 60 s) is given up, and others run its cases"),
    OPTION_FLAG("resume", resume, "go on with what an earlier sweep has done, if there is anything"),
    OPTION_FLAG("dry-run", dry_run, "say what would be run, how long it takes and how large it gets"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head = "usage: swashloop sweep STUDY [-o FILE] [--jobs N] [--shard I/N] [--from TABLE] [--resume]\n"
            "                       [--patience TIME] [--dry-run] [--quiet]\n\n"
            "Runs every case of a study and writes one table (HDF5, opens as netCDF-4): a row a case, with what was\n"
            "varied, the measures, and how near each limit came. The numbers do not depend on threads, ranks, shards\n"
            "or interruptions.\n\n"
            "  swashloop sweep cases/studies/braking.yaml -o braking.h5 --jobs 2\n\n",
    .tail = "\nWhat is finished lies in FILE.journal until the table is whole: after Ctrl-C, a kill or a full disk\n"
            "--resume goes on. Kept time histories go to FILE.runs/case_K.h5; `swashloop run --study STUDY --case K`\n"
            "runs any row again.\n\n" CAUTION "\n",
    .one = "study",
};

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  return options_read(&table, argument_count, arguments, request, error) &&
         (request->asked.help || request->asked.file != NULL ||
          error_set(error, ERROR_USAGE, "which study? usage: swashloop sweep STUDY -o FILE"));
}

/* How many processes a launcher says that it has started on this machine; 0: none says so. */
static int launched_here(void) {
  /* Of Slurm "2(x3),1": so many on the first machine, which is where rank 0 is. */
  static const char *const words[] = {"OMPI_COMM_WORLD_LOCAL_SIZE", "MPI_LOCALNRANKS", "SLURM_STEP_TASKS_PER_NODE"};
  for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
    const char *text = getenv(words[i]);
    long count = text != NULL ? strtol(text, NULL, 10) : 0;
    if (count > 0 && count < 65536) {
      return (int)count;
    }
  }
  return 0;
}

/* Threads that share a processor make nothing faster; a launcher that binds each of its processes to one is the usual
 * cause. */
static void tell_too_many_jobs(int jobs, bool together) {
  int allowed = processors_allowed();
  int here = processors_here();
  int ranks = launched_here();
  if (jobs > allowed) {
    (void)fprintf(stderr, "warning: %d threads for %d processor%s that this process may use%s (too_many_jobs)\n", jobs,
                  allowed, allowed == 1 ? "" : "s",
                  ranks > 0 ? "; docs/sweeps.md has the launchers' options that bind a rank to several" : "");
  } else if (together && ranks > here / jobs) {
    (void)fprintf(stderr, "warning: %d ranks of %d thread%s on a machine of %d processor%s (too_many_jobs)\n", ranks,
                  jobs, jobs == 1 ? "" : "s", here, here == 1 ? "" : "s");
  }
}

/* ---- dry run ---- */

static void print_case(const struct plan *plan, const char *word, int64_t k) {
  char text[1024];
  plan_describe(plan, k, text, (int)sizeof text);
  (void)printf("  %-6s case %" PRId64 ": %s\n", word, k, text);
}

static void tell_warnings(const struct plan *plan) {
  struct warnings warnings;
  struct error error;
  if (plan_warnings(plan, &warnings, &error)) {
    terminal_warnings(&warnings);
  }
}

static struct sweep_order order_of(const struct request *request, const struct plan *plan) {
  return (struct sweep_order){.plan = plan,
                              .output = request->asked.output,
                              .shard = request->shard,
                              .shards = request->shards,
                              .resume = request->resume,
                              .earlier = request->earlier,
                              .patience = request->patience};
}

static void tell_earlier(const struct earlier_report *earlier, const char *path) {
  if (earlier->again > 0) {
    (void)fprintf(stderr, "%" PRId64 " of the cases in %s are run again; it lacks: %s\n", earlier->again,
                  shown(path).text, shown(earlier->lacking[0] != '\0' ? earlier->lacking : "their end").text);
  }
}

static int dry_run(const struct request *request, const struct plan *plan) {
  static const char *const words[] = {[ARRANGE_GRID] = "grid",
                                      [ARRANGE_TOGETHER] = "together",
                                      [ARRANGE_LATIN_HYPERCUBE] = "Latin hypercube",
                                      [ARRANGE_SOBOL] = "Sobol points",
                                      [ARRANGE_POINTS] = "points of a table",
                                      [ARRANGE_RANDOM] = "drawn one by one",
                                      [ARRANGE_SALTELLI] = "Saltelli's design"};
  struct error error = {0};
  char text[64];
  interrupt_catch();
  int64_t cases = sweep_shard_size(plan->cases, request->shard, request->shards);
  int64_t taken = 0;
  int jobs = option_threads(request->jobs);
  (void)printf("%s\n", shown(plan->title).text);
  (void)printf("  %" PRId64 " cases (%s", plan->cases, words[plan->arrangement]);
  if (plan->setting_count > 0) {
    (void)printf(", %" PRId64 " samples x %d settings", plan->samples, plan->setting_count);
  }
  (void)printf(")");
  if (request->shards > 1) {
    (void)printf(", of them %" PRId64 " in shard %" PRId64 "/%" PRId64, cases, request->shard, request->shards);
  }
  (void)printf("\n");
  print_case(plan, "first", request->shard);
  print_case(plan, "last", request->shard + (cases - 1) * request->shards);
  tell_warnings(plan);
  if (request->earlier != NULL) {
    struct sweep_order order = order_of(request, plan);
    struct earlier_report earlier;
    if (!sweep_count_earlier(&order, &earlier, &error)) {
      return terminal_error(&error);
    }
    (void)printf("  %" PRId64 " rows are taken from %s\n", earlier.taken, shown(request->earlier).text);
    tell_earlier(&earlier, request->earlier);
    taken = earlier.taken;
  }
  double each = cost_estimate(plan, interrupt_seen, &error);
  struct row_shape shape = row_shape_of(plan);
  double row = (double)(row_bytes_limit(shape) - ROW_MESSAGE_LIMIT);
  (void)printf("  about %s", terminal_seconds(each * (double)(cases - taken) / jobs, text, (int)sizeof text));
  (void)printf(" with %d thread%s (%.3g ms a case)", jobs, jobs == 1 ? "" : "s", 1e3 * each);
  (void)printf(", table about %s\n",
               terminal_bytes((double)cases * (row + 40.0 + 8.0 * plan->axis_count) + 2e5, text, (int)sizeof text));
  return isnan(each) ? terminal_error(&error) : EXIT_DONE;
}

/* ---- the sweep ---- */

static bool wants_stop(void *context) {
  (void)context;
  return interrupt_seen();
}

static void show_progress(void *context, const struct sweep_progress *progress) {
  char left[64];
  char line[256];
  (void)snprintf(line, sizeof line, "%3.0f %%   %" PRId64 " of %" PRId64 " cases   %.4g a second, about %s to go%s",
                 progress->wanted > 0 ? 100.0 * (double)progress->done / (double)progress->wanted : 100.0,
                 progress->done, progress->wanted, progress->rate,
                 terminal_seconds(progress->left, left, (int)sizeof left), progress->failed > 0 ? ", some failed" : "");
  progress_line(context, line);
}

static void print_summary(const struct request *request, const struct plan *plan, const struct sweep_report *report,
                          int jobs) {
  char text[64];
  int64_t ran = report->done - report->before;
  (void)printf("%s\n", shown(plan->title).text);
  (void)printf("  %" PRId64 " of %" PRId64 " cases done", report->done, report->wanted);
  if (report->before > report->earlier.taken) {
    (void)printf(", %" PRId64 " of them earlier", report->before - report->earlier.taken);
  }
  if (report->earlier.taken > 0) {
    (void)printf(", %" PRId64 " taken from %s", report->earlier.taken, shown(request->earlier).text);
  }
  (void)printf(", %" PRId64 " failed\n", report->failed);
  if (ran > 0 && report->seconds > 0.0) {
    double share = report->busy > 0.0 ? 100.0 * report->integration / report->busy : 0.0;
    (void)printf("  %s, %.4g cases a second, %d thread%s; %.1f %% of %.4g s of processor time was integration; ",
                 terminal_seconds(report->seconds, text, (int)sizeof text), (double)ran / report->seconds, jobs,
                 jobs == 1 ? "" : "s", share, report->busy);
    (void)printf("threads waited for work %.1f %% of the time\n",
                 100.0 * fmax(0.0, 1.0 - report->worked / (jobs * report->seconds)));
  }
  if (report->side_by_side > 0) {
    (void)printf("  %.3g %% of the cases ran side by side\n",
                 100.0 * (double)report->side_by_side / (double)report->done);
  }
  if (report->there) {
    (void)printf("table %s was there already\n", shown(request->asked.output).text);
  } else if (!report->stopped) {
    (void)printf("table %s\n", shown(request->asked.output).text);
  }
}

static int finish(const struct request *request, const struct plan *plan, const struct sweep_report *report, int jobs) {
  if (report->damaged_bytes > 0 || report->lost_cases > 0) {
    (void)fprintf(
        stderr,
        "warning: the journal was damaged (%" PRId64 " bytes): %" PRId64 " finished case%s could not be read, "
        "run again\n",
        report->damaged_bytes + report->dropped_bytes, report->lost_cases, report->lost_cases == 1 ? "" : "s");
  } else if (report->dropped_bytes > 0 && !request->asked.quiet) {
    (void)fprintf(stderr, "the last %" PRId64 " bytes of the journal were torn; their cases were run again\n",
                  report->dropped_bytes);
  }
  if (!request->asked.quiet) {
    tell_earlier(&report->earlier, request->earlier);
  }
  if (report->lost_ranks > 0) {
    (void)fprintf(stderr, "warning: %d rank%s not heard of any more and given up; others ran their cases\n",
                  report->lost_ranks, report->lost_ranks == 1 ? " was" : "s were");
  }
  if (report->stopped) {
    if (!request->asked.quiet) {
      (void)fprintf(stderr, "interrupted: %" PRId64 " of %" PRId64 " cases are in %s.journal; --resume goes on\n",
                    report->done, report->wanted, shown(request->asked.output).text);
    }
    return EXIT_INTERRUPTED;
  }
  if (!request->asked.quiet) {
    print_summary(request, plan, report, jobs);
  }
  return report->failed > 0 ? EXIT_CASES_FAILED : EXIT_DONE;
}

/* Processes of a launcher that know nothing of each other would all run everything. */
static bool check_launcher(const struct communicator *communicator, const struct request *request,
                           struct error *error) {
  static const char *const sizes[] = {"OMPI_COMM_WORLD_SIZE", "PMI_SIZE", "SLURM_STEP_NUM_TASKS"};
  for (size_t i = 0; communicator == NULL && i < sizeof sizes / sizeof sizes[0]; i++) {
    const char *size = getenv(sizes[i]);
    if (size != NULL && strcmp(size, "1") != 0 && request->shards == 1) {
      return error_set(error, ERROR_USAGE,
                       "several of these were started together (%s is set), but know nothing of each other: start "
                       "swashloop-mpi by the launcher of its own MPI library (docs/sweeps.md), or give each a --shard",
                       sizes[i]);
    }
  }
  return true;
}

static int run_sweep(const struct request *request, const struct plan *plan, const char *command,
                     const struct communicator *communicator) {
  struct error error = {0};
  struct sweep_report report;
  bool first = communicator == NULL || communicator->rank == 0;
  int jobs = request->jobs == 0 && communicator != NULL ? 1 : option_threads(request->jobs);
  struct progress progress = progress_start(request->asked.quiet || !first);
  struct sweep_order order = order_of(request, plan);
  order.command = command;
  order.jobs = jobs;
  order.communicator = communicator;
  order.context = &progress;
  order.stop = wants_stop;
  order.progress = show_progress;
  if (first && !request->asked.quiet) {
    tell_warnings(plan);
    tell_too_many_jobs(jobs, communicator != NULL);
  }
  interrupt_catch();
  bool good = sweep_run(&order, &report, &error);
  progress_clear(&progress);
  if (!good) {
    int code = terminal_error(&error);
    if (report.done > 0 && (error.code == ERROR_OUTPUT || error.code == ERROR_MEMORY)) {
      (void)fprintf(stderr, "%" PRId64 " of %" PRId64 " cases are safe in %s.journal; --resume goes on\n", report.done,
                    report.wanted, shown(request->asked.output).text);
    }
    return code;
  }
  return first ? finish(request, plan, &report, jobs * (communicator != NULL ? communicator->size : 1)) : EXIT_DONE;
}

struct work {
  const struct request *request;
  const struct plan *plan;
  const char *command;
};

static int work_alone(void *context) {
  const struct work *work = context;
  return run_sweep(work->request, work->plan, work->command, NULL);
}

/* A rank of a launcher is a process that the launcher watches, and cannot be doubled. */
static int run_guarded(const struct request *request, const struct plan *plan, const char *command,
                       const struct communicator *communicator) {
  struct work work = {request, plan, command};
  struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
  return communicator != NULL ? run_sweep(request, plan, command, communicator)
                              : guarded_run(work_alone, &work, &guard);
}

/* Rank 0 reads the study and all that it names, and sends the bytes to the others: these need no such files. Returns
 * the exit code, EXIT_DONE with the plan in place. */
static int load_plan(const struct request *request, const struct communicator *communicator, struct plan *plan) {
  struct error error = {0};
  unsigned char *bytes = NULL;
  int64_t length = 0; /* stays so when there is no study: then all end */
  if (communicator != NULL && communicator->rank > 0) {
    bool good = communicator->share(communicator->context, &bytes, &length) && length > 0;
    int code = good ? EXIT_DONE : EXIT_BAD_INPUT; /* rank 0 says why */
    if (good && !bundle_load(bytes, length, plan, &error)) {
      code = error_exit_status(error.code);
      sweep_absent(communicator, error.text);
    }
    free(bytes);
    return code;
  }
  bool good = check_launcher(communicator, request, &error) && plan_load(request->asked.file, NULL, plan, &error);
  if (good && communicator != NULL && !bundle_make(plan, &bytes, &length, &error)) {
    plan_free(plan);
    good = false;
  }
  if (communicator != NULL) {
    (void)communicator->share(communicator->context, &bytes, &length);
  }
  free(bytes);
  return good ? EXIT_DONE : terminal_error(&error);
}

static int run_request(struct request *request, const char *command, const struct communicator *communicator) {
  struct error error = {0};
  struct plan plan = {0};
  bool first = communicator == NULL || communicator->rank == 0;
  char *output = option_default_file(request->asked.file, ".h5");
  int code;
  request->asked.output = request->asked.output != NULL ? request->asked.output : output;
  if (output == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if ((code = load_plan(request, communicator, &plan)) == EXIT_DONE) {
    if (sweep_shard_size(plan.cases, request->shard, request->shards) == 0) {
      error_set(&error, ERROR_USAGE, "shard %" PRId64 "/%" PRId64 " is empty: the study has %" PRId64 " cases",
                request->shard, request->shards, plan.cases);
      code = terminal_error(&error);
    } else if (request->dry_run) {
      code = first ? dry_run(request, &plan) : EXIT_DONE;
    } else if (first &&
               !(option_check_output(&request->asked, OUTPUT_TABLE, request->resume, plan.base.inputs, &error) &&
                 (!sweep_keeps_any(&plan) ||
                  histories_may_be_written(request->asked.output, request->asked.force, &error)))) {
      code = terminal_error(&error);
      sweep_absent(communicator, error.text);
    } else {
      code = run_guarded(request, &plan, command, communicator);
    }
    plan_free(&plan);
  }
  free(output);
  return code;
}

int sweep_with_communicator(int argument_count, char **arguments, const struct communicator *communicator) {
  struct request request = {.shards = 1};
  struct error error = {0};
  bool first = communicator == NULL || communicator->rank == 0;
  int code = EXIT_DONE;
  if (!read_request(argument_count, arguments, &request, &error)) {
    code = first ? terminal_error(&error) : error_exit_status(error.code);
  } else if (request.asked.help) {
    if (first) {
      options_help(&table);
    }
  } else {
    char *command = option_command_line("sweep", argument_count, arguments);
    code = run_request(&request, command, communicator);
    free(command);
  }
  options_free(&table, &request);
  return code;
}

int command_sweep(int argument_count, char **arguments) {
  return sweep_with_communicator(argument_count, arguments, NULL);
}
