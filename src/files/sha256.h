/* SHA-256 (FIPS 180-4), for the fingerprints on the page and in its content security policy. */
#ifndef SWASHLOOP_FILES_SHA256_H
#define SWASHLOOP_FILES_SHA256_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

struct sha256 {
  uint32_t state[8];
  uint64_t length; /* bytes taken so far */
  unsigned char block[64];
};

/* Begin, take bytes, and end with the digest. */
void sha256_start(struct sha256 *hash);
void sha256_add(struct sha256 *hash, const void *bytes, size_t count);
void sha256_end(struct sha256 *hash, unsigned char digest[32]);

/* Lower-case hexadecimal, as sha256sum prints it. */
void sha256_hex(const unsigned char digest[32], char text[65]);

/* The same of a whole text or file at once. False if the file could not be read. */
void sha256_of_text(const char *words, char text[65]);
bool sha256_of_file(const char *path, char text[65]);

#endif
