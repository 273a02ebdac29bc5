/* The modes of a driver on a course: onto a leg, from stretch to stretch, arrival, dwell, and when the service brake is
 * taken (driver.h, course.h). */
#include "transmission.h"

const char *transmission_course_refusal(const struct transmission_parameters *own) {
  const struct operator_parameters *asks = &own->operator;
  bool pedals = asks->pedal.count > 0 || asks->direction.count > 0 || asks->forward_pedal.count > 0 ||
                asks->reverse_pedal.count > 0;
  bool smooth = own->ground.grade.smooth || own->ground.grip.smooth || own->ground.cone_index.smooth ||
                own->ground.rolling_resistance.smooth;
  const char *why_not =
      driver_refusal(&own->driver, own->course.to.count, asks->layout == OPERATOR_ACCELERATOR_AND_DIRECTION, pedals);
  if (why_not == NULL && own->driver.drives == DRIVER_DRIVES) {
    why_not = course_refusal(&own->course);
  }
  if (why_not == NULL && own->driver.drives == DRIVER_DRIVES && own->course.repeats > 1.0 && smooth) {
    return "course.repeats lays the ground's tables on again; they cannot be smooth";
  }
  return why_not;
}

/* Where an active state stands among them. */
static real *place_of(const struct transmission_model *model, real *state, int row) {
  for (int i = 0; i < model->active_count; i++) {
    if (model->active[i] == row) {
      return &state[i];
    }
  }
  return NULL; /* not one that a driver brings: those are all there */
}

/* The stretch that `seen` lies on, or the one that begins there going onward or back. */
static void take_stretch(const struct transmission_model *model, struct transmission_mode *mode, real seen,
                         bool onward) {
  struct driver_intent *intent = &mode->driver;
  const struct driver_parameters *driver = &model->own.driver;
  struct course_stretch stretch =
      course_stretch_at(&model->own.course.speed, seen, intent->direction, mode->course.offset, onward,
                        driver->top_speed, intent->stop, driver->deceleration);
  intent->speed = stretch.speed;
  intent->line = stretch.line;
  intent->low = stretch.low;
  intent->high = stretch.high;
}

/* Moves a channel evenly to a value. */
static void move_channel(struct transmission_mode *mode, int channel, real t, real target, real duration) {
  struct channel_mode *moved = &mode->channels[channel];
  if (piece_at(&moved->piece, t) != target || moved->piece.slope != 0.0) {
    moved->piece = piece_move(&moved->piece, t, target, duration);
    moved->taken = true;
  }
}

/* The implement asks for what the dwell of a leg says; 0: for nothing. */
static void ask_implement(const struct transmission_model *model, struct transmission_mode *mode, real t, int leg) {
  const struct course_parameters *course = &model->own.course;
  const struct {
    const struct profile *table;
    int channel;
  } asks[] = {{&course->dwell_power, CHANNEL_implement_power},
              {&course->dwell_flow, CHANNEL_implement_flow},
              {&course->dwell_pressure, CHANNEL_implement_pressure}};
  for (int i = 0; i < FIELD_COUNT(asks); i++) {
    if (asks[i].table->count > 0) {
      move_channel(mode, asks[i].channel, t, course_of_leg(asks[i].table, leg, 0.0), COURSE_RAMP);
    }
  }
}

/* Onto a leg, from the place where the last one ended; `seen` at the machine's place s, felt to go at `felt`. */
static void begin_leg(const struct transmission_model *model, struct transmission_mode *mode, real t, int leg, real s,
                      real felt) {
  struct driver_intent *intent = &mode->driver;
  struct course_progress *course = &mode->course;
  double place = model->own.course.to.value[leg - 1] + course->offset;
  if (place != course->place) {
    intent->direction = place > course->place ? 1.0 : -1.0;
  }
  course->leg = leg;
  course->place = place;
  course->dwell_until = HUGE_VAL;
  course->park_at = HUGE_VAL;
  intent->leg = leg;
  intent->stop = intent->direction * place;
  intent->load_rate = 0.0;
  intent->drives = true;
  intent->pedals = true;
  if (model->own.driver.holds_by == DRIVER_HOLDS_BY_PARK_BRAKE) {
    move_channel(mode, CHANNEL_park_brake, t, 0.0, DRIVER_PARK_RAMP);
  }
  take_stretch(model, mode, driver_sees(&model->own.driver, intent, s, felt), true);
}

void transmission_course_start(const struct transmission_model *model, struct transmission_mode *mode, real *x) {
  const struct course_progress course = {.repeat = 1, .brake_at = HUGE_VAL};
  const struct driver_intent intent = {.direction = 1.0};
  mode->course = course;
  mode->driver = intent;
  x[STATE_felt_speed] = x[STATE_vehicle_speed];
  x[STATE_aim_speed] = x[STATE_vehicle_speed];
  begin_leg(model, mode, 0.0, 1, x[STATE_vehicle_distance], x[STATE_felt_speed]);
}

/* The leg has ended: the machine stands, and the dwell begins. */
static const char *arrive(const struct transmission_model *model, struct transmission_mode *mode, real t,
                          const real *load) {
  const struct course_parameters *own = &model->own.course;
  struct course_progress *course = &mode->course;
  double dwell = course_of_leg(&own->dwell, course->leg, 0.0);
  mode->driver.drives = false;
  course->left_load = course_of_leg(&own->load, course->leg, *load);
  course->dwell_until = t + dwell;
  if (dwell > clock_apart(t)) {
    mode->driver.load_rate = (course->left_load - *load) / dwell;
    ask_implement(model, mode, t, course->leg);
  }
  if (model->own.driver.holds_by == DRIVER_HOLDS_BY_PARK_BRAKE && model->own.driver.park_delay < dwell) {
    course->park_at = t + model->own.driver.park_delay;
  }
  return "the driver has stopped at the leg's end";
}

/* At an end of the course: has no temperature changed by more than counts since the last one? They are kept. */
static bool has_settled(const struct transmission_model *model, struct transmission_mode *mode, real *state) {
  static const int rows[COURSE_TEMPERATURES] = {
      STATE_loop_temperature, STATE_loop_metal_temperature, STATE_case_temperature,       STATE_gallery_temperature,
      STATE_tank_temperature, STATE_brake_temperature,      STATE_front_brake_temperature};
  bool settled = true;
  for (int i = 0; i < COURSE_TEMPERATURES; i++) {
    const real *now = place_of(model, state, rows[i]);
    if (now != NULL) {
      settled &= fabs(*now - mode->course.warm[i]) <= model->own.course.settled_within;
      mode->course.warm[i] = *now;
    }
  }
  return settled;
}

/* The dwell is over: what was to be loaded is on board, and the next leg begins. */
static const char *set_off(const struct transmission_model *model, struct transmission_mode *mode, real t, real *state,
                           bool *over) {
  const struct course_parameters *own = &model->own.course;
  struct course_progress *course = &mode->course;
  real s = *place_of(model, state, STATE_vehicle_distance);
  *place_of(model, state, STATE_load) = course->left_load;
  mode->driver.load_rate = 0.0;
  course->dwell_until = HUGE_VAL;
  ask_implement(model, mode, t, 0);
  bool last = course->leg == own->to.count;
  bool settled = last && has_settled(model, mode, state) && own->ends == COURSE_WHEN_SETTLED;
  if (settled || (last && course->repeat >= own->repeats)) {
    course->over = true;
    *over = own->at_end == COURSE_ENDS_RUN;
    if (settled) {
      return *over ? "the temperatures have settled: the course is done"
                   : "the temperatures have settled: the course is done and the machine holds";
    }
    return *over ? "the course is done" : "the course is done: the machine holds";
  }
  if (last) {
    course->repeat++;
    course->offset = course->place;
    transmission_place_on_ground(model, mode, s);
  }
  begin_leg(model, mode, t, last ? 1 : course->leg + 1, s, *place_of(model, state, STATE_felt_speed));
  return last ? "the course begins again" : "the driver sets off on the next leg";
}

/* What the driver does about the service brake goes on. */
static const char *brake_on_or_off(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                   real *brake) {
  struct driver_intent *intent = &mode->driver;
  struct course_progress *course = &mode->course;
  if (!intent->brake_on) {
    intent->watches = !intent->watches;
    course->brake_at = intent->watches ? t + model->own.driver.brake_after : HUGE_VAL;
    return NULL;
  }
  if (intent->brakes) {
    intent->brakes = false;
    return "the driver lets the service brake go: the speed is as wanted again";
  }
  intent->brake_on = false;
  *brake = 0.0;
  return NULL;
}

/* All that is due by the clock. */
static const char *course_clock(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                real *state, bool *over) {
  struct course_progress *course = &mode->course;
  real due = t + clock_apart(t);
  const char *message = NULL;
  if (course->brake_at <= due) {
    course->brake_at = HUGE_VAL;
    course->brake_uses++;
    mode->driver.watches = false;
    mode->driver.brakes = true;
    mode->driver.brake_on = true;
    message = "the driver takes the service brake: the drive does not hold the machine to the wanted speed";
  }
  if (course->park_at <= due) {
    course->park_at = HUGE_VAL;
    mode->driver.pedals = false;
    move_channel(mode, CHANNEL_park_brake, t, 1.0, DRIVER_PARK_RAMP);
  }
  if (course->dwell_until <= due) {
    message = set_off(model, mode, t, state, over);
  }
  return message;
}

const char *transmission_course_change(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                       real *state, int which, bool *over) {
  const char *message = NULL;
  if (mode->course.leg == 0) {
    return NULL; /* no driver */
  }
  switch (which) {
  case GUARD_STRETCH_AHEAD:
  case GUARD_STRETCH_BEHIND: {
    bool onward = which == GUARD_STRETCH_AHEAD;
    take_stretch(model, mode, onward ? mode->driver.high : mode->driver.low, onward);
    break;
  }
  case GUARD_ARRIVES:
    message = arrive(model, mode, t, place_of(model, state, STATE_load));
    break;
  case GUARD_DRIVER_BRAKES:
    message = brake_on_or_off(model, mode, t, place_of(model, state, STATE_driver_brake));
    break;
  default:
    message = course_clock(model, mode, t, state, over);
    break;
  }
  transmission_note_channels(model, mode);
  return message;
}

real transmission_course_next_time(const struct transmission_mode *mode) {
  const struct course_progress *course = &mode->course;
  return course->leg == 0 ? HUGE_VAL : smaller(course->brake_at, smaller(course->park_at, course->dwell_until));
}

void transmission_leg(const void *mode_, struct plant_leg *leg) {
  const struct transmission_mode *mode = mode_;
  leg->number = mode->course.leg;
  leg->repeat = mode->course.repeat;
  leg->stands = leg->number > 0 && !mode->driver.drives;
  leg->over = mode->course.over;
  leg->place = mode->course.place;
  leg->brake_uses = mode->course.brake_uses;
}
