/* A measured efficiency map of a pump or motor: efficiencies over speed and pressure, on a full grid, in SI.
 *
 * Both axes rise. Row (i, k) stands at i * pressures + k. The numbers belong to whoever read the case; models only
 * look. */
#ifndef SWASHLOOP_MODELS_MAP_H
#define SWASHLOOP_MODELS_MAP_H

#include "real.h"

struct map {
  int speeds; /* 0: there is no map */
  int pressures;
  const real *speed;           /* rad/s */
  const real *pressure;        /* Pa, between the ports */
  const real *volumetric;      /* volumetric efficiency, share */
  const real *hydromechanical; /* hydro-mechanical efficiency, share */
};

/* The square of the grid that a point lies in, and where in it; a point outside stands at the edge. */
struct map_place {
  int speed;
  int pressure;
  real along_speed;
  real along_pressure;
};

/* The interval of `axis` that holds `at`: its left point. */
static inline int map_interval(const real *axis, int count, real at) {
  int low = 0;
  int high = count - 1;
  while (high - low > 1) {
    int middle = (low + high) / 2;
    if (axis[middle] <= at) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return low;
}

static inline real map_along(const real *axis, int count, int left, real at) {
  return left + 1 < count ? clamp01((at - axis[left]) / (axis[left + 1] - axis[left])) : 0.0;
}

static inline struct map_place map_find(const struct map *map, real speed, real pressure) {
  struct map_place place;
  place.speed = map_interval(map->speed, map->speeds, speed);
  place.pressure = map_interval(map->pressure, map->pressures, pressure);
  place.along_speed = map_along(map->speed, map->speeds, place.speed, speed);
  place.along_pressure = map_along(map->pressure, map->pressures, place.pressure, pressure);
  return place;
}

#endif
