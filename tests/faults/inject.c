/* Makes one call for memory, or one of the file system, fail: preloaded before a program (LD_PRELOAD).
 *
 *   FAULT_KIND    allocation, open, read, write, close, or none
 *   FAULT_AT      the how-manieth call of that kind since main began fails, over all threads and child processes
 *   FAULT_LASTS   set: all later ones fail as well, as on a full disk
 *   FAULT_REPORT  a file for what was found: "calls N", the number of calls of that kind, and "failed FUNCTION ADDRESS
 *                 ..." with the places in the program that led there (in front of its load address)
 *
 * What is counted are the functions that the program and its libraries import; tests/faults/scan.py looks whether the
 * program imports any that is not here. */

#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <link.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum kind { ALLOCATION, OPEN, READ, WRITE, CLOSE, KINDS };
static const char *const kind_names[KINDS] = {"allocation", "open", "read", "write", "close"};

/* One for the program and all its children: a reader in a process of its own counts on. */
struct shared {
  _Atomic long calls;
  _Atomic int told;
};

static struct shared *shared;
static enum kind kind = KINDS;
static long fails_at;
static bool lasts;
static bool counting;
static const char *report_path;
static uintptr_t program_base;
static _Thread_local bool inside; /* what the report itself calls does not count */

/* --- The functions behind
 * --------------------------------------------------------------------------------------------*/
extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *old, size_t size);
extern void *__libc_memalign(size_t alignment, size_t size);

static void *behind(const char *name) {
  void *found = dlsym(RTLD_NEXT, name);
  if (!found) {
    abort();
  }
  return found;
}
#define BEHIND(name, ...)                                                                                              \
  static __typeof__(&name) next;                                                                                       \
  if (!next) {                                                                                                         \
    next = (__typeof__(&name))behind(#name);                                                                           \
  }

/* --- Counting and failing
 * --------------------------------------------------------------------------------------------*/
static void append(const char *text, size_t size) {
  static ssize_t (*next)(int, const void *, size_t);
  static int (*next_open)(const char *, int, ...);
  next = next ? next : (ssize_t(*)(int, const void *, size_t))behind("write");
  next_open = next_open ? next_open : (int (*)(const char *, int, ...))behind("open");
  int file = report_path ? next_open(report_path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600) : -1;
  if (file >= 0) {
    ssize_t ignored = next(file, text, size);
    (void)ignored;
    static int (*next_close)(int);
    next_close = next_close ? next_close : (int (*)(int))behind("close");
    (void)next_close(file);
  }
}

static void tell(const char *function) {
  void *frames[40];
  char text[1024];
  int count = backtrace(frames, 40);
  int at = snprintf(text, sizeof text, "failed %s", function);
  for (int i = 2; i < count && at > 0 && at < 960; i++) {
    at += snprintf(text + at, sizeof text - (size_t)at, " %lx", (unsigned long)((uintptr_t)frames[i] - program_base));
  }
  text[at++] = '\n';
  append(text, (size_t)at);
}

static bool fails(enum kind asked, const char *function) {
  if (!counting || asked != kind || inside) {
    return false;
  }
  long number = ++shared->calls;
  if (fails_at == 0 || (lasts ? number < fails_at : number != fails_at)) {
    return false;
  }
  inside = true;
  if (shared->told++ == 0) {
    tell(function);
  }
  inside = false;
  errno = asked == ALLOCATION ? ENOMEM : asked == WRITE ? ENOSPC : EIO;
  return true;
}

static void at_end(void) {
  char text[64];
  inside = true;
  int size = snprintf(text, sizeof text, "calls %ld\n", (long)shared->calls);
  append(text, (size_t)size);
}

static int note_base(struct dl_phdr_info *object, size_t size, void *unused) {
  (void)size;
  (void)unused;
  program_base = object->dlpi_addr; /* the program is the first */
  return 1;
}

static void begin(void) {
  void *frame[2];
  const char *name = getenv("FAULT_KIND");
  const char *at = getenv("FAULT_AT");
  for (int k = 0; k < KINDS; k++) {
    kind = name && strcmp(name, kind_names[k]) == 0 ? (enum kind)k : kind;
  }
  fails_at = at ? strtol(at, NULL, 10) : 0;
  lasts = getenv("FAULT_LASTS") != NULL;
  report_path = getenv("FAULT_REPORT");
  shared = mmap(NULL, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
  if (shared == MAP_FAILED) {
    abort();
  }
  (void)dl_iterate_phdr(note_base, NULL);
  (void)backtrace(frame, 2); /* it loads its library the first time */
  (void)atexit(at_end);
  counting = true;
}

static int (*main_of_program)(int count, char **words, char **environment);

/* What libraries linked into the program do before main (Fortran's opens its units) is not counted. */
static int counted_main(int count, char **words, char **environment) {
  begin();
  return main_of_program(count, words, environment);
}

int __libc_start_main(int (*program)(int, char **, char **), int count, char **words,
                      int (*first)(int, char **, char **), void (*last)(void), void (*loader)(void), void *stack);
int __libc_start_main(int (*program)(int, char **, char **), int count, char **words,
                      int (*first)(int, char **, char **), void (*last)(void), void (*loader)(void), void *stack) {
  BEHIND(__libc_start_main)
  main_of_program = program;
  return next(counted_main, count, words, first, last, loader, stack);
}

#define CALL(result, name, kind, failure, declared, given)                                                             \
  result name declared {                                                                                               \
    BEHIND(name)                                                                                                       \
    return fails(kind, #name) ? (failure) : next given;                                                                \
  }

/* --- Memory
 * ----------------------------------------------------------------------------------------------------------*/
void *malloc(size_t size) {
  return fails(ALLOCATION, "malloc") ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size) {
  return fails(ALLOCATION, "calloc") ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size) {
  return fails(ALLOCATION, "realloc") ? NULL : __libc_realloc(old, size);
}

void *aligned_alloc(size_t alignment, size_t size) {
  return fails(ALLOCATION, "aligned_alloc") ? NULL : __libc_memalign(alignment, size);
}

int posix_memalign(void **place, size_t alignment, size_t size) {
  if (fails(ALLOCATION, "posix_memalign")) {
    return ENOMEM;
  }
  void *made = __libc_memalign(alignment, size);
  *place = made ? made : *place;
  return made ? 0 : ENOMEM;
}

CALL(void *, mmap, ALLOCATION, MAP_FAILED, (void *where, size_t size, int access, int flags, int file, off_t at),
     (where, size, access, flags, file, at))

/* --- Files
 * -----------------------------------------------------------------------------------------------------------*/
static mode_t mode_of(int flags, va_list rest) {
  return (flags & (O_CREAT | O_TMPFILE)) != 0 ? (mode_t)va_arg(rest, unsigned) : 0;
}

#define OPENER(name)                                                                                                   \
  int name(const char *path, int flags, ...) {                                                                         \
    BEHIND(name)                                                                                                       \
    va_list rest;                                                                                                      \
    va_start(rest, flags);                                                                                             \
    mode_t mode = mode_of(flags, rest);                                                                                \
    va_end(rest);                                                                                                      \
    return fails(OPEN, #name) ? -1 : next(path, flags, mode);                                                          \
  }
OPENER(open)
OPENER(open64)

#define OPENER_AT(name)                                                                                                \
  int name(int folder, const char *path, int flags, ...) {                                                             \
    BEHIND(name)                                                                                                       \
    va_list rest;                                                                                                      \
    va_start(rest, flags);                                                                                             \
    mode_t mode = mode_of(flags, rest);                                                                                \
    va_end(rest);                                                                                                      \
    return fails(OPEN, #name) ? -1 : next(folder, path, flags, mode);                                                  \
  }
OPENER_AT(openat)
OPENER_AT(openat64)

#define STREAM_OPENER(name)                                                                                            \
  FILE *name(const char *path, const char *mode) {                                                                     \
    BEHIND(name)                                                                                                       \
    return fails(OPEN, #name) ? NULL : next(path, mode);                                                               \
  }
STREAM_OPENER(fopen)
STREAM_OPENER(fopen64)

FILE *fdopen(int file, const char *mode) {
  BEHIND(fdopen)
  return fails(OPEN, "fdopen") ? NULL : next(file, mode);
}

CALL(ssize_t, read, READ, -1, (int file, void *to, size_t size), (file, to, size))
CALL(ssize_t, pread, READ, -1, (int file, void *to, size_t size, off_t at), (file, to, size, at))
CALL(ssize_t, pread64, READ, -1, (int file, void *to, size_t size, off64_t at), (file, to, size, at))
CALL(ssize_t, write, WRITE, -1, (int file, const void *from, size_t size), (file, from, size))
CALL(ssize_t, writev, WRITE, -1, (int file, const struct iovec *from, int count), (file, from, count))
CALL(ssize_t, pwrite, WRITE, -1, (int file, const void *from, size_t size, off_t at), (file, from, size, at))
CALL(ssize_t, pwrite64, WRITE, -1, (int file, const void *from, size_t size, off64_t at), (file, from, size, at))
CALL(int, ftruncate, WRITE, -1, (int file, off_t size), (file, size))
CALL(int, ftruncate64, WRITE, -1, (int file, off64_t size), (file, size))
CALL(int, fsync, WRITE, -1, (int file), (file))
CALL(int, fdatasync, WRITE, -1, (int file), (file))
CALL(int, rename, WRITE, -1, (const char *from, const char *to), (from, to))
CALL(int, renameat, WRITE, -1, (int a, const char *from, int b, const char *to), (a, from, b, to))
CALL(int, link, WRITE, -1, (const char *from, const char *to), (from, to))
CALL(int, mkdir, WRITE, -1, (const char *path, mode_t mode), (path, mode))

/* The streams of the C library call the kernel past us: a stream fails where it is used, and remembers it (the next
 * flush reports it, too). */
static void spoil(FILE *stream) {
  stream->_flags |= 0x20; /* what ferror() looks at in the GNU C library */
}

size_t fread(void *to, size_t size, size_t count, FILE *stream) {
  BEHIND(fread)
  if (fails(READ, "fread")) {
    spoil(stream);
    return 0;
  }
  return next(to, size, count, stream);
}

size_t __fread_chk(void *to, size_t room, size_t size, size_t count, FILE *stream);
size_t __fread_chk(void *to, size_t room, size_t size, size_t count, FILE *stream) {
  if (size > 0 && count > room / size) {
    abort();
  }
  return fread(to, size, count, stream);
}

size_t fwrite(const void *from, size_t size, size_t count, FILE *stream) {
  BEHIND(fwrite)
  if (stream != stderr && fails(WRITE, "fwrite")) {
    spoil(stream);
    return 0;
  }
  return next(from, size, count, stream);
}

int fflush(FILE *stream) {
  BEHIND(fflush)
  if (stream && stream != stderr && fails(WRITE, "fflush")) {
    spoil(stream);
    return EOF;
  }
  return next(stream);
}

int fclose(FILE *stream) {
  BEHIND(fclose)
  if (stream != stderr && fails(CLOSE, "fclose")) {
    int why = errno;
    (void)next(stream);
    errno = why;
    return EOF;
  }
  return next(stream);
}

int close(int file) {
  BEHIND(close)
  if (fails(CLOSE, "close")) {
    int why = errno;
    (void)next(file);
    errno = why;
    return -1;
  }
  return next(file);
}
