/* What the operator asks for, through the controls, of engine, pump, motor and brake. Wiring only. Private to
 * models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_COMMANDS_H
#define SWASHLOOP_MODELS_TRANSMISSION_COMMANDS_H

#include "transmission.h"

struct commands {
  struct operator_demand demand; /* of pedals or engine speed, before the controls */
  real throttle;                 /* engine set speed over engine.set_speed */
  real ratio_asked;              /* speed ratio before its ramp; this and the next three where controls work on it */
  real ratio;                    /* that is given */
  real load;                     /* fuel that the governor asks for over what may burn */
  real cut;                      /* share of the ratio that the anti-stall control takes */
  real stroke;                   /* of the pump, -1 to 1 */
  real motor_part[AXLE_LIMIT];   /* how far the axle's motor is asked to go down, 0 to 1, after its delay */
  real brake;                    /* service brake, 0 to 1 */
};

/* Engine set speed over engine.set_speed, by throttle and accelerator. */
static inline real set_speed_share(const struct transmission_parameters *own, const real *channels) {
  if (own->operator.layout != OPERATOR_ACCELERATOR_AND_DIRECTION) {
    return channels[CHANNEL_throttle];
  }
  return controls_set_speed(&own->controls, channels[CHANNEL_throttle] * own->engine.set_speed,
                            channels[CHANNEL_accelerator]) /
         own->engine.set_speed;
}

/* Fuel that the engine can burn with the air it has, over full fuel. */
static inline real smoke_limit_of(const struct transmission_model *model, const real *x) {
  return model->own.turbocharger.fitted == TURBOCHARGER_FITTED
             ? turbocharger_smoke_limit(&model->own.turbocharger, x[STATE_boost])
             : broadcast(1.0);
}

/* Fuel that the governor asks for over what may burn, 0 or more, of a full state vector. */
static inline real engine_load_of(const struct transmission_model *model, const real *channels, const real *x) {
  const struct transmission_parameters *own = &model->own;
  real asked = engine_asked_fuel(&own->engine, x[STATE_engine_speed], set_speed_share(own, channels),
                                 x[STATE_governor_integral]);
  return max0(asked) / smoke_limit_of(model, x);
}

/* What the operator's levers ask for at an engine speed; `driven`: the pedal of a driver, forward positive, which takes
 * their place. */
static inline struct operator_demand demand_of(const struct transmission_parameters *own, const real *channels,
                                               real engine_speed, real driven) {
  if (own->driver.drives == DRIVER_DRIVES) {
    return operator_demand_by(&own->operator, driven);
  }
  bool by_speed = own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
  return operator_demand_of(&own->operator, channels,
                            by_speed ? controls_drive(&own->controls, engine_speed) : broadcast(0.0));
}

/* Speed ratio that is asked for at the rims' speed, before its ramp. */
static inline real ratio_asked_of(const struct transmission_parameters *own, const struct operator_demand *demand,
                                  real rim_speed) {
  real ratio = controls_ratio(demand->stroke, demand->motor_part, own->motor.smallest);
  return own->controls.reversal == CONTROLS_REVERSAL_HELD
             ? ratio * controls_reversal_share(&own->controls, ratio, rim_speed)
             : ratio;
}

/* The commands; x is the full state vector, `rim_speed` that of the rear wheels, m/s. */
static inline void commands_of(const struct transmission_model *model, const struct transmission_mode *mode,
                               const real *channels, const real *x, real rim_speed, struct commands *commands) {
  const struct transmission_parameters *own = &model->own;
  const struct controls_parameters *controls = &own->controls;
  commands->throttle = set_speed_share(own, channels);
  commands->demand = demand_of(own, channels, x[STATE_engine_speed], x[STATE_driver_pedal]);
  commands->stroke = commands->demand.stroke;
  real part = commands->demand.motor_part;
  commands->brake = channels[CHANNEL_brake];
  if (model->shapes_ratio) {
    commands->brake = controls_brake(controls, channels[CHANNEL_brake], channels[CHANNEL_inching]);
    commands->load = broadcast(0.0);
    commands->cut = broadcast(0.0);
    commands->ratio_asked = ratio_asked_of(own, &commands->demand, rim_speed);
    commands->ratio = controls->ramp == CONTROLS_RAMP_RATIO ? x[STATE_ratio_command] : commands->ratio_asked;
    commands->ratio *= controls_inching_share(controls, channels[CHANNEL_inching]);
    if (controls->anti_stall == CONTROLS_ANTI_STALL_BY_LOAD) {
      commands->load = engine_load_of(model, channels, x);
      commands->cut = controls_load_cut(controls, commands->load, x[STATE_anti_stall_integral]);
      commands->ratio *= 1.0 - commands->cut;
    }
    commands->stroke = controls_stroke_for(commands->ratio);
    part = controls_part_for(commands->ratio, own->motor.smallest);
  }
  if (own->driver.drives == DRIVER_DRIVES) {
    commands->brake = larger(commands->brake, x[STATE_driver_brake]);
  }
  for (int i = 0; i < model->axle_count; i++) {
    commands->motor_part[i] = select_where(mode->motor_waits[i], larger(part, mode->motor_waits_at[i]), part);
  }
  commands->stroke *= swash_underspeed_share(&own->swash, x[STATE_engine_speed]);
}

/* Signals of the controls, where there are any beyond the pedals. */
static inline void control_signals(const struct transmission_model *model, const struct commands *commands,
                                   const real *channels, real *signals) {
  if (model->own.operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION) {
    signals[SIGNAL_engine_set_speed] = commands->throttle * model->own.engine.set_speed;
    signals[SIGNAL_accelerator] = channels[CHANNEL_accelerator];
  }
  if (model->shapes_ratio) {
    signals[SIGNAL_inching] = channels[CHANNEL_inching];
    signals[SIGNAL_ratio_command] = commands->ratio;
    signals[SIGNAL_engine_load] = commands->load;
    signals[SIGNAL_anti_stall_cut] = commands->cut;
  }
}

/* Event functions of the controls. */
static inline void control_events(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                                  const real *x, real rim_speed, real *values) {
  const struct transmission_parameters *own = &model->own;
  const struct controls_parameters *controls = &own->controls;
  values[EVENT_reversal] = broadcast(1.0);
  values[EVENT_anti_stall] = broadcast(1.0);
  if (!model->shapes_ratio) {
    return;
  }
  real moved[CHANNEL_COUNT];
  const real *channels = transmission_channel_values(mode, t, moved);
  if (controls->reversal == CONTROLS_REVERSAL_HELD) {
    real stroke = demand_of(own, channels, x[STATE_engine_speed], x[STATE_driver_pedal]).stroke;
    values[EVENT_reversal] =
        select_where(stroke * rim_speed < 0.0, controls->reversal_speed - fabs(rim_speed), broadcast(1.0));
  }
  if (controls->anti_stall == CONTROLS_ANTI_STALL_BY_LOAD) {
    values[EVENT_anti_stall] =
        0.01 - controls_load_cut(controls, engine_load_of(model, channels, x), x[STATE_anti_stall_integral]);
  }
}

#endif
