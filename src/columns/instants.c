#include "instants.h"

#include <math.h>
#include <string.h>
#include <strings.h>

/* What is left to read. */
struct reading {
  const char *at;
  const char *end;
};

static bool next_is(const struct reading *reading, const char *letters) {
  return reading->at < reading->end && *reading->at != '\0' && strchr(letters, *reading->at) != NULL;
}

static bool digit(const struct reading *reading) {
  return next_is(reading, "0123456789");
}

/* A whole number of at most `most` digits; how many it has. */
static int read_whole(struct reading *reading, int most, int *value) {
  int digits = 0;
  for (*value = 0; digits < most && digit(reading); digits++) {
    *value = 10 * *value + (*reading->at++ - '0');
  }
  return digits;
}

/* "Mar" and "March", as the number of the month; 0: none. */
static int read_month(struct reading *reading) {
  static const char *const names[] = {"jan", "feb", "mar", "apr", "may", "jun",
                                      "jul", "aug", "sep", "oct", "nov", "dec"};
  for (int m = 0; m < 12 && reading->end - reading->at >= 3; m++) {
    if (strncasecmp(reading->at, names[m], 3) == 0) {
      reading->at += 3;
      return m + 1;
    }
  }
  return 0;
}

/* "2026-11-26", "26.11.2026", "26/11/26", "26-Nov-2026", "20261126" before a T. */
static bool read_date(struct reading *reading, struct written_date *date) {
  struct reading from = *reading;
  int parts[3] = {0, 0, 0};
  int digits = read_whole(reading, 8, &parts[0]);
  if (digits == 8 && next_is(reading, "Tt")) {
    *date =
        (struct written_date){{(short)(parts[0] / 10000), (short)(parts[0] / 100 % 100), (short)(parts[0] % 100)}, '-'};
    return true;
  }
  if ((digits == 1 || digits == 2 || digits == 4) && next_is(reading, ".-/")) {
    char separator = *reading->at++;
    bool named = false;
    int second = read_whole(reading, 2, &parts[1]);
    if (second == 0) {
      parts[1] = read_month(reading);
      named = parts[1] > 0;
    }
    if ((second > 0 || named) && next_is(reading, ".-/") && *reading->at == separator) {
      reading->at++;
      int third = read_whole(reading, 4, &parts[2]);
      if (third == 1 || third == 2 || third == 4) {
        if (digits != 4 && third == 2) {
          parts[2] += 2000;
        }
        date->separator = named ? '.' : separator; /* a named month stands in the middle */
        for (int i = 0; i < 3; i++) {
          date->parts[i] = (short)parts[i];
        }
        return digits == 4 || third == 2 || third == 4;
      }
    }
  }
  *reading = from;
  return false;
}

/* ".123", ",123" or ":123", as seconds: a whole number over its power of ten, exact to the last bit. */
static double read_fraction(struct reading *reading) {
  double whole = 0.0;
  double scale = 1.0;
  if (next_is(reading, ".,:")) {
    for (reading->at++; digit(reading); reading->at++) {
      whole = 10.0 * whole + (*reading->at - '0');
      scale *= 10.0;
    }
  }
  return isfinite(scale) ? whole / scale : 0.0;
}

/* "Z", "+01:00", "+0100": seconds ahead of universal time. */
static double read_zone(struct reading *reading) {
  if (next_is(reading, "Zz")) {
    reading->at++;
    return 0.0;
  }
  if (!next_is(reading, "+-")) {
    return 0.0;
  }
  double sign = *reading->at++ == '-' ? -1.0 : 1.0;
  int hours;
  int minutes;
  (void)read_whole(reading, 2, &hours);
  if (next_is(reading, ":")) {
    reading->at++;
  }
  (void)read_whole(reading, 2, &minutes);
  return sign * (3600.0 * hours + 60.0 * minutes);
}

static void skip_blanks(struct reading *reading) {
  while (next_is(reading, " ")) {
    reading->at++;
  }
}

/* "10:20:30.125", "10:20:30:125", "1:20:30 PM", "102030" behind a T, "10:20". */
static bool read_clock(struct reading *reading, bool behind_t, double *seconds) {
  int hour;
  int minute;
  int second = 0;
  int digits = read_whole(reading, behind_t ? 6 : 3, &hour);
  if (behind_t && (digits == 6 || digits == 4)) {
    minute = digits == 6 ? hour / 100 % 100 : hour % 100;
    second = digits == 6 ? hour % 100 : 0;
    hour = digits == 6 ? hour / 10000 : hour / 100;
  } else {
    if (digits == 0 || digits > 3 || !next_is(reading, ":")) {
      return false;
    }
    reading->at++;
    if (read_whole(reading, 2, &minute) != 2) {
      return false;
    }
    if (next_is(reading, ":")) {
      reading->at++;
      if (read_whole(reading, 2, &second) != 2) {
        return false;
      }
    }
  }
  double fraction = read_fraction(reading);
  skip_blanks(reading);
  if (next_is(reading, "AaPp") && reading->end - reading->at >= 2 && (reading->at[1] == 'M' || reading->at[1] == 'm')) {
    bool afternoon = next_is(reading, "Pp");
    hour = hour % 12 + (afternoon ? 12 : 0);
    reading->at += 2;
  }
  *seconds = 3600.0 * hour + 60.0 * minute + second + fraction;
  *seconds -= read_zone(reading);
  return minute < 60 && second <= 60;
}

bool instant_read(const char *text, size_t length, struct instant *instant) {
  struct reading reading = {text, text + length};
  *instant = (struct instant){0};
  /* Most cells are plain numbers: no date and no time is without one of these. */
  if (length < 4 || length > 40 ||
      (memchr(text, ':', length) == NULL && memchr(text, '-', length) == NULL && memchr(text, '/', length) == NULL &&
       memchr(text, '.', length) == NULL && memchr(text, 'T', length) == NULL)) {
    return false;
  }
  bool dated = read_date(&reading, &instant->date);
  if (dated && reading.at == reading.end) {
    return true;
  }
  bool behind_t = dated && next_is(&reading, "Tt");
  if (behind_t) {
    reading.at++;
  } else if (dated && !next_is(&reading, " ,")) {
    return false;
  } else if (dated) {
    reading.at++;
    skip_blanks(&reading);
  }
  return read_clock(&reading, behind_t, &instant->seconds) && reading.at == reading.end;
}

enum date_order instant_order(struct written_date date) {
  if (date.parts[0] > 31) {
    return ORDER_YEAR_MONTH_DAY;
  }
  if (date.separator == '.' || date.parts[0] > 12) {
    return ORDER_DAY_MONTH_YEAR;
  }
  return date.parts[1] > 12 ? ORDER_MONTH_DAY_YEAR : ORDER_FREE;
}

/* Days of the Gregorian calendar, years begun in March so that the day that is added in some comes last. */
static double days_of(int year, int month, int day) {
  int y = month > 2 ? year : year - 1;
  int m = month > 2 ? month - 3 : month + 9;
  double century = floor(y / 100.0);
  double leap = floor(y / 4.0) - century + floor(century / 4.0);
  return 365.0 * y + leap + floor((153.0 * m + 2.0) / 5.0) + day - 1 - 719468.0;
}

double instant_days(struct written_date date, enum date_order order) {
  const short *part = date.parts;
  switch (order) {
  case ORDER_YEAR_MONTH_DAY:
    return days_of(part[0], part[1], part[2]);
  case ORDER_MONTH_DAY_YEAR:
    return days_of(part[2], part[0], part[1]);
  default:
    return days_of(part[2], part[1], part[0]);
  }
}
