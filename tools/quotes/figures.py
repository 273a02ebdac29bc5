"""Figures within sentences: `<!--=name-->25.8 %<!--/-->` says what FIGURES says of `name`.

A figure is a function of the workshop that gives a number in SI (or a text), and a form: `.1f %` is a number with one
decimal in per cent, `s2 bar/s` one rounded to two digits that count, `e0` one such as 5e-7, `.0f (kW)` one in kW whose
unit the sentence tells; '' takes a text as it is. `<` is a bound, 1, 2 or 5 times a power of ten: of errors, which differ
between machines, the page's bound stands as long as it holds and is not ten times too wide.
"""
import math
import re

from .marks import FIGURE
from .table import FIGURES
from .workshop import QuoteError

UNITS = {"": 1.0, "%": 0.01, "bar": 1e5, "bar/s": 1e5, "km/h": 1.0 / 3.6, "m/s": 1.0, "m": 1.0, "mm": 1e-3, "s": 1.0,
         "ms": 1e-3, "us": 1e-6, "h": 3600.0, "min": 60.0, "Hz": 1.0, "rpm": math.pi / 30.0, "W": 1.0, "kW": 1e3,
         "kJ": 1e3, "J": 1.0, "L/min": 1e-3 / 60.0, "L": 1e-3, "Pa": 1.0, "1/s": 1.0, "t": 1e3, "cases": 1.0,
         "degC": 1.0, "kg": 1.0, "N s/m": 1.0, "N/mm": 1e3}


def shown(value, form):
    """The number as it stands on a page."""
    if form == "":
        return str(value)
    if form == "<":
        power = 10.0 ** math.floor(math.log10(value))
        return shown(next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value), "e0")
    parts = re.fullmatch(r"(\.\df|[se]\d) ?(\()?([^)]*)\)?", form)
    if not parts or parts[3] not in UNITS:
        raise QuoteError(f"'{form}': no form of a figure, or no unit that it knows")
    if value is None or not math.isfinite(value):
        return "none"
    value /= UNITS[parts[3]]
    if parts[1].startswith("s"):
        digits = int(parts[1][1:])
        rounded = float(f"{value:.{digits - 1}e}")
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded)))) if rounded else 0
        text = f"{rounded:.{decimals}f}"
    elif parts[1].startswith("e"):
        text = re.sub(r"e([-+])0*", lambda power: "e" + power[1].strip("+"), f"{value:.{parts[1][1:]}e}")
    else:
        text = f"{value:{parts[1]}}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text + (f" {parts[3]}" if parts[3] and not parts[2] else "")


def figure(name, workshop):
    if name not in FIGURES:
        raise QuoteError(f"'{name}' is no figure of tools/quotes/table.py")
    find, form = FIGURES[name]
    try:
        return shown(find(workshop), form)
    except (KeyError, IndexError, StopIteration, TypeError, ValueError) as reason:
        raise QuoteError(f"the figure '{name}' cannot be found: {type(reason).__name__} {reason}") from reason


def written(page, text, workshop):
    """The page with its figures made anew, how many there are, and those that cannot be had, which stay as they are."""
    count, faults = 0, []

    def fresh(mark):
        nonlocal count
        count += 1
        try:
            said = figure(mark[1], workshop)
        except QuoteError as reason:
            faults.append(f"{page}: {reason}")
            return mark[0]
        # A line may break within a figure.
        return mark[0] if " ".join(mark[2].split()) == said or still_bounds(mark[1], mark[2], said) else f"<!--={mark[1]}-->{said}<!--/-->"

    return FIGURE.sub(fresh, text), count, faults


def still_bounds(name, present, said):
    """Whether a bound on the page is still good, `said` being the tightest."""
    if FIGURES[name][1] != "<":
        return False
    try:
        return float(said) <= float(present) <= 10.0 * float(said)
    except ValueError:
        return False


def unused(texts):
    quoted = {mark[1] for text in texts for mark in FIGURE.finditer(text)}
    return [f"tools/quotes/table.py: '{name}' is on no page" for name in FIGURES if name not in quoted]


def tell(workshop, words):
    for name in FIGURES:
        if all(word in name for word in words):
            print(f"{name:32} {figure(name, workshop)}", flush=True)
