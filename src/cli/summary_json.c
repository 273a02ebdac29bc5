#include <math.h>

#include "answers.h"
#include "json.h"
#include "registry.h"
#include "result_legs.h"
#include "summary.h"
#include "summary_limits.h"
#include "limit_margin.h"
#include "terminal.h"

static void write_measures(struct json *json, const struct outcome *outcome) {
  json_begin_object(json, "measures");
  for (int m = 0; m < MEASURE_COUNT; m++) {
    const struct signal *row = &measure_rows[m];
    json_begin_object(json, row->name);
    json_number(json, "value", outcome->measures[m]);
    json_text(json, "unit", quantity_rows[row->quantity].si_unit);
    if (row->reference != REFERENCE_NONE) {
      json_text(json, "reference", reference_names[row->reference]);
    }
    json_text(json, "text", row->text);
    if (isnan(outcome->measures[m])) {
      json_text(json, "reason", outcome->absent[m]);
    }
    json_end_object(json);
  }
  json_end_object(json);
}

static void write_events(struct json *json, const struct case_data *data, const struct outcome *outcome) {
  json_begin_list(json, "events");
  for (int i = 0; i < outcome->event_count; i++) {
    const struct run_event *event = &outcome->events[i];
    json_begin_object(json, NULL);
    json_number(json, "time", event->time);
    json_text(json, "name", event->name);
    json_text(json, "message", event->message);
    if (event->signal >= 0) {
      const struct signal *signal = &data->plant->signals[event->signal];
      json_text(json, "signal", signal->name);
      json_number(json, "value", event->value);
      json_text(json, "unit", quantity_rows[signal->quantity].si_unit);
    }
    json_end_object(json);
  }
  json_end_list(json);
  json_integer(json, "events_left_out", outcome->events_left_out);
}

/* The legs of a course, each with the energies that its ledger took. */
static void write_legs(struct json *json, const struct plant *plant, const struct outcome *outcome) {
  if (outcome->leg_count == 0) {
    return;
  }
  json_begin_list(json, "legs");
  for (int i = 0; i < outcome->leg_count; i++) {
    const struct run_leg *leg = &outcome->legs[i];
    json_begin_object(json, NULL);
    for (int c = 0; c < result_leg_columns(); c++) {
      double value;
      const char *name = result_leg_column(c, leg, &value);
      json_number(json, name, value);
    }
    json_begin_object(json, "energy");
    for (int row = 0; row < plant->ledger_integrated; row++) {
      json_number(json, plant->ledger[row].name, leg->energy[row]);
    }
    json_end_object(json);
    json_end_object(json);
  }
  json_end_list(json);
  json_integer(json, "legs_left_out", outcome->legs_left_out);
}

/* The rows of one balance. */
static void write_terms(struct json *json, const struct plant *plant, const struct outcome *outcome,
                        enum ledger_balance balance) {
  json_begin_object(json, "terms");
  for (int i = 0; i < plant->ledger_count; i++) {
    enum ledger_kind kind = plant->ledger[i].kind;
    if (ledger_balance_of(kind) != balance) {
      continue;
    }
    json_begin_object(json, plant->ledger[i].name);
    json_text(json, "kind", ledger_kind_word(kind));
    json_number(json, "energy", outcome->ledger[i].energy);
    json_number(json, "from_release", outcome->ledger[i].from_release);
    json_text(json, "text", plant->ledger[i].text);
    json_end_object(json);
  }
  json_end_object(json);
}

static void write_ledger(struct json *json, const struct plant *plant, const struct outcome *outcome) {
  json_begin_object(json, "ledger");
  json_text(json, "unit", "J");
  json_number(json, "energy_in", outcome->energy_in);
  json_number(json, "energy_lost", outcome->energy_lost);
  json_number(json, "energy_stored", outcome->energy_stored);
  json_number(json, "energy_residual", outcome->energy_residual);
  write_terms(json, plant, outcome, BALANCE_OF_ENERGY);
  json_end_object(json);
  if (outcome->has_heat) {
    json_begin_object(json, "heat");
    json_text(json, "unit", "J");
    json_number(json, "heat_made", outcome->heat_made);
    json_number(json, "heat_left", outcome->heat_left);
    json_number(json, "heat_stored", outcome->heat_stored);
    json_number(json, "heat_residual", outcome->heat_residual);
    write_terms(json, plant, outcome, BALANCE_OF_HEAT);
    json_end_object(json);
  }
  if (outcome->has_fuel) {
    json_begin_object(json, "fuel");
    json_text(json, "unit", "J");
    json_number(json, "work_of_combustion", outcome->fuel_work);
    json_number(json, "fuel_residual", outcome->fuel_residual);
    write_terms(json, plant, outcome, BALANCE_OF_FUEL);
    json_end_object(json);
  }
}

void summary_json_limits(struct json *json, const struct case_data *data, const struct outcome *outcome) {
  json_begin_list(json, "limits");
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *limit = &data->limits[i];
    json_begin_object(json, NULL);
    json_text(json, "sentence", limit->text);
    json_text(json, "result", limit_verdict_names[outcome->limits[i].verdict]);
    json_text(json, "reason", outcome->limits[i].why);
    json_text(json, "name", limit->keep.name);
    json_number(json, "level", limit->keep.level);
    json_text(json, "unit", quantity_rows[condition_quantity(data, &limit->keep)].si_unit);
    json_number(json, "worst", outcome->limits[i].worst);
    json_number(json, "worst_time", outcome->limits[i].time);
    json_number(json, "first_time", outcome->limits[i].first);
    json_end_object(json);
  }
  json_end_list(json);
}

static void write_solver(struct json *json, const struct case_data *data, const struct outcome *outcome) {
  const struct run_counts *counts = &outcome->counts;
  json_begin_object(json, "solver");
  json_integer(json, "steps", counts->steps);
  json_integer(json, "rate_calls", counts->rate_calls);
  json_integer(json, "jacobians", counts->jacobians);
  json_integer(json, "jacobian_calls", counts->jacobian_calls);
  json_integer(json, "error_failures", counts->error_failures);
  json_integer(json, "convergence_failures", counts->convergence_failures);
  json_integer(json, "restarts", counts->restarts);
  json_number(json, "cpu_seconds", counts->cpu_seconds);
  json_number(json, "relative_tolerance", data->simulation.relative_tolerance);
  json_number(json, "pressure_tolerance", data->simulation.pressure_tolerance);
  json_end_object(json);
}

void summary_json(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file) {
  struct json json = {.out = out};
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "plant", data->plant->name);
  json_text(&json, "status", run_status_names[outcome->status]);
  json_text(&json, "status_message", outcome->status == RUN_FAILED ? outcome->error.text : "");
  json_number(&json, "end_time", outcome->end_time);
  write_measures(&json, outcome);
  write_events(&json, data, outcome);
  write_legs(&json, data->plant, outcome);
  summary_json_limits(&json, data, outcome);
  write_ledger(&json, data->plant, outcome);
  struct warnings warnings;
  plausibility_check(data, &warnings);
  answers_json_warnings(&json, &warnings);
  write_solver(&json, data, outcome);
  answers_json_end(&json, file);
}
