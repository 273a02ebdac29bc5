/* swashloop steady */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "chart_output.h"
#include "commands.h"
#include "options.h"
#include "steady.h"
#include "terminal.h"
#include "units.h"

static const struct option_row options[] = {
    {"map", 'm', "NAME", "hold_back (default), tractive_effort, grade_ability, efficiency or point"},
    {"speed", '\0', "SPEED", "point: the steady speed"},
    {"grade", '\0', "GRADE", "point: the grade, uphill positive"},
    {"pull", '\0', "FORCE", "point: pull at the drawbar"},
    {"pedal", '\0', "SHARE", "point: the pedal, backward negative"},
    {"from", '\0', "SPEED", "maps: the lowest speed"},
    {"to", '\0', "SPEED", "maps: the highest speed"},
    {"steps", '\0', "N", "maps: how many speeds (default 40)"},
    {"engine-limit", '\0', "SPEED", "highest engine speed allowed in overrun (default: engine.told_overspeed)"},
    {"loop-limit", '\0', "TEMP", "highest loop oil temperature in thermal balance (default 95 degC)"},
    {"exhaust-brake", '\0', "SHARE", "how far the exhaust brake is pressed (default: as the case at its start)"},
    {"throttle", '\0', "SHARE", "engine set speed over the engine's set_speed"},
    {"output", 'o', "FILE", "also write the answer as a file (HDF5, opens as netCDF-4; tools/plot draws it)"},
    {"set", '\0', "PATH=VALUE", "change a parameter after the case is read; may stand several times"},
    {"json", '\0', NULL, "print the answer as one JSON document, numbers in SI"},
    {"help", 'h', NULL, "print this"},
};

enum {
  MAP,
  SPEED,
  GRADE,
  PULL,
  PEDAL,
  FROM,
  TO,
  STEPS,
  ENGINE_LIMIT,
  LOOP_LIMIT,
  EXHAUST_BRAKE,
  THROTTLE,
  OUTPUT,
  SET,
  JSON,
  HELP,
  OPTION_COUNT
};

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
  const char *case_file;
  const char *output;
  const struct map_row *map;
  bool map_named;
  const char **sets;
  int set_count;
  struct steady_options options;
  struct steady_given given;
  double exhaust_brake; /* NaN: as the case */
  double throttle;
  bool json;
  bool help;
};

static void print_help(void) {
  (void)fputs(
      "usage: swashloop steady CASE [--map NAME] [options]\n\n"
      "What the machine of a case can do in steady drive, found by solving for balance: no run over time.\n\n"
      "  hold_back        steepest downgrade held at each speed, and what ends it: engine braking, relief, grip, heat\n"
      "  tractive_effort  pull over speed, the envelope and for settings of pump and motor, with its corner points\n"
      "  grade_ability    steepest climb at each speed\n"
      "  efficiency       of transmission and whole drive over speed and pull\n"
      "  point            one point: give --speed and --grade (or --pull) to find the pedal, --speed and --pedal to "
      "find\n"
      "                   the grade, --pedal and --grade to find the speed\n\n"
      "  swashloop steady cases/downhill.yaml --engine-limit \"2520 rpm\"\n"
      "  swashloop steady cases/climb.yaml --map point --speed \"8 km/h\" --grade \"20 %\"\n\n",
      stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs(
      "\nOil temperatures are those at the case's start but for heat, which is looked at in thermal balance. A\n"
      "question without a steady answer ends with exit code 1 and the reason.\n\n" CAUTION "\n",
      stdout);
}

static bool read_value(const char *option, enum quantity quantity, const char *text, double *si, struct error *error) {
  struct error inner = {0};
  if (!units_read(quantity, text, si, &inner)) {
    return error_set(error, ERROR_USAGE, "option '--%s': %s", option, inner.text);
  }
  return true;
}

static bool read_map(const char *name, const struct map_row **map, struct error *error) {
  for (int i = 0; i < MAP_COUNT; i++) {
    if (strcmp(maps[i].name, name) == 0) {
      *map = &maps[i];
      return true;
    }
  }
  return error_set(error, ERROR_USAGE,
                   "no map '%s'; there are hold_back, tractive_effort, grade_ability, efficiency and point", name);
}

static bool read_steps(const char *text, int *count, struct error *error) {
  char *end = NULL;
  long number = strtol(text, &end, 10);
  if (end == text || *end != '\0' || number < 2 || number > 1000) {
    return error_set(error, ERROR_USAGE, "option '--steps': found '%s', expected a whole number from 2 to 1000", text);
  }
  *count = (int)number;
  return true;
}

static bool read_option(struct request *request, int option, const char *value, struct error *error) {
  const char *name = options[option].name;
  struct steady_options *wanted = &request->options;
  switch (option) {
  case MAP:
    request->map_named = true;
    return read_map(value, &request->map, error);
  case SPEED:
    return read_value(name, QUANTITY_SPEED, value, &request->given.speed, error);
  case GRADE:
    return read_value(name, QUANTITY_FRACTION, value, &request->given.grade, error);
  case PULL:
    return read_value(name, QUANTITY_FORCE, value, &request->given.pull, error);
  case PEDAL:
    return read_value(name, QUANTITY_FRACTION, value, &request->given.pedal, error);
  case FROM:
    return read_value(name, QUANTITY_SPEED, value, &wanted->lowest_speed, error);
  case TO:
    return read_value(name, QUANTITY_SPEED, value, &wanted->highest_speed, error);
  case STEPS:
    return read_steps(value, &wanted->speed_count, error);
  case ENGINE_LIMIT:
    return read_value(name, QUANTITY_ANGULAR_SPEED, value, &wanted->allowed_engine_speed, error);
  case LOOP_LIMIT:
    return read_value(name, QUANTITY_TEMPERATURE, value, &wanted->hot, error);
  case EXHAUST_BRAKE:
    return read_value(name, QUANTITY_FRACTION, value, &request->exhaust_brake, error);
  case THROTTLE:
    return read_value(name, QUANTITY_FRACTION, value, &request->throttle, error);
  case OUTPUT:
    request->output = value;
    return true;
  case SET:
    request->sets[request->set_count++] = value;
    return true;
  case JSON:
    request->json = true;
    return true;
  default:
    request->help = true;
    return true;
  }
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    int option = option_next(&reader, error);
    if (option == OPTION_END) {
      break;
    }
    if (option == OPTION_BAD) {
      return false;
    }
    if (option == OPTION_WORD) {
      if (request->case_file != NULL) {
        return error_set(error, ERROR_USAGE, "one case at a time: found '%s' behind '%s'", reader.value,
                         request->case_file);
      }
      request->case_file = reader.value;
    } else if (!read_option(request, option, reader.value, error)) {
      return false;
    }
  }
  if (!request->help && request->case_file == NULL) {
    return error_set(error, ERROR_USAGE, "which case? usage: swashloop steady CASE [--map NAME]");
  }
  bool any_given = !isnan(request->given.speed) || !isnan(request->given.grade) || !isnan(request->given.pull) ||
                   !isnan(request->given.pedal);
  if (!request->map_named && any_given) {
    request->map = &maps[MAP_COUNT - 1];
  }
  if (any_given && request->map->make != NULL) {
    return error_set(error, ERROR_USAGE, "--speed, --grade, --pull and --pedal belong to --map point");
  }
  return true;
}

static void print_text(const struct request *request, const struct case_data *data,
                       const struct steady_answer *answer) {
  const struct map_row *map = request->map;
  (void)printf("%s\ncase %s\n\n%s\n", data->title, data->source, map->heading);
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
  if (request->output != NULL) {
    (void)printf("\nfile %s\n", request->output);
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
  json_text(&json, "file", request->output);
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
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_text(&json, "caution", CAUTION);
  json_end_object(&json);
}

static bool write_file(const struct request *request, const struct case_data *data, const struct machine *machine,
                       const struct steady_answer *answer, struct error *error) {
  char command[256];
  (void)snprintf(command, sizeof command, "swashloop steady --map %s %s", request->map->name, request->case_file);
  struct answer_file *file =
      answer_open(request->output, request->map->name, data->title, data->resolved, command, error);
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
  return request->map->make != NULL ? request->map->make(machine, &request->options, answer, error)
                                    : steady_point(machine, &request->given, answer, error);
}

static int answer_request(const struct request *request, struct machine *machine, struct steady_answer *answer,
                          const struct case_data *data) {
  struct error error = {0};
  if (!make_map(request, machine, answer, &error) ||
      (request->output != NULL && !write_file(request, data, machine, answer, &error))) {
    return terminal_error(&error);
  }
  if (request->json) {
    print_json(request, data, answer);
  } else {
    print_text(request, data, answer);
  }
  return EXIT_DONE;
}

static int steady(struct request *request, int argument_count, char **arguments) {
  struct error error = {0};
  struct case_data data;
  if (!read_request(argument_count, arguments, request, &error)) {
    return terminal_error(&error);
  }
  if (request->help) {
    print_help();
    return EXIT_DONE;
  }
  if (!case_load(request->case_file, request->sets, request->set_count, &data, &error)) {
    return terminal_error(&error);
  }
  int code;
  struct machine *machine = calloc(1, sizeof *machine);
  struct steady_answer *answer = calloc(1, sizeof *answer);
  if (machine == NULL || answer == NULL) {
    error_set(&error, ERROR_MEMORY, "out of memory");
    code = terminal_error(&error);
  } else if (!machine_open(&data, machine, &error)) {
    code = terminal_error(&error);
  } else {
    code = answer_request(request, machine, answer, &data);
    steady_answer_free(answer);
    machine_close(machine);
  }
  free(answer);
  free(machine);
  case_free(&data);
  return code;
}

int command_steady(int argument_count, char **arguments) {
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
  request.sets = (const char **)calloc((size_t)argument_count + 1, sizeof *request.sets);
  if (request.sets == NULL) {
    return EXIT_RUN_FAILED;
  }
  int code = steady(&request, argument_count, arguments);
  units_close();
  free((void *)request.sets);
  return code;
}
