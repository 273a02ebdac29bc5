/* UTF-16 after RFC 2781, UTF-8 after RFC 3629. */
#include "decode.h"

#include <stdlib.h>
#include <string.h>

#include "text.h"

enum { LOOKED_AT = 4096, LONGEST = 4 /* bytes of a character */ };

const char *const encoding_names[] = {"UTF-8", "UTF-16, low byte first", "UTF-16, high byte first", "ISO 8859-1"};

static size_t put_character(char *to, unsigned long code) {
  unsigned char *at = (unsigned char *)to;
  if (code < 0x80) {
    at[0] = (unsigned char)code;
    return 1;
  }
  if (code < 0x800) {
    at[0] = (unsigned char)(0xC0U | (code >> 6U));
    at[1] = (unsigned char)(0x80U | (code & 0x3FU));
    return 2;
  }
  if (code < 0x10000) {
    at[0] = (unsigned char)(0xE0U | (code >> 12U));
    at[1] = (unsigned char)(0x80U | ((code >> 6U) & 0x3FU));
    at[2] = (unsigned char)(0x80U | (code & 0x3FU));
    return 3;
  }
  at[0] = (unsigned char)(0xF0U | (code >> 18U));
  at[1] = (unsigned char)(0x80U | ((code >> 12U) & 0x3FU));
  at[2] = (unsigned char)(0x80U | ((code >> 6U) & 0x3FU));
  at[3] = (unsigned char)(0x80U | (code & 0x3FU));
  return 4;
}

/* Without a mark: a table is mostly ASCII, so that of UTF-16 one byte in two is zero. */
static enum encoding guess_encoding(const char *bytes, size_t length) {
  size_t zeros[2] = {0, 0};
  size_t seen = length < LOOKED_AT ? length : LOOKED_AT;
  for (size_t i = 0; i < seen; i++) {
    zeros[i % 2] += bytes[i] == '\0';
  }
  if (length >= 4 && 4 * zeros[1] > seen && zeros[0] == 0) {
    return ENCODING_UTF16_LITTLE;
  }
  if (length >= 4 && 4 * zeros[0] > seen && zeros[1] == 0) {
    return ENCODING_UTF16_BIG;
  }
  unsigned long code;
  for (size_t at = 0; at < length;) {
    size_t used = text_decode(bytes + at, length - at, &code);
    if (used == 0) {
      /* A character cut at the end of the file is still UTF-8. */
      return length - at < LONGEST ? ENCODING_UTF8 : ENCODING_LATIN1;
    }
    at += used;
  }
  return ENCODING_UTF8;
}

static unsigned long unit_at(const unsigned char *bytes, bool big) {
  return big ? ((unsigned long)bytes[0] << 8U) | bytes[1] : ((unsigned long)bytes[1] << 8U) | bytes[0];
}

static bool is_high_half(unsigned long unit) {
  return unit >= 0xD800 && unit < 0xDC00;
}

static bool is_low_half(unsigned long unit) {
  return unit >= 0xDC00 && unit < 0xE000;
}

static size_t from_utf16(const unsigned char *bytes, size_t length, bool big, char *to) {
  size_t used = 0;
  for (size_t at = 0; at + 1 < length; at += 2) {
    unsigned long code = unit_at(bytes + at, big);
    if (is_high_half(code) && at + 3 < length && is_low_half(unit_at(bytes + at + 2, big))) {
      code = 0x10000 + ((code - 0xD800) << 10U) + (unit_at(bytes + at + 2, big) - 0xDC00);
      at += 2;
    } else if (is_high_half(code) || is_low_half(code)) {
      code = 0xFFFD;
    }
    used += put_character(to + used, code);
  }
  return used;
}

static size_t from_latin1(const unsigned char *bytes, size_t length, char *to) {
  size_t used = 0;
  for (size_t at = 0; at < length; at++) {
    used += put_character(to + used, bytes[at]);
  }
  return used;
}

bool decode_text(const char *bytes, size_t length, struct decoded *decoded) {
  size_t mark = 0;
  enum encoding encoding;
  if (length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0) {
    encoding = guess_encoding(bytes + 3, length - 3);
    mark = 3;
  } else if (length >= 2 && memcmp(bytes, "\xFF\xFE", 2) == 0) {
    encoding = ENCODING_UTF16_LITTLE;
    mark = 2;
  } else if (length >= 2 && memcmp(bytes, "\xFE\xFF", 2) == 0) {
    encoding = ENCODING_UTF16_BIG;
    mark = 2;
  } else {
    encoding = guess_encoding(bytes, length);
  }
  *decoded = (struct decoded){encoding, bytes + mark, length - mark, NULL};
  if (encoding == ENCODING_UTF8) {
    return true;
  }
  const unsigned char *from = (const unsigned char *)bytes + mark;
  decoded->own = malloc(2 * decoded->length + LONGEST); /* three bytes for two, or two for one, at most */
  if (decoded->own == NULL) {
    return false;
  }
  decoded->length = encoding == ENCODING_LATIN1
                        ? from_latin1(from, decoded->length, decoded->own)
                        : from_utf16(from, decoded->length, encoding == ENCODING_UTF16_BIG, decoded->own);
  decoded->text = decoded->own;
  return true;
}
