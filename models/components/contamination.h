/* Particles in the oil, and dirt in the charge filter's element, over a duty of hours: the run is taken as one cycle of
 * the duty and its means hold for all of it, in a time scale of its own.
 *
 * Balance of each size class (larger than 4, 6 and 14 um(c)), the oil well mixed:
 *   V dC/dt = G - q (1 - y) (1 - 1/beta) C
 * with ingress G, flow q of the charge pump, share y that goes by the bypass. Filtration ratio beta and efficiency
 * 1 - 1/beta by ISO 16889 (public texts); what goes by the bypass is not filtered. Between two inspections of the
 * element y is constant and the balance has a closed form: C falls or rises to G/(q (1 - y)(1 - 1/beta)) with V over
 * that flow as time constant. What the element catches follows from the balance itself, G t - V (C - C_0), so that no
 * particle is lost.
 *
 * Dirt: particles of 4 to 6, 6 to 14 and above 14 um count with a mean size each, as balls of the dirt's density. The
 * element's resistance is 1 + (m/m_cap)^k of the clean one (form from memory; the exponent has to come from
 * measurements of the element); as it grows the drop at the run's mean flow and oil reaches the bypass valve's cracking
 * pressure, and the share y grows by the filter's own law (filter.h). The mean of the flow through the element over the
 * run, cold start and all, is kept as its starting point.
 *
 * Cleanliness code: ISO 4406, the smallest code whose upper bound holds the count per mL; bounds from its table.
 *
 * Sign: everything positive. Valid for a charge filter that sees the whole flow, and for ingress that does not change
 * with the duty. */
#ifndef SWASHLOOP_MODELS_CONTAMINATION_H
#define SWASHLOOP_MODELS_CONTAMINATION_H

#include <stdbool.h>

#include "filter.h"

enum contamination_fitted { CONTAMINATION_LEFT_OUT, CONTAMINATION_FITTED };
enum contamination_start { CONTAMINATION_BY_CODES, CONTAMINATION_BY_COUNTS };

/* clang-format off */
#define CONTAMINATION_FIELDS(REAL, CHOICE, TABLE)                                                                      \
  CHOICE(fitted, CONTAMINATION_LEFT_OUT, "no|yes", "", "is the run a cycle of a duty that lets particles in and filters them out") \
  REAL(duty_time, LONG_TIME, 500.0, 0.0, 1e5, NONE, "", "how long the duty lasts")                                     \
  REAL(ingress_4, PARTICLE_RATE, 2e6, 0.0, 1e12, NONE, "", "particles above 4 um(c) that come in")                     \
  REAL(ingress_6, PARTICLE_RATE, 5e5, 0.0, 1e12, NONE, "", "particles above 6 um(c) that come in")                     \
  REAL(ingress_14, PARTICLE_RATE, 6e4, 0.0, 1e12, NONE, "", "particles above 14 um(c) that come in")                   \
  REAL(beta_4, NUMBER, 5.0, 1.0, 1e5, NONE, "", "filtration ratio above 4 um(c)")                                      \
  REAL(beta_6, NUMBER, 20.0, 1.0, 1e5, NONE, "", "filtration ratio above 6 um(c)")                                     \
  REAL(beta_14, NUMBER, 200.0, 1.0, 1e5, NONE, "", "filtration ratio above 14 um(c)")                                  \
  CHOICE(start_by, CONTAMINATION_BY_CODES, "codes|counts", "", "how the oil at the start is given")                     \
  REAL(start_code_4, NUMBER, 21.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 4 um(c) at the start", "start_by codes") \
  REAL(start_code_6, NUMBER, 19.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 6 um(c) at the start", "start_by codes") \
  REAL(start_code_14, NUMBER, 16.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 14 um(c) at the start", "start_by codes") \
  REAL(start_count_4, PARTICLE_COUNT, 2e4, 0.0, 1e9, NONE, "", "particles above 4 um(c) at the start", "start_by counts") \
  REAL(start_count_6, PARTICLE_COUNT, 5e3, 0.0, 1e9, NONE, "", "particles above 6 um(c) at the start", "start_by counts") \
  REAL(start_count_14, PARTICLE_COUNT, 640.0, 0.0, 1e9, NONE, "", "particles above 14 um(c) at the start", "start_by counts") \
  REAL(target_code_4, NUMBER, 18.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 4 um(c) that is clean enough")           \
  REAL(target_code_6, NUMBER, 16.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 6 um(c) that is clean enough")           \
  REAL(target_code_14, NUMBER, 13.0, 0.0, 28.0, NONE, "", "ISO 4406 code above 14 um(c) that is clean enough")         \
  REAL(dirt_capacity, DIRT, 20.0, 0.01, 1e5, NONE, "", "dirt in the element that doubles its resistance")              \
  REAL(start_dirt, DIRT, 0.0, 0.0, 1e6, NONE, "", "dirt in the element at the start; the run feels it")                \
  REAL(loading_exponent, NUMBER, 3.0, 0.5, 20.0, NONE, "", "how steeply the resistance rises with the dirt")           \
  REAL(dirt_density, DENSITY, 2650.0, 500.0, 10000.0, NONE, "", "density of the dirt")                                 \
  REAL(size_4_6, PARTICLE_SIZE, 5.0, 4.0, 6.0, NONE, "", "size that particles of 4 to 6 um(c) weigh as")               \
  REAL(size_6_14, PARTICLE_SIZE, 9.0, 6.0, 14.0, NONE, "", "size that particles of 6 to 14 um(c) weigh as")            \
  REAL(size_14_up, PARTICLE_SIZE, 20.0, 14.0, 200.0, NONE, "", "size that particles above 14 um(c) weigh as")
/* clang-format on */

struct contamination_parameters {
  CONTAMINATION_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct contamination_parameters
static const struct field contamination_fields[] = {
    CONTAMINATION_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

#if REAL_LANES == 1 /* asked before and after a run only */

/* ---- codes ---- */

enum { CONTAMINATION_CODES = 29, CONTAMINATION_CLASSES = 3 };

/* Upper bounds of the codes 0 to 28, particles per mL. */
static const real contamination_bounds[CONTAMINATION_CODES] = {
    0.01,  0.02,  0.04,   0.08,   0.16, 0.32, 0.64, 1.3, 2.5, 5.0,   10.0,  20.0,  40.0,  80.0, 160.0,
    320.0, 640.0, 1300.0, 2500.0, 5e3,  1e4,  2e4,  4e4, 8e4, 1.6e5, 3.2e5, 6.4e5, 1.3e6, 2.5e6};

/* The count that a code stands for at most, particles per m3. */
static inline real contamination_bound(real code) {
  return 1e6 * contamination_bounds[(int)(clamp(code, 0.0, CONTAMINATION_CODES - 1) + 0.5)];
}

/* The code of a count of particles per m3; 29 stands for more than 28 holds. */
static inline int contamination_code(real count) {
  int code = 0;
  while (code < CONTAMINATION_CODES && 1e-6 * count > contamination_bounds[code] * (1.0 + 1e-9)) {
    code++;
  }
  return code;
}

/* ---- the balance ---- */

/* Share that the element catches of what comes through it. */
static inline real contamination_efficiency(real beta) {
  return 1.0 - 1.0 / beta;
}

/* (1 - e^-x)/x; 1 - e^-x is 2 t/(1 + t) with t = tanh(x/2), which keeps its digits for small x. */
static inline real contamination_mean_decay(real x) {
  real t = real_tanh(0.5 * smaller(x, 600.0));
  return x > 1e-8 ? 2.0 * t / (1.0 + t) / x : 1.0 - 0.5 * x;
}

/* The count after `time` from `count`; `clearing` is q (1 - y)(1 - 1/beta), m3/s. */
static inline real contamination_count(real count, real ingress, real clearing, real volume, real time) {
  real x = clearing * time / volume;
  return count * real_exp(-x) + ingress * time / volume * contamination_mean_decay(x);
}

/* When the count falls to `target`, from 0 on; HUGE_VAL if it never does. */
static inline real contamination_time_to(real count, real target, real ingress, real clearing, real volume) {
  if (count <= target) {
    return 0.0;
  }
  real settled = clearing > 0.0 ? ingress / clearing : HUGE_VAL;
  return settled < target ? volume / clearing * real_log((count - settled) / (target - settled)) : HUGE_VAL;
}

/* Rise of the element's resistance over the clean one. */
static inline real contamination_loading(const struct contamination_parameters *dirt, real mass) {
  return mass > 0.0 ? real_power(mass / dirt->dirt_capacity, dirt->loading_exponent) : 0.0;
}

/* Mass of so many particles above 4, 6 and 14 um, kg. A class that holds more than the one below it does not take
 * anything away. */
static inline real contamination_mass(const struct contamination_parameters *dirt, const real *particles) {
  const real sizes[CONTAMINATION_CLASSES] = {dirt->size_4_6, dirt->size_6_14, dirt->size_14_up};
  real mass = 0.0;
  for (int i = 0; i < CONTAMINATION_CLASSES; i++) {
    real within = max0(particles[i] - (i + 1 < CONTAMINATION_CLASSES ? particles[i + 1] : 0.0));
    mass += within * REAL_PI / 6.0 * dirt->dirt_density * sizes[i] * sizes[i] * sizes[i];
  }
  return mass;
}

/* ---- the duty ---- */

/* What the duty takes from one cycle: means over the run. */
struct contamination_cycle {
  real flow;             /* of the charge pump, m3/s */
  real filtered;         /* of it through the element, m3/s */
  real clean_resistance; /* of the element, times the oil's viscosity, Pa s/m3 */
  real volume;           /* of oil, m3 */
};

struct contamination_result {
  real count[CONTAMINATION_CLASSES]; /* particles per m3 at the end */
  real dirt;                         /* in the element at the end, kg */
  real cleaning_time;                /* s until all classes reached their target; NaN: not within the duty */
  real bypass_time;                  /* s until the bypass opens at the mean flow; NaN: not within the duty */
};

enum { CONTAMINATION_STEPS = 2000, CONTAMINATION_HALVINGS = 40 };

/* State of a duty at a time. */
struct contamination_state {
  real count[CONTAMINATION_CLASSES]; /* particles per m3 */
  real dirt;                         /* in the element, kg */
};

/* Where a duty starts: particles of each class per m3, by code or by count, and dirt in the element, kg. */
static inline struct contamination_state contamination_begin(const struct contamination_parameters *dirt) {
  const real codes[CONTAMINATION_CLASSES] = {dirt->start_code_4, dirt->start_code_6, dirt->start_code_14};
  const real counts[CONTAMINATION_CLASSES] = {dirt->start_count_4, dirt->start_count_6, dirt->start_count_14};
  struct contamination_state state = {{0.0, 0.0, 0.0}, dirt->start_dirt};
  for (int i = 0; i < CONTAMINATION_CLASSES; i++) {
    state.count[i] = dirt->start_by == CONTAMINATION_BY_COUNTS ? counts[i] : contamination_bound(codes[i]);
  }
  return state;
}

/* Share of the mean flow that the filter's law lets by with this much dirt in the element. */
static inline real contamination_bypass(const struct contamination_parameters *dirt,
                                        const struct filter_parameters *filter, const struct contamination_cycle *cycle,
                                        real mass) {
  real resistance = cycle->clean_resistance * (1.0 + contamination_loading(dirt, mass));
  return filter_bypass_share(filter, filter_drop(filter, resistance, 1.0, cycle->flow), cycle->flow);
}

/* The state after `time` at a flow `through` the element. */
static inline struct contamination_state contamination_after(const struct contamination_parameters *dirt,
                                                             const struct contamination_state *state, real through,
                                                             real volume, real time) {
  const real ingress[CONTAMINATION_CLASSES] = {dirt->ingress_4, dirt->ingress_6, dirt->ingress_14};
  const real beta[CONTAMINATION_CLASSES] = {dirt->beta_4, dirt->beta_6, dirt->beta_14};
  struct contamination_state after = *state;
  real caught[CONTAMINATION_CLASSES];
  for (int i = 0; i < CONTAMINATION_CLASSES; i++) {
    real clearing = through * contamination_efficiency(beta[i]);
    after.count[i] = contamination_count(state->count[i], ingress[i], clearing, volume, time);
    caught[i] = max0(ingress[i] * time - volume * (after.count[i] - state->count[i]));
  }
  after.dirt += contamination_mass(dirt, caught);
  return after;
}

/* Dirt with which the bypass opens at the mean flow; HUGE_VAL: never. */
static inline real contamination_opening_dirt(const struct contamination_parameters *dirt,
                                              const struct filter_parameters *filter,
                                              const struct contamination_cycle *cycle) {
  real clean = cycle->clean_resistance * cycle->flow;
  if (!(clean > 0.0)) {
    return HUGE_VAL;
  }
  real rise = filter->bypass_crack / clean - 1.0;
  return rise <= 0.0 ? 0.0 : dirt->dirt_capacity * real_power(rise, 1.0 / dirt->loading_exponent);
}

/* When, within `time` from `state`, the element holds `mass`: halved again and again. */
static inline real contamination_time_of_dirt(const struct contamination_parameters *dirt,
                                              const struct contamination_state *state, real through, real volume,
                                              real time, real mass) {
  real low = 0.0;
  real high = time;
  for (int i = 0; i < CONTAMINATION_HALVINGS; i++) {
    real middle = 0.5 * (low + high);
    if (contamination_after(dirt, state, through, volume, middle).dirt < mass) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return high;
}

/* Flow through the element with this much dirt in it; `passed` is the share that went through it at the start. */
static inline real contamination_through(const struct contamination_parameters *dirt,
                                         const struct filter_parameters *filter,
                                         const struct contamination_cycle *cycle, real passed, real mass) {
  return passed > 0.0 ? cycle->filtered * (1.0 - contamination_bypass(dirt, filter, cycle, mass)) / passed : 0.0;
}

/* The whole duty. The first half of each step goes by the element at its start, the second by the element at its end:
 * so the dirt is right to second order in the step. */
static inline struct contamination_result contamination_duty(const struct contamination_parameters *dirt,
                                                             const struct filter_parameters *filter,
                                                             const struct contamination_cycle *cycle) {
  const real ingress[CONTAMINATION_CLASSES] = {dirt->ingress_4, dirt->ingress_6, dirt->ingress_14};
  const real beta[CONTAMINATION_CLASSES] = {dirt->beta_4, dirt->beta_6, dirt->beta_14};
  const real targets[CONTAMINATION_CLASSES] = {dirt->target_code_4, dirt->target_code_6, dirt->target_code_14};
  real half = dirt->duty_time / (2.0 * CONTAMINATION_STEPS);
  real opening = contamination_opening_dirt(dirt, filter, cycle);
  real passed = 1.0 - contamination_bypass(dirt, filter, cycle, dirt->start_dirt);
  real reached[CONTAMINATION_CLASSES] = {HUGE_VAL, HUGE_VAL, HUGE_VAL};
  struct contamination_state state = contamination_begin(dirt);
  struct contamination_result result = {{0.0, 0.0, 0.0}, 0.0, NAN, state.dirt >= opening ? 0.0 : NAN};
  real through = 0.0;
  for (int k = 0; k < 2 * CONTAMINATION_STEPS; k++) {
    real now = half * (real)k;
    bool second = k % 2 == 1;
    real mass = second ? contamination_after(dirt, &state, through, cycle->volume, half).dirt : state.dirt;
    through = contamination_through(dirt, filter, cycle, passed, mass);
    for (int i = 0; i < CONTAMINATION_CLASSES; i++) {
      real within = contamination_time_to(state.count[i], contamination_bound(targets[i]), ingress[i],
                                          through * contamination_efficiency(beta[i]), cycle->volume);
      if (within <= half) {
        reached[i] = smaller(reached[i], now + within);
      }
    }
    struct contamination_state next = contamination_after(dirt, &state, through, cycle->volume, half);
    if (isnan(result.bypass_time) && next.dirt >= opening) {
      result.bypass_time = now + contamination_time_of_dirt(dirt, &state, through, cycle->volume, half, opening);
    }
    state = next;
  }
  real last = larger(reached[0], larger(reached[1], reached[2]));
  result.cleaning_time = last < HUGE_VAL ? last : NAN;
  result.dirt = state.dirt;
  for (int i = 0; i < CONTAMINATION_CLASSES; i++) {
    result.count[i] = state.count[i];
  }
  return result;
}

#endif

#endif
