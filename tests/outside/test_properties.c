/* Invariants over random cases around the demo machine, all laws, all quadrants, some faults: the ledger closes, the
 * oil closes, no element ever gives power, forward and reverse are mirror images, no signal leaves the numbers, nothing
 * crashes or fails. Case number k is the same on every machine. SWASHLOOP_RANDOM_CASES=1000 runs more of them,
 * SWASHLOOP_RANDOM_FIRST starts elsewhere, SWASHLOOP_RANDOM_ONLY=invariants_hold runs that test alone (? and * as in
 * file names), SWASHLOOP_RANDOM_SHOW prints every case; one that fails is printed anyway. SWASHLOOP_RANDOM_RESIDUALS
 * prints what each run leaves open: number, mirrored pair, method, tolerance, energy, heat (both relative), oil (m3).
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "plant.h"
#include "random_case.h"
#include "registry.h"
#include "run.h"
#include "sample.h"
#include "units.h"

enum { USUAL_CASES = 60 };

/* What a run may leave of energy and heat. Between corners of forty parameters one case in twenty-five leaves more than
 * CLOSES at the default tolerance: that is the error of the states only if it goes away with the tolerance, and so
 * these run again at TIGHT (`closes_when_tight`). */
#define MAY_LEAVE 1e-5
#define CLOSES 1e-6
#define TIGHT 5e-9
/* What the laws may leave of all powers at one instant: rounding of the stores' differences. */
#define LAWS_CLOSE 2e-5

/* ---- watching a run ---- */

static const char *gave; /* the loss that gave power, if any did */
static double gave_most; /* W */
static double gave_when;

/* A valve's opening ends within the integrator's tolerance of nothing, on either side: some hundred pascals of opening
 * at full pressure. A starved line draws its leakage back from the case, whose pressure is constant: the return to the
 * tank then runs backwards by some watts. All other losses may be off by rounding. */
static double allowed(const char *loss) {
  return strncmp(loss, "relief", 6) == 0 || strcmp(loss, "charge_relief") == 0 || strcmp(loss, "case_return") == 0
             ? 50.0
             : 1e-3;
}

static int instants;             /* that were looked at */
static const char *unknown_rate; /* one that depends on a state that the pattern of the Jacobian does not know of */
static const char *unknown_state;

/* Every hundredth instant: a small change of a state moves no rate but those that the pattern knows. */
static void watch_pattern(const void *model, const void *mode, real t, const real *state) {
  const struct plant *plant = &transmission_plant;
  int rows[PLANT_STATE_LIMIT];
  uint64_t pattern[PLANT_STATE_LIMIT];
  double moved[PLANT_STATE_LIMIT];
  double here[PLANT_STATE_LIMIT];
  double there[PLANT_STATE_LIMIT];
  if (instants++ % 100 != 50) {
    return;
  }
  int n = plant->active_states(model, rows);
  plant->sparsity_pattern(model, pattern);
  memcpy(moved, state, (size_t)n * sizeof *moved);
  plant->rates(model, mode, t, moved, here);
  for (int j = 0; j < n; j++) {
    moved[j] += 50.0 * plant->states[rows[j]].tolerance;
    plant->rates(model, mode, t, moved, there);
    moved[j] = state[j];
    for (int i = 0; i < n; i++) {
      if (there[i] != here[i] && (pattern[i] >> j & 1) == 0) {
        unknown_rate = plant->states[rows[i]].name;
        unknown_state = plant->states[rows[j]].name;
      }
    }
  }
}

static double open_most; /* W over all powers: what the laws themselves leave open of energy or heat */
static double open_when;
static const char *open_of;

/* Every hundredth instant: by the rates of the states both balances close, whatever an integrator makes of them later.
 * The stores' rates are central differences along the motion, right to some 1e-6 of the powers. */
static void watch_balances(const void *model, const void *mode, real t, const real *state) {
  const struct plant *plant = &transmission_plant;
  const double step = 1e-7; /* s: short for the fastest of the states */
  double rates[PLANT_STATE_LIMIT];
  double moved[PLANT_STATE_LIMIT];
  double powers[PLANT_LEDGER_LIMIT];
  double after[PLANT_LEDGER_LIMIT];
  double before[PLANT_LEDGER_LIMIT];
  int rows[PLANT_STATE_LIMIT];
  double energy = 0.0;
  double heat = 0.0;
  double size = 1e3; /* W: of a machine at rest nothing is asked */
  if (instants % 100 != 50) {
    return;
  }
  int n = plant->active_states(model, rows);
  plant->rates(model, mode, t, state, rates);
  plant->powers(model, mode, t, state, powers);
  for (int way = -1; way <= 1; way += 2) {
    for (int i = 0; i < n; i++) {
      moved[i] = state[i] + way * step * rates[i];
    }
    plant->stored(model, moved, way < 0 ? before : after);
  }
  for (int i = 0; i < plant->ledger_count; i++) {
    int k = i - plant->ledger_integrated;
    double power = k < 0 ? powers[i] : (after[k] - before[k]) / (2.0 * step);
    enum ledger_kind kind = plant->ledger[i].kind;
    if (kind != LEDGER_OIL_LOST) {
      size += fabs(power);
    }
    if (kind == LEDGER_SOURCE) {
      energy += power;
    } else if (ledger_is_loss(kind) || kind == LEDGER_STORED_RATE || kind == LEDGER_STORED) {
      energy -= power;
    }
    if (kind == LEDGER_LOSS_TO_OIL) {
      heat += power;
    } else if (ledger_balance_of(kind) == BALANCE_OF_HEAT) {
      heat -= power;
    }
  }
  double worst = fmax(fabs(energy), fabs(heat)) / size;
  if (!(worst <= open_most)) {
    open_most = worst;
    open_when = t;
    open_of = fabs(energy) > fabs(heat) ? "energy" : "heat";
  }
}

/* The plant with an eye on its losses: wherever the run evaluates its signals no loss is negative. */
static void watched_signals(const void *model, const void *mode, real t, const real *state, real *signals) {
  real powers[PLANT_LEDGER_LIMIT];
  transmission_plant.signals_at(model, mode, t, state, signals);
  watch_balances(model, mode, t, state);
  watch_pattern(model, mode, t, state);
  transmission_plant.powers(model, mode, t, state, powers);
  for (int i = 0; i < transmission_plant.ledger_integrated; i++) {
    const struct ledger_row *row = &transmission_plant.ledger[i];
    if (ledger_is_loss(row->kind) && powers[i] < gave_most && powers[i] < -allowed(row->name)) {
      gave_most = powers[i];
      gave_when = t;
      gave = row->name;
    }
  }
}

struct signals_seen {
  int count;
  bool bad;
  double when;
  const char *name;
};

static bool inspect(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct signals_seen *seen = context;
  (void)error;
  for (int s = 0; s < seen->count; s++) {
    for (int i = 0; i < count; i++) {
      if (!isfinite(values[s][i]) && !seen->bad) {
        seen->bad = true;
        seen->when = time[i];
        seen->name = transmission_plant.signals[s].name;
      }
    }
  }
  return true;
}

/* Runs the case; returns how many complaints there were, each printed. */
static int run_plan(const struct plan *plan, struct outcome *outcome, bool *ran) {
  struct text text;
  struct error error = {0};
  struct case_data data;
  char message[2048];
  int complaints = 0;
  *ran = false;
  write_case(plan, &text);
  if (getenv("SWASHLOOP_RANDOM_SHOW") != NULL) {
    (void)printf("# case %u%s%s\n%s", plan->number, plan->mirrored ? ", mirrored" : "",
                 plan->rosenbrock ? ", by the linearly implicit method" : "", text.bytes);
  }
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/machines/random.yaml", text.bytes, NULL, 0, &data, &error)) {
    (void)fprintf(stderr, "case %u is refused: %s\n%s\n", plan->number, error_text(&error, message, sizeof message),
                  text.bytes);
    return 1;
  }
  struct plant watched = transmission_plant;
  watched.signals_at = watched_signals;
  data.plant = &watched;
  gave = NULL;
  gave_most = 0.0;
  open_most = 0.0;
  instants = 0;
  unknown_rate = NULL;
  struct signals_seen seen = {.count = watched.signal_count};
  struct recorder recorder = {&seen, inspect};
  if (!run_case(&data, &recorder, NULL, outcome, &error)) {
    (void)fprintf(stderr, "case %u cannot start: %s\n%s\n", plan->number, error_text(&error, message, sizeof message),
                  text.bytes);
    case_free(&data);
    return 1;
  }
  *ran = true;
  double energy = outcome->measures[MEASURE_energy_residual];
  double oil = outcome->measures[MEASURE_oil_residual];
  if (getenv("SWASHLOOP_RANDOM_RESIDUALS") != NULL) {
    (void)printf("residuals %u %d %d %g %.3g %.3g %.3g\n", plan->number, plan->mirrors, plan->rosenbrock,
                 plan->tolerance, energy, outcome->measures[MEASURE_heat_residual], oil);
  }
  if (outcome->status == RUN_FAILED) {
    (void)fprintf(stderr, "case %u fails at %.6g s: %s\n", plan->number, outcome->end_time, outcome->error.text);
    complaints++;
  }
  double heat = outcome->measures[MEASURE_heat_residual];
  bool tight = plan->tolerance > 0.0;
  if (!(energy < (tight ? 100.0 * plan->tolerance : MAY_LEAVE)) || !(heat < (tight ? CLOSES : MAY_LEAVE))) {
    (void)fprintf(stderr, "case %u: energy residual %.3g, heat residual %.3g\n", plan->number, energy, heat);
    complaints++;
  }
  double fuel = outcome->measures[MEASURE_fuel_residual];
  if (outcome->has_fuel && outcome->measures[MEASURE_fuel_used] > 0.0 && !(fuel < (tight ? CLOSES : MAY_LEAVE))) {
    (void)fprintf(stderr, "case %u: fuel residual %.3g\n", plan->number, fuel);
    complaints++;
  }
  double least = outcome->measures[MEASURE_least_line_oil];
  if (!(least >= 0.0)) {
    (void)fprintf(stderr, "case %u: a line holds %.3g m3 of oil\n", plan->number, least);
    complaints++;
  }
  if (!(fabs(oil) < 1e-8)) {
    (void)fprintf(stderr, "case %u: oil residual %.3g m3\n", plan->number, oil);
    complaints++;
  }
  if (gave != NULL) {
    (void)fprintf(stderr, "case %u: loss %s gives %.6g W at %.6g s\n", plan->number, gave, -gave_most, gave_when);
    complaints++;
  }
  if (!(open_most < LAWS_CLOSE)) {
    (void)fprintf(stderr, "case %u: %s does not close at %.6g s, by %.3g of the powers\n", plan->number, open_of,
                  open_when, open_most);
    complaints++;
  }
  if (unknown_rate != NULL) {
    (void)fprintf(stderr, "case %u: the rate of %s depends on %s, and the pattern does not know\n", plan->number,
                  unknown_rate, unknown_state);
    complaints++;
  }
  if (seen.bad) {
    (void)fprintf(stderr, "case %u: signal %s is no number at %.6g s\n", plan->number, seen.name, seen.when);
    complaints++;
  }
  if (complaints > 0) {
    (void)fprintf(stderr, "%s\n", text.bytes);
  }
  case_free(&data);
  return complaints;
}

static unsigned number_of(const char *name, unsigned usual) {
  const char *text = getenv(name);
  return text != NULL ? (unsigned)strtoul(text, NULL, 10) : usual;
}

static bool closes(const struct outcome *outcome) {
  return outcome->measures[MEASURE_energy_residual] < CLOSES && outcome->measures[MEASURE_heat_residual] < CLOSES;
}

/* Does the case close at a hundredth of the tolerance? */
static bool closes_when_tight(const struct plan *plan) {
  struct plan tight = *plan;
  struct outcome outcome;
  bool ran;
  tight.tolerance = TIGHT;
  bool good = run_plan(&tight, &outcome, &ran) == 0 && ran && closes(&outcome);
  if (ran) {
    if (!good) {
      (void)fprintf(stderr, "case %u: at a tolerance of %g energy residual %.3g, heat residual %.3g\n", plan->number,
                    TIGHT, outcome.measures[MEASURE_energy_residual], outcome.measures[MEASURE_heat_residual]);
    }
    outcome_free(&outcome);
  }
  return good;
}

static void hold_invariants(bool rosenbrock, unsigned count) {
  unsigned first = number_of("SWASHLOOP_RANDOM_FIRST", 0);
  int bad = 0;
  unsigned again = 0;
  for (unsigned k = first; k < first + count; k++) {
    struct plan plan = {.number = k, .rosenbrock = rosenbrock};
    struct outcome outcome;
    bool ran;
    int complaints = run_plan(&plan, &outcome, &ran);
    if (ran && complaints == 0 && !closes(&outcome)) {
      again++;
      complaints = !closes_when_tight(&plan);
    }
    bad += complaints > 0;
    if (ran) {
      outcome_free(&outcome);
    }
  }
  print_message("%u cases, %u of them left more than %g of energy or heat and ran again\n", count, again, CLOSES);
  if (bad > 0) {
    fail_msg("%d of %u random cases break an invariant", bad, count);
  }
}

static void invariants_hold(void **state) {
  (void)state;
  hold_invariants(false, number_of("SWASHLOOP_RANDOM_CASES", USUAL_CASES));
}

static void invariants_hold_by_the_other_method(void **state) {
  (void)state;
  hold_invariants(true, number_of("SWASHLOOP_RANDOM_CASES", USUAL_CASES) / 2);
}

/* Cases that long soaks found and that were mended. The first two press a brake that winds up a thousand times more
 * stiffly at first than later: a Jacobian kept too long let the brake's torque drift off by per cents (2055: 45 J of
 * brake loss missing in the ledger), or no step succeed any more (10354). In 20528 a poppet strikes its seat: the run
 * failed as the step was not cut often enough. */
static void found_cases_stay_mended(void **state) {
  (void)state;
  static const unsigned found[] = {2055, 10354, 20528};
  for (size_t i = 0; i < sizeof found / sizeof found[0]; i++) {
    struct plan plan = {.number = found[i]};
    struct outcome outcome;
    bool ran;
    assert_int_equal(run_plan(&plan, &outcome, &ran), 0);
    assert_true(ran);
    assert_true(outcome.measures[MEASURE_energy_residual] < 1e-5);
    outcome_free(&outcome);
  }
}

/* An engine that comes to rest stops from 0.06 rad/s at once: its last motion, 0.5 x 1.8 kg m2 x (0.06 rad/s)2 = 3.24
 * mJ, is its friction's. In this case, which turns over 33 kJ, it was missing: 1.0e-7 of them at every tolerance. */
static void stopped_engine_leaves_its_motion_to_friction(void **state) {
  (void)state;
  struct plan plan = {.number = 202289, .tolerance = 5e-10};
  struct outcome outcome;
  bool ran;
  assert_int_equal(run_plan(&plan, &outcome, &ran), 0);
  assert_true(ran);
  assert_true(outcome.measures[MEASURE_engine_speed_min] == 0.0);
  assert_true(outcome.measures[MEASURE_energy_residual] < 1e-8);
  outcome_free(&outcome);
}

static const int mirror_pairs[][2] = {
    {MEASURE_peak_line_a_pressure, MEASURE_peak_line_b_pressure},
    {MEASURE_peak_line_b_pressure, MEASURE_peak_line_a_pressure},
    {MEASURE_relief_a_peak_flow, MEASURE_relief_b_peak_flow},
    {MEASURE_engine_speed_max, MEASURE_engine_speed_max},
    {MEASURE_engine_speed_min, MEASURE_engine_speed_min},
    {MEASURE_lowest_low_side_pressure, MEASURE_lowest_low_side_pressure},
    {MEASURE_vehicle_speed_max, MEASURE_vehicle_speed_max},
    {MEASURE_loop_oil_temperature_max, MEASURE_loop_oil_temperature_max},
};

/* How far apart two runs are, the other one perhaps a mirror image, in parts of their numbers. */
static double apart(const struct outcome *one, const struct outcome *other, bool mirrored, const char **worst) {
  double there = one->measures[MEASURE_vehicle_distance_end];
  double other_there = other->measures[MEASURE_vehicle_distance_end];
  double most = fabs(mirrored ? there + other_there : there - other_there) / fmax(fabs(there), 0.1);
  *worst = "vehicle_distance_end";
  for (size_t i = 0; i < sizeof mirror_pairs / sizeof mirror_pairs[0]; i++) {
    const struct signal *row = &measure_rows[mirror_pairs[i][0]];
    double a = one->measures[mirror_pairs[i][0]];
    double b = other->measures[mirror_pairs[i][mirrored ? 1 : 0]];
    double off = fabs(a - b) / fmax(fabs(a), row->quantity == QUANTITY_PRESSURE ? 1e5 : 1e-3);
    if (!(off <= most)) {
      most = off;
      *worst = row->name;
    }
  }
  return most;
}

/* How far apart two plans' runs are; infinite when one of both does not run. */
static double plans_apart(const struct plan *plan, const struct plan *twin, const char **worst) {
  struct outcome one;
  struct outcome other;
  bool ran;
  bool twin_ran;
  double error = HUGE_VAL;
  *worst = "nothing: one of both does not run";
  (void)run_plan(plan, &one, &ran);
  (void)run_plan(twin, &other, &twin_ran);
  if (ran && twin_ran) {
    error = apart(&one, &other, plan->mirrored != twin->mirrored, worst);
  }
  if (ran) {
    outcome_free(&one);
  }
  if (twin_ran) {
    outcome_free(&other);
  }
  return error;
}

static double mirror_error(unsigned number, double tolerance, const char **worst) {
  struct plan plan = {.number = number, .mirrors = true, .tolerance = tolerance};
  struct plan turned = {.number = number, .mirrored = true, .mirrors = true, .tolerance = tolerance};
  return plans_apart(&plan, &turned, worst);
}

static double method_error(unsigned number, double tolerance, const char **worst) {
  struct plan plan = {.number = number, .tolerance = tolerance};
  struct plan other = {.number = number, .tolerance = tolerance, .rosenbrock = true};
  return plans_apart(&plan, &other, worst);
}

/* Of `count` cases, those that are apart by `error_of`. What a tight tolerance leaves (a machine that rocks at
 * standstill) a tighter one must take away; where a machine hunts (the limiter law both_sides may) and errors grow a
 * million times within a run, four fifths of it. */
static int count_apart(unsigned count, double (*error_of)(unsigned, double, const char **), double tight,
                       double tighter) {
  unsigned first = number_of("SWASHLOOP_RANDOM_FIRST", 0);
  int bad = 0;
  for (unsigned k = first; k < first + count; k++) {
    const char *worst;
    double error = error_of(k, tight, &worst);
    double finer = error <= 1e-4 ? error : error_of(k, tighter, &worst);
    if (!(finer <= 1e-4 || finer <= 0.2 * error)) { /* what is left must go away still */
      error = finer;
      finer = error_of(k, fmax(0.1 * tighter, 1e-13), &worst);
    }
    if (!(finer <= 1e-4 || finer <= 0.2 * error)) {
      (void)fprintf(stderr, "case %u: %s is apart by %.3g\n", k, worst, finer);
      bad++;
    }
  }
  return bad;
}

/* Forward and reverse swapped, lines swapped, the ground turned round: the same numbers to integration error. */
static void reverse_mirrors_forward(void **state) {
  (void)state;
  unsigned count = number_of("SWASHLOOP_RANDOM_CASES", USUAL_CASES) / 4;
  int bad = count_apart(count, mirror_error, 1e-10, 1e-12);
  if (bad > 0) {
    fail_msg("%d of %u random cases are no mirror images", bad, count);
  }
}

/* The multistep and the linearly implicit method share no line of code and no error: the same numbers by both. */
static void both_methods_agree(void **state) {
  (void)state;
  unsigned count = number_of("SWASHLOOP_RANDOM_CASES", USUAL_CASES) / 4;
  int bad = count_apart(count, method_error, 1e-8, 1e-10);
  if (bad > 0) {
    fail_msg("%d of %u random cases differ from method to method", bad, count);
  }
}

static int close_units(void **state) {
  (void)state;
  return 0;
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(invariants_hold),
      cmocka_unit_test(found_cases_stay_mended),
      cmocka_unit_test(stopped_engine_leaves_its_motion_to_friction),
      cmocka_unit_test(invariants_hold_by_the_other_method),
      cmocka_unit_test(reverse_mirrors_forward),
      cmocka_unit_test(both_methods_agree),
  };
  if (getenv("SWASHLOOP_RANDOM_ONLY") != NULL) {
    cmocka_set_test_filter(getenv("SWASHLOOP_RANDOM_ONLY"));
  }
  return cmocka_run_group_tests(tests, NULL, close_units);
}
