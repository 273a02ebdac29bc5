#include "seal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "checksum.h"

enum { SEAL_SIZE = 64, BLOCK = 1 << 18 };

struct seal {
  char text[SEAL_SIZE + 1];
};

static struct seal seal_text(uint32_t sum, uint64_t bytes) {
  struct seal seal;
  (void)snprintf(seal.text, sizeof seal.text, "\nswashloop seal: crc32 %08" PRIx32 " over %020" PRIu64 " bytes\n", sum,
                 bytes);
  return seal;
}

/* All of `count` bytes from `offset`; false with errno (EIO where the file ends too early). */
static bool read_all(int descriptor, unsigned char *to, size_t count, off_t offset) {
  while (count > 0) {
    ssize_t got = pread(descriptor, to, count, offset);
    if (got < 0 && errno == EINTR) {
      continue;
    }
    if (got <= 0) {
      errno = got == 0 ? EIO : errno;
      return false;
    }
    to += got;
    offset += got;
    count -= (size_t)got;
  }
  return true;
}

static bool sum_of(int descriptor, off_t size, uint32_t *sum) {
  unsigned char *block = malloc(BLOCK);
  uint32_t crc = 0;
  bool good = block != NULL;
  for (off_t at = 0; good && at < size;) {
    size_t count = size - at < BLOCK ? (size_t)(size - at) : BLOCK;
    good = read_all(descriptor, block, count, at);
    crc = good ? checksum_add(crc, block, count) : crc;
    at += (off_t)count;
  }
  int kept = errno;
  free(block);
  errno = kept;
  *sum = crc;
  return good;
}

bool seal_put(int descriptor) {
  struct stat status;
  uint32_t sum = 0;
  if (fstat(descriptor, &status) != 0 || !sum_of(descriptor, status.st_size, &sum)) {
    return false;
  }
  struct seal seal = seal_text(sum, (uint64_t)status.st_size);
  for (size_t done = 0; done < SEAL_SIZE;) {
    ssize_t wrote = pwrite(descriptor, seal.text + done, SEAL_SIZE - done, status.st_size + (off_t)done);
    if (wrote <= 0 && !(wrote < 0 && errno == EINTR)) {
      errno = wrote == 0 ? ENOSPC : errno;
      return false;
    }
    done += wrote > 0 ? (size_t)wrote : 0;
  }
  return true;
}

enum seal_state seal_check(int descriptor) {
  struct stat status;
  char found[SEAL_SIZE];
  uint32_t sum = 0;
  if (fstat(descriptor, &status) != 0) {
    return SEAL_UNREADABLE;
  }
  off_t size = status.st_size - SEAL_SIZE;
  if (size < 0) {
    return SEAL_NONE;
  }
  if (!read_all(descriptor, (unsigned char *)found, sizeof found, size)) {
    return SEAL_UNREADABLE;
  }
  /* Where the words are a seal's, though not exactly, its own bytes are damaged. */
  struct seal like = seal_text(0, (uint64_t)size);
  int strange = 0;
  for (int i = 0; i < SEAL_SIZE; i++) {
    bool digit = i >= 23 && i < 31;
    strange += !digit && found[i] != like.text[i];
  }
  if (strange > SEAL_SIZE / 4) {
    return SEAL_NONE;
  }
  if (!sum_of(descriptor, size, &sum)) {
    return SEAL_UNREADABLE;
  }
  return memcmp(found, seal_text(sum, (uint64_t)size).text, SEAL_SIZE) == 0 ? SEAL_GOOD : SEAL_BROKEN;
}
