/* A measured efficiency map of a pump or motor: efficiencies over stroke, speed and pressure, on a full grid, in SI.
 * Or an engine's map of specific consumption: torque stands in place of the pressure, consumption in that of the
 * volumetric efficiency, and there is one stroke.
 *
 * The axes rise; the last stroke is full stroke. A plane of zero stroke, the first then, holds lost flow and lost
 * torque in place of efficiencies. The numbers belong to whoever read the case; models only read. */
#ifndef SWASHLOOP_MODELS_MAP_H
#define SWASHLOOP_MODELS_MAP_H

#include "real.h"

struct map {
  int speeds; /* 0: there is no map */
  int pressures;
  int strokes;
  const double *speed;           /* rad/s */
  const double *pressure;        /* Pa, between the ports */
  const double *stroke;          /* of full stroke, 0 to 1 */
  const double *volumetric;      /* volumetric efficiency, share; at zero stroke lost flow, m3/s */
  const double *hydromechanical; /* hydro-mechanical efficiency, share; at zero stroke lost torque, N m */
};

/* How many points a map has. */
static inline int map_rows(const struct map *map) {
  return map->strokes * map->speeds * map->pressures;
}

/* Where the point of stroke s, speed i and pressure k stands. */
static inline int map_row(const struct map *map, int s, int i, int k) {
  return (s * map->speeds + i) * map->pressures + k;
}

/* Is the point number `row` one of zero stroke? */
static inline bool map_row_idles(const struct map *map, int row) {
  return map->stroke[row / (map->speeds * map->pressures)] == 0.0;
}

/* The cube of the grid that a point lies in, and where in it; a point outside stands at the edge. */
struct map_place {
  int speed;             /* left point on each axis */
  int pressure;          /* its number */
  int stroke;            /* likewise */
  double along_speed;    /* from there to the next, 0 to 1 */
  double along_pressure; /* likewise */
  double along_stroke;   /* likewise */
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

/* The cube that holds a speed, rad/s, a pressure, Pa, and a stroke, none negative. */
static inline struct map_place map_find(const struct map *map, double speed, double pressure, double stroke) {
  struct map_place place;
  place.speed = map_interval(map->speed, map->speeds, speed);
  place.pressure = map_interval(map->pressure, map->pressures, pressure);
  place.stroke = map_interval(map->stroke, map->strokes, stroke);
  place.along_speed = map_along(map->speed, map->speeds, place.speed, speed);
  place.along_pressure = map_along(map->pressure, map->pressures, place.pressure, pressure);
  place.along_stroke = map_along(map->stroke, map->strokes, place.stroke, stroke);
  return place;
}

/* Bilinear at a place, between the values at its point, at the next pressure, at the next speed, and at both next. */
static inline double map_blend(const struct map_place *place, double here, double far, double next, double next_far) {
  double low = here + (next - here) * place->along_speed;
  double high = far + (next_far - far) * place->along_speed;
  return low + (high - low) * place->along_pressure;
}

#endif
