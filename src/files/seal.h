/* The seal of a finished HDF5 file: a line of 64 bytes behind its last byte with the CRC-32 of all that stands before
 * (the one of ISO/IEC/IEEE 8802-3, as zlib computes it), which readers of HDF5 pass over. It covers every dataset,
 * every attribute and the format's own bytes, so a flipped bit is found before the file library reads any of it.
 *
 * The root attribute `checksum` says that there is one: a file that has the attribute and no seal was cut off, or
 * changed by another program. */
#ifndef SWASHLOOP_FILES_SEAL_H
#define SWASHLOOP_FILES_SEAL_H

#include <stdbool.h>

#define SEAL_ATTRIBUTE "checksum"
#define SEAL_WORDS "CRC-32 of all bytes before the last 64, which tell it"

enum seal_state {
  SEAL_GOOD,
  SEAL_NONE,
  SEAL_BROKEN,    /* the bytes are not those that were written */
  SEAL_UNREADABLE /* errno says why */
};

/* Put the seal behind the end; false with errno. */
bool seal_put(int descriptor);
enum seal_state seal_check(int descriptor);

#endif
