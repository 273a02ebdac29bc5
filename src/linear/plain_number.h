/* What a text for two kinds of numbers is compiled for: one double. The other kind: lane_number.h. A text includes
 * neither; the file that includes the text includes one of them before.
 *
 *     NUMBER, OF_KIND(room, name)   the number, and names of this kind: room_plain name
 *     GIVEN, TAKE(x), HAND(x)       how a number is given to a function; taken there; and handed on
 *     LARGER(a, b), SIZE(a), TAKE_ROOT(a)
 *     WHERE_ABOVE(a, b, yes)        `yes` where a > b, else nothing
 *     VECTORS                       attributes of functions that are compiled for several widths of vectors */
#ifndef SWASHLOOP_LINEAR_PLAIN_NUMBER_H
#define SWASHLOOP_LINEAR_PLAIN_NUMBER_H

#include <math.h>

/* The larger of two. */
static inline double larger_of(double a, double b) {
  return a > b ? a : b;
}

#define NUMBER double
#define OF_KIND(room, name) room##_plain##name
#define GIVEN double
#define TAKE(x) (x)
#define HAND(x) (x)
#define LARGER(a, b) larger_of(a, b)
#define SIZE(a) fabs(a)
#define TAKE_ROOT(a) ((a) = sqrt(a))
#define WHERE_ABOVE(a, b, yes) ((a) > (b) ? (yes) : 0.0)
#define VECTORS

#endif
