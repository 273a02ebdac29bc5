/* Losses that pump and motor share: one machine, both power directions, all four quadrants. x is the stroke over full
 * stroke (of a motor: its displacement over the largest), |x| up to 1.
 *
 * Leakage (W. E. Wilson, Rotary-Pump Theory, Trans. ASME 68 (1946), form from memory): port to port
 * C_s D (p_A - p_B)/mu, and each port to the case C_c D (p - p_case)/mu, D per radian, at full displacement whatever
 * the stroke. Torque loss C_v D mu w + (C_f D |p_A - p_B| + T_c) s(w), s = tanh(w/w_0), |.| rounded over p_f0; it
 * opposes the rotation, so that the power lost is never negative.
 *
 * Cold oil: with `viscous_exponent` e the viscous term is C_v D mu_ref (mu/mu_ref)^e w with mu_ref = 0.02 Pa s. e = 1
 * is Wilson's; about 0.4 keeps the drag of thick oil within what machines show (common practice, no source), since
 * the film heats up. Valid from about 7 to 1600 mm2/s.
 *
 * By stroke and speed, each of these terms none by default:
 *   churning   C_h rho D^(5/3)/2 w^2 (z + (1 - z) |x|), z = `churning_at_zero_stroke`; form as in the coefficients that
 *              Pourmovahed et al. fitted (1992, read second-hand; there z = 0)
 *   friction   C_f times (f + (1 - f) |x|), f = `friction_at_zero_stroke`: what of it does not come with the stroke
 *   compressed oil   from port to port |w| D (c_0 + (c_1 - c_0) |x|) (p_A - p_B)/K, |w| as w s(w): in each turn
 * cylinders full at the high pressure are let down into the low side, and others are filled up from the high side. K is
 * the liquid's modulus at the mean of both ports; the steel about a cylinder does not give. The published fits
 *              (Pourmovahed) have c_0 = 0, c_1 = 1; with V_r the dead volume over the displacement, W. M. J.
 * Schloesser's and McCandlish and Dorey's geometry (Proc. IMechE 198B (1984), from memory) has c_0 = V_r + 1/2, c_1 =
 * V_r + 1, of the flow at the high pressure. The oil goes from one line to the other, none is lost; its elastic energy,
 * flow times drop, is heat, and stands with the leakage in the ledger. The shaft feels none of it: at each dead centre
 * the piston stands still. A fit's c_0 and c_1 also take what else leaks with the speed.
 *
 * By a map (`losses: map`) instead: measured efficiencies over speed, pressure and stroke, by the definitions of ISO
 * 4391 (from memory). Pump: eta_v = q/(x D w), eta_hm = x D p/T; motor: eta_v = x D w/q, eta_hm = T/(x D p).
 * At the points of the grid they are turned into losses,
 *   pump  leakage x D w (1 - eta_v),     torque x D p (1/eta_hm - 1)
 *   motor leakage x D w (1/eta_v - 1),   torque x D p (1 - eta_hm)
 * and at zero stroke, where there is no efficiency, the map holds lost flow and lost torque themselves. The losses, not
 * the efficiencies, are interpolated, in a straight line each in |w|, |p_A - p_B| and |x|: they stay finite where an
 * efficiency is 0/0, never leave the measured ones about them, and the same numbers serve driving and overrun. Below
 * the lowest pressure leakage falls in a straight line to zero and the torque loss is held; below the lowest speed and
 * the lowest stroke both are held, the torque loss with its sign s(w). So the losses of a map of full stroke alone hold
 * whatever the stroke. Leakage leaves the port of the higher pressure;
 * `map_case_share` of it goes to the case (less when that port is itself hardly above the case, none when below), the
 * rest to the other port: no element ever gives power. A map holds for the oil it was measured with: viscosity and
 * temperature do not enter. Beyond the largest speed or pressure the map says nothing, and the run ends (a guard of
 * the plant); until the integrator has found that instant, trial steps beyond it use the value at the edge. */
#ifndef SWASHLOOP_MODELS_ROTARY_H
#define SWASHLOOP_MODELS_ROTARY_H

#include <stdbool.h>
#include <stddef.h>

#include "map.h"

enum rotary_losses_by { ROTARY_COEFFICIENTS, ROTARY_MAP };

#define ROTARY_REFERENCE_VISCOSITY 0.02

struct rotary_losses {
  real displacement;     /* m3/rad, largest */
  real slip;             /* C_s, without unit */
  real case_leak;        /* C_c, without unit, each port */
  real viscous;          /* C_v, without unit */
  real coulomb;          /* C_f, without unit */
  real constant;         /* T_c, N m */
  bool by_stroke;        /* some of the next five has an effect, in some lane */
  real friction_idle;    /* f, share of C_f at zero stroke */
  real churning;         /* C_h rho D^(5/3)/2, kg m2 */
  real churning_idle;    /* z, share of it at zero stroke */
  real compressed_idle;  /* c_0, of the displacement, compressed in each turn at zero stroke */
  real compressed_full;  /* c_1, the same at full stroke */
  real bulk_modulus;     /* Pa, of the liquid at the pressure of the case */
  real modulus_slope;    /* its rise with the pressure */
  real speed_width;      /* w_0, rad/s */
  real pressure_width;   /* p_f0, Pa */
  const struct map *map; /* one each lane; NULL: by the coefficients */
  bool is_motor;         /* the map's definitions are a motor's */
  real case_share;       /* of the map's leakage, 0 to 1 */
};

/* Flow from port A to port B inside the machine, m3/s. */
static inline real rotary_slip_flow(const struct rotary_losses *losses, real drop, real viscosity) {
  return losses->slip * losses->displacement * drop / viscosity;
}

/* Flow from one port to the case, m3/s. */
static inline real rotary_case_flow(const struct rotary_losses *losses, real over_case, real viscosity) {
  return losses->case_leak * losses->displacement * over_case / viscosity;
}

/* Torque that opposes the rotation, N m, signed as the speed; `film` is the viscosity of the film, Pa s. */
static inline real rotary_torque_loss(const struct rotary_losses *losses, real drop, real speed, real film) {
  return losses->viscous * losses->displacement * film * speed +
         (losses->coulomb * losses->displacement * soft_abs(drop, losses->pressure_width) + losses->constant) *
             tanh_sign(speed, losses->speed_width);
}

/* Share of a loss at a stroke, of which `idle` is there at zero stroke. */
static inline real rotary_by_stroke(real idle, real stroke) {
  return idle + (1.0 - idle) * fabs(stroke);
}

/* Torque of film and churning, N m, signed as the speed. */
static inline real rotary_fluid_torque(const struct rotary_losses *losses, real stroke, real speed, real film) {
  return losses->viscous * losses->displacement * film * speed +
         losses->churning * rotary_by_stroke(losses->churning_idle, stroke) * speed * fabs(speed);
}

/* Torque of dry friction in a machine that turns, N m, without its sign. */
static inline real rotary_dry_torque(const struct rotary_losses *losses, real drop, real stroke) {
  return losses->coulomb * losses->displacement * soft_abs(drop, losses->pressure_width) *
             rotary_by_stroke(losses->friction_idle, stroke) +
         losses->constant;
}

/* Torque that opposes the rotation with the terms by stroke and speed, N m. */
APART real rotary_torque_by_stroke(const struct rotary_losses *losses, real drop, real stroke, real speed, real film) {
  return rotary_fluid_torque(losses, stroke, speed, film) +
         rotary_dry_torque(losses, drop, stroke) * tanh_sign(speed, losses->speed_width);
}

/* Flow from port A to port B of oil that is compressed and let down in each turn, m3/s. */
APART real rotary_compressed_flow(const struct rotary_losses *losses, real drop, real a_over_case, real b_over_case,
                                  real stroke, real speed) {
  real modulus = losses->bulk_modulus + losses->modulus_slope * 0.5 * (a_over_case + b_over_case);
  return speed * tanh_sign(speed, losses->speed_width) * losses->displacement *
         (losses->compressed_idle + (losses->compressed_full - losses->compressed_idle) * fabs(stroke)) * drop /
         modulus;
}

/* Tells the losses of the oil that they are in (density, kg/m3; modulus of the liquid at ambient pressure, Pa, and its
 * rise with the pressure). */
static inline void rotary_losses_in_oil(struct rotary_losses *losses, real density, real bulk_modulus,
                                        real modulus_slope) {
  real root = real_exp(real_log(losses->displacement) / 3.0);
  losses->churning = 0.5 * losses->churning * density * root * root * root * root * root;
  losses->bulk_modulus = bulk_modulus;
  losses->modulus_slope = modulus_slope;
  losses->by_stroke =
      losses->map == NULL && !mask_none((losses->churning != 0.0) | (losses->friction_idle != 1.0) |
                                        (losses->compressed_idle != 0.0) | (losses->compressed_full != 0.0));
}

/* Leakage of the map's point (s, i, k), m3/s, in one lane. */
static inline double rotary_map_leakage(const struct rotary_losses *losses, int lane, int s, int i, int k) {
  const struct map *map = &losses->map[lane];
  double cell = map->volumetric[map_row(map, s, i, k)];
  return map->stroke[s] == 0.0 ? cell
                               : map->stroke[s] * lane_get(losses->displacement, lane) * map->speed[i] *
                                     (losses->is_motor ? 1.0 / cell - 1.0 : 1.0 - cell);
}

/* Torque loss of the map's point (s, i, k), N m, in one lane. */
static inline double rotary_map_torque(const struct rotary_losses *losses, int lane, int s, int i, int k) {
  const struct map *map = &losses->map[lane];
  double cell = map->hydromechanical[map_row(map, s, i, k)];
  return map->stroke[s] == 0.0 ? cell
                               : map->stroke[s] * lane_get(losses->displacement, lane) * map->pressure[k] *
                                     (losses->is_motor ? 1.0 - cell : 1.0 / cell - 1.0);
}

/* A loss at a point of the map, in one lane. */
typedef double rotary_map_loss(const struct rotary_losses *losses, int lane, int s, int i, int k);

/* Bilinear between four points of the map's plane s, in one lane. */
static inline double rotary_map_in_plane(const struct rotary_losses *losses, int lane, const struct map_place *place,
                                         int s, rotary_map_loss *at) {
  const struct map *map = &losses->map[lane];
  int i = place->speed;
  int k = place->pressure;
  int next_i = i + 1 < map->speeds ? i + 1 : i;
  int next_k = k + 1 < map->pressures ? k + 1 : k;
  return map_blend(place, at(losses, lane, s, i, k), at(losses, lane, s, i, next_k), at(losses, lane, s, next_i, k),
                   at(losses, lane, s, next_i, next_k));
}

/* Trilinear between the points of the map, each lane in its own. */
static inline real rotary_map_between(const struct rotary_losses *losses, real speed, real pressure, real stroke,
                                      rotary_map_loss *at) {
  real value = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    struct map_place place =
        map_find(&losses->map[lane], lane_get(speed, lane), lane_get(pressure, lane), lane_get(stroke, lane));
    double lower = rotary_map_in_plane(losses, lane, &place, place.stroke, at);
    if (place.along_stroke > 0.0) {
      lower += (rotary_map_in_plane(losses, lane, &place, place.stroke + 1, at) - lower) * place.along_stroke;
    }
    lane_set(&value, lane, lower);
  }
  return value;
}

/* The largest speed and pressure of each lane's map, and the lowest pressure. */
static inline real rotary_map_top_speed(const struct rotary_losses *losses) {
  real top = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&top, lane, losses->map[lane].speed[losses->map[lane].speeds - 1]);
  }
  return top;
}

/* Largest pressure of the map, Pa between the ports. */
static inline real rotary_map_top_pressure(const struct rotary_losses *losses) {
  real top = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&top, lane, losses->map[lane].pressure[losses->map[lane].pressures - 1]);
  }
  return top;
}

/* Lowest pressure of the map, Pa between the ports; below it the leakage falls to zero. */
static inline real rotary_map_low_pressure(const struct rotary_losses *losses) {
  real low = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&low, lane, losses->map[lane].pressure[0]);
  }
  return low;
}

/* What leaks: from port A to port B, and from each port to the case, m3/s. */
struct rotary_leaks {
  real slip;   /* from A to B */
  real case_a; /* from A to the case */
  real case_b; /* from B to the case */
};

/* Leakage by the map. */
APART struct rotary_leaks rotary_map_leaks(const struct rotary_losses *losses, real drop, real a_over_case,
                                           real b_over_case, real stroke, real speed) {
  real size = fabs(drop);
  real whole = rotary_map_between(losses, fabs(speed), size, fabs(stroke), rotary_map_leakage) *
               smaller(1.0, size / rotary_map_low_pressure(losses));
  real higher = larger(a_over_case, b_over_case);
  real to_case =
      select_where(higher > 0.0, whole * losses->case_share * smaller(1.0, higher / larger(size, 1.0)), broadcast(0.0));
  struct rotary_leaks leaks = {
      select_where(drop >= 0.0, whole - to_case, to_case - whole),
      select_where(drop >= 0.0, to_case, broadcast(0.0)),
      select_where(drop >= 0.0, broadcast(0.0), to_case),
  };
  return leaks;
}

/* Leakage by the coefficients or by the map, with the oil that is compressed in each turn; `drop` = p_A - p_B,
 * pressures of the ports over the case. */
static inline struct rotary_leaks rotary_leaks_of(const struct rotary_losses *losses, real drop, real a_over_case,
                                                  real b_over_case, real stroke, real speed, real viscosity) {
  if (losses->map != NULL) {
    return rotary_map_leaks(losses, drop, a_over_case, b_over_case, stroke, speed);
  }
  struct rotary_leaks leaks = {
      rotary_slip_flow(losses, drop, viscosity),
      rotary_case_flow(losses, a_over_case, viscosity),
      rotary_case_flow(losses, b_over_case, viscosity),
  };
  if (losses->by_stroke) {
    leaks.slip += rotary_compressed_flow(losses, drop, a_over_case, b_over_case, stroke, speed);
  }
  return leaks;
}

/* Torque by the map, N m, without its sign. */
APART real rotary_map_torque_at(const struct rotary_losses *losses, real drop, real stroke, real speed) {
  return rotary_map_between(losses, fabs(speed), fabs(drop), fabs(stroke), rotary_map_torque);
}

/* Torque that opposes the rotation, N m, by the law chosen. */
static inline real rotary_torque_of(const struct rotary_losses *losses, real drop, real stroke, real speed, real film) {
  if (losses->map != NULL) {
    return rotary_map_torque_at(losses, drop, stroke, speed) * tanh_sign(speed, losses->speed_width);
  }
  return losses->by_stroke ? rotary_torque_by_stroke(losses, drop, stroke, speed, film)
                           : rotary_torque_loss(losses, drop, speed, film);
}

/* The two parts of that torque apart, N m, by the law chosen: of film and churning, signed as the speed, and of dry
 * friction, without its sign. A map does not tell them apart: what it says counts as dry. */
static inline real rotary_fluid_torque_of(const struct rotary_losses *losses, real stroke, real speed, real film) {
  return losses->map == NULL ? rotary_fluid_torque(losses, stroke, speed, film) : broadcast(0.0);
}

/* See rotary_fluid_torque_of. */
static inline real rotary_dry_torque_of(const struct rotary_losses *losses, real drop, real stroke, real speed) {
  return losses->map == NULL ? rotary_dry_torque(losses, drop, stroke)
                             : rotary_map_torque_at(losses, drop, stroke, speed);
}

/* How far the point lies inside the map, as shares of its largest speed and pressure; 1 without a map. */
static inline real rotary_map_speed_room(const struct rotary_losses *losses, real speed) {
  return losses->map == NULL ? broadcast(1.0) : 1.0 - fabs(speed) / rotary_map_top_speed(losses);
}

/* The same for the pressure. */
static inline real rotary_map_pressure_room(const struct rotary_losses *losses, real drop) {
  return losses->map == NULL ? broadcast(1.0) : 1.0 - fabs(drop) / rotary_map_top_pressure(losses);
}

#endif
