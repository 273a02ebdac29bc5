#include "legs.h"

#include <math.h>
#include <stdlib.h>

#include "registry.h"

#define LEAST_LOAD 1e-6 /* kg: a ramp to none ends at a rounding error of it */

enum { LEGS_KEPT = 20000 }; /* phases: a course that is repeated without end would fill the memory */

bool legs_open(struct run_workspace *run, struct error *error) {
  const struct plant *plant = run->view.plant;
  if (plant->leg == NULL) {
    return true;
  }
  return registry_place(plant, "vehicle_distance", &run->leg_distance, error) &&
         registry_place(plant, "load", &run->leg_load, error) &&
         registry_place(plant, "tank_oil_temperature", &run->leg_tank, error) &&
         registry_place(plant, "fuel_used", &run->leg_fuel, error);
}

static double read_signal(const struct row_place *place, const struct sample *sample) {
  return place->there ? sample->signals[place->index] : 0.0;
}

/* The phase that has not ended; NULL: there is none. */
static struct run_leg *under_way(const struct outcome *outcome) {
  struct run_leg *last = outcome->leg_count > 0 ? &outcome->legs[outcome->leg_count - 1] : NULL;
  return last != NULL && isnan(last->until) ? last : NULL;
}

static void close_phase(const struct run_workspace *run, struct run_leg *phase, const struct sample *at, int brake_uses,
                        bool done) {
  phase->until = at->time;
  phase->ended_at = read_signal(&run->leg_distance, at);
  double load = read_signal(&run->leg_load, at);
  phase->load = load > LEAST_LOAD ? load : 0.0;
  phase->tank = read_signal(&run->leg_tank, at);
  phase->brake_uses = brake_uses - phase->brake_uses;
  phase->fuel = read_signal(&run->leg_fuel, at) - phase->fuel;
  phase->done = done;
  for (int i = 0; i < run->view.plant->ledger_integrated; i++) {
    phase->energy[i] += run->integrals[i];
  }
}

static bool open_phase(struct run_workspace *run, const struct plant_leg *now, const struct sample *at,
                       struct error *error) {
  struct outcome *outcome = run->outcome;
  if (outcome->leg_count == LEGS_KEPT) {
    outcome->legs_left_out++;
    return true;
  }
  if (outcome->leg_count == outcome->leg_capacity) {
    int capacity = outcome->leg_capacity > 0 ? 2 * outcome->leg_capacity : 16;
    struct run_leg *legs = realloc(outcome->legs, (size_t)capacity * sizeof *legs);
    if (legs == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for the legs");
    }
    outcome->legs = legs;
    outcome->leg_capacity = capacity;
  }
  struct run_leg *phase = &outcome->legs[outcome->leg_count++];
  *phase = (struct run_leg){
      .number = now->number,
      .repeat = now->repeat,
      .stands = now->stands,
      .from = at->time,
      .until = NAN,
      .place = now->place,
      .began_at = read_signal(&run->leg_distance, at),
      .brake_uses = now->brake_uses,
      .fuel = read_signal(&run->leg_fuel, at),
  };
  for (int i = 0; i < run->view.plant->ledger_integrated; i++) {
    phase->energy[i] = -run->integrals[i];
  }
  return true;
}

bool legs_note(struct run_workspace *run, const struct sample *at, struct error *error) {
  struct plant_leg now;
  if (run->view.plant->leg == NULL) {
    return true;
  }
  run->view.plant->leg(run->view.mode, &now);
  if (now.number == 0) {
    return true;
  }
  struct run_leg *phase = under_way(run->outcome);
  bool same = phase != NULL && phase->number == now.number && phase->repeat == now.repeat &&
              phase->stands == now.stands && !now.over;
  if (same || (phase == NULL && now.over)) {
    return true;
  }
  if (phase != NULL) {
    close_phase(run, phase, at, now.brake_uses, true);
  }
  return now.over || open_phase(run, &now, at, error);
}

void legs_end(struct run_workspace *run, const struct sample *at) {
  struct run_leg *phase = under_way(run->outcome);
  struct plant_leg now;
  if (phase != NULL) {
    run->view.plant->leg(run->view.mode, &now);
    close_phase(run, phase, at, now.brake_uses, false);
  }
}
