/* Hoses and pipes: pressure over flow and back, and machines that have them: what closes, what chokes, and that a
 * longer, narrower or colder hose never pulls harder. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "pipe.h"
#include "sample.h"

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

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(slow_flow_is_laminar),
                                     cmocka_unit_test(friction_joins_on_and_tells_its_slope),
                                     cmocka_unit_test(flow_undoes_drop), cmocka_unit_test(more_in_the_way_costs_more),
                                     cmocka_unit_test(ports_follow_from_the_lines)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
