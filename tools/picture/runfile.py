"""Reading a run file: signals, events, limits and measures, in the units of the trade."""
import difflib
import os
import re

import h5py
import numpy

from .errors import PlotError
from .files import open_h5
from .units import printed, table, to_trade


def words(name):
    """`line_a_pressure` as one reads it: line A pressure."""
    return " ".join(part.upper() if len(part) == 1 else part for part in name.split("_"))


def show(value, unit):
    """A number for people: about four figures, with its unit."""
    if not numpy.isfinite(value):
        return "none"
    size = abs(value)
    if unit == "s":
        digits = 2
    elif size == 0.0 or size >= 1000.0:
        digits = 0
    elif size >= 100.0:
        digits = 0 if unit == "rpm" else 1
    elif size >= 10.0:
        digits = 1
    else:
        digits = 2
        value = value if size >= 0.005 else 0.0
    text = f"{value:.{digits}f}"
    return f"{text} {printed(unit)}".strip()


def _text(value):
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


class Quantity:
    """What a dataset says about itself."""

    def __init__(self, dataset):
        attributes = dataset.attrs
        si_unit = _text(attributes.get("units", "1"))
        self.unit = _text(attributes.get("trade_units", si_unit))
        if self.unit not in table():
            # A unit of a later file version: the SI number is still right.
            self.unit = si_unit
        self.reference = _text(attributes.get("pressure_reference", ""))
        self.long_name = _text(attributes.get("long_name", ""))

    def trade(self, values):
        return to_trade(values, self.unit) if self.unit in table() else values

    @property
    def label(self):
        """The unit as it stands at an axis; a pressure says what it is counted from."""
        return f"{printed(self.unit)} {self.reference.replace('_', ' ')}".strip()


class Event:
    def __init__(self, time, name, message):
        self.time = time
        self.name = name
        self.message = message


class Limit:
    """A sentence of the case, `NAME <= VALUE [within TIME]`."""

    def __init__(self, sentence, result, level, worst, worst_time, first_time, reason=""):
        self.sentence = sentence
        self.result = result  # kept, broken or not judged
        self.broken = result == "broken"
        self.judged = result in ("kept", "broken")
        self.reason = reason
        self.level = level
        self.worst = worst
        self.worst_time = worst_time
        self.first_time = first_time
        match = re.match(r"\s*(\w+)", sentence)
        self.name = match.group(1) if match else ""


class Run:
    """One run file, read on demand."""

    def __init__(self, path):
        self.path = path
        self.name = os.path.splitext(os.path.basename(path))[0]
        self.file = open_h5(path)
        root = self.file.attrs
        if "time" not in self.file or "status" not in root or "swashloop" not in _text(root.get("source", "")):
            raise PlotError(f"{path}: HDF5, but not a run file of swashloop")
        self.time = self.file["time"][()]
        if self.time.size == 0:
            raise PlotError(f"{path}: holds no samples")
        self.zero = 0.0  # of the time that is shown, in the run's own time
        self.title = _text(root.get("title", self.name))
        self.status = _text(root["status"])
        self.status_message = _text(root.get("status_message", ""))
        self.source = _text(root.get("source", ""))
        self.signals = {
            name: Quantity(dataset)
            for name, dataset in self.file.items()
            if isinstance(dataset, h5py.Dataset) and dataset.shape == self.time.shape and name != "time"
        }
        self.measures = {name: Quantity(dataset) for name, dataset in self._group("measures").items()}
        self.events = self._read_events()
        self.limits = self._read_limits()

    def _group(self, name):
        group = self.file.get(name)
        return group if isinstance(group, h5py.Group) else {}

    def _column(self, group, name, size):
        if name not in group:
            return [""] * size
        column = group[name]
        return column.asstr()[()] if h5py.check_string_dtype(column.dtype) else column[()]

    def _read_events(self):
        group = self._group("events")
        times = self._column(group, "time", 0)
        columns = [self._column(group, name, len(times)) for name in ("name", "message", "signal", "value")]
        events = []
        for time, name, message, signal, value in zip(times, *columns):
            message = str(message) or words(str(name))
            if str(signal) in self.signals:
                message = self._shorter(message, str(signal), float(value))
            events.append(Event(float(time), str(name), message))
        return sorted(events, key=lambda event: event.time)

    def _shorter(self, message, signal, value):
        """The value told with an event without the long name of its signal: `..., 445.0 bar`."""
        quantity = self.signals[signal]
        plain = re.sub(r" \([^()]*\)$", "", message)
        return f"{plain}, {show(quantity.trade(value), quantity.unit)}"

    def _read_limits(self):
        group = self._group("limits")
        sentences = self._column(group, "sentence", 0)
        columns = [self._column(group, name, len(sentences)) for name in
                   ("result", "level", "worst", "worst_time", "first_time")]
        reasons = self._column(group, "reason", len(sentences))
        return [Limit(str(sentence), str(result), float(level), float(worst), float(when), float(first), str(reason))
                for sentence, reason, result, level, worst, when, first in zip(sentences, reasons, *columns)]

    def values(self, name):
        """A signal in its trade unit."""
        return self.signals[name].trade(self.file[name][()])

    def measure(self, name):
        """A measure in its trade unit; NaN if there is none."""
        if name not in self.measures:
            return float("nan")
        return float(self.measures[name].trade(self.file["measures"][name][()]))

    def moment(self, name):
        """A measure that is a point in time."""
        return self.measure(name) - self.zero

    def align(self):
        """Count time from the start of braking, so that runs that brake at different times lie over each other."""
        start = self.measure("stop_from")
        if start != start:
            raise PlotError(f"{self.path}: nothing brakes in this run, so --align has nothing to count from")
        self.zero = start
        self.time = self.time - start
        for event in self.events:
            event.time -= start
        for limit in self.limits:
            limit.worst_time -= start
            limit.first_time -= start

    def check_signal(self, name):
        if name in self.signals:
            return
        near = difflib.get_close_matches(name, list(self.signals), 1, 0.5)
        hint = f'; nearest: "{near[0]}"' if near else f"; it has {len(self.signals)} signals"
        raise PlotError(f'{self.path}: no signal "{name}"{hint}')


def name_apart(runs):
    """Runs of the same file name are told apart by their folders."""
    names = [run.name for run in runs]
    for run in runs:
        if names.count(run.name) > 1:
            folder = os.path.basename(os.path.dirname(os.path.abspath(run.path)))
            run.name = f"{folder}/{run.name}"
