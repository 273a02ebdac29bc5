#include "journal.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "draft.h"
#include "draw.h"

static const char magic[16] = "swashloop-row2\n";
#define BLOCK_MARK UINT32_C(0x6b636f62) /* "bock" when read byte by byte on the usual machines */

/* As it lies in the file; its number order is that of the machine, which `magic` and `mark` tell. */
struct stored_head {
  char magic[16];
  struct journal_head head;
  uint64_t checksum;
};

struct stored_block {
  uint32_t mark;
  uint32_t bytes;
  int64_t first;
  int64_t count;       /* 0: rows were here, but are damaged; `bytes` are to be passed over */
  int64_t rows_before; /* in the journal when this was appended: tells how many a damaged place held */
  uint64_t checksum;   /* of the numbers above and the payload, begun with the head's */
};

static bool out_of_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the journal");
}

static bool failed(const struct journal *journal, const char *doing, struct error *error) {
  return error_set(error, ERROR_OUTPUT, "%s could not be %s: %s", journal->path, doing, strerror(errno));
}

static uint64_t block_checksum(uint64_t seed, const struct stored_block *block, const void *payload) {
  uint64_t hash = draw_hash(seed, &block->mark, sizeof block->mark);
  hash = draw_hash(hash, &block->bytes, sizeof block->bytes);
  hash = draw_hash(hash, &block->first, sizeof block->first);
  hash = draw_hash(hash, &block->count, sizeof block->count);
  hash = draw_hash(hash, &block->rows_before, sizeof block->rows_before);
  return draw_hash(hash, payload, block->bytes);
}

uint64_t journal_arithmetic(void) {
  uint64_t hash = DRAW_HASH_START;
  for (int i = 1; i <= 200; i++) {
    /* volatile: asked of the library here and now, not of the compiler. */
    volatile double x = 0.0137 * i;
    const double bits[] = {exp(x), exp(-x), log(x), pow(x, 1.4), pow(x, 0.714), sin(x), cos(x), tanh(x), atan(x)};
    hash = draw_hash(hash, bits, sizeof bits);
  }
  return hash;
}

/* ---- bytes ---- */

static bool write_all(int descriptor, const void *bytes, size_t size, int64_t offset) {
  const unsigned char *at = bytes;
  while (size > 0) {
    ssize_t wrote = pwrite(descriptor, at, size, (off_t)offset);
    if (wrote < 0 && errno == EINTR) {
      continue;
    }
    if (wrote <= 0) {
      errno = wrote == 0 ? ENOSPC : errno;
      return false;
    }
    at += wrote;
    offset += wrote;
    size -= (size_t)wrote;
  }
  return true;
}

static bool read_all(int descriptor, void *bytes, size_t size, int64_t offset) {
  unsigned char *at = bytes;
  while (size > 0) {
    ssize_t got = pread(descriptor, at, size, (off_t)offset);
    if (got < 0 && errno == EINTR) {
      continue;
    }
    if (got <= 0) {
      errno = got == 0 ? EIO : errno;
      return false;
    }
    at += got;
    offset += got;
    size -= (size_t)got;
  }
  return true;
}

/* ---- opening ---- */

static bool begin(struct journal *journal, const char *path, int flags, struct error *error) {
  *journal = (struct journal){.descriptor = -1, .path = strdup(path)};
  if (!journal->path) {
    return out_of_memory(error);
  }
  journal->descriptor = open(path, flags | O_RDWR | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (journal->descriptor < 0) {
    return failed(journal, flags & O_CREAT ? "created" : "opened", error);
  }
  if (!draft_lock(journal->descriptor)) {
    return error_set(error, ERROR_OUTPUT, "%s is being written by another sweep", path);
  }
  return true;
}

static struct stored_head stored_head_of(const struct journal_head *head) {
  struct stored_head stored;
  memset(&stored, 0, sizeof stored);
  memcpy(stored.magic, magic, sizeof magic);
  stored.head = *head;
  stored.checksum = draw_hash(DRAW_HASH_START, &stored, offsetof(struct stored_head, checksum));
  return stored;
}

/* A head that a killed sweep was about to write is cleared away; anything else under its name stays. */
static void clear_unborn(const char *fresh) {
  char start[sizeof magic] = "";
  int descriptor = open(fresh, O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) {
    return;
  }
  bool busy = flock(descriptor, LOCK_EX | LOCK_NB) != 0;
  ssize_t got = pread(descriptor, start, sizeof start, 0);
  if (!busy && (got == 0 || (got > 0 && memcmp(start, magic, (size_t)got) == 0))) {
    (void)unlink(fresh);
  }
  (void)close(descriptor);
}

/* Under another name until its head is whole, so that a kill leaves no journal without one. */
bool journal_create(struct journal *journal, const char *path, const struct journal_head *head, struct error *error) {
  char fresh[4096];
  if (snprintf(fresh, sizeof fresh, "%s.new", path) >= (int)sizeof fresh) {
    *journal = (struct journal){.descriptor = -1};
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", path);
  }
  clear_unborn(fresh);
  if (!begin(journal, fresh, O_CREAT | O_EXCL, error)) {
    journal_close(journal);
    return false;
  }
  struct stored_head stored = stored_head_of(head);
  journal->seed = stored.checksum;
  journal->length = (int64_t)sizeof stored;
  bool good = write_all(journal->descriptor, &stored, sizeof stored, 0) && fsync(journal->descriptor) == 0 &&
              rename(fresh, path) == 0;
  if (!good) {
    failed(journal, "written", error);
    (void)unlink(fresh);
    journal_close(journal);
    return false;
  }
  journal->path[strlen(path)] = '\0';
  return true;
}

static bool note_block(struct journal *journal, const struct stored_block *stored, int64_t offset,
                       struct error *error) {
  if (journal->block_count == journal->block_room) {
    int64_t room = journal->block_room > 0 ? 2 * journal->block_room : 256;
    struct journal_block *blocks = realloc(journal->blocks, (size_t)room * sizeof *blocks);
    if (!blocks) {
      return out_of_memory(error);
    }
    journal->blocks = blocks;
    journal->block_room = room;
  }
  journal->blocks[journal->block_count++] = (struct journal_block){.first = stored->first,
                                                                   .count = stored->count,
                                                                   .offset = offset,
                                                                   .bytes = stored->bytes,
                                                                   .rows_before = stored->rows_before,
                                                                   .checksum = stored->checksum};
  journal->rows += stored->count;
  return true;
}

/* Reading through an old journal. */
struct scan {
  struct journal *journal;
  int64_t size;
  unsigned char *buffer;
  size_t room;
  bool good; /* false: memory is out */
  struct error *error;
};

/* A failed read is no damage: what cannot be read now must not be dropped. */
static bool scan_read(struct scan *scan, void *bytes, size_t size, int64_t at) {
  if (read_all(scan->journal->descriptor, bytes, size, at)) {
    return true;
  }
  scan->good = failed(scan->journal, "read", scan->error);
  return false;
}

/* Is a whole block at `at`? Its payload is in the buffer then. */
static bool find_block(struct scan *scan, int64_t at, struct stored_block *stored) {
  int64_t offset = at + (int64_t)sizeof *stored;
  if (offset > scan->size || !scan_read(scan, stored, sizeof *stored, at) || stored->mark != BLOCK_MARK ||
      offset + (int64_t)stored->bytes > scan->size || stored->count < 0 || stored->first < 0) {
    return false;
  }
  if (stored->bytes > scan->room) {
    unsigned char *larger = realloc(scan->buffer, stored->bytes);
    if (!larger) {
      scan->good = out_of_memory(scan->error);
      return false;
    }
    scan->buffer = larger;
    scan->room = stored->bytes;
  }
  return scan_read(scan, scan->buffer, stored->bytes, offset) &&
         block_checksum(scan->journal->seed, stored, scan->buffer) == stored->checksum;
}

/* The next whole block behind a place where none is: its start, or -1. */
static int64_t search_block(struct scan *scan, int64_t from, struct stored_block *stored) {
  enum { WINDOW = 65536 };
  static const uint32_t mark = BLOCK_MARK;
  unsigned char *window = malloc(WINDOW);
  if (!window) {
    scan->good = out_of_memory(scan->error);
    return -1;
  }
  int64_t found = -1;
  for (int64_t at = from; found < 0 && scan->good && at + (int64_t)sizeof *stored <= scan->size;) {
    size_t count = scan->size - at < WINDOW ? (size_t)(scan->size - at) : WINDOW;
    if (!scan_read(scan, window, count, at)) {
      break;
    }
    for (size_t i = 0; found < 0 && scan->good && i + sizeof mark <= count; i++) {
      bool here = memcmp(window + i, &mark, sizeof mark) == 0 && find_block(scan, at + (int64_t)i, stored);
      found = here ? at + (int64_t)i : -1;
    }
    at += (int64_t)(count - sizeof mark + 1);
  }
  free(window);
  return found;
}

/* A damaged place becomes a block without rows, so that it is told once and not at every opening. */
static void fill_gap(struct scan *scan, int64_t from, int64_t until) {
  int64_t bytes = until - from - (int64_t)sizeof(struct stored_block);
  void *zeros = bytes >= 0 && bytes <= UINT32_MAX ? calloc((size_t)bytes + 1, 1) : NULL;
  struct stored_block filler = {BLOCK_MARK, (uint32_t)bytes, 0, 0, scan->journal->rows, 0};
  if (zeros) {
    filler.checksum = block_checksum(scan->journal->seed, &filler, zeros);
    /* Only a convenience: where it fails, the place is found damaged again. */
    (void)(write_all(scan->journal->descriptor, zeros, (size_t)bytes, from + (int64_t)sizeof filler) &&
           write_all(scan->journal->descriptor, &filler, sizeof filler, from));
  }
  free(zeros);
}

/* A whole header whose payload ends the file tells at least how many rows are gone. */
static int64_t rows_in_tail(struct scan *scan) {
  struct stored_block stored;
  int64_t at = scan->journal->length;
  bool told = at + (int64_t)sizeof stored <= scan->size && scan_read(scan, &stored, sizeof stored, at) &&
              stored.mark == BLOCK_MARK && at + (int64_t)sizeof stored + (int64_t)stored.bytes == scan->size &&
              stored.count > 0;
  return told ? stored.count : 0;
}

static void scan_blocks(struct scan *scan) {
  struct journal *journal = scan->journal;
  struct stored_block stored;
  while (scan->good) {
    int64_t at = journal->length;
    int64_t found = find_block(scan, at, &stored) ? at : scan->good ? search_block(scan, at + 1, &stored) : -1;
    if (found < 0) {
      break;
    }
    if (found > at) {
      int64_t gone = stored.rows_before - journal->rows - journal->lost;
      journal->damaged += found - at;
      journal->lost += gone > 0 ? gone : 0;
      fill_gap(scan, at, found);
    }
    if (stored.count > 0 && !note_block(journal, &stored, found + (int64_t)sizeof stored, scan->error)) {
      scan->good = false;
    }
    journal->length = found + (int64_t)sizeof stored + (int64_t)stored.bytes;
  }
  journal->cut = scan->size - journal->length;
  journal->lost += scan->good ? rows_in_tail(scan) : 0;
}

static bool head_is_whole(const struct stored_head *stored) {
  return memcmp(stored->magic, magic, sizeof magic) == 0 &&
         stored->checksum == draw_hash(DRAW_HASH_START, stored, offsetof(struct stored_head, checksum));
}

/* What differs between the head wanted and the head found, in words. */
static bool check_head(const struct journal *journal, const struct stored_head *stored, const struct journal_head *head,
                       struct error *error) {
  const struct journal_head *found = &stored->head;
  if (memcmp(found->program, head->program, sizeof found->program) != 0) {
    return error_set(error, ERROR_INPUT, "%s was written by %.47s; this is %s: rows of both would not be one table",
                     journal->path, found->program, head->program);
  }
  if (found->study != head->study || found->cases != head->cases || found->measures != head->measures ||
      found->limits != head->limits) {
    return error_set(error, ERROR_INPUT, "%s belongs to another study, or the study or its case has changed since",
                     journal->path);
  }
  if (found->shard != head->shard || found->shards != head->shards) {
    return error_set(error, ERROR_INPUT, "%s is of shard %" PRId64 "/%" PRId64 ", not of %" PRId64 "/%" PRId64,
                     journal->path, found->shard, found->shards, head->shard, head->shards);
  }
  if (found->arithmetic != head->arithmetic) {
    return error_set(error, ERROR_INPUT,
                     "%s was begun on a machine whose mathematics library rounds otherwise: its rows would differ in "
                     "their last digits",
                     journal->path);
  }
  return true;
}

/* The head found, or the one wanted where it is damaged: then a block must show that they were the same. */
static bool read_head(struct journal *journal, int64_t size, const struct journal_head *head, bool *damaged,
                      struct error *error) {
  struct stored_head wanted = stored_head_of(head);
  struct stored_head found = {{0}, {0}, 0};
  *damaged = false;
  journal->seed = wanted.checksum;
  journal->length = (int64_t)sizeof wanted;
  if (size == 0) {
    return write_all(journal->descriptor, &wanted, sizeof wanted, 0) || failed(journal, "written", error);
  }
  if (size >= (int64_t)sizeof found && !read_all(journal->descriptor, &found, sizeof found, 0)) {
    return failed(journal, "read", error);
  }
  if (size < (int64_t)sizeof found || !head_is_whole(&found)) {
    *damaged = true;
    return size >= (int64_t)sizeof found ||
           error_set(error, ERROR_INPUT, "%s is no journal of a sweep, or its head is damaged", journal->path);
  }
  return check_head(journal, &found, head, error);
}

bool journal_open(struct journal *journal, const char *path, const struct journal_head *head, struct error *error) {
  struct stat status = {0};
  bool head_damaged = false;
  bool good = begin(journal, path, 0, error);
  if (good && (fstat(journal->descriptor, &status) != 0 || !S_ISREG(status.st_mode))) {
    good = error_set(error, ERROR_INPUT, "%s is no journal of a sweep: no regular file", path);
  }
  good = good && read_head(journal, status.st_size, head, &head_damaged, error);
  if (good && status.st_size > 0) {
    struct scan scan = {.journal = journal, .size = status.st_size, .good = true, .error = error};
    scan_blocks(&scan);
    free(scan.buffer);
    good = scan.good;
    if (good && head_damaged && journal->block_count == 0) {
      good = error_set(error, ERROR_INPUT, "%s is no journal of this sweep, or its head is damaged", path);
    }
    if (good && head_damaged) {
      struct stored_head wanted = stored_head_of(head);
      good = write_all(journal->descriptor, &wanted, sizeof wanted, 0) || failed(journal, "mended", error);
    }
    if (good && journal->cut > 0 && ftruncate(journal->descriptor, (off_t)journal->length) != 0) {
      good = failed(journal, "cut to what is whole", error);
    }
  }
  if (!good) {
    journal_close(journal);
  }
  return good;
}

bool journal_begin(struct journal *journal, const char *path, bool resume, const struct journal_head *head,
                   struct error *error) {
  struct stat status;
  if (stat(path, &status) != 0) {
    return journal_create(journal, path, head, error);
  }
  if (!resume) {
    return error_set(error, ERROR_USAGE,
                     "%s is there already: --resume goes on with it, if it is of the same question; or remove it",
                     path);
  }
  return journal_open(journal, path, head, error);
}

/* ---- writing and reading ---- */

bool journal_append(struct journal *journal, int64_t first, int64_t count, const void *payload, size_t bytes,
                    struct error *error) {
  struct stored_block stored = {BLOCK_MARK, (uint32_t)bytes, first, count, journal->rows, 0};
  stored.checksum = block_checksum(journal->seed, &stored, payload);
  int64_t offset = journal->length + (int64_t)sizeof stored;
  if (!write_all(journal->descriptor, payload, bytes, offset) ||
      !write_all(journal->descriptor, &stored, sizeof stored, journal->length)) {
    failed(journal, "written", error);
    /* What was written of it is torn and would be dropped; give the room back as well. */
    int ignored = ftruncate(journal->descriptor, (off_t)journal->length);
    (void)ignored;
    return false;
  }
  if (!note_block(journal, &stored, offset, error)) {
    return false;
  }
  journal->length = offset + (int64_t)bytes;
  return true;
}

bool journal_sync(struct journal *journal, struct error *error) {
  return fdatasync(journal->descriptor) == 0 || failed(journal, "brought to the disk", error);
}

static int compare_blocks(const void *a, const void *b) {
  const struct journal_block *first = a;
  const struct journal_block *second = b;
  return (first->first > second->first) - (first->first < second->first);
}

bool journal_sort(struct journal *journal, struct error *error) {
  if (journal->block_count > 1) {
    qsort(journal->blocks, (size_t)journal->block_count, sizeof *journal->blocks, compare_blocks);
  }
  for (int64_t i = 1; i < journal->block_count; i++) {
    if (journal->blocks[i - 1].first + journal->blocks[i - 1].count > journal->blocks[i].first) {
      return error_set(error, ERROR_INPUT, "%s holds position %" PRId64 " twice", journal->path,
                       journal->blocks[i].first);
    }
  }
  return true;
}

bool journal_read(const struct journal *journal, const struct journal_block *block, void *payload,
                  struct error *error) {
  struct stored_block stored = {BLOCK_MARK, block->bytes, block->first, block->count, block->rows_before, 0};
  if (!read_all(journal->descriptor, payload, block->bytes, block->offset)) {
    return failed(journal, "read", error);
  }
  return block_checksum(journal->seed, &stored, payload) == block->checksum ||
         error_set(error, ERROR_INPUT, "%s is damaged; --resume runs again what is lost", journal->path);
}

void journal_close(struct journal *journal) {
  if (journal->descriptor >= 0) {
    (void)close(journal->descriptor);
  }
  free(journal->path);
  free(journal->blocks);
  *journal = (struct journal){.descriptor = -1};
}
