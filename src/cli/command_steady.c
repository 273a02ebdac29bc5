/* swashloop steady */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "chart_output.h"
#include "commands.h"
#include "steady.h"
#include "text.h"

typedef bool map_function(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                          struct error *error);

enum { TABLE_COLUMNS = 9 };

struct map_row {
  const char *name;
  map_function *make; /* NULL: the point */
  const char *heading;
  const char *columns[TABLE_COLUMNS];
  const char *heads[TABLE_COLUMNS];
};

static const struct map_row maps[] = {
    {"hold_back",
     steady_hold_back,
     "Downgrade that the drive holds, without the friction brake",
     {"speed", "grade_held", "limit", "engine_speed", "line_b_pressure", "grade_engine_braking", "grade_relief",
      "grade_grip", "grade_heat"},
     {"speed", "grade held", "ended by", "engine", "line B", "engine braking", "relief", "grip", "heat"}},
    {"tractive_effort",
     steady_tractive_effort,
     "Pull on the level",
     {"speed", "pull", "limit", "pedal", "engine_speed", "line_a_pressure", "motor_displacement", "wheel_slip", NULL},
     {"speed", "most pull", "ended by", "pedal", "engine", "line A", "motor", "slip", NULL}},
    {"grade_ability",
     steady_grade_ability,
     "Grade that the machine climbs",
     {"speed", "grade", "limit", "pedal", "engine_speed", "line_a_pressure", "motor_displacement", "wheel_slip", NULL},
     {"speed", "steepest", "ended by", "pedal", "engine", "line A", "motor", "slip", NULL}},
    {"efficiency",
     steady_efficiency,
     "Efficiency on the level",
     {"speed", "best_transmission_efficiency", "pull_of_best", NULL},
     {"speed", "best transmission", "at a pull of", NULL}},
    {"point", NULL, "A point of steady drive", {NULL}, {NULL}},
};

enum { MAP_COUNT = (int)(sizeof maps / sizeof maps[0]) };

struct request {
  struct asked asked;
  const struct map_row *map;
  bool map_named;
  struct steady_options options;
  struct steady_given given;
  bool hot;             /* the oil of a point, as where heat ends a map */
  double exhaust_brake; /* NaN: as the case */
  double throttle;
};
static bool read_map(void *context, const char *name, struct error *error) {
  struct request *request = context;
  request->map_named = true;
  for (int i = 0; i < MAP_COUNT; i++) {
    if (strcmp(maps[i].name, name) == 0) {
      request->map = &maps[i];
      return true;
    }
  }
  return error_set(error, ERROR_USAGE,
                   "no map '%s'; there are hold_back, tractive_effort, grade_ability, efficiency and point", name);
}

static bool read_steps(void *context, const char *text, struct error *error) {
  struct request *request = context;
  char *end = NULL;
  long number = strtol(text, &end, 10);
  if (end == text || *end != '\0' || number < 2 || number > 1000) {
    return error_set(error, ERROR_USAGE, "option '--steps': found '%s', expected a whole number from 2 to 1000", text);
  }
  request->options.speed_count = (int)number;
  return true;
}

static const struct option_row options[] = {
    OPTION_READ("map", 'm', "NAME", read_map,
                "hold_back (default), tractive_effort, grade_ability, efficiency or point"),
    OPTION_ANY_AMOUNT("speed", "SPEED", given.speed, SPEED, "point: the steady speed"),
    OPTION_ANY_AMOUNT("grade", "GRADE", given.grade, FRACTION, "point: the grade, uphill positive"),
    OPTION_ANY_AMOUNT("pull", "FORCE", given.pull, FORCE, "point: pull at the drawbar"),
    OPTION_ANY_AMOUNT("pedal", "SHARE", given.pedal, FRACTION,
                      "point: the pedal, or the accelerator that commands the drive; backward negative"),
    OPTION_FLAG("hot", hot, "point: the loop at --loop-limit, all behind it in thermal balance with it"),
    OPTION_ANY_AMOUNT("from", "SPEED", options.lowest_speed, SPEED, "maps: the lowest speed"),
    OPTION_ANY_AMOUNT("to", "SPEED", options.highest_speed, SPEED, "maps: the highest speed"),
    OPTION_READ("steps", '\0', "N", read_steps, "maps: how many speeds (default 40)"),
    OPTION_ANY_AMOUNT("engine-limit", "SPEED", options.allowed_engine_speed, ANGULAR_SPEED,
                      "highest engine speed allowed in overrun (default: engine.overspeed_alarm)"),
    OPTION_ANY_AMOUNT("loop-limit", "TEMP", options.hot, TEMPERATURE,
                      "highest loop oil temperature in thermal balance (default 95 degC)"),
    OPTION_ANY_AMOUNT("exhaust-brake", "SHARE", exhaust_brake, FRACTION,
                      "how far the exhaust brake is pressed (default: as the case at its start)"),
    OPTION_ANY_AMOUNT("throttle", "SHARE", throttle, FRACTION, "engine set speed over the engine's set_speed"),
    OPTION_OUTPUT("also write the answer as a file (HDF5, opens as netCDF-4; tools/plot draws it)"),
    OPTION_SET,
    OPTION_JSON("print the answer as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool check_request(void *context, struct error *error) {
  struct request *request = context;
  if (request->asked.file == NULL) {
    return error_set(error, ERROR_USAGE, "which case? usage: swashloop steady CASE [--map NAME]");
  }
  bool any_given = !isnan(request->given.speed) || !isnan(request->given.grade) || !isnan(request->given.pull) ||
                   !isnan(request->given.pedal) || request->hot;
  if (!request->map_named && any_given) {
    request->map = &maps[MAP_COUNT - 1];
  }
  if (any_given && request->map->make != NULL) {
    return error_set(error, ERROR_USAGE, "--speed, --grade, --pull, --pedal and --hot belong to --map point");
  }
  return true;
}

static void print_text(const struct request *request, const struct case_data *data,
                       const struct steady_answer *answer) {
  const struct map_row *map = request->map;
  (void)printf("%s\ncase %s\n\n%s\n", shown(data->title).text, shown(data->source).text, map->heading);
  if (map->make == NULL) {
    chart_print_values(stdout, &answer->charts[0]);
    (void)printf("\nPower\n");
    chart_print_values(stdout, &answer->charts[1]);
  } else {
    int count = 0;
    while (count < TABLE_COLUMNS && map->columns[count] != NULL) {
      count++;
    }
    chart_print_table(stdout, &answer->charts[0], map->columns, map->heads, count);
  }
  for (int i = 0; i < answer->word_count; i++) {
    (void)printf("%s%s\n", i == 0 ? "\n" : "", answer->words[i]);
  }
  if (request->asked.output != NULL) {
    (void)printf("\nfile %s\n", shown(request->asked.output).text);
  }
}

static void print_json(const struct request *request, const struct case_data *data,
                       const struct steady_answer *answer) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "steady");
  json_text(&json, "map", request->map->name);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  for (int i = 0; i < answer->chart_count; i++) {
    if (answer->charts[i].name[0] != '\0') {
      json_begin_object(&json, answer->charts[i].name);
    }
    chart_json(&json, &answer->charts[i]);
    if (answer->charts[i].name[0] != '\0') {
      json_end_object(&json);
    }
  }
  json_begin_list(&json, "words");
  for (int i = 0; i < answer->word_count; i++) {
    json_text(&json, NULL, answer->words[i]);
  }
  json_end_list(&json);
  answers_json_end(&json, request->asked.output);
}

static bool write_file(const struct request *request, const struct case_data *data, const struct machine *machine,
                       const struct steady_answer *answer, const char *command, struct error *error) {
  struct answer_file *file =
      answer_open(request->asked.output, request->map->name, data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  struct answer_meaning engine = {
      {"allowed_engine_speed", QUANTITY_ANGULAR_SPEED, REFERENCE_NONE, "highest engine speed allowed in overrun"},
      NULL};
  struct answer_meaning hot = {
      {"highest_loop_temperature", QUANTITY_TEMPERATURE, REFERENCE_NONE, "highest loop oil temperature allowed"}, NULL};
  answer_value(file, &engine, machine->allowed_overspeed, NULL);
  answer_value(file, &hot, machine->hot, NULL);
  for (int i = 0; i < answer->chart_count; i++) {
    chart_write(file, &answer->charts[i]);
  }
  answer_group(file, "", "");
  for (int i = 0; i < answer->word_count; i++) {
    char name[32];
    (void)snprintf(name, sizeof name, "words_%d", i + 1);
    answer_words(file, name, answer->words[i]);
  }
  return answer_close(file, error);
}

static bool make_map(const struct request *request, struct machine *machine, struct steady_answer *answer,
                     struct error *error) {
  if (!isnan(request->exhaust_brake)) {
    machine_set(machine, MACHINE_EXHAUST_BRAKE, request->exhaust_brake);
  }
  if (!isnan(request->throttle)) {
    machine_set(machine, MACHINE_THROTTLE, request->throttle);
  }
  if (!isnan(request->options.allowed_engine_speed)) {
    machine->allowed_overspeed = request->options.allowed_engine_speed;
  }
  machine->hot = request->options.hot;
  machine->warm = request->hot;
  return request->map->make != NULL ? request->map->make(machine, &request->options, answer, error)
                                    : steady_point(machine, &request->given, answer, error);
}

static int answer_request(const struct request *request, struct machine *machine, struct steady_answer *answer,
                          const struct case_data *data, const char *command) {
  struct error error = {0};
  if (!make_map(request, machine, answer, &error) ||
      (request->asked.output != NULL && !write_file(request, data, machine, answer, command, &error))) {
    return terminal_error(&error);
  }
  if (request->asked.json && !request->asked.quiet) {
    print_json(request, data, answer);
  } else if (!request->asked.quiet) {
    print_text(request, data, answer);
  }
  return EXIT_DONE;
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct error error = {0};
  int code;
  struct machine *machine = calloc(1, sizeof *machine);
  struct steady_answer *answer = calloc(1, sizeof *answer);
  if (machine == NULL || answer == NULL) {
    error_set(&error, ERROR_MEMORY, "out of memory");
    code = terminal_error(&error);
  } else if (!machine_open(data, machine, &error)) {
    code = terminal_error(&error);
  } else {
    code = answer_request(request, machine, answer, data, command);
    steady_answer_free(answer);
    machine_close(machine);
  }
  free(answer);
  free(machine);
  return code;
}

int command_steady(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "steady",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head = "usage: swashloop steady CASE [--map NAME] [options]\n\n"
                      "What the machine of a case can do in steady drive, found by solving for balance: no run over "
                      "time.\n\n"
                      "  hold_back        steepest downgrade held at each speed, and what ends it: engine braking, "
                      "relief, grip, heat\n"
                      "  tractive_effort  pull over speed, the envelope and for settings of pump and motor, with its "
                      "corner points\n"
                      "  grade_ability    steepest climb at each speed\n"
                      "  efficiency       of transmission and whole drive over speed and pull\n"
                      "  point            one point: give --speed and --grade (or --pull) to find the pedal, --speed "
                      "and --pedal to "
                      "find\n"
                      "                   the grade, --pedal and --grade to find the speed\n\n"
                      "  swashloop steady cases/downhill.yaml --engine-limit \"2520 rpm\"\n"
                      "  swashloop steady cases/climb.yaml --map point --speed \"8 km/h\" --grade \"20 %\"\n\n",
              .tail = "\nOil temperatures are those at the case's start but for heat, which is judged in thermal "
                      "balance. A\n"
                      "question without a steady answer ends with exit code 1 and the reason.\n\n" CAUTION "\n",
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {
      .options = {.allowed_engine_speed = NAN,
                  .hot = 273.15 + 95.0,
                  .lowest_speed = NAN,
                  .highest_speed = NAN,
                  .speed_count = 40,
                  .lowest_pull = NAN,
                  .highest_pull = NAN,
                  .pull_count = 30},
      .given = {NAN, NAN, NAN, NAN},
      .map = &maps[0],
      .exhaust_brake = NAN,
      .throttle = NAN,
  };
  return answers_command(&command, &request.asked, argument_count, arguments);
}
