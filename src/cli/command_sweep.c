/* swashloop sweep */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "commands.h"
#include "interrupt.h"
#include "options.h"
#include "row.h"
#include "sweep.h"
#include "terminal.h"
#include "text.h"
#include "units.h"

static const struct option_row options[] = {
    {"output", 'o', "FILE", "the table; default: the name of the study with .h5, in the current folder"},
    {"jobs", 'j', "N", "threads; default: one a processor (under a launcher: one a rank)"},
    {"shard", '\0', "I/N", "only every N-th case, from case I on (0/N to N-1/N); swashloop merge joins the tables"},
    {"resume", '\0', NULL, "go on with what an earlier sweep has done, if there is anything"},
    {"dry-run", '\0', NULL, "say what would be run, how long it takes and how large it gets"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { OUTPUT, JOBS, SHARD, RESUME, DRY_RUN, QUIET, HELP, OPTION_COUNT };

enum { JOB_LIMIT = 4096 };

struct request {
  const char *study;
  const char *output;
  int jobs; /* 0: as many as there are processors */
  int64_t shard;
  int64_t shards;
  bool resume;
  bool dry_run;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs(
      "usage: swashloop sweep STUDY [-o FILE] [--jobs N] [--shard I/N] [--resume] [--dry-run] [--quiet]\n\n"
      "Runs every case of a study and writes one table (HDF5, opens as netCDF-4): a row a case, with what was\n"
      "varied, the measures, and how near each limit came. The numbers do not depend on threads, ranks, shards\n"
      "or interruptions.\n\n"
      "  swashloop sweep cases/studies/braking.yaml -o braking.h5 --jobs 2\n\n",
      stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs(
      "\nWhat is finished lies in FILE.journal until the table is whole: after Ctrl-C, a kill or a full disk\n"
      "--resume goes on. Kept time histories go to FILE.runs/case_K.h5; `swashloop run --study STUDY --case K`\n"
      "runs any row again.\n\n" CAUTION "\n",
      stdout);
}

/* ---- what is asked for ---- */

static bool read_whole(const char *text, int64_t low, int64_t high, int64_t *value) {
  size_t length = strspn(text, "0123456789");
  if (length == 0 || length > 12 || text[length] != '\0') {
    return false;
  }
  *value = strtoll(text, NULL, 10);
  return *value >= low && *value <= high;
}

static bool read_shard(const char *text, struct request *request, struct error *error) {
  char first[16] = "";
  const char *slash = strchr(text, '/');
  size_t length = slash ? (size_t)(slash - text) : sizeof first;
  if (length < sizeof first) {
    memcpy(first, text, length);
    if (read_whole(slash + 1, 1, 1000000, &request->shards) &&
        read_whole(first, 0, request->shards - 1, &request->shard)) {
      return true;
    }
  }
  return error_set(error, ERROR_USAGE, "--shard '%s': expected I/N with I from 0 to N-1, as 0/8 or 7/8",
                   text_excerpt(text).text);
}

static bool read_jobs(const char *text, struct request *request, struct error *error) {
  int64_t jobs = 0;
  if (!read_whole(text, 1, JOB_LIMIT, &jobs)) {
    return error_set(error, ERROR_USAGE, "--jobs '%s': expected a whole number from 1 to %d", text_excerpt(text).text,
                     JOB_LIMIT);
  }
  request->jobs = (int)jobs;
  return true;
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case OUTPUT:
      request->output = reader.value;
      break;
    case JOBS:
      if (!read_jobs(reader.value, request, error)) {
        return false;
      }
      break;
    case SHARD:
      if (!read_shard(reader.value, request, error)) {
        return false;
      }
      break;
    case RESUME:
      request->resume = true;
      break;
    case DRY_RUN:
      request->dry_run = true;
      break;
    case QUIET:
      request->quiet = true;
      break;
    case HELP:
      request->help = true;
      return true;
    case OPTION_WORD:
      if (request->study != NULL) {
        return error_set(error, ERROR_USAGE, "one study at a time: found '%s' behind '%s'", reader.value,
                         request->study);
      }
      request->study = reader.value;
      break;
    case OPTION_END:
      if (request->study == NULL) {
        error_set(error, ERROR_USAGE, "which study? usage: swashloop sweep STUDY -o FILE");
      }
      return request->study != NULL;
    default:
      return false;
    }
  }
}

/* "studies/braking.yaml" to "braking.h5", to be freed. */
static char *default_output(const char *study) {
  const char *slash = strrchr(study, '/');
  const char *base = slash != NULL ? slash + 1 : study;
  const char *dot = strrchr(base, '.');
  int length = dot != NULL && dot != base ? (int)(dot - base) : (int)strlen(base);
  size_t size = (size_t)length + sizeof ".h5";
  char *output = malloc(size);
  if (output != NULL) {
    (void)snprintf(output, size, "%.*s.h5", length, base);
  }
  return output;
}

static int processors(void) {
  long count = sysconf(_SC_NPROCESSORS_ONLN);
  return count >= 1 && count <= JOB_LIMIT ? (int)count : 1;
}

/* ---- times for people ---- */

static const char *show_seconds(double seconds, char *buffer, int size) {
  if (!(seconds < 3.2e9)) {
    (void)snprintf(buffer, (size_t)size, "unknown");
  } else if (seconds < 100.0) {
    (void)snprintf(buffer, (size_t)size, "%.*f s", seconds < 10.0 ? 1 : 0, seconds);
  } else if (seconds < 6000.0) {
    (void)snprintf(buffer, (size_t)size, "%.0f min", seconds / 60.0);
  } else if (seconds < 172800.0) {
    (void)snprintf(buffer, (size_t)size, "%.1f h", seconds / 3600.0);
  } else {
    (void)snprintf(buffer, (size_t)size, "%.1f days", seconds / 86400.0);
  }
  return buffer;
}

static const char *show_bytes(double bytes, char *buffer, int size) {
  static const char *const units[] = {"B", "kB", "MB", "GB", "TB"};
  int unit = 0;
  while (bytes >= 1000.0 && unit < 4) {
    bytes /= 1000.0;
    unit++;
  }
  (void)snprintf(buffer, (size_t)size, "%.*f %s", unit == 0 || bytes >= 100.0 ? 0 : 1, bytes, units[unit]);
  return buffer;
}

/* ---- dry run ---- */

static double wall_clock(void) {
  struct timespec now = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Mean time of a few cases spread over the study, up to about two seconds of trying; NaN if none runs. */
static double time_a_case(const struct plan *plan, struct error *error) {
  enum { TRIES = 16 };
  struct run_workspace *workspace = run_workspace_new(plan->base.plant, false, error);
  struct case_data own;
  struct outcome outcome = {0};
  double spent = 0.0;
  int ran = 0;
  if (workspace == NULL || !case_copy(&plan->base, &own, error)) {
    run_workspace_free(workspace);
    return NAN;
  }
  for (int i = 0; i < TRIES && spent < 2.0 && !interrupt_seen(); i++) {
    int64_t k = (int64_t)((double)plan->cases * (i + 0.5) / TRIES);
    double began = wall_clock();
    if (plan_put(plan, k, &own, error) && run_in(workspace, &own, NULL, NULL, &outcome, error)) {
      spent += wall_clock() - began;
      ran++;
    }
  }
  outcome_free(&outcome);
  case_free(&own);
  run_workspace_free(workspace);
  return ran > 0 ? spent / ran : NAN;
}

static void print_case(const struct plan *plan, const char *word, int64_t k) {
  char text[1024];
  plan_describe(plan, k, text, (int)sizeof text);
  (void)printf("  %-6s case %" PRId64 ": %s\n", word, k, text);
}

static int dry_run(const struct request *request, const struct plan *plan) {
  static const char *const words[] = {"grid", "together", "Latin hypercube", "Sobol points", "points of a table"};
  struct error error = {0};
  char text[64];
  interrupt_catch();
  int64_t cases = sweep_shard_size(plan->cases, request->shard, request->shards);
  int jobs = request->jobs > 0 ? request->jobs : processors();
  (void)printf("%s\n", plan->title);
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
  double each = time_a_case(plan, &error);
  struct row_shape shape = row_shape_of(plan);
  double row = (double)(row_bytes_limit(shape) - ROW_MESSAGE_LIMIT);
  (void)printf("  about %s", show_seconds(each * (double)cases / jobs, text, (int)sizeof text));
  (void)printf(" with %d thread%s (%.3g ms a case)", jobs, jobs == 1 ? "" : "s", 1e3 * each);
  (void)printf(", table about %s\n",
               show_bytes((double)cases * (row + 40.0 + 8.0 * plan->axis_count) + 2e5, text, (int)sizeof text));
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
                 progress->done, progress->wanted, progress->rate, show_seconds(progress->left, left, (int)sizeof left),
                 progress->failed > 0 ? ", some failed" : "");
  progress_line(context, line);
}

static void print_summary(const struct request *request, const struct plan *plan, const struct sweep_report *report,
                          int jobs) {
  char text[64];
  int64_t ran = report->done - report->before;
  (void)printf("%s\n", plan->title);
  (void)printf("  %" PRId64 " of %" PRId64 " cases done", report->done, report->wanted);
  if (report->before > 0) {
    (void)printf(", %" PRId64 " of them earlier", report->before);
  }
  (void)printf(", %" PRId64 " failed\n", report->failed);
  if (ran > 0 && report->seconds > 0.0) {
    (void)printf("  %s, %.4g cases a second, %d thread%s; %.1f %% of the processor time was integration\n",
                 show_seconds(report->seconds, text, (int)sizeof text), (double)ran / report->seconds, jobs,
                 jobs == 1 ? "" : "s", report->busy > 0.0 ? 100.0 * report->integration / report->busy : 0.0);
  }
  if (report->there) {
    (void)printf("table %s was there already\n", request->output);
  } else if (!report->stopped) {
    (void)printf("table %s\n", request->output);
  }
}

static int finish(const struct request *request, const struct plan *plan, const struct sweep_report *report, int jobs) {
  if (report->dropped_bytes > 0 && !request->quiet) {
    (void)fprintf(stderr, "the last %" PRId64 " bytes of the journal were torn; their cases were run again\n",
                  report->dropped_bytes);
  }
  if (report->stopped) {
    if (!request->quiet) {
      (void)fprintf(stderr, "interrupted: %" PRId64 " of %" PRId64 " cases are in %s.journal; --resume goes on\n",
                    report->done, report->wanted, request->output);
    }
    return EXIT_INTERRUPTED;
  }
  if (!request->quiet) {
    print_summary(request, plan, report, jobs);
  }
  return report->failed > 0 ? EXIT_CASES_FAILED : EXIT_DONE;
}

static bool same_file(const char *a, const char *b) {
  struct stat first;
  struct stat second;
  return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
         first.st_ino == second.st_ino;
}

/* Processes of a launcher that know nothing of each other would all run everything. */
static bool check_launcher(const struct crew *crew, const struct request *request, struct error *error) {
  static const char *const sizes[] = {"OMPI_COMM_WORLD_SIZE", "PMI_SIZE", "SLURM_STEP_NUM_TASKS"};
  for (size_t i = 0; crew == NULL && i < sizeof sizes / sizeof sizes[0]; i++) {
    const char *size = getenv(sizes[i]);
    if (size != NULL && strcmp(size, "1") != 0 && request->shards == 1) {
      return error_set(error, ERROR_USAGE,
                       "several of these were started together (%s is set), but this program knows no ranks: start "
                       "swashloop-mpi, or give each a --shard",
                       sizes[i]);
    }
  }
  return true;
}

static int run_sweep(const struct request *request, const struct plan *plan, const char *command,
                     const struct crew *crew) {
  struct error error = {0};
  struct sweep_report report;
  bool first = crew == NULL || crew->rank == 0;
  int jobs = request->jobs > 0 ? request->jobs : crew != NULL ? 1 : processors();
  struct progress progress = progress_start(request->quiet || !first);
  struct sweep_order order = {.plan = plan,
                              .output = request->output,
                              .command = command,
                              .jobs = jobs,
                              .shard = request->shard,
                              .shards = request->shards,
                              .resume = request->resume,
                              .crew = crew,
                              .context = &progress,
                              .stop = wants_stop,
                              .progress = show_progress};
  interrupt_catch();
  bool good = sweep_run(&order, &report, &error);
  progress_clear(&progress);
  if (!good) {
    int code = terminal_error(&error);
    if (report.done > 0 && error.code == ERROR_OUTPUT) {
      (void)fprintf(stderr, "%" PRId64 " of %" PRId64 " cases are safe in %s.journal; --resume goes on\n", report.done,
                    report.wanted, request->output);
    }
    return code;
  }
  return first ? finish(request, plan, &report, jobs * (crew != NULL ? crew->size : 1)) : EXIT_DONE;
}

static int run_request(struct request *request, const char *command, const struct crew *crew) {
  struct error error = {0};
  struct plan plan;
  bool first = crew == NULL || crew->rank == 0;
  char *output = default_output(request->study);
  int code;
  request->output = request->output != NULL ? request->output : output;
  if (output == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!check_launcher(crew, request, &error) || !plan_load(request->study, &plan, &error)) {
    code = first ? terminal_error(&error) : error_exit_status(error.code);
    sweep_absent(crew, error.text);
  } else {
    if (sweep_shard_size(plan.cases, request->shard, request->shards) == 0) {
      error_set(&error, ERROR_USAGE, "shard %" PRId64 "/%" PRId64 " is empty: the study has %" PRId64 " cases",
                request->shard, request->shards, plan.cases);
      code = terminal_error(&error);
    } else if (same_file(request->study, request->output) || same_file(plan.base.source, request->output)) {
      error_set(&error, ERROR_USAGE, "the table %s would overwrite the study or its case", request->output);
      code = terminal_error(&error);
    } else if (request->dry_run) {
      code = first ? dry_run(request, &plan) : EXIT_DONE;
    } else {
      code = run_sweep(request, &plan, command, crew);
    }
    plan_free(&plan);
  }
  free(output);
  units_close();
  return code;
}

int sweep_with_crew(int argument_count, char **arguments, const struct crew *crew) {
  struct request request = {.shards = 1};
  struct error error = {0};
  if (!read_request(argument_count, arguments, &request, &error)) {
    return crew == NULL || crew->rank == 0 ? terminal_error(&error) : error_exit_status(error.code);
  }
  if (request.help) {
    if (crew == NULL || crew->rank == 0) {
      print_help();
    }
    return EXIT_DONE;
  }
  char *command = option_command_line("swashloop sweep", argument_count, arguments);
  int code = run_request(&request, command, crew);
  free(command);
  return code;
}

int command_sweep(int argument_count, char **arguments) {
  return sweep_with_crew(argument_count, arguments, NULL);
}
