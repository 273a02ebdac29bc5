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
 * The damping c is that of laminar gaps and goes with the oil's viscosity, c = c_0 mu(T)/mu(T_0), T_0 the
 * damping_temperature and T that of the oil in the loop (from memory, handbooks); `thickness` is mu(T)/mu(T_0).
 * The static override follows: relief_poppet_drop solves the force balance for a flow. Valid for direct valves; the
 * main stage of a piloted valve is not modelled.
 *
 * Flow positive out of the valve's own line. */
#ifndef SWASHLOOP_MODELS_RELIEF_H
#define SWASHLOOP_MODELS_RELIEF_H

#include <math.h>
#include <stdbool.h>

#include "field.h"

enum relief_law { RELIEF_FIRST_ORDER, RELIEF_POPPET };
enum relief_return { RELIEF_TO_LINE, RELIEF_TO_GALLERY };
enum relief_settings { RELIEF_ALIKE, RELIEF_EACH };

/* clang-format off */
#define RELIEF_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  CHOICE(law, RELIEF_FIRST_ORDER, "first_order|poppet", "", "how a relief valve opens")                                    \
  REAL(setting, PRESSURE, 450.0, 1.0, 1000.0, LINE_TO_LINE, "pr_crack", "drop at which a relief valve cracks")         \
  CHOICE(settings, RELIEF_ALIKE, "alike|each", "", "whether both valves have one setting, or valve B its own") \
  REAL(setting_b, PRESSURE, 450.0, 1.0, 1000.0, LINE_TO_LINE, "", "drop at which valve B cracks", "settings each") \
  REAL(gradient, FLOW_PER_PRESSURE, 4.2, 1e-3, 1e3, NONE, "Gr", "flow over pressure above cracking", "law first_order") \
  REAL(lag, TIME, 0.004, 1e-5, 1.0, NONE, "tau_r", "lag of the opening", "law first_order") \
  REAL(flow_width, PRESSURE, 10.0, 1e-3, 100.0, NONE, "pr_w", "drop over which the flow turns round")                  \
  CHOICE(return_to, RELIEF_TO_LINE, "line|gallery", "gallery", "where the relief valves return their oil")                        \
  REAL(seat_diameter, LENGTH, 0.010, 0.0005, 0.2, NONE, "", "seat of the poppet", "law poppet") \
  REAL(opening_width, LENGTH, 0.020, 1e-4, 1.0, NONE, "", "width of the opening over lift", "law poppet") \
  REAL(spring_rate, STIFFNESS, 200.0, 0.01, 1e5, NONE, "", "spring of the poppet", "law poppet") \
  REAL(poppet_mass, MASS, 0.05, 1e-4, 10.0, NONE, "", "moving mass", "law poppet") \
  REAL(poppet_damping, VISCOUS_FORCE, 150.0, 0.0, 1e6, NONE, "", "damping of the poppet", "law poppet") \
  REAL(damping_temperature, TEMPERATURE, 50.0, -40.0, 150.0, NONE, "", "oil temperature at which that damping holds", "law poppet") \
  REAL(poppet_friction, FORCE, 0.0, 0.0, 10.0, NONE, "", "dry friction of the poppet", "law poppet") \
  REAL(largest_lift, LENGTH, 0.003, 1e-5, 0.1, NONE, "", "lift stop", "law poppet") \
  REAL(discharge, NUMBER, 0.65, 0.1, 1.0, NONE, "", "discharge coefficient of the opening", "law poppet") \
  REAL(jet_angle, ANGLE, 69.0, 0.0, 90.0, NONE, "", "angle of the jet against the axis", "law poppet")
/* clang-format on */

struct relief_parameters {
  RELIEF_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct relief_parameters
static const struct field relief_fields[] = {RELIEF_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Valve B where it differs from valve A: the same in all but its setting. */
static inline struct relief_parameters relief_valve_b(const struct relief_parameters *relief) {
  struct relief_parameters valve = *relief;
  if (relief->settings == RELIEF_EACH) {
    valve.setting = relief->setting_b;
  }
  return valve;
}

/* The drop over a valve, Pa: what its own line has over the place where its oil returns. All pressures alike, absolute
 * or gauge. */
static inline real relief_drop(const struct relief_parameters *relief, real own_line, real other_line, real gallery) {
  return own_line - (relief->return_to == RELIEF_TO_GALLERY ? gallery : other_line);
}

/* The part of a valve's flow that arrives at one of the places where it may return, m3/s: all or nothing. */
static inline real relief_arrives(const struct relief_parameters *relief, enum relief_return at, real flow) {
  return relief->return_to == (int)at ? flow : broadcast(0.0);
}

/* ---- law first_order ---- */

/* d(opening)/dt, Pa/s. */
static inline real relief_first_order_rate(const struct relief_parameters *relief, real opening, real drop) {
  return (max0(drop - relief->setting) - opening) / relief->lag;
}

/* Flow, m3/s. */
static inline real relief_first_order_flow(const struct relief_parameters *relief, real opening, real drop) {
  return select_where_rare(opening != 0.0, relief->gradient * opening * soft_sign(drop, relief->flow_width),
                           broadcast(0.0));
}

/* ---- law poppet ---- */

/* Stops: stiff enough that a full force presses them in by some micrometres, damped beyond rebound. The damping comes
 * up over the first micrometre, so that the force has no jump where a poppet strikes. */
#define RELIEF_STOP_STIFFNESS 2e8 /* N/m */
#define RELIEF_STOP_CONTACT 1e-6  /* m */

/* Area on which the drop pushes, m2. */
static inline real relief_seat_area(const struct relief_parameters *relief) {
  return 0.25 * REAL_PI * relief->seat_diameter * relief->seat_diameter;
}

/* Closing force of the jet over lift and drop: 2 C_d cos(phi) w, m. */
static inline real relief_flow_force_factor(const struct relief_parameters *relief) {
  return 2.0 * relief->discharge * real_cos(relief->jet_angle) * relief->opening_width;
}

/* Push of a stop that is pressed in by `depth` at a speed `inward`, N; never pulls. */
static inline real relief_stop_force(const struct relief_parameters *relief, real depth, real inward) {
  real damping = 2.0 * sqrt(RELIEF_STOP_STIFFNESS * relief->poppet_mass);
  real contact = clamp01(depth / RELIEF_STOP_CONTACT);
  return select_where(depth > 0.0, max0(RELIEF_STOP_STIFFNESS * depth + damping * contact * inward), broadcast(0.0));
}

/* Below this speed the dry friction fades: a poppet creeps instead of resting, by less than one sees. */
#define RELIEF_FRICTION_SPEED 1e-5 /* m/s */

/* Acceleration of the poppet, m/s2, in oil of a thickness (on top). */
static inline real relief_poppet_acceleration(const struct relief_parameters *relief, real lift, real speed, real drop,
                                              real thickness) {
  real force = relief_seat_area(relief) * (drop - relief->setting) - relief->spring_rate * lift -
               relief_flow_force_factor(relief) * max0(lift) * max0(drop) - relief->poppet_damping * thickness * speed -
               relief->poppet_friction * soft_sign(speed, RELIEF_FRICTION_SPEED) +
               relief_stop_force(relief, -lift, -speed) - relief_stop_force(relief, lift - relief->largest_lift, speed);
  return force / relief->poppet_mass;
}

/* Flow through the opening, m3/s. */
static inline real relief_poppet_flow(const struct relief_parameters *relief, real lift, real drop, real density) {
  return relief->discharge * relief->opening_width * max0(lift) * sqrt(2.0 * fabs(drop) / density) *
         soft_sign(drop, relief->flow_width);
}

#if REAL_LANES == 1 /* asked by analyses only */

/* The static override of the law first_order: the drop at which it passes `flow` (> 0) in balance, Pa, and its opening,
 * Pa. The rounding of the flow's turning is left out: at drops beyond the setting it takes less than 1e-3. */
static inline real relief_first_order_drop(const struct relief_parameters *relief, real flow, real *opening) {
  *opening = flow / relief->gradient;
  return relief->setting + *opening;
}

/* The flow at which the balance holds the poppet at its largest lift, m3/s; HUGE_VAL where the jet closes more than any
 * drop opens. */
static inline real relief_poppet_stop_flow(const struct relief_parameters *relief, real density) {
  real area = relief_seat_area(relief);
  real opens = area - relief_flow_force_factor(relief) * relief->largest_lift;
  if (opens <= 0.0) {
    return HUGE_VAL;
  }
  real drop = (area * relief->setting + relief->spring_rate * relief->largest_lift) / opens;
  return relief->discharge * relief->opening_width * relief->largest_lift * sqrt(2.0 * drop / density);
}

/* The static override: the drop at which the open valve passes `flow` (> 0) in balance, Pa, and its lift. Newton's
 * method on the force balance with x = Q/(C_d w sqrt(2 drop/rho)). Against its stop it is a fixed opening. */
static inline real relief_poppet_drop(const struct relief_parameters *relief, real flow, real density, real *lift) {
  real area = relief_seat_area(relief);
  real per_root = relief->discharge * relief->opening_width * sqrt(2.0 / density);
  real jet = relief_flow_force_factor(relief);
  real drop = relief->setting;
  if (flow > relief_poppet_stop_flow(relief, density)) {
    real root = flow / (per_root * relief->largest_lift);
    *lift = relief->largest_lift;
    return root * root;
  }
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

/* ---- the laws ----
 *
 * All that a plant or an analysis asks of a valve, whatever its law. A new law has its kernels above, its states in
 * RELIEF_STATES, its row in relief_laws, and a case in each switch below: the compiler warns of those that are missing.
 */

/* The states of one valve. Each law has its own; those of the other laws stand at zero and are not integrated. */
enum relief_state { RELIEF_OPENING, RELIEF_LIFT, RELIEF_SPEED, RELIEF_STATE_COUNT };

/* The rows of valve `x` ("X") in a plant's list of states, in the order of enum relief_state;
 * the valve rig holds its poppet to finer tolerances than a machine does. */
#define RELIEF_STATES(STATE, x, X, speed_tolerance)                                                                    \
  STATE(relief_##x##_opening, "Pa", 100.0, "opening of relief valve " X)                                               \
  STATE(relief_##x##_lift, "m", 1e-8, "lift of poppet " X ", relief law poppet")                                       \
  STATE(relief_##x##_speed, "m/s", speed_tolerance, "speed of poppet " X)

/* What the rate of each state depends on: bits 1 << state of the valve's own states, and whether on the drop and
 * the thickness of the oil. */
static const struct relief_dependence {
  unsigned states; /* bits 1 << state */
  bool drop;
  bool thickness;
} relief_rates_go_by[RELIEF_STATE_COUNT] = {
    [RELIEF_OPENING] = {1u << RELIEF_OPENING, true, false},
    [RELIEF_LIFT] = {1u << RELIEF_SPEED, false, false},
    [RELIEF_SPEED] = {1u << RELIEF_LIFT | 1u << RELIEF_SPEED, true, true},
};

/* How far a valve is open: a pressure or a lift, depending on its law; each has a signal of its own. */
enum relief_position { RELIEF_BY_PRESSURE /* Pa above cracking */, RELIEF_BY_LIFT /* m */ };
static const char *const relief_position_signals[] = {
    [RELIEF_BY_PRESSURE] = "relief_%c_lift", [RELIEF_BY_LIFT] = "relief_%c_poppet"}; /* %c: the valve */

/* What holds for a law whatever its parameters. */
static const struct relief_law_row {
  unsigned states;                  /* its own: bits 1 << state */
  enum relief_state position_state; /* the one that is its position */
  enum relief_position position;
} relief_laws[] = {
    [RELIEF_FIRST_ORDER] = {1u << RELIEF_OPENING, RELIEF_OPENING, RELIEF_BY_PRESSURE},
    [RELIEF_POPPET] = {1u << RELIEF_LIFT | 1u << RELIEF_SPEED, RELIEF_LIFT, RELIEF_BY_LIFT},
};

/* The row of the law chosen. */
static inline const struct relief_law_row *relief_law_of(const struct relief_parameters *relief) {
  return &relief_laws[relief->law];
}

/* Does the law chosen have this state? */
static inline bool relief_has_state(const struct relief_parameters *relief, int state) {
  return (relief_law_of(relief)->states >> state & 1u) != 0;
}

/* d(state)/dt of the law's own states, by enum relief_state; the others are left as they are. */
static inline void relief_rates(const struct relief_parameters *relief, const real *state, real drop, real thickness,
                                real *rates) {
  switch ((enum relief_law)relief->law) {
  case RELIEF_FIRST_ORDER:
    rates[RELIEF_OPENING] = relief_first_order_rate(relief, state[RELIEF_OPENING], drop);
    break;
  case RELIEF_POPPET:
    rates[RELIEF_LIFT] = state[RELIEF_SPEED];
    rates[RELIEF_SPEED] = relief_poppet_acceleration(relief, state[RELIEF_LIFT], state[RELIEF_SPEED], drop, thickness);
    break;
  }
}

/* Flow at a position, m3/s, with the drop's sign. */
static inline real relief_flow(const struct relief_parameters *relief, real position, real drop, real density) {
  switch ((enum relief_law)relief->law) {
  case RELIEF_FIRST_ORDER:
    return relief_first_order_flow(relief, position, drop);
  case RELIEF_POPPET:
    return relief_poppet_flow(relief, position, drop, density);
  }
  return broadcast(0.0);
}

#if REAL_LANES == 1

/* The static inverse: the drop at which the open valve passes `flow` (> 0) in balance, Pa, and its position. */
static inline real relief_balance_drop(const struct relief_parameters *relief, real flow, real density,
                                       real *position) {
  switch ((enum relief_law)relief->law) {
  case RELIEF_FIRST_ORDER:
    return relief_first_order_drop(relief, flow, position);
  case RELIEF_POPPET:
    return relief_poppet_drop(relief, flow, density, position);
  }
  *position = NAN;
  return NAN;
}

/* The position at its stop; HUGE_VAL: it has none. */
static inline real relief_stop_position(const struct relief_parameters *relief) {
  return relief_law_of(relief)->position == RELIEF_BY_LIFT ? relief->largest_lift : HUGE_VAL;
}

/* The flow at which the balance holds the valve at its stop, m3/s; HUGE_VAL: none does. */
static inline real relief_stop_flow(const struct relief_parameters *relief, real density) {
  switch ((enum relief_law)relief->law) {
  case RELIEF_FIRST_ORDER:
    break;
  case RELIEF_POPPET:
    return relief_poppet_stop_flow(relief, density);
  }
  return HUGE_VAL;
}

#endif

#endif
