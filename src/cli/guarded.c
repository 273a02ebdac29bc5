#include "guarded.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "commands.h"
#include "draft.h"
#include "interrupt.h"
#include "memory_watch.h"
#include "terminal.h"

/* Far beyond what honest files of their size take. */
enum { SECONDS = 120, BYTES_A_SECOND = 1000000, BYTES_FOR_A_BYTE = 16 };
#define BYTES_LEAST ((rlim_t)4 << 30)

static rlim_t bytes_of(const char *const *files, int count) {
  rlim_t sum = 0;
  struct stat status;
  for (int i = 0; i < count; i++) {
    sum += stat(files[i], &status) == 0 && status.st_size > 0 ? (rlim_t)status.st_size : 0;
  }
  return sum;
}

static void bound(int what, rlim_t most) {
  struct rlimit limit;
  if (getrlimit(what, &limit) == 0 && (limit.rlim_cur == RLIM_INFINITY || limit.rlim_cur > most)) {
    limit.rlim_cur = most;
    (void)setrlimit(what, &limit);
  }
}

static void work_apart(int (*work)(void *context), void *context, const struct guard *guard, pid_t parent) {
  (void)prctl(PR_SET_PDEATHSIG, SIGKILL);
  if (getppid() != parent) {
    _exit(EXIT_FAILURE); /* it was killed before that was said: nobody waits for this work any more */
  }
  interrupt_release();
  if (guard->bounded) {
    rlim_t bytes = bytes_of(guard->files, guard->file_count);
    bound(RLIMIT_CORE, 0);
    bound(RLIMIT_CPU, SECONDS + bytes / BYTES_A_SECOND);
    if (MEMORY_IS_PLAIN) {
      bound(RLIMIT_AS, BYTES_LEAST + BYTES_FOR_A_BYTE * bytes);
      memory_watch_bound((size_t)(BYTES_LEAST + BYTES_FOR_A_BYTE * bytes));
    }
  }
  int code = terminal_finish(work(context));
  (void)fflush(stderr);
  if (guard->bounded) {
    _exit(code);
  }
  exit(code);
}

/* Wait until the process has ended; a wish to stop is handed on to it. */
static bool wait_for(pid_t child, int pipe_end, int *status) {
  struct pollfd closed = {.fd = pipe_end, .events = POLLIN};
  for (;;) {
    pid_t ended = waitpid(child, status, WNOHANG);
    if (ended == child || (ended < 0 && errno != EINTR)) {
      return ended == child;
    }
    if (interrupt_seen()) {
      (void)kill(child, SIGTERM);
    }
    (void)poll(&closed, 1, 100); /* the end of the process closes its end of the pipe */
    if (closed.revents != 0) {
      return waitpid(child, status, 0) == child;
    }
  }
}

static int tell_death(int status, const struct guard *guard) {
  struct error error = {0};
  int signal_number = WIFSIGNALED(status) ? WTERMSIG(status) : 0;
  const char *others = guard->file_count > 1 ? " or one of the other files" : "";
  if (!memory_suffices(&error)) {
    return terminal_error(&error);
  }
  if (signal_number == SIGKILL || signal_number == SIGTERM || signal_number == SIGHUP) {
    error_set(&error, ERROR_RUN, "the process that did the work was killed (by the system, if memory was out)");
  } else if (guard->bounded && signal_number != 0) {
    error_set(&error, ERROR_INPUT, "%s%s cannot be read: damaged so badly that the file library %s", guard->files[0],
              others, signal_number == SIGXCPU ? "came to no end" : "gave up");
  } else {
    error_set(&error, ERROR_MEMORY, "a library ended the work (%s), most likely for want of memory",
              signal_number != 0 ? strsignal(signal_number) : "of its own accord");
  }
  return terminal_error(&error);
}

/* What a library gives when it ends the process by itself; no command ends so. */
enum { ENDED_BY_LIBRARY = 255 };

int guarded_run(int (*work)(void *context), void *context, const struct guard *guard) {
  int ends[2] = {-1, -1};
  int status = 0;
  (void)fflush(stdout);
  (void)fflush(stderr);
  if (!memory_watch_share() || !draft_share()) {
    struct error error = {0};
    error_set(&error, ERROR_MEMORY, "no memory for a process to work in");
    return terminal_error(&error);
  }
  interrupt_catch();
  pid_t parent = getpid();
  pid_t child = pipe(ends) == 0 ? fork() : -1;
  if (child == 0) {
    (void)close(ends[0]);
    work_apart(work, context, guard, parent);
  }
  bool good = child > 0;
  if (ends[1] >= 0) {
    (void)close(ends[1]);
  }
  good = good && wait_for(child, ends[0], &status);
  int kept = errno;
  if (ends[0] >= 0) {
    (void)close(ends[0]);
  }
  if (!good) {
    struct error error = {0};
    error_set(&error, ERROR_RUN, "no process to work in: %s", strerror(kept));
    return terminal_error(&error);
  }
  if (WIFEXITED(status) && WEXITSTATUS(status) != ENDED_BY_LIBRARY) {
    return WEXITSTATUS(status);
  }
  draft_clear_shared();
  if (interrupt_seen()) {
    (void)fputs("interrupted; nothing was written\n", stderr);
    return EXIT_INTERRUPTED;
  }
  if (WIFSIGNALED(status) && WTERMSIG(status) == SIGPIPE) {
    /* Whoever read what is printed has gone (`| head`): no fault to tell of, and the end that he would see of any tool.
     */
    (void)signal(SIGPIPE, SIG_DFL);
    (void)raise(SIGPIPE);
  }
  return tell_death(status, guard);
}
