#include "envelope_stretches.h"

#include <stdlib.h>

/* The chords at each crossing: two at the most, -1 where there is none. */
struct links {
  int (*chords)[2];
  bool *used; /* [chord] */
};

static bool make_links(const struct envelope *envelope, struct links *links) {
  links->chords = calloc((size_t)envelope->crossing_count + 1, sizeof *links->chords);
  links->used = calloc((size_t)envelope->chord_count + 1, sizeof *links->used);
  if (links->chords == NULL || links->used == NULL) {
    return false;
  }
  for (int c = 0; c < envelope->crossing_count; c++) {
    links->chords[c][0] = -1;
    links->chords[c][1] = -1;
  }
  for (int i = 0; i < envelope->chord_count; i++) {
    for (int e = 0; e < 2; e++) {
      int *at = links->chords[envelope->chords[i].ends[e]];
      at[at[0] < 0 ? 0 : 1] = i;
    }
  }
  return true;
}

static int label_of(const struct envelope *envelope, int crossing) {
  return envelope->runs[envelope->crossings[crossing].other].label;
}

/* A chord that leads on from this crossing; -1: none. */
static int next_chord(const struct links *links, int crossing) {
  for (int e = 0; e < 2; e++) {
    int chord = links->chords[crossing][e];
    if (chord >= 0 && !links->used[chord]) {
      return chord;
    }
  }
  return -1;
}

/* Append a crossing; another label begins another stretch, which shares the crossing before it. */
static void append(struct envelope *envelope, int crossing, bool begins) {
  struct envelope_stretch *stretch = begins ? NULL : &envelope->stretches[envelope->stretch_count - 1];
  int label = label_of(envelope, crossing);
  if (stretch == NULL || label != stretch->label) {
    int shared = begins ? -1 : envelope->order[envelope->order_count - 1];
    envelope->stretches[envelope->stretch_count++] =
        (struct envelope_stretch){envelope->order_count, shared >= 0 ? 1 : 0, label, false};
    stretch = &envelope->stretches[envelope->stretch_count - 1];
    if (shared >= 0) {
      envelope->order[envelope->order_count++] = shared;
    }
  }
  envelope->order[envelope->order_count++] = crossing;
  stretch->count++;
}

/* Follow one curve from a crossing to its end. */
static void follow(struct envelope *envelope, const struct links *links, int start) {
  int first = envelope->stretch_count;
  int at = start;
  append(envelope, at, true);
  for (int chord = next_chord(links, at); chord >= 0; chord = next_chord(links, at)) {
    const int *ends = envelope->chords[chord].ends;
    links->used[chord] = true;
    at = ends[0] == at ? ends[1] : ends[0];
    append(envelope, at, false);
  }
  if (at == start && envelope->stretch_count == first + 1) {
    envelope->stretches[first].closed = true;
  }
}

bool envelope_stretches(struct envelope *envelope, struct error *error) {
  struct links links = {0};
  size_t room = 2 * (size_t)(envelope->crossing_count + envelope->chord_count) + 2;
  envelope->order = calloc(room, sizeof *envelope->order);
  envelope->stretches = calloc(room, sizeof *envelope->stretches);
  bool good = make_links(envelope, &links) && envelope->order != NULL && envelope->stretches != NULL;
  /* Curves with ends first, then those that close. */
  for (int pass = 0; good && pass < 2; pass++) {
    for (int c = 0; c < envelope->crossing_count; c++) {
      if (next_chord(&links, c) >= 0 && (pass == 1 || links.chords[c][1] < 0)) {
        follow(envelope, &links, c);
      }
    }
  }
  free(links.chords);
  free(links.used);
  return good || error_set(error, ERROR_MEMORY, "no memory for the envelope");
}
