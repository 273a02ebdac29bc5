"""Reading the table of a sweep: what was varied, measures, limits, in the units of the trade; percentiles and ranks."""
import difflib

import h5py
import numpy

from .errors import PlotError
from .files import open_h5
from .runfile import Quantity, _text, show, words

KEPT, BROKEN, NOT_JUDGED = 1, 0, 2


def is_table(path):
    """Has it a dimension `case` and no time?"""
    file = open_h5(path)
    return "case" in file and "time" not in file and "study_fingerprint" in file.attrs


class Column:
    def __init__(self, name, dataset):
        self.name = name
        self.quantity = Quantity(dataset)
        self.long_name = self.quantity.long_name
        self.is_text = h5py.check_string_dtype(dataset.dtype) is not None
        attributes = dataset.attrs
        self.role = _text(attributes.get("role", ""))
        self.short = _text(attributes.get("label", ""))
        level = attributes.get("level")
        self.level = float(self.quantity.trade(float(_text(level)))) if level is not None else None
        self.side = _text(attributes.get("side", ""))
        if self.is_text:
            self.texts = dataset.asstr()[()]
            names = _text(attributes.get("choices", "")).split("|")
            if not set(self.texts) <= set(names):
                names = sorted(set(self.texts))
            self.choices = [name for name in names if name in set(self.texts)]
            self.values = numpy.array([self.choices.index(text) for text in self.texts], dtype=float)
        else:
            self.values = self.quantity.trade(dataset[()].astype(float))

    @property
    def title(self):
        """As it stands at an axis: the short words of what was varied, the words of a measure."""
        if self.role in ("measure", "work"):
            return words(self.name)
        if self.role == "worst":
            return ("highest " if self.side == "at most" else "lowest ") + self.limited
        return self.short or self.name

    @property
    def limited(self):
        """What a limit is about, from the name `limit_3_line_b_pressure_worst`."""
        return words(self.name.split("_", 2)[2].removesuffix("_worst"))

    @property
    def label(self):
        unit = self.quantity.label
        return f"{self.title}, {unit}" if unit else self.title


class Steps:
    """What is varied cut into steps, as the table keeps them: the page of `swashloop report` uses the same."""

    def __init__(self, column, group):
        here = group["varied"].asstr()[()] == column.name
        order = numpy.argsort(group["place"][()][here])
        low, high = (column.quantity.trade(group[name][()][here][order]) for name in ("low", "high"))
        self.axis = int(group["axis"][()][here][0])
        self.count = low.size
        self.logarithmic = bool(group["logarithmic"][()][here][0])
        self.edges = numpy.append(low, high[-1])
        self.centres = column.quantity.trade(group["centre"][()][here][order])
        if column.is_text:
            self.edges, self.centres = numpy.arange(self.count + 1) - 0.5, numpy.arange(self.count, dtype=float)

    def place(self, values):
        """The step that each value lies in."""
        return numpy.clip(numpy.searchsorted(self.edges, values, "right") - 1, 0, self.count - 1)


class Regions:
    """How the cases fared by region, as the table keeps it; of all its cases."""

    def __init__(self, group):
        self.columns = {name: dataset[()] for name, dataset in group.items()}

    def rows(self, limit, x=-1, y=-1):
        columns = self.columns
        return numpy.flatnonzero((columns["limit"] == limit) & (columns["x"] == x) & (columns["y"] == y))

    def along(self, limit, steps, name):
        """A column along one thing varied."""
        return self.columns[name][self.rows(limit, steps.axis)]

    def map(self, x, y, name):
        """[y step, x step] of any limit."""
        first, second = sorted((x.axis, y.axis))
        rows = self.rows(0, first, second)
        values = self.columns[name][rows]
        first_is_x = first == x.axis
        grid = values.reshape((y.count, x.count) if first_is_x else (x.count, y.count))
        return grid if first_is_x else grid.T

    def overall(self, limit, name):
        return self.columns[name][self.rows(limit)][0]


class Table:
    def __init__(self, path):
        self.path = path
        self.columns = {}
        file = open_h5(path)
        attributes = file.attrs
        self.title = _text(attributes.get("title", ""))
        self.source = _text(attributes.get("source", ""))
        self.shards = int(attributes.get("shards", 1))
        for name, dataset in file.items():
            role = _text(dataset.attrs.get("role", ""))
            if role in ("varied", "measure", "worst", "work"):
                self.columns[name] = Column(name, dataset)
        # h5py lists by name; the file was written in the order of the study.
        order = {name: k for k, name in enumerate(creation_order(file))}
        self.columns = dict(sorted(self.columns.items(), key=lambda item: order.get(item[0], 0)))
        self.cases = file["case"][()]
        self.status = file["status"].asstr()[()]
        self.kept = file["all_limits"][()] if "all_limits" in file else None
        self.limits = {name: file[name][()] for name in file
                       if _text(file[name].attrs.get("role", "")) == "limit"}
        self.sentences = {name: _text(file[name].attrs.get("long_name", "")) for name in self.limits}
        if "steps" not in file and any(column.role == "varied" for column in self.columns.values()):
            raise PlotError(f"{path} is of an earlier swashloop: 'swashloop merge {path} -o NEW.h5' makes a table with "
                            "what a picture shows")
        self.steps = {column.name: Steps(column, file["steps"]) for column in self.columns.values()
                      if column.role == "varied" and (file["steps"]["varied"].asstr()[()] == column.name).any()}
        self.regions = Regions(file["regions"]) if "regions" in file else None
        self.indices = {name: dataset.asstr()[()] if h5py.check_string_dtype(dataset.dtype) else dataset[()]
                        for name, dataset in file["indices"].items()} if "indices" in file else None
        self.setting = file["setting"].asstr()[()] if "setting" in file else None
        self.select = numpy.ones(self.cases.size, dtype=bool)
        self.conditions = []

    @property
    def failed(self):
        return self.status == "failed"

    @property
    def unfinished(self):
        return self.status == "unfinished"

    @property
    def good(self):
        """Cases that count: run to their end, and within what was asked for by --at."""
        return self.select & ~self.failed & ~self.unfinished

    def varied(self):
        """What was varied and takes more than one value among the selected cases."""
        return [column for column in self.columns.values() if column.role == "varied" and
                numpy.unique(column.values[self.select]).size > 1]

    def find(self, name, roles=("varied", "measure", "worst", "work")):
        column = self.columns.get(name)
        if column is not None and column.role in roles:
            return column
        known = [other.name for other in self.columns.values() if other.role in roles]
        near = difflib.get_close_matches(name, known, 1, 0.4)
        what = "varied" if roles == ("varied",) else "in this table"
        raise PlotError(f'{self.path}: "{name}" is not {what}' + (f'; nearest: "{near[0]}"' if near else ""))

    def narrow(self, wish):
        """`PATH=VALUE`, the value in the unit of the trade or a choice: only the cases with the nearest value there is."""
        name, _, text = wish.partition("=")
        column = self.find(name.strip(), ("varied",))
        text = text.strip()
        if column.is_text:
            if text not in column.choices:
                raise PlotError(f'--at {wish}: {column.name} is one of {", ".join(column.choices)}')
            value = float(column.choices.index(text))
        else:
            try:
                wanted = float(text.split()[0]) if text else float("nan")
            except ValueError:
                wanted = float("nan")
            if wanted != wanted:
                raise PlotError(f"--at {wish}: expected PATH=NUMBER, in {column.quantity.unit}")
            values = numpy.unique(column.values)
            value = values[numpy.argmin(numpy.abs(values - wanted))]
        self.select &= column.values == value
        shown = text if column.is_text else show(value, column.quantity.unit)
        self.conditions.append(f"{column.title} = {shown}")

    def default_measure(self):
        """What was asked: the worst value of the study's first limit that has one, else its first measure."""
        good = self.good
        for role in ("worst", "measure"):
            for column in self.columns.values():
                if column.role == role and moves(column.values[good]):
                    return column
        raise PlotError(f"{self.path}: no measure differs between the cases")

    def default_measures(self, most=6):
        """The main one, then those that a review asks first."""
        chosen = [self.default_measure()]
        for name in ("stop_distance", "stop_time", "engine_speed_max", "peak_line_b_pressure", "peak_line_a_pressure",
                     "lowest_low_side_pressure_after_settling", "lowest_charge_pressure", "relief_heat",
                     "largest_wheel_slip", "creep_speed"):
            column = self.columns.get(name)
            if column is None or not moves(column.values[self.good]):
                continue
            # The worst value of a limit may be the measure itself.
            if not any(numpy.array_equal(column.values, other.values, equal_nan=True) for other in chosen):
                chosen.append(column)
        return chosen[:most]


def creation_order(file):
    names = []
    file.id.links.iterate(names.append, idx_type=h5py.h5.INDEX_CRT_ORDER)
    return [name.decode() if isinstance(name, bytes) else name for name in names]


def moves(values):
    values = values[numpy.isfinite(values)]
    return values.size > 1 and float(values.max() - values.min()) > 1e-9 * max(1.0, float(numpy.abs(values).max()))


def ranks(values):
    """Ranks from 1; equal values share the mean of theirs."""
    order = numpy.argsort(values, kind="stable")
    ordered = values[order]
    starts = numpy.flatnonzero(numpy.concatenate(([True], ordered[1:] != ordered[:-1])))
    ends = numpy.append(starts[1:], ordered.size)
    result = numpy.empty(values.size)
    for first, past in zip(starts, ends):
        result[order[first:past]] = 0.5 * (first + 1 + past)
    return result


def rank_correlation(x, y):
    """Spearman's, of the cases in which both are numbers; and how many these are."""
    both = numpy.isfinite(x) & numpy.isfinite(y)
    if both.sum() < 3 or not moves(x[both]) or not moves(y[both]):
        return float("nan"), int(both.sum())
    a, b = ranks(x[both]), ranks(y[both])
    a, b = a - a.mean(), b - b.mean()
    return float((a * b).sum() / numpy.sqrt((a * a).sum() * (b * b).sum())), int(both.sum())
