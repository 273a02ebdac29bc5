"""The picture: a heading, numbered events, panels over one time axis, tables of words."""
import re

import numpy

from . import style
from .curves import Occupied, decimate, spread
from .errors import PlotError
from .panels import extremes, limit_signals
from .runfile import show, words
from .tables import Marks, Tables, Writer

style.settle()

from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.patheffects import withStroke  # noqa: E402
from matplotlib.ticker import MaxNLocator  # noqa: E402

MM = 1.0 / 25.4
LEFT, RIGHT_LEAST, BOTTOM, EDGE = 0.66, 0.30, 0.42, 0.16
PANEL_UNIT = 0.82  # inches of a panel of weight 1
PANEL_GAP = 0.26
STRIP = 0.30
# The smallest span of an axis: below it one would look at noise.
LEAST_SPAN = {"bar": 4.0, "rpm": 60.0, "km/h": 1.0, "L/min": 1.0, "%": 4.0, "degC": 2.0, "m": 0.5, "kW": 1.0}
FROM_ZERO = {"km/h", "L/min"}
# Words among curves stand on a thin white edge.
HALO = (withStroke(linewidth=1.6, foreground="white"),)


def make_figure(runs, panels, notes, options):
    """Everything, as a matplotlib figure."""
    low, high = window(runs, options)
    width = options.size[0] * MM if options.size else 260 * MM
    figure = Figure(figsize=(width, 4.0), facecolor="white")
    canvas = FigureCanvasAgg(figure)
    writer = Writer(canvas.get_renderer(), figure.dpi)

    marks = None if options.plain else Marks(runs, low, high)
    right = right_margin(runs, panels, writer)
    tables = None if options.plain else Tables(runs, marks, notes, writer, width - LEFT - EDGE)
    strips = [] if options.plain else [k for k in range(len(runs)) if marks.of_run(k)]

    head = 0.42 + 0.17 * len(runs)
    below = BOTTOM + (tables.height + 0.16 if tables and tables.texts else 0.0) + 0.06
    fixed = head + STRIP * len(strips) + below + PANEL_GAP * len(panels)
    weight = sum(panel.weight for panel in panels)
    if options.size:
        height = options.size[1] * MM
        unit = (height - fixed) / weight
        if unit < 0.3:
            need = (fixed + 0.3 * weight) / MM
            raise PlotError(f"--size: {len(panels)} panels with their words need {need:.0f} mm in height, or --plain")
    else:
        unit = PANEL_UNIT
        height = fixed + unit * weight
    figure.set_size_inches(width, height)

    page = Page(figure, width, height)
    draw_heading(page, runs, writer)
    span = (LEFT, width - right)
    y = head
    axes = []
    for k in strips:
        foot = head + STRIP * len(strips) + PANEL_GAP - y
        draw_strip(page, marks.of_run(k), style.line_of(k) if len(runs) > 1 else None, span, y, foot, low, high, writer)
        y += STRIP
    for panel in panels:
        y += PANEL_GAP
        axis = page.axes(span[0], span[1], y, y + unit * panel.weight)
        y += unit * panel.weight
        draw_panel(page, axis, panel, runs, marks, low, high, options, writer)
        axis.tick_params(labelbottom=panel is panels[-1])
        axes.append(axis)
    for axis in axes:
        axis.xaxis.set_major_locator(MaxNLocator(nbins=max(2, int((span[1] - span[0]) / 0.7)), steps=[1, 2, 5, 10]))
    axes[-1].set_xlabel("time from the start of braking, s" if options.align else "time, s", labelpad=2)
    if tables:
        draw_tables(page, tables, LEFT, y + BOTTOM)
    return figure


def window(runs, options):
    start = min(run.time[0] for run in runs)
    end = max(run.time[-1] for run in runs)
    low = start if options.low is None else options.low
    high = end if options.high is None else options.high
    if not low < high or high <= start or low >= end:
        raise PlotError(f"nothing between {low:g} s and {high:g} s: the runs last from {start:g} s to {end:g} s")
    return low, high


class Page:
    """Places things in inches from the upper left corner."""

    def __init__(self, figure, width, height):
        self.figure, self.width, self.height = figure, width, height

    def text(self, x, y, text, **look):
        look = {"size": style.TEXT, "va": "top", "ha": "left", **look}
        return self.figure.text(x / self.width, 1.0 - y / self.height, text, **look)

    def line(self, xs, ys, **look):
        from matplotlib.lines import Line2D
        points_x = [x / self.width for x in xs]
        points_y = [1.0 - y / self.height for y in ys]
        self.figure.add_artist(Line2D(points_x, points_y, **look))

    def axes(self, left, right, top, bottom):
        return self.figure.add_axes((left / self.width, 1.0 - bottom / self.height, (right - left) / self.width,
                                     (bottom - top) / self.height))


def draw_heading(page, runs, writer):
    right = page.width - EDGE
    page.text(LEFT, 0.13, writer.cut(runs[0].title if len(runs) == 1 else "Comparison", right - LEFT - 0.1,
                                     style.TITLE), size=style.TITLE, weight="bold")
    for k, run in enumerate(runs):
        y = 0.38 + 0.17 * k
        x = LEFT
        if len(runs) > 1:
            page.line((x, x + 0.42), (y + 0.06, y + 0.06), color=style.INK, **style.line_of(k))
            x += 0.50
            page.text(x, y, run.name, weight="bold")
            x += writer.width(run.name, weight="bold") + 0.10
        state = run.status if run.status == "complete" else f"{run.status}: {run.status_message}".rstrip(": ")
        facts = f"{state}, {run.time[-1] + run.zero:.4g} s"
        if len(runs) > 1:
            words_here = f"{run.title}   ({facts})"
        else:
            words_here = f"{run.path.rsplit('/', 1)[-1]}   {facts}   {run.source}"
        look = {"color": style.FAINT} if run.status == "complete" else {"color": style.LIMIT_COLOUR}
        page.text(x, y, writer.cut(words_here, right - x), **look)


def draw_strip(page, rows, look, span, top, foot, low, high, writer):
    """Numbers of events over their times; crowded ones move aside and point to their place. `look`: of the run's lines,
    to tell its strip from those of others; `foot`: inches from here to the first panel."""
    axis = page.axes(span[0], span[1], top, top + foot)
    axis.patch.set_visible(False)
    axis.set_xlim(low, high)
    axis.set_ylim(foot, 0.0)
    axis.axis("off")
    per_inch = (high - low) / (span[1] - span[0])
    gap = max(writer.width("00", style.SMALL) + 0.07, 0.17)
    places = spread([row[2].time for row in rows], gap * per_inch, low, high)
    for (number, _, event, _), place in zip(rows, places):
        colour = style.LIMIT_COLOUR if event.name == "limit" else style.INK
        axis.plot((place, place, event.time, event.time), (0.18, 0.22, 0.34, foot), color=style.MARK, linewidth=0.5,
                  clip_on=False)
        axis.text(place, 0.10, str(number), ha="center", va="center", size=style.SMALL, color=colour, weight="bold",
                  path_effects=HALO)
    if look is not None:
        page.line((EDGE, LEFT - 0.10), (top + 0.10, top + 0.10), color=style.INK, **look)


def short_names(names):
    """Names without the words at the end that all share: line A, line B under `Line pressure`."""
    split = [words(name).split() for name in names]
    while len(split) > 1 and all(len(parts) > 1 and parts[-1] == split[0][-1] for parts in split):
        split = [parts[:-1] for parts in split]
    return [" ".join(parts) for parts in split]


def end_labels(runs, panel):
    """(text, signal index, run index) of what stands at the right end of curves: signals, where a panel has several. The
    styles of runs are told in the heading."""
    if len(panel.signals) > 1:
        # At the curve that reaches furthest; the first one where several do.
        longest = [max((k for k, run in enumerate(runs) if name in run.signals), key=lambda k: (runs[k].time[-1], -k))
                   for name in panel.signals]
        return [(text, i, longest[i]) for i, text in enumerate(short_names(panel.signals))]
    return []


def right_margin(runs, panels, writer):
    widths = [writer.width(text) for panel in panels for text, _, _ in end_labels(runs, panel)]
    return min(max(widths, default=0.0) + 0.26 + EDGE, 2.2) if widths else RIGHT_LEAST


def draw_panel(page, axis, panel, runs, marks, low, high, options, writer):
    """Curves first, then what must keep clear of them."""
    axis.set_xlim(low, high)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    axis.grid(True, color=style.GRID, linewidth=0.6)
    axis.set_axisbelow(True)
    axis.tick_params(length=2.5, width=0.6, pad=2.5)

    box = axis.get_window_extent()
    curves = []
    for k, run in enumerate(runs):
        for i, name in enumerate(panel.signals):
            if name not in run.signals:
                continue
            time, values = decimate(run.time, run.values(name), low, high, int(box.width))
            look = style.line_of(k if len(runs) > 1 else i)
            axis.plot(time, values, color=curve_colour(panel, i), zorder=3 + 0.1 * i, gid=f"{run.name}:{name}", **look)
            curves.append((k, i, time, values))
    limits = [] if options.plain else panel_limits(runs, panel)
    peaks = [] if options.plain else [(k, *peak) for k, run in enumerate(runs) for peak in extremes(run, panel)
                                      if low <= peak[1] <= high]
    set_range(axis, panel, curves, limits, peaks, low, high)
    draw_panel_heading(page, axis, panel)
    if marks:
        for _, k, event, _ in marks.rows:
            axis.axvline(event.time, color=style.MARK, linewidth=0.5, zorder=1, alpha=1.0 if len(runs) == 1 else 0.6)

    occupied = Occupied((box.x0, box.y0, box.x1, box.y1))
    for _, _, time, values in curves:
        occupied.add_curve(axis.transData.transform(numpy.column_stack((time, values))))
    limits = [limit for limit in limits if limit.start < high]
    for limit in limits:
        ends = numpy.array(((max(limit.start, low), limit.value), (high, limit.value)))
        occupied.add_curve(axis.transData.transform(ends))
    for limit in limits:
        draw_limit(axis, limit, runs, curves, panel, occupied, writer, low, high)
    for peak in sorted(peaks, key=lambda peak: -abs(peak[3])):
        draw_peak(axis, panel, peak, occupied, writer)
    draw_end_labels(page, axis, panel, runs, curves, high, writer)


def curve_colour(panel, i):
    return style.INK if len(panel.signals) == 1 else style.colour_of(i)


def set_range(axis, panel, curves, limits, peaks, low, high):
    """Everything that is drawn, a little room, no magnified noise; round numbers at the ticks."""
    unit = panel.quantity.unit
    numbers = []
    for _, _, time, values in curves:
        seen = values[(time >= low) & (time <= high) & numpy.isfinite(values)]
        numbers += [seen.min(), seen.max()] if seen.size else []
    numbers += [peak[3] for peak in peaks]
    if not numbers:
        numbers = [0.0]
    bottom, top = min(numbers), max(numbers)
    if unit in FROM_ZERO or (unit == "bar" and 0.0 <= bottom < 0.5 * top):
        bottom, top = min(bottom, 0.0), max(top, 0.0)
    span = max(top - bottom, LEAST_SPAN.get(unit, 1e-12))
    for limit in limits:
        # A limit far away would squash the curve; it is in the table all the same.
        if bottom - 0.6 * span <= limit.value <= top + 0.6 * span:
            bottom, top = min(bottom, limit.value), max(top, limit.value)
    span = top - bottom
    least = LEAST_SPAN.get(unit, max(abs(top) * 1e-6, 1e-12))
    if span < least and bottom == 0.0:
        top, span = least, least
    elif span < least:
        middle = 0.5 * (top + bottom)
        bottom, top, span = middle - 0.5 * least, middle + 0.5 * least, least
    floor = bottom if bottom == 0.0 and unit in FROM_ZERO | {"bar"} else bottom - 0.07 * span
    axis.set_ylim(floor, top + 0.10 * span)
    inches = axis.get_window_extent().height / axis.figure.dpi
    axis.yaxis.set_major_locator(MaxNLocator(nbins=max(2, int(inches / 0.28)), steps=[1, 2, 2.5, 5, 10]))


def draw_panel_heading(page, axis, panel):
    text = axis.text(0.0, 1.0, panel.heading, transform=axis.transAxes, va="bottom", ha="left", size=style.HEADING,
                     weight="bold")
    text.set_y(1.0 + 0.045 / (axis.get_window_extent().height / axis.figure.dpi))
    if panel.quantity.label:
        extent = text.get_window_extent(page.figure.canvas.get_renderer())
        x, y = axis.transAxes.inverted().transform((extent.x1 + 0.06 * axis.figure.dpi, extent.y0))
        axis.text(x, text.get_position()[1], panel.quantity.label, transform=axis.transAxes, va="bottom", ha="left",
                  size=style.HEADING, color=style.FAINT)


class DrawnLimit:
    """A limit as a line in a panel. `broken_from`: by run that broke it, from when it had to hold."""

    def __init__(self, limit, value, start):
        self.name, self.sentence, self.value, self.start = limit.name, limit.sentence, value, start
        self.upper = not re.match(r"\s*\w+\s*>", limit.sentence)
        self.broken_from = {}


def panel_limits(runs, panel):
    """Limits on this panel's signals, each sentence once: those of the first run, and what others broke (the table has
    all)."""
    found = {}
    for k, run in enumerate(runs):
        for limit in run.limits:
            signals = limit_signals(run, limit)
            if not set(signals) & set(panel.signals) or not (k == 0 or limit.broken):
                continue
            quantity = run.measures.get(limit.name) or run.signals[signals[0]]
            start = limit_start(run, limit)
            drawn = found.setdefault(limit.sentence, DrawnLimit(limit, float(quantity.trade(limit.level)), start))
            drawn.start = min(drawn.start, start)
            if limit.broken:
                drawn.broken_from[k] = start
    return list(found.values())


def limit_start(run, limit):
    """From when a limit `within TIME` must hold."""
    match = re.search(r"within\s+([\d.]+)\s*(ms|s|min)\b", limit.sentence)
    if not match:
        return float("-inf")
    begin = run.moment("stop_from")
    delay = float(match.group(1)) * {"ms": 1e-3, "s": 1.0, "min": 60.0}[match.group(2)]
    return delay + begin if begin == begin else float("inf")  # braking never starts: it never has to hold


def draw_limit(axis, limit, runs, curves, panel, occupied, writer, low, high):
    bottom, top = axis.get_ylim()
    if not bottom <= limit.value <= top:
        return
    start = max(limit.start, low)
    axis.plot((start, high), (limit.value, limit.value), color=style.LIMIT_COLOUR, linewidth=0.9,
              linestyle=(0, (7.0, 3.0)), zorder=2.5)
    for k, i, time, values in curves:
        if k not in limit.broken_from or panel.signals[i] not in limit_signals(runs[k], limit):
            continue
        beyond = (values > limit.value if limit.upper else values < limit.value) & (time >= limit.broken_from[k])
        axis.fill_between(time, values, limit.value, where=beyond, interpolate=True, color=style.LIMIT_COLOUR,
                          alpha=0.18, linewidth=0, zorder=2)

    dpi = axis.figure.dpi
    text = limit.sentence + ("  BROKEN" if limit.broken_from else "")
    weight = "bold" if limit.broken_from else "normal"
    width = (writer.width(text, style.SMALL, weight) + 0.04) * dpi
    height = 0.115 * dpi
    y = axis.transData.transform((low, limit.value))[1]
    right = occupied.box[2] - width
    left = min(axis.transData.transform((start, 0))[0] + 0.05 * dpi, right)
    spots = numpy.linspace(left, right, 24)
    above, below = y + 0.03 * dpi, y - 0.03 * dpi - height
    order = (above, below) if limit.upper else (below, above)
    candidates = [(x, side) for side in order for x in spots]
    # Rather away from the line than across a curve.
    candidates += [(x, above + far * dpi) for far in (0.08, 0.16, 0.25, 0.4) for x in spots]
    x, place, _ = occupied.place(width, height, candidates, 0.02 * dpi)
    at = axis.transData.inverted().transform((x, place))
    axis.text(at[0], at[1], text, size=style.SMALL, weight=weight, color=style.LIMIT_COLOUR, va="bottom", ha="left",
              zorder=5, path_effects=HALO)


def draw_peak(axis, panel, peak, occupied, writer):
    """A ring at an extreme and its value in a free place beside it."""
    _, signal, time, value, kind = peak
    colour = curve_colour(panel, panel.signals.index(signal))
    axis.plot([time], [value], marker="o", markersize=4.0, markerfacecolor="white", markeredgecolor=colour,
              markeredgewidth=1.0, zorder=6, clip_on=False)
    dpi = axis.figure.dpi
    text = show(value, panel.quantity.unit)
    width, height = writer.width(text, style.SMALL) * dpi, 0.105 * dpi
    x, y = axis.transData.transform((time, value))
    occupied.boxes.append((x - 0.035 * dpi, y - 0.035 * dpi, x + 0.035 * dpi, y + 0.035 * dpi))
    candidates = []
    for far in (0.06, 0.10, 0.18, 0.28, 0.42, 0.6):
        step = far * dpi
        ups = (0.0, 0.5, -0.5, 1.0, -1.0) if kind == "max" else (0.0, -0.5, 0.5, -1.0, 1.0)
        for up in ups:
            for side in (x + step, x - step - width):
                candidates.append((side, y - height / 2 + up * step * 1.2))
        middle = y + step if kind == "max" else y - step - height
        candidates.append((x - width / 2, middle))
    place_x, place_y, _ = occupied.place(width, height, candidates, 0.015 * dpi)
    at = axis.transData.inverted().transform((place_x, place_y))
    axis.text(at[0], at[1], text, size=style.SMALL, color=colour, va="bottom", ha="left", zorder=7,
              path_effects=HALO)
    near_x = min(max(x, place_x), place_x + width)
    near_y = min(max(y, place_y), place_y + height)
    if numpy.hypot(near_x - x, near_y - y) > 0.16 * dpi:
        ends = axis.transData.inverted().transform(((x, y), (near_x, near_y)))
        axis.plot(ends[:, 0], ends[:, 1], color=colour, linewidth=0.5, zorder=5)


def draw_end_labels(page, axis, panel, runs, curves, high, writer):
    labels = end_labels(runs, panel)
    box = axis.get_window_extent()
    dpi = axis.figure.dpi
    placed = []
    for text, i, k in labels:
        curve = next(((t, v) for run, signal, t, v in curves if run == k and signal == i), None)
        if curve is None:
            continue
        time, values = curve
        seen = (time <= high) & numpy.isfinite(values)
        if not seen.any():
            continue
        end = axis.transData.transform((min(time[seen][-1], high), values[seen][-1]))
        placed.append((text, i, k, end))
    heights = spread([min(max(end[1], box.y0), box.y1) for _, _, _, end in placed], 0.13 * dpi, box.y0,
                     box.y1 + 0.05 * dpi)
    for (text, i, k, end), height in zip(placed, heights):
        colour = curve_colour(panel, i)
        x = box.x1 + 0.05 * dpi
        to_inches = lambda px, py: (px / dpi, page.height - py / dpi)
        points = [to_inches(max(end[0], box.x1), end[1]), to_inches(x + 0.07 * dpi, height)]
        if end[0] >= box.x1 - 2:
            page.line([p[0] for p in points], [p[1] for p in points], color=colour, linewidth=0.6)
        start = to_inches(x + 0.10 * dpi, height)
        page.text(start[0], start[1], writer.cut(text, page.width - EDGE - start[0]), color=colour, va="center_baseline")


def draw_tables(page, tables, left, top):
    for x, y, text, look in tables.texts:
        page.text(left + x, top + y, text, **look)
    for x0, x1, y in tables.rules:
        page.line((left + x0, left + x1), (top + y, top + y), color=style.MARK, linewidth=0.6)
