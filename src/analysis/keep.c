#include "keep.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fluid.h"
#include "history.h"
#include "keep_runs.h"
#include "limiter.h"
#include "measures.h"
#include "registry.h"
#include "relief.h"
#include "volume.h"

#define FARTHEST 50.0       /* times and part of the value of the case that are tried */
#define SETTING_STEP 0.04   /* of the setting, between those tried */
#define SHARE_BRACKET 2e-3  /* of a value: no edge is known worse */
#define SETTING_BRACKET 1e4 /* Pa */
#define QUICKER 100.0       /* an ideal valve is so many times as quick */
#define LITTLE_VOLUME 0.1   /* of the lines' volume */
#define FINEST_SAMPLES 200000.0

const struct signal keep_part_rows[KEEP_PART_COUNT] = {
#define PART_ROW(name, text) {#name, QUANTITY_PRESSURE, REFERENCE_NONE, text},
    KEEP_PARTS(PART_ROW)
#undef PART_ROW
};

const char *const keep_what_if_names[KEEP_WHAT_IF_COUNT] = {
#define WHAT_IF_NAME(name, text) #name,
    KEEP_WHAT_IFS(WHAT_IF_NAME)
#undef WHAT_IF_NAME
};

const char *const keep_what_if_texts[KEEP_WHAT_IF_COUNT] = {
#define WHAT_IF_TEXT(name, text) text,
    KEEP_WHAT_IFS(WHAT_IF_TEXT)
#undef WHAT_IF_TEXT
};

/* The whole work, for the progress: the grids and their edges, then the what-ifs. */
#define SHARE_OF_PARAMETERS 0.9

struct search {
  struct keep *keep;
  const struct case_data *data;
  int jobs;
  const struct watcher *watcher;
};

/* ---- the numbers of the valve ---- */

static bool add_parameter(const struct search *search, const char *path, struct error *error) {
  struct keep *keep = search->keep;
  struct keep_parameter *parameter = &keep->parameters[keep->parameter_count++];
  parameter->path = path;
  parameter->in_share = strncmp(path, "relief.setting", strlen("relief.setting")) != 0;
  parameter->bracket = parameter->in_share ? SHARE_BRACKET : SETTING_BRACKET;
  return varied_parameter_find(search->data, path, &parameter->varied, error);
}

static bool add_parameters(const struct search *search, const struct relief_parameters *relief, struct error *error) {
  static const char *const of_first_order[] = {"relief.lag", NULL};
  static const char *const of_poppet[] = {"relief.poppet_damping", "relief.spring_rate", "relief.poppet_mass", NULL};
  const char *const *paths = relief->law == RELIEF_POPPET ? of_poppet : of_first_order;
  bool good = true;
  for (int i = 0; good && paths[i] != NULL; i++) {
    good = add_parameter(search, paths[i], error);
  }
  good = good && add_parameter(search, "relief.setting", error);
  return good && (relief->settings != RELIEF_EACH || add_parameter(search, "relief.setting_b", error));
}

/* The values tried first: evenly in ratio (a setting: in difference) about that of the case, within its bounds. */
static void lay_grid(struct keep_parameter *parameter) {
  const struct varied_parameter *varied = &parameter->varied;
  double middle = varied->value;
  double base = middle > 0.0 ? middle : 1e-3 * varied->ref.high;
  const int half = KEEP_POINTS / 2;
  parameter->count = 0;
  for (int i = 0; i < KEEP_POINTS; i++) {
    int from_middle = i - half;
    double value = parameter->in_share ? base * pow(FARTHEST, (double)from_middle / half)
                                       : base * (1.0 + SETTING_STEP * from_middle);
    value = from_middle == 0 ? middle : fmin(fmax(value, varied->ref.low), varied->ref.high);
    int place = parameter->count;
    while (place > 0 && parameter->trials[place - 1].value > value) { /* only where the middle is zero */
      parameter->trials[place] = parameter->trials[place - 1];
      place--;
    }
    if (place == 0 || parameter->trials[place - 1].value < value) {
      parameter->trials[place] = (struct keep_trial){.value = value};
      parameter->count++;
    }
  }
}

static bool holds(const struct keep_trial *trial, bool all) {
  return trial->verdict == LIMIT_KEPT && (!all || trial->all_kept);
}

/* Is the edge between trials i - 1 and i, of either judgement, to be known better? */
static bool is_wide_edge(const struct keep_parameter *parameter, int i) {
  const struct keep_trial *low = &parameter->trials[i - 1];
  const struct keep_trial *high = &parameter->trials[i];
  double width = parameter->in_share ? (high->value - low->value) / high->value : high->value - low->value;
  return width > parameter->bracket &&
         (holds(low, false) != holds(high, false) || holds(low, true) != holds(high, true));
}

static bool run_trials(const struct search *search, const struct keep_parameter *parameter, struct keep_trial *trials,
                       int count, double done, double then, struct error *error) {
  struct keep_order order = {.data = search->data,
                             .limit = search->keep->limit_index,
                             .varied = &parameter->varied,
                             .trials = trials,
                             .count = count,
                             .jobs = search->jobs,
                             .watcher = search->watcher,
                             .done = done,
                             .then = then};
  search->keep->runs += count;
  return keep_runs(&order, error);
}

/* Every edge between what holds and what does not is cut into as many pieces as there are jobs for, until its bracket
 * is small: no more is asked of what lies between two values tried than that it changes once. */
static bool close_edges(const struct search *search, struct keep_parameter *parameter, double done, double then,
                        struct error *error) {
  for (;;) {
    struct keep_trial more[KEEP_TRIALS];
    int edges = 0;
    int count = 0;
    for (int i = 1; i < parameter->count; i++) {
      edges += is_wide_edge(parameter, i);
    }
    int pieces = edges > 0 ? 1 + (search->jobs > edges ? search->jobs / edges : 1) : 0;
    for (int i = 1; i < parameter->count; i++) {
      for (int k = 1; is_wide_edge(parameter, i) && k < pieces && parameter->count + count < KEEP_TRIALS; k++) {
        double low = parameter->trials[i - 1].value;
        double high = parameter->trials[i].value;
        double share = (double)k / pieces;
        double value = parameter->in_share && low > 0.0 ? low * pow(high / low, share) : low + share * (high - low);
        more[count++] = (struct keep_trial){.value = value};
      }
    }
    if (count == 0) {
      return true;
    }
    if (!run_trials(search, parameter, more, count, done, then, error)) {
      return false;
    }
    for (int i = 0; i < count; i++) {
      int place = parameter->count++;
      while (place > 0 && parameter->trials[place - 1].value > more[i].value) {
        parameter->trials[place] = parameter->trials[place - 1];
        place--;
      }
      parameter->trials[place] = more[i];
    }
  }
}

static struct keep_ranges ranges_of(const struct keep_parameter *parameter, bool all) {
  struct keep_ranges ranges = {.chosen = -1};
  int last = parameter->count - 1;
  for (int i = 0; i <= last; i++) {
    if (!holds(&parameter->trials[i], all) || (i > 0 && holds(&parameter->trials[i - 1], all))) {
      continue;
    }
    int end = i;
    while (end < last && holds(&parameter->trials[end + 1], all)) {
      end++;
    }
    if (ranges.count < KEEP_RANGES) {
      ranges.at[ranges.count] =
          (struct keep_range){parameter->trials[i].value, parameter->trials[end].value, i == 0, end == last};
      if (ranges.chosen < 0 || parameter->trials[i].value <= parameter->varied.value) {
        ranges.chosen = ranges.count;
      }
    }
    ranges.count++;
  }
  return ranges;
}

static bool find_ranges(const struct search *search, struct error *error) {
  struct keep *keep = search->keep;
  for (int i = 0; i < keep->parameter_count; i++) {
    struct keep_parameter *parameter = &keep->parameters[i];
    double done = SHARE_OF_PARAMETERS * i / keep->parameter_count;
    double then = SHARE_OF_PARAMETERS * (i + 1) / keep->parameter_count;
    double middle = 0.5 * (done + then);
    lay_grid(parameter);
    if (!run_trials(search, parameter, parameter->trials, parameter->count, done, middle, error) ||
        !close_edges(search, parameter, middle, then, error)) {
      return false;
    }
    parameter->kept = ranges_of(parameter, false);
    parameter->all_kept = ranges_of(parameter, true);
  }
  return true;
}

/* ---- what if ---- */

/* One thing or several changed in a copy of the case. */
struct change {
  double quicker; /* times; 1: as it is */
  bool no_limiter;
  double volume; /* times */
};

/* In a tenth of the volume pressures move ten times as quickly: so must a valve that is to be ideal there. */
static const struct change changes[KEEP_WHAT_IF_COUNT] = {
    [KEEP_as_is] = {1.0, false, 1.0},
    [KEEP_ideal_valve] = {QUICKER, false, 1.0},
    [KEEP_half_as_ideal] = {0.5 * QUICKER, false, 1.0},
    [KEEP_no_limiter] = {1.0, true, 1.0},
    [KEEP_twice_the_volume] = {1.0, false, 2.0},
    [KEEP_half_the_volume] = {1.0, false, 0.5},
    [KEEP_ideal_no_limiter] = {QUICKER, true, 1.0},
    [KEEP_ideal_no_limiter_no_volume] = {QUICKER / LITTLE_VOLUME, true, LITTLE_VOLUME},
};

/* A valve with all its times shortened and its static curve kept: the lag; of a poppet the mass by the square and the
 * damping, which leaves its damping ratio; no friction. */
static void quicken(struct relief_parameters *relief, double times) {
  relief->lag /= times;
  relief->poppet_mass /= times * times;
  relief->poppet_damping /= times;
  relief->poppet_friction = times > 1.0 ? 0.0 : relief->poppet_friction;
}

static bool apply(struct case_data *copy, const struct change *change, struct error *error) {
  const struct plant *plant = copy->plant;
  struct relief_parameters *relief = registry_need_section(plant, copy->parameters, "relief", error);
  if (relief == NULL) {
    return false;
  }
  quicken(relief, change->quicker);
  if (plant == &valve_rig_plant) {
    double *volume = registry_need_parameter(plant, copy->parameters, "rig", "volume", error);
    double *rise = registry_need_parameter(plant, copy->parameters, "rig", "rise", error);
    if (volume == NULL || rise == NULL) {
      return false;
    }
    *volume *= change->volume;
    *rise /= change->volume; /* the same feed into another volume */
    return true;
  }
  struct limiter_parameters *limiter = registry_need_section(plant, copy->parameters, "limiter", error);
  struct lines_parameters *lines = registry_need_section(plant, copy->parameters, "lines", error);
  if (limiter == NULL || lines == NULL) {
    return false;
  }
  limiter->fitted = change->no_limiter ? LIMITER_ABSENT : limiter->fitted;
  lines->volume_a *= change->volume;
  lines->volume_b *= change->volume;
  return true;
}

/* Which valve's peak the limit is about: 0 or 1; -1: none. */
static int valve_of(const struct keep *keep) {
  const char *name = keep->limit.keep.name;
  if (keep->limit.keep.above) {
    return -1;
  }
  bool a = strcmp(name, "line_a_pressure") == 0 || strcmp(name, "peak_line_a_pressure") == 0;
  bool b = strcmp(name, "line_b_pressure") == 0 || strcmp(name, "peak_line_b_pressure") == 0;
  return a ? 0 : b ? 1 : -1;
}

/* The pressure, Pa gauge, where the valve returns its oil, at time t of the case's run. */
static bool return_pressure_at(const struct search *search, struct case_data *copy, int valve, double t,
                               double *pressure, struct error *error) {
  const struct plant *plant = copy->plant;
  if (plant == &valve_rig_plant) {
    const double *of_case = registry_need_parameter(plant, copy->parameters, "rig", "case_pressure", error);
    *pressure = of_case != NULL ? *of_case : NAN;
    return of_case != NULL;
  }
  const struct relief_parameters *relief = registry_need_section(plant, copy->parameters, "relief", error);
  if (relief == NULL) {
    return false;
  }
  struct history history = {0};
  int column;
  const char *name = relief->return_to == RELIEF_TO_GALLERY ? "charge_pressure"
                     : valve == 0                           ? "line_b_pressure"
                                                            : "line_a_pressure";
  copy->simulation.output_step = fmax(copy->simulation.end_time / FINEST_SAMPLES, 1e-6);
  struct recorder recorder = {&history, history_block};
  struct outcome outcome = {0};
  bool good = history_need(&history, plant, name, &column, error) &&
              run_case(copy, &recorder, search->watcher, &outcome, error);
  *pressure = good ? history_at(history.time, history.values[column], history.count, t) : NAN;
  search->keep->runs++;
  history_free(&history);
  outcome_free(&outcome);
  return good;
}

/* The worst of each what-if; of the last one also where the valve returns its oil at its peak. */
static bool find_what_ifs(const struct search *search, double *return_pressure, struct error *error) {
  struct keep *keep = search->keep;
  int valve = valve_of(keep);
  bool rig = search->data->plant == &valve_rig_plant;
  *return_pressure = NAN;
  for (int i = 0; i < KEEP_WHAT_IF_COUNT; i++) {
    struct case_data copy;
    struct outcome outcome = {0};
    struct keep_trial trial = {.worst = NAN};
    if (rig && i == KEEP_no_limiter) {
      keep->what_ifs[i] = NAN;
      (void)snprintf(keep->what_if_absent[i], sizeof keep->what_if_absent[i], "no pressure limiter here");
      continue;
    }
    if (!case_copy(search->data, &copy, error)) {
      return false;
    }
    struct error refused = {0};
    bool good = apply(&copy, &changes[i], error);
    bool ran = good && run_case(&copy, NULL, search->watcher, &outcome, &refused);
    if (ran && outcome.status == RUN_INTERRUPTED) {
      good = error_set(error, ERROR_RUN, "interrupted");
    }
    double time = NAN;
    if (ran) {
      keep_judge(&outcome, keep->limit_index, &trial);
      time = outcome.limit_count > keep->limit_index ? outcome.limits[keep->limit_index].time : NAN;
    }
    keep->runs++;
    keep->what_ifs[i] = trial.worst;
    (void)snprintf(keep->what_if_absent[i], sizeof keep->what_if_absent[i], "%.90s", ran ? trial.why : refused.text);
    if (good && i == KEEP_ideal_no_limiter_no_volume && valve >= 0 && !isnan(trial.worst)) {
      if (isnan(time)) { /* the limit is of the measure */
        time = outcome.measures[valve == 0 ? MEASURE_peak_line_a_pressure_time : MEASURE_peak_line_b_pressure_time];
      }
      good = return_pressure_at(search, &copy, valve, time, return_pressure, error);
    }
    outcome_free(&outcome);
    case_free(&copy);
    if (!good) {
      return false;
    }
  }
  return true;
}

static void give_part(struct keep *keep, enum keep_part part, double value, const char *why) {
  keep->parts[part] = value;
  (void)snprintf(keep->part_absent[part], sizeof keep->part_absent[part], "%s", isnan(value) ? why : "");
}

/* One thing after the other is made as it is: each part is what that changes. */
static void split_peak(const struct search *search, double return_pressure, const struct relief_parameters *relief) {
  struct keep *keep = search->keep;
  int valve = valve_of(keep);
  const char *why = "only the peak of a line's pressure is split: the limit is of another kind";
  if (valve >= 0) {
    why = "one of the runs that the split needs is not judged, or no valve opens in it";
  }
  const double *peak = keep->what_ifs;
  double setting = valve == 1 ? relief_valve_b(relief).setting : relief->setting;
  double still = peak[KEEP_ideal_no_limiter_no_volume];
  bool opens = valve >= 0 && still - return_pressure >= setting;
  double none = opens ? 0.0 : NAN;
  give_part(keep, KEEP_PART_return_pressure, return_pressure + none, why);
  give_part(keep, KEEP_PART_setting, setting + none, why);
  give_part(keep, KEEP_PART_static_override, still - return_pressure - setting + none, why);
  give_part(keep, KEEP_PART_volume, peak[KEEP_ideal_no_limiter] - still + none, why);
  give_part(keep, KEEP_PART_limiter, peak[KEEP_ideal_valve] - peak[KEEP_ideal_no_limiter] + none, why);
  give_part(keep, KEEP_PART_valve_lag, peak[KEEP_as_is] - peak[KEEP_ideal_valve] + none, why);
}

bool keep_find(const struct case_data *data, int jobs, const struct watcher *watcher, struct keep *keep,
               struct error *error) {
  memset(keep, 0, sizeof *keep);
  struct search search = {keep, data, jobs, watcher};
  const struct relief_parameters *relief = registry_need_section(data->plant, data->parameters, "relief", error);
  if (relief == NULL || data->limit_count == 0) {
    return false;
  }
  keep->limit_index = data->limit_count - 1;
  keep->limit = data->limits[keep->limit_index];
  const struct condition *condition = &keep->limit.keep;
  keep->quantity = condition->signal >= 0 ? data->plant->signals[condition->signal].quantity
                                          : measure_rows[condition->measure].quantity;
  if (!run_case(data, NULL, watcher, &keep->outcome, error)) {
    return false;
  }
  keep->runs++;
  if (keep->outcome.status == RUN_FAILED) {
    *error = keep->outcome.error;
    return false;
  }
  if (keep->outcome.status == RUN_INTERRUPTED) {
    return error_set(error, ERROR_RUN, "interrupted");
  }
  keep->worst = keep->outcome.limits[keep->limit_index].worst;
  keep->margin = condition->above ? keep->worst - condition->level : condition->level - keep->worst;
  double return_pressure;
  if (!add_parameters(&search, relief, error) || !find_ranges(&search, error) ||
      !find_what_ifs(&search, &return_pressure, error)) {
    return false;
  }
  split_peak(&search, return_pressure, relief);
  return true;
}

void keep_free(struct keep *keep) {
  outcome_free(&keep->outcome);
}
