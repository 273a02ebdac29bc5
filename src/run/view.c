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

bool view_first(const struct view *view, const struct step *step, view_question *question, const void *context,
                struct sample *found) {
  double low = step->start->time;
  double high;
  if (question(context, step->middle)) {
    high = step->middle->time;
  } else if (question(context, step->end)) {
    low = step->middle->time;
    high = step->end->time;
  } else {
    return false;
  }
  double close = 1e-13 * fmax(1.0, fabs(high));
  while (high - low > close) {
    double middle = 0.5 * (low + high);
    if (middle <= low || middle >= high) {
      break;
    }
    view_at(view, middle, found);
    if (question(context, found)) {
      high = middle;
    } else {
      low = middle;
    }
  }
  view_at(view, high, found);
  return true;
}
