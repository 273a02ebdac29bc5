#include "fuel_account.h"

#include <math.h>
#include <stdio.h>

enum fuel_term { TERM_COMBUSTION, TERM_STARTER, TERM_FRICTION, TERM_EXHAUST_BRAKE, TERM_HEAT, TERM_ENERGY };

static const char *const signal_names[FUEL_SIGNALS] = {"fuel_used", "fuel_volume", "carbon_dioxide"};
static const char *const term_names[FUEL_TERMS] = {
    [TERM_COMBUSTION] = "combustion",       [TERM_STARTER] = "starter", [TERM_FRICTION] = "engine_friction",
    [TERM_EXHAUST_BRAKE] = "exhaust_brake", [TERM_HEAT] = "fuel_heat",  [TERM_ENERGY] = "fuel_energy"};
static const int measures_of_signals[FUEL_SIGNALS] = {MEASURE_fuel_used, MEASURE_fuel_volume, MEASURE_carbon_dioxide};
static const int measures[] = {MEASURE_fuel_used,      MEASURE_fuel_volume,          MEASURE_fuel_per_time,
                               MEASURE_carbon_dioxide, MEASURE_specific_consumption, MEASURE_fuel_residual};

bool fuel_account_begin(struct fuel_account *account, const struct view *view, struct error *error) {
  *account = (struct fuel_account){.known = true};
  struct row_place place;
  for (int i = 0; i < FUEL_SIGNALS; i++) {
    if (!registry_place(view->plant, signal_names[i], &place, error)) {
      return false;
    }
    account->signals[i] = place.index;
    account->known = account->known && place.there;
  }
  account->counted = account->known && view->plant->signal_active(view->data->parameters, account->signals[0]);
  for (int i = 0; account->known && i < FUEL_TERMS; i++) {
    if (!registry_ledger_place(view->plant, term_names[i], &place, error)) {
      return false;
    }
    account->terms[i] = place.index;
  }
  return true;
}

void fuel_account_follow(const struct fuel_account *account, bool *needed) {
  for (int i = 0; account->counted && i < FUEL_SIGNALS; i++) {
    needed[account->signals[i]] = true;
  }
}

void fuel_account_end(const struct fuel_account *account, const struct sample *sample, struct outcome *outcome) {
  outcome->has_fuel = account->counted;
  if (!account->counted) {
    for (size_t i = 0; account->known && i < sizeof measures / sizeof measures[0]; i++) {
      outcome_lack(outcome, measures[i], "fuel.law is none: no fuel is counted");
    }
    return;
  }
  for (int i = 0; i < FUEL_SIGNALS; i++) {
    outcome_give(outcome, measures_of_signals[i], sample->signals[account->signals[i]]);
  }
  const struct ledger_entry *ledger = outcome->ledger;
  double used = outcome->measures[MEASURE_fuel_used];
  if (sample->time > 0.0) {
    outcome_give(outcome, MEASURE_fuel_per_time, outcome->measures[MEASURE_fuel_volume] / sample->time);
  } else {
    outcome_lack(outcome, MEASURE_fuel_per_time, "the run is too short");
  }
  outcome->fuel_energy = ledger[account->terms[TERM_ENERGY]].energy;
  outcome->fuel_work = ledger[account->terms[TERM_COMBUSTION]].energy;
  outcome->fuel_heat = ledger[account->terms[TERM_HEAT]].energy;
  outcome->fuel_residual = outcome->fuel_energy - outcome->fuel_work - outcome->fuel_heat;
  double moved = fmax(outcome->fuel_energy, fmax(fabs(outcome->fuel_work), fabs(outcome->fuel_heat)));
  if (moved > 0.0) {
    outcome_give(outcome, MEASURE_fuel_residual, fabs(outcome->fuel_residual) / moved);
  } else {
    outcome_lack(outcome, MEASURE_fuel_residual, "no fuel is burnt");
  }
  double flywheel = outcome->fuel_work + ledger[account->terms[TERM_STARTER]].energy -
                    ledger[account->terms[TERM_FRICTION]].energy -
                    ledger[account->terms[TERM_EXHAUST_BRAKE]].energy; /* J */
  if (flywheel > 0.0) {
    outcome_give(outcome, MEASURE_specific_consumption, used / flywheel);
  } else {
    outcome_lack(outcome, MEASURE_specific_consumption, "over the run the flywheel gave no work");
  }
}
