/* The pedal by its tables, now and later: what a run asks to know when braking begins. Plain kernels only. Private to
 * models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_PEDALS_H
#define SWASHLOOP_MODELS_TRANSMISSION_PEDALS_H

#include "transmission.h"

/* The table of a channel. */
static inline const struct profile *channel_table(const struct transmission_model *model, int channel) {
  return &model->tables[channel];
}

/* The channels that give the pedal of a layout; returns how many. */
static inline int pedal_channels(const struct operator_parameters *asks, const int **channels) {
  static const int one[] = {CHANNEL_pedal, CHANNEL_inching};
  static const int two[] = {CHANNEL_forward_pedal, CHANNEL_reverse_pedal, CHANNEL_inching};
  static const int accelerator[] = {CHANNEL_accelerator, CHANNEL_direction, CHANNEL_inching};
  switch (asks->layout) {
  case OPERATOR_TWO_PEDALS:
    *channels = two;
    return (int)(sizeof two / sizeof two[0]);
  case OPERATOR_ACCELERATOR_AND_DIRECTION:
    *channels = accelerator;
    return (int)(sizeof accelerator / sizeof accelerator[0]);
  default:
    *channels = one;
    return (int)(sizeof one / sizeof one[0]);
  }
}

/* The pedal without its sign, and with what the inching pedal leaves of it, where `values` holds the channels that give
 * it. */
static inline real pedal_of(const struct transmission_parameters *own, const real *values) {
  real pedal = own->operator.layout == OPERATOR_TWO_PEDALS
                   ? operator_net_pedal(&own->operator, values[CHANNEL_forward_pedal], values[CHANNEL_reverse_pedal])
               : own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION
                   ? values[CHANNEL_accelerator] * values[CHANNEL_direction]
                   : values[CHANNEL_pedal];
  return fabs(pedal) * controls_inching_share(&own->controls, values[CHANNEL_inching]);
}

/* A channel's value at t by its table alone. */
static inline real table_value(const struct transmission_model *model, int channel, real t) {
  const struct profile *table = channel_table(model, channel);
  return table->count > 0 ? profile_at(table, t) : operator_resting_value((enum operator_channel)channel);
}

/* The pedal, without its sign, at t by the tables alone. */
static inline real table_pedal(const struct transmission_model *model, real t) {
  const int *channels;
  real values[CHANNEL_COUNT];
  int count = pedal_channels(&model->own.operator, & channels);
  for (int i = 0; i < count; i++) {
    values[channels[i]] = table_value(model, channels[i], t);
  }
  return pedal_of(&model->own, values);
}

/* The latest point of the pedal tables before t; -HUGE_VAL if there is none. */
static inline real point_before(const struct transmission_model *model, real t) {
  const int *channels;
  real latest = -HUGE_VAL;
  int count = pedal_channels(&model->own.operator, & channels);
  for (int i = 0; i < count; i++) {
    const struct profile *table = channel_table(model, channels[i]);
    int index = profile_index_before(table, t);
    if (index > 0) {
      latest = larger(latest, table->argument[index - 1]);
    }
  }
  return latest;
}

/* Start of the last fall of the pedal to zero in the tables; NaN without one. Asked of smooth tables only: they have no
 * kinks at which a run could see the fall begin. */
static inline real last_fall_to_zero(const struct transmission_model *model) {
  real later = point_before(model, HUGE_VAL);
  for (real t = point_before(model, later); t > -HUGE_VAL; later = t, t = point_before(model, t)) {
    if (table_pedal(model, later) != 0.0 || !(table_pedal(model, t) > 0.0)) {
      continue;
    }
    for (real earlier = point_before(model, t);
         earlier > -HUGE_VAL && table_pedal(model, earlier) > table_pedal(model, t);
         earlier = point_before(model, earlier)) {
      t = earlier;
    }
    return t;
  }
  return NAN;
}

/* Is any table that gives the pedal a smooth one? */
static inline bool has_smooth_pedal(const struct transmission_model *model) {
  const int *channels;
  bool smooth = false;
  int count = pedal_channels(&model->own.operator, & channels);
  for (int i = 0; i < count; i++) {
    smooth |= channel_table(model, channels[i])->smooth;
  }
  return smooth;
}

/* Does the channel ask for drive? */
static inline bool is_pedal(int channel) {
  return channel == CHANNEL_pedal || channel == CHANNEL_direction || channel == CHANNEL_forward_pedal ||
         channel == CHANNEL_reverse_pedal || channel == CHANNEL_accelerator;
}

/* A channel at a later time, as it will be if no action comes. */
static inline real channel_later(const struct transmission_model *model, const struct transmission_mode *mode,
                                 int channel, real t) {
  const struct channel_mode *now = &mode->channels[channel];
  if (now->taken) {
    return piece_at(&now->piece, smaller(t, now->piece.high));
  }
  return table_value(model, channel, t);
}

/* The pedal without its sign at a later time, as it will be if no action comes. */
static inline real pedal_later(const struct transmission_model *model, const struct transmission_mode *mode, real t) {
  const int *channels;
  real values[CHANNEL_COUNT];
  int count = pedal_channels(&model->own.operator, & channels);
  for (int i = 0; i < count; i++) {
    values[channels[i]] = channel_later(model, mode, channels[i], t);
  }
  return pedal_of(&model->own, values);
}

/* The next time after t at which the pedal may bend; HUGE_VAL if none. */
static inline real pedal_bends(const struct transmission_model *model, const struct transmission_mode *mode, real t) {
  const int *pedals;
  real next = HUGE_VAL;
  int count = pedal_channels(&model->own.operator, & pedals);
  for (int i = 0; i < count; i++) {
    const struct channel_mode *now = &mode->channels[pedals[i]];
    real high =
        now->taken
            ? now->piece.high
            : profile_piece(channel_table(model, pedals[i]), profile_index(channel_table(model, pedals[i]), t)).high;
    next = high > t ? smaller(next, high) : next;
  }
  return next;
}

#endif
