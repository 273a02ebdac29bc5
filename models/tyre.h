/* Tyre on the ground, all wheels as one.
 *
 * Force of a slip k: F = mu N sin(C atan(B k)): rises with stiffness mu N B C, peaks at mu N, falls a little beyond.
 *
 * `slip_curve` (reference law): k = (r w - v)/sqrt(v^2 + v_0^2), no state. Near standstill it is a damper: a machine on
 * a slope creeps even with locked wheels.
 *
 * `relaxation`: k is a state, the deflection of the tyre over the relaxation length L,
 *   L k' = (r w - v) - max(|r w|, |v|) k,
 * at speed the usual bounded slip (r w - v)/max(|r w|, |v|) after a distance L, at rest a spring of stiffness mu N B C/L
 * that holds without creep. Damping at rest, d k' with d = mu N B C t_d g(k) h(V), g = 1/(1 + (B k)^2), h = 1/(1 +
 * V/V_0)^2, V = max(|r w|, |v|), fades as the tyre rolls or slides. Relaxation length of a rolling tyre: common practice
 * in vehicle dynamics, no source. Energy: power lost F (r w - v) - F_c L k' with F_c the curve's part; it is never
 * negative while t_d V_0 < 16 L (F_c/k)/(mu N B C g): the defaults keep a factor of 800.
 *
 * Sign: force positive when the ground pushes the machine forward. */
#ifndef SWASHLOOP_MODELS_TYRE_H
#define SWASHLOOP_MODELS_TYRE_H

#include "field.h"

enum tyre_law { TYRE_SLIP_CURVE, TYRE_RELAXATION };

/* clang-format off */
#define TYRE_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  CHOICE(law, TYRE_RELAXATION, "slip_curve|relaxation", "how slip follows the speeds")                                 \
  REAL(grip, NUMBER, 0.75, 0.0, 2.0, NONE, "mu_t", "largest traction force over load")                                 \
  REAL(stiffness, NUMBER, 7.0, 0.1, 100.0, NONE, "B_t", "steepness of the slip curve")                                 \
  REAL(shape, NUMBER, 1.45, 1.0, 2.0, NONE, "C_t", "shape of the slip curve beyond the peak")                          \
  REAL(slip_speed, SPEED, 1.08, 1e-3, 36.0, NONE, "v_t0", "speed below which the law slip_curve turns into a damper")  \
  REAL(relaxation_length, LENGTH, 0.3, 0.01, 5.0, NONE, "", "distance over which a tyre takes up a new slip")          \
  REAL(damping_time, TIME, 0.02, 0.0, 1.0, NONE, "", "damping of the tyre at rest over its stiffness")                 \
  REAL(damping_speed, SPEED, 1.0, 0.01, 36.0, NONE, "", "speed over which the damping at rest fades")                  \
  REAL(rolling_resistance, NUMBER, 0.03, 0.0, 1.0, NONE, "c_rr", "rolling resistance over load")                       \
  REAL(rolling_width, SPEED, 0.108, 1e-5, 10.0, NONE, "v_rr", "speed over which rolling resistance turns round")       \
  REAL(told_slip, FRACTION, 25.0, 1.0, 1000.0, NONE, "", "slip above this is told")
/* clang-format on */

struct tyre_parameters {
  TYRE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct tyre_parameters
static const struct field tyre_fields[] = {TYRE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Force of the slip curve, N. */
static inline real tyre_curve(const struct tyre_parameters *tyre, real slip, real load) {
  return tyre->grip * load * sin(tyre->shape * atan(tyre->stiffness * slip));
}

/* Slip of the law `slip_curve`. */
static inline real tyre_slip(const struct tyre_parameters *tyre, real rim_speed, real speed) {
  return (rim_speed - speed) / sqrt(speed * speed + tyre->slip_speed * tyre->slip_speed);
}

/* dk/dt of the law `relaxation`, 1/s. */
static inline real tyre_slip_rate(const struct tyre_parameters *tyre, real slip, real rim_speed, real speed) {
  real rolling = larger(fabs(rim_speed), fabs(speed));
  return ((rim_speed - speed) - rolling * slip) / tyre->relaxation_length;
}

/* Force of the damping at rest, N. */
static inline real tyre_damping(const struct tyre_parameters *tyre, real slip, real slip_rate, real rim_speed,
                                real speed, real load) {
  real rolling = larger(fabs(rim_speed), fabs(speed));
  real steep = tyre->stiffness * slip;
  real fade = 1.0 + rolling / tyre->damping_speed;
  return tyre->grip * load * tyre->stiffness * tyre->shape * tyre->damping_time * slip_rate /
         ((1.0 + steep * steep) * fade * fade);
}

/* Slip that carries `force` at rest: the start of a parked machine. */
static inline real tyre_slip_for(const struct tyre_parameters *tyre, real force, real load) {
  real share = tyre->grip * load > 0.0 ? clamp(force / (tyre->grip * load), -1.0, 1.0) : 0.0;
  return tan(asin(share) / tyre->shape) / tyre->stiffness;
}

/* Rolling resistance, N, signed as the speed. */
static inline real tyre_rolling_resistance(const struct tyre_parameters *tyre, real speed, real load) {
  return tyre->rolling_resistance * load * tanh_sign(speed, tyre->rolling_width);
}

#endif
