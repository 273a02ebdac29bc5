#include "view.h"

#include <math.h>

void view_evaluate(const struct view *view, struct sample *sample) {
  const struct plant *plant = view->plant;
  if (plant->evaluate != NULL) {
    struct plant_evaluation to = {sample->powers, sample->signals, view->no_events ? NULL : sample->events,
                                  sample->guards};
    plant->evaluate(view->model, view->mode, sample->time, sample->state, &to);
    return;
  }
  plant->powers(view->model, view->mode, sample->time, sample->state, sample->powers);
  plant->signals_at(view->model, view->mode, sample->time, sample->state, sample->signals);
  if (!view->no_events) {
    plant->events_at(view->model, view->mode, sample->time, sample->state, sample->events);
  }
  plant->guards(view->model, view->mode, sample->state, sample->guards);
}

void view_signals_at(const struct view *view, double t, struct sample *sample) {
  sample->time = t;
  integrator_state_at(view->integrator, t, sample->state);
  view->plant->signals_at(view->model, view->mode, t, sample->state, sample->signals);
}

void view_at(const struct view *view, double t, struct sample *sample) {
  sample->time = t;
  integrator_state_at(view->integrator, t, sample->state);
  view_evaluate(view, sample);
}

/* A no and a later yes, and how far beyond the change each lies. */
struct crossing {
  double low;
  double high;
  double at_low;
  double at_high;
};

/* Where to look between them: where the straight line crosses, moved towards the middle and held so near to it that no
 * more looks are needed than by bisection, and one. Method ITP of I. F. D. Oliveira and R. H. C. Takahashi (ACM Trans.
 * Math. Softw. 47 (2021) 5), its constants 0.2, 2 and 1, from memory. */
static double next_look(const struct crossing *crossing, double first_width, double most) {
  double width = crossing->high - crossing->low;
  double middle = 0.5 * (crossing->low + crossing->high);
  double line = crossing->low - width * crossing->at_low / (crossing->at_high - crossing->at_low);
  if (!(line >= crossing->low && line <= crossing->high)) {
    return middle;
  }
  double side = line < middle ? 1.0 : -1.0;
  double off = fabs(middle - line);
  double inward = 0.2 * width * width / first_width;
  double place = inward < off ? line + side * inward : middle;
  double radius = fmax(most - 0.5 * width, 0.0);
  return fabs(place - middle) <= radius ? place : middle - side * radius;
}

bool view_first(const struct view *view, const struct step *step, view_question *question, const void *context,
                struct sample *found) {
  struct crossing crossing;
  double beyond;
  if (question(context, step->middle, &beyond)) {
    crossing.high = step->middle->time;
    crossing.at_high = beyond;
    crossing.low = step->start->time;
    (void)question(context, step->start, &crossing.at_low);
  } else if (question(context, step->end, &crossing.at_high)) {
    crossing.high = step->end->time;
    crossing.low = step->middle->time;
    crossing.at_low = beyond;
  } else {
    return false;
  }
  double close = 1e-13 * fmax(1.0, fabs(crossing.high));
  double first_width = crossing.high - crossing.low;
  double most = 0.5 * close; /* half of the bracket that bisection would have left, and one halving in hand */
  while (most < first_width) {
    most *= 2.0;
  }
  while (crossing.high - crossing.low > close) {
    double t = next_look(&crossing, first_width, most);
    most *= 0.5;
    if (!(t > crossing.low && t < crossing.high)) {
      break;
    }
    view_at(view, t, found);
    if (question(context, found, &beyond)) {
      crossing.high = t;
      crossing.at_high = beyond;
    } else {
      crossing.low = t;
      crossing.at_low = beyond;
    }
  }
  view_at(view, crossing.high, found);
  return true;
}
