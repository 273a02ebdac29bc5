"""Units of the trade, from the one table that the program itself uses: models/lib/quantity.h."""
import functools
import math
import os
import re

from .errors import PlotError

TABLE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "models", "lib", "quantity.h")
# QUANTITY(NAME, "SI unit", "trade unit", scale, offset, ...
ROW = re.compile(r'QUANTITY\(\w+, "[^"]*", "([^"]*)", ([^,"]+), ([^,"]+),')
# Where the name of a unit in files is not how one prints it.
PRINTED = {"1": "", "degC": "°C", "deg": "°", "m3/s": "m³/s", "cm3/rev": "cm³/rev", "m/s2": "m/s²", "kg m2": "kg m²",
           "mm2/s": "mm²/s"}


def _number(expression):
    """A product or quotient of numbers and TWO_PI, as the table writes scales."""
    value, operator = 1.0, "*"
    for token in re.findall(r"[*/]|[^\s*/]+", expression):
        if token in "*/":
            operator = token
            continue
        number = 2.0 * math.pi if token == "TWO_PI" else float(token)
        value = value * number if operator == "*" else value / number
    return value


@functools.lru_cache(maxsize=None)
def table():
    """{trade unit: (scale, offset)}: SI value = trade value * scale + offset."""
    try:
        with open(TABLE, encoding="utf-8") as file:
            text = file.read()
    except OSError as reason:
        raise PlotError(f"{os.path.normpath(TABLE)}: the table of units is needed: {reason.strerror}") from reason
    return {unit: (_number(scale), _number(offset)) for unit, scale, offset in ROW.findall(text)}


def to_trade(values, unit):
    """SI to the trade unit."""
    scale, offset = table()[unit]
    return (values - offset) / scale


def printed(unit):
    return PRINTED.get(unit, unit)
