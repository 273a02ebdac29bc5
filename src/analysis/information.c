#include "information.h"

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LARGEST_MEMORY 0.98
#define TINY 1e-12  /* of the largest singular value */
#define UNSEEN 1e-6 /* of the largest singular value */
#define NO_PART 1e-3

enum { CLASS_LEAST = 8, LEAST_WORTH = 1 };

/* Score and curvature of every residual. */
struct scores {
  double *score;
  double *weight;
};

static double sum_over(const struct observation *observation, int noise, const double *values, bool squared) {
  double sum = 0.0;
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    for (long k = channel->first; channel->noise == noise && k < channel->first + channel->count; k++) {
      sum += squared ? values[k] * values[k] : values[k];
    }
  }
  return sum;
}

/* Weights are not negative: the Gauss-Newton ones, brought to the sum of the true curvatures. */
static void find_scores(const struct observation *observation, const double *model, const struct scores *scores) {
  for (int n = 0; n < observation->noise_count; n++) {
    const struct observation_noise *noise = &observation->noises[n];
    double curves = 0.0;
    double gauss = 0.0;
    for (int pass = 0; pass < 2; pass++) {
      for (int c = 0; c < observation->channel_count; c++) {
        const struct observation_channel *channel = &observation->channels[c];
        for (long k = channel->first; channel->noise == n && k < channel->first + channel->count; k++) {
          struct loss_point point = loss_at(observation->loss, (model[k] - observation->values[k]) / noise->scale,
                                            0.5 * noise->quantum / noise->scale);
          double weight = point.cost > 1e-9 ? 0.5 * point.score * point.score / point.cost : fmax(point.curve, 0.0);
          curves += pass == 0 ? point.curve : 0.0;
          gauss += pass == 0 ? weight : 0.0;
          scores->score[k] = point.score;
          scores->weight[k] = gauss > 0.0 ? weight * fmax(curves, 0.0) / gauss : 0.0;
        }
      }
    }
  }
}

/* Correlation of a channel's scores from one to the next; only what stands out of chance, and above zero. */
static double find_memory(const struct observation *observation, int noise, const double *score) {
  double products = 0.0;
  double squares = 0.0;
  long count = 0;
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    for (long k = channel->first; channel->noise == noise && k < channel->first + channel->count; k++) {
      products += k > channel->first ? score[k] * score[k - 1] : 0.0;
      squares += score[k] * score[k];
      count++;
    }
  }
  double found = squares > 0.0 && count > 4 ? products / squares : 0.0;
  return fmin(fmax(found, 0.0), LARGEST_MEMORY);
}

/* J of one noise, in the basis of the directions: `basis` holds the weighted derivatives along each over its singular
 * value, so that nothing of a direction that is hardly seen drowns in the rounding of one that is. */
static void add_spread(const struct observation *observation, int noise, const double *basis, int count, double memory,
                       double excess, double *spread) {
  double own[ESTIMATE_UNKNOWNS];
  double before[ESTIMATE_UNKNOWNS];
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    memset(own, 0, sizeof own);
    memset(before, 0, sizeof before);
    for (long k = channel->first; channel->noise == noise && k < channel->first + channel->count; k++) {
      for (int i = 0; i < count; i++) {
        before[i] = memory * (before[i] + own[i]);
        own[i] = basis[(size_t)i * (size_t)observation->count + (size_t)k];
      }
      for (int i = 0; i < count; i++) {
        for (int j = 0; j < count; j++) {
          spread[i * count + j] += excess * (own[i] * own[j] + own[i] * before[j] + before[i] * own[j]);
        }
      }
    }
  }
}

/* A singular value, not quite nothing. */
static double least_singular(const struct information *information, int d) {
  return fmax(information->singular[d], TINY * fmax(information->singular[0], 1e-300));
}

/* Singular values and directions of the weighted derivatives, and from them the naive covariance. */
static bool decompose(const struct observation *observation, const struct scores *scores, const double *columns,
                      int count, double *basis, struct information *information) {
  size_t m = (size_t)observation->count;
  double *matrix = malloc(m * (size_t)count * sizeof *matrix);
  double *rows = malloc((size_t)count * (size_t)count * sizeof *rows);
  double super[ESTIMATE_UNKNOWNS];
  bool good = matrix != NULL && rows != NULL;
  for (int i = 0; good && i < count; i++) {
    for (int c = 0; c < observation->channel_count; c++) {
      const struct observation_channel *channel = &observation->channels[c];
      double scale = observation->noises[channel->noise].scale;
      for (long k = channel->first; k < channel->first + channel->count; k++) {
        matrix[(size_t)i * m + (size_t)k] = sqrt(scores->weight[k]) / scale * columns[(size_t)i * m + (size_t)k];
      }
    }
  }
  good = good && LAPACKE_dgesvd(LAPACK_COL_MAJOR, 'S', 'S', (int)m, count, matrix, (int)m, information->singular, basis,
                                (int)m, rows, count, super) == 0;
  for (int d = 0; good && d < count; d++) {
    double value = least_singular(information, d);
    bool unseen = information->singular[d] < UNSEEN * information->singular[0];
    for (int i = 0; i < count; i++) { /* of a direction that is not seen at all small parts are noise of differences */
      double part = rows[d + i * count];
      information->directions[d][i] = unseen && fabs(part) < NO_PART ? 0.0 : part;
    }
    for (int i = 0; i < count; i++) {
      for (int k = 0; k < count; k++) {
        information->naive[i][k] += information->directions[d][i] * information->directions[d][k] / (value * value);
      }
    }
  }
  free(matrix);
  free(rows);
  return good;
}

/* H^-1 J H^-1 out of J in the basis of the directions. */
static void sandwich(const struct information *information, const double *spread, double *covariance) {
  int n = information->count;
  memset(covariance, 0, (size_t)n * (size_t)n * sizeof *covariance);
  for (int d = 0; d < n; d++) {
    for (int e = 0; e < n; e++) {
      double part = spread[d * n + e] / (least_singular(information, d) * least_singular(information, e));
      for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
          covariance[i * n + k] += part * information->directions[d][i] * information->directions[e][k];
        }
      }
    }
  }
}

static void find_robust(const struct observation *observation, const struct scores *scores, const double *basis,
                        struct information *information) {
  int n = information->count;
  size_t size = (size_t)n * (size_t)n;
  double *spread = calloc(size, sizeof *spread);
  double *covariance = calloc(size, sizeof *covariance);
  double *shares = calloc((size_t)n, sizeof *shares); /* sum of squared parts of the variance over their freedom */
  for (int g = 0; spread != NULL && covariance != NULL && shares != NULL && g < observation->noise_count; g++) {
    const struct observation_noise *noise = &observation->noises[g];
    double weights = sum_over(observation, g, scores->weight, false);
    double squares = sum_over(observation, g, scores->score, true);
    double memory = find_memory(observation, g, scores->score);
    information->memory[g] = memory;
    double excess = weights > 0.0 ? fmax(squares / weights, 0.0) : 1.0;
    /* The scale is the likelihood's own business where its errors are normal: it was made free of bias. */
    bool plain = observation->loss == LOSS_NORMAL && !noise->given;
    excess = plain ? fmax(excess, 1.0) : excess;
    memset(spread, 0, size * sizeof *spread);
    add_spread(observation, g, basis, n, memory, excess, spread);
    sandwich(information, spread, covariance);
    double freedom = fmax(noise->worth * (1.0 - memory * memory) / (1.0 + memory * memory), LEAST_WORTH);
    for (int i = 0; i < n; i++) {
      shares[i] += covariance[i * n + i] * covariance[i * n + i] / freedom;
      for (int k = 0; k < n; k++) {
        information->robust[i][k] += covariance[i * n + k];
      }
    }
  }
  for (int i = 0; i < n; i++) {
    double variance = information->robust[i][i];
    information->freedom[i] = shares != NULL && shares[i] > 0.0 ? variance * variance / shares[i] : INFINITY;
  }
  free(spread);
  free(covariance);
  free(shares);
}

bool information_find(const struct observation *observation, const double *model, const double *columns, int count,
                      struct information *information) {
  memset(information, 0, sizeof *information);
  information->count = count;
  if (count < 1 || observation->count <= count) {
    return false;
  }
  size_t bytes = ((size_t)observation->count + 1) * sizeof(double);
  struct scores scores = {malloc(bytes), malloc(bytes)};
  double *basis = malloc(bytes * (size_t)count);
  bool good = scores.score != NULL && scores.weight != NULL && basis != NULL;
  if (good) {
    find_scores(observation, model, &scores);
    good = decompose(observation, &scores, columns, count, basis, information);
  }
  if (good) {
    double slope[ESTIMATE_UNKNOWNS] = {0.0};
    find_robust(observation, &scores, basis, information);
    for (int c = 0; c < observation->channel_count; c++) {
      const struct observation_channel *channel = &observation->channels[c];
      double scale = observation->noises[channel->noise].scale;
      for (int i = 0; i < count; i++) {
        const double *column = columns + (size_t)i * (size_t)observation->count;
        for (long k = channel->first; k < channel->first + channel->count; k++) {
          slope[i] += scores.score[k] * column[k] / scale;
        }
      }
    }
    for (int i = 0; i < count; i++) {
      for (int k = 0; k < count; k++) {
        information->toward[i] -= information->naive[i][k] * slope[k];
      }
    }
  }
  free(scores.score);
  free(scores.weight);
  free(basis);
  return good;
}

double information_student(double freedom) {
  /* By its expansion about the normal one (Abramowitz and Stegun 26.7.5); exact where it is poor. */
  const double z = 1.959963984540054;
  if (freedom < 1.5) {
    return 12.706;
  }
  if (freedom < 2.5) {
    return 4.303;
  }
  double z3 = z * z * z;
  double z5 = z3 * z * z;
  double z7 = z5 * z * z;
  return z + (z3 + z) / (4.0 * freedom) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * freedom * freedom) +
         (3.0 * z7 + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / (384.0 * pow(freedom, 3.0)) +
         (79.0 * z7 * z * z + 776.0 * z7 + 1482.0 * z5 - 1920.0 * z3 - 945.0 * z) / (92160.0 * pow(freedom, 4.0));
}

/* ---- unrest ---- */

struct class_sums {
  double count;
  double sum;
  double squares;
};

static double mean_of(const struct class_sums *own) {
  return own->sum / own->count;
}

static double variance_of_mean(const struct class_sums *own) {
  double mean = mean_of(own);
  return fmax(own->squares / own->count - mean * mean, 0.0) / (own->count - 1.0);
}

double information_unrest(const struct observation *observation, const double *model, const double *slopes) {
  struct class_sums rest = {0};
  struct class_sums move = {0};
  for (int c = 0; c < observation->channel_count; c++) {
    const struct observation_channel *channel = &observation->channels[c];
    const struct observation_noise *noise = &observation->noises[channel->noise];
    if (noise->quantum > 2.0 * noise->scale) {
      continue; /* where a signal rests its rounding does too: the two cannot be compared */
    }
    for (long k = channel->first + 1; k < channel->first + channel->count; k++) {
      double sample = observation->times[k] - observation->times[k - 1];
      double score = loss_at(observation->loss, (model[k] - observation->values[k]) / noise->scale,
                             0.5 * noise->quantum / noise->scale)
                         .score;
      struct class_sums *own = fabs(slopes[k]) * sample > noise->scale ? &move : &rest;
      own->count += 1.0;
      own->sum += score * score;
      own->squares += score * score * score * score;
    }
  }
  if (rest.count < CLASS_LEAST || move.count < CLASS_LEAST) {
    return 0.0;
  }
  return (mean_of(&move) - mean_of(&rest)) / sqrt(variance_of_mean(&move) + variance_of_mean(&rest));
}
