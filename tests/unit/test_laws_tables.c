/* Tables from CSV files: columns, units, faults with their place, heights made into grades, and long tables. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "case.h"
#include "check.h"
#include "ground.h"
#include "registry.h"

static char folder[] = "/tmp/laws_tables_XXXXXX";
static char csv_path[64];
static char case_path[64];

static int make_folder(void **state) {
  (void)state;
  if (mkdtemp(folder) == NULL) {
    return 1;
  }
  (void)snprintf(csv_path, sizeof csv_path, "%s/track.csv", folder);
  (void)snprintf(case_path, sizeof case_path, "%s/case.yaml", folder);
  return 0;
}

static int remove_folder(void **state) {
  (void)state;
  (void)unlink(csv_path);
  (void)unlink(case_path);
  return rmdir(folder);
}

static void write_text(const char *path, const char *text) {
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_true(fputs(text, file) >= 0);
  assert_int_equal(fclose(file), 0);
}

static bool load(const char *csv, const char *case_text, struct case_data *data, struct error *error) {
  write_text(csv_path, csv);
  write_text(case_path, case_text);
  return case_load(case_path, NULL, 0, data, error);
}

static const struct profile *table_of(const struct case_data *data, const char *section, const char *field) {
  const struct group *group = registry_group(data->plant->groups, data->plant->group_count, section);
  return registry_member_const(data->parameters, (struct parameter){group, registry_field(group, field)});
}

static struct case_data loaded(const char *csv, const char *case_text) {
  struct case_data data;
  struct error error = {0};
  if (!load(csv, case_text, &data, &error)) {
    print_error("%s:%d:%d: %s\n", error.file, error.line, error.column, error.text);
    fail();
  }
  return data;
}

#define GRADE "ground:\n  grade: {file: track.csv}\n"

/* Units, blanks, comments, quotes, line ends, a byte-order mark, columns in any order. */
static void test_reads_columns(void **state) {
  (void)state;
  struct case_data data = loaded("\xEF\xBB\xBF# a road\r\n\"distance [m]\", place, grade [%]\r\n0, a, 5\r\n\r\n"
                                 "  1.5 , \"b, c\" , -2.5 \r\n3e1,d,1",
                                 GRADE);
  const struct profile *grade = table_of(&data, "ground", "grade");
  assert_int_equal(grade->count, 3);
  CHECK_NEAR(grade->argument[0], 0.0, 0.0);
  CHECK_NEAR(grade->argument[1], 1.5, 0.0);
  CHECK_NEAR(grade->argument[2], 30.0, 0.0);
  CHECK_NEAR(grade->value[0], 0.05, 0.0);
  CHECK_NEAR(grade->value[1], -0.025, 0.0);
  CHECK_NEAR(grade->value[2], 0.01, 0.0);
  case_free(&data);
  /* columns by name; other units; a table over time; a step */
  data = loaded("rise [%], way [km], clock [ms], foot [1]\n0, 0, 0, 0\n8, 0.001, 500, 0.5\n8,1,500,0.75\n",
                "ground:\n  grade: {file: track.csv, argument: way, value: rise}\n"
                "operator:\n  forward_pedal: {file: track.csv, argument: clock, value: foot}\n");
  grade = table_of(&data, "ground", "grade");
  CHECK_CLOSE(grade->argument[1], 1.0, 1e-15);
  CHECK_CLOSE(grade->value[1], 0.08, 1e-15);
  const struct profile *pedal = table_of(&data, "operator", "forward_pedal");
  assert_int_equal(pedal->count, 3);
  CHECK_CLOSE(pedal->argument[2], 0.5, 1e-15);
  CHECK_CLOSE(pedal->value[2], 0.75, 1e-15);
  case_free(&data);
  /* two columns need no name; a plain number needs no unit */
  data = loaded("s [m], mu\n0, 0.7\n10, 0.3\n", "ground:\n  grip: {file: track.csv}\n");
  CHECK_NEAR(table_of(&data, "ground", "grip")->value[1], 0.3, 0.0);
  case_free(&data);
}

/* The dialects of loggers, as traces have them (tests/cli/traces.py tries all); what is guessed is kept. */
static void test_reads_dialects(void **state) {
  (void)state;
  static const char *const texts[] = {
      "distance [m]; grade [%]\n0; 5\n1,5; -2,5\n",
      "made by hand\n\ndistance\tgrade\nm\t%\n0\t5\n1.5\t-2.5\n",
  };
  for (int i = 0; i < 2; i++) {
    struct case_data data = loaded(texts[i], GRADE);
    const struct profile *grade = table_of(&data, "ground", "grade");
    assert_int_equal(grade->count, 2);
    CHECK_NEAR(grade->argument[1], 1.5, 0.0);
    CHECK_NEAR(grade->value[1], -0.025, 0.0);
    assert_non_null(strstr(data.inputs->guessed, i == 0 ? "semicolons; decimals with a comma" : "read as the units"));
    case_free(&data);
  }
}

/* The case that comes of it stands alone and reads back to the same bits. */
static void test_resolved_stands_alone(void **state) {
  (void)state;
  struct case_data data = loaded("distance [m], grade [%]\n0, 0.1\n0.3, 0.7\n7.7, 33.3\n", GRADE);
  struct case_data again;
  struct error error = {0};
  (void)unlink(csv_path);
  assert_true(case_load_text("r.yaml", data.resolved, NULL, 0, &again, &error));
  const struct profile *first = table_of(&data, "ground", "grade");
  const struct profile *second = table_of(&again, "ground", "grade");
  assert_int_equal(second->count, 3);
  assert_memory_equal(first->argument, second->argument, 3 * sizeof(real));
  assert_memory_equal(first->value, second->value, 3 * sizeof(real));
  assert_string_equal(data.resolved, again.resolved);
  case_free(&again);
  case_free(&data);
}

/* From the command line the file is looked for beside the case. */
static void test_set(void **state) {
  (void)state;
  struct case_data data;
  struct error error = {0};
  const char *sets[] = {"ground.grade={file: track.csv}"};
  write_text(csv_path, "distance [m], grade [%]\n0, 4\n");
  write_text(case_path, "title: t\n");
  assert_true(case_load(case_path, sets, 1, &data, &error));
  CHECK_NEAR(table_of(&data, "ground", "grade")->value[0], 0.04, 0.0);
  case_free(&data);
}

/* ---- heights ---- */

/* Between the ends of the road's corners the height that the grade adds up to is the file's. */
static void test_heights(void **state) {
  (void)state;
  struct case_data data =
      loaded("distance [m], height [m]\n0, 100\n10, 101\n12, 101.1\n30, 98\n40, 98\n41, 98.2\n", GRADE);
  const struct profile *grade = table_of(&data, "ground", "grade");
  static const real distance[6] = {0, 10, 12, 30, 40, 41};
  static const real height[6] = {0, 1, 1.1, -2, -2, -1.8};
  /* away from corners: the slope of the segment */
  CHECK_CLOSE(profile_at(grade, 3.0), 0.1, 1e-12);
  CHECK_CLOSE(profile_at(grade, 11.0), 0.05, 1e-12);
  CHECK_CLOSE(profile_at(grade, 20.0), -3.1 / 18.0, 1e-12);
  CHECK_NEAR(profile_at(grade, 35.0), 0.0, 1e-12);
  CHECK_CLOSE(profile_at(grade, 10.0), 0.075, 1e-12); /* half way in a corner */
  for (int i = 1; i < grade->count; i++) {
    assert_true(grade->argument[i] > grade->argument[i - 1]);
  }
  /* heights at the middles of the segments, where no corner reaches over */
  for (int i = 0; i < 5; i++) {
    real middle = 0.5 * (distance[i] + distance[i + 1]);
    struct ground_contact contact = ground_contact_on(grade, profile_index(grade, middle));
    struct ground_contact start = ground_contact_on(grade, profile_index(grade, 0.0));
    CHECK_NEAR(ground_height(&contact, middle) - ground_height(&start, 0.0), 0.5 * (height[i] + height[i + 1]), 1e-12);
  }
  case_free(&data);
  /* evenly spaced: one point a segment, at its middle */
  data = loaded("distance [m], height [m]\n0, 0\n10, 1\n20, 3\n30, 2\n", GRADE);
  grade = table_of(&data, "ground", "grade");
  assert_int_equal(grade->count, 3);
  CHECK_CLOSE(grade->argument[0], 5.0, 1e-14);
  CHECK_CLOSE(grade->value[1], 0.2, 1e-14);
  CHECK_CLOSE(grade->argument[2], 25.0, 1e-14);
  case_free(&data);
  data = loaded("distance [m], grade [ft]\n0, 0\n10, 1\n", GRADE);
  grade = table_of(&data, "ground", "grade");
  assert_int_equal(grade->count, 1);
  CHECK_CLOSE(grade->value[0], 0.03048, 1e-12);
  case_free(&data);
}

/* ---- faults ---- */

static void refused(const char *csv, const char *case_text, const char *name, int line, int column, const char *words) {
  struct case_data data;
  struct error error = {0};
  assert_false(load(csv, case_text, &data, &error));
  if (strstr(error.text, words) == NULL) {
    print_error("'%s' does not say '%s'\n", error.text, words);
    fail();
  }
  size_t length = strlen(error.file);
  assert_true(length >= strlen(name));
  assert_string_equal(error.file + length - strlen(name), name);
  assert_int_equal(error.line, line);
  assert_int_equal(error.column, column);
}

static void test_faults(void **state) {
  (void)state;
  const char *good = "distance [m], grade [%]\n0, 1\n";
  const char *csv = "track.csv";
  const char *yaml = "case.yaml";
  refused(good, "ground:\n  grade: {file: road.csv}\n", yaml, 2, 10, "cannot be read");
  refused(good, "ground:\n  grade: {fil: track.csv}\n", yaml, 2, 11, "did you mean 'file'");
  refused(good, "ground:\n  grade: {file: []}\n", yaml, 2, 17, "found a list, expected a name");
  refused(good, "ground:\n  grade: {file: }\n", yaml, 2, 17, "found nothing");
  refused(good, "ground:\n  grade: {value: grade}\n", yaml, 2, 10, "a mapping without 'file:'");
  refused(good, "ground:\n  grade: {file: track.csv, value: grad}\n", csv, 1, 1,
          "no column 'grad'; did you mean 'grade'");
  refused(good, "ground:\n  grade: {file: track.csv, argument: way}\n", csv, 1, 1, "no column 'way'");
  refused("", GRADE, csv, 1, 1, "nothing is written here");
  refused("# only this\n", GRADE, csv, 1, 1, "nothing is written here");
  refused("0, 1\n2, 3\n", GRADE, csv, 1, 1, "found numbers, expected a line");
  refused("distance [m], grade [%]\n0, 1\n1", GRADE, csv, 3, 2, "the line has 1 cells, the heading 2");
  refused("distance [m, grade [%]\n0, 1\n", GRADE, csv, 1, 1, "a unit in brackets");
  refused("distance [bar], grade [%]\n0, 1\n", GRADE, csv, 1, 1, "column 'distance' [bar]");
  refused("distance [m], grade [bar]\n0, 1\n", GRADE, csv, 1, 15, "column 'grade' [bar]");
  refused("distance [m], grade\n0, 1\n", GRADE, csv, 1, 15, "column 'grade' []");
  refused("distance [m], a [%], b [%]\n0, 1, 2\n", GRADE, csv, 1, 1, "no column is named 'grade'");
  refused("distance [m], grade [%]\n", GRADE, csv, 1, 0, "there is no point");
  refused("distance [m], grade [%]\n0, 1\n1, x\n", GRADE, csv, 3, 4, "is no number");
  refused("distance [m], place, grade [%]\n0, \xC3\xA4, 1\n1, \xC3\xA4, x\n", GRADE, csv, 3, 7, "is no number");
  refused("distance [m], grade [%]\n0, 1\n1,\n", GRADE, csv, 3, 3, "found nothing in column 'grade'");
  refused("distance [m], grade [%]\n0, 1\n1, 2, 3\n", GRADE, csv, 3, 7,
          "the line has 3 cells, more than the heading's 2");
  refused("distance [m], grade [%]\n0, 1\n1, 2 %\n", GRADE, csv, 3, 6, "is no unit of fraction");
  refused("distance [m], grade [%]\n0, 1\n1, 900\n", GRADE, csv, 3, 4, "lies outside -150 % to 150 %");
  refused("distance [m], grade [%]\n0, 1\n5, 1\n4, 1\n", GRADE, csv, 4, 1, "arguments must not fall");
  refused("distance [m], grade [%]\n0, 1\n0, 2\n0, 3\n", GRADE, csv, 4, 1, "a third point");
  refused("distance [m], height [m]\n0, 1\n", GRADE, csv, 2, 0, "two heights or more");
  refused("distance [m], height [m]\n0, 1\n0, 2\n", GRADE, csv, 3, 1, "a second height at one distance");
  refused("distance [m], height [m]\n0, 1\n1, 2\n2, 5\n", GRADE, csv, 4, 1, "rises by 300 %");
}

/* ---- long tables ---- */

enum { LONG_POINTS = 100000 };

static void write_long(int points) {
  FILE *file = fopen(csv_path, "wb");
  assert_non_null(file);
  (void)fputs("distance [m], grade [%]\n", file);
  for (int i = 0; i < points; i++) {
    (void)fprintf(file, "%.1f, %.3f\n", 0.1 * i, 8.0 * sin(0.01 * i));
  }
  assert_int_equal(fclose(file), 0);
}

/* A hundred thousand points are read, written and read back; one more is reported. Moving along and back finds the same
 * heights as from the start. */
static void test_long_table(void **state) {
  (void)state;
  struct case_data data;
  struct case_data again;
  struct error error = {0};
  write_long(LONG_POINTS);
  write_text(case_path, GRADE);
  assert_true(case_load(case_path, NULL, 0, &data, &error));
  assert_true(case_load_text("r.yaml", data.resolved, NULL, 0, &again, &error));
  const struct profile *grade = table_of(&data, "ground", "grade");
  const struct profile *second = table_of(&again, "ground", "grade");
  assert_int_equal(second->count, LONG_POINTS);
  assert_memory_equal(grade->argument, second->argument, LONG_POINTS * sizeof(real));
  assert_memory_equal(grade->value, second->value, LONG_POINTS * sizeof(real));
  for (int i = 0; i < 50; i++) {
    real s = 9999.9 * i / 49.0;
    int index = profile_index(grade, s);
    int linear = 0;
    int before = 0;
    while (linear < grade->count && grade->argument[linear] <= s) {
      linear++;
    }
    while (before < grade->count && grade->argument[before] < s) {
      before++;
    }
    assert_int_equal(index, linear);
    assert_int_equal(profile_index_before(grade, s), before);
  }
  struct ground_contact contact = ground_contact_on(grade, 0);
  for (int index = 1; index <= 3000; index++) {
    contact = ground_contact_move(grade, &contact, index);
  }
  struct ground_contact direct = ground_contact_on(grade, 3000);
  CHECK_NEAR(contact.height, direct.height, 0.0);
  for (int index = 2999; index >= 500; index--) {
    contact = ground_contact_move(grade, &contact, index);
  }
  direct = ground_contact_on(grade, 500);
  CHECK_NEAR(contact.height, direct.height, 1e-12);
  for (int index = 499; index >= 0; index--) {
    contact = ground_contact_move(grade, &contact, index);
  }
  CHECK_NEAR(contact.height, 0.0, 1e-12);
  case_free(&again);
  case_free(&data);
  write_long(LONG_POINTS + 1);
  assert_false(case_load(case_path, NULL, 0, &data, &error));
  assert_non_null(strstr(error.text, "more than 100000 points"));
  assert_int_equal(error.line, LONG_POINTS + 2);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_reads_columns),
      cmocka_unit_test(test_reads_dialects),
      cmocka_unit_test(test_resolved_stands_alone),
      cmocka_unit_test(test_set),
      cmocka_unit_test(test_heights),
      cmocka_unit_test(test_faults),
      cmocka_unit_test(test_long_table),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
