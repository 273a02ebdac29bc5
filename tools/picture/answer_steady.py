"""Pictures of `swashloop steady`: hold-back map, tractive effort, grade ability, efficiency."""
import numpy
from matplotlib.patheffects import withStroke

from . import style
from .answers import heading, new_figure, panel, panel_heading
from .errors import PlotError
from .runfile import show

HALO = (withStroke(linewidth=2.2, foreground="white"),)
# One colour for what ends a hold or a pull, in every picture.
ENDS = {"engine braking": "#d55e00", "engine power": "#d55e00", "relief valve": "#cc79a7", "grip": "#009e73",
        "heat": "#882255", "pressure limiter": "#0072b2", "gearing": "#6f6f6b", "foot off": "#56b4e9",
        "drive": "#c4c2bb", "no balance": "#c4c2bb", "": "#ffffff"}
# The same end, with hot oil or with another beside it.
ENDS.update({f"{end}, hot oil": ENDS[end] for end in ("engine braking", "relief valve", "grip")})
ENDS["pressure limiter and engine power"] = "#7a5a8c"
SHORTEST_SHARE = 0.02  # of the largest power: a smaller loss joins the rest


def draw(answer, options):
    return {"hold_back": draw_hold_back, "tractive_effort": draw_envelope, "grade_ability": draw_envelope,
            "efficiency": draw_efficiency, "point": draw_point}[answer.kind](answer)


def runs_of(words):
    """(first, last, word) of stretches with the same word."""
    start = 0
    for i in range(1, len(words) + 1):
        if i == len(words) or words[i] != words[start]:
            yield start, i - 1, words[start]
            start = i


def edges_of(speed):
    """Borders half way between the speeds."""
    middle = 0.5 * (speed[1:] + speed[:-1])
    return numpy.concatenate(([speed[0]], middle, [speed[-1]]))


def label(axis, x, y, text, colour, **where):
    axis.text(x, y, text, color=colour, size=style.SMALL, weight="bold", path_effects=HALO, **where)


# ---- hold-back ----

def draw_hold_back(answer):
    speed = answer["speed"]
    held = -answer["grade_held"]
    if not numpy.isfinite(held).any():
        raise PlotError(f"{answer.path}: no grade is held at any speed")
    limits = answer["limit"]
    figure = new_figure(250, 212)
    allowed = show(answer["allowed_engine_speed"], "rpm")
    hot = show(answer["highest_loop_temperature"], "degC")
    top = heading(figure, answer, f"downgrade held without the friction brake; engine up to {allowed}, loop up to {hot}")
    left, right = 0.62, figure.get_figwidth() - 1.95
    axis = panel(figure, left, right, top + 0.20, top + 3.90)
    panel_heading(axis, "Downgrade", "%")
    high = 1.12 * numpy.nanmax(held)
    filled = numpy.where(numpy.isfinite(held), held, 0.0)
    borders = edges_of(speed)
    for first, last, word in runs_of(limits):
        span = (borders[first], borders[last + 1])
        axis.axvspan(*span, color=ENDS.get(word, style.MARK), alpha=0.16, linewidth=0)
    axis.fill_between(speed, held, color="white", zorder=1.5, linewidth=0)
    axis.fill_between(speed, held, color="#dbe9d3", zorder=1.6, linewidth=0)
    axis.plot(speed, held, color=style.INK, linewidth=2.2, zorder=4)
    lines = (("grade_engine_braking", "engine braking", "engine at its allowed speed"),
             ("grade_relief", "relief valve", "relief valve cracks"), ("grade_grip", "grip", "grip used up"),
             ("grade_heat", "heat", "loop at its temperature"), ("grade_foot_off", "foot off", "foot off the pedal"))
    handles = []
    for i, (name, word, words) in enumerate(lines):
        values = -answer[name]
        if numpy.isfinite(values).any():
            line, = axis.plot(speed, values, color=ENDS[word], zorder=3, label=words, **style.line_of(i))
            handles.append(line)
    axis.set_xlim(speed[0], speed[-1])
    axis.set_ylim(0.0, high)
    axis.set_xlabel("steady speed, km/h", labelpad=1)
    middle = int(numpy.argmax(filled > 0.35 * numpy.max(filled))) if len(speed) > 4 else 0
    middle = max(middle, len(speed) // 6)
    label(axis, speed[middle], 0.35 * filled[middle], "held", "#4c7a34", ha="center", va="center")
    placed = set()
    for first, last, word in runs_of(limits):
        if word and word not in placed and last > first:
            placed.add(word)
            x = 0.5 * (speed[first] + speed[last])
            label(axis, x, 0.965 * high, word, ENDS.get(word, style.INK), ha="center", va="top")
    axis.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.015, 1.0), frameon=False, fontsize=style.SMALL,
                handlelength=2.4, title="where each would end it", title_fontsize=style.SMALL, alignment="left")

    power = panel(figure, left, right, top + 4.50, top + 6.05)
    panel_heading(power, "Who absorbs it, at the grade held", "kW")
    stack_losses(power, answer, speed)
    state = panel(figure, left, right, top + 6.60, top + 7.20)
    panel_heading(state, "Engine", "rpm")
    state.plot(speed, answer["engine_speed"], color=ENDS["engine braking"], linewidth=1.3)
    state.axhline(answer["allowed_engine_speed"], color=style.LIMIT_COLOUR, linewidth=0.8, linestyle=(0, (4.0, 2.0)))
    for lower in (power, state):
        lower.set_xlim(speed[0], speed[-1])
    state.set_xlabel("steady speed, km/h", labelpad=1)
    return figure


def stack_losses(axis, answer, speed):
    """Losses stacked, the largest at the bottom, small ones together."""
    names = [name for name in ("engine_friction", "exhaust_brake", "auxiliaries", "rolling", "gear", "motor_friction",
                               "motor_leakage", "pump_friction", "pump_leakage", "charge_relief", "charge_pump",
                               "flushing", "tyre_slip", "relief_a", "relief_b", "check_valves", "swash_servo",
                               "case_return", "drawbar") if name in answer]
    columns = {name: numpy.nan_to_num(answer[name]) for name in names}
    total = sum(columns.values())
    names = [name for name in names if columns[name].max() > SHORTEST_SHARE * total.max()]
    names.sort(key=lambda name: -columns[name].mean())
    rest = total - sum(columns[name] for name in names)
    rows = [columns[name] for name in names] + [rest]
    words = [answer.long_name(name) for name in names] + ["the rest"]
    colours = ["#d55e00", "#e69f00", "#0072b2", "#56b4e9", "#009e73", "#cc79a7", "#882255", "#6f6f6b", "#a6c48a",
               "#44aa99", "#ddcc77", "#332288", "#999933"]
    colours = (colours * 2)[:len(rows) - 1] + [style.MARK]
    known = numpy.isfinite(answer["grade_held"])
    areas = axis.stackplot(speed[known], [row[known] for row in rows], colors=colours, linewidth=0, labels=words)
    axis.set_ylim(0.0, 1.05 * total.max())
    axis.legend(handles=areas[::-1], loc="upper left", bbox_to_anchor=(1.015, 1.06), frameon=False,
                fontsize=style.SMALL, handlelength=1.0, labelspacing=0.25)


# ---- tractive effort and grade ability ----

def draw_envelope(answer):
    effort = answer.kind == "tractive_effort"
    speed = answer["speed"]
    most = answer["pull" if effort else "grade"]
    limits = answer["limit"]
    figure = new_figure(250, 170)
    top = heading(figure, answer, "most pull on the level at each speed" if effort
                  else "steepest climb at each speed")
    left, right = 0.62, figure.get_figwidth() - 1.75
    axis = panel(figure, left, right, top + 0.20, top + 3.95)
    panel_heading(axis, "Pull at the drawbar" if effort else "Climb", "kN" if effort else "%")
    borders = edges_of(speed)
    high = 1.12 * numpy.nanmax(most)
    for first, last, word in runs_of(limits):
        axis.axvspan(borders[first], borders[last + 1], color=ENDS.get(word, style.MARK), alpha=0.13, linewidth=0)
        if word and (borders[last + 1] - borders[first]) > 0.09 * (speed[-1] - speed[0]):
            label(axis, 0.5 * (borders[first] + borders[last + 1]), 0.97 * high, word, ENDS.get(word, style.INK),
                  ha="center", va="top")
    groups = answer.groups()
    if effort and "settings" in groups:
        draw_settings(axis, groups["settings"])
    axis.plot(speed, most, color=style.INK, linewidth=2.2, zorder=4, label="the most")
    if "corners" in groups:
        corners = groups["corners"]
        for x, y in zip(corners["corner_speed"], corners["pull" if effort else "grade"]):
            axis.plot([x], [y], marker="o", color="white", markeredgecolor=style.INK, markersize=5, zorder=5)
            # At the right end of the map the words would run over its edge.
            late = x > 0.85 * speed[-1]
            axis.annotate(f"{x:.1f} km/h, {y:.1f} {'kN' if effort else '%'}", (x, y), (4 if late else 8, 20 if late else 6),
                          textcoords="offset points", ha="right" if late else "left", size=style.SMALL, path_effects=HALO,
                          zorder=6)
    axis.set_xlim(0.0, speed[-1])
    axis.set_ylim(0.0, high)
    axis.set_xlabel("steady speed, km/h", labelpad=1)
    axis.legend(loc="upper left", bbox_to_anchor=(1.015, 1.0), frameon=False, fontsize=style.SMALL, handlelength=2.4,
                title=settings_title(answer) if effort else None, title_fontsize=style.SMALL, alignment="left")
    lower = panel(figure, left, right, top + 4.55, top + 5.75)
    panel_heading(lower, "Line A", "bar gauge")
    lower.plot(speed, answer["line_a_pressure"], color="#0072b2", linewidth=1.3)
    lower.set_xlim(0.0, speed[-1])
    lower.set_ylim(bottom=0.0)
    other = lower.twinx()
    other.plot(speed, answer["engine_speed"], color=ENDS["engine power"], linewidth=1.3, linestyle=(0, (5.0, 1.4)))
    other.set_ylabel("engine, rpm (dashed)", color=ENDS["engine power"], size=style.HEADING)
    other.spines["top"].set_visible(False)
    lower.set_xlabel("steady speed, km/h", labelpad=1)
    return figure


def by_accelerator(settings):
    """By an accelerator, stroke and motor go with the engine's speed and are no settings."""
    return numpy.isnan(settings["setting_stroke"]).all()


def settings_title(answer):
    groups = answer.groups()
    if "settings" in groups and by_accelerator(groups["settings"]):
        return "accelerator"
    return "pump stroke, motor"


def draw_settings(axis, settings):
    speed = settings["setting_speed"]
    for k, pulls in enumerate(settings["setting_pull"]):
        words = f"{settings['setting_pedal'][k]:.0f} %" if by_accelerator(settings) else \
            f"{settings['setting_stroke'][k]:.0f} %, {settings['setting_motor'][k]:.0f} %"
        axis.plot(speed, pulls, color=style.colour_of(k % 4), zorder=3, label=words, **style.line_of(k // 4))


# ---- efficiency ----

def draw_efficiency(answer):
    speed, pull = answer["speed"], answer["pull"]
    figure = new_figure(250, 120)
    top = heading(figure, answer, "on the level; transmission: motor shafts over pump and charge pump; "
                  "whole drive: drawbar over flywheel")
    width = figure.get_figwidth()
    panels = (("transmission_efficiency", "Transmission, %", 0.62, 0.5 * width - 0.25),
              ("drive_efficiency", "Whole drive, %", 0.5 * width + 0.45, width - 0.35))
    for name, words, left, right in panels:
        values = numpy.clip(answer[name], 0.0, 100.0)
        axis = panel(figure, left, right, top + 0.20, figure.get_figheight() - 0.45)
        panel_heading(axis, words, "pull, kN")
        best = numpy.nanmax(values)
        step = 2.0 if best > 60.0 else 5.0
        levels = sorted({*range(0, 60, 10), *range(60, 75, 5), *numpy.arange(76.0, best + step, step)})
        levels = [level for level in levels if level < best]
        masked = numpy.ma.masked_invalid(values.T)
        axis.contourf(speed, pull, masked, levels=[*levels, 100.0], cmap="viridis", alpha=0.85)
        lines = axis.contour(speed, pull, masked, levels=levels, colors=style.INK, linewidths=0.5)
        for text in axis.clabel(lines, fmt="%.0f", fontsize=style.SMALL):
            text.set_path_effects(HALO)
        i, k = numpy.unravel_index(numpy.nanargmax(values), values.shape)
        axis.plot([speed[i]], [pull[k]], marker="*", color="white", markeredgecolor=style.INK, markersize=9)
        axis.annotate(f"best {best:.1f} %", (speed[i], pull[k]), (8, 5), textcoords="offset points",
                      size=style.SMALL, weight="bold", path_effects=HALO)
        axis.set_xlabel("steady speed, km/h", labelpad=1)
        axis.set_xlim(speed[0], speed[-1])
        axis.set_ylim(pull[0], pull[-1])
    return figure


# ---- a single point ----

TOLD = ("vehicle_speed", "grade", "drawbar_force", "pedal", "engine_speed", "fuel_fraction", "line_a_pressure",
        "line_b_pressure", "charge_pressure", "pump_stroke", "motor_displacement", "motor_speed", "pump_flow",
        "flush_flow", "wheel_slip", "traction_force", "loop_heat", "loop_oil_temperature")


def draw_point(answer):
    """Where the power comes from and where it goes, and the point in numbers."""
    powers = answer.groups()["powers"]
    rows = [(powers.long_name(name), powers[name]) for name in powers.names() if abs(powers[name]) >= 0.05]
    sources = {"combustion", "slope", "starter"}
    signs = [1.0 if name in sources else -1.0 for name in powers.names() if abs(powers[name]) >= 0.05]
    figure = new_figure(230, max(95.0, 30.0 + 6.2 * max(len(rows), len(TOLD))))
    top = heading(figure, answer, "a point of steady drive")
    width, height = figure.get_figwidth(), figure.get_figheight()
    axis = panel(figure, 2.35, width - 3.6, top + 0.20, height - 0.45)
    panel_heading(axis, "Power put in and taken out")
    order = sorted(range(len(rows)), key=lambda k: signs[k] * rows[k][1])
    for place, k in enumerate(order):
        value = signs[k] * rows[k][1]
        axis.barh(place, value, height=0.7, color="#009e73" if value > 0.0 else "#d55e00")
        axis.text(value, place, f" {abs(value):.1f} ", va="center", ha="left" if value > 0.0 else "right",
                  size=style.SMALL)
    axis.set_yticks(range(len(order)), [rows[k][0] for k in order])
    axis.axvline(0.0, color=style.INK, linewidth=0.6)
    axis.margins(x=0.16)
    axis.set_xlabel("kW, put in to the right", labelpad=1)
    names = [name for name in TOLD if name in answer]
    for k, name in enumerate(names):
        y = 1.0 - (top + 0.30 + 0.185 * k) / height
        figure.text((width - 3.2) / width, y, answer.long_name(name).split(",")[0], size=style.SMALL, color=style.FAINT)
        figure.text((width - 0.2) / width, y, answer.shown(name), size=style.SMALL, ha="right")
    return figure
