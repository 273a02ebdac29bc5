/* Third stage of the right-hand side: stores sum flows, torques and heat to the rates of their states. Wiring only.
 * Private to models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_DERIVATIVES_H
#define SWASHLOOP_MODELS_TRANSMISSION_DERIVATIVES_H

#include "transmission_elements.h"

/* Those of the driver, and of the load on board. */
static inline void driver_rates(const struct transmission_model *model, const struct transmission_mode *mode,
                                const real *channels, const real *x, real *d) {
  const struct driver_parameters *driver = &model->own.driver;
  const struct driver_intent *intent = &mode->driver;
  real way = intent->direction;
  real felt = way * x[STATE_felt_speed];
  real aim = way * x[STATE_aim_speed];
  real integral = way * x[STATE_driver_integral];
  real wanted =
      driver_wanted(driver, intent, driver_sees(driver, intent, x[STATE_vehicle_distance], x[STATE_felt_speed]));
  real known = select_where(intent->pedals, driver_knows(driver, aim), broadcast(0.0));
  real asked = select_where(intent->pedals, driver_asked(driver, known, aim, felt, integral), broadcast(0.0));
  d[STATE_felt_speed] = driver_felt_rate(driver, x[STATE_felt_speed], x[STATE_vehicle_speed]);
  d[STATE_aim_speed] = way * driver_aim_rate(driver, aim, felt, wanted);
  d[STATE_driver_integral] = way * driver_integral_rate(driver, asked, known, integral);
  d[STATE_driver_pedal] =
      way * driver_pedal_rate(driver, way * x[STATE_driver_pedal], asked) * (1.0 - channels[CHANNEL_pedals_stuck]);
  d[STATE_driver_brake] = driver_brake_rate(driver, intent, x[STATE_driver_brake],
                                            driver_excess_of(driver, felt, wanted, x[STATE_engine_speed]));
  d[STATE_load] = intent->load_rate;
}

/* d(state)/dt of the active states, SI: runs the first two stages, then the third. */
static inline void rates_of(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                            const real *state, real *rates) {
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  real d[STATE_COUNT];
  transmission_spread(model, state, x);
  struct node_values now;
  node_values_of(model, mode, t, x, &now);
  struct element_outputs e;
  element_outputs_of(model, mode, &now, t, x, &e);
  real throttle = e.commands.throttle;
  real supply = select_where(mode->burning, 1.0 - e.channels[CHANNEL_engine_off], broadcast(0.0));
  real most = smoke_limit_of(model, x);
  real asked = engine_asked_fuel(&own->engine, now.engine_speed, throttle, x[STATE_governor_integral]);

  d[STATE_engine_speed] = select_where(mode->held, broadcast(0.0),
                                       (e.combustion + e.starter - e.engine_friction - e.exhaust_brake - e.auxiliaries -
                                        e.implement - e.pump_torque - e.charge_torque) /
                                           own->engine.inertia);
  d[STATE_fuel] = engine_fuel_rate(&own->engine, x[STATE_fuel], smaller(asked, most), supply);
  if (own->engine.governor == ENGINE_ISOCHRONOUS) {
    d[STATE_governor_integral] = engine_integral_rate(&own->engine, now.engine_speed, throttle, asked, most);
  }
  if (own->fuel.law != FUEL_NOT_COUNTED) {
    d[STATE_fuel_used] = fuel_rate(&own->fuel, e.combustion, e.engine_friction, now.engine_speed);
  }
  if (own->turbocharger.fitted == TURBOCHARGER_FITTED) {
    d[STATE_boost] = turbocharger_boost_rate(&own->turbocharger, x[STATE_boost], x[STATE_fuel], now.engine_speed,
                                             own->engine.set_speed);
  }
  d[STATE_line_a_compression] = volume_compression_rate(
      own->lines.volume_a, e.pump_flow - e.pump_slip - e.pump_case_a - e.motor_flow_a - e.relief_a +
                               relief_arrives(&own->relief, RELIEF_TO_LINE, e.relief_b) + e.check_a - e.flush_a -
                               e.hose_a);
  d[STATE_line_b_compression] = volume_compression_rate(
      own->lines.volume_b, -e.pump_flow + e.pump_slip - e.pump_case_b + e.motor_flow_b - e.relief_b +
                               relief_arrives(&own->relief, RELIEF_TO_LINE, e.relief_a) + e.check_b - e.flush_b -
                               e.hose_b);
  d[STATE_charge_compression] = volume_compression_rate(
      own->lines.volume_charge, e.charge_flow - e.check_a - e.check_b - e.charge_relief_flow - e.servo_flow +
                                    relief_arrives(&own->relief, RELIEF_TO_GALLERY, e.relief_a + e.relief_b));
  d[STATE_control_pressure] = swash_control_rate(&own->swash, x[STATE_control_pressure], e.commands.stroke);
  if (own->controls.ramp == CONTROLS_RAMP_RATIO) {
    d[STATE_ratio_command] = x[STATE_ratio_motion];
    d[STATE_ratio_motion] = controls_ramp_rate(&own->controls, x[STATE_ratio_command], x[STATE_ratio_motion],
                                               e.commands.ratio_asked, own->motor.smallest);
  }
  if (own->controls.anti_stall == CONTROLS_ANTI_STALL_BY_LOAD) {
    d[STATE_anti_stall_integral] =
        controls_load_integral_rate(&own->controls, e.commands.cut, x[STATE_anti_stall_integral]);
  }
  if (own->driver.drives == DRIVER_DRIVES) {
    driver_rates(model, mode, e.channels, x, d);
  }
  d[STATE_pump_stroke] = e.stroke_rate;
  if (own->swash.servo == SWASH_SECOND_ORDER) {
    d[STATE_swash_motion] = swash_motion_rate(&own->swash, &own->limiter, x[STATE_pump_stroke], x[STATE_swash_motion],
                                              e.limiter, now.gallery_over_case);
  }
  real alive = 1.0 - e.channels[CHANNEL_limiter_dead];
  d[STATE_limiter_a] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_a], now.a_over_case, alive);
  d[STATE_limiter_b] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_b], now.b_over_case, alive);
  real thickness = own->relief.law == RELIEF_POPPET ? now.viscosity / model->relief_viscosity : broadcast(1.0);
  relief_rates(&own->relief, x + STATE_RELIEF_A, now.relief_drop_a, thickness, d + STATE_RELIEF_A);
  relief_rates(&model->relief_b, x + STATE_RELIEF_B, now.relief_drop_b, thickness, d + STATE_RELIEF_B);
  d[STATE_charge_relief_opening] =
      charge_relief_opening_rate(&own->charge, x[STATE_charge_relief_opening], now.gallery_over_case);
  d[STATE_flushing_shuttle] = flushing_shuttle_rate(&own->flushing, x[STATE_flushing_shuttle], now.drop);
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    const struct axle_node_values *at = &now.axles[i];
    const struct axle_outputs *gives = &e.axles[i];
    d[axle->wheel_speed] = (gives->drive_torque - gives->gear_loss - axle->driveline->wheel_radius * gives->traction -
                            gives->brake_torque) /
                           axle->driveline->wheel_inertia;
    if (own->tyre.law == TYRE_RELAXATION) {
      d[axle->tyre_slip] = gives->slip_rate;
    }
    if (own->brake.heat == BRAKE_ONE_MASS) {
      d[axle->brake_temperature] =
          (brake_loss(model, mode, axle, gives, at->wheel_speed, x) -
           brake_cooling(&axle->brake, x[axle->brake_temperature], own->heat.ambient, at->wheel_speed)) /
          brake_heat_capacity(&axle->brake);
    }
    if (axle->motor != NULL && axle->motor->friction == MOTOR_FRICTION_STICK) {
      d[axle->motor_friction] = gives->motor_friction_rate;
    }
    if (axle->driveline->friction == DRIVELINE_STICK) {
      d[axle->gear_friction] = gives->gear_friction_rate;
    }
    if (own->brake.law == BRAKE_STICK) {
      d[axle->brake_torque] =
          brake_torque_rate(&axle->brake, gives->brake_share, mode->brake_off, x[axle->brake_torque], at->wheel_speed);
    }
    if (axle->motor != NULL) {
      real seen = motor_override_pressure(axle->motor, x[STATE_pump_stroke], at->port_a, at->port_b) - now.cases;
      d[axle->motor_override] = motor_override_rate(axle->motor, x[axle->motor_override], seen);
      d[axle->motor_displacement] =
          motor_share_rate(axle->motor, x[axle->motor_displacement],
                           motor_command(axle->motor, e.commands.motor_part[i]), x[axle->motor_override]);
    }
  }
  if (model->geared) {
    d[STATE_motor_shaft_speed] =
        (e.axles[0].motor_torque - e.gear_torque[0] - e.gear_torque[1]) / own->gearbox.motor_inertia;
    d[STATE_gear_clutch_a] = e.gear_rate[0];
    d[STATE_gear_clutch_b] = e.gear_rate[1];
  }
  if (model->transfers) {
    d[STATE_transfer_torque] = e.transfer_rate;
  }
  real acceleration = acceleration_of(model, &e, &now);
  d[STATE_vehicle_speed] = acceleration;
  d[STATE_vehicle_distance] = now.speed;
  d[STATE_felt_acceleration] = (acceleration - x[STATE_felt_acceleration]) / own->vehicle.pitch_lag;
  struct heat_streams streams = heat_streams_of(model, &e, &now);
  d[STATE_loop_temperature] = heat_loop_rate(&own->heat, &streams, &now.heat);
  if (own->heat.nodes == HEAT_FOUR_NODES) {
    d[STATE_loop_metal_temperature] = heat_metal_rate(&own->heat, &now.heat);
    d[STATE_case_temperature] = heat_case_rate(&own->heat, &streams, &now.heat);
  }
  if (model->gallery_has_heat) {
    d[STATE_gallery_temperature] = heat_gallery_rate(&own->heat, &streams, &now.heat);
  }
  d[STATE_tank_temperature] = heat_tank_rate(&own->heat, &streams, &now.heat, model->gallery_has_heat, e.cooler);
  d[STATE_tank_oil] = e.case_flow - e.charge_flow;
  if (own->lines.cases == LINES_CASES_DRAINED) {
    d[STATE_case_compression] = volume_compression_rate(own->lines.case_volume, e.case_inflow - e.case_flow);
  }
  d[STATE_oil_lost] = e.hose_a + e.hose_b;
  transmission_gather(model, d, rates);
}

#endif
