/* A sweep shared by the ranks of an MPI launcher. Only the program for clusters has this. */
#ifndef SWASHLOOP_SWEEP_RANKS_H
#define SWASHLOOP_SWEEP_RANKS_H

#include "communicator.h"

struct ranks;

/* Start the message passing. NULL without memory. */
struct ranks *ranks_begin(void);
/* What carries the messages between them; NULL when there is but one. */
const struct communicator *ranks_communicator(const struct ranks *ranks);
/* End it, all together. False: a rank is lost, so that the library cannot be ended; the process must end by _exit. */
bool ranks_end(struct ranks *ranks);

#endif
