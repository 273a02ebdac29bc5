/* Ctrl-C, and the signal by which a cluster announces that time is up. */
#ifndef SWASHLOOP_CLI_INTERRUPT_H
#define SWASHLOOP_CLI_INTERRUPT_H

#include <stdbool.h>

/* From now on SIGINT, SIGTERM and SIGHUP are only noted, and a file over the size limit is an error of writing. */
void interrupt_catch(void);
/* From now on they end the process again. */
void interrupt_release(void);
bool interrupt_seen(void);

#endif
