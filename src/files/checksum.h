/* CRC-32 as zlib computes it, by the processor's carry-less multiplication where it has one: some ten times faster. */
#ifndef SWASHLOOP_FILES_CHECKSUM_H
#define SWASHLOOP_FILES_CHECKSUM_H

#include <stddef.h>
#include <stdint.h>

/* The sum with `count` more bytes; the sum of none is 0. */
uint32_t checksum_add(uint32_t sum, const unsigned char *bytes, size_t count);

#endif
