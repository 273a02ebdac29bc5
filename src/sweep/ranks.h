/* A sweep shared by the ranks of an MPI launcher. Only the program for clusters has this. */
#ifndef SWASHLOOP_SWEEP_RANKS_H
#define SWASHLOOP_SWEEP_RANKS_H

#include "communicator.h"

/* Call `command` on every rank, with a communicator of all of them, or NULL when there is but one; returns its exit
 * code. */
int ranks_run(int argument_count, char **arguments, int (*command)(int, char **, const struct communicator *));

#endif
