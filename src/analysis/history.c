#include "history.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"

/* Samples whose distances differ by no more than this share are even. */
#define UNEVEN 1e-3

bool history_want(struct history *history, int signal, int *column, struct error *error) {
  *column = 0;
  while (*column < history->signal_count && history->signals[*column] != signal) {
    (*column)++;
  }
  if (*column == HISTORY_SIGNALS) {
    return error_set(error, ERROR_RUN, "more than %d signals to be kept at once", HISTORY_SIGNALS);
  }
  if (*column == history->signal_count) {
    history->signals[history->signal_count++] = signal;
  }
  return true;
}

bool history_need(struct history *history, const struct plant *plant, const char *name, int *column,
                  struct error *error) {
  int signal;
  return registry_need(plant, name, &signal, error) && history_want(history, signal, column, error);
}

static bool grow(double **values, int capacity) {
  double *larger = realloc(*values, (size_t)capacity * sizeof *larger);
  if (larger != NULL) {
    *values = larger;
  }
  return larger != NULL;
}

static bool make_room(struct history *history, int count, struct error *error) {
  if (history->count + count <= history->capacity) {
    return true;
  }
  int capacity = 2 * (history->count + count);
  bool good = grow(&history->time, capacity);
  for (int i = 0; i < history->signal_count; i++) {
    good = good && grow(&history->values[i], capacity);
  }
  if (!good) {
    return error_set(error, ERROR_MEMORY, "out of memory for time histories");
  }
  history->capacity = capacity;
  return true;
}

bool history_block(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct history *history = context;
  if (!make_room(history, count, error)) {
    return false;
  }
  size_t bytes = (size_t)count * sizeof(double);
  memcpy(history->time + history->count, time, bytes);
  for (int i = 0; i < history->signal_count; i++) {
    memcpy(history->values[i] + history->count, values[history->signals[i]], bytes);
  }
  history->count += count;
  return true;
}

void history_clear(struct history *history) {
  history->count = 0;
}

void history_free(struct history *history) {
  free(history->time);
  for (int i = 0; i < history->signal_count; i++) {
    free(history->values[i]);
  }
  memset(history, 0, sizeof *history);
}

int history_place(const double *time, int count, double t) {
  int low = 0;
  int high = count - 1;
  while (high - low > 1) {
    int middle = (low + high) / 2;
    if (time[middle] <= t) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return low;
}

/* Are the four samples from `first` evenly spaced? */
static bool is_even(const double *time, int first) {
  double least = INFINITY;
  double most = 0.0;
  for (int i = first; i < first + 3; i++) {
    least = fmin(least, time[i + 1] - time[i]);
    most = fmax(most, time[i + 1] - time[i]);
  }
  return most <= (1.0 + UNEVEN) * least;
}

static double line_at(const double *time, const double *values, int from, int to, double t) {
  return values[from] + (t - time[from]) / (time[to] - time[from]) * (values[to] - values[from]);
}

double history_at(const double *time, const double *values, int count, double t) {
  if (count == 0) {
    return NAN;
  }
  if (count == 1 || t <= time[0]) {
    return values[0];
  }
  if (t >= time[count - 1]) {
    return values[count - 1];
  }
  int first = history_place(time, count, t) - 1;
  first = first < 0 ? 0 : first;
  first = first > count - 4 ? count - 4 : first;
  if (first < 0 || !is_even(time, first)) {
    int k = history_place(time, count, t);
    return line_at(time, values, k, k + 1, t);
  }
  double sum = 0.0;
  for (int i = first; i < first + 4; i++) {
    double weight = 1.0;
    for (int j = first; j < first + 4; j++) {
      weight *= j == i ? 1.0 : (t - time[j]) / (time[i] - time[j]);
    }
    sum += weight * values[i];
  }
  return sum;
}

/* What sample k is off by when it is read from its neighbours. */
static double lack_of(const double *time, const double *values, int count, int k, double straight) {
  if (k < 1 || k > count - 2) {
    return 0.0;
  }
  bool even = k >= 3 && k <= count - 4 && is_even(time, k - 3) && is_even(time, k);
  if (even) {
    double cubic = (9.0 * (values[k - 1] + values[k + 1]) - values[k - 3] - values[k + 3]) / 16.0;
    return 0.5 * fabs(cubic - values[k]);
  }
  return isnan(straight) ? fabs(line_at(time, values, k - 1, k + 1, time[k]) - values[k]) : straight;
}

double history_doubt(const double *time, const double *values, int count, double t, double straight) {
  if (count < 2 || t <= time[0] || t >= time[count - 1]) {
    return 0.0;
  }
  int k = history_place(time, count, t);
  double nearest = fmin(t - time[k], time[k + 1] - t);
  if (nearest <= UNEVEN * 1e-3 * (time[k + 1] - time[k])) {
    return 0.0;
  }
  double left = lack_of(time, values, count, k, straight);
  double right = lack_of(time, values, count, k + 1, straight);
  if (isnan(straight) && k == 0) { /* nothing lies on the other side */
    return right + lack_of(time, values, count, 2, straight);
  }
  if (isnan(straight) && k == count - 2) {
    return left + lack_of(time, values, count, count - 3, straight);
  }
  return fmax(left, right);
}

int history_thin(const double *time, const double *const *columns, int column_count, int count, double share,
                 int *kept) {
  double tolerance[HISTORY_SIGNALS];
  for (int c = 0; c < column_count; c++) {
    double low = INFINITY;
    double high = -INFINITY;
    for (int i = 0; i < count; i++) {
      low = fmin(low, columns[c][i]);
      high = fmax(high, columns[c][i]);
    }
    tolerance[c] = share * (high - low);
  }
  int kept_count = 0;
  int anchor = 0;
  /* Slopes from the anchor that pass every sample since within the tolerance; a line drawn to one of these samples
   * stays within twice the tolerance of all. */
  double steepest[HISTORY_SIGNALS];
  double flattest[HISTORY_SIGNALS];
  if (count > 0) {
    kept[kept_count++] = 0;
  }
  for (int i = 1; i < count; i++) {
    bool fits = true;
    for (int c = 0; c < column_count; c++) {
      if (i == anchor + 1) {
        steepest[c] = INFINITY;
        flattest[c] = -INFINITY;
      }
      double over = 1.0 / (time[i] - time[anchor]);
      double rise = columns[c][i] - columns[c][anchor];
      steepest[c] = fmin(steepest[c], (rise + tolerance[c]) * over);
      flattest[c] = fmax(flattest[c], (rise - tolerance[c]) * over);
      fits = fits && flattest[c] <= steepest[c];
    }
    if (!fits && i > anchor + 1) {
      anchor = i - 1;
      kept[kept_count++] = anchor;
      i--; /* judge it again from the new anchor */
    }
  }
  if (count > 1) {
    kept[kept_count++] = count - 1;
  }
  return kept_count;
}
