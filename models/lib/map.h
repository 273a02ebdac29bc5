/* A measured efficiency map of a pump or motor: efficiencies over speed and pressure, on a full grid, in SI.
 *
 * Both axes rise. Row (i, k) stands at i * pressures + k. The numbers belong to whoever read the case; models only
 * read. */
#ifndef SWASHLOOP_MODELS_MAP_H
#define SWASHLOOP_MODELS_MAP_H

#include "real.h"

struct map {
  int speeds; /* 0: there is no map */
  int pressures;
  const double *speed;           /* rad/s */
  const double *pressure;        /* Pa, between the ports */
  const double *volumetric;      /* volumetric efficiency, share */
  const double *hydromechanical; /* hydro-mechanical efficiency, share */
};

/* The square of the grid that a point lies in, and where in it; a point outside stands at the edge. */
struct map_place {
  int speed;             /* left point on either axis */
  int pressure;          /* its number */
  double along_speed;    /* from there to the next, 0 to 1 */
  double along_pressure; /* likewise */
};

/* The interval of `axis` that holds `at`: its left point. */
static inline int map_interval(const double *axis, int count, double at) {
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

/* How far `at` lies between the point `left` of an axis and the next, 0 to 1. */
static inline double map_along(const double *axis, int count, int left, double at) {
  double along = left + 1 < count ? (at - axis[left]) / (axis[left + 1] - axis[left]) : 0.0;
  return along < 0.0 ? 0.0 : (along > 1.0 ? 1.0 : along);
}

/* The square that holds a speed, rad/s, and a pressure, Pa, neither negative. */
static inline struct map_place map_find(const struct map *map, double speed, double pressure) {
  struct map_place place;
  place.speed = map_interval(map->speed, map->speeds, speed);
  place.pressure = map_interval(map->pressure, map->pressures, pressure);
  place.along_speed = map_along(map->speed, map->speeds, place.speed, speed);
  place.along_pressure = map_along(map->pressure, map->pressures, place.pressure, pressure);
  return place;
}

#endif
