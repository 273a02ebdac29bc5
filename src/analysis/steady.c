#include "steady.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "scan.h"

void steady_answer_free(struct steady_answer *answer) {
  for (int i = 0; i < answer->chart_count; i++) {
    chart_free(&answer->charts[i]);
  }
  answer->chart_count = 0;
}

void steady_say(struct steady_answer *answer, const char *format, ...) {
  if (answer->word_count == STEADY_WORDS) {
    return;
  }
  char *line = answer->words[answer->word_count++];
  va_list arguments;
  va_start(arguments, format);
  (void)vsnprintf(line, sizeof answer->words[0], format, arguments);
  va_end(arguments);
}

double steady_top_speed(struct machine *machine) {
  struct machine_point point;
  double inputs[MACHINE_INPUT_COUNT];
  for (int i = 0; i < MACHINE_INPUT_COUNT; i++) {
    inputs[i] = machine->inputs[i];
  }
  inputs[MACHINE_PEDAL] = 1.0;
  inputs[MACHINE_GRADE] = 0.0;
  inputs[MACHINE_PULL] = 0.0;
  inputs[MACHINE_BRAKE] = 0.0;
  machine_set_all(machine, inputs);
  memcpy(point.inputs, inputs, sizeof inputs);
  const char *words = NULL;
  return machine_settle_speed(machine, &point, &words) ? point.state[machine->speed] : NAN;
}

bool steady_speeds(struct machine *machine, const struct steady_options *options, double factor, double *speeds,
                   struct error *error) {
  double high = options->highest_speed;
  if (isnan(high)) {
    high = steady_top_speed(machine) * factor;
    if (isnan(high)) {
      return error_set(error, ERROR_RUN, "with full %s on the level the machine does not drive off",
                       machine_pedal_word(machine));
    }
    high = ceil(high * 3.6) / 3.6; /* a whole km/h */
  }
  double low = isnan(options->lowest_speed) ? high / options->speed_count : options->lowest_speed;
  if (!(low > 0.0) || !(high > low)) {
    return error_set(error, ERROR_USAGE, "speeds run from one above zero to a higher one");
  }
  for (int i = 0; i < options->speed_count; i++) {
    speeds[i] = options->speed_count > 1 ? low + (high - low) * i / (options->speed_count - 1) : high;
  }
  return true;
}
