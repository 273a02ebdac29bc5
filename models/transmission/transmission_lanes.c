/* The transmission in lanes: its kernels compiled for the vectors of one kind of processor, which hold REAL_LANES
 * doubles; LANES of them are processed in LANES / REAL_LANES parts. Compiled once for each kind (LANES_OBJECT names
 * it). */
#if defined(__AVX512F__)
#define REAL_LANES 8
#elif defined(__AVX__)
#define REAL_LANES 4
#else
#define REAL_LANES 2
#endif

#ifndef LANES_OBJECT
#define LANES_OBJECT plain
#endif

#include "plant_lanes.h"
#include "transmission_evaluation.h"
#include "transmission_derivatives.h"
#include "transmission_mode_list.h"

#define LANES_JOINED(a, b) a##b
#define LANES_SYMBOL(a, b) LANES_JOINED(a, b)
#define LANES_TEXT(a) #a
#define LANES_NAME(a) LANES_TEXT(a)

enum { PARTS = LANES / REAL_LANES };

struct lane_model {
  bool loaded;
  struct transmission_model parts[PARTS];
};

struct lane_mode {
  bool loaded;
  struct transmission_mode parts[PARTS];
};

/* Where the parameters lie among reals. */
static const struct group lane_groups[] = {
#define COMPONENT_GROUP(type, section, ...)                                                                            \
  {.name = #section,                                                                                                   \
   .fields = type##_fields,                                                                                            \
   .field_count = FIELD_COUNT(type##_fields),                                                                          \
   .offset = offsetof(struct transmission_parameters, section),                                                        \
   .text = __VA_ARGS__},
    TRANSMISSION_COMPONENTS(COMPONENT_GROUP)
#undef COMPONENT_GROUP
};

/* One parameter, in the lanes and in the case. */
struct place {
  const struct field *field;
  void *lanes;
  const void *plain;
};

static struct place place_of(struct transmission_parameters *own, const void *plain, int group, int field) {
  const struct group *here = &lane_groups[group];
  const struct group *there = &transmission_plant.groups[group];
  struct place place = {
      &here->fields[field],
      (char *)own + here->offset + here->fields[field].offset,
      (const char *)plain + there->offset + there->fields[field].offset,
  };
  return place;
}

/* Are the group's tables seen as pieces of a mode alone? */
static bool seen_in_modes(int group) {
  return lane_groups[group].fields == operator_fields || lane_groups[group].fields == course_fields;
}

/* Why a parameter keeps this case from joining those that are in, or NULL. */
static const char *refusal_by(struct transmission_parameters *own, const void *plain, int group, int field) {
  struct place place = place_of(own, plain, group, field);
  switch (place.field->kind) {
  case FIELD_CHOICE:
    return *(int *)place.lanes != *(const int *)place.plain ? "other laws than in the other lanes" : NULL;
  case FIELD_TABLE:
    return !seen_in_modes(group) &&
                   (((struct profile *)place.lanes)->count > 0) != (((const struct profile *)place.plain)->count > 0)
               ? "other tables are there than in the other lanes"
               : NULL;
  default:
    return NULL;
  }
}

static const char *refusal(struct transmission_model *in, const struct transmission_open_model *open) {
  const char *why_not = NULL;
  for (int g = 0; why_not == NULL && g < FIELD_COUNT(lane_groups); g++) {
    for (int f = 0; why_not == NULL && f < lane_groups[g].field_count; f++) {
      why_not = refusal_by(&in->own, open->own, g, f);
    }
  }
  return why_not;
}

/* Of all that refusal_by asks for, by FNV-1a. */
static uint64_t laws(const void *parameters) {
  uint64_t hash = 14695981039346656037u;
  for (int g = 0; g < transmission_plant.group_count; g++) {
    const struct group *group = &transmission_plant.groups[g];
    for (int f = 0; f < group->field_count; f++) {
      const struct field *field = &group->fields[f];
      const void *member = (const char *)parameters + group->offset + field->offset;
      uint64_t law = 0;
      if (field->kind == FIELD_CHOICE) {
        law = (uint64_t) * (const int *)member;
      } else if (field->kind == FIELD_TABLE && !seen_in_modes(g)) {
        law = ((const struct profile *)member)->count > 0;
      }
      hash = (hash ^ law) * 1099511628211u;
    }
  }
  return hash;
}

static void load_parameter(const struct place *place, int lane) {
  switch (place->field->kind) {
  case FIELD_REAL:
    lane_set(place->lanes, lane, *(const double *)place->plain);
    break;
  case FIELD_CHOICE:
    *(int *)place->lanes = *(const int *)place->plain;
    break;
  case FIELD_TABLE:
    ((struct profile *)place->lanes)[lane] = *(const struct profile *)place->plain;
    break;
  default:
    ((struct map *)place->lanes)[lane] = *(const struct map *)place->plain;
    break;
  }
}

static void load_parameters(struct transmission_model *part, const struct transmission_open_model *open, int lane) {
  for (int g = 0; g < FIELD_COUNT(lane_groups); g++) {
    for (int f = 0; f < lane_groups[g].field_count; f++) {
      struct place place = place_of(&part->own, open->own, g, f);
      load_parameter(&place, lane);
    }
  }
  fluid_take(&part->oil, lane, open->oil);
  fluid_viscosity_take(&part->pump_film, lane, open->pump_film);
  for (int i = 0; i < AXLE_LIMIT; i++) {
    if (open->motor_films[i] != NULL) {
      fluid_viscosity_take(&part->axles[i].motor_film, lane, open->motor_films[i]);
    }
  }
  lane_set(&part->filter_resistance, lane, open->filter_resistance);
  lane_set(&part->relief_viscosity, lane, open->relief_viscosity);
}

/* What all lanes share. */
static void load_shared(struct transmission_model *part, const struct transmission_open_model *open) {
  part->active_count = open->active_count;
  memcpy(part->active, open->active, (size_t)open->active_count * sizeof *part->active);
  part->leading_count = open->leading_count;
}

static const char *load_model(void *lane_model, int lane, const void *model) {
  struct lane_model *to = lane_model;
  struct transmission_open_model open;
  transmission_open_model(model, &open);
  const char *why_not = to->loaded ? refusal(&to->parts[0], &open) : NULL;
  if (why_not != NULL) {
    return why_not;
  }
  bool all = lane == LANES_ALL || !to->loaded;
  for (int i = 0; i < PARTS; i++) {
    struct transmission_model *part = &to->parts[i];
    if (!to->loaded) {
      load_shared(part, &open);
    }
    for (int k = 0; k < REAL_LANES; k++) {
      if (all || lane == i * REAL_LANES + k) {
        load_parameters(part, &open, k);
      }
    }
    transmission_derive(part);
  }
  to->loaded = true;
  return NULL;
}

static void load_part(struct transmission_mode *part, const struct transmission_open_mode *open, int lane) {
  struct transmission_mode_list list;
  transmission_mode_list(part, &list);
  for (int i = 0; i < list.number_count; i++) {
    lane_set(list.numbers[i], lane, open->numbers[i]);
  }
  for (int i = 0; i < OPEN_FLAGS; i++) {
    (*list.flags[i])[lane] = open->flags[i] ? -1 : 0;
  }
  for (int i = 0; i < MODE_PIECES; i++) {
    list.tables[i][lane] = open->tables[i];
  }
}

/* Channels that move in any lane. */
static void note_moving(struct transmission_mode *part) {
  part->moving_count = 0;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    if (!mask_none(part->channels[i].piece.slope != 0.0)) {
      part->moving[part->moving_count++] = i;
    }
  }
}

static void load_mode(void *lane_mode, int lane, const void *mode) {
  struct lane_mode *to = lane_mode;
  struct transmission_open_mode open;
  transmission_open_mode(mode, &open);
  bool all = lane == LANES_ALL || !to->loaded;
  for (int i = 0; i < PARTS; i++) {
    for (int k = 0; k < REAL_LANES; k++) {
      if (all || lane == i * REAL_LANES + k) {
        load_part(&to->parts[i], &open, k);
      }
    }
    note_moving(&to->parts[i]);
  }
  to->loaded = true;
}

/* ---- the kernels' calls ---- */

/* A part of a row of lanes. */
static real *part_of(lanes *row, int part) {
  return (real *)row + part;
}

static const real *const_part_of(const lanes *row, int part) {
  return (const real *)row + part;
}

static void take_rows(const lanes *from, int count, int part, real *rows) {
#pragma GCC unroll 4
  for (int i = 0; i < count; i++) {
    rows[i] = *const_part_of(&from[i], part);
  }
}

/* Where a part's rows are made: on the spot if there is but one. */
static real *rows_for(lanes *to, real *own) {
  return to == NULL ? NULL : (PARTS == 1 ? (real *)to : own);
}

static void put_rows(const real *rows, int count, int part, lanes *to) {
  if (PARTS == 1 || to == NULL) {
    return;
  }
#pragma GCC unroll 4
  for (int i = 0; i < count; i++) {
    *part_of(&to[i], part) = rows[i];
  }
}

static void rates(const void *lane_model, const void *lane_mode, const lanes *t, const lanes *state, lanes *result) {
  const struct lane_model *model = lane_model;
  const struct lane_mode *mode = lane_mode;
  for (int i = 0; i < PARTS; i++) {
    real x[STATE_COUNT];
    real d[STATE_COUNT];
    take_rows(state, model->parts[i].active_count, i, x);
    rates_of(&model->parts[i], &mode->parts[i], *const_part_of(t, i), x, rows_for(result, d));
    put_rows(d, model->parts[i].active_count, i, result);
  }
}

/* One part's evaluation, for one choice of what is wanted, so that the compiler leaves out the rest. */
static void evaluate_everything(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                                const real *x, const struct evaluations *to) {
  evaluate_all(model, mode, t, x, *to);
}

static void evaluate_signals(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                             const real *x, const struct evaluations *to) {
  evaluate_all(model, mode, t, x, (struct evaluations){NULL, to->signals, NULL, NULL});
}

static void evaluate(const void *lane_model, const void *lane_mode, const lanes *t, const lanes *state,
                     const struct lanes_evaluation *to) {
  const struct lane_model *model = lane_model;
  const struct lane_mode *mode = lane_mode;
  bool signals_alone = to->powers == NULL && to->events == NULL && to->guards == NULL;
  for (int i = 0; i < PARTS; i++) {
    real x[STATE_COUNT];
    real powers[LEDGER_INTEGRATED];
    real signals[SIGNAL_COUNT];
    real events[EVENT_COUNT];
    real guards[GUARD_COUNT];
    const struct evaluations wanted = {rows_for(to->powers, powers), rows_for(to->signals, signals),
                                       rows_for(to->events, events), rows_for(to->guards, guards)};
    take_rows(state, model->parts[i].active_count, i, x);
    if (signals_alone) {
      evaluate_signals(&model->parts[i], &mode->parts[i], *const_part_of(t, i), x, &wanted);
    } else {
      evaluate_everything(&model->parts[i], &mode->parts[i], *const_part_of(t, i), x, &wanted);
    }
    put_rows(powers, LEDGER_INTEGRATED, i, to->powers);
    put_rows(signals, SIGNAL_COUNT, i, to->signals);
    put_rows(events, EVENT_COUNT, i, to->events);
    put_rows(guards, GUARD_COUNT, i, to->guards);
  }
}

const struct plant_lanes LANES_SYMBOL(transmission_lanes_, LANES_OBJECT) = {
    .name = LANES_NAME(LANES_OBJECT),
    .width = REAL_LANES,
    .model_size = sizeof(struct lane_model),
    .mode_size = sizeof(struct lane_mode),
    .laws = laws,
    .load_model = load_model,
    .load_mode = load_mode,
    .rates = rates,
    .evaluate = evaluate,
};
