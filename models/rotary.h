/* Losses that pump and motor share: one machine, both power directions, all four quadrants.
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
 * By a map (`losses: map`) instead: efficiencies measured at full displacement over speed and pressure, by the
 * definitions of ISO 4391 (from memory). Pump: eta_v = q/(D w), eta_hm = D p/T; motor: eta_v = D w/q, eta_hm = T/(D p).
 * At the points of the grid they are turned into losses,
 *   pump  leakage D w (1 - eta_v),     torque D p (1/eta_hm - 1)
 *   motor leakage D w (1/eta_v - 1),   torque D p (1 - eta_hm)
 * and the losses, not the efficiencies, are interpolated, bilinearly in |w| and |p_A - p_B|: they stay finite where an
 * efficiency is 0/0, and the same numbers serve driving and overrun. Below the lowest pressure leakage falls in a
 * straight line to zero and the torque loss is held; below the lowest speed both are held, the torque loss with its
 * sign s(w). Like the coefficients they hold whatever the stroke. Leakage leaves the port of the higher pressure;
 * `map_case_share` of it goes to the case (less when that port is itself hardly above the case, none when below), the
 * rest to the other port: no element ever gives power. A map holds for the oil it was measured with: viscosity and
 * temperature do not enter. Beyond the largest speed or pressure there is no answer, and the run ends (the plant's
 * switch); a step that tries such a point meanwhile sees the edge. */
#ifndef SWASHLOOP_MODELS_ROTARY_H
#define SWASHLOOP_MODELS_ROTARY_H

#include <stdbool.h>
#include <stddef.h>

#include "map.h"

enum rotary_losses_by { ROTARY_COEFFICIENTS, ROTARY_MAP };

#define ROTARY_REFERENCE_VISCOSITY 0.02

struct rotary_losses {
  real displacement; /* m3/rad, largest */
  real slip;         /* C_s */
  real case_leak;    /* C_c, each port */
  real viscous;      /* C_v */
  real coulomb;      /* C_f */
  real constant;     /* T_c, N m */
  real speed_width;
  real pressure_width;
  const struct map *map; /* NULL: by the coefficients */
  bool is_motor;         /* the map's definitions are a motor's */
  real case_share;       /* of the map's leakage */
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

/* Leakage of the map's point (i, k), m3/s. */
static inline real rotary_map_leakage(const struct rotary_losses *losses, int i, int k) {
  const struct map *map = losses->map;
  real efficiency = map->volumetric[i * map->pressures + k];
  return losses->displacement * map->speed[i] * (losses->is_motor ? 1.0 / efficiency - 1.0 : 1.0 - efficiency);
}

/* Torque loss of the map's point (i, k), N m. */
static inline real rotary_map_torque(const struct rotary_losses *losses, int i, int k) {
  const struct map *map = losses->map;
  real efficiency = map->hydromechanical[i * map->pressures + k];
  return losses->displacement * map->pressure[k] * (losses->is_motor ? 1.0 - efficiency : 1.0 / efficiency - 1.0);
}

/* Bilinear between four points of the map. */
static inline real rotary_map_between(const struct rotary_losses *losses, struct map_place place,
                                      real (*at)(const struct rotary_losses *, int, int)) {
  int i = place.speed;
  int k = place.pressure;
  int next_i = i + 1 < losses->map->speeds ? i + 1 : i;
  int next_k = k + 1 < losses->map->pressures ? k + 1 : k;
  real low = blend(at(losses, i, k), at(losses, next_i, k), place.along_speed);
  real high = blend(at(losses, i, next_k), at(losses, next_i, next_k), place.along_speed);
  return blend(low, high, place.along_pressure);
}

/* What leaks: from port A to port B, and from each port to the case, m3/s. */
struct rotary_leaks {
  real slip;
  real case_a;
  real case_b;
};

static inline struct rotary_leaks rotary_leaks_of(const struct rotary_losses *losses, real drop, real a_over_case,
                                                  real b_over_case, real speed, real viscosity) {
  if (losses->map == NULL) {
    struct rotary_leaks leaks = {
        rotary_slip_flow(losses, drop, viscosity),
        rotary_case_flow(losses, a_over_case, viscosity),
        rotary_case_flow(losses, b_over_case, viscosity),
    };
    return leaks;
  }
  real size = fabs(drop);
  real whole = rotary_map_between(losses, map_find(losses->map, fabs(speed), size), rotary_map_leakage) *
               smaller(1.0, size / losses->map->pressure[0]);
  real higher = larger(a_over_case, b_over_case);
  real to_case = higher > 0.0 ? whole * losses->case_share * smaller(1.0, higher / larger(size, 1.0)) : 0.0;
  struct rotary_leaks leaks = {
      drop >= 0.0 ? whole - to_case : to_case - whole,
      drop >= 0.0 ? to_case : 0.0,
      drop >= 0.0 ? 0.0 : to_case,
  };
  return leaks;
}

/* Torque that opposes the rotation, N m, by the law chosen. */
static inline real rotary_torque_of(const struct rotary_losses *losses, real drop, real speed, real film) {
  if (losses->map == NULL) {
    return rotary_torque_loss(losses, drop, speed, film);
  }
  return rotary_map_between(losses, map_find(losses->map, fabs(speed), fabs(drop)), rotary_map_torque) *
         tanh_sign(speed, losses->speed_width);
}

/* How far the point lies inside the map, as shares of its largest speed and pressure; 1 without a map. */
static inline real rotary_map_speed_room(const struct rotary_losses *losses, real speed) {
  return losses->map == NULL ? 1.0 : 1.0 - fabs(speed) / losses->map->speed[losses->map->speeds - 1];
}

static inline real rotary_map_pressure_room(const struct rotary_losses *losses, real drop) {
  return losses->map == NULL ? 1.0 : 1.0 - fabs(drop) / losses->map->pressure[losses->map->pressures - 1];
}

#endif
