/* The nearest name beside a file that is not there. */
#ifndef SWASHLOOP_SCHEMA_NEAR_FILE_H
#define SWASHLOOP_SCHEMA_NEAR_FILE_H

enum { NEAR_FILE_WORDS = 320 };

/* "; did you mean 'cases/downhill.yaml'?" where `path` is not there and something in its folder is called nearly so,
 * else
 * "". Leaves errno as it is. Returns `words`. */
const char *near_file(const char *path, char words[NEAR_FILE_WORDS]);

#endif
