/* Every physical quantity that a parameter, a signal or a measure can be: one line each.
 *
 * QUANTITY(id, SI unit as written to files, trade unit as shown to people,
 *          scale, offset,                       SI value = trade value * scale + offset
 *          accepted units)                      what a user may type, separated by '|'
 *
 * An accepted unit is a name that the unit library knows, or NAME=EXPRESSION where the library knows only the
 * expression, or NAME=*FACTOR where it knows neither (SI value = number * FACTOR). Nothing outside this list is
 * accepted for a quantity: that is what keeps `rpm` from being read as `Hz` and `s` from being read as `1/s`. */
#ifndef SWASHLOOP_MODELS_QUANTITY_H
#define SWASHLOOP_MODELS_QUANTITY_H

#define TWO_PI 6.283185307179586476925

/* clang-format off */
#define QUANTITY_LIST(QUANTITY)                                                                                        \
  QUANTITY(NUMBER, "1", "1", 1.0, 0.0, "1")                                                                            \
  QUANTITY(FRACTION, "1", "%", 0.01, 0.0, "%|1")                                                                       \
  QUANTITY(TIME, "s", "s", 1.0, 0.0, "s|ms|us|ns|min|h|d=day")                                                         \
  QUANTITY(RATE, "1/s", "%/s", 0.01, 0.0, "1/s|%/s")                                                                   \
  QUANTITY(LENGTH, "m", "m", 1.0, 0.0, "m|km|cm|mm|um|in|ft")                                                          \
  QUANTITY(AREA, "m2", "mm2", 1e-6, 0.0, "m2|cm2|mm2|in2")                                                             \
  QUANTITY(VOLUME, "m3", "L", 1e-3, 0.0, "m3|L|dm3|cm3|mL")                                                            \
  QUANTITY(MASS, "kg", "kg", 1.0, 0.0, "kg|t|g")                                                                       \
  QUANTITY(MASS_RATE, "kg/s", "t/h", 1.0 / 3.6, 0.0, "kg/s|kg/h|t/h")                                                   \
  QUANTITY(TRANSPORT, "kg m", "t km", 1e6, 0.0, "kg m|kg.m|t km|t.km")                                                 \
  QUANTITY(SPEED, "m/s", "km/h", 1.0 / 3.6, 0.0, "m/s|km/h|mm/s|m/min|mph=mile/hour|ft/s")                             \
  QUANTITY(ACCELERATION, "m/s2", "m/s2", 1.0, 0.0, "m/s2")                                                             \
  QUANTITY(ANGULAR_RATE, "rad/s", "rad/s", 1.0, 0.0, "rad/s")                                                          \
  QUANTITY(FREQUENCY, "Hz", "Hz", 1.0, 0.0, "Hz")                                                                      \
  QUANTITY(ANGULAR_SPEED, "rad/s", "rpm", TWO_PI / 60.0, 0.0, "rad/s|rpm|rev/min=turn/min|rev/s=turn/s")               \
  QUANTITY(DISPLACEMENT, "m3/rad", "cm3/rev", 1e-6 / TWO_PI, 0.0, "m3/rad|cm3/rev=cm3/turn|mL/rev=mL/turn|L/rev=L/turn|in3/rev=in3/turn") \
  QUANTITY(TORQUE, "N m", "N m", 1.0, 0.0, "N m|N.m|Nm=N.m|kN m|kN.m|kNm=kN.m")                                        \
  QUANTITY(FORCE, "N", "kN", 1e3, 0.0, "N|kN")                                                                         \
  QUANTITY(STIFFNESS, "N/m", "N/mm", 1e3, 0.0, "N/m|N/mm|kN/m")                                                        \
  QUANTITY(VISCOUS_FORCE, "N s/m", "N s/m", 1.0, 0.0, "N s/m|N.s/m")                                                   \
  QUANTITY(ANGLE, "rad", "deg", TWO_PI / 360.0, 0.0, "rad|deg=degree|mrad")                                            \
  QUANTITY(POWER, "W", "kW", 1e3, 0.0, "W|kW")                                                                         \
  QUANTITY(ENERGY, "J", "kJ", 1e3, 0.0, "J|kJ|MJ|kW.h|kWh=kW.h")                                                       \
  QUANTITY(PRESSURE, "Pa", "bar", 1e5, 0.0, "Pa|kPa|MPa|GPa|bar|mbar|psi")                                             \
  QUANTITY(PRESSURE_RATE, "Pa/s", "bar/s", 1e5, 0.0, "Pa/s|bar/s|MPa/s")                                               \
  QUANTITY(FLOW, "m3/s", "L/min", 1e-3 / 60.0, 0.0, "m3/s|L/min|L/s|m3/h|cm3/s|mL/min|US gal/min=*6.30901964e-5")      \
  QUANTITY(TEMPERATURE, "K", "degC", 1.0, 273.15, "K|degC|degF")                                                       \
  QUANTITY(TEMPERATURE_DIFFERENCE, "K", "K", 1.0, 0.0, "K")                                                            \
  QUANTITY(KINEMATIC_VISCOSITY, "m2/s", "mm2/s", 1e-6, 0.0, "m2/s|mm2/s|cSt")                                          \
  QUANTITY(DENSITY, "kg/m3", "kg/m3", 1.0, 0.0, "kg/m3|g/cm3|kg/L")                                                    \
  QUANTITY(SPECIFIC_HEAT, "J/kg/K", "kJ/kg/K", 1e3, 0.0, "J/kg/K|kJ/kg/K|J/(kg K)=J/kg/K|kJ/(kg K)=kJ/kg/K")           \
  QUANTITY(HEAT_CAPACITY, "J/K", "kJ/K", 1e3, 0.0, "J/K|kJ/K")                                                         \
  QUANTITY(HEAT_CONDUCTANCE, "W/K", "W/K", 1.0, 0.0, "W/K|kW/K")                                                       \
  QUANTITY(INERTIA, "kg m2", "kg m2", 1.0, 0.0, "kg m2|kg.m2")                                                         \
  QUANTITY(VISCOUS_TORQUE, "N m s", "N m s", 1.0, 0.0, "N m s|N.m.s|N m s/rad=N.m.s|N.m/rpm")                          \
  QUANTITY(QUADRATIC_TORQUE, "N m s2", "N m s2", 1.0, 0.0, "N m s2|N.m.s2")                                            \
  QUANTITY(LONG_TIME, "s", "h", 3600.0, 0.0, "s|min|h|d=day")                                                          \
  QUANTITY(PARTICLE_RATE, "1/s", "1/min", 1.0 / 60.0, 0.0, "1/s|1/min|1/h")                                            \
  QUANTITY(PARTICLE_COUNT, "1/m3", "1/mL", 1e6, 0.0, "1/m3|1/mL|1/L")                                                  \
  QUANTITY(PARTICLE_SIZE, "m", "um", 1e-6, 0.0, "m|um|mm")                                                             \
  QUANTITY(DIRT, "kg", "g", 1e-3, 0.0, "kg|g|mg")                                                                      \
  QUANTITY(MASS_FLOW, "kg/s", "kg/h", 1.0 / 3600.0, 0.0, "kg/s|g/s|kg/h")                                              \
  QUANTITY(SPECIFIC_CONSUMPTION, "kg/J", "g/kWh", 1.0 / 3.6e9, 0.0, "kg/J|g/kWh=g/(kW.h)|kg/kWh=kg/(kW.h)")            \
  QUANTITY(CONSUMPTION, "m3/s", "L/h", 1e-3 / 3600.0, 0.0, "m3/s|L/h|mL/s|US gal/h=*1.0515032733e-6")                    \
  QUANTITY(FUEL_PER_WAY, "m3/m", "L/km", 1e-6, 0.0, "m3/m|L/km")                                                       \
  QUANTITY(FUEL_PER_TRANSPORT, "m3/(kg m)", "L/(t km)", 1e-9, 0.0, "m3/(kg m)=m3/kg/m|L/(t km)=*1e-9")                 \
  QUANTITY(HEATING_VALUE, "J/kg", "MJ/kg", 1e6, 0.0, "J/kg|kJ/kg|MJ/kg|kW.h/kg|kWh/kg=kW.h/kg")                        \
  QUANTITY(SUCTION_RESISTANCE, "1/m3", "1/mm3", 1e9, 0.0, "1/m3|1/mm3")                                                       \
  QUANTITY(FLOW_PER_PRESSURE, "m3/s/Pa", "L/min/bar", 1e-3 / 60.0 / 1e5, 0.0, "m3/s/Pa|L/min/bar")                     \
  QUANTITY(FLOW_PER_ROOT_PRESSURE, "m3/s/Pa^0.5", "L/min/bar^0.5", 1e-3 / 60.0 / 316.22776601683793320, 0.0,           \
           "m3/s/Pa^0.5=*1|L/min/bar^0.5=*5.2704627669472992e-8")
/* clang-format on */

enum quantity {
#define QUANTITY_ID(id, si, trade, scale, offset, units) QUANTITY_##id,
  QUANTITY_LIST(QUANTITY_ID)
#undef QUANTITY_ID
      QUANTITY_COUNT
};

/* SI = trade x scale + offset. */
struct quantity_row {
  const char *name;
  const char *si_unit;
  const char *trade_unit;
  double scale;
  double offset;
  const char *accepted; /* further units that a case may use */
};

static const struct quantity_row quantity_rows[QUANTITY_COUNT] = {
#define QUANTITY_ROW(id, si, trade, scale, offset, units) {#id, si, trade, scale, offset, units},
    QUANTITY_LIST(QUANTITY_ROW)
#undef QUANTITY_ROW
};

/* An SI number in the trade unit of its quantity. */
static inline double quantity_to_trade(enum quantity quantity, double si) {
  return (si - quantity_rows[quantity].offset) / quantity_rows[quantity].scale;
}

/* A number in the trade unit of its quantity, in SI. */
static inline double quantity_from_trade(enum quantity quantity, double trade) {
  return trade * quantity_rows[quantity].scale + quantity_rows[quantity].offset;
}

/* What a pressure is counted from. */
enum reference {
  REFERENCE_NONE,         /* not a pressure, or a plain difference such as a band */
  REFERENCE_GAUGE,        /* over the ambient pressure, as a gauge reads */
  REFERENCE_OVER_CASE,    /* over the case pressure */
  REFERENCE_LINE_TO_LINE, /* between the two main lines */
  REFERENCE_ABSOLUTE,     /* over vacuum */
  REFERENCE_COUNT
};

static const char *const reference_names[REFERENCE_COUNT] = {"", "gauge", "over_case", "line_to_line", "absolute"};

#endif
