/* A hose or pipe full of flowing oil: pressure lost over flow, laminar and turbulent, and flow over pressure.
 *
 * drop = (f L/d + K) rho v^2/2, v = q/(pi d^2/4), Re = rho v d/mu. Friction factor f (Darcy) over all regimes by S. W.
 * Churchill, Friction-factor equation spans all fluid-flow regimes, Chemical Engineering 84 (1977) p. 91 (from memory):
 *   f = 8 [(8/Re)^12 + (A + B)^-1.5]^(1/12),  A = [2.457 ln(1/((7/Re)^0.9 + 0.27 e/d))]^16,  B = (37530/Re)^16,
 * which is 64/Re up to Re about 2000, follows Colebrook above 4000 and joins the two in between, where real pipes may
 * do either. K: loss coefficient of couplings, bends and ports together. Steady flow: no inertia of the column of oil
 * and no waves (docs/physics.md says by how much that is wrong for the demo hoses). The oil has one temperature.
 *
 * The other way round, flow over drop, has no closed form where the flow is turbulent: Newton's method on logarithms,
 * of a fixed number of steps, so that lanes and plain kernels agree to the bit.
 *
 * Sign: drop positive with the flow. Length 0 takes the pipe away. */
#ifndef SWASHLOOP_MODELS_PIPE_H
#define SWASHLOOP_MODELS_PIPE_H

#include "field.h"

/* clang-format off */
#define PIPE_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  REAL(length, LENGTH, 0.0, 0.0, 100.0, NONE, "", "length; 0: none")                                                   \
  REAL(bore, LENGTH, 0.025, 0.002, 0.3, NONE, "", "inner diameter", "length")                                          \
  REAL(roughness, LENGTH, 2e-6, 0.0, 1e-3, NONE, "", "height of the wall's roughness", "length")                       \
  REAL(minor_loss, NUMBER, 2.0, 0.0, 1000.0, NONE, "", "loss coefficient of couplings, bends and ports, over the dynamic pressure in the bore", "length")
/* clang-format on */

struct pipe_parameters {
  PIPE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct pipe_parameters
static const struct field pipe_fields[] = {PIPE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Up to this Reynolds number Churchill's friction is 64/Re to rounding (2e-14). */
#define PIPE_SURELY_LAMINAR 1000.0

/* Newton's method from drop to flow (pipe_flow) begins where the drop rises most steeply with the flow: from there the
 * slope falls either way, so that no step goes too far. Five steps leave 1e-12 up to Re 1e7 (tests/unit). */
#define PIPE_STEEPEST 2500.0
enum { PIPE_STEPS = 5 };

/* Friction over that of laminar flow, f Re/64, and how it rises with Re, d ln/d ln Re. */
struct pipe_friction {
  real excess; /* 1 or more */
  real slope;
};

/* For Re above PIPE_SURELY_LAMINAR; `roughness` over the bore. */
static inline struct pipe_friction pipe_friction_above(real reynolds, real roughness) {
  real smooth = real_exp(0.9 * real_log(7.0 / reynolds));
  real wall = smooth + 0.27 * roughness;
  real rough_log = -real_log(wall);
  real a2 = 2.457 * rough_log;
  a2 *= a2;
  real a4 = a2 * a2;
  real a8 = a4 * a4;
  real b2 = 37530.0 / reynolds;
  b2 *= b2;
  real b4 = b2 * b2;
  real b8 = b4 * b4;
  real a = a8 * a8;
  real b = b8 * b8;
  real sum = a + b;
  real e2 = reynolds / 8.0;
  e2 *= e2;
  real e4 = e2 * e2;
  real turbulent = e4 * e4 * e4 / (sum * sqrt(sum)); /* over the laminar part, to the twelfth power */
  real sum_slope = (a * 16.0 * 0.9 * smooth / (wall * rough_log) - 16.0 * b) / sum;
  struct pipe_friction friction = {
      real_exp(real_log(1.0 + turbulent) / 12.0),
      turbulent / (1.0 + turbulent) * (1.0 - 0.125 * sum_slope),
  };
  return friction;
}

/* For any Re, 0 or more. */
static inline struct pipe_friction pipe_friction_of(real reynolds, real roughness) {
  struct pipe_friction friction = {broadcast(1.0), broadcast(0.0)};
  mask above = reynolds > PIPE_SURELY_LAMINAR;
  if (!mask_none(above)) {
    struct pipe_friction there = pipe_friction_above(select_where(above, reynolds, broadcast(1e4)), roughness);
    friction.excess = select_where(above, there.excess, friction.excess);
    friction.slope = select_where(above, there.slope, friction.slope);
  }
  return friction;
}

/* Flow area, m2. */
static inline real pipe_area(const struct pipe_parameters *pipe) {
  return 0.25 * REAL_PI * pipe->bore * pipe->bore;
}

/* Laminar drop over speed, Pa s/m. */
static inline real pipe_laminar(const struct pipe_parameters *pipe, real viscosity) {
  return 32.0 * viscosity * pipe->length / (pipe->bore * pipe->bore);
}

/* Drop, Pa, at a flow of 0 or more, m3/s; `viscosity` dynamic, Pa s. */
static inline real pipe_drop(const struct pipe_parameters *pipe, real flow, real viscosity, real density) {
  real speed = flow / pipe_area(pipe);
  struct pipe_friction friction =
      pipe_friction_of(density * speed * pipe->bore / viscosity, pipe->roughness / pipe->bore);
  return pipe_laminar(pipe, viscosity) * friction.excess * speed + 0.5 * density * pipe->minor_loss * speed * speed;
}

/* Flow, m3/s, at a drop, Pa, either way. The pipe must have a length. */
static inline real pipe_flow(const struct pipe_parameters *pipe, real drop, real viscosity, real density) {
  real size = fabs(drop);
  real laminar = pipe_laminar(pipe, viscosity);
  real quadratic = 0.5 * density * pipe->minor_loss;
  real reynolds_over_speed = density * pipe->bore / viscosity;
  real speed = 2.0 * size / (laminar + sqrt(laminar * laminar + 4.0 * quadratic * size));
  mask above = speed * reynolds_over_speed > PIPE_SURELY_LAMINAR;
  if (!mask_none(above)) {
    /* Where nothing is turbulent the numbers are harmless and not used. */
    real guess = PIPE_STEEPEST / reynolds_over_speed;
    real wanted = select_where(above, size, broadcast(1.0));
    for (int i = 0; i < PIPE_STEPS; i++) {
      struct pipe_friction friction = pipe_friction_of(guess * reynolds_over_speed, pipe->roughness / pipe->bore);
      real friction_part = laminar * friction.excess * guess;
      real minor_part = quadratic * guess * guess;
      real reached = friction_part + minor_part;
      real slope = (friction_part * (1.0 + friction.slope) + 2.0 * minor_part) / reached;
      guess *= real_exp(real_log(wanted / reached) / slope);
    }
    speed = select_where(above, guess, speed);
  }
  return select_where(drop < 0.0, -speed, speed) * pipe_area(pipe);
}

#endif
