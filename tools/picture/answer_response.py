"""Pictures of `swashloop response`: marks stand where the numbers come from."""
import textwrap

import numpy
from matplotlib.patheffects import withStroke

from . import style
from .answers import heading, new_figure, panel, panel_heading
from .errors import PlotError

HALO = (withStroke(linewidth=1.8, foreground="white"),)
WIDTH = 270  # mm
BLOCK = 6.0  # inches of a valve
TABLE = (("cracking_time", "opening_delay", "opening_drop", "rise_rate"),
         ("opening_time", "response_time", "first_peak_drop", "first_peak_flow", "static_drop", "overshoot"),
         ("settled_drop", "settled_flow", "settling_time"), ("frequency", "damping_ratio", "swings"),
         ("reseat_time", "reseat_drop", "hysteresis"),
         ("peak_drop", "peak_pressure", "peak_time", "openings", "open_time", "last_reseat_time"),
         ("stickings", "longest_sticking"), ("energy", "peak_power", "peak_flow"), ("limiter_begin", "handover_time"))


def draw(answer, options):
    return draw_curve(answer) if answer.kind == "valve_curve" else draw_response(answer, options)


def valves_of(answer):
    """(letter, values) of the valves that cracked."""
    found = [(name[-1], group) for name, group in answer.groups().items() if name.startswith("valve_")]
    opened = [(letter, group) for letter, group in found if group["cracking_time"] == group["cracking_time"]]
    if not opened:
        raise PlotError(f"{answer.path}: {found[0][1].reason('cracking_time') or 'no valve cracks'}")
    return opened


def window_of(valve, time):
    """The first opening: from a little before cracking to where it has settled, or shut."""
    crack = valve["cracking_time"]
    ends = [crack + 3.0 * first_length(valve)]
    for name, factor in (("settling_time", 2.0), ("opening_time", 3.0)):
        if given(valve, name):
            ends.append(crack + factor * valve[name])
    marks = [when for name, when in zip(valve["mark_name"], valve["mark_time"]) if name == "swing"]
    ends += [crack + 1.15 * (when - crack) for when in marks]
    if valve["openings"] > 3 and given(valve, "frequency"):
        ends = [crack + 14.0 / valve["frequency"]]
    end = min(max(ends), float(time[-1]))
    if given(valve, "reseat_time") and valve["reseat_time"] < crack + 4.0 * (end - crack):
        end = max(end, crack + 1.15 * (valve["reseat_time"] - crack))
    return crack - 0.12 * (end - crack), end


def given(valve, name):
    return valve[name] == valve[name]


def first_length(valve):
    """s from cracking: to the first peak, else to 90 % of the flow, else some delays of opening."""
    for name, factor in (("response_time", 1.0), ("opening_time", 1.0), ("opening_delay", 5.0)):
        if given(valve, name) and valve[name] > 0.0:
            return factor * valve[name]
    return 1e-3


def first_window(valve, time):
    """The first milliseconds: to a little behind the first peak."""
    crack, length = valve["cracking_time"], first_length(valve)
    return max(crack - 0.3 * length, float(time[0])), min(crack + 2.2 * length, float(time[-1]))


def draw_response(answer, options):
    valves = valves_of(answer)
    figure = new_figure(WIDTH, 25.4 * (0.70 + BLOCK * len(valves)))
    top = heading(figure, answer, "response of the relief valve; marks stand where the numbers come from")
    for letter, valve in valves:
        draw_valve(figure, answer, letter, valve, top, options)
        top += BLOCK
    return figure


def draw_valve(figure, answer, letter, valve, top, options):
    time = answer["time"]
    low, high = window_of(valve, time)
    low = options.low if options.low is not None else low
    high = options.high if options.high is not None else high
    first = first_window(valve, time)
    middle, right = 7.75, figure.get_figwidth() - 0.2

    whole = panel(figure, 0.62, middle, top + 0.16, top + 0.86)
    whole.plot(time, answer[f"line_{letter}_pressure"], color=style.INK, linewidth=0.9)
    whole.axvspan(low, high, color=style.MARK, alpha=0.45, linewidth=0)
    whole.set_xlim(time[0], time[-1])
    whole.set_xlabel("time, s", labelpad=1)
    panel_heading(whole, f"Relief valve {letter.upper()}: pressure of its line, the whole run", "bar gauge")
    draw_window(figure, answer, letter, valve, (0.62, 4.25, top), "First milliseconds: drop", *first, times=True)
    title = "First opening: drop" if valve["openings"] <= 3 else "First openings: drop"
    draw_window(figure, answer, letter, valve, (4.72, middle, top), title, low, high, times=False)
    draw_table(figure, valve, middle + 0.3, right, top + 0.05)


def draw_window(figure, answer, letter, valve, place, title, low, high, times):
    """Drop over flow, at a time scale of their own; `times` with the delays as arrows."""
    left, right, top = place
    time, drop, flow = answer["time"], answer[f"relief_{letter}_drop"], answer[f"relief_{letter}_flow"]
    axis = panel(figure, left, right, top + 1.50, top + 3.55)
    panel_heading(axis, title, "bar" if times else "")
    crack = valve["cracking_time"]
    inside = (time >= low) & (time <= high)
    scaled = 1e3 * (time - crack)
    axis.plot(scaled, drop, color=style.INK, linewidth=1.3)
    axis.set_xlim(1e3 * (low - crack), 1e3 * (high - crack))
    seen = numpy.concatenate((drop[inside], numpy.interp((low, high), time, drop)))
    shown_low = max(float(seen.min()), float(seen.max()) - 6.0 * max(valve_swing(valve), 4.0))
    span = max(float(seen.max()) - shown_low, 0.5)
    room = 0.14 + (0.09 * len(times_of(valve)) if times else 0.0)
    axis.set_ylim(shown_low - 0.08 * span, float(seen.max()) + room * span)
    crack_drop = valve["setting"]
    axis.axhline(crack_drop, color=style.LIMIT_COLOUR, linewidth=0.8, linestyle=(0, (7.0, 3.0)))
    axis.text(1.0, crack_drop, "setting ", transform=axis.get_yaxis_transform(), ha="right", va="bottom",
              size=style.SMALL, color=style.LIMIT_COLOUR, path_effects=HALO)
    if times and given(valve, "static_drop"):
        axis.axhline(valve["static_drop"], color=style.FAINT, linewidth=0.8, linestyle=(0, (2.0, 2.0)))
        axis.text(1.0, valve["static_drop"], "static curve ", transform=axis.get_yaxis_transform(), ha="right",
                  va="bottom", size=style.SMALL, color=style.FAINT, path_effects=HALO)
    if not times and given(valve, "settled_drop"):
        axis.axhspan(valve["band_low"], valve["band_high"], color="#56b4e9", alpha=0.16, linewidth=0)
        axis.axhline(valve["settled_drop"], color="#0072b2", linewidth=0.8)
        axis.text(1.0, valve["settled_drop"], "settled ", transform=axis.get_yaxis_transform(), ha="right",
                  va="bottom", size=style.SMALL, color="#0072b2", path_effects=HALO)
    later = ("settles", "reseats", "limiter begins", "swing", "first peak")
    draw_marks(axis, valve, "drop", crack, 1e-5, ("cracks", "first peak") if times else later)
    if times:
        draw_times(axis, valve)
    axis.tick_params(labelbottom=False)

    lower = panel(figure, left, right, top + 3.85, top + 4.95)
    panel_heading(lower, "Flow through the valve", "L/min" if times else "")
    lower.plot(scaled, flow, color="#0072b2", linewidth=1.3)
    lower.set_xlim(axis.get_xlim())
    largest = max(float(numpy.nanmax(flow[inside])) if inside.any() else 0.0, 1e-3)
    lower.set_ylim(-0.05 * largest, 1.25 * largest)
    if times and given(valve, "first_peak_flow"):
        lower.axhline(0.9 * valve["first_peak_flow"], color=style.FAINT, linewidth=0.7, linestyle=(0, (2.0, 2.0)))
    draw_marks(lower, valve, "flow", crack, 6e4, ("opens", "90 % of the peak's") if times else ())
    lower.set_xlabel("time from cracking, ms", labelpad=2)


def valve_swing(valve):
    if given(valve, "settled_drop"):
        return max(valve["peak_drop"] - valve["settled_drop"], valve["settled_drop"] - valve["setting"])
    return valve["peak_drop"] - valve["setting"]


def draw_marks(axis, valve, curve, crack, scale, wanted):
    """Rings on the curve where they are wanted; `scale` turns SI into the unit of the axis."""
    low, high = axis.get_xlim()
    bottom, top = axis.get_ylim()
    for name, on, when, value in zip(valve["mark_name"], valve["mark_curve"], valve["mark_time"],
                                     valve["mark_value"]):
        x, y = 1e3 * (when - crack), value * scale
        if on != curve or name not in wanted or not low <= x <= high or not bottom <= y <= top:
            continue
        axis.plot([x], [y], marker="o", markersize=4.5, markerfacecolor="white", markeredgecolor=style.SIGNAL_COLOURS[1],
                  markeredgewidth=1.1, zorder=6, clip_on=False)
        below = name in ("reseats", "90 % of the peak's", "cracks", "limiter begins", "settles")
        dx, dy, align = (5, -10, "left") if below else (4, 6, "left")
        if name != "swing":
            axis.annotate(name, (x, y), xytext=(dx, dy), textcoords="offset points", size=style.SMALL, ha=align,
                          color=style.SIGNAL_COLOURS[1], path_effects=HALO, zorder=7)


def times_of(valve):
    return [(name, label) for name, label in (("opening_delay", "opens"), ("opening_time", "90 % of the peak's flow"),
                                              ("response_time", "response"))
            if valve[name] == valve[name] and valve[name] > 0.0]


def draw_times(axis, valve):
    """Opening and response time as arrows from the moment of cracking."""
    rows = times_of(valve)
    low, high = axis.get_xlim()
    for k, (name, label) in enumerate(rows):
        y = 0.97 - 0.065 * k
        end = 1e3 * valve[name]
        axis.annotate("", xy=(min(end, high), y), xytext=(0.0, y), xycoords=axis.get_xaxis_transform(),
                      textcoords=axis.get_xaxis_transform(),
                      arrowprops={"arrowstyle": "|-|,widthA=0.25,widthB=0.25", "color": style.FAINT, "linewidth": 0.8,
                                  "shrinkA": 0, "shrinkB": 0})
        late = end > low + 0.85 * (high - low)
        axis.text(0.5 * min(end, high) if late else end + 0.008 * (high - low), y, f"{label} {valve.shown(name)}",
                  transform=axis.get_xaxis_transform(), va="center", ha="center" if late else "left", size=style.SMALL,
                  color=style.FAINT, path_effects=HALO)
    axis.axvline(0.0, color=style.MARK, linewidth=0.7, zorder=1)


def draw_table(figure, valve, left, right, top):
    width, height = figure.get_figwidth(), figure.get_figheight()
    y = top
    for group in TABLE:
        rows = [name for name in group if valve[name] == valve[name]]
        for name in rows:
            figure.text(left / width, 1.0 - y / height, name.replace("_", " "), va="top", size=style.TEXT)
            figure.text(right / width, 1.0 - y / height, valve.shown(name), va="top", ha="right", size=style.TEXT,
                        weight="bold")
            y += 0.165
        y += 0.09 if rows else 0.0
    reasons = {}
    for group in TABLE:
        for name in group:
            if valve[name] != valve[name]:
                reasons.setdefault(valve.reason(name), []).append(name.replace("_", " "))
    for reason, names in reasons.items():
        for line in textwrap.wrap(f"no {', '.join(names)}: {reason}", 56, subsequent_indent="   "):
            figure.text(left / width, 1.0 - y / height, line, va="top", size=6.0, color=style.FAINT)
            y += 0.12


def draw_curve(answer):
    figure = new_figure(210, 130)
    top = heading(figure, answer, "flow-pressure curve, slowly up and down")
    valve = answer.groups()["valve"]
    axis = panel(figure, 0.65, 5.6, top + 0.2, figure.get_figheight() - 0.5)
    flow = answer["flow"]
    for name, label, look in (("drop_up", "up", {"color": style.INK}), ("drop_down", "down", {"color": "#0072b2"}),
                              ("drop_balance", "static balance",
                               {"color": style.SIGNAL_COLOURS[1], "linestyle": (0, (5.0, 2.0)), "linewidth": 1.0})):
        axis.plot(flow, answer[name], label=label, **look)
    axis.set_xlim(0.0, flow[-1])
    axis.set_xlabel("flow through the valve, L/min")
    panel_heading(axis, "Drop over the valve", "bar")
    axis.legend(frameon=False, loc="lower right")
    width, height = figure.get_figwidth(), figure.get_figheight()
    y = top + 0.2
    for name in valve.names():
        value = valve[name]
        figure.text(5.85 / width, 1.0 - y / height, name.replace("_", " "), va="top")
        figure.text(1.0 - 0.2 / width, 1.0 - y / height, valve.shown(name) if value == value else "none", va="top",
                    ha="right", weight="bold")
        y += 0.17
    return figure
