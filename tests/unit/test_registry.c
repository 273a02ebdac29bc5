/* Errors, texts and the tables that plants declare: finding, defaults, choices, nearest names. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "error.h"
#include "registry.h"
#include "simulation.h"
#include "text.h"

/* A plant of two sections, so that nothing here depends on the circuits' own tables. */
struct valve {
  real setting;
  int law;
  struct profile lift;
};

struct fake {
  real before;
  struct valve first;
  struct valve second;
};

static const struct field valve_fields[] = {
    {"setting", FIELD_REAL, QUANTITY_PRESSURE, QUANTITY_NUMBER, 450.0, 1.0, 1000.0, REFERENCE_LINE_TO_LINE, "", "p",
     offsetof(struct valve, setting), "drop at which it cracks", NULL},
    {"law", FIELD_CHOICE, QUANTITY_NUMBER, QUANTITY_NUMBER, 1.0, 0.0, 0.0, REFERENCE_NONE, "first|second|third", "",
     offsetof(struct valve, law), "law", NULL},
    {"lift", FIELD_TABLE, QUANTITY_FRACTION, QUANTITY_TIME, 0.0, 0.0, 100.0, REFERENCE_NONE, "", "",
     offsetof(struct valve, lift), "lift", NULL},
};
static const struct group groups[] = {
    {"first", valve_fields, FIELD_COUNT(valve_fields), offsetof(struct fake, first), "", NULL},
    {"second", valve_fields, FIELD_COUNT(valve_fields), offsetof(struct fake, second), "", NULL},
};
enum { GROUP_COUNT = 2 };

static void groups_and_fields_are_found(void **state) {
  (void)state;
  const struct group *group = registry_group(groups, GROUP_COUNT, "second");
  assert_ptr_equal(group, &groups[1]);
  assert_null(registry_group(groups, GROUP_COUNT, "secon"));
  assert_ptr_equal(registry_field(group, "law"), &valve_fields[1]);
  assert_null(registry_field(group, "laws"));
  struct fake fake;
  struct parameter parameter = {group, registry_field(group, "setting")};
  assert_ptr_equal(registry_member(&fake, parameter), &fake.second.setting);
  assert_ptr_equal(registry_member_const(&fake, parameter), &fake.second.setting);
}

static void defaults_are_si(void **state) {
  (void)state;
  struct fake fake;
  memset(&fake, 0xA5, sizeof fake);
  registry_defaults(groups, GROUP_COUNT, &fake);
  CHECK_CLOSE(fake.first.setting, 450e5, 0.0);
  CHECK_CLOSE(fake.second.setting, 450e5, 0.0);
  assert_int_equal(fake.first.law, 1);
  assert_int_equal(fake.second.lift.count, 0);
  assert_null(fake.second.lift.argument);
}

static void choices_by_name_and_index(void **state) {
  (void)state;
  const char *choices = "held|to_neutral|off";
  char buffer[16];
  assert_int_equal(registry_choice(choices, "held"), 0);
  assert_int_equal(registry_choice(choices, "off"), 2);
  assert_int_equal(registry_choice(choices, "of"), -1);
  assert_int_equal(registry_choice(choices, "offs"), -1);
  assert_int_equal(registry_choice(choices, "held|to_neutral"), -1);
  assert_int_equal(registry_choice(choices, ""), -1);
  assert_string_equal(registry_choice_name(choices, 1, buffer, sizeof buffer), "to_neutral");
  assert_string_equal(registry_choice_name(choices, 1, buffer, 4), "to_");
  assert_string_equal(registry_choice_name(choices, 3, buffer, sizeof buffer), "");
  assert_string_equal(registry_choice_name(choices, -1, buffer, sizeof buffer), "");
}

static const char *name_at(const void *context, int index) {
  return ((const char *const *)context)[index];
}

static void nearest(const char *name, const char *expected) {
  static const char *const names[] = {"displacement", "slip_coefficient", "bar", "Nm", "setting", "rate_up"};
  const char *found = registry_nearest(name, sizeof names / sizeof names[0], name_at, names);
  if (expected) {
    assert_non_null(found);
    assert_string_equal(found, expected);
  } else {
    assert_null(found);
  }
}

static void nearest_names(void **state) {
  (void)state;
  nearest("displacment", "displacement");
  nearest("dispalcement", "displacement");
  nearest("Displacement", "displacement");
  nearest("disp", "displacement"); /* begun */
  nearest("barg", "bar");
  nearest("NM", "Nm");
  nearest("stting", "setting");
  nearest("rate-up", "rate_up");
  nearest("xyz", NULL);
  nearest("b", NULL);
  nearest("", NULL);
  nearest("temperature", NULL);
  char huge[2000];
  memset(huge, 'a', sizeof huge - 1);
  huge[sizeof huge - 1] = '\0';
  nearest(huge, NULL);
}

/* Every plant's tables must be usable: names apart, defaults within bounds and choices. */
static void check_fields(const struct group *group) {
  for (int i = 0; i < group->field_count; i++) {
    const struct field *field = &group->fields[i];
    assert_ptr_equal(registry_field(group, field->name), field); /* no earlier one of the same name */
    assert_true(strlen(field->text) > 0);
    if (field->kind == FIELD_REAL && !(field->initial >= field->low && field->initial <= field->high)) {
      fail_msg("%s.%s: the default lies outside the bounds", group->name, field->name);
    }
    if (field->kind == FIELD_TABLE) {
      assert_true(field->low < field->high);
    }
    if (field->kind == FIELD_CHOICE) {
      char name[64];
      registry_choice_name(field->choices, (int)field->initial, name, sizeof name);
      assert_int_equal(registry_choice(field->choices, name), (int)field->initial);
    }
  }
}

static void plants_have_sound_tables(void **state) {
  (void)state;
  int count = 0;
  for (; registry_plants[count]; count++) {
    const struct plant *plant = registry_plants[count];
    assert_ptr_equal(registry_plant(plant->name), plant);
    for (int i = 0; i < plant->group_count; i++) {
      assert_ptr_equal(registry_group(plant->groups, plant->group_count, plant->groups[i].name), &plant->groups[i]);
      check_fields(&plant->groups[i]);
    }
    for (int i = 0; i < plant->signal_count; i++) {
      assert_int_equal(registry_signal(plant, plant->signals[i].name), i);
    }
    for (int i = 0; i < plant->channel_count; i++) {
      assert_int_equal(registry_channel(plant, plant->channels[i]), i);
    }
    for (int i = 0; i < plant->lack_count; i++) {
      struct row_place signal;
      struct row_place row;
      assert_true(registry_place(plant, plant->lacks[i], &signal, NULL));
      assert_true(registry_ledger_place(plant, plant->lacks[i], &row, NULL));
      assert_false(signal.there || row.there); /* what is lacked is not there */
    }
    assert_int_equal(registry_signal(plant, "nothing"), -1);
    assert_int_equal(registry_channel(plant, "nothing"), -1);
  }
  assert_int_equal(count, 2);
  assert_null(registry_plant("nothing"));
  check_fields(&simulation_group);
}

static void a_name_that_no_table_knows_is_a_mistake_and_not_an_absence(void **state) {
  (void)state;
  struct error error = {0};
  struct row_place place;
  int index;
  assert_true(registry_place(&valve_rig_plant, "relief_a_flow", &place, &error));
  assert_true(place.there);
  assert_string_equal(valve_rig_plant.signals[place.index].name, "relief_a_flow");
  assert_true(registry_place(&valve_rig_plant, "vehicle_speed", &place, &error));
  assert_false(place.there);
  assert_false(registry_place(&valve_rig_plant, "vehicle_sped", &place, &error));
  assert_non_null(strstr(error.text, "'vehicle_sped'"));
  assert_non_null(strstr(error.text, "valve_rig"));
  assert_true(registry_ledger_place(&transmission_plant, "relief_b", &place, &error));
  assert_true(place.there);
  assert_string_equal(transmission_plant.ledger[place.index].name, "relief_b");
  assert_true(registry_ledger_place(&valve_rig_plant, "relief_b", &place, &error));
  assert_false(place.there);
  assert_false(registry_ledger_place(&valve_rig_plant, "relief_c", &place, &error));
  assert_true(registry_need(&transmission_plant, "grade", &index, &error));
  assert_string_equal(transmission_plant.signals[index].name, "grade");
  assert_false(registry_need(&valve_rig_plant, "vehicle_speed", &index, &error)); /* lacked, yet needed */
  assert_string_equal(error.text, "a mistake in the program: it needs the signal 'vehicle_speed', which the circuit "
                                  "valve_rig has not");
  assert_false(registry_need(&valve_rig_plant, "feed_flo", &index, &error));
  assert_non_null(strstr(error.text, "'feed_flo', which the circuit valve_rig has not; the nearest that it has is "
                                     "'feed_flow'"));
  char base[1];
  assert_non_null(registry_need_section(&valve_rig_plant, base, "relief", &error));
  assert_null(registry_need_section(&valve_rig_plant, base, "engine", &error));
  assert_non_null(strstr(error.text, "'engine'"));
  assert_non_null(registry_need_parameter(&valve_rig_plant, base, "rig", "feed_flow", &error));
  assert_null(registry_need_parameter(&valve_rig_plant, base, "rig", "feed_flo", &error));
  assert_non_null(strstr(error.text, "'rig.feed_flo'"));
}

/* A state's place is that among the active ones; one that other laws have is none of them. */
static void a_state_is_found_among_the_active_ones(void **state) {
  (void)state;
  struct error error = {0};
  int place = -1;
  int rows[PLANT_STATE_LIMIT];
  int count = 0;
  for (int i = transmission_plant.state_count - 1; i >= 0; i--) {
    if (strcmp(transmission_plant.states[i].name, "tyre_slip") != 0) {
      rows[count++] = i;
    }
  }
  for (int i = 0; i < count; i++) {
    assert_true(
        registry_need_state(&transmission_plant, rows, count, transmission_plant.states[rows[i]].name, &place, &error));
    assert_int_equal(place, i);
  }
  assert_false(registry_need_state(&transmission_plant, rows, count, "wheel_sped", &place, &error));
  assert_int_equal(place, 0);
  assert_int_equal(error.code, ERROR_RUN);
  assert_string_equal(error.text, "a mistake in the program: it needs the state 'wheel_sped', which the circuit "
                                  "transmission has not; the nearest that it has is 'wheel_speed'");
  assert_false(registry_need_state(&transmission_plant, rows, count, "tyre_slip", &place, &error));
  assert_non_null(strstr(error.text, "'tyre_slip'"));
  assert_false(registry_need_state(&transmission_plant, rows, 0, "wheel_speed", &place, &error));
  assert_string_equal(error.text, "a mistake in the program: it needs the state 'wheel_speed', which the circuit "
                                  "transmission has not");
}

static void errors_tell_their_place(void **state) {
  (void)state;
  struct error error = {0};
  char text[2048];
  assert_false(error_set(&error, ERROR_OUTPUT, "no room on %s", "disk"));
  assert_string_equal(error_text(&error, text, sizeof text), "error: no room on disk");
  assert_int_equal(error_exit_status(error.code), 3);
  assert_false(error_at(&error, "a.yaml", 3, 7, "found '%s'", "x"));
  assert_string_equal(error_text(&error, text, sizeof text), "a.yaml:3:7: error: found 'x'");
  assert_int_equal(error.code, ERROR_INPUT);
  assert_int_equal(error_exit_status(error.code), 2);
  error_at(&error, "a.yaml", 3, 0, "x");
  assert_string_equal(error_text(&error, text, sizeof text), "a.yaml:3: error: x");
  error_at(&error, "--set 'a=b'", 0, 5, "x");
  assert_string_equal(error_text(&error, text, sizeof text), "--set 'a=b', column 5: error: x");
  error_at(&error, "a.yaml", 0, 0, "x\ny\x1b[2J");
  assert_string_equal(error_text(&error, text, sizeof text), "a.yaml: error: x y\\x1b[2J");
  assert_false(error_set(NULL, ERROR_RUN, "x"));
  assert_false(error_at(NULL, "a", 1, 1, "x"));
  struct error none = {0};
  assert_string_equal(error_text(&none, text, sizeof text), "error: no error");
  /* The text of an error may become part of the same error. */
  error_set(&error, ERROR_RUN, "inner");
  error_set(&error, ERROR_RUN, "outer: %s", error.text);
  assert_string_equal(error.text, "outer: inner");
  assert_int_equal(error_exit_status(ERROR_RUN), 1);
  assert_int_equal(error_exit_status(ERROR_NONE), 0);
}

static void long_errors_are_cut(void **state) {
  (void)state;
  char *huge = malloc(5000);
  assert_non_null(huge);
  memset(huge, 'x', 4999);
  huge[4999] = '\0';
  struct error error = {0};
  error_at(&error, huge, 1, 1, "%s", huge);
  assert_int_equal(strlen(error.text), sizeof error.text - 1);
  assert_int_equal(strlen(error.file), sizeof error.file - 1);
  char text[64];
  error_text(&error, text, sizeof text);
  assert_int_equal(strlen(text), sizeof text - 1);
  free(huge);
}

static void excerpts_end_between_characters(void **state) {
  (void)state;
  assert_string_equal(text_excerpt("short").text, "short");
  char text[200];
  /* 59 bytes, then characters of two bytes: the cut must not halve one. */
  memset(text, 'a', 59);
  for (int i = 0; i < 60; i++) {
    memcpy(text + 59 + (size_t)(2 * i), "\xC3\xA4", 3);
  }
  struct excerpt excerpt = text_excerpt(text);
  assert_int_equal(strlen(excerpt.text), 62);
  assert_string_equal(excerpt.text + 59, "...");
}

static void only_valid_utf8_is_decoded(void **state) {
  (void)state;
  unsigned long code = 0;
  assert_int_equal(text_decode("a", 1, &code), 1);
  assert_int_equal(text_decode("\xC3\xA4", 2, &code), 2);
  assert_int_equal(code, 0xE4);
  assert_int_equal(text_decode("\xE2\x82\xAC", 3, &code), 3);
  assert_int_equal(text_decode("\xF0\x9F\x98\x80", 4, &code), 4);
  assert_int_equal(code, 0x1F600);
  static const char *const bad[] = {"\x80",         "\xC3",     "\xC0\xAF",         "\xE0\x80\xAF", "\xED\xA0\x80",
                                    "\xF8\x88\x80", "\xC3\x41", "\xF4\x90\x80\x80", "\xFF",         "\xF0\x80\x80\xAF"};
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
    assert_int_equal(text_decode(bad[i], strlen(bad[i]), &code), 0);
  }
  assert_int_equal(text_decode("", 0, &code), 0);
  assert_true(text_printable('a') && text_printable(0xE4) && text_printable(0x1F600));
  assert_false(text_printable('\n') || text_printable(0x7F) || text_printable(0x85) || text_printable(0x2028) ||
               text_printable(0xFEFF));
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(groups_and_fields_are_found),
      cmocka_unit_test(defaults_are_si),
      cmocka_unit_test(choices_by_name_and_index),
      cmocka_unit_test(nearest_names),
      cmocka_unit_test(plants_have_sound_tables),
      cmocka_unit_test(a_state_is_found_among_the_active_ones),
      cmocka_unit_test(errors_tell_their_place),
      cmocka_unit_test(long_errors_are_cut),
      cmocka_unit_test(excerpts_end_between_characters),
      cmocka_unit_test(only_valid_utf8_is_decoded),
      cmocka_unit_test(a_name_that_no_table_knows_is_a_mistake_and_not_an_absence),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
