/* The four matrices, zeros and margins of `swashloop linear` on the screen, as JSON, in the file. */
#ifndef SWASHLOOP_CLI_STATE_SPACE_OUTPUT_H
#define SWASHLOOP_CLI_STATE_SPACE_OUTPUT_H

#include "answer_file.h"
#include "json.h"
#include "state_space.h"

/* A cut loop: its margins, and its answer over frequency. */
struct cut_answer {
  const char *name; /* of the state; NULL: no loop was cut */
  int cut;          /* index in the linear system */
  struct loop_margins margins;
};

/* Matrices, names, units and operating point, in the group `state_space`. */
void space_write(const struct instant *instant, const struct linear *linear, const struct state_space *space,
                 struct answer_file *file);
void space_json(struct json *json, const struct instant *instant, const struct linear *linear,
                const struct state_space *space);
/* Zeros of the response that was asked for. */
void zeros_print(const struct space_zeros *zeros);
void zeros_json(struct json *json, const struct space_zeros *zeros);
/* In the group opened last. */
void zeros_write(const struct space_zeros *zeros, struct answer_file *file);
void cut_print(const struct cut_answer *answer, const char *words);
void cut_json(struct json *json, const struct cut_answer *answer);
/* The group `loop`: margins, and L over frequency. */
void cut_write(const struct linear *linear, const struct cut_answer *answer, const double *frequency, int count,
               struct answer_file *file);

#endif
