/* The energy table of the summary: who put energy in, who absorbed it, over the run and while braking. */
#ifndef SWASHLOOP_CLI_SUMMARY_ENERGY_H
#define SWASHLOOP_CLI_SUMMARY_ENERGY_H

#include <stdio.h>

#include "run.h"

/* Where the energy came from and went, term by term: of the whole run and, where it brakes, of its braking. */
void summary_energy(FILE *out, const struct plant *plant, const struct outcome *outcome);

#endif
