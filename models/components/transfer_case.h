/* Transfer case: one motor (or the gearbox behind it) drives both axles, each with its own gear, wheels and brake
 * (driveline.h). Speeds and torques here are those of the shafts to the axles, before the axles' gears: w_r = i_r times
 * the rear wheels' speed, w_f likewise. The torque T that comes in at speed w goes on as
 *   T_r = (1 - s) T - q,   T_f = s T + q,   w = (1 - s) w_r + s w_f,
 * so that T w = T_r w_r + T_f w_f + q (w_r - w_f): what the coupling q between both shafts takes is stored in it or
 * lost in it, and nothing else is.
 *
 *  `locked`: s = 0, both shafts rigidly one but for their wind-up, q' = k (w_r - w_f), torque q + k t_d (w_r - w_f). An
 *      axle without grip passes its torque to the other; wheels that roll unlike distances wind the shafts against each
 *      other until tyres slip: the torque circulates.
 *  `clutch`: s = 0, the rear axle is driven through, the front axle by a clutch (clutch.h) that the channel
 *      transfer_clutch engages, and that slips at its torque.
 *  `open`: a differential gives the front axle the share s, whatever the speeds; q = 0. An axle that spins takes the
 *      speed, and the other gets no more torque than it.
 *  `limited`: such a differential with that clutch between both shafts as its lock.
 *
 * Kinematics and torques of a planetary differential without mass and without friction of its own: a textbook's, and
 * from memory; the shafts' losses stand in the axles' gears. Sign: q positive when the rear shaft drives the front one.
 */
#ifndef SWASHLOOP_MODELS_TRANSFER_CASE_H
#define SWASHLOOP_MODELS_TRANSFER_CASE_H

#include "clutch.h"
#include "field.h"

enum transfer_case_law {
  TRANSFER_CASE_NONE,
  TRANSFER_CASE_LOCKED,
  TRANSFER_CASE_CLUTCH,
  TRANSFER_CASE_OPEN,
  TRANSFER_CASE_LIMITED
};

/* clang-format off */
#define TRANSFER_CASE_FIELDS(REAL, CHOICE, TABLE)                                                                      \
  CHOICE(law, TRANSFER_CASE_NONE, "none|locked|clutch|open|limited", "", "how the first motor drives both axles, if it does") \
  REAL(front_share, FRACTION, 50.0, 1.0, 99.0, NONE, "", "part of the torque that the differential gives to the front axle", "law open|limited") \
  REAL(torque, TORQUE, 800.0, 1.0, 1e5, NONE, "", "torque between both shafts, before the axles' gears, at the wind-up angle; a clutch slips at it", "law locked|clutch|limited") \
  REAL(wind_up_angle, ANGLE, 60.0, 0.1, 1000.0, NONE, "", "turn of one shaft against the other at that torque", "law locked|clutch|limited") \
  REAL(damping_time, TIME, 0.003, 0.0, 1.0, NONE, "", "damping of the wind-up over its stiffness", "law locked|clutch|limited") \
  REAL(release_time, TIME, 0.02, 1e-4, 1.0, NONE, "", "time constant with which the clutch sheds torque beyond its capacity", "law clutch|limited and channel transfer_clutch")
/* clang-format on */

struct transfer_case_parameters {
  TRANSFER_CASE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct transfer_case_parameters
static const struct field transfer_case_fields[] = {
    TRANSFER_CASE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Is there a coupling between both shafts, with its torque as a state? */
static inline bool transfer_case_couples(const struct transfer_case_parameters *box) {
  return box->law == TRANSFER_CASE_LOCKED || box->law == TRANSFER_CASE_CLUTCH || box->law == TRANSFER_CASE_LIMITED;
}

/* Is that coupling a clutch that can slip? */
static inline bool transfer_case_slips(const struct transfer_case_parameters *box) {
  return box->law == TRANSFER_CASE_CLUTCH || box->law == TRANSFER_CASE_LIMITED;
}

/* Part of the incoming torque that goes to the front axle beside the coupling, 0 to 1. */
static inline real transfer_case_share(const struct transfer_case_parameters *box) {
  return box->law == TRANSFER_CASE_OPEN || box->law == TRANSFER_CASE_LIMITED ? box->front_share : broadcast(0.0);
}

/* Speed at the input, rad/s. */
static inline real transfer_case_speed(const struct transfer_case_parameters *box, real rear, real front) {
  return blend(rear, front, transfer_case_share(box));
}

/* The coupling as a clutch. */
static inline struct clutch transfer_case_clutch(const struct transfer_case_parameters *box) {
  struct clutch clutch = {box->torque, box->wind_up_angle, box->damping_time, box->release_time};
  return clutch;
}

/* dq/dt of the coupling, N m/s; `slip` = rear over front shaft, `share` of the lever. */
static inline real transfer_case_rate(const struct transfer_case_parameters *box, real share, real torque, real slip) {
  struct clutch clutch = transfer_case_clutch(box);
  return transfer_case_slips(box) ? clutch_torque_rate(&clutch, share, torque, slip) : clutch_stiffness(&clutch) * slip;
}

/* Torque that the rear shaft gives to the front one, N m. */
static inline real transfer_case_torque(const struct transfer_case_parameters *box, real share, real torque,
                                        real slip) {
  struct clutch clutch = transfer_case_clutch(box);
  return transfer_case_slips(box) ? clutch_torque(&clutch, share, torque, slip)
                                  : torque + clutch_stiffness(&clutch) * clutch.damping_time * slip;
}

#endif
