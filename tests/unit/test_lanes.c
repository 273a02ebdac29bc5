/* The transmission in lanes against its plain functions: every number of every lane equal to the last bit, for cases of
 * random laws, parameters, modes and states, eight different ones at once; and what may not run side by side is
 * refused.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "aligned.h"
#include "check.h"
#include "profile.h"
#include "registry.h"
#include "transmission_open.h"

#define PLANT (&transmission_plant)

/* ---- numbers that look random and are the same in every run ---- */

static uint64_t stirred = 88172645463325252u;

static double uniform(void) {
  stirred ^= stirred << 13;
  stirred ^= stirred >> 7;
  stirred ^= stirred << 17;
  return (double)(stirred >> 11) / 9007199254740992.0;
}

static double between(double low, double high) {
  return low + (high - low) * uniform();
}

static bool chance(double share) {
  return uniform() < share;
}

static int one_of(int count) {
  return (int)(uniform() * (double)count);
}

/* ---- tables, two of each kind ---- */

static const double steps[4] = {0.0, 60.0, 150.0, 260.0};
static const double torques[2][4] = {{300.0, 500.0, 640.0, 100.0}, {200.0, 450.0, 700.0, 150.0}};
static const double shares[2][4] = {{0.2, 0.9, 0.4, 1.0}, {0.5, 0.3, 0.8, 0.6}};
static const double places[2][4] = {{90.0, 30.0, 200.0, 280.0}, {-20.0, 40.0, 160.0, 150.0}};
static const double speeds[2][4] = {{2.0, 1.0, 3.0, 0.5}, {0.8, 4.0, 1.5, 2.5}};
static const double indices[2][4] = {{9e5, 3e5, 6e5, 8e5}, {4e5, 9e5, 7e5, 2e5}};
static const double map_speeds[3] = {100.0, 200.0, 300.0};
static const double map_strokes[3] = {0.3, 0.6, 1.0};
static const double map_pressures[3] = {1e7, 2e7, 3e7};
static const double volumetric[2][9] = {{.980, .959, .939, .987, .974, .960, .989, .978, .968},
                                        {.970, .949, .929, .977, .964, .950, .979, .968, .958}};
static const double mechanical[2][9] = {{.928, .938, .942, .881, .914, .925, .815, .877, .900},
                                        {.918, .928, .932, .871, .904, .915, .805, .867, .890}};

static void *member(void *parameters, const char *group_name, const char *name) {
  struct parameter parameter = {registry_group(PLANT->groups, PLANT->group_count, group_name), NULL};
  parameter.field = registry_field(parameter.group, name);
  assert_non_null(parameter.field);
  return registry_member(parameters, parameter);
}

static int choice(void *parameters, const char *group, const char *name) {
  return *(int *)member(parameters, group, name);
}

static void give_table(void *parameters, const char *group, const char *name, const double *values, bool smooth) {
  *(struct profile *)member(parameters, group, name) = (struct profile){4, steps, values, smooth};
}

/* Every other plant has the terms by stroke and speed, so that they stand in some lanes beside lanes without. */
static void give_terms(void *parameters, const char *group) {
  if (one_of(2) == 0) {
    *(double *)member(parameters, group, "churning_coefficient") = 50.0;
    *(double *)member(parameters, group, "friction_at_zero_stroke") = 0.6;
    *(double *)member(parameters, group, "compressed_at_zero_stroke") = 0.5;
    *(double *)member(parameters, group, "compressed_at_full_stroke") = 0.3;
  }
}

static void give_map(void *parameters, const char *group) {
  int k = one_of(2);
  if (choice(parameters, group, "losses") != 0) {
    *(struct map *)member(parameters, group, "efficiency_map") =
        (struct map){3, 3, 1, map_speeds, map_pressures, map_strokes, volumetric[k], mechanical[k]};
  }
}

/* Which tables that a law leaves free are there. */
struct given {
  bool fan;
  bool soil;
  bool grade;
  bool smooth_pedal;
};

/* Tables that the laws ask for, and those that are given, of random contents. */
static void give_tables(void *parameters, const struct given *given) {
  int k = one_of(2);
  if (choice(parameters, "engine", "torque_law") != 0) {
    give_table(parameters, "engine", "torque_curve", torques[k], false);
  }
  if (choice(parameters, "engine", "friction_law") != 0) {
    give_table(parameters, "engine", "friction_curve", torques[1 - k], false);
  }
  if (given->fan) {
    give_table(parameters, "heat", "fan_curve", shares[k], false);
    give_table(parameters, "driver", "pedal", shares[k], false);
  }
  if (given->grade) {
    give_table(parameters, "ground", "grade", shares[k], false);
  }
  if (given->soil && choice(parameters, "tyre", "ground") == 0) {
    give_table(parameters, "ground", "grip", shares[k], false);
    give_table(parameters, "ground", "rolling_resistance", shares[1 - k], false);
  } else if (given->soil) {
    give_table(parameters, "ground", "cone_index", indices[k], false);
  }
  bool two_pedals = choice(parameters, "operator", "layout") != 0;
  if (choice(parameters, "driver", "drives") != 0) {
    static const double legs[4] = {1.0, 2.0, 3.0, 4.0};
    *(struct profile *)member(parameters, "course", "to") = (struct profile){4, legs, places[k], false};
    *(struct profile *)member(parameters, "course", "dwell") = (struct profile){4, legs, torques[k], false};
    *(struct profile *)member(parameters, "course", "load") = (struct profile){4, legs, torques[k], false};
    give_table(parameters, "course", "speed", speeds[k], false);
  } else {
    give_table(parameters, "operator", two_pedals ? "forward_pedal" : "pedal", shares[k],
               given->smooth_pedal && k == 0);
  }
  give_table(parameters, "operator", "brake", shares[1 - k], false);
  give_map(parameters, "pump");
  give_map(parameters, "motor");
  give_map(parameters, "second_motor");
  give_terms(parameters, "pump");
  give_terms(parameters, "motor");
  give_terms(parameters, "second_motor");
}

/* ---- cases ---- */

struct lane_case {
  void *parameters;
  void *model;
  void *mode;
  double time;
  double state[PLANT_STATE_LIMIT];
};

static void lane_case_open(struct lane_case *lane_case) {
  lane_case->parameters = calloc(1, PLANT->parameter_size);
  lane_case->model = calloc(1, PLANT->model_size);
  lane_case->mode = calloc(1, PLANT->mode_size);
  assert_true(lane_case->parameters && lane_case->model && lane_case->mode);
}

static void lane_case_close(struct lane_case *lane_case) {
  free(lane_case->parameters);
  free(lane_case->model);
  free(lane_case->mode);
}

/* Laws at random into parameters that are otherwise the defaults. */
static void choose_laws(void *parameters) {
  registry_defaults(PLANT->groups, PLANT->group_count, parameters);
  for (int g = 0; g < PLANT->group_count; g++) {
    for (int f = 0; f < PLANT->groups[g].field_count; f++) {
      struct parameter parameter = {&PLANT->groups[g], &PLANT->groups[g].fields[f]};
      if (parameter.field->kind == FIELD_CHOICE && chance(0.4)) {
        int count = 1;
        for (const char *c = parameter.field->choices; *c != '\0'; c++) {
          count += *c == '|';
        }
        *(int *)registry_member(parameters, parameter) = one_of(count);
      }
    }
  }
  if (choice(parameters, "operator", "layout") == 2) {
    *(int *)member(parameters, "driver", "drives") = 0;
  }
  if (choice(parameters, "vehicle", "axles") == 0) {
    *(int *)member(parameters, "vehicle", "second_motor") = 0;
  }
  if (choice(parameters, "vehicle", "axles") == 0 || choice(parameters, "vehicle", "second_motor") != 0) {
    *(int *)member(parameters, "transfer_case", "law") = 0;
  }
}

/* Every number within a tenth of where it is and within its bounds, here and there at a bound; but for the grade of an
 * oil, of which there are few, and what goes in whole numbers. */
static void vary(void *parameters) {
  for (int g = 0; g < PLANT->group_count; g++) {
    for (int f = 0; f < PLANT->groups[g].field_count; f++) {
      struct parameter parameter = {&PLANT->groups[g], &PLANT->groups[g].fields[f]};
      const struct field *field = parameter.field;
      if (field->kind != FIELD_REAL || strcmp(field->name, "grade") == 0 || strcmp(field->name, "repeats") == 0) {
        continue;
      }
      double *value = registry_member(parameters, parameter);
      double low = quantity_from_trade(field->quantity, field->low);
      double high = quantity_from_trade(field->quantity, field->high);
      *value *= between(0.9, 1.1);
      *value = chance(0.03) ? low : *value;
      *value = fmin(fmax(*value, low), high);
    }
  }
}

/* A state anywhere: about the start, or far from it; lines empty, oil at any temperature, engine and wheels about rest.
 */
static void scatter(struct lane_case *lane_case, const int *rows, int count) {
  for (int i = 0; i < count; i++) {
    const struct state_row *row = &PLANT->states[rows[i]];
    double *x = &lane_case->state[i];
    *x = *x * between(0.0, 1.5) + row->tolerance * between(-1e4, 1e4);
    if (strstr(row->name, "compression") != NULL) {
      *x = chance(0.1) ? between(-1e-2, 0.0) : (chance(0.06) ? (chance(0.5) ? 0.5 : -2.0) : between(0.0, 0.03));
    } else if (strstr(row->name, "temperature") != NULL) {
      *x = between(180.0, 480.0);
    } else if (strstr(row->name, "speed") != NULL && chance(0.3)) {
      *x = chance(0.2) ? 0.0 : between(-1e-2, 1e-2);
    } else if (strstr(row->name, "distance") != NULL) {
      *x = between(-10.0, 300.0);
    } else if (chance(0.1)) {
      *x = 0.0;
    }
  }
}

/* Prepared, with a mode that moves, stalls and breaks, and a state. False: these laws and numbers cannot be. */
static bool lane_case_ready(struct lane_case *lane_case) {
  if (PLANT->prepare(lane_case->parameters, lane_case->model) != NULL) {
    return false;
  }
  int rows[PLANT_STATE_LIMIT];
  int count = PLANT->active_states(lane_case->model, rows);
  PLANT->start(lane_case->model, lane_case->mode, lane_case->state);
  lane_case->time = between(0.0, 2.0);
  const char *words;
  for (int i = 0; i < 3; i++) {
    PLANT->move(lane_case->model, lane_case->mode, lane_case->time, one_of(PLANT->channel_count), between(0.0, 1.0),
                chance(0.5) ? 1.0 : 0.0);
  }
  for (int which = 0; which < PLANT->guard_count; which++) {
    if (chance(0.2)) {
      PLANT->change(lane_case->model, lane_case->mode, lane_case->time, lane_case->state, which, &words);
    }
  }
  lane_case->time += between(0.0, 0.5);
  scatter(lane_case, rows, count);
  return true;
}

/* ---- lanes ---- */

static int kinds(const struct plant_lanes **list) {
  const struct plant_lanes *widest = PLANT->lanes();
  int count = 0;
  list[count++] = &transmission_lanes_plain;
#ifdef LANES_BY_PROCESSOR
  if (widest != &transmission_lanes_plain) {
    list[count++] = &transmission_lanes_v3;
  }
  if (widest == &transmission_lanes_v4) {
    list[count++] = &transmission_lanes_v4;
  }
#endif
  assert_ptr_equal(widest, list[count - 1]);
  return count;
}

static void *lane_memory(size_t size) {
  void *memory = aligned_zeros(size);
  assert_non_null(memory);
  return memory;
}

static double lane_of(const lanes *row, int lane) {
  return ((const double *)row)[lane];
}

static void set_lane(lanes *row, int lane, double value) {
  ((double *)row)[lane] = value;
}

static long compared;

/* Equal to the last bit; zeros of either sign are one, and so are all that are no numbers. */
static void check_rows(const char *what, const lanes *rows, int lane, const double *plain, int count) {
  for (int i = 0; i < count; i++) {
    double value = lane_of(&rows[i], lane);
    compared++;
    if (!(value == plain[i] || (isnan(value) && isnan(plain[i])))) {
      print_error("%s row %d, lane %d: %.17g, plainly %.17g\n", what, i, lane, value, plain[i]);
      fail();
    }
  }
}

struct lane_set {
  const struct plant_lanes *lanes;
  void *model;
  void *mode;
};

static void set_open(struct lane_set *set, const struct plant_lanes *kind) {
  set->lanes = kind;
  set->model = lane_memory(kind->model_size);
  set->mode = lane_memory(kind->mode_size);
}

static void set_close(struct lane_set *set) {
  free(set->model);
  free(set->mode);
}

static void compare(const struct lane_set *set, const struct lane_case *lane_cases) {
  static lanes t;
  static lanes state[PLANT_STATE_LIMIT];
  static lanes rates[PLANT_STATE_LIMIT];
  static lanes powers[PLANT_LEDGER_LIMIT];
  static lanes signals[PLANT_SIGNAL_LIMIT];
  static lanes alone[PLANT_SIGNAL_LIMIT];
  static lanes events[PLANT_EVENT_LIMIT];
  static lanes guards[PLANT_GUARD_LIMIT];
  int rows[PLANT_STATE_LIMIT];
  int count = PLANT->active_states(lane_cases[0].model, rows);
  for (int lane = 0; lane < LANES; lane++) {
    set_lane(&t, lane, lane_cases[lane].time);
    for (int i = 0; i < count; i++) {
      set_lane(&state[i], lane, lane_cases[lane].state[i]);
    }
  }
  set->lanes->rates(set->model, set->mode, &t, state, rates);
  set->lanes->evaluate(set->model, set->mode, &t, state, &(struct lanes_evaluation){powers, signals, events, guards});
  set->lanes->evaluate(set->model, set->mode, &t, state, &(struct lanes_evaluation){NULL, alone, NULL, NULL});
  for (int lane = 0; lane < LANES; lane++) {
    const struct lane_case *lane_case = &lane_cases[lane];
    double plain[PLANT_SIGNAL_LIMIT];
    PLANT->rates(lane_case->model, lane_case->mode, lane_case->time, lane_case->state, plain);
    check_rows("rates", rates, lane, plain, count);
    PLANT->powers(lane_case->model, lane_case->mode, lane_case->time, lane_case->state, plain);
    check_rows("powers", powers, lane, plain, PLANT->ledger_integrated);
    PLANT->signals_at(lane_case->model, lane_case->mode, lane_case->time, lane_case->state, plain);
    check_rows("signals", signals, lane, plain, PLANT->signal_count);
    check_rows("signals alone", alone, lane, plain, PLANT->signal_count);
    PLANT->events_at(lane_case->model, lane_case->mode, lane_case->time, lane_case->state, plain);
    check_rows("events", events, lane, plain, PLANT->event_count);
    PLANT->guards(lane_case->model, lane_case->mode, lane_case->state, plain);
    check_rows("switches", guards, lane, plain, PLANT->guard_count);
  }
}

/* Eight cases that may run side by side, after `base` in laws. */
static void fill(struct lane_case *lane_cases, const void *base, const struct given *given) {
  for (int lane = 0; lane < LANES; lane++) {
    do {
      memcpy(lane_cases[lane].parameters, base, PLANT->parameter_size);
      vary(lane_cases[lane].parameters);
      give_tables(lane_cases[lane].parameters, given);
    } while (!lane_case_ready(&lane_cases[lane]));
  }
}

static void open_lane_cases(struct lane_case *lane_cases) {
  for (int lane = 0; lane < LANES; lane++) {
    lane_case_open(&lane_cases[lane]);
  }
}

static void close_lane_cases(struct lane_case *lane_cases) {
  for (int lane = 0; lane < LANES; lane++) {
    lane_case_close(&lane_cases[lane]);
  }
}

static struct given given_at_random(void) {
  struct given given = {chance(0.5), chance(0.5), chance(0.7), chance(0.3)};
  return given;
}

/* Laws that can be. */
static void possible_laws(struct lane_case *base, const struct given *given) {
  do {
    choose_laws(base->parameters);
    give_tables(base->parameters, given);
  } while (PLANT->prepare(base->parameters, base->model) != NULL);
}

static void test_eight_different_cases(void **unused) {
  (void)unused;
  enum { LAW_SETS = 150, STATES_EACH = 3 };
  const struct plant_lanes *list[3];
  int kind_count = kinds(list);
  struct lane_case base;
  struct lane_case lane_cases[LANES];
  lane_case_open(&base);
  open_lane_cases(lane_cases);
  for (int k = 0; k < LAW_SETS; k++) {
    struct given given = given_at_random();
    possible_laws(&base, &given);
    fill(lane_cases, base.parameters, &given);
    for (int kind = 0; kind < kind_count; kind++) {
      struct lane_set set;
      set_open(&set, list[kind]);
      for (int lane = 0; lane < LANES; lane++) {
        assert_null(set.lanes->load_model(set.model, lane, lane_cases[lane].model));
        set.lanes->load_mode(set.mode, lane, lane_cases[lane].mode);
      }
      int rows[PLANT_STATE_LIMIT];
      int count = PLANT->active_states(base.model, rows);
      for (int i = 0; i < STATES_EACH; i++) {
        compare(&set, lane_cases);
        for (int lane = 0; lane < LANES; lane++) {
          scatter(&lane_cases[lane], rows, count);
        }
      }
      set_close(&set);
    }
  }
  close_lane_cases(lane_cases);
  lane_case_close(&base);
  assert_true(compared > 300000L * kind_count);
}

/* A lane that is loaded anew takes nothing from the case that was in it, and the other lanes keep theirs. */
static void test_a_lane_is_refilled(void **unused) {
  (void)unused;
  struct lane_case lane_cases[LANES];
  struct given given = {true, true, true, true};
  open_lane_cases(lane_cases);
  for (int k = 0; k < 20; k++) {
    struct lane_set set;
    set_open(&set, PLANT->lanes());
    possible_laws(&lane_cases[0], &given);
    void *base = malloc(PLANT->parameter_size);
    memcpy(base, lane_cases[0].parameters, PLANT->parameter_size);
    fill(lane_cases, base, &given);
    for (int lane = 0; lane < LANES; lane++) {
      assert_null(set.lanes->load_model(set.model, lane, lane_cases[lane].model));
      set.lanes->load_mode(set.mode, lane, lane_cases[lane].mode);
    }
    for (int turn = 0; turn < 8; turn++) {
      struct lane_case *lane_case = &lane_cases[one_of(LANES)];
      int lane = (int)(lane_case - lane_cases);
      do {
        memcpy(lane_case->parameters, base, PLANT->parameter_size);
        vary(lane_case->parameters);
        give_tables(lane_case->parameters, &given);
      } while (!lane_case_ready(lane_case));
      assert_null(set.lanes->load_model(set.model, lane, lane_case->model));
      set.lanes->load_mode(set.mode, lane, lane_case->mode);
      compare(&set, lane_cases);
    }
    free(base);
    set_close(&set);
  }
  close_lane_cases(lane_cases);
}

/* One case in all lanes, at as many states and times. */
static void test_one_case_in_all_lanes(void **unused) {
  (void)unused;
  struct lane_case lane_cases[LANES];
  struct given given = {false, true, true, true};
  open_lane_cases(lane_cases);
  for (int k = 0; k < 40; k++) {
    struct lane_set set;
    set_open(&set, PLANT->lanes());
    possible_laws(&lane_cases[0], &given);
    while (!lane_case_ready(&lane_cases[0])) {
      possible_laws(&lane_cases[0], &given);
    }
    int rows[PLANT_STATE_LIMIT];
    int count = PLANT->active_states(lane_cases[0].model, rows);
    assert_null(set.lanes->load_model(set.model, LANES_ALL, lane_cases[0].model));
    set.lanes->load_mode(set.mode, LANES_ALL, lane_cases[0].mode);
    struct lane_case same[LANES];
    for (int lane = 0; lane < LANES; lane++) {
      same[lane] = lane_cases[0];
      same[lane].time += 1e-3 * lane;
      scatter(&same[lane], rows, count);
    }
    compare(&set, same);
    set_close(&set);
  }
  close_lane_cases(lane_cases);
}

/* A lane whose state has left the numbers says so, and harms no other. */
static void test_a_lane_without_numbers(void **unused) {
  (void)unused;
  struct lane_case lane_cases[LANES];
  struct given given = {true, true, true, false};
  struct lane_set set;
  open_lane_cases(lane_cases);
  lane_case_close(&lane_cases[0]);
  lane_case_open(&lane_cases[0]);
  registry_defaults(PLANT->groups, PLANT->group_count, lane_cases[0].parameters);
  void *base = malloc(PLANT->parameter_size);
  memcpy(base, lane_cases[0].parameters, PLANT->parameter_size);
  fill(lane_cases, base, &given);
  set_open(&set, PLANT->lanes());
  for (int lane = 0; lane < LANES; lane++) {
    assert_null(set.lanes->load_model(set.model, lane, lane_cases[lane].model));
    set.lanes->load_mode(set.mode, lane, lane_cases[lane].mode);
  }
  for (int i = 0; i < PLANT_STATE_LIMIT; i++) {
    lane_cases[3].state[i] = NAN;
    lane_cases[5].state[i] = HUGE_VAL;
  }
  compare(&set, lane_cases);
  free(base);
  set_close(&set);
  close_lane_cases(lane_cases);
}

/* ---- refusals ---- */

static const char *second_refused(const struct plant_lanes *kind, struct lane_case *first, struct lane_case *second) {
  struct lane_set set;
  set_open(&set, kind);
  assert_null(PLANT->prepare(first->parameters, first->model));
  assert_null(PLANT->prepare(second->parameters, second->model));
  assert_null(set.lanes->load_model(set.model, 0, first->model));
  const char *words = set.lanes->load_model(set.model, 1, second->model);
  assert_null(set.lanes->load_model(set.model, 2, first->model));
  set_close(&set);
  return words;
}

static void test_what_may_not_run_side_by_side(void **unused) {
  (void)unused;
  struct lane_case first;
  struct lane_case second;
  lane_case_open(&first);
  lane_case_open(&second);
  registry_defaults(PLANT->groups, PLANT->group_count, first.parameters);
  const struct plant_lanes *kind = PLANT->lanes();
#define AFRESH() memcpy(second.parameters, first.parameters, PLANT->parameter_size)
  AFRESH();
  assert_null(second_refused(kind, &first, &second));
  *(double *)member(second.parameters, "relief", "setting") *= 0.9;
  *(double *)member(second.parameters, "vehicle", "mass") *= 1.1;
  give_table(second.parameters, "operator", "forward_pedal", shares[0], false);
  assert_null(second_refused(kind, &first, &second));

  *(int *)member(second.parameters, "relief", "law") = 1;
  assert_string_equal(second_refused(kind, &first, &second), "other laws than in the other lanes");
  AFRESH();
  *(double *)member(second.parameters, "fluid", "density") *= 1.1;
  *(double *)member(second.parameters, "fluid", "air_content") *= 2.0;
  *(double *)member(second.parameters, "pump", "viscous_exponent") = 0.5;
  *(double *)member(second.parameters, "motor", "viscous_exponent") = 0.5;
  assert_null(second_refused(kind, &first, &second));
  AFRESH();
  give_table(second.parameters, "heat", "fan_curve", shares[0], false);
  assert_string_equal(second_refused(kind, &first, &second), "other tables are there than in the other lanes");
  AFRESH();
  give_table(second.parameters, "ground", "grip", shares[0], false);
  assert_string_equal(second_refused(kind, &first, &second), "other tables are there than in the other lanes");
#undef AFRESH
  lane_case_close(&first);
  lane_case_close(&second);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_eight_different_cases),         cmocka_unit_test(test_a_lane_is_refilled),
      cmocka_unit_test(test_one_case_in_all_lanes),         cmocka_unit_test(test_a_lane_without_numbers),
      cmocka_unit_test(test_what_may_not_run_side_by_side),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
