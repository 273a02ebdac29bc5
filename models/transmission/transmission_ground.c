/* The pieces of grade and soil that the machine stands on: kept in the mode, changed where an axle meets a kink. A
 * course that is repeated lays its ground on again behind its end: what the tables hold is then moved by its offset. */
#include "transmission.h"

static const struct profile *soil_table(const struct transmission_model *model, int i) {
  const struct ground_parameters *ground = &model->own.ground;
  return i == 0 ? &ground->grip : (i == 1 ? &ground->cone_index : &ground->rolling_resistance);
}

/* A piece of the tables moved on by the course's offset. */
static void move_on(struct piece *piece, double offset) {
  piece->start += offset;
  piece->low += offset;
  piece->high += offset;
}

/* The contact at `place`, s being counted from the start of the run. */
static struct ground_contact contact_at(const struct profile *grade, double place, double offset) {
  struct ground_contact contact = ground_contact_on(grade, profile_next_index(grade, place - offset, true));
  move_on(&contact.piece, offset);
  piece_reach(&contact.piece, place);
  return contact;
}

static struct piece soil_at(const struct profile *table, double place, bool ahead, double offset) {
  struct piece piece = profile_next_piece(table, place - offset, ahead);
  move_on(&piece, offset);
  piece_reach(&piece, place);
  return piece;
}

void transmission_place_on_ground(const struct transmission_model *model, struct transmission_mode *mode, real s) {
  const struct profile *grade = &model->own.ground.grade;
  real half = 0.5 * model->own.ground.wheelbase;
  double offset = mode->course.offset;
  mode->rear = contact_at(grade, s - half, offset);
  mode->front = contact_at(grade, s + half, offset);
  for (int i = 0; i < SOIL_TABLES; i++) {
    mode->soil[i] = soil_at(soil_table(model, i), s, true, offset);
  }
}

/* The next piece of the grade under an axle, ahead or behind. */
static struct ground_contact next_contact(const struct profile *grade, const struct ground_contact *contact, bool ahead,
                                          double offset) {
  real edge = ahead ? contact->piece.high : contact->piece.low;
  struct ground_contact next = ground_contact_move(grade, contact, profile_next_index(grade, edge - offset, ahead));
  move_on(&next.piece, offset);
  piece_reach(&next.piece, edge);
  return next;
}

void transmission_ground_change(const struct transmission_model *model, struct transmission_mode *mode, int which) {
  const struct profile *grade = &model->own.ground.grade;
  double offset = mode->course.offset;
  if (which == GUARD_REAR_AHEAD || which == GUARD_REAR_BEHIND) {
    mode->rear = next_contact(grade, &mode->rear, which == GUARD_REAR_AHEAD, offset);
  } else if (which == GUARD_FRONT_AHEAD || which == GUARD_FRONT_BEHIND) {
    mode->front = next_contact(grade, &mode->front, which == GUARD_FRONT_AHEAD, offset);
  } else {
    int i = (which - GUARD_GRIP_AHEAD) / 2;
    bool ahead = (which - GUARD_GRIP_AHEAD) % 2 == 0;
    mode->soil[i] = soil_at(soil_table(model, i), ahead ? mode->soil[i].high : mode->soil[i].low, ahead, offset);
  }
}
