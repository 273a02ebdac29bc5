/* Where the trade draws a line: when a machine stands, a valve is open, a wheel is locked. Stated once, so that what a
 * plant tells as an event and what a run measures mean the same. */
#ifndef SWASHLOOP_MODELS_THRESHOLDS_H
#define SWASHLOOP_MODELS_THRESHOLDS_H

/* A braked machine has stopped when it first goes this slow, m/s, either way ... */
#define STANDSTILL_SPEED 0.05
/* ... and does not go faster than this, m/s (0.5 km/h), for REST_TIME on end thereafter. One that glides into creep and
 * never is that slow has stopped when it falls below this for REST_TIME. */
#define STOP_SPEED (0.5 / 3.6)
#define STOP_SPEED_WORDS "0.5 km/h"
/* s: what holds for less long is no rest, no creep and no moving off. */
#define REST_TIME 1.0
#define REST_TIME_WORDS "1 s"
/* A machine is at rest up to this speed, m/s (0.018 km/h), either way; from there up to the stop speed it creeps ... */
#define REST_SPEED 0.005
/* ... when its highest speed within REST_TIME is no more than so many times its lowest. */
#define CREEP_STEADY 1.5

/* A relief valve is open above this flow, m3/s (0.6 L/min): what it leaks while shut is less. */
#define OPEN_FLOW 1e-5

/* Wheels are locked when their rims go slower than this share of the machine's speed ... */
#define WHEEL_LOCK_SHARE 0.1
/* ... and the machine faster than this, m/s: a machine that creeps to its stop locks no wheel. */
#define WHEEL_LOCK_SPEED 0.5

/* An axle carries while its load is above this share of the machine's weight on the ground. */
#define AXLE_CARRIES_SHARE 0.01

/* The smoke limit holds the fuel back when what is asked for is this far above it, over full fuel. */
#define SMOKE_LIMIT_BAND 0.005

/* The engine lugs under the implement while that takes this share of its full torque and the governor asks for more. */
#define IMPLEMENT_COUNTS_SHARE 0.05

/* The charge pump fills while it takes in more than this share of its displacement. */
#define CHARGE_FILLS_SHARE 0.99

#endif
