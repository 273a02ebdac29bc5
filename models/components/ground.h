/* The ground: grade (tangent of the slope, uphill positive) over distance, piecewise linear, in its simplest form the
 * grade at one point; over a wheelbase L the grade that the machine feels is the mean between its axles, the rise from
 * s - L/2 to s + L/2 over L. The right-hand side sees two straight pieces, one at each axle, kept in the mode; the run
 * restarts where an axle meets a kink, so that no bump is stepped over, however short.
 *
 * The soil may change along the way: tables of grip, cone index and rolling resistance over distance, taken at the
 * middle of the machine; an empty table leaves the tyre's own number. Their pieces are kept in the mode as well. */
#ifndef SWASHLOOP_MODELS_GROUND_H
#define SWASHLOOP_MODELS_GROUND_H

#include "field.h"

/* clang-format off */
#define GROUND_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  TABLE(grade, LENGTH, FRACTION, -150.0, 150.0, "", "grade over distance, uphill positive")                            \
  TABLE(grip, LENGTH, NUMBER, 0.0, 2.0, "", "largest traction over load, over distance; empty: the tyre's", "tyre.ground hard")             \
  TABLE(cone_index, LENGTH, PRESSURE, 0.5, 100.0, "", "cone index over distance; empty: the tyre's", "tyre.ground gee_clough|brixius") \
  TABLE(rolling_resistance, LENGTH, NUMBER, 0.0, 1.0, "", "rolling resistance over load, over distance; empty: the tyre's", "tyre.ground hard") \
  REAL(wheelbase, LENGTH, 0.0, 0.0, 100.0, NONE, "", "length over which the grade is averaged; 0 takes it at one point")
/* clang-format on */

struct ground_parameters {
  GROUND_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct ground_parameters
static const struct field ground_fields[] = {GROUND_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Where an axle is: its piece of the grade, and the height at the piece's start, counted from s = 0. */
struct ground_contact {
  struct piece piece; /* of the grade over distance: tangent, uphill positive, over m */
  real height;        /* m, where the piece starts */
};

/* Rise along a piece from its start to s: the integral of the grade. */
static inline real ground_rise(const struct piece *piece, real s) {
  real along = s - piece->start;
  return along * (piece->value + 0.5 * piece->slope * along);
}

/* Height of the ground at distance s, m over that at the start; the contact must hold there. */
static inline real ground_height(const struct ground_contact *contact, real s) {
  return contact->height + ground_rise(&contact->piece, s);
}

#if REAL_LANES == 1 /* modes change in plain kernels only */

/* From the contact on one piece to that on the piece with `index` points at or left of it. Heights are summed point by
 * point on the way, so that a long track costs no more than what is passed. */
static inline struct ground_contact ground_contact_move(const struct profile *grade, const struct ground_contact *from,
                                                        int index) {
  struct ground_contact contact = {profile_piece(grade, index), from->height};
  int present = from->piece.index;
  for (int i = present > 1 ? present : 1; i < index; i++) {
    contact.height += 0.5 * (grade->value[i] + grade->value[i - 1]) * (grade->argument[i] - grade->argument[i - 1]);
  }
  for (int i = present - 1; i >= index && i >= 1; i--) {
    contact.height -= 0.5 * (grade->value[i] + grade->value[i - 1]) * (grade->argument[i] - grade->argument[i - 1]);
  }
  return contact;
}

/* The contact on the piece with `index` points at or left of it, its height counted from the first point. */
static inline struct ground_contact ground_contact_on(const struct profile *grade, int index) {
  struct ground_contact start = {profile_piece(grade, 0), 0.0};
  return ground_contact_move(grade, &start, index);
}

#endif

/* Grade felt at s. */
static inline real ground_grade(real wheelbase, const struct ground_contact *rear, const struct ground_contact *front,
                                real s) {
  real half = 0.5 * wheelbase;
  return select_where_rare(wheelbase > 0.0,
                           (ground_height(front, s + half) - ground_height(rear, s - half)) / wheelbase,
                           piece_at(&rear->piece, s));
}

#endif
