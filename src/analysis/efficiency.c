/* Efficiency over speed and pull, on the level, each with the pedal that gives the speed. Transmission: power of the
 * motors' shafts over that of pump and charge pump. Whole drive: power at the drawbar over the engine's at the
 * flywheel. */
#include <math.h>
#include <string.h>

#include "scan.h"
#include "steady.h"

enum { REPORTED_COUNT = 6 };

static const enum machine_signal reported[REPORTED_COUNT] = {READ_engine_speed, READ_line_a_pressure,
                                                             READ_pump_stroke,  READ_motor_displacement,
                                                             READ_wheel_slip,   READ_loop_heat};

struct efficiencies {
  double transmission;
  double pump_to_motor; /* without the charge pump */
  double whole;
};

static struct efficiencies efficiencies_of(const struct machine *machine, const struct machine_point *point,
                                           const double *signals) {
  struct efficiencies result;
  double engine_speed = signals[machine_signal(machine, READ_engine_speed)];
  double shaft = signals[machine_signal(machine, READ_engine_torque)] * engine_speed -
                 signals[machine_signal(machine, READ_implement_power)]; /* what is left for the drive */
  double pump = signals[machine_signal(machine, READ_pump_torque)] * engine_speed;
  double motor =
      signals[machine_signal(machine, READ_motor_torque)] * signals[machine_signal(machine, READ_motor_speed)];
  result.transmission = motor / shaft;
  result.pump_to_motor = motor / pump;
  result.whole = point->inputs[MACHINE_PULL] * point->state[machine->speed] / shaft;
  return result;
}

static double largest_pull(struct machine *machine, double speed, const struct machine_point *from) {
  struct scan scan;
  scan_pedal(machine, speed, MACHINE_PULL, from, &scan);
  int best = scan_extremum(&scan, 1.0);
  return best >= 0 ? scan.points[best].at.inputs[MACHINE_PULL] : NAN;
}

bool steady_efficiency(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                       struct error *error) {
  int count = options->speed_count;
  int pulls = options->pull_count;
  struct chart *chart = &answer->charts[answer->chart_count++];
  chart_begin(chart, "", "efficiency on the level over speed and pull");
  double *speed_axis = chart_axis(chart, "speed", QUANTITY_SPEED, "steady speed", count);
  double *pull_axis = chart_axis(chart, "pull", QUANTITY_FORCE, "pull at the drawbar", pulls);
  struct signal transmission_row = {"transmission_efficiency", QUANTITY_FRACTION, REFERENCE_NONE,
                                    "motor shafts over pump and charge pump"};
  struct signal pump_row = {"pump_to_motor_efficiency", QUANTITY_FRACTION, REFERENCE_NONE, "motor shafts over pump"};
  struct signal whole_row = {"drive_efficiency", QUANTITY_FRACTION, REFERENCE_NONE, "drawbar over flywheel"};
  struct signal pedal_row = {"pedal", QUANTITY_FRACTION, REFERENCE_NONE, "pedal that gives the speed"};
  struct signal best_row = {"best_transmission_efficiency", QUANTITY_FRACTION, REFERENCE_NONE,
                            "best efficiency of the transmission at this speed"};
  struct signal place_row = {"pull_of_best", QUANTITY_FORCE, REFERENCE_NONE, "pull of the best efficiency"};
  double *transmission = chart_column(chart, 2, transmission_row);
  double *pump = chart_column(chart, 2, pump_row);
  double *whole = chart_column(chart, 2, whole_row);
  double *pedal = chart_column(chart, 2, pedal_row);
  double *best = chart_column(chart, 1, best_row);
  double *place = chart_column(chart, 1, place_row);
  double *columns[REPORTED_COUNT];
  int index[REPORTED_COUNT];
  for (int k = 0; k < REPORTED_COUNT; k++) {
    index[k] = machine_signal(machine, reported[k]);
    columns[k] = chart_column(chart, 2, machine->data.plant->signals[index[k]]);
  }
  if (chart->failed) {
    return error_set(error, ERROR_MEMORY, "out of memory for the map");
  }
  if (!steady_speeds(machine, options, 1.0, speed_axis, error)) {
    return false;
  }
  struct machine_point from;
  memset(&from, 0, sizeof from);
  memcpy(from.inputs, machine->inputs, sizeof from.inputs);
  from.inputs[MACHINE_GRADE] = 0.0;
  from.inputs[MACHINE_PULL] = 0.0;
  from.inputs[MACHINE_BRAKE] = 0.0;
  double high = isnan(options->highest_pull) ? largest_pull(machine, speed_axis[0], &from) : options->highest_pull;
  double low = isnan(options->lowest_pull) ? high / pulls : options->lowest_pull;
  if (!(high > low)) {
    return error_set(error, ERROR_RUN, "the machine has no pull at its lowest speed");
  }
  for (int k = 0; k < pulls; k++) {
    pull_axis[k] = pulls > 1 ? low + (high - low) * k / (pulls - 1) : high;
  }
  struct scan scan;
  double top = 0.0;
  int top_speed = 0;
  int top_pull = 0;
  for (int i = 0; i < count; i++) {
    scan_pedal(machine, speed_axis[i], MACHINE_PULL, &from, &scan);
    for (int k = 0; k < pulls; k++) {
      struct machine_point point;
      if (!scan_pedal_for(machine, &scan, pull_axis[k], &point)) {
        continue;
      }
      double signals[PLANT_SIGNAL_LIMIT];
      int at = i * pulls + k;
      machine_signals(machine, &point, signals);
      struct efficiencies here = efficiencies_of(machine, &point, signals);
      transmission[at] = here.transmission;
      pump[at] = here.pump_to_motor;
      whole[at] = here.whole;
      pedal[at] = point.inputs[MACHINE_PEDAL];
      for (int s = 0; s < REPORTED_COUNT; s++) {
        columns[s][at] = signals[index[s]];
      }
      if (isnan(best[i]) || here.transmission > best[i]) {
        best[i] = here.transmission;
        place[i] = pull_axis[k];
      }
      if (here.transmission > top) {
        top = here.transmission;
        top_speed = i;
        top_pull = k;
      }
    }
  }
  steady_say(answer, "best transmission efficiency %.1f %% at %.1f km/h and a pull of %.1f kN", 100.0 * top,
             3.6 * speed_axis[top_speed], 1e-3 * pull_axis[top_pull]);
  return true;
}
