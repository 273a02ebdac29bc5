/* Which state's rate depends on which states, and on time: every place of the Jacobian that can be anything but zero,
 * read off the stages of the right-hand side (transmission_elements.h, transmission_derivatives.h). A place that is
 * missing here makes a method that relies on it slower, not wrong; tests/unit/test_linear_method.c looks for missing
 * ones by differences. */
#include "transmission.h"

#define ON(state) (UINT64_C(1) << STATE_##state)
#define BIT(state) (UINT64_C(1) << (state))

static const uint64_t lines = ON(line_a_compression) | ON(line_b_compression);
static const uint64_t swash = ON(control_pressure) | ON(pump_stroke) | ON(limiter_a) | ON(limiter_b) |
                              ON(swash_motion) | ON(charge_compression) | ON(case_compression); /* and servo oil */
static const uint64_t ground = ON(vehicle_distance) | ON(vehicle_speed) | ON(felt_acceleration) | ON(load);

/* Do these losses depend on the stroke? */
static bool by_stroke(const struct rotary_losses *losses) {
  return losses->by_stroke || (losses->map != NULL && losses->map->strokes > 1);
}

/* Leakage of pump and motors, and flushing: what leaves the loop. By coefficients it does not depend on speeds. */
static uint64_t outflow_of(const struct transmission_model *model) {
  const struct transmission_parameters *own = &model->own;
  uint64_t outflow = lines | ON(loop_temperature) | ON(flushing_shuttle) | ON(case_compression);
  outflow |= own->pump.losses == ROTARY_MAP ? ON(engine_speed) : 0;
  outflow |= by_stroke(&model->pump_losses) ? ON(pump_stroke) : 0;
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    outflow |= axle->motor != NULL && axle->motor->losses == ROTARY_MAP ? BIT(axle->wheel_speed) : 0;
    outflow |= axle->motor != NULL && by_stroke(&axle->motor_losses) ? BIT(axle->motor_displacement) : 0;
  }
  return outflow;
}

/* The states that are the positions of the relief valves. */
static uint64_t relief_positions_of(const struct transmission_model *model) {
  int position = relief_law_of(&model->own.relief)->position_state;
  return BIT(STATE_RELIEF_A + position) | BIT(STATE_RELIEF_B + position);
}

static void relief_sparsity_pattern(int first_state, uint64_t drop, uint64_t *on) {
  for (int i = 0; i < RELIEF_STATE_COUNT; i++) {
    const struct relief_dependence *by = &relief_rates_go_by[i];
    on[first_state + i] =
        (uint64_t)by->states << first_state | (by->drop ? drop : 0) | (by->thickness ? ON(loop_temperature) : 0);
  }
}

/* What the stroke asked for goes by, before its ramp. */
static uint64_t asked_of(const struct transmission_parameters *own) {
  bool by_engine = own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
  bool by_speed = own->controls.reversal == CONTROLS_REVERSAL_HELD;
  bool driven = own->driver.drives == DRIVER_DRIVES;
  return (by_engine ? ON(engine_speed) : 0) | (by_speed ? ON(wheel_speed) : 0) | (driven ? ON(driver_pedal) : 0);
}

/* What pump and motor are commanded by. */
static uint64_t commands_of(const struct transmission_parameters *own) {
  bool by_load = own->controls.anti_stall == CONTROLS_ANTI_STALL_BY_LOAD;
  return (own->controls.ramp == CONTROLS_RAMP_RATIO ? ON(ratio_command) : asked_of(own)) |
         (by_load ? ON(engine_speed) | ON(governor_integral) | ON(boost) | ON(anti_stall_integral) : 0);
}

static void axle_sparsity_pattern(const struct transmission_model *model, const struct axle *axle, uint64_t *on) {
  uint64_t tyre = BIT(axle->wheel_speed) | BIT(axle->tyre_slip) | ground;
  on[axle->wheel_speed] = tyre | BIT(axle->brake_torque) | BIT(axle->gear_friction) | PLANT_TIME;
  on[axle->gear_friction] = BIT(axle->gear_friction) | BIT(axle->wheel_speed);
  if (axle->motor != NULL) {
    uint64_t drive = lines | ON(loop_temperature) | BIT(axle->motor_displacement) | BIT(axle->motor_friction);
    on[axle->wheel_speed] |= drive;
    on[axle->gear_friction] |= drive;
    on[axle->motor_friction] =
        BIT(axle->motor_friction) | BIT(axle->wheel_speed) | BIT(axle->motor_displacement) | lines;
    if (model->has_hoses) { /* it sees the motor's ports */
      on[axle->motor_friction] |= ON(loop_temperature);
    }
    on[axle->motor_override] = BIT(axle->motor_override) | ON(pump_stroke) | lines | ON(case_compression);
    if (model->has_hoses) { /* it sees the motor's ports */
      on[axle->motor_override] |= BIT(axle->wheel_speed) | BIT(axle->motor_displacement) | ON(loop_temperature);
    }
    on[axle->motor_displacement] =
        BIT(axle->motor_displacement) | BIT(axle->motor_override) | commands_of(&model->own) | PLANT_TIME;
    on[STATE_line_a_compression] |= BIT(axle->motor_displacement) | BIT(axle->wheel_speed);
    on[STATE_line_b_compression] |= BIT(axle->motor_displacement) | BIT(axle->wheel_speed);
    on[STATE_loop_temperature] |= BIT(axle->wheel_speed) | BIT(axle->motor_friction);
  }
  on[axle->tyre_slip] = BIT(axle->tyre_slip) | BIT(axle->wheel_speed) | ON(vehicle_speed);
  uint64_t fades = model->own.brake.heat == BRAKE_ONE_MASS ? BIT(axle->brake_temperature) : 0;
  fades |= ON(driver_brake); /* what the brakes are applied by */
  on[axle->wheel_speed] |= fades;
  on[axle->brake_temperature] =
      fades | BIT(axle->brake_temperature) | BIT(axle->brake_torque) | BIT(axle->wheel_speed) | PLANT_TIME;
  on[axle->brake_torque] = fades | BIT(axle->brake_torque) | BIT(axle->wheel_speed) | PLANT_TIME;
  on[STATE_vehicle_speed] |= tyre;
}

/* What the speed of a motor goes into, by losses of any kind. */
static const int by_motor_speed[] = {STATE_line_a_compression, STATE_line_b_compression, STATE_loop_temperature,
                                     STATE_tank_oil,           STATE_case_temperature,   STATE_tank_temperature,
                                     STATE_case_compression,   STATE_motor_override};

/* One motor on both axles: its speed goes by both wheels, its torque to both. */
static void transfer_sparsity_pattern(uint64_t *on) {
  uint64_t wheels = ON(wheel_speed) | ON(front_wheel_speed);
  uint64_t motor = wheels | ON(transfer_torque) | PLANT_TIME | lines | ON(loop_temperature) | ON(motor_displacement);
  motor |= ON(motor_friction);
  on[STATE_motor_friction] |= wheels;
  on[STATE_gear_friction] |= motor;
  on[STATE_front_gear_friction] |= motor;
  on[STATE_wheel_speed] |= motor;
  on[STATE_front_wheel_speed] |= motor;
  on[STATE_transfer_torque] = wheels | ON(transfer_torque) | PLANT_TIME;
  for (size_t i = 0; i < sizeof by_motor_speed / sizeof by_motor_speed[0]; i++) {
    on[by_motor_speed[i]] |= wheels;
  }
}

/* A motor that turns by itself, and clutches between it and the axles. */
static void gearbox_sparsity_pattern(const struct transmission_model *model, uint64_t *on) {
  uint64_t wheels = ON(wheel_speed) | (model->transfers ? ON(front_wheel_speed) : 0);
  uint64_t box = wheels | ON(motor_shaft_speed) | ON(gear_clutch_a) | ON(gear_clutch_b) | PLANT_TIME;
  on[STATE_motor_shaft_speed] = box | lines | ON(loop_temperature) | ON(motor_displacement) | ON(motor_friction);
  on[STATE_motor_friction] |= ON(motor_shaft_speed);
  on[STATE_gear_friction] |= box;
  on[STATE_front_gear_friction] |= model->transfers ? box : 0;
  on[STATE_gear_clutch_a] = box;
  on[STATE_gear_clutch_b] = box;
  on[STATE_wheel_speed] |= box;
  on[STATE_front_wheel_speed] |= model->transfers ? box : 0;
  for (size_t i = 0; i < sizeof by_motor_speed / sizeof by_motor_speed[0]; i++) {
    on[by_motor_speed[i]] |= ON(motor_shaft_speed);
  }
}

/* A driver's rates; the load's goes by nothing. */
static void driver_sparsity_pattern(uint64_t *on) {
  uint64_t wants = ON(felt_speed) | ON(vehicle_distance);
  uint64_t asks = ON(aim_speed) | ON(felt_speed) | ON(driver_integral);
  on[STATE_felt_speed] = ON(felt_speed) | ON(vehicle_speed);
  on[STATE_aim_speed] = wants | ON(aim_speed);
  on[STATE_driver_integral] = asks;
  on[STATE_driver_pedal] = asks | ON(driver_pedal);
  on[STATE_driver_brake] = wants | ON(driver_brake) | ON(engine_speed);
}

static void full_pattern(const struct transmission_model *model, uint64_t *on) {
  bool to_gallery = model->own.relief.return_to == RELIEF_TO_GALLERY;
  uint64_t outflow = outflow_of(model);
  uint64_t relief_drop = lines | (to_gallery ? ON(charge_compression) : 0);
  uint64_t relief_positions = relief_positions_of(model);
  on[STATE_engine_speed] = ON(engine_speed) | ON(fuel) | ON(pump_stroke) | lines | ON(charge_compression) |
                           ON(loop_temperature) | ON(tank_temperature) | PLANT_TIME;
  on[STATE_fuel] = ON(fuel) | ON(engine_speed) | ON(governor_integral) | ON(boost) | PLANT_TIME;
  on[STATE_fuel_used] = ON(fuel) | ON(engine_speed);
  on[STATE_boost] = ON(boost) | ON(fuel) | ON(engine_speed);
  on[STATE_governor_integral] = ON(governor_integral) | ON(boost) | ON(engine_speed) | PLANT_TIME;
  on[STATE_line_a_compression] =
      outflow | ON(engine_speed) | ON(pump_stroke) | ON(charge_compression) | relief_positions | PLANT_TIME;
  on[STATE_line_b_compression] = on[STATE_line_a_compression];
  on[STATE_charge_compression] = swash | lines | ON(engine_speed) | ON(tank_temperature) | ON(charge_relief_opening) |
                                 (to_gallery ? relief_positions : 0) | PLANT_TIME;
  on[STATE_control_pressure] = ON(control_pressure) | ON(engine_speed) | commands_of(&model->own) | PLANT_TIME;
  on[STATE_ratio_command] = ON(ratio_motion);
  on[STATE_ratio_motion] = ON(ratio_command) | ON(ratio_motion) | asked_of(&model->own) | PLANT_TIME;
  on[STATE_anti_stall_integral] =
      ON(anti_stall_integral) | ON(engine_speed) | ON(governor_integral) | ON(boost) | PLANT_TIME;
  on[STATE_pump_stroke] = swash | PLANT_TIME;
  on[STATE_swash_motion] = swash;
  on[STATE_limiter_a] = ON(limiter_a) | ON(line_a_compression) | ON(case_compression) | PLANT_TIME;
  on[STATE_limiter_b] = ON(limiter_b) | ON(line_b_compression) | ON(case_compression) | PLANT_TIME;
  relief_sparsity_pattern(STATE_RELIEF_A, relief_drop, on);
  relief_sparsity_pattern(STATE_RELIEF_B, relief_drop, on);
  on[STATE_charge_relief_opening] = ON(charge_relief_opening) | ON(charge_compression) | ON(case_compression);
  on[STATE_flushing_shuttle] = ON(flushing_shuttle) | lines;
  on[STATE_vehicle_speed] = PLANT_TIME;
  on[STATE_vehicle_distance] = ON(vehicle_speed);
  on[STATE_loop_temperature] = outflow | ON(engine_speed) | relief_positions | ON(charge_compression) |
                               ON(tank_temperature) | ON(loop_metal_temperature) | PLANT_TIME;
  on[STATE_loop_temperature] |= ON(gallery_temperature) | ON(case_temperature);
  on[STATE_loop_metal_temperature] = ON(loop_metal_temperature) | ON(loop_temperature);
  on[STATE_tank_oil] =
      outflow | ON(engine_speed) | swash | ON(charge_relief_opening) | ON(tank_temperature) | PLANT_TIME;
  on[STATE_case_temperature] = outflow | swash | ON(charge_relief_opening) | ON(case_temperature) |
                               ON(gallery_temperature) | ON(tank_temperature) |
                               (model->own.pump.losses == ROTARY_MAP ? ON(engine_speed) : 0) | PLANT_TIME;
  on[STATE_gallery_temperature] = swash | lines | ON(engine_speed) | ON(charge_relief_opening) |
                                  (to_gallery ? relief_positions : 0) | ON(gallery_temperature) | ON(loop_temperature) |
                                  ON(case_temperature) | ON(tank_temperature) | PLANT_TIME;
  on[STATE_tank_oil] |= model->own.lines.cases == LINES_CASES_DRAINED ? ON(case_temperature) : 0;
  on[STATE_tank_temperature] = on[STATE_tank_oil] | ON(case_temperature) | ON(gallery_temperature);
  on[STATE_oil_lost] = lines | PLANT_TIME;
  on[STATE_case_compression] = on[STATE_case_temperature];
  bool by_content = model->own.lines.starved_flow == LINES_BY_CONTENT; /* voids collapse in what displaces */
  on[STATE_loop_temperature] |= by_content ? ON(pump_stroke) : 0;
  for (int i = 0; i < model->axle_count; i++) {
    axle_sparsity_pattern(model, &model->axles[i], on);
    on[STATE_loop_temperature] |=
        (by_content || model->has_hoses) && model->axles[i].motor != NULL ? BIT(model->axles[i].motor_displacement) : 0;
  }
  driver_sparsity_pattern(on);
  if (model->geared) {
    gearbox_sparsity_pattern(model, on);
  }
  if (model->transfers) {
    transfer_sparsity_pattern(on);
  }
  on[STATE_felt_acceleration] = on[STATE_vehicle_speed] | ON(felt_acceleration);
}

void transmission_sparsity_pattern(const void *model_, uint64_t *rows) {
  const struct transmission_model *model = model_;
  uint64_t on[STATE_COUNT] = {0};
  full_pattern(model, on);
  for (int i = 0; i < model->active_count; i++) {
    uint64_t full = on[model->active[i]];
    rows[i] = full & PLANT_TIME;
    for (int j = 0; j < model->active_count; j++) {
      rows[i] |= (full >> model->active[j] & 1) << j;
    }
  }
}
