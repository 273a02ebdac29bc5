/* The main loop of one run, driven from outside: it says how far the next step may go, somebody
 * makes the step, and it evaluates what the step brought. Cuts at changes of mode, actions and points of tables lie in
 * here. Whether and why a run has ended stands in its outcome. */
#ifndef SWASHLOOP_RUN_MAIN_LOOP_H
#define SWASHLOOP_RUN_MAIN_LOOP_H

#include "workspace.h"

/* Begin at run->start, which has been evaluated. False: it is over already. */
bool main_loop_begin(struct run_workspace *run);
/* A step is wanted, that ends at *stop at the latest; false: the run is over. */
bool main_loop_next_stop(struct run_workspace *run, double *stop);
/* After a step in which nothing happened: is another one wanted, to the same stop? False: ask main_loop_next_stop. */
bool main_loop_keeps_stop(struct run_workspace *run);
/* The integrator has made its step: evaluate its middle and end. Who has evaluated them already fills run->middle and
 * run->end.
 */
void main_loop_evaluate(struct run_workspace *run);
/* Take the step that has been evaluated. False: the run is over. */
bool main_loop_accept(struct run_workspace *run);

/* Does the condition of an action hold at time t with these signals, which lie `stride` apart? */
bool main_loop_holds(const struct condition *condition, double t, const double *signals, ptrdiff_t stride);

/* Stops, rest and creep that the metrics have found since, into the event log. */
bool main_loop_log_motion(struct run_workspace *run, struct error *error);

/* The run has taken `spent` seconds of processor time so far: it is interrupted when its budget is less. */
void main_loop_spend(struct run_workspace *run, double spent);

/* Seconds of a clock of the system. */
double main_loop_clock(clockid_t clock);

#endif
