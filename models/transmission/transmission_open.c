#include "transmission_open.h"

#include "transmission_mode_list.h"

_Static_assert((int)OPEN_AXLES == (int)AXLE_LIMIT, "as many axles laid open as there are");

void transmission_open_model(const void *model_, struct transmission_open_model *open) {
  const struct transmission_model *model = model_;
  open->own = &model->own;
  open->oil = &model->oil;
  open->pump_film = &model->pump_film;
  for (int i = 0; i < AXLE_LIMIT; i++) {
    bool time_dependent = i < model->axle_count && model->axles[i].motor != NULL;
    open->motor_films[i] = time_dependent ? &model->axles[i].motor_film : NULL;
  }
  open->filter_resistance = model->filter_resistance;
  open->relief_viscosity = model->relief_viscosity;
  open->active_count = model->active_count;
  open->active = model->active;
  open->leading_count = model->leading_count;
}

void transmission_open_mode(const void *mode_, struct transmission_open_mode *open) {
  struct transmission_mode mode = *(const struct transmission_mode *)mode_;
  struct transmission_mode_list list;
  transmission_mode_list(&mode, &list);
  for (int i = 0; i < list.number_count; i++) {
    open->numbers[i] = *list.numbers[i];
  }
  for (int i = 0; i < OPEN_FLAGS; i++) {
    open->flags[i] = *list.flags[i];
  }
  for (int i = 0; i < MODE_PIECES; i++) {
    open->tables[i] = *list.tables[i];
  }
}
