/* Base64 (RFC 4648), written straight to a stream. */
#ifndef SWASHLOOP_FILES_BASE64_H
#define SWASHLOOP_FILES_BASE64_H

#include <stdio.h>

/* `count` bytes, with the filling at their end. */
void base64_write(FILE *out, const unsigned char *bytes, size_t count);

#endif
