/* The resolved text of a case reads back as the same case, to the last bit. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "case.h"
#include "case_text.h"
#include "registry.h"
#include "units.h"

static bool same_bits(double a, double b) {
  uint64_t bits[2];
  memcpy(&bits[0], &a, sizeof a);
  memcpy(&bits[1], &b, sizeof b);
  return bits[0] == bits[1];
}

static void check_same_group(const struct group *group, const void *a, const void *b) {
  for (int i = 0; i < group->field_count; i++) {
    struct parameter parameter = {group, &group->fields[i]};
    const void *one = registry_member_const(a, parameter);
    const void *two = registry_member_const(b, parameter);
    bool same = true;
    if (parameter.field->kind == FIELD_REAL) {
      same = same_bits(*(const real *)one, *(const real *)two);
    } else if (parameter.field->kind == FIELD_CHOICE) {
      same = *(const int *)one == *(const int *)two;
    } else {
      const struct profile *p = one;
      const struct profile *q = two;
      same = p->count == q->count;
      for (int k = 0; same && k < p->count; k++) {
        same = same_bits(p->argument[k], q->argument[k]) && same_bits(p->value[k], q->value[k]);
      }
    }
    if (!same) {
      fail_msg("%s.%s differs after it was written and read", group->name, parameter.field->name);
    }
  }
}

static void check_reads_back(const struct case_data *data) {
  struct case_data again;
  load_ok(data->resolved, &again);
  assert_ptr_equal(again.plant, data->plant);
  assert_string_equal(again.title, data->title);
  for (int i = 0; i < data->plant->group_count; i++) {
    check_same_group(&data->plant->groups[i], data->parameters, again.parameters);
  }
  check_same_group(&simulation_group, &data->simulation, &again.simulation);
  assert_int_equal(again.action_count, data->action_count);
  for (int i = 0; i < data->action_count; i++) {
    const struct action *a = &data->actions[i];
    const struct action *b = &again.actions[i];
    assert_string_equal(a->name, b->name);
    assert_string_equal(a->when.name, b->when.name);
    assert_int_equal(a->when.signal, b->when.signal);
    assert_int_equal(a->when.above, b->when.above);
    assert_true(same_bits(a->when.level, b->when.level));
    assert_int_equal(a->channel, b->channel);
    assert_true(same_bits(a->target, b->target) && same_bits(a->duration, b->duration));
  }
  assert_int_equal(again.limit_count, data->limit_count);
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *a = &data->limits[i];
    const struct limit *b = &again.limits[i];
    assert_string_equal(a->text, b->text);
    assert_int_equal(a->keep.signal, b->keep.signal);
    assert_int_equal(a->keep.measure, b->keep.measure);
    assert_int_equal(a->keep.above, b->keep.above);
    assert_true(same_bits(a->keep.level, b->keep.level) && same_bits(a->within, b->within));
  }
  assert_string_equal(again.resolved, data->resolved);
  case_free(&again);
}

static void resolved_cases_read_back(void **state) {
  (void)state;
  struct case_data data;
  load_ok("title: \"\\\"Quoted\\\": back\\\\slash # \xC3\xA4\"\n"
          "operator:\n"
          "  forward_pedal: [[0 s, 0 %], [0.1 s, 10 %], [0.2 s, 20 %], [0.3 s, 33.3 %], [0.4 s, 40 %], [0.5 s, 50 %],\n"
          "    [1 min, 60 %], [1 h, 0 %]]\n"
          "relief: {setting: 6000 psi}\n"
          "heat: {ambient: 70 degF}\n"
          "actions:\n"
          "  - {name: 'say \"go\": now', when: vehicle_speed >= 3.3 mph, move: brake, to: 33.3 %, over: 77 ms}\n"
          "  - {when: time > 0.1 h, move: direction, to: -100 %}\n"
          "limits: [line_a_pressure <= 6100 psi, relief_heat <= 0.1 kWh,\n"
          "  vehicle_speed <= 1 mph within 1.7 s]\n",
          &data);
  check_reads_back(&data);
  case_free(&data);
  load_ok("circuit: valve_rig\n", &data);
  assert_non_null(strstr(data.resolved, "actions: []\nlimits: []\n"));
  check_reads_back(&data);
  case_free(&data);
}

static uint64_t next_random(uint64_t *state) {
  *state ^= *state << 13U;
  *state ^= *state >> 7U;
  *state ^= *state << 17U;
  return *state;
}

/* Every number with all its bits in use. */
static void random_cases_read_back(void **state) {
  (void)state;
  uint64_t seed = 362436069U;
  for (int round = 0; round < 40; round++) {
    const struct plant *plant = registry_plants[round % 2];
    static char text[65536];
    size_t used = (size_t)snprintf(text, sizeof text, "circuit: %s\n", plant->name);
    for (int i = 0; i < plant->group_count; i++) {
      const struct group *group = &plant->groups[i];
      used += (size_t)snprintf(text + used, sizeof text - used, "%s:\n", group->name);
      for (int k = 0; k < group->field_count; k++) {
        const struct field *field = &group->fields[k];
        if (field->kind != FIELD_REAL) {
          continue;
        }
        double low = quantity_from_trade(field->quantity, field->low);
        double high = quantity_from_trade(field->quantity, field->high);
        double share = (double)(next_random(&seed) >> 11U) * 0x1p-53;
        /* Close to the default, so that the laws go together. */
        double value = quantity_from_trade(field->quantity, field->initial) * (1.0 + 1e-3 * share);
        value = value < low || value > high ? low : value;
        used += (size_t)snprintf(text + used, sizeof text - used, "  %s: %.17g %s\n", field->name, value,
                                 quantity_rows[field->quantity].si_unit);
      }
    }
    struct case_data data;
    load_ok(text, &data);
    check_reads_back(&data);
    case_free(&data);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(resolved_cases_read_back),
      cmocka_unit_test(random_cases_read_back),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
