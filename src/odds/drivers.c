#include "drivers.h"

#include <math.h>
#include <stdlib.h>

enum { HALF = 10, GROUPS = 2 * HALF, INTERVALS_MOST = 40, FEWER_AN_INTERVAL = 5 };

/* 97.5 % point of Student's t with GROUPS - 2 degrees of freedom: a mean for each half. */
#define STUDENT 2.1009
/* The same of the normal distribution. */
#define NORMAL 1.959963984540054

struct point {
  double share;
  int group;
  bool broken;
};

static int by_share(const void *a_, const void *b_) {
  const struct point *a = a_;
  const struct point *b = b_;
  return (a->share > b->share) - (a->share < b->share);
}

/* Edges that cut the points of one half into intervals of equal weight, broken and kept ones having half of it each. */
static int find_edges(const struct point *points, int64_t count, int half, double *edges) {
  int64_t sides[2] = {0, 0};
  for (int64_t i = 0; i < count; i++) {
    if (points[i].group % 2 == half) {
      sides[points[i].broken]++;
    }
  }
  int64_t fewer = sides[0] < sides[1] ? sides[0] : sides[1];
  int intervals = (int)(fewer / FEWER_AN_INTERVAL);
  intervals = intervals < 2 ? 2 : intervals > INTERVALS_MOST ? INTERVALS_MOST : intervals;
  double weight = 0.0;
  int found = 0;
  for (int64_t i = 0; i < count && found + 1 < intervals; i++) {
    if (points[i].group % 2 != half) {
      continue;
    }
    weight += 0.5 / (double)sides[points[i].broken];
    bool apart = i + 1 < count && points[i + 1].share > points[i].share;
    if (apart && weight >= (double)(found + 1) / intervals) {
      edges[found++] = 0.5 * (points[i].share + points[i + 1].share);
    }
  }
  return found;
}

/* Runs in an interval and those of them that break, by group. */
struct tally {
  double runs[INTERVALS_MOST][GROUPS];
  double broken[INTERVALS_MOST][GROUPS];
  int intervals;
};

/* The other half's points in these intervals. */
static void count_into(struct tally *tally, const struct point *points, int64_t count, int half) {
  double edges[INTERVALS_MOST];
  int found = find_edges(points, count, half, edges);
  *tally = (struct tally){.intervals = found + 1};
  int interval = 0;
  for (int64_t i = 0; i < count; i++) {
    while (interval < found && points[i].share > edges[interval]) {
      interval++;
    }
    if (points[i].group % 2 != half) {
      tally->runs[interval][points[i].group] += 1.0;
      tally->broken[interval][points[i].group] += points[i].broken;
    }
  }
}

/* Variance between the intervals of a tally over the total, without the group `left_out` (-1: of all). What the means
 * of the intervals scatter by chance is taken off, with each interval's own variance: that of rare breaking is nothing
 * but in a few of them. */
static double between_over_total(const struct tally *tally, int left_out) {
  double runs[INTERVALS_MOST] = {0.0};
  double broken[INTERVALS_MOST] = {0.0};
  double n = 0.0;
  double hits = 0.0;
  for (int b = 0; b < tally->intervals; b++) {
    for (int g = 0; g < GROUPS; g++) {
      runs[b] += g != left_out ? tally->runs[b][g] : 0.0;
      broken[b] += g != left_out ? tally->broken[b][g] : 0.0;
    }
    n += runs[b];
    hits += broken[b];
  }
  double mean = hits / n;
  double between = 0.0;
  for (int b = 0; b < tally->intervals; b++) {
    if (runs[b] > 1.0) {
      double own = broken[b] / runs[b];
      double scatter = own * (1.0 - own) / (runs[b] - 1.0); /* variance of the interval's mean */
      between += runs[b] / n * ((own - mean) * (own - mean) - (1.0 - runs[b] / n) * scatter);
    }
  }
  return between / (mean * (1.0 - mean));
}

/* Mean of both halves; a group lies in one of them, in which it is left out. */
static void find_index(const struct point *points, int64_t count, struct tally *tallies, struct driver *driver) {
  double square = 0.0;
  driver->index = 0.0;
  for (int half = 0; half < 2; half++) {
    struct tally *tally = &tallies[half];
    double without[HALF];
    double mean = 0.0;
    count_into(tally, points, count, half);
    driver->index += 0.5 * between_over_total(tally, -1);
    for (int g = 0; g < HALF; g++) {
      without[g] = between_over_total(tally, 2 * g + (half == 0));
      mean += without[g] / HALF;
    }
    for (int g = 0; g < HALF; g++) {
      square += 0.25 * (without[g] - mean) * (without[g] - mean);
    }
  }
  double error = STUDENT * sqrt(square * (HALF - 1.0) / HALF);
  driver->index_low = driver->index - error;
  driver->index_high = driver->index + error;
}

static void find_means(const struct point *points, int64_t count, const int64_t sides[2], struct driver *driver) {
  double sums[2] = {0.0, 0.0};
  double squares[2] = {0.0, 0.0};
  double half[2];
  for (int64_t i = 0; i < count; i++) {
    sums[points[i].broken] += points[i].share;
  }
  for (int side = 0; side < 2; side++) {
    sums[side] /= (double)sides[side];
  }
  for (int64_t i = 0; i < count; i++) {
    double off = points[i].share - sums[points[i].broken];
    squares[points[i].broken] += off * off;
  }
  for (int side = 0; side < 2; side++) {
    half[side] = NORMAL * sqrt(squares[side] / ((double)sides[side] * (double)(sides[side] - 1)));
  }
  driver->kept_mean = sums[0];
  driver->kept_half = half[0];
  driver->broken_mean = sums[1];
  driver->broken_half = half[1];
}

bool driver_of(const double *shares, const signed char *flags, int64_t runs, struct driver *driver) {
  *driver = (struct driver){NAN, NAN, NAN, NAN, NAN, NAN, NAN};
  struct point *points = calloc((size_t)runs + 1, sizeof *points);
  struct tally *tallies = calloc(2, sizeof *tallies);
  bool good = points != NULL && tallies != NULL;
  int64_t count = 0;
  int64_t sides[2] = {0, 0};
  for (int64_t i = 0; good && i < runs; i++) {
    if (flags[i] == 0 || flags[i] == 1) {
      /* Groups take both sides in turn, so that none is without runs that break. */
      int group = (int)(sides[flags[i]]++ % GROUPS);
      points[count++] = (struct point){shares[i], group, flags[i] == 1};
    }
  }
  int64_t fewer = sides[0] < sides[1] ? sides[0] : sides[1];
  if (good && fewer >= DRIVER_MEAN_LEAST) {
    find_means(points, count, sides, driver);
  }
  if (good && fewer >= DRIVER_INDEX_LEAST) {
    qsort(points, (size_t)count, sizeof *points, by_share);
    find_index(points, count, tallies, driver);
  }
  free(points);
  free(tallies);
  return good;
}
