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

#include "draw.h"

static const char magic[16] = "swashloop-rows\n";
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
  int64_t count;
  uint64_t checksum; /* of the numbers above and the payload */
};

static bool out_of_memory(struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for the journal");
}

static bool failed(const struct journal *journal, const char *doing, struct error *error) {
  return error_set(error, ERROR_OUTPUT, "%s could not be %s: %s", journal->path, doing, strerror(errno));
}

static uint64_t block_checksum(const struct stored_block *block, const void *payload) {
  uint64_t hash = draw_hash(DRAW_HASH_START, &block->mark, sizeof block->mark);
  hash = draw_hash(hash, &block->bytes, sizeof block->bytes);
  hash = draw_hash(hash, &block->first, sizeof block->first);
  hash = draw_hash(hash, &block->count, sizeof block->count);
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
  journal->descriptor = open(path, flags | O_RDWR | O_CLOEXEC, 0666);
  if (journal->descriptor < 0) {
    return failed(journal, flags & O_CREAT ? "created" : "opened", error);
  }
  if (flock(journal->descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
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

/* Under another name until its head is whole, so that a kill leaves no journal without one. */
bool journal_create(struct journal *journal, const char *path, const struct journal_head *head, struct error *error) {
  char fresh[4096];
  if (snprintf(fresh, sizeof fresh, "%s.new", path) >= (int)sizeof fresh) {
    *journal = (struct journal){.descriptor = -1};
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", path);
  }
  if (!begin(journal, fresh, O_CREAT, error)) {
    journal_close(journal);
    return false;
  }
  struct stored_head stored = stored_head_of(head);
  journal->length = (int64_t)sizeof stored;
  bool good = ftruncate(journal->descriptor, 0) == 0 && write_all(journal->descriptor, &stored, sizeof stored, 0) &&
              fsync(journal->descriptor) == 0 && rename(fresh, path) == 0;
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
  journal->blocks[journal->block_count++] = (struct journal_block){stored->first, stored->count, offset, stored->bytes};
  journal->rows += stored->count;
  return true;
}

/* Is a whole block at the end of what is known? If so note it. *good is false when memory is out. */
static bool take_block(struct journal *journal, int64_t size, unsigned char **buffer, size_t *room, bool *good,
                       struct error *error) {
  struct stored_block stored;
  int64_t offset = journal->length + (int64_t)sizeof stored;
  if (offset > size || !read_all(journal->descriptor, &stored, sizeof stored, journal->length) ||
      stored.mark != BLOCK_MARK || offset + (int64_t)stored.bytes > size || stored.count < 1 || stored.first < 0) {
    return false;
  }
  if (stored.bytes > *room) {
    unsigned char *larger = realloc(*buffer, stored.bytes);
    if (!larger) {
      *good = out_of_memory(error);
      return false;
    }
    *buffer = larger;
    *room = stored.bytes;
  }
  if (!read_all(journal->descriptor, *buffer, stored.bytes, offset) ||
      block_checksum(&stored, *buffer) != stored.checksum) {
    return false;
  }
  *good = note_block(journal, &stored, offset, error);
  journal->length = offset + stored.bytes;
  return *good;
}

/* What differs between the head wanted and the head found, in words. */
static bool check_head(const struct journal *journal, const struct stored_head *stored, const struct journal_head *head,
                       struct error *error) {
  const struct journal_head *found = &stored->head;
  if (memcmp(stored->magic, magic, sizeof magic) != 0 ||
      stored->checksum != draw_hash(DRAW_HASH_START, stored, offsetof(struct stored_head, checksum))) {
    return error_set(error, ERROR_INPUT, "%s is no journal of a sweep, or its head is damaged", journal->path);
  }
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

bool journal_open(struct journal *journal, const char *path, const struct journal_head *head, struct error *error) {
  struct stored_head stored = {{0}, {0}, 0};
  struct stat status;
  bool good = begin(journal, path, 0, error);
  if (good && fstat(journal->descriptor, &status) != 0) {
    good = failed(journal, "read", error);
  }
  if (good && (status.st_size < (off_t)sizeof stored || !read_all(journal->descriptor, &stored, sizeof stored, 0))) {
    good = error_set(error, ERROR_INPUT, "%s is no journal of a sweep, or its head is damaged", path);
  }
  good = good && check_head(journal, &stored, head, error);
  if (good) {
    unsigned char *buffer = NULL;
    size_t room = 0;
    journal->length = (int64_t)sizeof stored;
    while (take_block(journal, status.st_size, &buffer, &room, &good, error)) {
    }
    free(buffer);
    journal->cut = status.st_size - journal->length;
    if (good && journal->cut > 0 && ftruncate(journal->descriptor, (off_t)journal->length) != 0) {
      good = failed(journal, "cut to what is whole", error);
    }
  }
  if (!good) {
    journal_close(journal);
  }
  return good;
}

/* ---- writing and reading ---- */

bool journal_append(struct journal *journal, int64_t first, int64_t count, const void *payload, size_t bytes,
                    struct error *error) {
  struct stored_block stored = {BLOCK_MARK, (uint32_t)bytes, first, count, 0};
  stored.checksum = block_checksum(&stored, payload);
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
  return read_all(journal->descriptor, payload, block->bytes, block->offset) || failed(journal, "read", error);
}

void journal_close(struct journal *journal) {
  if (journal->descriptor >= 0) {
    (void)close(journal->descriptor);
  }
  free(journal->path);
  free(journal->blocks);
  *journal = (struct journal){.descriptor = -1};
}
