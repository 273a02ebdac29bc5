/* What random cases are made of (test_properties.c): parameters with the ranges that they are drawn from, laws, and
 * what breaks. */
#ifndef SWASHLOOP_TESTS_OUTSIDE_RANDOM_RANGES_H
#define SWASHLOOP_TESTS_OUTSIDE_RANDOM_RANGES_H

struct range {
  const char *path; /* section.name */
  const char *unit;
  double low, high;
};

static const struct range ranges[] = {
    {"fluid.air_content", "%", 0.1, 3.0},
    {"fluid.wall_modulus", "GPa", 0.4, 4.0},
    {"heat.loop_start", "degC", -10.0, 95.0},
    {"heat.tank_start", "degC", -10.0, 70.0},
    {"heat.ambient", "degC", -20.0, 45.0},
    {"engine.inertia", "kg m2", 0.8, 5.0},
    {"engine.peak_torque", "N m", 400.0, 1000.0},
    {"engine.droop", "%", 2.0, 12.0},
    {"engine.fuel_lag", "s", 0.02, 0.3},
    {"engine.start_speed", "%", 100.0, 106.0},
    {"pump.displacement", "cm3/rev", 60.0, 200.0},
    {"pump.slip_coefficient", "", 5e-10, 1e-8},
    {"pump.friction_coefficient", "", 0.0, 0.08},
    {"pump.friction_at_zero_stroke", "%", 0.0, 100.0},
    {"pump.churning_coefficient", "", 0.0, 150.0},
    {"pump.churning_at_zero_stroke", "%", 0.0, 100.0},
    {"pump.compressed_at_zero_stroke", "%", 0.0, 300.0},
    {"pump.compressed_at_full_stroke", "%", 0.0, 300.0},
    {"swash.rate_up", "%/s", 30.0, 300.0},
    {"swash.rate_down", "%/s", 30.0, 300.0},
    {"swash.servo_lag", "s", 0.01, 0.1},
    {"swash.command_lag", "s", 0.02, 0.2},
    {"swash.servo_volume", "L", 0.0, 0.05},
    {"limiter.setting", "bar", 250.0, 420.0},
    {"limiter.band", "bar", 30.0, 80.0},
    {"limiter.lag", "s", 0.001, 0.01},
    {"relief.setting", "bar", 300.0, 500.0},
    {"relief.gradient", "L/min/bar", 1.0, 15.0},
    {"relief.lag", "s", 0.002, 0.03},
    {"charge.displacement", "cm3/rev", 12.0, 40.0},
    {"charge.relief_setting", "bar", 15.0, 35.0},
    {"charge.suction_resistance", "1/m3", 0.0, 5e8},
    {"charge.check_recovery", "", 0.4, 1.0},
    {"hoses.length", "m", 0.1, 8.0},
    {"hoses.bore", "mm", 14.0, 40.0},
    {"flushing.relief_setting", "bar", 10.0, 18.0},
    {"flushing.shift_pressure", "bar", 3.0, 20.0},
    {"motor.displacement", "cm3/rev", 80.0, 250.0},
    {"motor.smallest", "%", 20.0, 60.0},
    {"motor.friction_at_zero_stroke", "%", 0.0, 100.0},
    {"motor.churning_coefficient", "", 0.0, 150.0},
    {"motor.churning_at_zero_stroke", "%", 0.0, 100.0},
    {"motor.compressed_at_zero_stroke", "%", 0.0, 300.0},
    {"motor.compressed_at_full_stroke", "%", 0.0, 300.0},
    {"motor.rate_up", "%/s", 20.0, 300.0},
    {"motor.rate_down", "%/s", 20.0, 300.0},
    {"motor.override_begin", "bar", 200.0, 400.0},
    {"driveline.ratio", "", 20.0, 80.0},
    {"driveline.efficiency", "%", 85.0, 100.0},
    {"driveline.drag_torque", "N m", 0.0, 500.0},
    {"driveline.wheel_inertia", "kg m2", 50.0, 1000.0},
    {"driveline.wheel_radius", "m", 0.4, 0.8},
    {"brake.torque", "N m", 30e3, 150e3},
    {"tyre.stiffness", "", 4.0, 15.0},
    {"tyre.rolling_resistance", "", 0.01, 0.15},
    {"tyre.cone_index", "bar", 4.0, 20.0},
    {"tyre.grip", "", 0.2, 1.0},
    {"vehicle.mass", "kg", 3e3, 30e3},
};

struct choice {
  const char *path;
  const char *words; /* separated by '|' */
};

static const struct choice choices[] = {
    {"limiter.fitted", "yes|yes|no"},
    {"limiter.law", "driven_side|both_sides|higher_line"},
    {"limiter.side", "swash|command"},
    {"swash.charge_loss", "to_neutral|held"},
    {"swash.servo", "first_order|second_order"},
    {"swash.underspeed", "off|on"},
    {"relief.law", "first_order|poppet"},
    {"relief.return_to", "line|gallery"},
    {"motor.override_line", "drive_side|higher_line|off"},
    {"motor.control", "proportional|two_position"},
    {"engine.stall", "none|held|end_run"},
    {"engine.governor", "droop|isochronous"},
    {"brake.law", "stick|smoothed"},
    {"tyre.law", "relaxation|slip_curve"},
    {"tyre.ground", "hard|gee_clough|brixius"},
    {"heat.nodes", "two|four"},
};

static const char *const faults[] = {
    "charge_lost",         "hose_burst_a",
    "hose_burst_b",        "relief_a_stuck_open",
    "relief_b_stuck_open", "relief_a_stuck_shut",
    "relief_b_stuck_shut", "swash_stuck",
    "limiter_dead",        "filter_blocked",
    "cooler_dead",         "engine_off",
    "pedals_stuck",        "brake",
    "park_brake",
};

#endif
