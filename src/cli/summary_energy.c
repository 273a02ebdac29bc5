#include "summary_energy.h"

#include <math.h>

#include "units.h"

/* What a term gives to the plant, positive: a source, an emptying store. Negative: what it takes. */
static double given(const struct ledger_row *row, double energy) {
  return row->kind == LEDGER_SOURCE ? energy : -energy;
}

/* Kinds of loss, of store and of heat are one each to the reader. */
static enum ledger_kind kind_of(const struct ledger_row *row) {
  static const enum ledger_kind kinds[LEDGER_KIND_COUNT] = {
      [LEDGER_SOURCE] = LEDGER_SOURCE,           [LEDGER_LOSS] = LEDGER_LOSS,
      [LEDGER_LOSS_TO_OIL] = LEDGER_LOSS,        [LEDGER_STORED_RATE] = LEDGER_STORED,
      [LEDGER_HEAT_LEAVES] = LEDGER_HEAT_LEAVES, [LEDGER_HEAT_STORED_RATE] = LEDGER_HEAT_STORED,
      [LEDGER_STORED] = LEDGER_STORED,           [LEDGER_OIL_LOST] = LEDGER_OIL_LOST,
      [LEDGER_HEAT_STORED] = LEDGER_HEAT_STORED, [LEDGER_FUEL_HEAT] = LEDGER_FUEL_HEAT,
      [LEDGER_FUEL_SPENT] = LEDGER_FUEL_SPENT,
  };
  return kinds[row->kind];
}

struct account {
  bool braking; /* from release to standstill; else the whole run */
  double total; /* J, all that gave: what the shares are of */
};

static double energy_of(const struct outcome *outcome, const struct account *account, int term) {
  const struct ledger_entry *entry = &outcome->ledger[term];
  return account->braking ? entry->from_release : entry->energy;
}

static struct account account_of(const struct plant *plant, const struct outcome *outcome, bool braking) {
  struct account account = {braking, 0.0};
  for (int i = 0; i < plant->ledger_count; i++) {
    if (ledger_balance_of(plant->ledger[i].kind) == BALANCE_OF_ENERGY) {
      account.total += fmax(0.0, given(&plant->ledger[i], energy_of(outcome, &account, i)));
    }
  }
  return account;
}

static void print_amount(FILE *out, const struct account *account, double energy, double scale) {
  (void)fprintf(out, " %12.2f", energy / scale);
  if (account->total > 0.0) {
    (void)fprintf(out, " %6.1f %%", 100.0 * fabs(energy) / account->total);
  } else {
    (void)fprintf(out, " %8s", "");
  }
}

/* Below this share of all that was put in, in every column, a term is left to the file. */
static const double SMALLEST_SHARE = 0.0005;

static bool is_small(const struct outcome *outcome, const struct account *accounts, int account_count, int term) {
  for (int a = 0; a < account_count; a++) {
    if (fabs(energy_of(outcome, &accounts[a], term)) > SMALLEST_SHARE * accounts[a].total) {
      return false;
    }
  }
  return true;
}

/* Largest first, by the last column. */
static void print_kind(FILE *out, const struct plant *plant, const struct outcome *outcome,
                       const struct account *accounts, int account_count, enum ledger_kind kind, const char *title,
                       double scale) {
  bool done[PLANT_LEDGER_LIMIT] = {false};
  bool titled = false;
  const struct account *order = &accounts[account_count - 1];
  for (;;) {
    int next = -1;
    for (int i = 0; i < plant->ledger_count; i++) {
      bool open = kind_of(&plant->ledger[i]) == kind && !done[i];
      if (open && (next < 0 || fabs(energy_of(outcome, order, i)) > fabs(energy_of(outcome, order, next)))) {
        next = i;
      }
    }
    if (next < 0) {
      return;
    }
    done[next] = true;
    if (is_small(outcome, accounts, account_count, next)) {
      continue;
    }
    if (!titled) {
      (void)fprintf(out, "  %s\n", title);
      titled = true;
    }
    (void)fprintf(out, "    %-42.42s", plant->ledger[next].text);
    for (int a = 0; a < account_count; a++) {
      print_amount(out, &accounts[a], energy_of(outcome, &accounts[a], next), scale);
    }
    (void)fputc('\n', out);
  }
}

/* Where the heat went that losses made in oil and brakes, shares of what they made. */
static void print_heat(FILE *out, const struct plant *plant, const struct outcome *outcome, double scale) {
  struct account account = {false, fmax(0.0, outcome->heat_made)};
  (void)fprintf(out, "  heat made in oil and brakes by losses%*s", 9, "");
  print_amount(out, &account, outcome->heat_made, scale);
  (void)fputc('\n', out);
  print_kind(out, plant, outcome, &account, 1, LEDGER_HEAT_LEAVES, "of this left as", scale);
  print_kind(out, plant, outcome, &account, 1, LEDGER_HEAT_STORED, "stored (negative: given back) as", scale);
  (void)fprintf(out, "  heat residual %.2e of the heat that moved (%.3g J)\n", outcome->measures[MEASURE_heat_residual],
                outcome->heat_residual);
}

/* Where the energy of the fuel went. */
static void print_fuel(FILE *out, const struct outcome *outcome, double scale) {
  struct account account = {false, outcome->fuel_energy};
  (void)fprintf(out, "  %-46s", "chemical energy of the fuel burnt");
  print_amount(out, &account, outcome->fuel_energy, scale);
  (void)fprintf(out, "\n    %-42s  ", "of this work of combustion");
  print_amount(out, &account, outcome->fuel_work, scale);
  (void)fprintf(out, "\n    %-42s  ", "and heat in exhaust, coolant and radiation");
  print_amount(out, &account, outcome->fuel_heat, scale);
  (void)fputc('\n', out);
  if (!isnan(outcome->measures[MEASURE_fuel_residual])) {
    (void)fprintf(out, "  fuel residual %.2e of its energy (%.3g J)\n", outcome->measures[MEASURE_fuel_residual],
                  outcome->fuel_residual);
  }
}

void summary_energy(FILE *out, const struct plant *plant, const struct outcome *outcome) {
  if (plant->ledger_count == 0) {
    (void)fputs("  this circuit keeps no ledger\n", out);
    return;
  }
  struct account accounts[2] = {account_of(plant, outcome, false), {true, 0.0}};
  int account_count = 1;
  if (isfinite(outcome->ledger[0].from_release)) {
    accounts[1] = account_of(plant, outcome, true);
    account_count = 2;
  }
  bool large = accounts[0].total >= 1e3;
  double scale = large ? 1e3 : 1.0;
  (void)fprintf(out, "  %-44s %12s %8s", "", large ? "whole run kJ" : "whole run J", "share");
  if (account_count == 2) {
    (void)fprintf(out, " %12s %8s", large ? "braking kJ" : "braking J", "share");
  }
  (void)fputc('\n', out);
  print_kind(out, plant, outcome, accounts, account_count, LEDGER_SOURCE, "put in by", scale);
  print_kind(out, plant, outcome, accounts, account_count, LEDGER_LOSS, "turned into heat in", scale);
  print_kind(out, plant, outcome, accounts, account_count, LEDGER_STORED, "stored (negative: given back) in", scale);
  if (account_count == 2) {
    bool stopped = !isnan(outcome->measures[MEASURE_stop_time]);
    (void)fprintf(out, "  braking: from %.3f s (%s) to %s\n", outcome->measures[MEASURE_stop_from],
                  outcome->braking_words, stopped ? "the stop" : "the end of the run");
  }
  (void)fputs("  shares are of all that was put in or given back; terms below 0.05 % are in the file\n", out);
  (void)fprintf(out, "  energy residual %.2e of the energy put in (%.3g J)", outcome->measures[MEASURE_energy_residual],
                outcome->energy_residual);
  if (!isnan(outcome->measures[MEASURE_oil_residual])) {
    (void)fprintf(out, ", oil residual %.2e m3", outcome->measures[MEASURE_oil_residual]);
  }
  (void)fputc('\n', out);
  if (outcome->has_heat) {
    print_heat(out, plant, outcome, scale);
  }
  if (outcome->has_fuel) {
    print_fuel(out, outcome, scale);
  }
}
