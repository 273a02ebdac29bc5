/* Hoses and pipes: pressure over flow and back, and machines that have them: what closes, what chokes, and that a
 * longer, narrower or colder hose never pulls harder. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "pipe.h"
#include "sample.h"
#include "steady.h"

#define DENSITY 870.0

/* Drop of a pipe of random size at random speed; Reynolds numbers from 1e-3 to 1e7. */
struct flowing {
  struct pipe_parameters pipe;
  double flow;
  double viscosity;
};

static struct flowing flowing_of(struct sampler *sampler) {
  DEFAULTS(pipe, pipe);
  pipe.length = sample_decades(sampler, 0.1, 30.0);
  pipe.bore = sample_decades(sampler, 0.004, 0.1);
  pipe.roughness = sample_unit(sampler) < 0.3 ? 0.0 : pipe.bore * sample_decades(sampler, 1e-6, 0.05);
  pipe.minor_loss = sample_unit(sampler) < 0.3 ? 0.0 : sample_decades(sampler, 0.1, 50.0);
  struct flowing flowing = {pipe, 0.0, sample_decades(sampler, 2e-3, 3.0)};
  double reynolds = sample_decades(sampler, 1e-3, 1e7);
  flowing.flow = reynolds * flowing.viscosity / (DENSITY * pipe.bore) * pipe_area(&pipe);
  return flowing;
}

/* Poiseuille to rounding in slow flow; the couplings' part alone beside it. */
static void slow_flow_is_laminar(void **state) {
  (void)state;
  DEFAULTS(pipe, pipe);
  pipe.length = 3.0;
  pipe.minor_loss = 0.0;
  double poiseuille = 128.0 * 0.05 * 3.0 * 1e-4 / (REAL_PI * pow(pipe.bore, 4.0));
  CHECK_CLOSE(pipe_drop(&pipe, 1e-4, 0.05, DENSITY), poiseuille, 1e-12);
  pipe.minor_loss = 4.0;
  double speed = 1e-4 / pipe_area(&pipe);
  CHECK_CLOSE(pipe_drop(&pipe, 1e-4, 0.05, DENSITY), poiseuille + 4.0 * 0.5 * DENSITY * speed * speed, 1e-12);
  CHECK_NEAR(pipe_drop(&pipe, 0.0, 0.05, DENSITY), 0.0, 0.0);
  CHECK_NEAR(pipe_flow(&pipe, 0.0, 0.05, DENSITY), 0.0, 0.0);
}

/* No jump where the formula takes over, and the slope that Newton's method uses is that of the excess. */
static void friction_joins_on_and_tells_its_slope(void **state) {
  (void)state;
  for (double rough = 0.0; rough < 0.06; rough = 2.0 * rough + 1e-5) {
    CHECK_CLOSE(pipe_friction_of(1000.0 * (1.0 + 1e-12), rough).excess, 1.0, 1e-11);
    for (double reynolds = 1500.0; reynolds < 1e7; reynolds *= 1.1) {
      struct pipe_friction at = pipe_friction_of(reynolds, rough);
      double up = pipe_friction_of(reynolds * 1.0001, rough).excess;
      double down = pipe_friction_of(reynolds / 1.0001, rough).excess;
      CHECK_NEAR(at.slope, log(up / down) / (2.0 * log(1.0001)), 1e-6);
      assert_true(at.excess >= 1.0 && at.slope >= 0.0);
    }
  }
}

/* Flow over drop undoes drop over flow, either way round, at any Reynolds number, rough or smooth. */
static void flow_undoes_drop(void **state) {
  (void)state;
  struct sampler sampler = {23u};
  double worst = 0.0;
  for (int i = 0; i < 20000; i++) {
    struct flowing at = flowing_of(&sampler);
    double drop = pipe_drop(&at.pipe, at.flow, at.viscosity, DENSITY);
    double back = pipe_flow(&at.pipe, drop, at.viscosity, DENSITY);
    worst = fmax(worst, fabs(back / at.flow - 1.0));
    assert_true(pipe_flow(&at.pipe, -drop, at.viscosity, DENSITY) == -back);
  }
  CHECK_NEAR(worst, 0.0, 1e-9);
}

/* More of anything that stands in the way never costs less pressure. */
static void more_in_the_way_costs_more(void **state) {
  (void)state;
  struct sampler sampler = {29u};
  for (int i = 0; i < 5000; i++) {
    struct flowing at = flowing_of(&sampler);
    double drop = pipe_drop(&at.pipe, at.flow, at.viscosity, DENSITY);
    struct flowing other = at;
    other.pipe.length *= 1.1;
    assert_true(pipe_drop(&other.pipe, at.flow, at.viscosity, DENSITY) > drop);
    other = at;
    other.pipe.bore /= 1.1; /* the wall's own roughness stays */
    assert_true(pipe_drop(&other.pipe, at.flow, at.viscosity, DENSITY) > drop);
    other = at;
    other.pipe.roughness = 1.1 * at.pipe.roughness + 1e-7;
    assert_true(pipe_drop(&other.pipe, at.flow, at.viscosity, DENSITY) >= drop * (1.0 - 1e-12));
    assert_true(pipe_drop(&at.pipe, 1.01 * at.flow, at.viscosity, DENSITY) > drop);
  }
}

/* ---- a machine with hoses ---- */

static double *state_at(struct bench *bench, const char *name, double value) {
  double *place = bench_state(bench, name);
  *place = value;
  return place;
}

static double loss_of(const struct bench *bench, const char *row) {
  real powers[PLANT_LEDGER_LIMIT];
  const struct plant *plant = bench->data.plant;
  plant->powers(bench->model, bench->mode, bench->time, bench->state, powers);
  for (int i = 0; i < plant->ledger_integrated; i++) {
    if (strcmp(plant->ledger[i].name, row) == 0) {
      return powers[i];
    }
  }
  fail_msg("no row %s", row);
  return NAN;
}

/* In every quadrant the hoses lose flow times drop, each its own, and the motor sees what is left; where the inlet's
 * hose has not the pressure the port falls to vapour pressure and no lower, and less oil passes. */
static void ports_follow_from_the_lines(void **state) {
  (void)state;
  struct bench *bench = bench_open("hoses: {length: 3 m, bore: 20 mm}\nlines: {starved_flow: by_content}\n");
  assert_true(bench->good);
  struct sampler sampler = {31u};
  double displacement = *bench_parameter(bench, "motor", "displacement");
  double vapour = *bench_parameter(bench, "fluid", "floor_pressure");
  double ratio = *bench_parameter(bench, "driveline", "ratio");
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  int choked = 0;
  for (int i = 0; i < 4000; i++) {
    double a = sample_decades(&sampler, 2e3, 4e7);
    double b = sample_decades(&sampler, 2e3, 4e7);
    double share = sample_between(&sampler, 0.3, 1.0);
    double speed = sample_between(&sampler, -500.0, 500.0);
    bench_set_pressure(bench, "line_a_compression", a);
    bench_set_pressure(bench, "line_b_compression", b);
    state_at(bench, "motor_displacement", share);
    state_at(bench, "wheel_speed", speed / ratio);
    state_at(bench, "loop_temperature", sample_between(&sampler, 253.0, 373.0));
    double inlet = speed > 0.0 ? a : b;
    double content = 1.0 + smaller(0.0, *bench_state(bench, speed > 0.0 ? "line_a_compression" : "line_b_compression"));
    double ports = bench_signal(bench, "motor_pressure_difference");
    double lost = bench_signal(bench, "hose_drop");
    double asked = displacement * share * fabs(speed) * content;
    assert_true(lost >= 0.0 && 0.5 * lost <= inlet - vapour + 1e-6);
    CHECK_NEAR(ports, a - b - (speed > 0.0 ? lost : -lost), 1e-6);
    double loss = loss_of(bench, "hoses");
    assert_true(loss >= 0.0 && loss <= lost * asked * (1.0 + 1e-9));
    if (0.5 * lost < (inlet - vapour) * (1.0 - 1e-9)) {
      CHECK_CLOSE(loss, lost * asked, 1e-9);
    } else {
      choked++;
      assert_true(loss < lost * asked);
    }
  }
  assert_true(ambient > vapour && choked > 100);
  bench_close(bench);
}

/* The most that the machine pulls at a speed with these hoses, N. */
static double pull_of(double length, double bore, double speed) {
  char text[512];
  char message[2048];
  struct error error = {0};
  struct case_data data;
  (void)snprintf(text, sizeof text,
                 "machine: machines/forwarder.yaml\nsimulation: {end_time: 1 s}\ntyre: {grip: 2}\n"
                 "hoses: {length: %g m, bore: %g mm}\n",
                 length, 1e3 * bore);
  if (!case_load_text(SWASHLOOP_SOURCE "/cases/test.yaml", text, NULL, 0, &data, &error)) {
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
  struct machine *machine = calloc(1, sizeof *machine);
  assert_non_null(machine);
  assert_true(machine_open(&data, machine, &error));
  struct steady_given given = {speed, 0.0, NAN, 0.6};
  struct machine_point point;
  if (!steady_find(machine, &given, &point, &error)) {
    fail_msg("%s", error.text);
  }
  double pull = point.inputs[MACHINE_PULL];
  machine_close(machine);
  free(machine);
  case_free(&data);
  return pull;
}

/* In steady drive at a given pedal and speed. */
static void longer_or_narrower_hoses_pull_less(void **state) {
  (void)state;
  static const double lengths[] = {0.0, 1.0, 3.0, 8.0};
  static const double bores[] = {0.04, 0.03, 0.025, 0.02};
  for (double speed = 1.5; speed < 4.0; speed += 1.0) {
    double before = HUGE_VAL;
    for (int i = 0; i < 4; i++) {
      double pull = pull_of(lengths[i], 0.025, speed);
      assert_true(i == 0 || pull < before);
      before = pull;
    }
    for (int i = 0; i < 4; i++) {
      double pull = pull_of(3.0, bores[i], speed);
      assert_true(i == 0 || pull < before);
      before = pull;
    }
  }
}

/* At the same pressures in the lines colder oil leaves the driving motor less. Not so where the flow is between
 * turbulent and laminar: what calms it down as it cools loses less, up to a third (f falls from 0.044 to 0.031). */
static void colder_hoses_leave_less(void **state) {
  (void)state;
  struct bench *bench = bench_open("hoses: {length: 3 m, bore: 25 mm, minor_loss: 0}\n");
  assert_true(bench->good);
  struct sampler sampler = {37u};
  double displacement = *bench_parameter(bench, "motor", "displacement");
  double ratio = *bench_parameter(bench, "driveline", "ratio");
  int calms = 0;
  for (int i = 0; i < 1000; i++) {
    double share = sample_between(&sampler, 0.3, 1.0);
    double wheel = sample_between(&sampler, 0.1, 8.0);
    bench_set_pressure(bench, "line_a_compression", sample_between(&sampler, 2e7, 4e7));
    bench_set_pressure(bench, "line_b_compression", 2.5e6);
    state_at(bench, "motor_displacement", share);
    state_at(bench, "wheel_speed", wheel);
    double warm = sample_between(&sampler, 260.0, 370.0);
    state_at(bench, "loop_temperature", warm);
    double lost = bench_signal(bench, "hose_drop");
    double speed = displacement * share * wheel * ratio / (0.25 * REAL_PI * 0.025 * 0.025);
    double reynolds = 870.0 * speed * 0.025 / fluid_viscosity(&bench->oil.viscosity, warm);
    state_at(bench, "loop_temperature", warm - sample_between(&sampler, 1.0, 30.0));
    double colder = bench_signal(bench, "hose_drop");
    if (reynolds < 2000.0) {
      assert_true(colder > lost);
    } else {
      calms += colder < lost;
      assert_true(colder > 0.6 * lost);
    }
  }
  assert_true(calms > 0);
  bench_close(bench);
}

/* Energy, oil and heat of whole runs with hoses and drained cases, cold and braking, whatever the nodes. */
static void runs_with_hoses_and_drained_cases_close(void **state) {
  (void)state;
  static const char *const paths[] = {SWASHLOOP_SOURCE "/cases/cold_hoses.yaml",
                                      SWASHLOOP_SOURCE "/cases/downhill.yaml"};
  static const char *const nodes[] = {"heat.nodes=two", "heat.nodes=four"};
  static const char *const returns[] = {"relief.return_to=line", "relief.return_to=gallery"};
  for (int i = 0; i < 8; i++) {
    const char *sets[] = {nodes[i % 2],
                          returns[i / 2 % 2],
                          "hoses.length=3 m",
                          "hoses.bore=28 mm",
                          "lines.cases=drained",
                          "drain.length=3 m",
                          "drain.bore=19 mm",
                          "simulation.relative_tolerance=1e-8",
                          "simulation.pressure_tolerance=10 Pa", /* what is left at 300 Pa is the integrator's */
                          "simulation.end_time=16 s"};
    struct error error = {0};
    struct case_data data;
    struct outcome outcome;
    assert_true(case_load(paths[i / 4], sets, 10, &data, &error));
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    assert_int_equal(outcome.status, RUN_COMPLETE);
    CHECK_NEAR(outcome.measures[MEASURE_energy_residual], 0.0, 1e-6);
    CHECK_NEAR(outcome.measures[MEASURE_heat_residual], 0.0, 1e-6);
    CHECK_NEAR(outcome.measures[MEASURE_oil_residual], 0.0, 1e-10);
    assert_true(outcome.measures[MEASURE_peak_case_pressure] > 0.0);
    outcome_free(&outcome);
    case_free(&data);
  }
}

/* What goes into the cases comes out through the drain line or is kept; it warms by the drop that it loses there. */
static void drained_cases_keep_what_does_not_drain(void **state) {
  (void)state;
  struct bench *bench = bench_open("lines: {cases: drained, case_volume: 6 L}\ndrain: {length: 3 m, bore: 19 mm}\n");
  assert_true(bench->good);
  struct sampler sampler = {41u};
  double ambient = *bench_parameter(bench, "fluid", "ambient_pressure");
  for (int i = 0; i < 500; i++) {
    double cases = sample_decades(&sampler, 2e4, 1e6);
    bench_set_pressure(bench, "case_compression", cases);
    bench_set_pressure(bench, "line_a_compression", sample_between(&sampler, 1e6, 4e7));
    state_at(bench, "tank_temperature", sample_between(&sampler, 253.0, 350.0));
    double drained = bench_signal(bench, "case_flow");
    assert_true(drained * (cases - ambient) >= 0.0);
    CHECK_CLOSE(loss_of(bench, "case_return"), drained * (cases - ambient), 1e-9);
    double kept = bench_rate(bench, "case_compression") * 6e-3;
    double from_tank = bench_rate(bench, "tank_oil") + bench_signal(bench, "charge_flow");
    CHECK_NEAR(from_tank, drained, 1e-12);
    double loop = bench_rate(bench, "line_a_compression") * 3.5e-3 + bench_rate(bench, "line_b_compression") * 3.5e-3 +
                  bench_rate(bench, "charge_compression") * 1.2e-3;
    CHECK_NEAR(loop + kept + bench_rate(bench, "tank_oil"), 0.0, 1e-12); /* no oil comes or goes */
  }
  bench_close(bench);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(slow_flow_is_laminar),
                                     cmocka_unit_test(friction_joins_on_and_tells_its_slope),
                                     cmocka_unit_test(flow_undoes_drop),
                                     cmocka_unit_test(more_in_the_way_costs_more),
                                     cmocka_unit_test(ports_follow_from_the_lines),
                                     cmocka_unit_test(longer_or_narrower_hoses_pull_less),
                                     cmocka_unit_test(colder_hoses_leave_less),
                                     cmocka_unit_test(runs_with_hoses_and_drained_cases_close),
                                     cmocka_unit_test(drained_cases_keep_what_does_not_drain)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
