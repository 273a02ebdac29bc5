/* The first two of the three stages of the right-hand side: states to node values, node values to element outputs
 * (flows, torques, heat). Wiring only. Shared by the files that evaluate the circuit (rates, ledger, signals). Private
 * to models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_ELEMENTS_H
#define SWASHLOOP_MODELS_TRANSMISSION_ELEMENTS_H

#include "transmission_commands.h"

/* An axle's node values. */
struct axle_node_values {
  real wheel_speed; /* rad/s, forward positive */
  real shaft_speed; /* rad/s, of the shaft into the axle's gear, forward positive */
  real motor_speed; /* rad/s, of the shaft of the axle's motor, forward positive */
  real rim_speed;   /* m/s, of the rim over the axle */
  real port_a;      /* Pa absolute, at the motor */
  real port_b;
  real
      hose_filling; /* with hoses only: of what the motor displaces, 0 to 1; 1 unless its line starves or hose chokes */
  real hose_lost;   /* with hoses only: Pa, in each of the motor's two hoses, never negative */
  struct tyre_contact contact;
};

/* Stores' node values. */
struct node_values {
  real engine_speed;                    /* rad/s */
  real a;                               /* Pa absolute: main line A, */
  real b;                               /* line B */
  real gallery;                         /* and the charge gallery */
  real drop;                            /* Pa, a - b */
  real relief_drop_a;                   /* Pa, line A over the place where relief valve A returns its oil */
  real relief_drop_b;                   /* Pa, line B likewise */
  real filling_a;                       /* of what is drawn from line A, 0 to 1; 1 unless it starves */
  real filling_b;                       /* of what is drawn from line B likewise */
  real filling_gallery;                 /* of what is drawn from the gallery likewise */
  real cases;                           /* Pa absolute: the cases of pump and motors */
  real a_over_case;                     /* Pa */
  real b_over_case;                     /* Pa */
  real gallery_over_case;               /* Pa */
  struct heat_nodes_at heat;            /* K */
  struct fluid_table_place table_place; /* of the loop's temperature */
  real viscosity;                       /* Pa s, dynamic, in the loop */
  real speed;                           /* m/s, of the machine, forward positive */
  real grade;                           /* tangent under the machine, uphill positive */
  real mass;                            /* kg, of the machine with its load, but for what it drags */
  struct vehicle_weight weight;
  real pull;      /* N at the drawbar, backward positive, with the slope's part of the dragged mass */
  real drag;      /* N, its friction part */
  int axle_count; /* of those below */
  struct axle_node_values axles[AXLE_LIMIT];
  real output_speed;             /* rad/s, behind the gearbox: the shaft to the axles or the transfer case */
  real gear_slip[GEARBOX_SLOTS]; /* rad/s, motor over output, by each clutch of the gearbox */
  real transfer_slip;            /* rad/s, rear over front shaft; where a transfer case drives both only */
};

/* What an axle's elements give. */
struct axle_outputs {
  real motor_flow;          /* m3/s displaced from port A to port B */
  real motor_slip;          /* m3/s leaking from A to B */
  real motor_case_a;        /* m3/s leaking from port A to the case */
  real motor_case_b;        /* m3/s leaking from port B to the case */
  real motor_torque_loss;   /* N m, signed as the motor's speed; with friction stick its dry part may be against it */
  real motor_friction_rate; /* N m/s, of the wind-up of the motor's dry friction */
  real motor_winds;         /* W into it */
  real motor_torque;        /* N m given at the motor's shaft, losses taken off, forward positive */
  real motor_filling_loss;  /* W, collapse of voids in oil drawn from a starved line */
  real hose_loss;           /* W, in both hoses of the motor */
  real shaft_torque;        /* N m into the axle's gear: the motor's, or what the transfer case gives */
  real drive_torque;        /* N m, the same at the wheels */
  real gear_loss;           /* N m at the wheels, signed as motor_torque_loss: taken off */
  real gear_friction_rate;  /* N m/s, of the wind-up of friction in gear and axles */
  real gear_winds;          /* W into it */
  real brake_share;         /* of the axle's reference torque (brake.h), fade taken off */
  real brake_torque;        /* N m at the wheels, positive against forward rotation: taken off */
  real slip;                /* positive when the wheels drive */
  real slip_rate;           /* 1/s, of the tyre's deflection as slip (law relaxation) */
  real curve_force;         /* N of the ground on the wheels by the curve of the tyre, forward positive */
  real traction;            /* N, the same with the damping at rest: what drives the machine */
  real rolling;             /* N of rolling resistance, signed as the machine's speed: taken off */
};

/* Everything that elements give. */
struct element_outputs {
  const real *channels; /* of operator and faults, as they are now: the mode's, or those below */
  real moved[CHANNEL_COUNT];
  struct commands commands;
  struct limiter_action limiter;
  real stroke_rate;        /* 1/s */
  real servo_flow;         /* m3/s out of the gallery to the case */
  real engine_friction;    /* N m, signed as the engine's speed: taken off */
  real combustion;         /* N m on the crankshaft, friction not yet taken off */
  real exhaust_brake;      /* N m, signed as the engine's speed: taken off */
  real auxiliaries;        /* N m, signed as the engine's speed: taken off */
  real starter;            /* N m given to the engine */
  real implement;          /* N m taken from the engine by the implement */
  real pump_flow;          /* m3/s displaced from port B to port A */
  real pump_slip;          /* m3/s leaking from A to B */
  real pump_case_a;        /* m3/s leaking from port A to the case */
  real pump_case_b;        /* m3/s leaking from port B to the case */
  real pump_torque_loss;   /* N m, signed as the engine's speed */
  real pump_torque;        /* N m taken from the engine, losses included; below zero the pump drives it */
  real pump_filling_loss;  /* W, collapse of voids in oil drawn from a starved line */
  real charge_outlet;      /* Pa, of the charge pump over the tank */
  real charge_filled;      /* m3/rad that deliver (struct charge_supply) */
  real tank_viscosity;     /* Pa s, dynamic */
  real charge_flow;        /* m3/s out of the tank into the gallery */
  real charge_torque_loss; /* N m, signed as the engine's speed */
  real charge_torque;      /* N m taken from the engine, losses included */
  real charge_relief_flow; /* m3/s out of the gallery to the case */
  real filter_drop;        /* Pa, charge pump over gallery */
  real check_a;            /* m3/s out of the gallery into line A */
  real check_b;            /* m3/s out of the gallery into line B */
  real relief_a;           /* m3/s out of line A to where valve A returns its oil */
  real relief_b;           /* m3/s out of line B likewise */
  real flush_a;            /* m3/s out of line A to the case */
  real flush_b;            /* m3/s out of line B to the case */
  real hose_a;             /* m3/s out of line A to the ground */
  real hose_b;             /* m3/s out of line B to the ground */
  real brake_share;        /* of the brakes' reference torque (brake.h), 0 or more */
  real cooler;             /* W/K, thermostat open */
  struct axle_outputs axles[AXLE_LIMIT];
  real gear;                       /* that is engaged, or being engaged; this and the next four with a gearbox only */
  real gear_slip;                  /* rad/s, of its clutch */
  real gear_torque[GEARBOX_SLOTS]; /* N m that each clutch takes from the motor's shaft */
  real gear_rate[GEARBOX_SLOTS];   /* N m/s, of their wind-up */
  real mesh_loss;                  /* N m at the gearbox's output, signed as its speed: taken off */
  real transfer_torque;            /* N m from the rear to the front shaft, beside the differential; with a transfer
                                    * case only, as the next */
  real transfer_rate;              /* N m/s, of its wind-up */
  real motor_flow_a;               /* m3/s out of line A: all motors with their leakage */
  real motor_flow_b;               /* m3/s into line B likewise */
  real loop_outflow;               /* m3/s out of the loop into the cases: leakage and flushing */
  real case_inflow;                /* m3/s into the cases, with servo oil and the charge relief's */
  real case_flow;                  /* m3/s out of the cases back to the tank; the same, unless the cases are drained */
};

/* Where there are hoses: pressures at a motor's ports and what fills it. The lines' volumes stand at the pump; the
 * motor is at the far end of a hose in each line, through which passes what it displaces: each hose takes its drop. Its
 * leakage is by the lines' pressures and counts for no drop, so that the ports follow from the states at once and no
 * loss can be negative. Where the hose on its inlet has not the pressure for the whole flow it chokes: the port falls
 * to the vapour pressure, and what passes is what that drop drives. */
static inline void motor_ports_of(const struct transmission_model *model, const struct axle *axle,
                                  const struct node_values *now, const real *x, struct axle_node_values *at) {
  const struct transmission_parameters *own = &model->own;
  real displaced = motor_displaced_flow(axle->motor->displacement, x[axle->motor_displacement], at->motor_speed);
  mask forward = displaced > 0.0;
  at->hose_filling = select_where(forward, now->filling_a, now->filling_b);
  real flow = fabs(displaced) * at->hose_filling;
  real lost = select_where(own->hoses.length > 0.0, pipe_drop(&own->hoses, flow, now->viscosity, model->oil.density),
                           broadcast(0.0));
  real available = max0(select_where(forward, now->a, now->b) - own->fluid.floor_pressure);
  mask chokes = (lost > available) & (lost > 0.0);
  if (!mask_none(chokes)) {
    real passed = pipe_flow(&own->hoses, available, now->viscosity, model->oil.density);
    at->hose_filling = select_where(chokes, at->hose_filling * (passed / larger(flow, passed)), at->hose_filling);
    lost = select_where(chokes, available, lost);
  }
  at->hose_lost = lost;
  real signed_lost = select_where(forward, lost, -lost);
  at->port_a = now->a - signed_lost;
  at->port_b = now->b + signed_lost;
}

/* First stage: the node values at time t, s; x is the full state vector. */
static inline void node_values_of(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                                  const real *x, struct node_values *now) {
  const struct transmission_parameters *own = &model->own;
  real s = x[STATE_vehicle_distance];
  now->engine_speed = x[STATE_engine_speed];
  now->a = fluid_pressure(&model->oil, x[STATE_line_a_compression]);
  now->b = fluid_pressure(&model->oil, x[STATE_line_b_compression]);
  now->gallery = fluid_pressure(&model->oil, x[STATE_charge_compression]);
  now->drop = now->a - now->b;
  now->relief_drop_a = relief_drop(&own->relief, now->a, now->b, now->gallery);
  now->relief_drop_b = relief_drop(&own->relief, now->b, now->a, now->gallery);
  now->filling_a = lines_filling(&own->lines, x[STATE_line_a_compression]);
  now->filling_b = lines_filling(&own->lines, x[STATE_line_b_compression]);
  now->filling_gallery = lines_filling(&own->lines, x[STATE_charge_compression]);
  now->cases = own->lines.cases == LINES_CASES_DRAINED ? fluid_pressure(&model->oil, x[STATE_case_compression])
                                                       : model->case_pressure;
  now->a_over_case = now->a - now->cases;
  now->b_over_case = now->b - now->cases;
  now->gallery_over_case = now->gallery - now->cases;
  bool four_nodes = own->heat.nodes == HEAT_FOUR_NODES;
  now->heat.loop = x[STATE_loop_temperature];
  now->heat.tank = x[STATE_tank_temperature];
  now->heat.metal = four_nodes ? x[STATE_loop_metal_temperature] : now->heat.loop;
  now->heat.cases = four_nodes ? x[STATE_case_temperature] : now->heat.tank;
  now->heat.gallery = model->gallery_has_heat ? x[STATE_gallery_temperature] : now->heat.tank;
  now->table_place = fluid_table_place_of(now->heat.loop);
  now->viscosity = fluid_viscosity_at(&model->oil.viscosity, &now->table_place);
  now->speed = x[STATE_vehicle_speed];
  now->grade = ground_grade(own->ground.wheelbase, &mode->rear, &mode->front, s);
  now->mass = own->vehicle.mass + x[STATE_load];
  now->weight = vehicle_weight_on(&own->vehicle, now->mass, now->grade);
  now->drag = vehicle_drawbar_friction(&own->vehicle, now->grade, piece_at(&mode->channels[CHANNEL_draft].piece, t),
                                       now->speed);
  now->pull = now->drag + now->weight.slope * own->vehicle.dragged_mass / now->mass;

  struct tyre_soil soil = {
      EACH(own->ground.grip)->count > 0 ? piece_at(&mode->soil[0], s) : own->tyre.grip,
      EACH(own->ground.cone_index)->count > 0 ? piece_at(&mode->soil[1], s) : own->tyre.cone_index,
      EACH(own->ground.rolling_resistance)->count > 0 ? piece_at(&mode->soil[2], s) : own->tyre.rolling_resistance,
  };
  real rear = model->axle_count > 1 ? vehicle_rear_load(&own->vehicle, now->mass, now->weight.load, now->weight.slope,
                                                        x[STATE_felt_acceleration], now->pull)
                                    : now->weight.load;
  int i = 0;
  do { /* there is always one axle */
    const struct axle *axle = &model->axles[i];
    struct axle_node_values *at = &now->axles[i];
    at->wheel_speed = x[axle->wheel_speed];
    at->shaft_speed = axle->driveline->ratio * at->wheel_speed;
    at->motor_speed = at->shaft_speed;
    at->rim_speed = axle->driveline->wheel_radius * at->wheel_speed;
    at->port_a = now->a;
    at->port_b = now->b;
    at->contact = tyre_contact_of(&own->tyre, &soil, i == 0 ? rear : now->weight.load - rear, axle->wheels);
  } while (++i < model->axle_count);
  now->axle_count = i;
  if (!model->shafts_part && !model->has_hoses) {
    return;
  }
  if (model->transfers) {
    real front = model->axles[1].driveline->ratio * x[STATE_front_wheel_speed];
    now->transfer_slip = now->axles[0].shaft_speed - front;
    now->axles[0].motor_speed = transfer_case_speed(&own->transfer_case, now->axles[0].shaft_speed, front);
  }
  if (model->geared) {
    now->output_speed = now->axles[0].motor_speed;
    now->axles[0].motor_speed = x[STATE_motor_shaft_speed];
    for (int k = 0; k < GEARBOX_SLOTS; k++) {
      now->gear_slip[k] = now->axles[0].motor_speed - mode->gear_ratio[k] * now->output_speed;
    }
  }
  for (i = 0; model->has_hoses && i < now->axle_count; i++) {
    if (model->axles[i].motor != NULL) {
      motor_ports_of(model, &model->axles[i], now, x, &now->axles[i]);
    }
  }
}

/* What the motor's film and dry friction that holds at rest take from its shaft; `wound`: torque of the wind-up. */
APART void motor_sticks(const struct axle *axle, const struct node_values *now, const struct axle_node_values *at,
                        real drop, real share, real wound, struct axle_outputs *e) {
  const struct rotary_losses *losses = &axle->motor_losses;
  real film = fluid_viscosity_at(&axle->motor_film, &now->table_place);
  real capacity = motor_friction_capacity(axle->motor, losses, drop, share, at->motor_speed);
  e->motor_torque_loss =
      rotary_fluid_torque_of(losses, share, at->motor_speed, film) +
      friction_torque(capacity, axle->motor_stiffness, broadcast(FRICTION_DAMPING_TIME), wound, at->motor_speed);
  e->motor_friction_rate =
      friction_torque_rate(capacity, axle->motor_stiffness, broadcast(FRICTION_RELEASE_TIME), wound, at->motor_speed);
  e->motor_winds = friction_winds(axle->motor_stiffness, wound, e->motor_friction_rate);
}

/* What gear and axles take, with friction that holds at rest, from the torque that goes through them. */
APART void gear_sticks(const struct axle *axle, const struct axle_node_values *at, real wound, struct axle_outputs *e) {
  real capacity = driveline_friction_capacity(axle->driveline, e->drive_torque, at->wheel_speed, axle->gear_wound_up);
  e->gear_loss =
      friction_torque(capacity, axle->gear_stiffness, broadcast(FRICTION_DAMPING_TIME), wound, at->wheel_speed);
  e->gear_friction_rate =
      friction_torque_rate(capacity, axle->gear_stiffness, broadcast(FRICTION_RELEASE_TIME), wound, at->wheel_speed);
  e->gear_winds = friction_winds(axle->gear_stiffness, wound, e->gear_friction_rate);
}

/* The motor of one axle. */
static inline void motor_outputs_of(const struct axle *axle, bool has_hoses, const struct node_values *now,
                                    const struct axle_node_values *at, const real *x, struct axle_outputs *e) {
  const struct motor_parameters *motor = axle->motor;
  if (motor != NULL) {
    real share = x[axle->motor_displacement];
    real drop = at->port_a - at->port_b;
    real displaced = motor_displaced_flow(motor->displacement, share, at->motor_speed);
    real filling = has_hoses ? at->hose_filling : select_where(displaced > 0.0, now->filling_a, now->filling_b);
    struct lines_transfer transfer = lines_transfer_of(displaced, select_where(displaced > 0.0, -drop, drop), filling);
    e->motor_flow = transfer.flow;
    e->motor_filling_loss = transfer.loss;
    e->hose_loss = broadcast(0.0);
    if (has_hoses) {
      e->hose_loss = 2.0 * fabs(transfer.flow) * at->hose_lost;
    }
    struct rotary_leaks leaks = rotary_leaks_of(&axle->motor_losses, now->drop, now->a_over_case, now->b_over_case,
                                                share, at->motor_speed, now->viscosity);
    e->motor_slip = leaks.slip;
    e->motor_case_a = leaks.case_a;
    e->motor_case_b = leaks.case_b;
    if (motor->friction == MOTOR_FRICTION_STICK) {
      motor_sticks(axle, now, at, drop, share, x[axle->motor_friction], e);
    } else {
      e->motor_torque_loss = rotary_torque_of(&axle->motor_losses, drop, share, at->motor_speed,
                                              fluid_viscosity_at(&axle->motor_film, &now->table_place));
      e->motor_winds = broadcast(0.0);
    }
    e->motor_torque = motor_pressure_torque(motor->displacement, share, drop) * transfer.share - e->motor_torque_loss;
  } else {
    memset(e, 0, sizeof *e);
  }
  e->shaft_torque = e->motor_torque;
}

/* The checker takes the model to change behind a call, and so the slips not to be filled by node_values_of.
 * NOLINTBEGIN(clang-analyzer-core.UndefinedBinaryOperatorResult,clang-analyzer-core.uninitialized.Assign) */

/* The gearbox takes torque from the motor's shaft through its clutches and gives it on at its output. */
static inline void gearbox_outputs_of(const struct transmission_model *model, const struct transmission_mode *mode,
                                      const struct node_values *now, real t, const real *x, struct element_outputs *e) {
  const struct driveline_parameters *axle = model->axles[0].driveline;
  const struct clutch clutch = gearbox_clutch(&model->own.gearbox);
  real given = broadcast(0.0);
  e->gear = mode->gear;
  e->gear_slip = mode->engaged_is_a * now->gear_slip[0] + (1.0 - mode->engaged_is_a) * now->gear_slip[1];
  e->mesh_loss = broadcast(0.0);
  for (int k = 0; k < GEARBOX_SLOTS; k++) {
    real torque = x[STATE_gear_clutch_a + k];
    real share = piece_at(&mode->gear_clutch[k], t);
    e->gear_torque[k] = clutch_torque(&clutch, share, torque, now->gear_slip[k]);
    e->gear_rate[k] = clutch_torque_rate(&clutch, share, torque, now->gear_slip[k]);
    real geared = mode->gear_ratio[k] * e->gear_torque[k];
    given += geared;
    e->mesh_loss += gearbox_mesh_loss(mode->gear_efficiency[k], geared, axle->torque_width / axle->ratio,
                                      now->output_speed, axle->speed_width * axle->ratio);
  }
  e->axles[0].shaft_torque = given - e->mesh_loss;
}

/* The transfer case parts the torque that comes from the motor between the shafts of both axles. */
static inline void transfer_outputs_of(const struct transmission_model *model, const struct node_values *now,
                                       const real *x, struct element_outputs *e) {
  const struct transfer_case_parameters *box = &model->own.transfer_case;
  real arrives = e->axles[0].shaft_torque;
  real share = transfer_case_share(box);
  e->transfer_torque = broadcast(0.0);
  e->transfer_rate = broadcast(0.0);
  if (transfer_case_couples(box)) {
    real lever = e->channels[CHANNEL_transfer_clutch];
    real slip = now->transfer_slip;
    e->transfer_torque = transfer_case_torque(box, lever, x[STATE_transfer_torque], slip);
    e->transfer_rate = transfer_case_rate(box, lever, x[STATE_transfer_torque], slip);
  }
  e->axles[0].shaft_torque = (1.0 - share) * arrives - e->transfer_torque;
  e->axles[1].shaft_torque = share * arrives + e->transfer_torque;
}

/* NOLINTEND(clang-analyzer-core.UndefinedBinaryOperatorResult,clang-analyzer-core.uninitialized.Assign) */

/* What the motor gives comes to the axles through gearbox and transfer case. */
APART void shafts_part_at(const struct transmission_model *model, const struct transmission_mode *mode,
                          const struct node_values *now, real t, const real *x, struct element_outputs *e) {
  if (model->geared) {
    gearbox_outputs_of(model, mode, now, t, x, e);
  }
  if (model->transfers) {
    transfer_outputs_of(model, now, x, e);
  }
}

/* Gear, brake and tyre of one axle. */
static inline void wheel_outputs_of(const struct transmission_model *model, const struct transmission_mode *mode,
                                    const struct axle *axle, const struct node_values *now,
                                    const struct axle_node_values *at, real brake_share, const real *x,
                                    struct axle_outputs *e) {
  const struct transmission_parameters *own = &model->own;
  e->drive_torque = axle->driveline->ratio * e->shaft_torque;
  if (axle->driveline->friction == DRIVELINE_STICK) {
    gear_sticks(axle, at, x[axle->gear_friction], e);
  } else {
    e->gear_loss = driveline_loss(axle->driveline, e->drive_torque, at->wheel_speed);
    e->gear_winds = broadcast(0.0);
  }
  e->brake_share = own->brake.heat == BRAKE_ONE_MASS
                       ? brake_share * brake_fade(&axle->brake, x[axle->brake_temperature])
                       : brake_share;
  e->brake_torque =
      own->brake.law == BRAKE_STICK
          ? brake_stick_torque(&axle->brake, e->brake_share, mode->brake_off, x[axle->brake_torque], at->wheel_speed)
          : brake_smoothed_torque(&axle->brake, e->brake_share, at->wheel_speed);
  bool relaxes = own->tyre.law == TYRE_RELAXATION;
  e->slip = relaxes ? x[axle->tyre_slip] : tyre_slip(&own->tyre, at->rim_speed, now->speed);
  e->slip_rate = broadcast(0.0);
  e->curve_force = tyre_curve(&own->tyre, &at->contact, e->slip);
  e->traction = e->curve_force;
  if (relaxes) {
    e->slip_rate = tyre_slip_rate(&own->tyre, e->slip, at->rim_speed, now->speed);
    e->traction += tyre_damping(&own->tyre, &at->contact, e->slip, e->slip_rate, at->rim_speed, now->speed);
  }
  e->rolling = tyre_rolling_resistance(&own->tyre, &at->contact, now->speed, e->slip);
}

/* Flow of a main relief valve whose states begin at `states`, by law and fault. */
static inline real relief_output(const struct transmission_model *model, const real *states, real drop, real stuck_open,
                                 real stuck_shut) {
  const struct transmission_parameters *own = &model->own;
  const struct relief_law_row *law = relief_law_of(&own->relief);
  real position = larger(states[law->position_state], stuck_open * fault_stuck_position(&own->fault, law->position));
  return relief_flow(&own->relief, position, drop, model->oil.density) * (1.0 - stuck_shut);
}

/* The charge pump with its filter, on a gallery at a pressure over the tank's. */
struct charge_supply {
  real filled;      /* displacement that fills, m3/rad */
  real viscosity;   /* Pa s, dynamic, in the tank */
  real delivers;    /* what is left of it when the pump fails, or draws from an empty gallery, m3/rad */
  real filter_drop; /* Pa, at the flow that the pump would give without the filter */
};

/* `lost` and `blocked`: the faults of pump and filter, 0 sound to 1. */
static inline struct charge_supply charge_supply_of(const struct transmission_model *model,
                                                    const struct node_values *now, const real *x, real lost,
                                                    real blocked) {
  const struct transmission_parameters *own = &model->own;
  struct charge_supply supply;
  supply.viscosity = fluid_viscosity(&model->oil.viscosity, now->heat.tank);
  real resistance = model->filter_resistance * (1.0 + own->filter.blocked_loading * blocked);
  supply.filled =
      charge_filled_displacement(&own->charge, now->engine_speed, broadcast(model->oil.ambient), supply.viscosity);
  /* An engine that is turned backwards has it draw from the gallery, and no more than that holds. */
  real drawn =
      select_where(now->engine_speed < 0.0, now->filling_gallery, lines_tank_filling(&own->lines, x[STATE_tank_oil]));
  supply.delivers = supply.filled * drawn * (1.0 - lost);
  supply.filter_drop = filter_drop(
      &own->filter, resistance, supply.viscosity,
      charge_pump_flow(&own->charge, supply.delivers, now->engine_speed, now->gallery - model->oil.ambient));
  return supply;
}

/* Torque that the implement takes from the engine, N m. */
APART real implement_torque_of(const struct transmission_model *model, const real *channels, real speed) {
  const struct implement_parameters *implement = &model->own.implement;
  switch (implement->law) {
  case IMPLEMENT_POWER:
    return implement_shaft_torque(implement, channels[CHANNEL_implement_power], speed);
  case IMPLEMENT_FLOW_AND_PRESSURE:
    return implement_pump_torque(implement, channels[CHANNEL_implement_flow], channels[CHANNEL_implement_pressure],
                                 speed, model->own.engine.speed_width);
  default:
    return broadcast(0.0);
  }
}

/* Second stage: what every element gives for these node values. */
static inline void element_outputs_of(const struct transmission_model *model, const struct transmission_mode *mode,
                                      const struct node_values *now, real t, const real *x, struct element_outputs *e) {
  const struct transmission_parameters *own = &model->own;
  e->channels = transmission_channel_values(mode, t, e->moved);
  commands_of(model, mode, e->channels, x, now->axles[0].rim_speed, &e->commands);
  e->limiter = limiter_act(&own->limiter, x[STATE_control_pressure], mode->command_forward, x[STATE_pump_stroke],
                           x[STATE_limiter_a], x[STATE_limiter_b]);
  real free_swash = 1.0 - e->channels[CHANNEL_swash_stuck];
  e->stroke_rate =
      own->swash.servo == SWASH_SECOND_ORDER
          ? swash_rate_within(&own->swash, &own->limiter, x[STATE_pump_stroke], x[STATE_swash_motion],
                              e->limiter.intensity, now->gallery_over_case)
          : swash_stroke_rate(&own->swash, &own->limiter, x[STATE_pump_stroke], e->limiter, now->gallery_over_case);
  e->stroke_rate *= free_swash;
  e->servo_flow = swash_servo_flow(&own->swash, e->stroke_rate, now->gallery_over_case) * now->filling_gallery;

  e->engine_friction = engine_friction(&own->engine, now->engine_speed);
  e->combustion = select_where(
      mode->burning,
      engine_combustion(x[STATE_fuel], engine_full_torque(&own->engine, now->engine_speed), e->engine_friction),
      broadcast(0.0));
  if (own->engine.stall == ENGINE_HELD) {
    e->engine_friction += select_where_rare(mask_not(mode->burning),
                                            engine_compression_hold(&own->engine, now->engine_speed), broadcast(0.0));
  }
  e->exhaust_brake = engine_exhaust_brake(&own->engine, now->engine_speed, e->channels[CHANNEL_exhaust_brake]);
  e->auxiliaries = engine_auxiliaries(&own->engine, now->engine_speed);
  e->starter = select_where(mode->burning, broadcast(0.0),
                            engine_starter(&own->engine, now->engine_speed, e->channels[CHANNEL_starter]));

  e->implement = own->implement.law == IMPLEMENT_NONE ? broadcast(0.0)
                                                      : implement_torque_of(model, e->channels, now->engine_speed);

  real displaced = pump_displaced_flow(own->pump.displacement, x[STATE_pump_stroke], now->engine_speed);
  struct lines_transfer transfer = lines_transfer_of(displaced, select_where(displaced > 0.0, now->drop, -now->drop),
                                                     select_where(displaced > 0.0, now->filling_b, now->filling_a));
  e->pump_flow = transfer.flow;
  e->pump_filling_loss = transfer.loss;
  struct rotary_leaks leaks = rotary_leaks_of(&model->pump_losses, now->drop, now->a_over_case, now->b_over_case,
                                              x[STATE_pump_stroke], now->engine_speed, now->viscosity);
  e->pump_slip = leaks.slip;
  e->pump_case_a = leaks.case_a;
  e->pump_case_b = leaks.case_b;
  e->pump_torque_loss = rotary_torque_of(&model->pump_losses, now->drop, x[STATE_pump_stroke], now->engine_speed,
                                         fluid_viscosity_at(&model->pump_film, &now->table_place));
  e->pump_torque = pump_pressure_torque(own->pump.displacement, x[STATE_pump_stroke], now->drop) * transfer.share +
                   e->pump_torque_loss;

  struct charge_supply supply =
      charge_supply_of(model, now, x, e->channels[CHANNEL_charge_lost], e->channels[CHANNEL_filter_blocked]);
  e->charge_filled = supply.delivers;
  e->tank_viscosity = supply.viscosity;
  e->filter_drop = supply.filter_drop;
  e->charge_outlet = now->gallery - model->oil.ambient + e->filter_drop;
  e->charge_flow = charge_pump_flow(&own->charge, e->charge_filled, now->engine_speed, e->charge_outlet);
  e->charge_torque_loss = charge_pump_torque_loss(&own->charge, now->engine_speed, own->engine.speed_width);
  e->charge_torque = charge_pump_pressure_torque(e->charge_filled, e->charge_outlet) + e->charge_torque_loss;
  e->charge_relief_flow = charge_relief_flow(&own->charge, x[STATE_charge_relief_opening], now->gallery_over_case);
  real choke = check_valve_choke(&own->charge, now->gallery, own->fluid.floor_pressure);
  e->check_a = check_valve_flow(&own->charge, now->gallery - now->a, choke) * now->filling_gallery;
  e->check_b = check_valve_flow(&own->charge, now->gallery - now->b, choke) * now->filling_gallery;
  e->relief_a = relief_output(model, x + STATE_RELIEF_A, now->relief_drop_a, e->channels[CHANNEL_relief_a_stuck_open],
                              e->channels[CHANNEL_relief_a_stuck_shut]);
  e->relief_b = relief_output(model, x + STATE_RELIEF_B, now->relief_drop_b, e->channels[CHANNEL_relief_b_stuck_open],
                              e->channels[CHANNEL_relief_b_stuck_shut]);
  e->flush_a =
      flushing_flow(&own->flushing, flushing_opening(&own->flushing, -x[STATE_flushing_shuttle]), now->a_over_case);
  e->flush_b =
      flushing_flow(&own->flushing, flushing_opening(&own->flushing, x[STATE_flushing_shuttle]), now->b_over_case);
  e->hose_a =
      fault_burst_flow(&own->fault, e->channels[CHANNEL_hose_burst_a], now->a - model->oil.ambient, model->oil.density);
  e->hose_b =
      fault_burst_flow(&own->fault, e->channels[CHANNEL_hose_burst_b], now->b - model->oil.ambient, model->oil.density);
  e->cooler = heat_cooler(&own->heat, now->engine_speed, e->channels[CHANNEL_cooler_dead]);

  e->brake_share = brake_share(&own->brake, e->commands.brake, e->channels[CHANNEL_park_brake]);
  e->motor_flow_a = broadcast(0.0);
  e->motor_flow_b = broadcast(0.0);
  e->loop_outflow = e->pump_case_a + e->pump_case_b + e->flush_a + e->flush_b;
  int i = 0;
  do { /* there is always one axle */
    motor_outputs_of(&model->axles[i], model->has_hoses, now, &now->axles[i], x, &e->axles[i]);
    const struct axle_outputs *axle = &e->axles[i];
    e->motor_flow_a += axle->motor_flow + axle->motor_slip + axle->motor_case_a;
    e->motor_flow_b += axle->motor_flow + axle->motor_slip - axle->motor_case_b;
    e->loop_outflow += axle->motor_case_a + axle->motor_case_b;
  } while (++i < now->axle_count);
  if (model->shafts_part) {
    shafts_part_at(model, mode, now, t, x, e);
  }
  i = 0;
  do {
    wheel_outputs_of(model, mode, &model->axles[i], now, &now->axles[i], e->brake_share, x, &e->axles[i]);
  } while (++i < now->axle_count);
  e->case_inflow = e->loop_outflow + e->charge_relief_flow + e->servo_flow;
  e->case_flow = own->lines.cases == LINES_CASES_DRAINED
                     ? pipe_flow(&own->drain, now->cases - model->oil.ambient,
                                 fluid_viscosity(&model->oil.viscosity, now->heat.cases), model->oil.density)
                     : e->case_inflow;
}

/* Power lost in the pump's leakage, W. */
static inline real pump_leak_power(const struct element_outputs *e, const struct node_values *now) {
  return e->pump_slip * now->drop + e->pump_case_a * now->a_over_case + e->pump_case_b * now->b_over_case;
}

/* Power lost in a motor's leakage, W. */
static inline real motor_leak_power(const struct axle_outputs *e, const struct node_values *now) {
  return e->motor_slip * now->drop + e->motor_case_a * now->a_over_case + e->motor_case_b * now->b_over_case;
}

/* Power lost in both check valves, W. */
static inline real check_power(const struct element_outputs *e, const struct node_values *now) {
  return e->check_a * (now->gallery - now->a) + e->check_b * (now->gallery - now->b);
}

/* Power lost in the loop flushing, W. */
static inline real flush_power(const struct element_outputs *e, const struct node_values *now) {
  return e->flush_a * now->a_over_case + e->flush_b * now->b_over_case;
}

/* Power lost in the charge pump by friction and leakage, W. */
static inline real charge_pump_power(const struct transmission_parameters *own, const struct element_outputs *e,
                                     const struct node_values *now) {
  return e->charge_torque_loss * now->engine_speed + own->charge.leak * e->charge_outlet * e->charge_outlet;
}

/* Heat made in the loop, W. */
static inline real loop_losses(const struct transmission_model *model, const struct element_outputs *e,
                               const struct node_values *now) {
  real losses = e->pump_torque_loss * now->engine_speed + e->pump_filling_loss + pump_leak_power(e, now) +
                e->relief_a * now->relief_drop_a + e->relief_b * now->relief_drop_b + check_power(e, now) +
                flush_power(e, now);
  for (int i = 0; i < model->axle_count; i++) {
    losses += e->axles[i].motor_torque_loss * now->axles[i].motor_speed - e->axles[i].motor_winds +
              e->axles[i].motor_filling_loss + e->axles[i].hose_loss + motor_leak_power(&e->axles[i], now);
  }
  return losses;
}

/* Oil and heat from node to node of the heat balance. */
static inline struct heat_streams heat_streams_of(const struct transmission_model *model,
                                                  const struct element_outputs *e, const struct node_values *now) {
  struct heat_streams streams;
  streams.per_volume = broadcast(model->oil.heat_per_volume);
  streams.make_up = e->check_a + e->check_b;
  streams.outflow = e->loop_outflow;
  streams.relieved = relief_arrives(&model->own.relief, RELIEF_TO_GALLERY, max0(e->relief_a) + max0(e->relief_b));
  streams.relieved_back =
      relief_arrives(&model->own.relief, RELIEF_TO_GALLERY, max0(-e->relief_a) + max0(-e->relief_b));
  streams.charge = e->charge_flow;
  streams.spill = e->charge_relief_flow + e->servo_flow;
  streams.drain = model->own.lines.cases == LINES_CASES_DRAINED ? e->case_flow : streams.outflow + streams.spill;
  streams.loop_losses = loop_losses(model, e, now);
  streams.charge_losses = charge_pump_power(&model->own, e, now) + e->charge_flow * e->filter_drop;
  streams.spill_losses = streams.spill * now->gallery_over_case;
  streams.return_losses = e->case_flow * (now->cases - model->oil.ambient);
  return streams;
}

/* Oil that the nodes of the heat balance hold beyond what they are filled with at ambient pressure, m3. */
struct heat_content {
  real loop;
  real cases; /* none where their pressure is constant */
  real gallery;
  real tank;
};

/* By the states of the volumes, not by the streams between them: a stream that one end forgets does not close. */
static inline struct heat_content heat_content_of(const struct transmission_model *model, const real *x) {
  const struct lines_parameters *lines = &model->own.lines;
  struct heat_content more;
  more.loop = lines->volume_a * x[STATE_line_a_compression] + lines->volume_b * x[STATE_line_b_compression];
  more.gallery = lines->volume_charge * x[STATE_charge_compression];
  more.tank = x[STATE_tank_oil] - lines->tank_volume;
  more.cases = lines->cases == LINES_CASES_DRAINED ? lines->case_volume * x[STATE_case_compression] : broadcast(0.0);
  return more;
}

/* Acceleration of the machine, m/s2. */
static inline real acceleration_of(const struct transmission_model *model, const struct element_outputs *e,
                                   const struct node_values *now) {
  real force = -now->weight.slope - now->pull;
  for (int i = 0; i < model->axle_count; i++) {
    force += e->axles[i].traction - e->axles[i].rolling;
  }
  return force / (now->mass + model->own.vehicle.dragged_mass);
}

/* Power lost in the gearbox's clutches, W. */
static inline real gear_clutch_power(const struct transmission_model *model, const struct element_outputs *e,
                                     const struct node_values *now, const real *x) {
  real lost = broadcast(0.0);
  if (model->geared) {
    const struct clutch clutch = gearbox_clutch(&model->own.gearbox);
    for (int k = 0; k < GEARBOX_SLOTS; k++) {
      lost += e->gear_torque[k] * now->gear_slip[k] -
              x[STATE_gear_clutch_a + k] * e->gear_rate[k] / clutch_stiffness(&clutch);
    }
  }
  return lost;
}

/* Power lost in clutches and shafts: what arrives there and is not stored, W. */
static inline real clutch_power(const struct transmission_model *model, const struct element_outputs *e,
                                const struct node_values *now, const real *x) {
  real lost = gear_clutch_power(model, e, now, x);
  if (model->transfers && transfer_case_couples(&model->own.transfer_case)) {
    const struct clutch clutch = transfer_case_clutch(&model->own.transfer_case);
    lost += e->transfer_torque * now->transfer_slip -
            x[STATE_transfer_torque] * e->transfer_rate / clutch_stiffness(&clutch);
  }
  return lost;
}

/* Power into the wind-up of an axle's brake, W; `brake_share`: the axle's. */
static inline real brake_winds(const struct transmission_model *model, const struct transmission_mode *mode,
                               const struct axle *axle, real brake_share, real wheel_speed, const real *x) {
  if (model->own.brake.law != BRAKE_STICK) {
    return broadcast(0.0);
  }
  real torque = x[axle->brake_torque];
  return friction_winds(brake_stiffness(&axle->brake), torque,
                        brake_torque_rate(&axle->brake, brake_share, mode->brake_off, torque, wheel_speed));
}

/* What an axle's brake turns into heat, W. */
static inline real brake_loss(const struct transmission_model *model, const struct transmission_mode *mode,
                              const struct axle *axle, const struct axle_outputs *gives, real wheel_speed,
                              const real *x) {
  return gives->brake_torque * wheel_speed - brake_winds(model, mode, axle, gives->brake_share, wheel_speed, x);
}

#endif
