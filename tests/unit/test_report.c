/* The parts of the report that need no file: fingerprints, base64, curves made small. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base64.h"
#include "check.h"
#include "curve.h"
#include "page_files.h"
#include "sha256.h"

static void expect_hash(const char *text, size_t times, const char *expected) {
  struct sha256 hash;
  unsigned char digest[32];
  char shown[65];
  sha256_start(&hash);
  for (size_t i = 0; i < times; i++) {
    sha256_add(&hash, text, strlen(text));
  }
  sha256_end(&hash, digest);
  sha256_hex(digest, shown);
  assert_string_equal(shown, expected);
}

/* The examples that go with the standard. */
static void hashes(void **state) {
  (void)state;
  expect_hash("", 1, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  expect_hash("abc", 1, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  expect_hash("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 1,
              "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  expect_hash("aaaaaaaaaa", 100000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

/* The examples of RFC 4648. */
static void encodes(void **state) {
  (void)state;
  static const char *const pairs[][2] = {{"", ""},
                                         {"f", "Zg=="},
                                         {"fo", "Zm8="},
                                         {"foo", "Zm9v"},
                                         {"foob", "Zm9vYg=="},
                                         {"fooba", "Zm9vYmE="},
                                         {"foobar", "Zm9vYmFy"}};
  for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    base64_write(out, (const unsigned char *)pairs[i][0], strlen(pairs[i][0]));
    assert_int_equal(fclose(out), 0);
    assert_string_equal(text, pairs[i][1]);
    free(text);
  }
}

enum { SAMPLES = 20000 };

struct history {
  double time[SAMPLES];
  double value[SAMPLES];
};

static struct history *history_of(double (*function)(double time, int sample)) {
  struct history *history = malloc(sizeof *history);
  assert_non_null(history);
  for (int i = 0; i < SAMPLES; i++) {
    history->time[i] = 0.001 * i;
    history->value[i] = function(history->time[i], i);
  }
  return history;
}

/* The line drawn through the curve's points, at a time inside it. */
static double drawn_at(const struct curve *curve, double time) {
  long i = 0;
  while (i + 2 < curve->count && curve->time[i + 1] <= time) {
    i++;
  }
  double share = (time - curve->time[i]) / (curve->time[i + 1] - curve->time[i]);
  return curve->value[i] + share * (curve->value[i + 1] - curve->value[i]);
}

static void expect_within_tolerance(const struct curve *curve, const struct history *history) {
  for (int i = 0; i < SAMPLES; i += 7) {
    double off = fabs(drawn_at(curve, history->time[i]) - history->value[i]);
    assert_true(off <= curve->tolerance * (1.0 + 1e-9) + 1e-12);
  }
}

static double ringing(double time, int sample) {
  double bump = sample == 7777 ? 3.0 : 0.0; /* one sample that must not be lost */
  return 100.0 * exp(-0.3 * time) * sin(5.0 * time) + bump;
}

static void thins_within_its_tolerance(void **state) {
  (void)state;
  struct history *history = history_of(ringing);
  struct curve curve;
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 0, NULL));
  curve_thin(&curve, 1e-4);
  assert_true(curve.count < SAMPLES / 20);
  CHECK_CLOSE(curve.tolerance, 1e-4 * (curve.high - curve.low), 1e-12);
  expect_within_tolerance(&curve, history);
  /* Again, and coarser: what was left out before counts too. */
  long before = curve.count;
  curve_thin(&curve, 1e-3);
  assert_true(curve.count < before);
  expect_within_tolerance(&curve, history);
  curve_free(&curve);
  free(history);
}

static double still(double time, int sample) {
  (void)time;
  (void)sample;
  return 4.5;
}

static double ramp(double time, int sample) {
  (void)sample;
  return time < 5.0 ? 0.0 : time < 6.0 ? time - 5.0 : 1.0;
}

static void keeps_few_points_of_straight_lines(void **state) {
  (void)state;
  struct history *history = history_of(still);
  struct curve curve;
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 0, NULL));
  curve_thin(&curve, 1e-5);
  assert_int_equal(curve.count, 2);
  curve_free(&curve);
  free(history);
  history = history_of(ramp);
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 0, NULL));
  curve_thin(&curve, 1e-6);
  assert_in_range(curve.count, 4, 6);
  expect_within_tolerance(&curve, history);
  curve_free(&curve);
  free(history);
}

/* A number that repeats, between -1 and 1. */
static double noise(double time, int sample) {
  (void)time;
  unsigned word = (unsigned)sample * 2654435761U;
  word ^= word >> 15;
  word *= 2246822519U;
  word ^= word >> 13;
  return sample == 4321 ? 9.0 : sample == 4322 ? -7.0 : (double)word / 2147483648.0 - 1.0;
}

static void cut_noise_keeps_every_peak(void **state) {
  (void)state;
  struct history *history = history_of(noise);
  struct curve curve;
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 0, NULL));
  curve_cut(&curve, 1000);
  assert_in_range(curve.count, 900, 1004);
  assert_int_equal(curve.pieces, 500);
  double high = 0.0;
  double low = 0.0;
  double when = 0.0;
  for (long i = 0; i < curve.count; i++) {
    assert_true(i == 0 || curve.time[i] > curve.time[i - 1]);
    when = curve.value[i] > high ? curve.time[i] : when;
    high = fmax(high, curve.value[i]);
    low = fmin(low, curve.value[i]);
  }
  CHECK_CLOSE(high, 9.0, 0.0);
  CHECK_CLOSE(low, -7.0, 0.0);
  CHECK_CLOSE(when, 4.321, 1e-12);
  curve_free(&curve);
  free(history);
}

static void known_points_stay(void **state) {
  (void)state;
  struct history *history = history_of(ringing);
  /* Between two samples, on a sample (whose place it takes), and two out of order. */
  const struct curve_point known[] = {{12.34567, 250.0}, {3.0, -260.0}, {3.00012, -255.0}};
  struct curve curve;
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 3, known));
  curve_thin(&curve, 1e-3);
  curve_cut(&curve, 40);
  int found = 0;
  for (long i = 0; i < curve.count; i++) {
    assert_true(i == 0 || curve.time[i] > curve.time[i - 1]);
    for (int k = 0; k < 3; k++) {
      found += curve.time[i] == known[k].time && curve.value[i] == known[k].value;
    }
  }
  assert_int_equal(found, 3);
  CHECK_CLOSE(curve.high, 250.0, 0.0);
  CHECK_CLOSE(curve.low, -260.0, 0.0);
  curve_free(&curve);
  free(history);
}

static double with_holes(double time, int sample) {
  return sample >= 500 && sample < 510 ? (double)NAN : sample == 900 ? (double)INFINITY : ringing(time, sample);
}

static void what_is_no_number_stays_a_hole(void **state) {
  (void)state;
  struct history *history = history_of(with_holes);
  struct curve curve;
  assert_true(curve_make(&curve, SAMPLES, history->time, history->value, 0, NULL));
  curve_thin(&curve, 1e-3);
  int holes = 0;
  for (long i = 0; i < curve.count; i++) {
    holes += !isfinite(curve.value[i]);
  }
  assert_int_equal(holes, 11);
  assert_true(isfinite(curve.high) && isfinite(curve.low));
  curve_free(&curve);
  free(history);
}

static void many_curves_fit(void **state) {
  (void)state;
  struct curve curves[3];
  double (*const functions[3])(double, int) = {noise, ringing, ramp};
  for (int c = 0; c < 3; c++) {
    struct history *history = history_of(functions[c]);
    assert_true(curve_make(&curves[c], SAMPLES, history->time, history->value, 0, NULL));
    curve_thin(&curves[c], 1e-5);
    free(history);
  }
  long plain = curves[2].count;
  curves_fit(curves, 3, 3000);
  assert_true(curves[0].count + curves[1].count + curves[2].count <= 3000 + 12);
  assert_true(curves[0].pieces > 0);        /* the noise was cut, */
  assert_int_equal(curves[2].count, plain); /* the plain one left alone */
  CHECK_CLOSE(curves[0].high, 9.0, 0.0);
  for (int c = 0; c < 3; c++) {
    curve_free(&curves[c]);
  }
}

static void short_ones_are_left_alone(void **state) {
  (void)state;
  const double time[] = {0.0, 1.0};
  const double value[] = {2.0, 3.0};
  for (long count = 0; count <= 2; count++) {
    struct curve curve;
    assert_true(curve_make(&curve, count, time, value, 0, NULL));
    curve_thin(&curve, 0.5);
    curve_cut(&curve, 2);
    assert_int_equal(curve.count, count);
    curve_free(&curve);
  }
}

/* A closing tag inside a script or style would end it early. */
static void page_files_can_stand_in_a_page(void **state) {
  (void)state;
  for (int i = 0; i < page_file_count; i++) {
    const struct page_file *file = &page_files[i];
    assert_true(file->size > 100);
    const char *end = file->kind == PAGE_STYLE ? "</style" : "</script";
    for (size_t at = 0; file->kind != PAGE_BODY && at + strlen(end) <= file->size; at++) {
      assert_false(memcmp(file->bytes + at, end, strlen(end)) == 0);
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(hashes),
      cmocka_unit_test(encodes),
      cmocka_unit_test(thins_within_its_tolerance),
      cmocka_unit_test(keeps_few_points_of_straight_lines),
      cmocka_unit_test(cut_noise_keeps_every_peak),
      cmocka_unit_test(known_points_stay),
      cmocka_unit_test(what_is_no_number_stays_a_hole),
      cmocka_unit_test(many_curves_fit),
      cmocka_unit_test(short_ones_are_left_alone),
      cmocka_unit_test(page_files_can_stand_in_a_page),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
