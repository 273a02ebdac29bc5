/* What `swashloop response --keep` prints. */
#ifndef SWASHLOOP_CLI_RESPONSE_KEEP_H
#define SWASHLOOP_CLI_RESPONSE_KEEP_H

#include "keep.h"

/* For people. */
void response_keep_print(const struct keep *keep, const struct case_data *data, const char *output);
/* One JSON document. */
void response_keep_json(const struct keep *keep, const struct case_data *data, const char *output);

#endif
