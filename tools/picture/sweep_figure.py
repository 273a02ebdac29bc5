"""Pictures of the table of a sweep: curves with percentiles, maps with the limits' contour, the ranking of influence,
scatter with failures marked, and pairs."""
import textwrap

import numpy

from . import style
from .errors import PlotError
from .runfile import show
from .sweep import BROKEN, KEPT, NOT_JUDGED, Table, axis_bins, groups_of, moves, rank_correlation, spans_decades

style.settle()

from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402
from matplotlib.colors import LinearSegmentedColormap  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.patheffects import withStroke  # noqa: E402
from matplotlib.ticker import MaxNLocator, NullFormatter, NullLocator  # noqa: E402

MM = 1.0 / 25.4
FEW = 5
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
    head = 0.86 + (0.16 if table.conditions else 0.0)
    height = options.size[1] * MM if options.size else head + rows * (3.35 if columns == 2 else 4.0) + 0.5
    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    heading(figure, table, width, height)
    grid = figure.add_gridspec(rows, columns, left=0.72 / width, right=1.0 - (0.50 if kinds[-1] == "map" else 0.24) / width, bottom=0.74 / height,
                               top=1.0 - head / height, hspace=0.52, wspace=0.34)
    for k, (kind, how) in enumerate(plans):
        DRAW[kind](figure, figure.add_subplot(grid[k // columns, k % columns]), table, *how)
    return figure


def heading(figure, table, width, height):
    left = 0.16 / width
    cases, failed = int(table.select.sum()), int((table.failed & table.select).sum())
    figure.text(left, 1.0 - 0.13 / height, table.title, size=style.TITLE, weight="bold", va="top")
    facts = [table.path.rsplit("/", 1)[-1], f"{cases} cases" + (f", {failed} failed" if failed else "")]
    if table.kept is not None:
        kept = int((table.kept[table.select] == KEPT).sum())
        facts.append(f"{kept} keep every limit ({100.0 * kept / cases:.0f} %)")
        unjudged = int((table.kept[table.select & ~table.failed] == NOT_JUDGED).sum())
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
    kinds = ["curve"] if count == 1 else ["influence", "curve", "map"]
    return kinds + (["pairs"] if table.setting is not None else ["scatter"])


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
    if kind == "pairs":
        return (main,)
    order = strongest(table, main)
    x = table.find(options.x, ("varied",)) if options.x else order[0]
    if kind == "map":
        rest = [column for column in order if column is not x]
        if not options.y and not rest:
            raise PlotError(f"{table.path}: a map needs two things that vary")
        return x, table.find(options.y, ("varied",)) if options.y else rest[0], main
    return x, main


# ---- parts of panels ----

def settle_axis(axis, set_scale, column, which):
    """Choices get their names, values spread over decades a logarithmic scale."""
    ticks = axis.xaxis if which == "x" else axis.yaxis
    values = numpy.unique(column.values)
    if column.is_text:
        ticks.set_ticks(range(len(column.choices)), column.choices)
        return
    finite = values[numpy.isfinite(values)]
    if spans_decades(finite):
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
    """Crosses at the foot, where cases failed."""
    failed = table.failed & table.select
    if failed.any():
        axis.plot(x.values[failed], numpy.full(int(failed.sum()), 0.015), "x", color=style.LIMIT_COLOUR, markersize=4,
                  markeredgewidth=0.9, transform=axis.get_xaxis_transform(), clip_on=False, zorder=5,
                  label=f"failed ({int(failed.sum())})")


# ---- panels ----

def draw_curve(figure, axis, table, x, measure):
    good = table.good & numpy.isfinite(measure.values)
    centres, group = groups_of(x.values[good])
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
    axis.plot(centres, lines[2], "o-", color="#0b3c61", linewidth=1.4, markersize=3, label="median" if several else None)
    axis.set_xlabel(x.label)
    axis.set_ylabel(measure.label)
    axis.margins(x=0.02)
    settle_axis(axis, axis.set_xscale, x, "x")
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
    x_edges, x_bin = axis_bins(x.values[good], spans_decades(x.values))
    y_edges, y_bin = axis_bins(y.values[good], spans_decades(y.values))
    shape = (y_edges.size - 1, x_edges.size - 1)
    colours = cell_values(table, x_bin, y_bin, shape, measure.values[good], numpy.median)
    mesh = axis.pcolormesh(x_edges, y_edges, numpy.ma.masked_invalid(colours), cmap=DEPTH, linewidth=0, rasterized=True)
    bar = figure.colorbar(mesh, ax=axis, pad=0.02, fraction=0.06)
    bar.set_label("median of " + measure.label, size=style.TEXT)
    bar.ax.tick_params(labelsize=style.SMALL, length=2, width=0.6)
    bar.outline.set_linewidth(0.5)
    if table.kept is not None:
        # A cell that happens to hold a handful of drawn cases says nothing about all.
        fewest = min(FEW, good.sum() / (shape[0] * shape[1]))
        share = cell_values(table, x_bin, y_bin, shape, (table.kept[good] == KEPT).astype(float),
                            lambda here: here.mean() if here.size >= fewest else numpy.nan)
        contour(figure, axis, x_edges, y_edges, share)
    axis.set_xlabel(x.label)
    axis.set_ylabel(y.label)
    settle_axis(axis, axis.set_xscale, x, "x")
    settle_axis(axis, axis.set_yscale, y, "y")
    axis.set_xlim(x_edges[0], x_edges[-1])
    axis.set_ylim(y_edges[0], y_edges[-1])
    plain_axis(axis, f"Map of {measure.title}")


def outline(axis, x_edges, y_edges, inside, **look):
    """The edge around the cells that are inside."""
    padded = numpy.pad(inside, 1)
    for j in range(inside.shape[0]):
        for i in range(inside.shape[1]):
            if not inside[j, i]:
                continue
            left, right, low, high = x_edges[i], x_edges[i + 1], y_edges[j], y_edges[j + 1]
            for beside, xs, ys in ((padded[j + 1, i], (left, left), (low, high)),
                                   (padded[j + 1, i + 2], (right, right), (low, high)),
                                   (padded[j, i + 1], (left, right), (low, low)),
                                   (padded[j + 2, i + 1], (left, right), (high, high))):
                if not beside:
                    axis.plot(xs, ys, solid_capstyle="projecting", clip_on=False, zorder=4, **look)


def contour(figure, axis, x_edges, y_edges, share):
    """Around the cells in which every case, and in which half of the cases, keeps every limit."""
    known = numpy.isfinite(share)
    every = known & (share >= 1.0)
    half = known & (share >= 0.5)
    handles = []
    from matplotlib.lines import Line2D
    if half.any() and not (half == every).all():
        look = {"color": style.LIMIT_COLOUR, "linewidth": 1.0, "linestyle": (0, (3, 1.6))}
        outline(axis, x_edges, y_edges, half, **look)
        handles.append(Line2D([], [], label="half of the cases keep every limit", **look))
    if every.any():
        look = {"color": style.LIMIT_COLOUR, "linewidth": 1.9}
        outline(axis, x_edges, y_edges, every, **look)
        handles.append(Line2D([], [], label="every case does" if handles else "every case keeps every limit", **look))
    if handles:
        tall = axis.get_position().height * figure.get_figheight()
        axis.legend(handles=handles, loc="upper left", bbox_to_anchor=(0.0, -0.40 / tall), ncol=2, frameon=False,
                    fontsize=style.SMALL, handlelength=2.0, borderaxespad=0, columnspacing=1.2)


def draw_influence(figure, axis, table, measures):
    good = table.good
    paths = [column for column in table.varied() if not column.is_text or len(column.choices) == 2]
    left_out = [column.name for column in table.varied() if column not in paths]
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
    axis.set_yticks(range(len(paths)), [path.name for path in paths])
    axis.set_xticks(range(len(measures)), [short(measure) for measure in measures], rotation=28, ha="right",
                    rotation_mode="anchor")
    plain_axis(axis, f"Influence: Spearman's rank correlation, {int(good.sum())} cases")
    axis.tick_params(length=0)
    for spine in axis.spines.values():
        spine.set_visible(False)
    # The names of paths are long: the panel gives way to them.
    box = axis.get_position()
    longest = max(len(path.name) for path in paths)
    shift = min(0.062 * longest / figure.get_figwidth(), 0.45 * box.width)
    axis.set_position([box.x0 + max(shift - 0.45 / figure.get_figwidth(), 0.0), box.y0 + 0.06 * box.height,
                       box.width - max(shift - 0.45 / figure.get_figwidth(), 0.0), box.height * 0.94])
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
    settle_axis(axis, axis.set_xscale, x, "x")
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


DRAW = {"curve": draw_curve, "map": draw_map, "influence": draw_influence, "scatter": draw_scatter, "pairs": draw_pairs}
