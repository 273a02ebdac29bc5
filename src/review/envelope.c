#include "envelope.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "envelope_stretches.h"

enum { GENERATIONS = 14, NARROWINGS = 40, RUNS_MOST = 1000000 };

static bool no_memory(struct error *error) {
  error_set(error, ERROR_MEMORY, "no memory for the envelope");
  return false;
}

/* Room for one more of `size` bytes in a list that grows. */
static bool grow(void **list, int count, int *room, size_t size, struct error *error) {
  if (count < *room) {
    return true;
  }
  int larger = *room > 0 ? 2 * *room : 64;
  void *grown = larger <= RUNS_MOST ? realloc(*list, (size_t)larger * size) : NULL;
  if (grown == NULL) {
    return no_memory(error);
  }
  *list = grown;
  *room = larger;
  return true;
}

/* A run that is still to be made; its number, -1 without memory. */
static int add_run(struct envelope *envelope, double x, double y, struct error *error) {
  void *list = envelope->runs;
  bool good = grow(&list, envelope->run_count, &envelope->run_room, sizeof *envelope->runs, error);
  envelope->runs = list;
  if (!good) {
    return -1;
  }
  envelope->runs[envelope->run_count] = (struct envelope_run){.at = {x, y}};
  return envelope->run_count++;
}

static int add_crossing(struct envelope *envelope, int one, int other, struct error *error) {
  void *list = envelope->crossings;
  bool good = grow(&list, envelope->crossing_count, &envelope->crossing_room, sizeof *envelope->crossings, error);
  envelope->crossings = list;
  if (!good) {
    return -1;
  }
  bool kept = envelope->runs[one].kept;
  envelope->crossings[envelope->crossing_count] = (struct envelope_crossing){kept ? one : other, kept ? other : one};
  return envelope->crossing_count++;
}

static bool add_chord(struct envelope *envelope, int a, int b, struct error *error) {
  void *list = envelope->chords;
  bool good = grow(&list, envelope->chord_count, &envelope->chord_room, sizeof *envelope->chords, error);
  envelope->chords = list;
  if (good) {
    envelope->chords[envelope->chord_count++] = (struct envelope_chord){{a, b}};
  }
  return good;
}

/* Make all runs from number `from` on. */
static bool make_runs(const struct envelope_question *question, struct envelope *envelope, int from,
                      struct error *error) {
  int count = envelope->run_count - from;
  return count == 0 || question->ask(question->context, envelope->runs + from, count, error);
}

static double distance(const double *a, const double *b) {
  return hypot(a[0] - b[0], a[1] - b[1]);
}

void envelope_place(const struct envelope *envelope, int crossing, double *at) {
  const struct envelope_crossing *c = &envelope->crossings[crossing];
  for (int i = 0; i < 2; i++) {
    at[i] = 0.5 * (envelope->runs[c->kept].at[i] + envelope->runs[c->other].at[i]);
  }
}

/* ---- narrowing ---- */

/* Where between the two sides to look next, as a share from the kept one: the first two tries by the margins, a little
 * on either side of where these say that nothing is left, then halves. */
static double next_share(const struct envelope_run *kept, const struct envelope_run *other, double accuracy,
                         int tries) {
  double gap = distance(kept->at, other->at);
  double zero = kept->margin / (kept->margin - other->margin);
  if (tries >= 2 || !isfinite(zero) || !(zero > 0.0 && zero < 1.0)) {
    return 0.5;
  }
  double aside = 0.45 * accuracy / gap;
  return fmin(fmax(zero + (tries == 0 ? -aside : aside), 0.1), 0.9);
}

/* Narrow the crossings from number `from` on until both sides lie within the accuracy. */
static bool narrow(const struct envelope_question *question, struct envelope *envelope, int from, struct error *error) {
  for (int tries = 0; tries < NARROWINGS; tries++) {
    int before = envelope->run_count;
    for (int c = from; c < envelope->crossing_count; c++) {
      const struct envelope_run *kept = &envelope->runs[envelope->crossings[c].kept];
      const struct envelope_run *other = &envelope->runs[envelope->crossings[c].other];
      if (distance(kept->at, other->at) <= question->accuracy) {
        continue;
      }
      double share = next_share(kept, other, question->accuracy, tries);
      double x = kept->at[0] + share * (other->at[0] - kept->at[0]);
      double y = kept->at[1] + share * (other->at[1] - kept->at[1]);
      if (add_run(envelope, x, y, error) < 0) {
        return false;
      }
    }
    if (envelope->run_count == before) {
      return true;
    }
    if (!make_runs(question, envelope, before, error)) {
      return false;
    }
    int made = before;
    for (int c = from; c < envelope->crossing_count; c++) {
      struct envelope_crossing *crossing = &envelope->crossings[c];
      if (distance(envelope->runs[crossing->kept].at, envelope->runs[crossing->other].at) > question->accuracy) {
        *(envelope->runs[made].kept ? &crossing->kept : &crossing->other) = made;
        made++;
      }
    }
  }
  return true;
}

/* ---- one quantity ---- */

static bool find_along(const struct envelope_question *question, struct envelope *envelope, struct error *error) {
  for (int i = 0; i < question->scan; i++) {
    if (add_run(envelope, (double)i / (question->scan - 1), 0.0, error) < 0) {
      return false;
    }
  }
  envelope->scan_count = question->scan;
  if (!make_runs(question, envelope, 0, error)) {
    return false;
  }
  for (int i = 0; i + 1 < question->scan; i++) {
    if (envelope->runs[i].kept != envelope->runs[i + 1].kept && add_crossing(envelope, i, i + 1, error) < 0) {
      return false;
    }
  }
  return narrow(question, envelope, 0, error);
}

/* ---- two quantities ---- */

/* The crossing on each edge of the grid; -1 without one. Along the first quantity, then along the second. */
static bool find_edges(const struct envelope_question *question, struct envelope *envelope, int *edges,
                       struct error *error) {
  int n = question->scan;
  for (int direction = 0; direction < 2; direction++) {
    for (int i = 0; i < n; i++) {
      for (int j = 0; j < n; j++) {
        int *edge = &edges[(direction * n + i) * n + j];
        int here = i * n + j;
        int next = direction == 0 ? here + n : here + 1;
        bool inside = direction == 0 ? i + 1 < n : j + 1 < n;
        *edge = -1;
        if (inside && envelope->runs[here].kept != envelope->runs[next].kept) {
          *edge = add_crossing(envelope, here, next, error);
          if (*edge < 0) {
            return false;
          }
        }
      }
    }
  }
  return narrow(question, envelope, 0, error);
}

/* Crossings round a square, in order: below, right, above, left (the first quantity runs to the right). */
static int crossings_of(const int *edges, int n, int i, int j, int *found) {
  const int around[4] = {edges[i * n + j], edges[(n + i + 1) * n + j], edges[i * n + j + 1], edges[(n + i) * n + j]};
  int count = 0;
  for (int e = 0; e < 4; e++) {
    if (around[e] >= 0) {
      found[count++] = around[e];
    }
  }
  return count;
}

/* Join the crossings of each square. With four of them two corners keep and two do not, crosswise: the run in the
 * middle tells which are joined. */
static bool join_squares(const struct envelope_question *question, struct envelope *envelope, const int *edges,
                         struct error *error) {
  int n = question->scan;
  int before = envelope->run_count;
  int found[4];
  for (int i = 0; i + 1 < n; i++) {
    for (int j = 0; j + 1 < n; j++) {
      if (crossings_of(edges, n, i, j, found) == 4 &&
          add_run(envelope, (i + 0.5) / (n - 1), (j + 0.5) / (n - 1), error) < 0) {
        return false;
      }
    }
  }
  if (!make_runs(question, envelope, before, error)) {
    return false;
  }
  int middle = before;
  for (int i = 0; i + 1 < n; i++) {
    for (int j = 0; j + 1 < n; j++) {
      int count = crossings_of(edges, n, i, j, found);
      bool good = true;
      if (count == 2) {
        good = add_chord(envelope, found[0], found[1], error);
      } else if (count == 4) {
        /* The corner between left and below is cut off unless it is joined to the middle. */
        bool joined = envelope->runs[middle++].kept == envelope->runs[i * n + j].kept;
        good = add_chord(envelope, found[0], found[joined ? 1 : 3], error) &&
               add_chord(envelope, found[2], found[joined ? 3 : 1], error);
      }
      if (!good) {
        return false;
      }
    }
  }
  return true;
}

/* A chord whose middle is being looked for: from its middle outwards (or inwards, where the middle is not kept). */
struct look {
  double middle[2];
  double step[2]; /* unit vector */
  double reach;   /* how far the next look lies */
  double most;
  int nearest; /* run on the side of the middle */
  int found;   /* crossing; -1 none */
  bool over;
};

static int label_of(const struct envelope *envelope, int crossing) {
  return envelope->runs[envelope->crossings[crossing].other].label;
}

static void aim(const struct envelope *envelope, const struct envelope_chord *chord, struct look *look) {
  double a[2];
  double b[2];
  envelope_place(envelope, chord->ends[0], a);
  envelope_place(envelope, chord->ends[1], b);
  double length = distance(a, b);
  double out = 0.0; /* which normal points out */
  for (int e = 0; e < 2; e++) {
    const struct envelope_crossing *crossing = &envelope->crossings[chord->ends[e]];
    const double *kept = envelope->runs[crossing->kept].at;
    const double *other = envelope->runs[crossing->other].at;
    out += (other[0] - kept[0]) * -(b[1] - a[1]) + (other[1] - kept[1]) * (b[0] - a[0]);
  }
  double sign = out >= 0.0 ? 1.0 : -1.0;
  *look = (struct look){.middle = {0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])},
                        .step = {-sign * (b[1] - a[1]) / length, sign * (b[0] - a[0]) / length},
                        .most = length,
                        .found = -1};
}

/* The next look outwards of every chord that has not found the boundary; false: all are over. */
static bool look_further(const struct envelope_question *question, struct envelope *envelope, struct look *looks,
                         int count, bool *any, struct error *error) {
  int before = envelope->run_count;
  for (int i = 0; i < count; i++) {
    struct look *look = &looks[i];
    double x = look->middle[0] + look->reach * look->step[0];
    double y = look->middle[1] + look->reach * look->step[1];
    look->over = look->over || look->reach > look->most || x < 0.0 || x > 1.0 || y < 0.0 || y > 1.0;
    if (!look->over && add_run(envelope, x, y, error) < 0) {
      return false;
    }
  }
  *any = envelope->run_count > before;
  if (!make_runs(question, envelope, before, error)) {
    return false;
  }
  int made = before;
  for (int i = 0; i < count; i++) {
    struct look *look = &looks[i];
    if (look->over) {
      continue;
    }
    if (envelope->runs[made].kept != envelope->runs[look->nearest].kept) {
      look->found = add_crossing(envelope, look->nearest, made, error);
      look->over = true;
      if (look->found < 0) {
        return false;
      }
    } else {
      look->nearest = made;
      look->reach *= 2.0;
    }
    made++;
  }
  return true;
}

static bool look_beside(const struct envelope_question *question, struct envelope *envelope,
                        const struct envelope_chord *open, struct look *looks, int count, struct error *error) {
  int before = envelope->run_count;
  int crossings = envelope->crossing_count;
  for (int i = 0; i < count; i++) {
    aim(envelope, &open[i], &looks[i]);
    looks[i].nearest = add_run(envelope, looks[i].middle[0], looks[i].middle[1], error);
    if (looks[i].nearest < 0) {
      return false;
    }
  }
  if (!make_runs(question, envelope, before, error)) {
    return false;
  }
  for (int i = 0; i < count; i++) {
    looks[i].reach = question->accuracy;
    if (!envelope->runs[looks[i].nearest].kept) { /* the boundary lies inwards */
      looks[i].step[0] = -looks[i].step[0];
      looks[i].step[1] = -looks[i].step[1];
    }
  }
  for (bool any = true; any;) {
    if (!look_further(question, envelope, looks, count, &any, error)) {
      return false;
    }
  }
  return narrow(question, envelope, crossings, error);
}

/* Is the chord near enough, and one limit's? Else its halves are looked at again. */
static bool is_settled(const struct envelope_question *question, struct envelope *envelope,
                       const struct envelope_chord *chord, const struct look *look) {
  double place[2];
  envelope_place(envelope, look->found, place);
  double off = distance(place, look->middle);
  int label = label_of(envelope, look->found);
  bool one = label == label_of(envelope, chord->ends[0]) && label == label_of(envelope, chord->ends[1]);
  bool settled = (off <= question->accuracy && one) || look->most <= 4.0 * question->accuracy;
  if (settled) {
    envelope->deviation = fmax(envelope->deviation, off);
  }
  return settled;
}

/* Chords as short as the ends are sure need no look. Leaves the others in `open`; returns how many, -1 without memory.
 */
static int drop_short(const struct envelope_question *question, struct envelope *envelope, struct envelope_chord *open,
                      int count, struct error *error) {
  int left = 0;
  for (int i = 0; i < count; i++) {
    double a[2];
    double b[2];
    envelope_place(envelope, open[i].ends[0], a);
    envelope_place(envelope, open[i].ends[1], b);
    if (distance(a, b) > 2.0 * question->accuracy) {
      open[left++] = open[i];
    } else if (!add_chord(envelope, open[i].ends[0], open[i].ends[1], error)) {
      return -1;
    }
  }
  return left;
}

/* One generation: the open chords are halved; returns in `open` those that are still open. */
static bool halve(const struct envelope_question *question, struct envelope *envelope, struct envelope_chord **open,
                  int *count, struct error *error) {
  *count = drop_short(question, envelope, *open, *count, error);
  if (*count < 0) {
    return false;
  }
  struct look *looks = calloc((size_t)*count + 1, sizeof *looks);
  struct envelope_chord *next = calloc(2 * (size_t)*count + 1, sizeof *next);
  int left = 0;
  bool good = (looks != NULL && next != NULL) || no_memory(error);
  good = good && look_beside(question, envelope, *open, looks, *count, error);
  for (int i = 0; good && i < *count; i++) {
    const struct envelope_chord *chord = &(*open)[i];
    if (looks[i].found < 0) {
      envelope->unresolved++;
      good = add_chord(envelope, chord->ends[0], chord->ends[1], error);
    } else if (is_settled(question, envelope, chord, &looks[i])) {
      good = add_chord(envelope, chord->ends[0], looks[i].found, error) &&
             add_chord(envelope, looks[i].found, chord->ends[1], error);
    } else {
      next[left++] = (struct envelope_chord){{chord->ends[0], looks[i].found}};
      next[left++] = (struct envelope_chord){{looks[i].found, chord->ends[1]}};
    }
  }
  free(looks);
  free(*open);
  *open = next;
  *count = left;
  return good;
}

static bool refine(const struct envelope_question *question, struct envelope *envelope, struct error *error) {
  struct envelope_chord *open = envelope->chords;
  int count = envelope->chord_count;
  envelope->chords = NULL;
  envelope->chord_count = 0;
  envelope->chord_room = 0;
  bool good = true;
  for (int g = 0; good && count > 0 && g < GENERATIONS; g++) {
    good = halve(question, envelope, &open, &count, error);
  }
  for (int i = 0; good && i < count; i++) {
    envelope->unresolved++;
    good = add_chord(envelope, open[i].ends[0], open[i].ends[1], error);
  }
  free(open);
  return good;
}

static bool find_across(const struct envelope_question *question, struct envelope *envelope, struct error *error) {
  int n = question->scan;
  double step = 1.0 / (n - 1);
  int *edges = calloc(2 * (size_t)n * (size_t)n, sizeof *edges);
  bool good = edges != NULL || no_memory(error);
  for (int i = 0; good && i < n * n; i++) {
    int column = i / n;
    int row = i % n;
    good = add_run(envelope, column * step, row * step, error) >= 0;
  }
  envelope->scan_count = envelope->run_count;
  good = good && make_runs(question, envelope, 0, error) && find_edges(question, envelope, edges, error) &&
         join_squares(question, envelope, edges, error) && refine(question, envelope, error) &&
         envelope_stretches(envelope, error);
  free(edges);
  return good;
}

bool envelope_find(const struct envelope_question *question, struct envelope *envelope, struct error *error) {
  *envelope = (struct envelope){0};
  return question->dimensions == 1 ? find_along(question, envelope, error) : find_across(question, envelope, error);
}

void envelope_free(struct envelope *envelope) {
  free(envelope->runs);
  free(envelope->crossings);
  free(envelope->chords);
  free(envelope->order);
  free(envelope->stretches);
  *envelope = (struct envelope){0};
}

double envelope_grid_runs(const struct envelope_question *question) {
  return pow(ceil(1.0 / question->accuracy) + 1.0, question->dimensions);
}
