"""Pictures of `swashloop compare` and `swashloop fit`: trace and run over each other, what is left below."""
import textwrap

import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading, words
from .runfile import Quantity, show
from .units import printed, to_trade

ROW = 2.35  # inches of a signal
REASON = 68  # letters of a line of a reason
LINE = 0.145  # inches
ASIDE = 40  # letters of a line beside a signal


def draw(answer, options):
    return draw_fit(answer, options) if answer.kind == "fit" else draw_comparison(answer, options)


def difference_scale(dataset):
    quantity = Quantity(dataset)
    return float(quantity.trade(numpy.float64(1.0)) - quantity.trade(numpy.float64(0.0)))


def overlay(figure, left, right, top, time, seen, made, unit, title, band, options, last):
    """Trace (dots), run (line); below, what the run has over the trace."""
    low = options.low if options.low is not None else time[0]
    high = options.high if options.high is not None else time[-1]
    upper = panel(figure, left, right, top, top + 1.25)
    panel_heading(upper, title, printed(unit))
    if band == band:
        upper.fill_between(time, seen - band, seen + band, color="#56b4e9", alpha=0.18, linewidth=0)
    upper.plot(time, seen, linestyle="none", marker=".", markersize=2.2, color=style.FAINT, label="trace")
    upper.plot(time, made, color=style.SIGNAL_COLOURS[0], linewidth=1.2, label="run")
    upper.set_xlim(low, high)
    upper.tick_params(labelbottom=False)
    upper.legend(frameon=False, loc="best", ncols=2, handlelength=1.4)
    lower = panel(figure, left, right, top + 1.38, top + 1.93)
    off = made - seen
    lower.plot(time, off, color=style.SIGNAL_COLOURS[1], linewidth=0.8)
    lower.axhline(0.0, color=style.MARK, linewidth=0.7)
    if band == band:
        for side in (-band, band):
            lower.axhline(side, color=style.LIMIT_COLOUR, linewidth=0.8, linestyle=(0, (7.0, 3.0)))
        beyond = numpy.abs(off) > band
        lower.fill_between(time, off, numpy.clip(off, -band, band), where=beyond, color=style.LIMIT_COLOUR, alpha=0.3,
                           linewidth=0)
    lower.set_xlim(low, high)
    lower.set_ylabel("run - trace", size=style.SMALL, color=style.FAINT, labelpad=2)
    if last:
        lower.set_xlabel("time, s", labelpad=2)


def draw_comparison(answer, options):
    groups = answer.groups()
    rows = groups["deviations"]
    signals = list(rows["signal"])
    figure = new_figure(270, 25.4 * (0.75 + ROW * len(signals) + 0.25))
    clocks = groups["clocks"]
    under = f"trace shifted by {1e3 * clocks['shift']:+.3f} ms, correlation {clocks['correlation']:.5f}"
    top = heading(figure, answer, under) + 0.25
    time = answer["time"]
    width = figure.get_figwidth()
    for k, name in enumerate(signals):
        quantity = answer.quantity(name)
        factor = difference_scale(answer.file[name])
        band = factor * float(answer.file["bands"][name][()])
        overlay(figure, 0.75, width - 2.55, top, time, answer[name], groups["run"][name], quantity.unit, words(name), band,
                options, k == len(signals) - 1)
        verdict = str(rows["verdict"][k])
        lines = [(verdict if verdict != "not asked" else "no band asked for",
                  style.LIMIT_COLOUR if verdict == "broken" else style.INK, "bold")]
        for what in ("mean", "rms", "largest"):
            lines.append((f"{what}  {show(factor * float(answer.file['deviations'][what][k]), quantity.unit)}",
                          style.INK, "normal"))
        lines.append((f"explained  {100.0 * float(rows['explained'][k]):.2f} %", style.INK, "normal"))
        for part in [part for part in str(rows["why"][k]).split("; ") if part]:
            lines.append((part, style.LIMIT_COLOUR, "normal"))
        draw_lines(figure, lines, width - 2.4, top)
        top += ROW
    return figure


def draw_lines(figure, lines, left, top):
    rows = [(part, colour, weight) for text, colour, weight in lines for part in textwrap.wrap(text, ASIDE) or [""]]
    for k, (text, colour, weight) in enumerate(rows):
        figure.text(left / figure.get_figwidth(), 1.0 - (top + 0.05 + 0.17 * k) / figure.get_figheight(), text,
                    va="top", color=colour, weight=weight, size=style.TEXT)


def draw_fit(answer, options):
    groups = answer.groups()
    traces = sorted(name for name in groups if name.startswith("trace_"))
    signals = [name for name in groups[traces[0]].names() if name + "_run" in groups[traces[0]]]
    parameters = groups.get("parameters")
    count = len(parameters["path"]) if parameters is not None else 0
    lines = [told_lines(parameters, k) for k in range(count)]
    heights = [max(0.30, 0.12 + LINE * len(words)) for words in lines]
    figure = new_figure(270, 25.4 * (1.0 + sum(heights) + ROW * len(signals) * len(traces) + 0.45))
    top = heading(figure, answer, "numbers found between their bounds (stroke: in the case), with 95 % intervals; what is left of each trace") + 0.1
    if count:
        draw_numbers(figure, parameters, lines, heights, top)
    top += sum(heights) + 0.45
    width = figure.get_figwidth()
    for trace in traces:
        group = groups[trace]
        for name in signals:
            quantity = group.quantity(name)
            last = trace == traces[-1] and name == signals[-1]
            title = f"{words(name)}, {words(trace)}, shifted by {1e3 * group['shift']:+.3f} ms"
            off = group[name + "_run"] - group[name]
            overlay(figure, 0.75, width - 2.55, top, group["time"] + group["shift"], group[name], group[name + "_run"],
                    quantity.unit, title, float("nan"), options, last)
            lines = [("left over", style.INK, "bold"),
                     (f"standard deviation {numpy.nanstd(off):.4g} {printed(quantity.unit)}", style.INK, "normal"),
                     (f"largest {numpy.nanmax(numpy.abs(off)):.4g} {printed(quantity.unit)}", style.INK, "normal")]
            draw_lines(figure, lines, width - 2.4, top)
            top += ROW
    return figure


def told_lines(parameters, k):
    """What is told of a number: the value with its interval, or the whole reason why there is none."""
    unit = str(parameters["trade_unit"][k])
    found, low, high = (float(parameters[name][k]) for name in ("value", "from", "to"))
    why = str(parameters["why"][k])
    if found != found:
        return textwrap.wrap(f"not told: {why}", REASON)
    value = to_trade(found, unit)
    if low == low and high == high:
        ends = [to_trade(low, unit), to_trade(high, unit)]
        half = 0.5 * abs(ends[1] - ends[0])
        digits = max(4, min(9, int(numpy.ceil(numpy.log10(abs(value) / half))) + 2)) if half > 0.0 and value != 0.0 else 4
        return [f"{value:.{digits}g} {printed(unit)}   ({ends[0]:.{digits}g} to {ends[1]:.{digits}g})"]
    return [f"{value:.5g} {printed(unit)}", *textwrap.wrap(f"interval not established: {why}", REASON)]


def draw_numbers(figure, parameters, lines, heights, top):
    """Each number on its range from bound to bound: start, found, interval; those not told say why."""
    height, width = figure.get_figheight(), figure.get_figwidth()
    left, right = 2.6, width - 4.6
    for k, path in enumerate(parameters["path"]):
        axis = panel(figure, left, right, top, top + 0.24)
        low, high = float(parameters["low"][k]), float(parameters["high"][k])
        found = float(parameters["value"][k])
        unit = str(parameters["trade_unit"][k])
        axis.set_xlim(low, high)
        axis.set_ylim(-1.0, 1.0)
        axis.set_yticks([])
        axis.grid(False)
        axis.spines["left"].set_visible(False)
        axis.tick_params(labelbottom=False, length=0)
        axis.plot([float(parameters["start"][k])], [0.0], marker="|", markersize=8, color=style.FAINT)
        y = 1.0 - (top + 0.12) / height
        figure.text((left - 0.1) / width, y, str(path), ha="right", va="center")
        for bound, side in ((low, "left"), (high, "right")):
            axis.text(bound, -0.85, f"{to_trade(bound, unit):.4g}", ha=side, va="bottom", size=0.75 * style.SMALL, color=style.FAINT)
        told = found == found
        if told:
            if float(parameters["to"][k]) == float(parameters["to"][k]):
                ends = [max(low, float(parameters["from"][k])), min(high, float(parameters["to"][k]))]
                axis.plot(ends, [0.0, 0.0], color=style.SIGNAL_COLOURS[0], linewidth=5.0, alpha=0.35, solid_capstyle="butt")
            axis.plot([found], [0.0], marker="o", markersize=3, color=style.SIGNAL_COLOURS[0])
        for row, text in enumerate(lines[k]):
            value = told and row == 0
            figure.text((right + 0.15) / width, y - LINE * row / height, text, va="center",
                        weight="bold" if value else "normal", color=style.INK if value else style.LIMIT_COLOUR,
                        size=style.TEXT if value else style.SMALL)
        top += heights[k]


__all__ = ["draw"]
