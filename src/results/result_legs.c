#include "result_legs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* A column of numbers, one a phase. */
struct leg_column {
  const char *name;
  enum quantity quantity;
  const char *text;
  double (*of)(const struct run_leg *leg);
};

static double number_of(const struct run_leg *leg) {
  return leg->number;
}
static double repeat_of(const struct run_leg *leg) {
  return leg->repeat;
}
static double stands_of(const struct run_leg *leg) {
  return leg->stands ? 1.0 : 0.0;
}
static double done_of(const struct run_leg *leg) {
  return leg->done ? 1.0 : 0.0;
}
static double from_of(const struct run_leg *leg) {
  return leg->from;
}
static double until_of(const struct run_leg *leg) {
  return leg->until;
}
static double place_of(const struct run_leg *leg) {
  return leg->place;
}
static double began_of(const struct run_leg *leg) {
  return leg->began_at;
}
static double ended_of(const struct run_leg *leg) {
  return leg->ended_at;
}
static double speed_of(const struct run_leg *leg) {
  double time = leg->until - leg->from;
  return time > 0.0 ? fabs(leg->ended_at - leg->began_at) / time : 0.0;
}
static double load_of(const struct run_leg *leg) {
  return leg->load;
}
static double tank_of(const struct run_leg *leg) {
  return leg->tank;
}
static double fuel_of(const struct run_leg *leg) {
  return leg->fuel;
}
static double brakes_of(const struct run_leg *leg) {
  return leg->brake_uses;
}

static const struct leg_column leg_columns[] = {
    {"leg", QUANTITY_NUMBER, "number of the leg, from 1", number_of},
    {"repeat", QUANTITY_NUMBER, "which time the course is driven, from 1", repeat_of},
    {"stands", QUANTITY_NUMBER, "1: the dwell at the leg's end; 0: the way there", stands_of},
    {"done", QUANTITY_NUMBER, "1: it ended before the run did", done_of},
    {"from", QUANTITY_TIME, "when it began", from_of},
    {"until", QUANTITY_TIME, "when it ended", until_of},
    {"place", QUANTITY_LENGTH, "where the leg is to end, along the ground", place_of},
    {"began_at", QUANTITY_LENGTH, "where the machine was when it began", began_of},
    {"ended_at", QUANTITY_LENGTH, "where the machine was when it ended", ended_of},
    {"mean_speed", QUANTITY_SPEED, "distance between over the time, either way", speed_of},
    {"load", QUANTITY_MASS, "load on board when it ended", load_of},
    {"tank_oil_temperature", QUANTITY_TEMPERATURE, "oil in the tank when it ended", tank_of},
    {"fuel_used", QUANTITY_MASS, "fuel burnt meanwhile; 0 where none is counted", fuel_of},
    {"brake_uses", QUANTITY_NUMBER, "how often the driver took the service brake", brakes_of},
};
enum { LEG_COLUMNS = sizeof leg_columns / sizeof leg_columns[0] };

int result_leg_columns(void) {
  return LEG_COLUMNS;
}

const char *result_leg_column(int column, const struct run_leg *leg, double *value) {
  *value = leg_columns[column].of(leg);
  return leg_columns[column].name;
}

void result_write_legs(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log) {
  const struct plant *plant = data->plant;
  int count = outcome->leg_count;
  if (count == 0) {
    return;
  }
  double *numbers = calloc((size_t)count, sizeof *numbers);
  if (numbers == NULL) {
    h5_out_of_memory(log);
    return;
  }
  hid_t group = h5_group(file, "legs", "legs of the course and the dwells at their ends, in order of time", log);
  hid_t dimension = h5_dimension(group, "phase", count, "number of the leg or dwell, from 0", log);
  for (int c = 0; c < LEG_COLUMNS; c++) {
    const struct leg_column *column = &leg_columns[c];
    for (int i = 0; i < count; i++) {
      numbers[i] = column->of(&outcome->legs[i]);
    }
    hid_t dataset = h5_reals(group, column->name, count, numbers, dimension, log);
    result_describe(dataset, column->quantity, REFERENCE_NONE, column->text, log);
    h5_close_dataset(dataset, log);
  }
  for (int row = 0; row < plant->ledger_integrated; row++) {
    char name[96];
    for (int i = 0; i < count; i++) {
      numbers[i] = outcome->legs[i].energy[row];
    }
    (void)snprintf(name, sizeof name, "energy_%s", plant->ledger[row].name);
    hid_t dataset = h5_reals(group, name, count, numbers, dimension, log);
    result_describe(dataset, QUANTITY_ENERGY, REFERENCE_NONE, plant->ledger[row].text, log);
    h5_close_dataset(dataset, log);
  }
  h5_close_dataset(dimension, log);
  hid_t left_out = h5_integer(group, "left_out", outcome->legs_left_out, log);
  h5_text_attribute(left_out, "long_name", "phases past the largest number kept", log);
  h5_close_dataset(left_out, log);
  h5_close_group(group, log);
  free(numbers);
}
