'use strict';
// Which curves share a chart, and the short names that stand at their ends.

const shortNames = {
  line_a_pressure: 'line A',
  line_b_pressure: 'line B',
  charge_pressure: 'charge',
  low_side_pressure: 'low side',
  line_pressure_difference: 'A over B',
  pump_stroke: 'pump stroke',
  stroke_command: 'command',
  motor_displacement: 'motor',
  motor_override: 'override',
  pump_flow: 'pump',
  motor_flow: 'motor',
  relief_a_flow: 'relief A',
  relief_b_flow: 'relief B',
  relief_a_lift: 'relief A',
  relief_b_lift: 'relief B',
  check_a_flow: 'make-up A',
  check_b_flow: 'make-up B',
  charge_flow: 'charge pump',
  charge_relief_flow: 'charge relief',
  flush_flow: 'flushing',
  case_flow: 'case',
  engine_speed: 'engine',
  motor_speed: 'motor',
  wheel_speed: 'wheels',
  vehicle_speed: 'machine',
  vehicle_distance: 'distance',
  vehicle_acceleration: 'acceleration',
  engine_torque: 'engine',
  pump_torque: 'pump',
  motor_torque: 'motor',
  brake_torque: 'brake',
  traction_force: 'traction',
  fuel_fraction: 'fuel',
  exhaust_brake: 'exhaust brake',
  wheel_slip: 'slip',
  loop_oil_temperature: 'loop oil',
  tank_oil_temperature: 'tank oil',
  loop_metal_temperature: 'loop metal',
  case_temperature: 'case',
  gallery_temperature: 'gallery',
  park_brake: 'park brake',
  relief_a_poppet: 'poppet A',
  relief_b_poppet: 'poppet B',
  filter_drop: 'filter',
  filter_bypass: 'bypass',
  hose_flow: 'lost',
  drawbar_force: 'drawbar',
  rear_axle_load: 'rear',
  front_axle_load: 'front',
  front_wheel_speed: 'front wheels',
  front_wheel_slip: 'front slip',
  front_traction_force: 'front',
  second_motor_speed: 'motor 2',
  second_motor_displacement: 'motor 2',
  second_motor_flow: 'motor 2',
  oil_viscosity: 'viscosity',
  loop_heat: 'loop heat',
  tank_oil: 'tank oil',
  limiter_a: 'limiter A',
  limiter_b: 'limiter B',
  hose_drop: 'hoses',
  motor_pressure_difference: 'at the motor',
  case_pressure: 'case',
  charge_inlet_pressure: 'charge inlet',
};

const chartGroups = [
  { title: 'Main line pressures', names: ['line_a_pressure', 'line_b_pressure'], tall: true },
  { title: 'Charge and low side', names: ['charge_pressure', 'low_side_pressure'] },
  { title: 'Case and charge inlet', names: ['case_pressure', 'charge_inlet_pressure'] },
  { title: 'Hoses', names: ['hose_drop'] },
  { title: 'Machine speed', names: ['vehicle_speed'] },
  { title: 'Pedals', names: ['pedal', 'brake', 'park_brake', 'exhaust_brake', 'fuel_fraction'] },
  {
    title: 'Pump stroke and motor displacement',
    names: [
      'stroke_command',
      'pump_stroke',
      'motor_displacement',
      'second_motor_displacement',
      'motor_override',
      'limiter_a',
      'limiter_b',
    ],
  },
  { title: 'Shaft speeds', names: ['engine_speed', 'motor_speed', 'second_motor_speed'] },
  { title: 'Wheel speeds', names: ['wheel_speed', 'front_wheel_speed'] },
  {
    title: 'Main flows',
    names: ['pump_flow', 'motor_flow', 'second_motor_flow', 'relief_a_flow', 'relief_b_flow', 'hose_flow'],
  },
  {
    title: 'Charge and case flows',
    names: ['charge_flow', 'check_a_flow', 'check_b_flow', 'charge_relief_flow', 'flush_flow', 'case_flow'],
  },
  { title: 'Torques', names: ['engine_torque', 'pump_torque', 'motor_torque'] },
  { title: 'Grade and slip', names: ['grade', 'wheel_slip', 'front_wheel_slip'] },
  { title: 'Traction and pull', names: ['traction_force', 'front_traction_force', 'drawbar_force'] },
  { title: 'Axle loads', names: ['rear_axle_load', 'front_axle_load'] },
  { title: 'Brake torque at the wheels', names: ['brake_torque'] },
  { title: 'Heat made in the loop', names: ['loop_heat'] },
  {
    title: 'Oil temperatures',
    names: [
      'loop_oil_temperature',
      'tank_oil_temperature',
      'loop_metal_temperature',
      'case_temperature',
      'gallery_temperature',
    ],
  },
  { title: 'Relief valves above cracking', names: ['relief_a_lift', 'relief_b_lift'] },
  { title: 'Relief poppets', names: ['relief_a_poppet', 'relief_b_poppet'] },
  { title: 'Charge filter, drop', names: ['filter_drop'] },
  { title: 'Charge filter, by-passed', names: ['filter_bypass'] },
  { title: 'Distance', names: ['vehicle_distance'] },
];

function shortName(name) {
  return shortNames[name] || named(name);
}

// What the groups do not name, by unit.
function allGroups() {
  const first = runs[0];
  const everyName = [...new Set(runs.flatMap((run) => run.signals.map((signal) => signal.name)))];
  const taken = new Set(chartGroups.flatMap((group) => group.names));
  const groups = chartGroups
    .map((group) => ({ ...group, names: group.names.filter((name) => everyName.includes(name)) }))
    .filter((group) => group.names.length > 0);
  const byUnit = new Map();
  for (const name of everyName.filter((one) => !taken.has(one))) {
    const signal = (runs.find((run) => run.signalByName.has(name)) || first).signals.find((row) => row.name === name);
    const unit = (signal.si || '1') + '>' + (signal.trade || '') + (signal.reference || '');
    if (!byUnit.has(unit)) byUnit.set(unit, []);
    byUnit.get(unit).push(name);
  }
  for (const names of byUnit.values()) {
    for (let at = 0; at < names.length; at += 6) {
      const part = names.slice(at, at + 6);
      groups.push({
        title: part.length === 1 ? titleOf(part[0]) : 'Also: ' + part.map(shortName).join(', '),
        names: part,
      });
    }
  }
  return groups;
}

function titleOf(name) {
  const run = runs.find((one) => one.signalByName.has(name));
  const text = run.signals[run.signalByName.get(name)].text || named(name);
  return text.charAt(0).toUpperCase() + text.slice(1);
}
