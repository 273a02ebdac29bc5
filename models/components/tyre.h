/* Tyres of one axle on the ground, taken as one.
 *
 * Force of a slip k under a load N, by `ground`:
 *  - `hard`: F = mu N sin(C atan(B k)): rises with stiffness mu N B C, peaks at mu N, falls a little beyond; rolling
 *    resistance c N. (The curve's form is common practice in vehicle dynamics, no source.)
 *  - `gee_clough`: soft soil by cone index CI. Mobility number M = (CI b d/W) sqrt(s)/(1 + b/(2 d)), s = deflection
 *    over section height, W the load of one wheel; CT_max = 0.796 - 0.92/M, k CT_max = 4.838 + 0.061 M, net pull over
 *    load CT_max (1 - real_exp(-k |slip|)), rolling resistance C_RR = 0.049 + 0.287/M. CT is what is left at the
 * drawbar, so the ground pushes with N (CT + C_RR): C_RR turns round with the slip over a tenth of a per cent, as a
 * wheel at zero slip pulls nothing but itself. D. Gee-Clough et al. (1978), as tabled in a textbook for a 9.5 x 24
 * tyre. Valid from M about 2.
 *  - `brixius`: B_n = (CI b d/W)(1 + 5 s)/(1 + 3 b/d); gross F/N = 0.88 (1 - e^(-0.1 B_n)) (1 - e^(-7.5 k)) + 0.04,
 * rolling resistance N (1/B_n + 0.04 + 0.5 k/sqrt(B_n)). Brixius (1987), ASABE D497 (from memory). The 0.04 turns round
 * with the slip over a tenth of a per cent, so that no force stands at zero slip. The soil may change along the way:
 * tables of grip, cone index and rolling resistance over distance (ground.h).
 *
 * `slip_curve` (reference law): k = (r w - v)/sqrt(v^2 + v_0^2), no state. Near standstill it is a damper: a machine on
 * a slope creeps even with locked wheels.
 *
 * `relaxation`: k is a state, the deflection of the tyre over the relaxation length L,
 *   L k' = (r w - v) - max(|r w|, |v|) k,
 * at speed the usual bounded slip (r w - v)/max(|r w|, |v|) after a distance L, at rest a spring of stiffness mu N B
 * C/L that holds without creep. Damping at rest, d k' with d = mu N B C t_d g(k) h(V), g = 1/(1 + (B k)^2), h = 1/(1 +
 * V/V_0)^2, V = max(|r w|, |v|), fades as the tyre rolls or slides. Relaxation length of a rolling tyre: common
 * practice in vehicle dynamics, no source. Energy: power lost F (r w - v) - F_c L k' with F_c the curve's part; it is
 * never negative while t_d V_0 < 16 L (F_c/k)/(mu N B C g): the defaults keep a factor of 800. On soft soil the
 * stiffness mu N B C is that of the law at zero slip.
 *
 * Sign: force positive when the ground pushes the machine forward. */
#ifndef SWASHLOOP_MODELS_TYRE_H
#define SWASHLOOP_MODELS_TYRE_H

#include "field.h"

enum tyre_ground { TYRE_HARD, TYRE_GEE_CLOUGH, TYRE_BRIXIUS };
enum tyre_law { TYRE_SLIP_CURVE, TYRE_RELAXATION };

/* clang-format off */
#define TYRE_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  CHOICE(law, TYRE_RELAXATION, "slip_curve|relaxation", "", "how slip follows the speeds")                                 \
  CHOICE(ground, TYRE_HARD, "hard|gee_clough|brixius", "", "which soil law gives force and resistance")                    \
  REAL(grip, NUMBER, 0.75, 0.0, 2.0, NONE, "mu_t", "largest traction force over load", "ground hard")                                 \
  REAL(stiffness, NUMBER, 7.0, 0.1, 100.0, NONE, "B_t", "steepness of the slip curve")                                 \
  REAL(shape, NUMBER, 1.45, 1.0, 2.0, NONE, "C_t", "shape of the slip curve beyond the peak", "ground hard")                          \
  REAL(slip_speed, SPEED, 1.08, 1e-3, 36.0, NONE, "v_t0", "speed below which the law slip_curve turns into a damper", "law slip_curve") \
  REAL(relaxation_length, LENGTH, 0.3, 0.01, 5.0, NONE, "", "distance over which a tyre takes up a new slip", "law relaxation") \
  REAL(damping_time, TIME, 0.02, 0.0, 1.0, NONE, "", "damping of the tyre at rest over its stiffness", "law relaxation") \
  REAL(damping_speed, SPEED, 1.0, 0.01, 36.0, NONE, "", "speed over which the damping at rest fades", "law relaxation") \
  REAL(rolling_resistance, NUMBER, 0.03, 0.0, 1.0, NONE, "c_rr", "rolling resistance over load", "ground hard")                       \
  REAL(rolling_width, SPEED, 0.01, 1e-5, 10.0, NONE, "v_rr", "speed over which rolling resistance turns round")       \
  REAL(cone_index, PRESSURE, 9.0, 0.5, 100.0, NONE, "", "cone index of the soil", "ground gee_clough|brixius") \
  REAL(width, LENGTH, 0.6, 0.05, 3.0, NONE, "", "section width", "ground gee_clough|brixius") \
  REAL(diameter, LENGTH, 1.34, 0.1, 5.0, NONE, "", "overall diameter", "ground gee_clough|brixius") \
  REAL(deflection, FRACTION, 20.0, 1.0, 60.0, NONE, "", "deflection over section height", "ground gee_clough|brixius") \
  REAL(wheels, NUMBER, 4.0, 1.0, 64.0, NONE, "", "wheels that share the machine's load", "ground gee_clough|brixius") \
  REAL(slip_alarm, FRACTION, 25.0, 1.0, 1000.0, NONE, "", "slip above which wheels are reported as slipping")
/* clang-format on */

struct tyre_parameters {
  TYRE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct tyre_parameters
static const struct field tyre_fields[] = {TYRE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* What the ground gives where the machine stands. */
struct tyre_soil {
  real grip;       /* largest traction over load, hard ground */
  real cone_index; /* Pa, soft soil */
  real rolling;    /* rolling resistance over load, hard ground */
};

/* An axle's contact with the ground under its load. */
struct tyre_contact {
  real load;      /* N, of all wheels of the axle, never below zero */
  real mobility;  /* M or B_n, without unit; unused on hard ground */
  real stiffness; /* dF/dk at zero slip, N */
  struct tyre_soil soil;
};

#define TYRE_TURN_WIDTH 1e-3 /* slip over which the constant share of a soil law turns round */

/* Rolling resistance over load by Gee-Clough. */
static inline real tyre_gee_clough_resistance(real mobility) {
  return 0.049 + 0.287 / mobility;
}

/* How all wheels of an axle stand on a soil; `load` in N on all of them, `wheels` that share it. */
static inline struct tyre_contact tyre_contact_of(const struct tyre_parameters *tyre, const struct tyre_soil *soil,
                                                  real load, real wheels) {
  struct tyre_contact contact = {larger(load, 0.0), broadcast(0.0), broadcast(0.0), *soil};
  if (tyre->ground == TYRE_HARD) {
    contact.stiffness = soil->grip * contact.load * tyre->stiffness * tyre->shape;
    return contact;
  }
  real wheel_load = larger(contact.load / wheels, 1.0);
  real number = soil->cone_index * tyre->width * tyre->diameter / wheel_load;
  if (tyre->ground == TYRE_GEE_CLOUGH) {
    contact.mobility = number * sqrt(tyre->deflection) / (1.0 + 0.5 * tyre->width / tyre->diameter);
    contact.stiffness = contact.load * (4.838 + 0.061 * contact.mobility +
                                        tyre_gee_clough_resistance(contact.mobility) / TYRE_TURN_WIDTH);
  } else {
    contact.mobility = number * (1.0 + 5.0 * tyre->deflection) / (1.0 + 3.0 * tyre->width / tyre->diameter);
    contact.stiffness =
        contact.load * (0.88 * (1.0 - real_exp(-0.1 * contact.mobility)) * 7.5 + 0.04 / TYRE_TURN_WIDTH);
  }
  return contact;
}

/* Force of a slip, N. */
static inline real tyre_curve(const struct tyre_parameters *tyre, const struct tyre_contact *contact, real slip) {
  if (tyre->ground == TYRE_HARD) {
    return contact->soil.grip * contact->load * real_sin(tyre->shape * real_atan(tyre->stiffness * slip));
  }
  real side = select_where(slip < 0.0, broadcast(-1.0), broadcast(1.0));
  if (tyre->ground == TYRE_GEE_CLOUGH) {
    real most = larger(0.796 - 0.92 / contact->mobility, 0.0);
    real pull = select_where(
        most > 0.0, most * (1.0 - real_exp(-(4.838 + 0.061 * contact->mobility) / most * fabs(slip))), broadcast(0.0));
    return contact->load *
           (side * pull + tyre_gee_clough_resistance(contact->mobility) * tanh_sign(slip, TYRE_TURN_WIDTH));
  }
  return contact->load *
         (side * 0.88 * (1.0 - real_exp(-0.1 * contact->mobility)) * (1.0 - real_exp(-7.5 * fabs(slip))) +
          0.04 * tanh_sign(slip, TYRE_TURN_WIDTH));
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
static inline real tyre_damping(const struct tyre_parameters *tyre, const struct tyre_contact *contact, real slip,
                                real slip_rate, real rim_speed, real speed) {
  real rolling = larger(fabs(rim_speed), fabs(speed));
  real steep = tyre->stiffness * slip;
  real fade = 1.0 + rolling / tyre->damping_speed;
  return contact->stiffness * tyre->damping_time * slip_rate / ((1.0 + steep * steep) * fade * fade);
}

#if REAL_LANES == 1 /* asked at the start and by analyses */

/* Share of what hard ground can give at which its grip counts as used up. */
#define TYRE_USED_UP_SHARE 0.995

/* Slip at which the curve gives most. The laws of soft soil have no peak: nothing is gained beyond some thirty per cent
 * (read off their curves). */
static inline real tyre_peak_slip(const struct tyre_parameters *tyre) {
  return tyre->ground == TYRE_HARD ? real_tan(0.5 * REAL_PI / tyre->shape) / tyre->stiffness : 0.3;
}

/* Slip from which the grip counts as used up: the static inverse of the curve at that share of its peak. */
static inline real tyre_used_up_slip(const struct tyre_parameters *tyre) {
  return tyre->ground == TYRE_HARD ? real_tan(real_asin(TYRE_USED_UP_SHARE) / tyre->shape) / tyre->stiffness
                                   : tyre_peak_slip(tyre);
}

/* Slip that carries `force` at rest, by bisection up to full slip: the start of a parked machine. */
static inline real tyre_slip_for(const struct tyre_parameters *tyre, const struct tyre_contact *contact, real force) {
  real low = 0.0;
  real high = 0.2; /* not past the peak of the curve */
  real asked = fabs(force);
  for (int i = 0; i < 200; i++) {
    real middle = 0.5 * (low + high);
    if (tyre_curve(tyre, contact, middle) < asked) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return force < 0.0 ? -high : high;
}

#endif

/* Rolling resistance, N, signed as the speed. */
static inline real tyre_rolling_resistance(const struct tyre_parameters *tyre, const struct tyre_contact *contact,
                                           real speed, real slip) {
  real share = contact->soil.rolling;
  if (tyre->ground == TYRE_GEE_CLOUGH) {
    share = tyre_gee_clough_resistance(contact->mobility);
  } else if (tyre->ground == TYRE_BRIXIUS) {
    share = 1.0 / contact->mobility + 0.04 + 0.5 * fabs(slip) / sqrt(contact->mobility);
  }
  return share * contact->load * tanh_sign(speed, tyre->rolling_width);
}

#endif
