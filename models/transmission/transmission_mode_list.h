/* A mode laid out in one order, so that a plain one can be copied into a lane. Private to models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_MODE_LIST_H
#define SWASHLOOP_MODELS_TRANSMISSION_MODE_LIST_H

#include "transmission.h"

/* Everything of a mode that kernels read, as lists in one order: by them a plain mode is copied into a lane. */
struct transmission_mode_list {
  int number_count;
  real *numbers[OPEN_NUMBERS];
  mask *flags[OPEN_FLAGS];
  const struct profile **tables[OPEN_TABLES]; /* of smooth pieces; NULL ones are straight */
};

enum { DRIVER_NUMBERS = 8, PIECE_NUMBERS = 5, MODE_PIECES = CHANNEL_COUNT + 2 + SOIL_TABLES + GEARBOX_SLOTS };
_Static_assert((int)OPEN_TABLES >= (int)MODE_PIECES && OPEN_NUMBERS >= MODE_PIECES * PIECE_NUMBERS + CHANNEL_COUNT + 4 +
                                                                           AXLE_LIMIT + 2 * GEARBOX_SLOTS +
                                                                           DRIVER_NUMBERS,
               "a mode laid open has room for all of it");

/* Where everything of a mode that kernels read lies, in the order of the list. */
static inline void transmission_mode_list(struct transmission_mode *mode, struct transmission_mode_list *list) {
  struct piece *pieces[MODE_PIECES];
  int count = 0;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    pieces[count++] = &mode->channels[i].piece;
  }
  pieces[count++] = &mode->rear.piece;
  pieces[count++] = &mode->front.piece;
  for (int i = 0; i < SOIL_TABLES; i++) {
    pieces[count++] = &mode->soil[i];
  }
  for (int i = 0; i < GEARBOX_SLOTS; i++) {
    pieces[count++] = &mode->gear_clutch[i];
  }
  int n = 0;
  for (int i = 0; i < MODE_PIECES; i++) {
    real *own[PIECE_NUMBERS] = {&pieces[i]->start, &pieces[i]->value, &pieces[i]->slope, &pieces[i]->low,
                                &pieces[i]->high};
    memcpy(list->numbers + n, own, sizeof own);
    n += PIECE_NUMBERS;
    list->tables[i] = EACH(pieces[i]->smooth);
  }
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    list->numbers[n++] = &mode->resting[i];
  }
  list->numbers[n++] = &mode->rear.height;
  list->numbers[n++] = &mode->front.height;
  for (int i = 0; i < AXLE_LIMIT; i++) {
    list->numbers[n++] = &mode->motor_waits_at[i];
  }
  list->numbers[n++] = &mode->gear;
  list->numbers[n++] = &mode->engaged_is_a;
  for (int i = 0; i < GEARBOX_SLOTS; i++) {
    list->numbers[n++] = &mode->gear_ratio[i];
    list->numbers[n++] = &mode->gear_efficiency[i];
  }
  struct driver_intent *driver = &mode->driver;
  real *intent[DRIVER_NUMBERS] = {&driver->direction, &driver->speed, &driver->line,      &driver->low,
                                  &driver->high,      &driver->stop,  &driver->load_rate, &driver->leg};
  memcpy(list->numbers + n, intent, sizeof intent);
  list->number_count = n + DRIVER_NUMBERS;
  mask *flags[OPEN_FLAGS] = {&mode->command_forward, &mode->burning,        &mode->held,           &mode->starting,
                             &mode->brake_off,       &mode->motor_waits[0], &mode->motor_waits[1], &mode->shift_due,
                             &driver->drives,        &driver->pedals,       &driver->watches,      &driver->brakes,
                             &driver->brake_on};
  memcpy(list->flags, flags, sizeof flags);
}

#endif
