/* Maps of steady drive: each of their points is a balance that is found again when it is asked for by itself, and their
 * envelopes are smooth but where what ends them changes. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "check.h"
#include "registry.h"
#include "steady.h"

/* One case for each kind of machine, ground and oil among the demo cases; the first are looked at for their envelopes.
 */
static const char *const cases[] = {"climb",  "axle_spins", "wet_clay", "cold_start", "downhill_exhaust_brake",
                                    "lugging"};
enum { CASES = sizeof cases / sizeof cases[0], SPEEDS = 5, SMOOTH_CASES = 3, FINE_SPEEDS = 18 };

typedef bool map_function(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                          struct error *error);

static const struct {
  const char *name;
  map_function *make;
  const char *column; /* what the envelope is of */
  enum machine_input freed;
} maps[] = {
    {"hold back", steady_hold_back, "grade_held", MACHINE_GRADE},
    {"tractive effort", steady_tractive_effort, "pull", MACHINE_PULL},
    {"grade ability", steady_grade_ability, "grade", MACHINE_GRADE},
};
enum { MAPS = sizeof maps / sizeof maps[0] };

static struct machine *open_machine(const char *name) {
  struct error error = {0};
  struct case_data data;
  char path[512];
  (void)snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/%s.yaml", name);
  struct machine *machine = calloc(1, sizeof *machine);
  assert_non_null(machine);
  if (!case_load(path, NULL, 0, &data, &error) || !machine_open(&data, machine, &error)) {
    fail_msg("%s: %s", name, error.text);
  }
  case_free(&data);
  return machine;
}

static void make(int map, struct machine *machine, int speeds, struct steady_answer *answer) {
  struct error error = {0};
  struct steady_options options = {.allowed_engine_speed = NAN,
                                   .hot = machine->hot,
                                   .lowest_speed = 0.3, /* below, friction turns round (docs/physics.md) */
                                   .highest_speed = NAN,
                                   .speed_count = speeds,
                                   .lowest_pull = NAN,
                                   .highest_pull = NAN};
  memset(answer, 0, sizeof *answer);
  if (!maps[map].make(machine, &options, answer, &error)) {
    fail_msg("%s: %s", maps[map].name, error.text);
  }
}

/* The point is the same to a millionth of the pedal and to 1e-7 of what is asked. */
static int ask(struct machine *machine, const char *what, const struct steady_given *given, double pedal, double value,
               enum machine_input freed) {
  struct error error = {0};
  struct machine_point point;
  if (!steady_find(machine, given, &point, &error)) {
    print_error("%s: %s\n", what, error.text);
    return 1;
  }
  /* At the top the pedal is as sharp as the square root of what is lost there. */
  bool same = fabs(point.inputs[MACHINE_PEDAL] - pedal) <= (isnan(given->pedal) ? 3e-5 : 1e-12) &&
              fabs(point.inputs[freed] - value) <= 1e-7 * fabs(value);
  if (!same) {
    print_error("%s: pedal %.9g for %.9g, %.9g for %.9g\n", what, point.inputs[MACHINE_PEDAL], pedal,
                point.inputs[freed], value);
  }
  return same ? 0 : 1;
}

static int ask_again(struct machine *machine, int c, int m, int *asked) {
  struct steady_answer answer;
  make(m, machine, SPEEDS, &answer);
  const struct chart *chart = &answer.charts[0];
  const double *value = chart_find(chart, maps[m].column)->values;
  const double *pedal = chart_find(chart, "pedal")->values;
  const double *speed = chart->axes[0].values;
  const struct chart_column *loop = chart_find(chart, "loop_oil_temperature");
  int faults = 0;
  for (int i = 0; i < chart->counts[0]; i++) {
    if (isnan(value[i])) {
      continue;
    }
    char what[256];
    bool pull = maps[m].freed == MACHINE_PULL;
    struct steady_given given = {speed[i], pull ? NAN : value[i], pull ? value[i] : NAN, NAN};
    struct steady_given by_pedal = {speed[i], pull ? 0.0 : NAN, NAN, pedal[i]};
    machine->warm = loop != NULL && fabs(loop->values[i] - machine->hot) < 1e-6;
    machine_set(machine, MACHINE_GRADE, 0.0);
    machine_set(machine, MACHINE_PULL, 0.0);
    (void)snprintf(what, sizeof what, "%s, %s at %.4g m/s", cases[c], maps[m].name, speed[i]);
    /* Held back on little grip, rear wheels that hardly turn balance the same grade: their dry friction is most at
     * rest. Asked by the grade, the machine is found there; the map's own pedal is asked for all the same. */
    bool has_two = strcmp(what, "axle_spins, hold back at 0.3 m/s") == 0;
    faults += has_two ? 0 : ask(machine, what, &given, pedal[i], value[i], maps[m].freed);
    faults += ask(machine, what, &by_pedal, pedal[i], value[i], maps[m].freed);
    machine->warm = false;
    ++*asked;
  }
  steady_answer_free(&answer);
  return faults;
}

static void points_of_maps_balance_by_themselves(void **state) {
  (void)state;
  int faults = 0;
  int asked = 0;
  for (int c = 0; c < CASES; c++) {
    for (int m = 0; m < MAPS; m++) {
      struct machine *machine = open_machine(cases[c]);
      machine_set(machine, MACHINE_GRADE, 0.0);
      machine_set(machine, MACHINE_BRAKE, 0.0);
      faults += ask_again(machine, c, m, &asked);
      machine_close(machine);
      free(machine);
    }
  }
  assert_int_equal(faults, 0);
  assert_true(asked > CASES * MAPS * SPEEDS / 2);
}

/* Second difference at i over places `apart`, of the largest value. */
static double bend(const double *value, int i, int apart, double scale) {
  return fabs(value[i + apart] - 2.0 * value[i] + value[i - apart]) / scale;
}

/* Do the same things limit at two places: the words, and the ends of pump, motor, fuel and pedal? */
static bool same_limits(const struct chart *chart, int i, int k) {
  static const char *const parts[] = {"pump_stroke", "motor_displacement", "fuel_fraction", "combustion", "pedal"};
  bool same = strcmp(chart_find_texts(chart, "limit")->values[i], chart_find_texts(chart, "limit")->values[k]) == 0;
  for (size_t p = 0; same && p < sizeof parts / sizeof parts[0]; p++) {
    const struct chart_column *part = chart_find(chart, parts[p]);
    double least = INFINITY;
    for (int n = 0; part != NULL && n < chart->counts[0]; n++) {
      least = fmin(least, isnan(part->values[n]) ? least : part->values[n]);
    }
    same = part == NULL || ((part->values[i] > 1.0 - 1e-4) == (part->values[k] > 1.0 - 1e-4) &&
                            (part->values[i] < least + 1e-4) == (part->values[k] < least + 1e-4));
  }
  return same;
}

/* Of a smooth curve a second difference over half the distance is a quarter; at a kink it is a half, and the teeth that
 * a grid of pedals leaves are as large as they were. */
static int teeth_of(const struct chart *chart, const char *column, double noise, int c, int m) {
  const double *value = chart_find(chart, column)->values;
  int count = chart->counts[0];
  double scale = 0.0;
  int teeth = 0;
  for (int i = 0; i < count; i++) {
    scale = isnan(value[i]) ? scale : fmax(scale, fabs(value[i]));
  }
  for (int i = 3; i + 3 < count; i++) {
    bool one = true;
    double wide = 0.0;
    for (int k = i - 3; k <= i + 3; k++) {
      one = one && !isnan(value[k]) && same_limits(chart, i, k);
    }
    for (int k = i - 1; one && k <= i + 1; k++) {
      wide = fmax(wide, bend(value, k, 2, scale));
    }
    if (one && bend(value, i, 1, scale) > 0.4 * wide + noise) {
      print_error("%s, %s, %s at %.4g m/s, ended by %s: bends by %.3g, over twice the distance by %.3g\n", cases[c],
                  maps[m].name, column, chart->axes[0].values[i], chart_find_texts(chart, "limit")->values[i],
                  bend(value, i, 1, scale), wide);
      teeth++;
    }
  }
  return teeth;
}

static void envelopes_are_smooth(void **state) {
  (void)state;
  int teeth = 0;
  for (int c = 0; c < SMOOTH_CASES; c++) {
    for (int m = 0; m < MAPS; m++) {
      struct machine *machine = open_machine(cases[c]);
      struct steady_answer answer;
      make(m, machine, FINE_SPEEDS, &answer);
      teeth += teeth_of(&answer.charts[0], maps[m].column, 1e-5, c, m);
      /* At a smooth top the pedal is as sharp as the square root of what is lost there. */
      teeth += teeth_of(&answer.charts[0], "pedal", 2e-4, c, m);
      steady_answer_free(&answer);
      machine_close(machine);
      free(machine);
    }
  }
  assert_int_equal(teeth, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(points_of_maps_balance_by_themselves),
      cmocka_unit_test(envelopes_are_smooth),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
