/* Is a balance the only answer to its question? The curve of a tyre rises to a peak and falls beyond: wheels that grip
 * and wheels that slide can give the same force, and two axles on the same lines can part their work in more than one
 * way. So the machine is put in balance along the slip of each driven axle, from the answer on both ways; wherever what
 * was asked for comes about again there is another balance. Wheels that stand, held by dry friction, are on no such
 * curve: it is sought from there as well, and from wheels that spin. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "linear.h"
#include "registry.h"
#include "steady.h"

#define LARGEST_SLIP 1.9 /* wheels that turn the other way slip by more than 1 */
#define SLIP_STEP 0.02   /* near the answer, growing with the way gone */
#define SAME_SLIP 0.01   /* less apart than this it is the same balance, or the peak of the curve */
#define SAME_PEDAL 1e-4  /* likewise */

struct search {
  struct machine *machine;
  const struct steady_question *question;
  const struct machine_point *point;
  int signal; /* the slip along which is searched */
};

static double slip_of(const struct search *search, const struct machine_point *at) {
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(search->machine, at, signals);
  return signals[search->signal];
}

/* The balance at a slip near `at`, which it becomes. */
static bool at_slip(const struct search *search, double slip, struct machine_point *at) {
  struct machine *machine = search->machine;
  struct balance_condition condition = {search->signal, slip, 0.1};
  struct machine_point near = *at;
  bool found = search->question->speed_sought
                   ? machine_find_speed_at(machine, MACHINE_PEDAL, condition, &near)
                   : machine_find_edge(machine, search->point->state[machine->speed], MACHINE_PEDAL,
                                       search->question->freed, condition, &near);
  if (found) {
    *at = near;
  }
  return found;
}

static double excess(const struct search *search, const struct machine_point *at) {
  return at->inputs[search->question->asked] - search->point->inputs[search->question->asked];
}

/* The balance near `at` that answers the question. */
static bool find_answer(const struct search *search, struct machine_point *at) {
  struct machine *machine = search->machine;
  enum machine_input sought =
      search->question->asked == MACHINE_PEDAL ? search->question->freed : (enum machine_input)MACHINE_PEDAL;
  return search->question->speed_sought ? machine_find_speed(machine, at)
                                        : machine_find(machine, at->state[machine->speed], sought, at);
}

/* Between two places of the curve on both sides of what is asked for, by halving and at last by Newton's method. */
static bool settle_between(const struct search *search, const struct machine_point *low,
                           const struct machine_point *high, struct machine_point *root) {
  enum { HALVINGS = 12 };
  struct machine_point ends[2] = {*low, *high};
  double slips[2] = {slip_of(search, low), slip_of(search, high)};
  bool side = excess(search, low) > 0.0;
  for (int i = 0; i < HALVINGS; i++) {
    struct machine_point middle = ends[0];
    double slip = 0.5 * (slips[0] + slips[1]);
    if (!at_slip(search, slip, &middle)) {
      return false;
    }
    int end = (excess(search, &middle) > 0.0) == side ? 0 : 1;
    ends[end] = middle;
    slips[end] = slip;
  }
  *root = ends[0];
  root->inputs[search->question->asked] = search->point->inputs[search->question->asked];
  bool found = find_answer(search, root);
  double apart = fabs(slips[1] - slips[0]);
  double slip = slip_of(search, root);
  return found && slip >= fmin(slips[0], slips[1]) - apart && slip <= fmax(slips[0], slips[1]) + apart;
}

static bool is_new(const struct search *search, const struct steady_others *others, const struct machine_point *root) {
  struct machine *machine = search->machine;
  double slips[2];
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, root, signals);
  slips[0] = signals[machine_signal(machine, READ_wheel_slip)];
  slips[1] = signals[machine_signal(machine, READ_front_wheel_slip)];
  for (int i = -1; i < others->count; i++) {
    const struct machine_point *known = i < 0 ? search->point : &others->at[i];
    machine_signals(machine, known, signals);
    if (fabs(signals[machine_signal(machine, READ_wheel_slip)] - slips[0]) < SAME_SLIP &&
        fabs(signals[machine_signal(machine, READ_front_wheel_slip)] - slips[1]) < SAME_SLIP &&
        fabs(known->inputs[MACHINE_PEDAL] - root->inputs[MACHINE_PEDAL]) < SAME_PEDAL + SAME_SLIP) {
      return false;
    }
  }
  double pedal = root->inputs[MACHINE_PEDAL];
  return fabs(pedal) <= 1.0 && pedal * search->point->inputs[MACHINE_PEDAL] >= 0.0;
}

/* From the answer on in one way. */
static void follow(const struct search *search, double way, struct steady_others *others) {
  enum { MISSES = 2 };
  struct machine_point last = *search->point;
  double begin = slip_of(search, &last);
  double gone = 0.0;
  bool beyond = false; /* clear of the answer, on a known side of what is asked for */
  bool side = false;
  for (int missed = 0; missed < MISSES && others->count < STEADY_OTHERS;) {
    gone += SLIP_STEP + 0.15 * gone;
    double slip = begin + way * gone;
    struct machine_point here = last;
    if (fabs(slip) > LARGEST_SLIP) {
      return;
    }
    if (!at_slip(search, slip, &here)) {
      missed++;
      continue;
    }
    missed = 0;
    bool now = excess(search, &here) > 0.0;
    struct machine_point root;
    if (beyond && now != side && settle_between(search, &last, &here, &root) && is_new(search, others, &root)) {
      others->at[others->count++] = root;
    }
    beyond = true;
    side = now;
    last = here;
  }
}

/* From wheels of one axle that stand, or spin, as far as the states then settle by themselves with the speed held. */
static void start_from(const struct search *search, int wheel, double factor, struct steady_others *others) {
  struct machine *machine = search->machine;
  struct machine_point start = *search->point;
  start.state[wheel] *= factor;
  if (others->count < STEADY_OTHERS && machine_settle(machine, &start) && find_answer(search, &start) &&
      is_new(search, others, &start)) {
    others->at[others->count++] = start;
  }
}

double steady_growth(struct machine *machine, const struct machine_point *point) {
  struct instant *instant = malloc(sizeof *instant);
  struct linear *linear = malloc(sizeof *linear);
  struct modes *modes = malloc(sizeof *modes);
  struct error error = {0};
  double growth = NAN;
  if (instant != NULL && linear != NULL && modes != NULL) {
    machine_set_all(machine, point->inputs);
    instant_of(machine->data.plant, machine->model, machine->mode, 0.0, point->state, instant);
    if (linear_make(instant, NULL, linear, &error) && modes_find(linear, modes, &error)) {
      growth = -HUGE_VAL;
      for (int i = 0; i < modes->count; i++) {
        growth = fmax(growth, modes->modes[i].real);
      }
    }
  }
  free(instant);
  free(linear);
  free(modes);
  return growth;
}

void steady_others(struct machine *machine, const struct steady_question *question, const struct machine_point *point,
                   struct steady_others *others) {
  static const enum machine_signal slips[] = {READ_wheel_slip, READ_front_wheel_slip};
  others->count = 0;
  for (int axle = 0; axle < (machine_drives_front(machine) ? 2 : 1); axle++) {
    struct search search = {machine, question, point, machine_signal(machine, slips[axle])};
    follow(&search, 1.0, others);
    follow(&search, -1.0, others);
    int wheel = axle == 0 ? machine->wheel : machine->front;
    if (question->thorough) {
      start_from(&search, wheel, 0.0, others);
      start_from(&search, wheel, -0.1, others);
      start_from(&search, wheel, 3.0, others);
    }
  }
  for (int i = 0; i < others->count; i++) {
    others->growth[i] = steady_growth(machine, &others->at[i]);
  }
}
