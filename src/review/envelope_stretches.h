/* Pieces of a boundary put together. */
#ifndef SWASHLOOP_REVIEW_ENVELOPE_STRETCHES_H
#define SWASHLOOP_REVIEW_ENVELOPE_STRETCHES_H

#include "envelope.h"

/* Fill `order` and `stretches` from the chords: curves, cut where another limit takes over. */
bool envelope_stretches(struct envelope *envelope, struct error *error);

#endif
