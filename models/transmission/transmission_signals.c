/* What is reported of the circuit: powers of the ledger, signals and event functions. */
#include "transmission_evaluation.h"

bool transmission_signal_active(const void *parameters, int signal) {
  const struct transmission_parameters *own = parameters;
  bool two_axles = own->vehicle.axles == VEHICLE_TWO_AXLES;
  switch (signal) {
  case SIGNAL_relief_a_lift:
  case SIGNAL_relief_b_lift:
    return relief_law_of(&own->relief)->position == RELIEF_BY_PRESSURE;
  case SIGNAL_relief_a_poppet:
  case SIGNAL_relief_b_poppet:
    return relief_law_of(&own->relief)->position == RELIEF_BY_LIFT;
  case SIGNAL_filter_drop:
  case SIGNAL_filter_bypass:
    return own->filter.clean_drop > 0.0;
  case SIGNAL_loop_metal_temperature:
  case SIGNAL_case_temperature:
    return own->heat.nodes == HEAT_FOUR_NODES;
  case SIGNAL_gallery_temperature:
    return transmission_gallery_has_heat(own);
  case SIGNAL_rear_axle_load:
  case SIGNAL_front_axle_load:
  case SIGNAL_front_wheel_speed:
  case SIGNAL_front_wheel_slip:
  case SIGNAL_front_traction_force:
  case SIGNAL_rear_wheel_torque:
  case SIGNAL_front_wheel_torque:
    return two_axles;
  case SIGNAL_boost:
  case SIGNAL_smoke_limit:
    return own->turbocharger.fitted == TURBOCHARGER_FITTED;
  case SIGNAL_fuel_rate:
  case SIGNAL_fuel_used:
  case SIGNAL_fuel_volume:
  case SIGNAL_carbon_dioxide:
    return own->fuel.law != FUEL_NOT_COUNTED;
  case SIGNAL_implement_power:
  case SIGNAL_implement_torque:
    return own->implement.law != IMPLEMENT_NONE;
  case SIGNAL_implement_flow:
    return own->implement.law == IMPLEMENT_FLOW_AND_PRESSURE;
  case SIGNAL_gear:
  case SIGNAL_gear_slip:
  case SIGNAL_gear_clutch_heat:
    return own->gearbox.law != GEARBOX_NONE;
  case SIGNAL_transfer_torque:
    return two_axles && transfer_case_couples(&own->transfer_case);
  case SIGNAL_brake_temperature:
    return own->brake.heat == BRAKE_ONE_MASS;
  case SIGNAL_front_brake_temperature:
    return two_axles && own->brake.heat == BRAKE_ONE_MASS;
  case SIGNAL_transfer_slip:
    return two_axles && own->transfer_case.law != TRANSFER_CASE_NONE;
  case SIGNAL_motor_pressure_difference:
  case SIGNAL_hose_drop:
    return own->hoses.length > 0.0;
  case SIGNAL_case_pressure:
    return own->lines.cases == LINES_CASES_DRAINED;
  case SIGNAL_charge_inlet_pressure:
    return own->charge.suction_resistance > 0.0;
  case SIGNAL_second_motor_speed:
  case SIGNAL_second_motor_displacement:
  case SIGNAL_second_motor_flow:
    return two_axles && own->vehicle.second_motor == VEHICLE_SECOND_MOTOR;
  case SIGNAL_accelerator:
  case SIGNAL_engine_set_speed:
    return own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
  case SIGNAL_inching:
    return own->controls.inching != CONTROLS_NO_INCHING;
  case SIGNAL_ratio_command:
    return controls_shape_ratio(&own->controls);
  case SIGNAL_engine_load:
  case SIGNAL_anti_stall_cut:
    return own->controls.anti_stall == CONTROLS_ANTI_STALL_BY_LOAD;
  case SIGNAL_leg:
  case SIGNAL_wanted_speed:
  case SIGNAL_to_go:
  case SIGNAL_load:
    return own->driver.drives == DRIVER_DRIVES;
  default:
    return true;
  }
}

_Static_assert((int)PLANT_DUTY_CLASSES == (int)CONTAMINATION_CLASSES, "a duty tells of every size class");

/* What a duty goes by: flow of the charge pump, its part through the element, temperature of the oil that it takes. */
int transmission_duty_rates(const void *model_, const real *signals, real *rates) {
  const struct transmission_model *model = model_;
  if (model->own.contamination.fitted != CONTAMINATION_FITTED) {
    return 0;
  }
  if (signals != NULL) {
    rates[0] = signals[SIGNAL_charge_flow];
    rates[1] = signals[SIGNAL_charge_flow] * (1.0 - signals[SIGNAL_filter_bypass]);
    rates[2] = signals[SIGNAL_tank_oil_temperature];
  }
  return 3;
}

void transmission_duty(const void *model_, const real *means, struct plant_duty *duty) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  struct contamination_cycle cycle = {
      .flow = means[0],
      .filtered = means[1],
      .clean_resistance =
          filter_resistance(&own->filter, model->oil.density, 0.0) * fluid_viscosity(&model->oil.viscosity, means[2]),
      .volume = own->lines.tank_volume + own->lines.volume_a + own->lines.volume_b + own->lines.volume_charge,
  };
  struct contamination_result result = contamination_duty(&own->contamination, &own->filter, &cycle);
  for (int i = 0; i < PLANT_DUTY_CLASSES; i++) {
    duty->particles[i] = result.count[i];
    duty->code[i] = contamination_code(result.count[i]);
  }
  duty->cleaning_time = result.cleaning_time;
  duty->element_dirt = result.dirt;
  duty->bypass_time = result.bypass_time;
}

void transmission_powers(const void *model, const void *mode, real t, const real *state, real *powers) {
  evaluate_all(model, mode, t, state, (struct evaluations){powers, NULL, NULL, NULL});
}

void transmission_signals_at(const void *model, const void *mode, real t, const real *state, real *signals) {
  evaluate_all(model, mode, t, state, (struct evaluations){NULL, signals, NULL, NULL});
}

void transmission_events_at(const void *model, const void *mode, real t, const real *state, real *values) {
  evaluate_all(model, mode, t, state, (struct evaluations){NULL, NULL, values, NULL});
}

void transmission_guards(const void *model, const void *mode, const real *state, real *values) {
  evaluate_all(model, mode, 0.0, state, (struct evaluations){NULL, NULL, NULL, values});
}

void transmission_evaluate(const void *model, const void *mode, real t, const real *state,
                           const struct plant_evaluation *to) {
  const struct evaluations all = {to->powers, to->signals, to->events, to->guards};
  evaluate_all(model, mode, t, state, all);
}
