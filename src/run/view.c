#include "view.h"

#include <math.h>

void view_evaluate(const struct view *view, struct moment *moment) {
  const struct plant *plant = view->plant;
  if (plant->look != NULL) {
    struct plant_look look = {moment->powers, moment->signals, view->no_events ? NULL : moment->events,
                              moment->switches};
    plant->look(view->model, view->mode, moment->time, moment->state, &look);
    return;
  }
  plant->powers(view->model, view->mode, moment->time, moment->state, moment->powers);
  plant->signals_at(view->model, view->mode, moment->time, moment->state, moment->signals);
  if (!view->no_events) {
    plant->events_at(view->model, view->mode, moment->time, moment->state, moment->events);
  }
  plant->switches(view->model, view->mode, moment->state, moment->switches);
}

void view_signals_at(const struct view *view, double t, struct moment *moment) {
  moment->time = t;
  integrator_state_at(view->integrator, t, moment->state);
  view->plant->signals_at(view->model, view->mode, t, moment->state, moment->signals);
}

void view_at(const struct view *view, double t, struct moment *moment) {
  moment->time = t;
  integrator_state_at(view->integrator, t, moment->state);
  view_evaluate(view, moment);
}

bool view_first(const struct view *view, const struct stretch *stretch, view_question *question, const void *context,
                struct moment *found) {
  double low = stretch->start->time;
  double high;
  if (question(context, stretch->middle)) {
    high = stretch->middle->time;
  } else if (question(context, stretch->end)) {
    low = stretch->middle->time;
    high = stretch->end->time;
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
