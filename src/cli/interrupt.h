/* Ctrl-C, and the signal by which a cluster announces that time is up. */
#ifndef SWASHLOOP_CLI_INTERRUPT_H
#define SWASHLOOP_CLI_INTERRUPT_H

#include <stdbool.h>

/* From now on SIGINT and SIGTERM are only noted, and a file over the size limit is an error of writing. */
void interrupt_catch(void);
bool interrupt_seen(void);

#endif
