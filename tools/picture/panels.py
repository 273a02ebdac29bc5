"""Which signals go into which panel, and what belongs beside them."""
import numpy

from .runfile import words

# (heading, relative height, signals). The default picture, in the order in which one reads a transient.
DEFAULT = [
    ("Line pressure", 2.2, ("line_a_pressure", "line_b_pressure")),
    ("Charge pressure", 0.9, ("charge_pressure",)),
    ("Pump stroke, motor displacement, pedal", 1.5, ("pump_stroke", "motor_displacement", "pedal")),
    ("Engine speed", 1.5, ("engine_speed",)),
    ("Vehicle speed", 1.2, ("vehicle_speed",)),
    ("Grade", 0.6, ("grade",)),
    ("Flow over relief valves", 1.0, ("relief_a_flow", "relief_b_flow")),
    ("Oil temperature", 1.0, ("loop_oil_temperature", "tank_oil_temperature")),
]
# Not worth a panel below this, in SI: a shut relief valve, oil that stays as it is, level ground.
NEGLIGIBLE = {
    "relief_a_flow": (1e-5, "relief valves shut throughout"),
    "relief_b_flow": (1e-5, "relief valves shut throughout"),
    "loop_oil_temperature": (2.0, "oil temperatures steady within 2 K"),
    "grade": (1e-9, "level or constant grade"),
}
QUANTITY_OF_UNIT = {
    "bar": "Pressure",
    "rpm": "Speed of rotation",
    "km/h": "Speed",
    "L/min": "Flow",
    "kW": "Power",
    "kJ": "Energy",
    "N m": "Torque",
    "kN": "Force",
    "degC": "Temperature",
    "m": "Distance",
    "m/s2": "Acceleration",
    "cm3/rev": "Displacement",
    "%": "Share",
    "L": "Volume",
}
LARGEST_DEFAULT_COUNT = 8


class Panel:
    """Signals of one quantity over time."""

    def __init__(self, heading, weight, signals, quantity):
        self.heading = heading
        self.weight = weight
        self.signals = list(signals)
        self.quantity = quantity


def moves(run, name):
    """How far a signal moves, in SI."""
    values = run.file[name][()]
    values = values[numpy.isfinite(values)]
    return float(values.max() - values.min()) if values.size else 0.0


def default_panels(runs):
    """The usual panels and those with broken limits, without those in which nothing happens; notes say which were left
    out."""
    panels, notes = [], []
    for heading, weight, names in DEFAULT:
        present = [name for name in names if any(name in run.signals for run in runs)]
        if not present:
            continue
        threshold, note = NEGLIGIBLE.get(names[0], (None, ""))
        if threshold is not None:
            extent = max(moves(run, name) for run in runs for name in present if name in run.signals)
            if not extent > threshold:
                notes.append(note)
                continue
        panels.append(Panel(heading, weight, present, quantity_of(runs, present[0])))
    drawn = {name for panel in panels for name in panel.signals}
    for run in runs:
        for limit in run.limits:
            wanted = limit_signals(run, limit)
            if limit.broken and wanted and not drawn & set(wanted):
                drawn.add(wanted[0])
                panels.append(Panel(heading_of(wanted[0]), 1.0, wanted[:1], quantity_of(runs, wanted[0])))
    if not panels:
        # Another plant: whatever it has, by quantity.
        panels = chosen_panels(runs, [list(runs[0].signals)])[:LARGEST_DEFAULT_COUNT]
    return panels, notes


def heading_of(name):
    text = words(name)
    return text[0].upper() + text[1:]


def quantity_of(runs, name):
    return next(run.signals[name] for run in runs if name in run.signals)


def chosen_panels(runs, groups):
    """The signals asked for: in each group, one panel a unit (pressures: a unit and what they are counted from)."""
    panels = []
    for group in groups:
        by_unit = {}
        for name in dict.fromkeys(group):
            runs[0].check_signal(name)
            quantity = runs[0].signals[name]
            by_unit.setdefault((quantity.unit, quantity.reference), []).append(name)
        for (unit, _), names in by_unit.items():
            if len(names) == 1:
                heading = heading_of(names[0])
            else:
                heading = QUANTITY_OF_UNIT.get(unit, "Signals")
            panels.append(Panel(heading, 1.5, names, runs[0].signals[names[0]]))
    return panels


def signal_of_measure(measure):
    """The signal whose extreme a measure is, and which extreme: ('engine_speed', 'max'), or None."""
    fixed = {
        "lowest_low_side_pressure": ("line_a_pressure", "min"),
        "relief_a_peak_flow": ("relief_a_flow", "max"),
        "relief_b_peak_flow": ("relief_b_flow", "max"),
        "vehicle_speed_end": ("vehicle_speed", "end"),
    }
    if measure in fixed:
        return fixed[measure]
    for prefix, kind in (("peak_", "max"), ("lowest_", "min")):
        if measure.startswith(prefix):
            return measure[len(prefix):], kind
    for suffix in ("max", "min"):
        if measure.endswith("_" + suffix):
            return measure[:-len(suffix) - 1], suffix
    return None


def limit_signals(run, limit):
    """The signals at whose panels a limit is drawn; none for a limit on, say, a stopping distance."""
    if "low_side_pressure" in limit.name:
        # The low side is one line or the other.
        names = ["low_side_pressure", "line_a_pressure", "line_b_pressure"]
    elif limit.name in run.signals:
        names = [limit.name]
    else:
        names = [(signal_of_measure(limit.name) or ("", ""))[0]]
    return [name for name in names if name in run.signals]


def shows(run, signal, value):
    """Whether a value in trade units is worth a mark."""
    return abs(value) > abs(float(run.signals[signal].trade(NEGLIGIBLE[signal][0])))


def low_side(run, time):
    """The line with the lower pressure at that time."""
    if "line_b_pressure" not in run.signals or time != time:
        return "line_a_pressure"
    index = min(int(numpy.searchsorted(run.time, time)), run.time.size - 1)
    lines = ("line_a_pressure", "line_b_pressure")
    return min(lines, key=lambda name: run.file[name][index])


def extremes(run, panel):
    """(signal, time, value, kind) of the measures that lie on this panel's curves, by the run's own account of them."""
    found = []
    for measure in run.measures:
        named = signal_of_measure(measure)
        if measure.endswith("_time") or not named or named[0] not in panel.signals or named[1] == "end":
            continue
        signal, kind = named
        if measure == "lowest_low_side_pressure":
            signal = low_side(run, run.moment(measure + "_time"))
        if signal not in run.signals or signal not in panel.signals:
            continue
        value = run.measure(measure)
        when = run.moment(measure + "_time")
        if when != when:
            samples = run.values(signal)
            when = float(run.time[samples.argmax() if kind == "max" else samples.argmin()])
        # Neither the first moments nor the end are an extreme, and what stands still or is shut has no peak.
        begun = run.time[0] + 0.002 * (run.time[-1] - run.time[0])
        still = abs(value) < 0.005 or (signal in NEGLIGIBLE and kind == "max" and not shows(run, signal, value))
        if value == value and begun < when < run.time[-1] and not still:
            found.append((signal, when, value, kind))
    return found
