"""Picture of `swashloop sensitivity`: bars of what a usual change of each number does, and signals with what moves them."""
import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading, words
from .runfile import Quantity, show
from .units import printed

BAR = 0.17  # inches
LARGEST_MEASURES = 8
LARGEST_LINES = 4
QUIET = 0.02  # of all ups and downs, at either end, that the window leaves out
MARGIN = 0.15  # of the window


def scale_of(dataset):
    """(factor from SI to the trade unit, unit): a difference has no offset."""
    quantity = Quantity(dataset)
    factor = float(quantity.trade(numpy.float64(1.0)) - quantity.trade(numpy.float64(0.0)))
    return factor, "K" if quantity.unit == "degC" else quantity.unit


def draw(answer, options):
    ranking = answer.file["ranking"]
    rows = [tuple(row) for row in zip(ranking["measure"].asstr()[()], ranking["parameter"].asstr()[()],
                                      ranking["change"].asstr()[()], ranking["effect"][()])]
    parameters = list(dict.fromkeys(row[1] for row in rows))
    rows = [row for row in rows if row[3] != 0.0]
    measures = list(dict.fromkeys(row[0] for row in rows))[:LARGEST_MEASURES]
    signals = [name for name, item in answer.file.items()
               if hasattr(item, "shape") and item.shape == answer.file["time"].shape and name != "time"
               and moves(answer, name, parameters)]
    block = 0.52 + BAR * max((sum(row[0] == measure for row in rows) for measure in measures), default=1)
    columns = 2
    lines = (len(measures) + columns - 1) // columns
    low, high = window_of(answer, signals, parameters, options)
    figure = new_figure(270, 25.4 * (0.75 + lines * block + 0.3 + 1.9 * len(signals) + 0.2))
    top = heading(figure, answer, "what a usual change of each number does, ranked; below, what moves the signals" +
                  whole_run(answer, low, high)) + 0.25
    width = (figure.get_figwidth() - 0.3) / columns
    for k, measure in enumerate(measures):
        left = 0.1 + width * (k % columns)
        upper = top + block * (k // columns)
        draw_bars(figure, ranking, measure, [row for row in rows if row[0] == measure], left, width, upper)
    top += lines * block + 0.3
    drawn = [path for name in signals for path in strongest(answer, name, parameters)]
    colours = {path: style.colour_of(k) for k, path in enumerate(dict.fromkeys(drawn))}
    for name in signals:
        draw_signal(figure, answer, name, parameters, colours, top, (low, high), name == signals[-1])
        top += 1.9
    return figure


def draw_bars(figure, ranking, measure, rows, left, width, top):
    factor, unit = scale_of(ranking[measure])
    label_width = 2.35
    axis = panel(figure, left + label_width, left + width - 0.75, top + 0.10, top + 0.10 + BAR * len(rows))
    value = Quantity(ranking[measure])
    told = show(float(value.trade(ranking[measure][()])), value.unit)
    figure.text(left / figure.get_figwidth() + 0.01, 1.0 - (top - 0.10) / figure.get_figheight(),
                f"{words(measure)}  {told}", weight="bold", size=style.HEADING, va="top")
    effects = [factor * row[3] for row in rows]
    largest = max((abs(e) for e in effects if e == e), default=1.0) or 1.0
    for k, (row, effect) in enumerate(zip(rows, effects)):
        y = len(rows) - 1 - k
        good = effect == effect
        axis.barh(y, effect if good else 0.0, height=0.62,
                  color=style.SIGNAL_COLOURS[0] if good and effect >= 0.0 else style.SIGNAL_COLOURS[1])
        text = f"{effect:+.3g} {printed(unit)}" if good else "none"
        side = 1.0 if not good or effect >= 0.0 else -1.0
        axis.annotate(text, (effect if good else 0.0, y), xytext=(3 * side, 0), textcoords="offset points",
                      ha="left" if side > 0 else "right", va="center", size=style.SMALL)
        figure.text((left + label_width - 0.08) / figure.get_figwidth(),
                    1.0 - (top + 0.10 + BAR * (k + 0.5)) / figure.get_figheight(), f"{row[1]}  {row[2]}", ha="right",
                    va="center", size=style.SMALL)
    low = min(0.0, min((e for e in effects if e == e), default=0.0))
    high = max(0.0, max((e for e in effects if e == e), default=0.0))
    room = 0.8 * max(high - low, 1e-12)
    axis.set_xlim(low - (room if low < 0.0 else 0.0), high + (room if high > 0.0 else 0.02 * largest))
    axis.set_ylim(-0.5, len(rows) - 0.5)
    axis.set_yticks([])
    axis.tick_params(labelbottom=False, length=0)
    axis.grid(False)
    axis.spines["bottom"].set_visible(False)
    axis.spines["left"].set_position(("data", 0.0))


def changes_of(answer, name, parameters):
    """Change of the signal for the usual change of each number, in the unit of the trade."""
    factor, _ = scale_of(answer.file[name])
    return {path: factor * answer.file[path][name][()] * float(answer.file[path]["change_size"][()])
            for path in parameters}


def moves(answer, name, parameters):
    values = answer[name]
    span = float(numpy.nanmax(values) - numpy.nanmin(values))
    return any(numpy.nanmax(numpy.abs(change)) > 1e-4 * span for change in changes_of(answer, name, parameters).values())


def strongest(answer, name, parameters):
    """The few that move the signal most, by their mean."""
    changes = changes_of(answer, name, parameters)
    size = {path: float(numpy.nanmean(numpy.abs(changes[path]))) for path in parameters}
    return [path for path in sorted(parameters, key=lambda path: -size[path]) if size[path] > 0.0][:LARGEST_LINES]


def window_of(answer, signals, parameters, options):
    """Where the changes move: between QUIET and 1 - QUIET of all the ups and downs that the strongest make, with a margin;
    --from and --to go before it."""
    time = answer["time"]
    low, high = time[0], time[-1]
    path_length = numpy.zeros(len(time))
    for name in signals:
        changes = changes_of(answer, name, parameters)
        for path in strongest(answer, name, parameters):
            steps = numpy.abs(numpy.diff(numpy.nan_to_num(changes[path]), prepend=changes[path][0]))
            path_length += numpy.nan_to_num(steps) / max(float(numpy.nansum(steps)), 1e-300)
    gone = numpy.cumsum(path_length)
    if len(time) > 2 and gone[-1] > 0.0:
        first, last = (time[numpy.searchsorted(gone, share * gone[-1])] for share in (QUIET, 1.0 - QUIET))
        margin = MARGIN * max(last - first, 0.01 * (high - low))
        low, high = max(low, first - margin), min(high, last + margin)
    return (low if options.low is None else options.low, high if options.high is None else options.high)


def whole_run(answer, low, high):
    time = answer["time"]
    if low <= time[0] and high >= time[-1]:
        return ""
    return f", {low:.4g} to {high:.4g} s of {time[0]:.4g} to {time[-1]:.4g} s (--from, --to)"


def draw_signal(figure, answer, name, parameters, colours, top, window, last):
    """The change of the signal for the usual change of each number: the largest few; the signal itself in grey."""
    time = answer["time"]
    _, unit = scale_of(answer.file[name])
    changes = changes_of(answer, name, parameters)
    order = strongest(answer, name, parameters)
    axis = panel(figure, 0.75, figure.get_figwidth() - 2.6, top, top + 1.45)
    panel_heading(axis, f"Change of {words(name)}", printed(unit))
    low, high = window
    axis.set_xlim(low, high)
    twin = axis.twinx()
    twin.plot(time, answer[name], color=style.MARK, linewidth=1.0, zorder=1)
    twin.set_axis_off()
    axis.set_zorder(2)
    axis.patch.set_visible(False)
    inside = (time >= low) & (time <= high)
    largest = 0.0
    for k, path in enumerate(order):
        axis.plot(time, changes[path], color=colours[path], **style.line_of(k))
        seen = numpy.abs(changes[path][inside])
        largest = max(largest, float(numpy.nanpercentile(seen, 99.8)) if seen.size else 0.0)
    # Where a change of mode makes a derivative huge for a moment, the rest shall still be seen.
    span = float(numpy.nanmax(answer[name]) - numpy.nanmin(answer[name]))
    largest = min(largest, span)
    for k, path in enumerate(order):
        change = answer.file[path].attrs["change"]
        figure.text((figure.get_figwidth() - 2.5) / figure.get_figwidth(),
                    1.0 - (top + 0.12 + 0.16 * k) / figure.get_figheight(), f"{path}  {change}", color=colours[path],
                    va="top", size=style.SMALL)
    figure.text((figure.get_figwidth() - 2.5) / figure.get_figwidth(),
                1.0 - (top + 0.12 + 0.16 * len(order)) / figure.get_figheight(),
                "grey: the signal itself", color=style.FAINT, va="top", size=style.SMALL)
    if largest > 0.0:
        axis.set_ylim(-1.15 * largest, 1.15 * largest)
    axis.axhline(0.0, color=style.MARK, linewidth=0.7)
    if last:
        axis.set_xlabel("time, s", labelpad=2)
