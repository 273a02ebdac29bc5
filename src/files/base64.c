#include "base64.h"

void base64_write(FILE *out, const unsigned char *bytes, size_t count) {
  static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (size_t i = 0; i < count; i += 3) {
    size_t left = count - i;
    unsigned long group = (unsigned long)bytes[i] << 16;
    group |= left > 1 ? (unsigned long)bytes[i + 1] << 8 : 0;
    group |= left > 2 ? (unsigned long)bytes[i + 2] : 0;
    char four[4] = {letters[group >> 18 & 63], letters[group >> 12 & 63], left > 1 ? letters[group >> 6 & 63] : '=',
                    left > 2 ? letters[group & 63] : '='};
    (void)fwrite(four, 1, sizeof four, out);
  }
}
