/* Bent-axis motor of variable displacement, and its servo. Displacement e from e_min to 1 of the largest D, speed w,
 * drop = p_A - p_B. Displaced flow e D w from A to B, torque given e D drop - loss; overrun reverses power, not the
 * formulas. Losses: rotary.h.
 *
 * Servo: the operator commands e_c; the pressure override adds (1 - e_c) x_o, tau_o x_o' = clamp01((p - p_case - p_o)/
 * b_o) - x_o; e' = clamp((e_t - e)/tau_m, rate). `override_line`: `drive_side` takes the line that drives (told by the
 * sign of the pump stroke, blended over `side_width`), so that the override is dead in overrun; `higher_line` takes the
 * higher of the two, so that it also acts in overrun. Control `two_position`: the pedal commands the largest or the
 * smallest displacement, changing over at `switch_pedal` (of the motor's part of the pedal), within 2 % of pedal.
 *
 * Friction: `smoothed` (reference law) turns dry friction round over `speed_width` by hyperbolic tangent, so that it is
 * gone at standstill: a motor that stalls gives more than it can, and one that should be held creeps. `stick` keeps it
 * (friction.h): at rest the shaft carries up to its starting torque loss (1 - eta_s) D |drop|, eta_s the starting
 * torque efficiency (starting torque over theoretical torque at this pressure, the words of ISO 4392), of the largest
 * displacement as all losses are (rotary.h), or what it loses running if that is more; turning, the loss falls to the
 * running one. Against the load when it drives, with the brake when it holds back. Bent-axis motors start with 0.90 to
 * 0.95 of their theoretical torque (common practice, from memory). `starting_speed` is ours, no source: a friction that
 * falls within fewer turns makes wheels chatter that slide slowly (cases/wet_clay.yaml: from 100 rpm and 92 % on).
 *
 * A second motor may stand beside the first on the same lines, with a driveline and an axle of its own. */
#ifndef SWASHLOOP_MODELS_MOTOR_H
#define SWASHLOOP_MODELS_MOTOR_H

#include "field.h"
#include "friction.h"
#include "rotary.h"

enum motor_friction { MOTOR_FRICTION_SMOOTHED, MOTOR_FRICTION_STICK };
enum motor_control { MOTOR_PROPORTIONAL, MOTOR_TWO_POSITION };
/* Pressure between the ports at which the wind-up of friction is stated, Pa, and the least torque there, N m. */
#define MOTOR_WIND_UP_PRESSURE 350e5
#define MOTOR_LEAST_WOUND_UP 20.0

enum override_line { OVERRIDE_DRIVE_SIDE, OVERRIDE_HIGHER_LINE, OVERRIDE_OFF };

/* clang-format off */
#define MOTOR_FIELDS(REAL, CHOICE, TABLE, MAP)                                                                         \
  CHOICE(control, MOTOR_PROPORTIONAL, "proportional|two_position", "", "how the pedal commands the displacement")          \
  REAL(switch_pedal, FRACTION, 50.0, 2.0, 98.0, NONE, "", "part of the motor's pedal at which it changes over", "control two_position") \
  REAL(displacement, DISPLACEMENT, 160.0, 5.0, 20000.0, NONE, "D_m", "largest displacement")                           \
  REAL(smallest, FRACTION, 31.25, 1.0, 100.0, NONE, "em_min", "smallest displacement over the largest")                \
  REAL(slip_coefficient, NUMBER, 2e-9, 0.0, 1e-6, NONE, "Cs_m", "laminar leakage from port to port", "losses coefficients") \
  REAL(case_leak_coefficient, NUMBER, 1e-9, 0.0, 1e-6, NONE, "Cc_m", "laminar leakage from each port to the case", "losses coefficients") \
  REAL(viscous_coefficient, NUMBER, 0.8e5, 0.0, 1e7, NONE, "Cv_m", "viscous torque loss", "losses coefficients") \
  REAL(viscous_exponent, NUMBER, 0.4, 0.0, 1.0, NONE, "", "how the viscous torque rises with viscosity; 1 is linear", "losses coefficients") \
  REAL(friction_coefficient, NUMBER, 0.018, 0.0, 0.5, NONE, "Cf_m", "torque loss in proportion to pressure", "losses coefficients") \
  REAL(constant_torque, TORQUE, 5.0, 0.0, 1000.0, NONE, "Tc_m", "torque loss that is always there", "losses coefficients") \
  REAL(friction_at_zero_stroke, FRACTION, 100.0, 0.0, 100.0, NONE, "", "part of the torque loss by pressure that is there at zero stroke", "losses coefficients and friction_coefficient") \
  REAL(churning_coefficient, NUMBER, 0.0, 0.0, 1e5, NONE, "", "torque loss by the square of the speed", "losses coefficients") \
  REAL(churning_at_zero_stroke, FRACTION, 0.0, 0.0, 100.0, NONE, "", "part of it that is there at zero stroke", "losses coefficients and churning_coefficient") \
  REAL(compressed_at_zero_stroke, FRACTION, 0.0, 0.0, 1000.0, NONE, "", "oil compressed and let down in each turn at zero stroke, over the displacement", "losses coefficients") \
  REAL(compressed_at_full_stroke, FRACTION, 0.0, 0.0, 1000.0, NONE, "", "the same at full stroke", "losses coefficients") \
  CHOICE(friction, MOTOR_FRICTION_STICK, "smoothed|stick", "", "whether dry friction truly holds at rest")                 \
  REAL(speed_width, ANGULAR_SPEED, 19.098593171027440, 1e-3, 1000.0, NONE, "w_m0", "speed over which smoothed friction, and the flow of compressed oil, turn round") \
  REAL(starting_efficiency, FRACTION, 93.0, 30.0, 100.0, NONE, "", "starting torque over theoretical torque, largest displacement", "friction stick") \
  REAL(starting_speed, ANGULAR_SPEED, 150.0, 0.1, 1000.0, NONE, "", "speed at which half of what starting takes beyond running is gone", "friction stick") \
  REAL(wind_up_angle, ANGLE, 1.0, 0.01, 90.0, NONE, "", "turn of the shaft at which dry friction has built up, started with 350 bar", "friction stick") \
  REAL(servo_lag, TIME, 0.03, 1e-4, 10.0, NONE, "tau_m", "lag of the displacement servo")                              \
  REAL(rate_up, RATE, 100.0, 0.01, 1e5, NONE, "R_m", "fastest rise of displacement")                                   \
  REAL(rate_down, RATE, 0.0, 0.0, 1e5, NONE, "", "fastest fall of displacement; 0: as the rise")                                 \
  REAL(upstroke_delay, TIME, 0.0, 0.0, 60.0, NONE, "", "how long a larger displacement waits after the pedal asks for it", "operator.layout pedal_and_direction|two_pedals and controls.ramp off and driver.drives no") \
  CHOICE(override_line, OVERRIDE_DRIVE_SIDE, "drive_side|higher_line|off", "", "line whose pressure raises the displacement") \
  REAL(override_begin, PRESSURE, 300.0, 1.0, 1000.0, OVER_CASE, "po", "pressure at which the override begins", "override_line drive_side|higher_line") \
  REAL(override_band, PRESSURE, 100.0, 0.1, 1000.0, NONE, "bo", "band to full displacement", "override_line drive_side|higher_line") \
  REAL(override_lag, TIME, 0.004, 1e-4, 10.0, NONE, "tau_o", "lag of the override valve", "override_line drive_side|higher_line") \
  REAL(override_rate, RATE, 120.0, 0.0, 1e5, NONE, "R_o", "rate that the override adds", "override_line drive_side|higher_line") \
  REAL(side_width, FRACTION, 2.0, 1e-4, 50.0, NONE, "b_h", "pump stroke over which the driving side changes over", "override_line drive_side") \
  CHOICE(losses, ROTARY_COEFFICIENTS, "coefficients|map", "", "where leakage and torque loss come from")               \
  MAP(efficiency_map, "measured efficiencies: rows [speed, pressure, volumetric, hydro-mechanical] at full stroke, or with the stroke as third column", "losses map") \
  REAL(map_case_share, FRACTION, 30.0, 0.0, 100.0, NONE, "", "part of the map's leakage that goes to the case, not to the other port", "losses map")
/* clang-format on */

struct motor_parameters {
  MOTOR_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE, FIELD_MEMBER_MAP)
};

#define FIELD_OWNER struct motor_parameters
static const struct field motor_fields[] = {
    MOTOR_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE, FIELD_ROW_MAP)};
#undef FIELD_OWNER

/* The loss coefficients, or the map, of a motor; `pressure_width` (Pa) is the pump's. */
static inline struct rotary_losses motor_losses(const struct motor_parameters *motor, real pressure_width) {
  struct rotary_losses losses = {
      .displacement = motor->displacement,
      .slip = motor->slip_coefficient,
      .case_leak = motor->case_leak_coefficient,
      .viscous = motor->viscous_coefficient,
      .coulomb = motor->friction_coefficient,
      .constant = motor->constant_torque,
      .friction_idle = motor->friction_at_zero_stroke,
      .churning = motor->churning_coefficient, /* until rotary_losses_in_oil */
      .churning_idle = motor->churning_at_zero_stroke,
      .compressed_idle = motor->compressed_at_zero_stroke,
      .compressed_full = motor->compressed_at_full_stroke,
      .speed_width = motor->speed_width,
      .pressure_width = pressure_width,
      .map = motor->losses == ROTARY_MAP ? EACH(motor->efficiency_map) : NULL,
      .is_motor = true,
      .case_share = motor->map_case_share,
  };
  return losses;
}

/* Torque over which the wind-up of dry friction is stated, N m at the shaft; never zero: a motor without friction keeps
 * a thousandth of 20 N m, since an error of the wind-up beyond its capacity would be much power. */
static inline real motor_wound_up_torque(const struct motor_parameters *motor) {
  real starting = (1.0 - motor->starting_efficiency) * motor->displacement * MOTOR_WIND_UP_PRESSURE;
  return larger(starting, larger(motor->constant_torque, MOTOR_LEAST_WOUND_UP));
}

/* Stiffness of its wind-up, N m/rad at the shaft. */
static inline real motor_friction_stiffness(const struct motor_parameters *motor) {
  return motor_wound_up_torque(motor) / motor->wind_up_angle;
}

/* Dry friction that stands against a turn of the shaft, N m, most at rest. */
static inline real motor_friction_capacity(const struct motor_parameters *motor, const struct rotary_losses *losses,
                                           real drop, real stroke, real speed) {
  real starting = (1.0 - motor->starting_efficiency) * motor->displacement * soft_abs(drop, losses->pressure_width) *
                  (losses->map == NULL ? rotary_by_stroke(losses->friction_idle, stroke) : broadcast(1.0));
  return friction_capacity(starting, rotary_dry_torque_of(losses, drop, stroke, speed), motor->starting_speed, speed,
                           motor_wound_up_torque(motor));
}

/* Flow displaced from A to B, m3/s. */
static inline real motor_displaced_flow(real displacement, real share, real speed) {
  return displacement * share * speed;
}

/* Torque of the pressure on the shaft, N m, positive when it drives the machine forward. */
static inline real motor_pressure_torque(real displacement, real share, real drop) {
  return displacement * share * drop;
}

/* Share of the largest displacement that the pedal's motor part (0 to 1) commands. */
static inline real motor_command(const struct motor_parameters *motor, real part) {
  real share = motor->control == MOTOR_TWO_POSITION ? clamp01(0.5 + (part - motor->switch_pedal) / 0.02) : part;
  return 1.0 - (1.0 - motor->smallest) * share;
}

/* Pressure that the override sees, Pa absolute. */
static inline real motor_override_pressure(const struct motor_parameters *motor, real stroke, real a, real b) {
  if (motor->override_line == OVERRIDE_HIGHER_LINE) {
    return larger(a, b);
  }
  return blend(b, a, 0.5 * (1.0 + tanh_sign(stroke, motor->side_width)));
}

/* d(override)/dt, 1/s. */
static inline real motor_override_rate(const struct motor_parameters *motor, real override, real over_case) {
  real asked = motor->override_line == OVERRIDE_OFF
                   ? broadcast(0.0)
                   : ramp01(over_case, motor->override_begin, motor->override_begin + motor->override_band);
  return (asked - override) / motor->override_lag;
}

/* d(displacement share)/dt, 1/s, for the command (share of the largest) and the override (0 to 1). */
static inline real motor_share_rate(const struct motor_parameters *motor, real share, real command, real override) {
  real target = command + (1.0 - command) * override;
  real rise = (target - share) / motor->servo_lag;
  real extra = motor->override_rate * override;
  real down = select_where(motor->rate_down > 0.0, motor->rate_down, motor->rate_up);
  return clamp(rise, -(down + extra), motor->rate_up + extra);
}

#endif
