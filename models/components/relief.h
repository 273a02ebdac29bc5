/* Main relief valves, one a line.
 *
 * `first_order`: the opening x, stated as pressure above cracking, follows the
 * excess, tau x' = max(0, drop - p_crack) - x, and passes G x s(drop), s the sign of the drop rounded over `flow_width`
 * so that flow never runs against the drop. Return: to the other main line, or to the charge gallery (make-up for the
 * low side). Static override: drop = p_crack + Q/G. Heat: Q drop. Time constants of direct valves 5 to 25 ms, piloted
 * 20 to 100 ms (from memory, handbooks).
 *
 * `poppet`: a poppet of mass m on a seat of diameter d, lift x, speed y:
 *   m y' = A drop - F_0 - k x - 2 C_d cos(phi) w x drop - c y - F_r s(y) + stops,   x' = y,   A = pi d^2/4,
 *   F_0 = A p_crack,  F_r a dry friction (a sticking valve; 0 in a sound one), s the sign of y rounded over 10 um/s,
 * with the steady flow force of H. E. Merritt, Hydraulic Control Systems (1967), jet angle phi 69 deg (from memory),
 * flow C_d w x sqrt(2 |drop|/rho) with the drop's sign, w the width of the opening. Seat and lift stop are stiff
 * springs with damping strong enough to take the speed away (no rebound); a stop only pushes. The flow reads max(0, x).
 * The static override follows: relief_poppet_drop solves the force balance for a flow. Valid for direct valves; a
 * piloted valve has a main stage that this law does not know.
 *
 * Flow positive out of the valve's own line. */
#ifndef SWASHLOOP_MODELS_RELIEF_H
#define SWASHLOOP_MODELS_RELIEF_H

#include "field.h"

enum relief_law { RELIEF_FIRST_ORDER, RELIEF_POPPET };
enum relief_return { RELIEF_TO_LINE, RELIEF_TO_GALLERY };

/* clang-format off */
#define RELIEF_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  CHOICE(law, RELIEF_FIRST_ORDER, "first_order|poppet", "", "how a relief valve opens")                                    \
  REAL(setting, PRESSURE, 450.0, 1.0, 1000.0, LINE_TO_LINE, "pr_crack", "drop at which a relief valve cracks")         \
  REAL(gradient, FLOW_PER_PRESSURE, 4.2, 1e-3, 1e3, NONE, "Gr", "flow over pressure above cracking")                   \
  REAL(lag, TIME, 0.004, 1e-5, 1.0, NONE, "tau_r", "lag of the opening")                                               \
  REAL(flow_width, PRESSURE, 10.0, 1e-3, 100.0, NONE, "pr_w", "drop over which the flow turns round")                  \
  CHOICE(return_to, RELIEF_TO_LINE, "line|gallery", "gallery", "where the relief valves return their oil")                        \
  REAL(seat_diameter, LENGTH, 0.010, 0.0005, 0.2, NONE, "", "seat of the poppet (law poppet)")                         \
  REAL(opening_width, LENGTH, 0.020, 1e-4, 1.0, NONE, "", "width of the opening over lift (law poppet)")               \
  REAL(spring_rate, STIFFNESS, 200.0, 0.01, 1e5, NONE, "", "spring of the poppet (law poppet)")                        \
  REAL(poppet_mass, MASS, 0.05, 1e-4, 10.0, NONE, "", "moving mass (law poppet)")                                      \
  REAL(poppet_damping, VISCOUS_FORCE, 150.0, 0.0, 1e6, NONE, "", "damping of the poppet (law poppet)")                 \
  REAL(poppet_friction, FORCE, 0.0, 0.0, 10.0, NONE, "", "dry friction of the poppet (law poppet)")                      \
  REAL(largest_lift, LENGTH, 0.003, 1e-5, 0.1, NONE, "", "lift stop (law poppet)")                                     \
  REAL(discharge, NUMBER, 0.65, 0.1, 1.0, NONE, "", "discharge coefficient of the opening (law poppet)")               \
  REAL(jet_angle, ANGLE, 69.0, 0.0, 90.0, NONE, "", "angle of the jet against the axis (law poppet)")
/* clang-format on */

struct relief_parameters {
  RELIEF_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct relief_parameters
static const struct field relief_fields[] = {RELIEF_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* d(opening)/dt, Pa/s. */
static inline real relief_opening_rate(const struct relief_parameters *relief, real opening, real drop) {
  return (max0(drop - relief->setting) - opening) / relief->lag;
}

/* Flow, m3/s. */
static inline real relief_flow(const struct relief_parameters *relief, real opening, real drop) {
  return select_where_rare(opening != 0.0, relief->gradient * opening * soft_sign(drop, relief->flow_width),
                           broadcast(0.0));
}

/* ---- law poppet ---- */

/* Stops: stiff enough that a full force presses them in by some micrometres, damped beyond rebound. The damping comes
 * up over the first micrometre, so that the force has no jump where a poppet strikes. */
#define RELIEF_STOP_STIFFNESS 2e8 /* N/m */
#define RELIEF_STOP_CONTACT 1e-6  /* m */

static inline real relief_seat_area(const struct relief_parameters *relief) {
  return 0.25 * REAL_PI * relief->seat_diameter * relief->seat_diameter;
}

/* Closing force of the jet over lift and drop: 2 C_d cos(phi) w. */
static inline real relief_flow_force_factor(const struct relief_parameters *relief) {
  return 2.0 * relief->discharge * cos(relief->jet_angle) * relief->opening_width;
}

/* Push of a stop that is pressed in by `depth` at a speed `inward`, N; never pulls. */
static inline real relief_stop_force(const struct relief_parameters *relief, real depth, real inward) {
  real damping = 2.0 * sqrt(RELIEF_STOP_STIFFNESS * relief->poppet_mass);
  real contact = clamp01(depth / RELIEF_STOP_CONTACT);
  return select_where(depth > 0.0, max0(RELIEF_STOP_STIFFNESS * depth + damping * contact * inward), broadcast(0.0));
}

/* Below this speed the dry friction fades: a poppet creeps instead of resting, by less than one sees. */
#define RELIEF_FRICTION_SPEED 1e-5 /* m/s */

/* Acceleration of the poppet, m/s2. */
static inline real relief_poppet_acceleration(const struct relief_parameters *relief, real lift, real speed,
                                              real drop) {
  real force = relief_seat_area(relief) * (drop - relief->setting) - relief->spring_rate * lift -
               relief_flow_force_factor(relief) * max0(lift) * max0(drop) - relief->poppet_damping * speed -
               relief->poppet_friction * soft_sign(speed, RELIEF_FRICTION_SPEED) +
               relief_stop_force(relief, -lift, -speed) - relief_stop_force(relief, lift - relief->largest_lift, speed);
  return force / relief->poppet_mass;
}

/* Flow through the opening, m3/s. */
static inline real relief_poppet_flow(const struct relief_parameters *relief, real lift, real drop, double density) {
  return relief->discharge * relief->opening_width * max0(lift) * sqrt(2.0 * fabs(drop) / density) *
         soft_sign(drop, relief->flow_width);
}

#if REAL_LANES == 1 /* asked by analyses only */

/* The static override: the drop at which the open valve passes `flow` (> 0) in balance, Pa, and its lift. Newton's
 * method on the force balance with x = Q/(C_d w sqrt(2 drop/rho)). */
static inline real relief_poppet_drop(const struct relief_parameters *relief, real flow, real density, real *lift) {
  real area = relief_seat_area(relief);
  real per_root = relief->discharge * relief->opening_width * sqrt(2.0 / density);
  real jet = relief_flow_force_factor(relief);
  real drop = relief->setting;
  for (int i = 0; i < 60; i++) {
    real x = flow / (per_root * sqrt(drop));
    real balance = area * (drop - relief->setting) - x * (relief->spring_rate + jet * drop);
    /* dx/d(drop) = -x/(2 drop) */
    real slope = area + 0.5 * x / drop * (relief->spring_rate + jet * drop) - x * jet;
    real step = balance / slope;
    drop -= step;
    if (fabs(step) < 1e-12 * drop) {
      break;
    }
  }
  *lift = flow / (per_root * sqrt(drop));
  return drop;
}

#endif

#endif
