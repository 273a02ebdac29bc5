"""Pictures of the table of a sweep: curves with percentiles, maps with the limits' contour, the ranking of influence,
scatter with failures marked, and pairs."""
import textwrap

import numpy

from . import style
from .errors import PlotError
from .runfile import show
from .sweep import BROKEN, KEPT, NOT_JUDGED, Table, moves, rank_correlation

style.settle()

from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402
from matplotlib.colors import LinearSegmentedColormap  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.patheffects import withStroke  # noqa: E402
from matplotlib.ticker import MaxNLocator, NullFormatter, NullLocator  # noqa: E402

MM = 1.0 / 25.4
HALO = (withStroke(linewidth=2.0, foreground="white"),)
KEPT_COLOUR, BROKEN_COLOUR = "#0072b2", "#d55e00"
# From pale to deep blue: one hue, so that a grey print keeps the order.
DEPTH = LinearSegmentedColormap.from_list("depth", ["#f3f6fa", "#b5cde3", "#6ba0cc", "#2f6ea6", "#123f6b"])
# Against, none, with.
SIGNED = LinearSegmentedColormap.from_list("signed", ["#b5541c", "#f0c8a8", "#ffffff", "#a9cbe6", "#1f6aa5"])


def make_sweep_figure(path, options):
    table = Table(path)
    for wish in options.at:
        table.narrow(wish)
    if not table.select.any():
        raise PlotError(f"{path}: no case has all of {', '.join(options.at)}")
    if not table.good.any():
        raise PlotError(f"{path}: all {int(table.select.sum())} cases failed; the column message says why")
    kinds = [options.draw] if options.draw else default_kinds(table)
    plans = [(kind, arguments(kind, table, options)) for kind in kinds]
    width = (options.size[0] if options.size else 260.0 if len(plans) > 1 else 170.0) * MM
    columns = 2 if len(plans) > 1 else 1
    rows = (len(plans) + columns - 1) // columns
    foot = 0.6 if "probability" in kinds else 0.0  # for its lines of limits
    head = 0.86 + (0.16 if table.conditions else 0.0)
    height = options.size[1] * MM if options.size else head + rows * (3.35 if columns == 2 else 4.0) + 0.5 + foot
    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    heading(figure, table, width, height)
    grid = figure.add_gridspec(rows, columns, left=0.72 / width, right=1.0 - (0.50 if kinds[-1] == "map" else 0.24) / width, bottom=(0.74 + foot) / height,
                               top=1.0 - head / height, hspace=0.52, wspace=0.34)
    for k, (kind, how) in enumerate(plans):
        DRAW[kind](figure, figure.add_subplot(grid[k // columns, k % columns]), table, *how)
    return figure


def heading(figure, table, width, height):
    left = 0.16 / width
    cases, failed = int(table.select.sum()), int((table.failed & table.select).sum())
    figure.text(left, 1.0 - 0.13 / height, table.title, size=style.TITLE, weight="bold", va="top")
    unfinished = int((table.unfinished & table.select).sum())
    facts = [table.path.rsplit("/", 1)[-1], f"{cases} cases" + (f", {failed} failed" if failed else "") +
             (f", {unfinished} unfinished" if unfinished else "")]
    if table.kept is not None:
        kept = int((table.kept[table.select] == KEPT).sum())
        facts.append(f"{kept} keep every limit ({100.0 * kept / cases:.0f} %)")
        unjudged = int((table.kept[table.good] == NOT_JUDGED).sum())
        if unjudged:
            facts.append(f"{unjudged} not judged")
    facts.append(table.source)
    figure.text(left, 1.0 - 0.38 / height, "   ".join(facts), size=style.TEXT, color=style.FAINT, va="top")
    if table.conditions:
        figure.text(left, 1.0 - 0.54 / height, "only where " + ", ".join(table.conditions), size=style.TEXT, va="top")


# ---- what to draw ----

def default_kinds(table):
    count = len(table.varied())
    if count == 0:
        raise PlotError(f"{table.path}: nothing varies among these cases")
    ranking = "influence" if table.indices is None else "indices"
    kinds = ["curve"] if count == 1 else [ranking, "curve", "map"]
    kinds += ["pairs"] if table.setting is not None else ["scatter"]
    return kinds + (["probability"] if table.regions is not None else [])


def strongest(table, measure):
    """What was varied, by the size of its rank correlation with the measure."""
    def size(column):
        value, _ = rank_correlation(column.values[table.good], measure.values[table.good])
        return -abs(value) if value == value else 0.0
    return sorted(table.varied(), key=size)


def arguments(kind, table, options):
    measures = [table.find(name, ("measure", "worst", "work")) for name in options.measures]
    main = measures[0] if measures else table.default_measure()
    if kind == "influence":
        return (measures or table.default_measures(),)
    if kind in ("pairs", "indices"):
        return (main,)
    if kind == "probability":
        return (table.find(options.x, ("varied",)) if options.x else strongest(table, main)[0],)
    order = strongest(table, main)
    x = table.find(options.x, ("varied",)) if options.x else order[0]
    if kind == "map":
        rest = [column for column in order if column is not x]
        if not options.y and not rest:
            raise PlotError(f"{table.path}: a map needs two things that vary")
        return x, table.find(options.y, ("varied",)) if options.y else rest[0], main
    return x, main


# ---- parts of panels ----

def settle_axis(axis, set_scale, table, column, which):
    """Choices get their names, what the study spaces so a logarithmic scale."""
    ticks = axis.xaxis if which == "x" else axis.yaxis
    if column.is_text:
        ticks.set_ticks(range(len(column.choices)), column.choices)
        return
    steps = table.steps[column.name]
    finite = numpy.unique(column.values[numpy.isfinite(column.values)])
    if steps.logarithmic:
        set_scale("log")
        round_values = [digit * 10.0 ** power for power in range(-9, 10) for digit in (1.0, 2.0, 5.0)]
        shown = finite if finite.size <= 8 else [value for value in round_values
                                                 if finite.min() <= value <= finite.max()]
        ticks.set_minor_locator(NullLocator())
        ticks.set_minor_formatter(NullFormatter())
        ticks.set_ticks(shown, [f"{value:.2g}" for value in shown])
    else:
        ticks.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))


def plain_axis(axis, title):
    axis.set_title(title, size=style.HEADING, weight="bold", loc="left", pad=5)
    axis.tick_params(length=2.5, width=0.6, color=style.MARK, labelsize=style.TEXT)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def show_level(axis, column):
    if column.level is None:
        return
    axis.axhline(column.level, color=style.LIMIT_COLOUR, linewidth=1.0, linestyle=(0, (4, 2)), zorder=3)
    low, high = axis.get_ylim()
    if not low <= column.level <= high:
        axis.set_ylim(min(low, column.level), max(high, column.level))
    axis.annotate(f"limit: {column.side} {show(column.level, column.quantity.unit)}", (1.0, column.level), xycoords=("axes fraction", "data"),
                  xytext=(-2, 2), textcoords="offset points", ha="right", va="bottom", size=style.SMALL,
                  color=style.LIMIT_COLOUR, path_effects=HALO, zorder=6)


def show_failures(axis, table, x):
    """Marks at the foot, where cases failed or were left unfinished."""
    failed = table.failed & table.select
    if failed.any():
        axis.plot(x.values[failed], numpy.full(int(failed.sum()), 0.015), "x", color=style.LIMIT_COLOUR, markersize=4,
                  markeredgewidth=0.9, transform=axis.get_xaxis_transform(), clip_on=False, zorder=5,
                  label=f"failed ({int(failed.sum())})")
    unfinished = table.unfinished & table.select
    if unfinished.any():
        axis.plot(x.values[unfinished], numpy.full(int(unfinished.sum()), 0.015), "d", color=style.FAINT, markersize=4,
                  markeredgewidth=0, transform=axis.get_xaxis_transform(), clip_on=False, zorder=5,
                  label=f"unfinished ({int(unfinished.sum())})")


# ---- panels ----

def draw_curve(figure, axis, table, x, measure):
    good = table.good & numpy.isfinite(measure.values)
    steps = table.steps[x.name]
    centres, group = steps.centres, steps.place(x.values[good])
    values = measure.values[good]
    shares = (5, 25, 50, 75, 95)
    lines = numpy.full((len(shares), centres.size), numpy.nan)
    for k in range(centres.size):
        if (group == k).any():
            lines[:, k] = numpy.percentile(values[group == k], shares)
    several = good.sum() > centres.size
    if several:
        axis.fill_between(centres, lines[0], lines[4], color="#0072b2", alpha=0.13, linewidth=0, label="5 to 95 %")
        axis.fill_between(centres, lines[1], lines[3], color="#0072b2", alpha=0.28, linewidth=0, label="25 to 75 %")
    there = numpy.isfinite(lines[2])
    axis.plot(centres[there], lines[2][there], "o-", color="#0b3c61", linewidth=1.4, markersize=3, label="median" if several else None)
    axis.set_xlabel(x.label)
    axis.set_ylabel(measure.label)
    axis.margins(x=0.02)
    settle_axis(axis, axis.set_xscale, table, x, "x")
    show_level(axis, measure)
    show_failures(axis, table, x)
    if several:
        axis.legend(loc="best", frameon=False, fontsize=style.SMALL, handlelength=1.4)
    plain_axis(axis, f"{measure.title}"[:1].upper() + f"{measure.title} over {x.title}"[1:])


def cell_values(table, x_bin, y_bin, shape, values, how):
    result = numpy.full(shape, numpy.nan)
    for i in range(shape[1]):
        for j in range(shape[0]):
            here = values[(x_bin == i) & (y_bin == j)]
            here = here[numpy.isfinite(here)]
            if here.size:
                result[j, i] = how(here)
    return result


def draw_map(figure, axis, table, x, y, measure):
    good = table.good
    x_steps, y_steps = table.steps[x.name], table.steps[y.name]
    x_edges, x_bin = x_steps.edges, x_steps.place(x.values[good])
    y_edges, y_bin = y_steps.edges, y_steps.place(y.values[good])
    shape = (y_edges.size - 1, x_edges.size - 1)
    colours = cell_values(table, x_bin, y_bin, shape, measure.values[good], numpy.median)
    mesh = axis.pcolormesh(x_edges, y_edges, numpy.ma.masked_invalid(colours), cmap=DEPTH, linewidth=0, rasterized=True)
    bar = figure.colorbar(mesh, ax=axis, pad=0.02, fraction=0.06)
    bar.set_label("median of " + measure.label, size=style.TEXT)
    bar.ax.tick_params(labelsize=style.SMALL, length=2, width=0.6)
    bar.outline.set_linewidth(0.5)
    empty = show_empty(axis, table, x_steps, y_steps, x, y)
    if table.kept is not None:
        boundary(figure, axis, table, x_steps, y_steps, x, y, empty)
    axis.set_xlabel(x.label)
    axis.set_ylabel(y.label)
    settle_axis(axis, axis.set_xscale, table, x, "x")
    settle_axis(axis, axis.set_yscale, table, y, "y")
    axis.set_xlim(x_edges[0], x_edges[-1])
    axis.set_ylim(y_edges[0], y_edges[-1])
    plain_axis(axis, f"Map of {measure.title}")


def show_empty(axis, table, x_steps, y_steps, x, y):
    """A cross through each cell in which no case lies. Were there any?"""
    rows = table.select
    there = numpy.zeros((y_steps.count, x_steps.count), dtype=bool)
    there[y_steps.place(y.values[rows]), x_steps.place(x.values[rows])] = True
    for j, i in zip(*numpy.nonzero(~there)):
        xs, ys = x_steps.edges[[i, i + 1]], y_steps.edges[[j, j + 1]]
        axis.plot(xs, ys, xs, ys[::-1], color=style.FAINT, linewidth=0.5, alpha=0.6, zorder=2)
    return bool((~there).any())


def boundary(figure, axis, table, x_steps, y_steps, x, y, empty):
    """Where a limit breaks in half of the cases and in one of twenty: of the probability smoothed over neighbouring cells,
    which the table keeps for all its cases."""
    from matplotlib.lines import Line2D
    handles = []
    if table.regions is not None and not table.conditions and not (x.is_text or y.is_text):
        smoothed = table.regions.map(x_steps, y_steps, "smoothed")
        for level, words, look in ((0.5, "a limit breaks in half of the cases", {"linewidth": 1.9, "linestyle": "-"}),
                                   (0.05, "in 5 %", {"linewidth": 1.1, "linestyle": (0, (3, 1.6))})):
            known = smoothed[numpy.isfinite(smoothed)]
            if min(smoothed.shape) > 1 and known.size and known.min() < level < known.max():
                axis.contour(x_steps.centres, y_steps.centres, numpy.ma.masked_invalid(smoothed), [level],
                             colors=[style.LIMIT_COLOUR], linewidths=[look["linewidth"]], linestyles=[look["linestyle"]],
                             zorder=4)
                handles.append(Line2D([], [], label=words, color=style.LIMIT_COLOUR, **look))
    if empty:
        handles.append(Line2D([], [], label="no case", marker="x", linestyle="", color=style.FAINT, markersize=5))
    if handles:
        tall = axis.get_position().height * figure.get_figheight()
        axis.legend(handles=handles, loc="upper left", bbox_to_anchor=(0.0, -0.40 / tall), ncol=3, frameon=False,
                    fontsize=style.SMALL, handlelength=2.0, borderaxespad=0, columnspacing=1.2)


def interval_bars(axis, at, share, low, high, colour, vertical):
    """Points with what holds them by 95 %; a share that is not known leaves its bar."""
    for place, middle, bottom, top in zip(at, share, low, high):
        if top == top:
            axis.plot(*(((place, place), (bottom, top)) if vertical else ((bottom, top), (place, place))), color=colour,
                      linewidth=1.2, solid_capstyle="butt")
        if middle == middle:
            axis.plot(*((place, middle) if vertical else (middle, place)), "o", color=colour, markersize=4)


def draw_probability(figure, axis, table, x):
    """The probability that a limit breaks along one thing varied, with 95 %; beside it each limit over all cases."""
    if table.regions is None:
        raise PlotError(f"{table.path}: no limit was set")
    if table.conditions:
        raise PlotError(f"{table.path}: probabilities are kept of all cases; --at takes some of them only")
    steps = table.steps[x.name]
    parts = [100.0 * table.regions.along(0, steps, name) for name in ("probability", "probability_low", "probability_high")]
    interval_bars(axis, steps.centres, *parts, KEPT_COLOUR, True)
    there = numpy.isfinite(parts[0])
    axis.plot(steps.centres[there], parts[0][there], color=KEPT_COLOUR, linewidth=0.8, alpha=0.6)
    axis.set_xlabel(x.label)
    axis.set_ylabel("a limit breaks, % of the judged cases")
    settle_axis(axis, axis.set_xscale, table, x, "x")
    axis.set_ylim(-2.0, 102.0)
    lines = []
    for number, sentence in enumerate(["any limit", *table.sentences.values()]):
        share, low, high = (100.0 * table.regions.overall(number, name)
                            for name in ("probability", "probability_low", "probability_high"))
        lost = sum(int(table.regions.overall(number, name)) for name in ("not_judged", "failed", "unfinished"))
        lines.append(f"{sentence}: {share:.3g} % ({low:.3g} to {high:.3g})" + (f", {lost} without verdict" if lost else ""))
    tall = axis.get_position().height * figure.get_figheight()
    axis.text(0.0, -0.42 / tall, "Of all cases, with 95 % (Wilson): " + lines[0] + "\n" + "\n".join(
        textwrap.fill(line, 90) for line in lines[1:5]) + ("\n..." if len(lines) > 5 else ""),
        transform=axis.transAxes, va="top", size=style.SMALL)
    plain_axis(axis, f"Probability that a limit breaks over {x.title}")


def draw_indices(figure, axis, table, measure):
    """Sobol's indices of a measure with what holds them by 95 %."""
    if table.indices is None:
        raise PlotError(f"{table.path}: indices are of studies with 'arrange: saltelli'")
    name = measure.name
    rows = numpy.flatnonzero(table.indices["of"] == name)
    if not rows.size or not numpy.isfinite(table.indices["total"][rows]).any():
        raise PlotError(f"{table.path}: {name} does not vary, so that it has no indices")
    rows = rows[numpy.argsort(numpy.nan_to_num(table.indices["total"][rows]))]
    at = numpy.arange(rows.size)
    for kind, colour, beside in (("first", KEPT_COLOUR, 0.14), ("total", BROKEN_COLOUR, -0.14)):
        parts = [table.indices[kind + end][rows] for end in ("", "_low", "_high")]
        interval_bars(axis, at + beside, *parts, colour, False)
        axis.plot([], [], "o", color=colour, markersize=4, label={"first": "first order", "total": "total"}[kind])
    axis.axvline(0.0, color=style.FAINT, linewidth=0.7)
    axis.set_yticks(at, [table.columns[path].title for path in table.indices["input"][rows]])
    axis.set_xlabel("share of the variance, with 95 % (delta method)")
    axis.legend(loc="lower right", frameon=False, fontsize=style.SMALL, handletextpad=0.2)
    axis.margins(y=0.06)
    room_for_names(figure, axis, max(len(table.columns[path].title) for path in table.indices["input"][rows]))
    plain_axis(axis, f"Sobol's indices: {measure.title}, {int(table.indices['groups'][rows].max())} groups")


def room_for_names(figure, axis, longest):
    """Names beside a panel are long: it gives way to them."""
    box = axis.get_position()
    shift = min(0.062 * longest / figure.get_figwidth(), 0.45 * box.width)
    shift = max(shift - 0.45 / figure.get_figwidth(), 0.0)
    axis.set_position([box.x0 + shift, box.y0, box.width - shift, box.height])


def draw_influence(figure, axis, table, measures):
    good = table.good
    paths = [column for column in table.varied() if not column.is_text or len(column.choices) == 2]
    left_out = [column.title for column in table.varied() if column not in paths]
    measures = [measure for measure in measures if moves(measure.values[good])]
    if not paths or not measures:
        raise PlotError(f"{table.path}: nothing to rank")
    matrix = numpy.array([[rank_correlation(path.values[good], measure.values[good])[0] for measure in measures]
                          for path in paths])
    order = numpy.argsort(-numpy.abs(numpy.nan_to_num(matrix[:, 0])), kind="stable")
    matrix, paths = matrix[order], [paths[k] for k in order]
    axis.imshow(matrix, cmap=SIGNED, vmin=-1.0, vmax=1.0, aspect="auto")
    for j in range(matrix.shape[0]):
        for i in range(matrix.shape[1]):
            value = matrix[j, i]
            text = "none" if value != value else "0" if abs(value) < 0.005 else f"{value:+.2f}"
            axis.text(i, j, text, ha="center", va="center", size=style.SMALL,
                      color="white" if abs(value) > 0.72 else style.INK)
    axis.set_yticks(range(len(paths)), [path.title for path in paths])
    axis.set_xticks(range(len(measures)), [short(measure) for measure in measures], rotation=28, ha="right",
                    rotation_mode="anchor")
    plain_axis(axis, f"Influence: Spearman's rank correlation, {int(good.sum())} cases")
    axis.tick_params(length=0)
    for spine in axis.spines.values():
        spine.set_visible(False)
    room_for_names(figure, axis, max(len(path.title) for path in paths))
    box = axis.get_position()
    axis.set_position([box.x0, box.y0 + 0.06 * box.height, box.width, box.height * 0.94])
    if left_out:
        axis.text(0.0, -0.42, "not ranked, being choices of more than two: " + ", ".join(left_out),
                  transform=axis.transAxes, size=style.SMALL, color=style.FAINT)


def short(measure):
    return "\n".join(textwrap.wrap(measure.title, 30))


def draw_scatter(figure, axis, table, x, measure):
    good = table.good & numpy.isfinite(measure.values)
    size = float(numpy.clip(4000.0 / max(good.sum(), 1), 2.0, 14.0))
    if table.kept is None:
        axis.scatter(x.values[good], measure.values[good], s=size, color=KEPT_COLOUR, alpha=0.6, linewidth=0)
    else:
        for flag, colour, marker, label in ((BROKEN, BROKEN_COLOUR, "v", "breaks a limit"),
                                            (KEPT, KEPT_COLOUR, "o", "keeps every limit"),
                                            (NOT_JUDGED, style.FAINT, "s", "not judged")):
            here = good & (table.kept == flag)
            if here.any():
                axis.scatter(x.values[here], measure.values[here], s=size, color=colour, marker=marker, alpha=0.6,
                             linewidth=0, label=f"{label} ({int(here.sum())})")
    absent = table.good & ~numpy.isfinite(measure.values)
    if absent.any():
        axis.plot(x.values[absent], numpy.full(int(absent.sum()), 0.985), "+", color=style.FAINT, markersize=5,
                  transform=axis.get_xaxis_transform(), clip_on=False, label=f"has no such measure ({int(absent.sum())})")
    axis.set_xlabel(x.label)
    axis.set_ylabel(measure.label)
    settle_axis(axis, axis.set_xscale, table, x, "x")
    show_level(axis, measure)
    show_failures(axis, table, x)
    if axis.get_legend_handles_labels()[0]:
        axis.legend(loc="best", frameon=True, framealpha=0.85, edgecolor="none", fontsize=style.SMALL, handlelength=1.0)
    plain_axis(axis, f"Every case: {measure.title}")


def draw_pairs(figure, axis, table, measure):
    """The same cases under two settings, one against the other."""
    if table.setting is None:
        raise PlotError(f"{table.path}: its study compares no settings")
    names = list(dict.fromkeys(table.setting))
    number = len(names)
    if number < 2:
        raise PlotError(f"{table.path}: only one setting")
    if table.cases.size % number or not all((table.setting[k::number] == name).all() for k, name in enumerate(names)):
        raise PlotError(f"{table.path}: the settings of a case are not together; merge the shards first")
    use = table.good & numpy.isfinite(measure.values)
    first = measure.values[0::number]
    limits = []
    lines = []
    for k in range(1, number):
        other = measure.values[k::number]
        both = use[0::number] & use[k::number]
        if not both.any():
            continue
        a, b = first[both], other[both]
        axis.scatter(a, b, s=float(numpy.clip(3000.0 / both.sum(), 2.0, 14.0)), color=style.colour_of(k - 1), alpha=0.6,
                     linewidth=0, label=names[k])
        limits += [a.min(), b.min(), a.max(), b.max()]
        change = b - a
        unit = measure.quantity.unit
        lines.append(f"{names[k]}: median change {numpy.median(change):+.4g} {unit}, "
                     f"lower in {100.0 * (change < 0).mean():.0f} % of {both.sum()} pairs")
        if table.kept is not None:
            kept = table.kept == KEPT  # a case that is not judged does not count
            gained = int((~kept[0::number] & kept[k::number])[both].sum())
            lost = int((kept[0::number] & ~kept[k::number])[both].sum())
            lines.append(f"   every limit kept: {gained} cases gained, {lost} lost")
    if not limits:
        raise PlotError(f"{table.path}: no pair has {measure.name} in both settings")
    low, high = min(limits), max(limits)
    axis.plot((low, high), (low, high), color=style.FAINT, linewidth=0.9, zorder=0)
    if measure.level is not None:
        for line in (axis.axhline, axis.axvline):
            line(measure.level, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (4, 2)))
    axis.set_xlabel(f"{names[0]}: {measure.label}")
    axis.set_ylabel(f"the same case otherwise, {measure.quantity.label}")
    axis.legend(loc="lower right", frameon=False, fontsize=style.SMALL, handletextpad=0.2)
    axis.text(0.02, 0.98, "\n".join(lines), transform=axis.transAxes, va="top", size=style.SMALL,
              bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5})
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + 0.06 * len(lines) * (high - low))
    plain_axis(axis, f"Pairs: {measure.title}")


DRAW = {"curve": draw_curve, "map": draw_map, "influence": draw_influence, "scatter": draw_scatter, "pairs": draw_pairs,
        "probability": draw_probability, "indices": draw_indices}
