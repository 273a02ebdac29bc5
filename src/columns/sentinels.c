#include "sentinels.h"

#include <math.h>

#define HUGE_NUMBER 1e30 /* no unit makes a machine's number so large */
#define APART 3.0        /* times the range of the others */

/* Nines alone, three or more, and the ends of whole numbers of 16 and 32 bits. */
static const double candidates[] = {-999.0,   -9999.0,  -99999.0, -999999.0, 999.0,         9999.0,      99999.0,
                                    999999.0, -32768.0, 32767.0,  65535.0,   -2147483648.0, 2147483647.0};
enum { CANDIDATES = (int)(sizeof candidates / sizeof candidates[0]) };

static int clear(double *values, int count, double number) {
  int cleared = 0;
  for (int k = 0; k < count; k++) {
    if (values[k] == number) {
      values[k] = NAN;
      cleared++;
    }
  }
  return cleared;
}

static int clear_huge(double *values, int count) {
  int cleared = 0;
  for (int k = 0; k < count; k++) {
    if (fabs(values[k]) >= HUGE_NUMBER) {
      values[k] = NAN;
      cleared++;
    }
  }
  return cleared;
}

/* How often a number stands there, and is it far from all others? */
static int count_far(const double *values, int count, double number, bool *far) {
  int same = 0;
  double low = HUGE_VAL;
  double high = -HUGE_VAL;
  for (int k = 0; k < count; k++) {
    if (values[k] == number) {
      same++;
    } else if (!isnan(values[k])) {
      low = fmin(low, values[k]);
      high = fmax(high, values[k]);
    }
  }
  double range = high - low;
  *far = low <= high && (number < low - APART * range || number > high + APART * range) && number != low;
  return same;
}

void sentinels_clear(const struct sentinels *sentinels, double *values, int count, const char *name,
                     struct told *told) {
  for (int i = 0; i < sentinels->count; i++) {
    (void)clear(values, count, sentinels->declared[i]);
  }
  if (sentinels->only_declared) {
    return;
  }
  int huge = clear_huge(values, count);
  if (huge > 0) {
    told_add(told, "%s: %d numbers beyond 1e30 read as gaps", name, huge);
  }
  for (int i = 0; i < CANDIDATES; i++) {
    bool far = false;
    int same = count_far(values, count, candidates[i], &far);
    if (same >= 2 && far) {
      (void)clear(values, count, candidates[i]);
      told_add(told, "%s: %.10g, which stands there %d times, read as a gap", name, candidates[i], same);
    } else if (same == 1 && far) {
      told_add(told, "%s: %.10g stands there once and is kept; if it is a gap, say gaps: [%.10g]", name, candidates[i],
               candidates[i]);
    }
  }
}
