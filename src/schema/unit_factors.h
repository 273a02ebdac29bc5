/* What UDUNITS says of the units that are accepted; the table is made when the program is built (factors/make.c). */
#ifndef SWASHLOOP_SCHEMA_UNIT_FACTORS_H
#define SWASHLOOP_SCHEMA_UNIT_FACTORS_H

/* SI value = number * scale + offset. */
struct unit_factor {
  int quantity;
  const char *meaning; /* what the library was asked */
  double scale;
  double offset;
};

extern const struct unit_factor unit_factors[];
extern const int unit_factor_count;

#endif
