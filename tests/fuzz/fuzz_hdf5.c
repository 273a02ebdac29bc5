/* Run files and tables in which any bytes are changed, sealed anew so that no checksum keeps them from the readers:
 * they are refused with a reason, or what is made of them is whole.
 *
 * The input's first byte chooses the reader; a list of changes to a good file follows, four bytes each: where (three
 * bytes) and what is put there. Where 0xff stands first the file is cut at the place that follows, in a share of its
 * length.
 *
 * Each input is read in a process of its own, as the commands do it (guarded.h). There the file library may give up on
 * bytes that are no HDF5: crash, or come to no end. What is looked for is that our own code does. So libFuzzer, which
 * learns nothing from another process, only draws the inputs here. */
#define _GNU_SOURCE /* dladdr */

#include "fuzz.h"

#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "comparison.h"
#include "memory_watch.h"
#include "result_file.h"
#include "run_page.h"
#include "seal.h"
#include "sweep.h"
#include "table.h"
#include "table_page.h"

enum { CHANGE_BYTES = 4, FILE_LIMIT = 4 << 20, SECONDS = 20, GAVE_UP = 40, ENDED_BY_LIBRARY = 255 };

struct file {
  unsigned char *bytes;
  size_t size;
};

/* How a child ended; the fuzzer's own clock may interrupt the waiting. */
static int end_of(pid_t child) {
  int status = 0;
  pid_t ended;
  do {
    ended = waitpid(child, &status, 0);
  } while (ended < 0 && errno == EINTR);
  check(child > 0 && ended == child);
  return status;
}

/* ---- good files, made once ---- */

static const char study[] = "title: Small study\n"
                            "case: " SWASHLOOP_SOURCE "/cases/baseline/relief_step.yaml\n"
                            "set: {simulation.end_time: 0.02 s}\n"
                            "vary:\n"
                            "  - {path: relief.setting, from: 250 bar, to: 450 bar, count: 3}\n";

static bool make_run(void) {
  static const char *const sets[] = {"simulation.output_step=1 ms"};
  struct case_data data;
  struct outcome outcome;
  struct error error = {0};
  struct result_file *file = NULL;
  memset(&outcome, 0, sizeof outcome);
  if (!case_load(SWASHLOOP_SOURCE "/cases/valve/step.yaml", sets, 1, &data, &error)) {
    return false;
  }
  file = result_file_open("run.h5", &data, "run", &error);
  struct recorder recorder = {file, result_file_block};
  return file != NULL && run_case(&data, &recorder, NULL, &outcome, &error) &&
         result_file_close(file, &data, &outcome, DRAFT_NAME, &error);
}

static bool make_shard(const char *output, int64_t shard) {
  struct plan plan;
  struct error error = {0};
  struct sweep_report report;
  if (!plan_load("study.yaml", NULL, &plan, &error)) {
    return false;
  }
  struct sweep_order order = {
      .plan = &plan, .output = output, .command = "sweep", .jobs = 1, .shard = shard, .shards = 2};
  return sweep_run(&order, &report, &error) && report.failed == 0;
}

static bool make_files(void) {
  FILE *file = fopen("study.yaml", "w");
  return file != NULL && fputs(study, file) >= 0 && fclose(file) == 0 && make_run() && make_shard("first.h5", 0) &&
         make_shard("second.h5", 1);
}

/* Where all files of this program lie; the children work there. */
static char folder[] = "/tmp/swashloop-fuzz-XXXXXX";

static int open_there(const char *name, int flags) {
  int there = open(folder, O_RDONLY | O_DIRECTORY);
  int descriptor = openat(there, name, flags, 0600);
  check(there >= 0 && descriptor >= 0 && close(there) == 0);
  return descriptor;
}

static struct file read_file(const char *name) {
  struct file file = {malloc(FILE_LIMIT), 0};
  FILE *in = fdopen(open_there(name, O_RDONLY), "rb");
  check(file.bytes && in);
  file.size = fread(file.bytes, 1, FILE_LIMIT, in);
  check(file.size > 1000 && file.size < FILE_LIMIT && fclose(in) == 0);
  return file;
}

static void remove_folder(void) {
  static const char *const names[] = {"study.yaml", "run.h5",    "first.h5",      "second.h5",
                                      "changed.h5", "merged.h5", "merged.h5.part"};
  int there = open(folder, O_RDONLY | O_DIRECTORY);
  for (size_t i = 0; there >= 0 && i < sizeof names / sizeof names[0]; i++) {
    (void)unlinkat(there, names[i], 0);
  }
  (void)close(there);
  (void)rmdir(folder);
}

/* The parent never calls the file library: each child begins with it as new. */
static void make_good(struct file *run, struct file *table) {
  check(mkdtemp(folder) != NULL);
  pid_t child = fork();
  if (child == 0) {
    _exit(chdir(folder) == 0 && make_files() ? 0 : 1);
  }
  check(end_of(child) == 0);
  *run = read_file("run.h5");
  *table = read_file("first.h5");
  check(atexit(remove_folder) == 0);
}

/* ---- changes ---- */

static size_t change(unsigned char *file, size_t length, const uint8_t *bytes, size_t size) {
  for (size_t i = 0; i + CHANGE_BYTES <= size; i += CHANGE_BYTES) {
    size_t place = (size_t)bytes[i] << 16 | (size_t)bytes[i + 1] << 8 | bytes[i + 2];
    if (bytes[i] == 0xff) {
      length = length * bytes[i + 1] / 256;
    } else if (length > 0) {
      file[place % length] = bytes[i + 3];
    }
  }
  return length;
}

/* The changed file, with a seal that fits. */
static void write_changed(const struct file *good, const uint8_t *bytes, size_t size) {
  unsigned char *file = malloc(good->size);
  int descriptor = open_there("changed.h5", O_RDWR | O_CREAT | O_TRUNC);
  check(file != NULL);
  memcpy(file, good->bytes, good->size);
  size_t length = change(file, good->size - 64, bytes, size); /* what stands before the seal */
  check(write(descriptor, file, length) == (ssize_t)length && seal_put(descriptor) && close(descriptor) == 0);
  free(file);
}

/* ---- readers: each ends with a reason or with something whole ---- */

static void check_refused(const struct error *error) {
  check(error->code == ERROR_INPUT || error->code == ERROR_USAGE || error->code == ERROR_RUN ||
        error->code == ERROR_MEMORY);
  check(error->text[0] != '\0');
  for (const char *letter = error->text; *letter; letter++) {
    check((unsigned char)*letter >= 0x20 && *letter != 0x7f);
  }
}

/* What goes onto a page ends as it should, and carries no byte that JSON or HTML forbids. */
static void check_page(const char *text, size_t size) {
  static const char end[] = "</script>\n";
  check(size >= sizeof end - 1 && memcmp(text + size - (sizeof end - 1), end, sizeof end - 1) == 0);
  for (size_t i = 0; i < size; i++) {
    check((unsigned char)text[i] >= 0x20 || text[i] == '\n');
  }
}

static void read_page(bool of_table) {
  struct error error = {0};
  char *text = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&text, &size);
  check(out);
  bool good =
      of_table ? table_page_write(out, "changed.h5", &error) : run_page_write(out, 0, "changed.h5", 5000, &error);
  check(fclose(out) == 0);
  if (good) {
    check_page(text, size);
  } else {
    check_refused(&error);
  }
  free(text);
}

static void read_for_page_of_run(void) {
  read_page(false);
}

static void read_for_page_of_table(void) {
  (void)table_page_fits("changed.h5");
  read_page(true);
}

static void read_for_comparison(void) {
  struct comparison *found = calloc(1, sizeof *found);
  struct error error = {0};
  check(found);
  if (comparison_find("changed.h5", SWASHLOOP_SOURCE "/cases/valve/bench.csv",
                      SWASHLOOP_SOURCE "/cases/valve/bench.yaml", found, &error)) {
    check(found->run_count >= 2 && found->mapping.count >= 1 && isfinite(found->shift));
    for (int i = 0; i < found->mapping.count; i++) {
      /* Bands are judged by numbers or not at all. */
      const struct compared *compared = &found->compared[i];
      check(compared->verdict != VERDICT_KEPT || isfinite(compared->deviation.largest));
    }
  } else {
    check_refused(&error);
  }
  comparison_free(found);
  free(found);
}

/* Any run file as a trace: numbers at rising times, and nothing infinite. */
static void read_for_trace(void) {
  static const char map[] = "signals:\n  - {signal: line_a_pressure, column: line_a_pressure}\n"
                            "  - {signal: relief_a_flow, column: relief_a_flow}\n";
  struct mapping *mapping = calloc(1, sizeof *mapping);
  struct measured *measured = calloc(1, sizeof *measured);
  struct error error = {0};
  check(mapping && measured && mapping_read_text("map", map, sizeof map - 1, mapping, &error));
  if (measured_read(mapping, "changed.h5", measured, &error)) {
    check(measured->count >= 2);
    for (int k = 0; k < measured->count; k++) {
      check(isfinite(measured->time[k]) && (k == 0 || measured->time[k] > measured->time[k - 1]));
      check(!isinf(measured->values[0][k]) && !isinf(measured->values[1][k]));
    }
    measured_free(measured);
  } else {
    check_refused(&error);
  }
  free(measured);
  free(mapping);
}

static void read_for_merge(void) {
  const char *const parts[] = {"changed.h5", "second.h5"};
  struct merge_report report = {0};
  struct table_facts facts;
  struct error error = {0};
  (void)unlink("merged.h5");
  if (table_merge("merged.h5", parts, 2, "merge", &report, &error)) {
    check(report.cases == 3 && report.failed >= 0 && report.failed <= report.cases);
    check(table_facts("merged.h5", &facts, &error) && facts.failed == report.failed);
  } else {
    check_refused(&error);
    struct stat status;
    check(stat("merged.h5", &status) != 0 && stat("merged.h5.part", &status) != 0);
  }
}

static void read_facts(void) {
  struct table_facts facts;
  struct error error = {0};
  if (!table_facts("changed.h5", &facts, &error)) {
    check_refused(&error);
  }
}

static const struct {
  void (*read)(void);
  bool of_table;
} readers[] = {{read_for_page_of_run, false},
               {read_for_page_of_table, true},
               {read_for_comparison, false},
               {read_for_merge, true},
               {read_facts, true},
               {read_for_trace, false}};

enum { READERS = (int)(sizeof readers / sizeof readers[0]) };

/* ---- whose fault is it? ---- */

/* What these call is not made for signal handlers; a child that is lost anyhow loses nothing more by it. */
/* NOLINTBEGIN(bugprone-signal-handler) */
static bool is_in_program(void *place, Dl_info *found) {
  Dl_info own;
  return dladdr(__extension__(void *) is_in_program, &own) != 0 && dladdr(place, found) != 0 &&
         found->dli_fbase == own.dli_fbase;
}

/* Not one by which a sanitizer stands before the C library, or works itself. */
static bool is_own_function(const Dl_info *found) {
  return found->dli_sname != NULL && found->dli_sname[0] != '_' && dlsym(RTLD_NEXT, found->dli_sname) == NULL;
}

/* The innermost function of this program on the stack is the file library's: it gave up. */
static void judge(int number) {
  void *frames[64];
  Dl_info found = {0};
  int count = backtrace(frames, 64);
  int at = 0;
  while (at < count && is_in_program(frames[at], &found)) {
    at++; /* this handler, up to where the system called it */
  }
  while (at < count && !(is_in_program(frames[at], &found) && is_own_function(&found))) {
    at++;
  }
  if (at < count && strncmp(found.dli_sname, "H5", 2) == 0) {
    _exit(GAVE_UP);
  }
  backtrace_symbols_fd(frames, count, STDERR_FILENO);
  (void)signal(number, SIG_DFL);
  (void)raise(number);
}
/* NOLINTEND(bugprone-signal-handler) */

/* The sanitizer leaves these signals to us; what the library keeps after a failure is no leak of ours. */
const char *__asan_default_options(void);
const char *__asan_default_options(void) {
  return "handle_segv=0:handle_sigbus=0:handle_sigfpe=0:handle_abort=0:abort_on_error=1:detect_leaks=0:allocator_may_"
         "return_null=1:"
         "max_allocation_size_mb=4096";
}

static void read_apart(int reader) {
  static const int signals[] = {SIGSEGV, SIGBUS, SIGFPE, SIGABRT, SIGXCPU};
  struct rlimit time = {SECONDS, SECONDS + 5};
  void *frame[1];
  (void)backtrace(frame, 1); /* it loads its library the first time */
  for (size_t i = 0; i < sizeof signals / sizeof signals[0]; i++) {
    (void)signal(signals[i], judge);
  }
  (void)setrlimit(RLIMIT_CPU, &time);
  if (MEMORY_IS_PLAIN) {
    struct rlimit memory = {(rlim_t)4 << 30, (rlim_t)4 << 30};
    (void)setrlimit(RLIMIT_AS, &memory);
  }
  check(chdir(folder) == 0);
  readers[reader].read();
  _exit(0);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  static struct file run;
  static struct file table;
  if (run.bytes == NULL) {
    make_good(&run, &table);
  }
  if (size == 0) {
    return 0;
  }
  int reader = bytes[0] % READERS;
  write_changed(readers[reader].of_table ? &table : &run, bytes + 1, size - 1);
  pid_t child = fork();
  if (child == 0) {
    read_apart(reader);
  }
  int status = end_of(child);
  bool good = WIFEXITED(status) &&
              (WEXITSTATUS(status) == 0 || WEXITSTATUS(status) == GAVE_UP || WEXITSTATUS(status) == ENDED_BY_LIBRARY);
  if (!good) {
    (void)fprintf(stderr, "reader %d ended with %s %d\n", reader, WIFSIGNALED(status) ? "signal" : "code",
                  WIFSIGNALED(status) ? WTERMSIG(status) : WEXITSTATUS(status));
  }
  check(good);
  return 0;
}
