/* The operator: channels over time, and what pump and motor are asked for.
 *
 * `pedal_and_direction` (reference law): one pedal 0 to 1 and a direction -1 to 1.
 * `two_pedals`: one each way; the net pedal is f (1 - r/d)+ - r (1 - f/d)+ with d the interlock, so that one pedal
 * alone works plainly and both pressed beyond d give no drive.
 * `accelerator_and_direction`: an accelerator sets the engine's speed, and that commands the drive (controls.h), which
 * takes the place of the pedal; the direction is a lever, forward 1, neutral 0, reverse -1.
 * The first part of the pedal (the split, a third by common practice, no source) strokes the pump, the rest brings the
 * motor from its largest to its smallest displacement.
 *
 * Channels come from tables; an action of the case takes a channel over and moves it in a straight line. */
#ifndef SWASHLOOP_MODELS_OPERATOR_H
#define SWASHLOOP_MODELS_OPERATOR_H

#include "field.h"

enum operator_layout { OPERATOR_PEDAL_AND_DIRECTION, OPERATOR_TWO_PEDALS, OPERATOR_ACCELERATOR_AND_DIRECTION };

/* clang-format off */
#define OPERATOR_FIELDS(REAL, CHOICE, TABLE)                                                                           \
  CHOICE(layout, OPERATOR_TWO_PEDALS, "pedal_and_direction|two_pedals|accelerator_and_direction", "", "what the operator has")                       \
  TABLE(pedal, TIME, FRACTION, 0.0, 100.0, "u", "pedal over time", "layout pedal_and_direction and driver.drives no") \
  TABLE(direction, TIME, FRACTION, -100.0, 100.0, "dir", "direction over time; empty: forward", "layout pedal_and_direction|accelerator_and_direction and driver.drives no") \
  TABLE(forward_pedal, TIME, FRACTION, 0.0, 100.0, "", "forward pedal over time", "layout two_pedals and driver.drives no") \
  TABLE(reverse_pedal, TIME, FRACTION, 0.0, 100.0, "", "reverse pedal over time", "layout two_pedals and driver.drives no") \
  TABLE(accelerator, TIME, FRACTION, 0.0, 100.0, "", "accelerator over time", "layout accelerator_and_direction") \
  TABLE(inching, TIME, FRACTION, 0.0, 100.0, "", "inching pedal over time", "controls.inching cut|cut_and_brake") \
  TABLE(brake, TIME, FRACTION, 0.0, 100.0, "b", "friction brake over time")                                            \
  TABLE(exhaust_brake, TIME, FRACTION, 0.0, 100.0, "", "exhaust brake over time")                                      \
  TABLE(throttle, TIME, FRACTION, 10.0, 150.0, "", "engine set speed over the engine's set_speed, over time; empty: 100 %") \
  TABLE(park_brake, TIME, FRACTION, 0.0, 100.0, "", "park brake over time")                                            \
  TABLE(starter, TIME, FRACTION, 0.0, 100.0, "", "starter over time")                                                  \
  TABLE(draft, TIME, FRACTION, 0.0, 100.0, "", "draft of the implement over time; empty: 100 %")                        \
  TABLE(gear, TIME, NUMBER, 1.0, 4.0, "", "gear that is asked for, over time, in steps; empty: 1", "gearbox.law standstill|under_load") \
  TABLE(implement_power, TIME, POWER, 0.0, 5000.0, "", "power that the implement asks of the engine's shaft, over time; empty: none", "implement.law power") \
  TABLE(implement_flow, TIME, FLOW, 0.0, 5000.0, "", "flow that the implement asks for, over time; empty: none", "implement.law flow_and_pressure") \
  TABLE(implement_pressure, TIME, PRESSURE, 0.0, 700.0, "", "pressure of the implement's circuit over time; empty: none", "implement.law flow_and_pressure") \
  TABLE(transfer_clutch, TIME, FRACTION, 0.0, 100.0, "", "clutch of the transfer case over its torque, over time; empty: 100 %", "transfer_case.law clutch|limited") \
  REAL(pump_share, FRACTION, 33.333333333333333, 1.0, 100.0, NONE, "", "part of the pedal that strokes the pump; the rest is the motor's") \
  REAL(interlock, FRACTION, 5.0, 0.1, 50.0, NONE, "", "one pedal pressed this far takes all drive from the other", "layout two_pedals and driver.drives no")
/* clang-format on */

struct operator_parameters {
  OPERATOR_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct operator_parameters
static const struct field operator_fields[] = {OPERATOR_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* The channels of the operator: CHANNEL(name, what it is). Each has a table of the same name in OPERATOR_FIELDS. */
#define OPERATOR_CHANNELS(CHANNEL)                                                                                     \
  CHANNEL(pedal, "drive pedal (layout pedal_and_direction)")                                                           \
  CHANNEL(direction, "direction, forward 100 %, reverse -100 %")                                                       \
  CHANNEL(forward_pedal, "forward pedal (layout two_pedals)")                                                          \
  CHANNEL(reverse_pedal, "reverse pedal (layout two_pedals)")                                                          \
  CHANNEL(accelerator, "accelerator (layout accelerator_and_direction)")                                               \
  CHANNEL(inching, "inching pedal (controls.inching)")                                                                 \
  CHANNEL(brake, "service brake")                                                                                      \
  CHANNEL(exhaust_brake, "exhaust brake")                                                                              \
  CHANNEL(throttle, "engine set speed over engine.set_speed")                                                          \
  CHANNEL(park_brake, "park brake")                                                                                    \
  CHANNEL(starter, "starter of a stalled engine")                                                                      \
  CHANNEL(draft, "draft of the implement over vehicle.draft")                                                          \
  CHANNEL(transfer_clutch, "clutch of the transfer case over its torque")

/* Those that are amounts, not shares: CHANNEL(name, quantity, what it is). */
#define OPERATOR_AMOUNTS(CHANNEL)                                                                                      \
  CHANNEL(gear, NUMBER, "gear lever: the gear that is asked for, from 1")                                              \
  CHANNEL(implement_power, POWER, "power that the implement asks of the engine's shaft")                               \
  CHANNEL(implement_flow, FLOW, "flow that the implement asks for")                                                    \
  CHANNEL(implement_pressure, PRESSURE, "pressure of the implement's circuit")

/* Faults are channels as well, 0 when sound and 1 when broken; only actions move them (fault.h says what each does). */
#define FAULT_CHANNELS(CHANNEL)                                                                                        \
  CHANNEL(charge_lost, "fault: the charge pump delivers nothing")                                                      \
  CHANNEL(hose_burst_a, "fault: main line A is open to the air")                                                       \
  CHANNEL(hose_burst_b, "fault: main line B is open to the air")                                                       \
  CHANNEL(relief_a_stuck_open, "fault: relief valve A stands open")                                                    \
  CHANNEL(relief_b_stuck_open, "fault: relief valve B stands open")                                                    \
  CHANNEL(relief_a_stuck_shut, "fault: relief valve A passes nothing")                                                 \
  CHANNEL(relief_b_stuck_shut, "fault: relief valve B passes nothing")                                                 \
  CHANNEL(swash_stuck, "fault: the swash does not move")                                                               \
  CHANNEL(limiter_dead, "fault: the pressure limiter does nothing")                                                    \
  CHANNEL(filter_blocked, "fault: the charge filter is blocked")                                                       \
  CHANNEL(cooler_dead, "fault: the cooler takes no heat")                                                              \
  CHANNEL(engine_off, "fault: no fuel")                                                                                \
  CHANNEL(pedals_stuck, "fault: the pedals stay where they are")

enum operator_channel {
#define OPERATOR_CHANNEL_ID(name, ...) CHANNEL_##name,
  OPERATOR_CHANNELS(OPERATOR_CHANNEL_ID) OPERATOR_AMOUNTS(OPERATOR_CHANNEL_ID) FAULT_CHANNELS(OPERATOR_CHANNEL_ID)
#undef OPERATOR_CHANNEL_ID
      CHANNEL_COUNT,
  CHANNEL_FAULT_FIRST = CHANNEL_charge_lost
};

/* What a channel does when its table is empty. */
static inline double operator_resting_value(enum operator_channel channel) {
  return channel == CHANNEL_direction || channel == CHANNEL_throttle || channel == CHANNEL_draft ||
                 channel == CHANNEL_transfer_clutch || channel == CHANNEL_gear
             ? 1.0
             : 0.0;
}

/* What pump and motor are asked for. */
struct operator_demand {
  real pedal;      /* net, -1 to 1, forward positive */
  real stroke;     /* -1 to 1 */
  real motor_part; /* the pedal's part beyond the split, 0 to 1: how far the motor is asked to go down */
};

/* Net pedal of the law `two_pedals`, -1 to 1, forward positive. */
static inline real operator_net_pedal(const struct operator_parameters *asks, real forward, real reverse) {
  return forward * max0(1.0 - reverse / asks->interlock) - reverse * max0(1.0 - forward / asks->interlock);
}

/* How far the motor is asked to go down by a pedal of 0 to 1. */
static inline real operator_motor_part(const struct operator_parameters *asks, real pressed) {
  real rest = 1.0 - asks->pump_share;
  return select_where(rest > 0.0, clamp01((pressed - asks->pump_share) / rest), broadcast(0.0));
}

/* What a net pedal asks for, -1 to 1, forward positive. */
static inline struct operator_demand operator_demand_by(const struct operator_parameters *asks, real pedal) {
  struct operator_demand demand;
  demand.pedal = pedal;
  demand.stroke = saturate(pedal / asks->pump_share, 1.0);
  demand.motor_part = operator_motor_part(asks, fabs(pedal));
  return demand;
}

/* What the channels (by enum operator_channel) ask of pump and motor; `drive`: that of the engine speed, 0 to 1, which
 * counts in the layout accelerator_and_direction alone. */
static inline struct operator_demand operator_demand_of(const struct operator_parameters *asks, const real *channels,
                                                        real drive) {
  struct operator_demand demand;
  real pressed;
  if (asks->layout == OPERATOR_TWO_PEDALS) {
    return operator_demand_by(
        asks, operator_net_pedal(asks, channels[CHANNEL_forward_pedal], channels[CHANNEL_reverse_pedal]));
  }
  if (asks->layout == OPERATOR_ACCELERATOR_AND_DIRECTION) {
    pressed = drive;
    demand.pedal = channels[CHANNEL_direction] * channels[CHANNEL_accelerator];
    demand.stroke = channels[CHANNEL_direction] * smaller(1.0, drive / asks->pump_share);
  } else {
    pressed = channels[CHANNEL_pedal];
    demand.pedal = channels[CHANNEL_direction] * pressed;
    demand.stroke = channels[CHANNEL_direction] * smaller(1.0, pressed / asks->pump_share);
  }
  demand.motor_part = operator_motor_part(asks, pressed);
  return demand;
}

#endif
