/* Inside the room: rules of the machine's numbers (rules.h), and of what a case does over time. */
#ifndef SWASHLOOP_PLAUSIBILITY_MACHINE_RULES_H
#define SWASHLOOP_PLAUSIBILITY_MACHINE_RULES_H

#include "plausibility.h"

/* Of a machine; another plant has none. */
void machine_rules(const struct case_data *data, struct warnings *warnings);
/* Of end time, samples, tables over time, actions and limits. */
void duty_rules(const struct case_data *data, struct warnings *warnings);

/* A number in a sentence. */
struct told {
  enum quantity quantity;
  double value; /* SI */
};
/* A warning whose sentence has {} where the numbers come. */
void warn(struct warnings *warnings, const char *name, const char *source, const char *sentence,
          const struct told *numbers, int count);

#endif
