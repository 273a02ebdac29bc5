/* Dates and times of day, as loggers write them: ISO 8601, day and month parted by points, strokes or dashes, the time
 * of day alone. */
#ifndef SWASHLOOP_COLUMNS_INSTANTS_H
#define SWASHLOOP_COLUMNS_INSTANTS_H

#include <stdbool.h>
#include <stddef.h>

/* A date's three numbers in the order that they stand in; which is which may depend on the whole column. */
struct written_date {
  short parts[3]; /* all zero: no date */
  char separator; /* '-' and four digits first: ISO 8601 */
};

struct instant {
  struct written_date date;
  double seconds; /* of the day, in universal time where a zone is written */
};

enum date_order { ORDER_FREE, ORDER_YEAR_MONTH_DAY, ORDER_DAY_MONTH_YEAR, ORDER_MONTH_DAY_YEAR };

/* False: this is neither a date nor a time of day. */
bool instant_read(const char *text, size_t length, struct instant *instant);
/* What the parts of this date can be, or ORDER_FREE where day and month cannot be told apart. */
enum date_order instant_order(struct written_date date);
/* Days since 1970-01-01. */
double instant_days(struct written_date date, enum date_order order);

#endif
