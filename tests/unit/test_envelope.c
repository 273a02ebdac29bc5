/* The search for an envelope against boundaries in closed form, and against a brute grid of the same accuracy. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "check.h"
#include "envelope.h"

#define PI 3.14159265358979323846
#define ACCURACY 0.01

enum { LABEL_CIRCLE = 3, LABEL_LINE = 5, LABEL_WAVE = 1, LABEL_HYPERBOLA = 2 };

/* What a shape says of a place: how much is left, and of what. */
struct shape {
  void (*tell)(const double *at, double *left, int *label);
  int asked;
};

static void tell_disc(const double *at, double *left, int *label) {
  *left = 0.35 - hypot(at[0] - 0.45, at[1] - 0.55);
  *label = LABEL_CIRCLE;
}

/* The disc, cut off at the right. */
static void tell_cut_disc(const double *at, double *left, int *label) {
  tell_disc(at, left, label);
  if (0.62 - at[0] < *left) {
    *left = 0.62 - at[0];
    *label = LABEL_LINE;
  }
}

/* Kept between a hyperbola's branch and the corner: speed times grade, as a power that suffices. */
static void tell_hyperbola(const double *at, double *left, int *label) {
  *left = 0.16 - (at[0] + 0.1) * (at[1] + 0.1);
  *label = LABEL_HYPERBOLA;
}

static void tell_wave(const double *at, double *left, int *label) {
  *left = sin(2.0 * PI * 3.3 * at[0] + 0.4);
  *label = LABEL_WAVE;
}

static bool ask(void *context, struct envelope_run *runs, int count, struct error *error) {
  struct shape *shape = context;
  (void)error;
  for (int i = 0; i < count; i++) {
    shape->tell(runs[i].at, &runs[i].margin, &runs[i].label);
    runs[i].kept = runs[i].margin >= 0.0;
  }
  shape->asked += count;
  return true;
}

static struct envelope found(struct shape *shape, int dimensions, int scan) {
  struct envelope envelope;
  struct error error = {0};
  const struct envelope_question question = {dimensions, scan, ACCURACY, shape, ask};
  assert_true(envelope_find(&question, &envelope, &error));
  assert_int_equal(envelope.run_count, shape->asked);
  for (int c = 0; c < envelope.crossing_count; c++) { /* each lies between two runs */
    const struct envelope_run *kept = &envelope.runs[envelope.crossings[c].kept];
    const struct envelope_run *other = &envelope.runs[envelope.crossings[c].other];
    assert_true(kept->kept && !other->kept);
    assert_true(hypot(kept->at[0] - other->at[0], kept->at[1] - other->at[1]) <= ACCURACY * (1.0 + 1e-12));
  }
  return envelope;
}

/* Zeros of the sine: x = (k - 0.4 / pi) / 6.6 for whole k. */
static void one_quantity_finds_every_change(void **state) {
  struct shape shape = {tell_wave, 0};
  struct envelope envelope = found(&shape, 1, 17);
  (void)state;
  assert_int_equal(envelope.crossing_count, 6);
  for (int c = 0; c < 6; c++) {
    double at[2];
    envelope_place(&envelope, c, at);
    CHECK_NEAR(at[0], (c + 1 - 0.4 / PI) / 6.6, ACCURACY);
  }
  assert_true(shape.asked < 45);
  envelope_free(&envelope);
}

static void a_circle_is_one_closed_stretch(void **state) {
  struct shape shape = {tell_disc, 0};
  struct envelope envelope = found(&shape, 2, 9);
  double area = 0.0;
  (void)state;
  assert_int_equal(envelope.stretch_count, 1);
  assert_int_equal(envelope.unresolved, 0);
  assert_true(envelope.stretches[0].closed);
  for (int i = 0; i + 1 < envelope.order_count; i++) {
    double a[2];
    double b[2];
    envelope_place(&envelope, envelope.order[i], a);
    envelope_place(&envelope, envelope.order[i + 1], b);
    area += 0.5 * (a[0] * b[1] - a[1] * b[0]);
    CHECK_NEAR(hypot(a[0] - 0.45, a[1] - 0.55), 0.35, ACCURACY);
    CHECK_NEAR(hypot(0.5 * (a[0] + b[0]) - 0.45, 0.5 * (a[1] + b[1]) - 0.55), 0.35, 2.0 * ACCURACY);
  }
  CHECK_NEAR(fabs(area), PI * 0.35 * 0.35, 2.0 * PI * 0.35 * ACCURACY);
  const struct envelope_question question = {2, 9, ACCURACY, NULL, NULL};
  CHECK_CLOSE(envelope_grid_runs(&question), 101.0 * 101.0, 1e-12);
  assert_true(40 * shape.asked < 101 * 101);
  envelope_free(&envelope);
}

/* The corner between circle and line lies at (0.62, 0.55 +- sqrt(0.35^2 - 0.17^2)). */
static void another_limit_takes_over_at_the_corner(void **state) {
  struct shape shape = {tell_cut_disc, 0};
  struct envelope envelope = found(&shape, 2, 9);
  double rise = sqrt(0.35 * 0.35 - 0.17 * 0.17);
  int corners = 0;
  (void)state;
  assert_int_equal(envelope.unresolved, 0);
  for (int s = 0; s < envelope.stretch_count; s++) {
    const struct envelope_stretch *stretch = &envelope.stretches[s];
    assert_true(stretch->label == LABEL_LINE || stretch->label == LABEL_CIRCLE);
    for (int i = 1; i < stretch->count; i++) {
      double at[2];
      envelope_place(&envelope, envelope.order[stretch->first + i], at);
      double off = stretch->label == LABEL_LINE ? fabs(at[0] - 0.62) : fabs(hypot(at[0] - 0.45, at[1] - 0.55) - 0.35);
      assert_true(off <= ACCURACY);
    }
    if (stretch->label == LABEL_LINE) { /* begins and ends at a corner */
      for (int e = 0; e < 2; e++) {
        double at[2];
        envelope_place(&envelope, envelope.order[stretch->first + (e == 0 ? 0 : stretch->count - 1)], at);
        CHECK_NEAR(fabs(at[1] - 0.55), rise, 4.0 * ACCURACY);
        corners++;
      }
    }
  }
  assert_int_equal(corners, 2);
  envelope_free(&envelope);
}

/* How far a place is from the traced curve. */
static double distance_to(const struct envelope *envelope, const double *at) {
  double least = HUGE_VAL;
  for (int c = 0; c < envelope->chord_count; c++) {
    double a[2];
    double b[2];
    envelope_place(envelope, envelope->chords[c].ends[0], a);
    envelope_place(envelope, envelope->chords[c].ends[1], b);
    double length = hypot(b[0] - a[0], b[1] - a[1]);
    double along = ((at[0] - a[0]) * (b[0] - a[0]) + (at[1] - a[1]) * (b[1] - a[1])) / (length * length);
    along = fmin(fmax(along, 0.0), 1.0);
    least = fmin(least, hypot(at[0] - a[0] - along * (b[0] - a[0]), at[1] - a[1] - along * (b[1] - a[1])));
  }
  return least;
}

/* The same boundary by brute force: wherever two neighbours of a grid with the accuracy for its spacing differ, the
 * curve passes within that spacing and the accuracy. */
static void a_brute_grid_says_the_same(void **state) {
  void (*const shapes[])(const double *, double *, int *) = {tell_disc, tell_cut_disc, tell_hyperbola};
  (void)state;
  for (size_t s = 0; s < sizeof shapes / sizeof shapes[0]; s++) {
    struct shape shape = {shapes[s], 0};
    struct envelope envelope = found(&shape, 2, 9);
    int seen = 0;
    for (int i = 0; i < 101; i++) {
      for (int j = 0; j < 100; j++) {
        const double here[2] = {0.01 * i, 0.01 * j};
        const double next[2] = {0.01 * i, 0.01 * (j + 1)};
        double left[2];
        int label;
        shape.tell(here, &left[0], &label);
        shape.tell(next, &left[1], &label);
        if ((left[0] >= 0.0) != (left[1] >= 0.0)) {
          seen++;
          assert_true(distance_to(&envelope, here) <= 0.01 + 1.5 * ACCURACY);
        }
      }
    }
    assert_true(seen > 50);
    assert_true(20 * shape.asked < 101 * 101);
    envelope_free(&envelope);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(one_quantity_finds_every_change),
      cmocka_unit_test(a_circle_is_one_closed_stretch),
      cmocka_unit_test(another_limit_takes_over_at_the_corner),
      cmocka_unit_test(a_brute_grid_says_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
