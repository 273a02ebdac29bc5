"""The words under the panels: events by number, limits, measures."""
import re

from .runfile import show, words
from .style import FAINT, INK, LIMIT_COLOUR, LINE_HEIGHT, SMALL, TEXT

MOST_EVENTS = 24
# What a review asks first; the rest is in the file.
MEASURES = ("peak_line_a_pressure", "peak_line_b_pressure", "lowest_low_side_pressure", "lowest_charge_pressure",
            "engine_speed_max", "engine_speed_min", "vehicle_speed_end", "stop_time", "stop_distance", "relief_heat")


def fewer(events, most):
    """At most `most` events. Repeats go first, then what comes last; returns them and how many went."""
    if len(events) <= most:
        return [(event, 1) for event in events], 0
    merged = {}
    for event in events:
        key = (event.name, re.sub(r"[-\d.]+", "#", event.message))
        merged.setdefault(key, []).append(event)
    kept = [(group[0], len(group)) for group in merged.values()]
    return kept[:most], max(len(kept) - most, 0)


class Marks:
    """The events of all runs in the window, numbered through."""

    def __init__(self, runs, low, high):
        self.rows = []  # (number, run index, event, how often)
        self.left_out = [0] * len(runs)
        most = max(MOST_EVENTS // len(runs), 5)
        for k, run in enumerate(runs):
            told = [event for event in run.events if low <= event.time <= high]
            if run.status == "complete":
                # That it ended is no news.
                told = [event for event in told if event.name != "end"]
            kept, self.left_out[k] = fewer(told, most)
            for event, times in kept:
                self.rows.append((len(self.rows) + 1, k, event, times))

    def of_run(self, k):
        return [row for row in self.rows if row[1] == k]


class Text:
    """One piece of text in a table, in inches from its upper left corner."""

    def __init__(self, x, line, text, **look):
        self.x, self.line, self.text, self.look = x, line, text, look


class Writer:
    """Measures text as it will be drawn."""

    def __init__(self, renderer, dpi):
        self.renderer, self.dpi = renderer, dpi

    def width(self, text, size=TEXT, weight="normal"):
        from matplotlib.font_manager import FontProperties
        font = FontProperties(size=size, weight=weight)
        return self.renderer.get_text_width_height_descent(text, font, False)[0] / self.dpi

    def wrap(self, text, width, size=TEXT):
        lines = [""]
        for word in text.split():
            longer = f"{lines[-1]} {word}".strip()
            if lines[-1] and self.width(longer, size) > width:
                lines.append(word)
            else:
                lines[-1] = longer
        return lines

    def cut(self, text, width, size=TEXT, weight="normal"):
        if self.width(text, size, weight) <= width:
            return text
        while text and self.width(text + " …", size, weight) > width:
            text = text[:-1]
        return text.rstrip() + " …"


def event_entries(runs, marks, writer, width):
    """Blocks of lines, one an event (and one a run's name when there are more)."""
    blocks = []
    for k, run in enumerate(runs):
        rows = marks.of_run(k)
        if len(runs) > 1 and rows:
            blocks.append([Text(0.0, 0, writer.cut(run.name, width), weight="bold")])
        for number, _, event, times in rows:
            message = event.message + (f" ({times}×)" if times > 1 else "")
            lines = writer.wrap(message, width - 0.86)
            look = {"color": LIMIT_COLOUR} if event.name == "limit" else {}
            block = [Text(0.17, 0, str(number), ha="right", weight="bold", **look),
                     Text(0.78, 0, f"{event.time:.3f} s", ha="right", color=FAINT)]
            block += [Text(0.86, i, line, **look) for i, line in enumerate(lines)]
            blocks.append(block)
        if marks.left_out[k]:
            blocks.append([Text(0.86, 0, f"and {marks.left_out[k]} more kinds of event", color=FAINT)])
    return blocks


def height_of(block):
    return 1 + max(text.line for text in block)


def in_columns(blocks, count):
    """Fill `count` columns top to bottom, as even as the blocks allow."""
    total = sum(height_of(block) for block in blocks)
    best = None
    for target in range(max(1, -(-total // count)), total + 1):
        columns, line = [[]], 0
        for block in blocks:
            if line and line + height_of(block) > target:
                columns.append([])
                line = 0
            columns[-1].append((line, block))
            line += height_of(block)
        if len(columns) <= count:
            best = columns
            break
    return best or [[]]


def limit_entries(runs, writer, width):
    """A block a sentence: kept, or broken or not judged with the particulars of each run that did not keep it."""
    blocks = []
    answers = ("BROKEN", "not judged")
    left = max(writer.width(answer, weight="bold") for answer in answers) + 0.08  # where sentences begin
    wide = width - left
    for sentence in dict.fromkeys(limit.sentence for run in runs for limit in run.limits):
        told = [(run, limit) for run in runs for limit in run.limits if limit.sentence == sentence]
        broken = [(run, limit) for run, limit in told if limit.broken]
        unjudged = [(run, limit) for run, limit in told if not limit.judged]
        lines = writer.wrap(sentence, wide)
        block = [Text(left, i, line) for i, line in enumerate(lines)]
        if broken:
            block.append(Text(0.0, 0, answers[0], color=LIMIT_COLOUR, weight="bold"))
        elif unjudged:
            block.append(Text(0.0, 0, answers[1], weight="bold"))
        else:
            block.append(Text(0.0, 0, "kept"))
        for run, limit in broken + unjudged:
            who = f"{run.name}: " if len(runs) > 1 else ""
            colour = LIMIT_COLOUR if limit.broken else INK
            unjudged_words = f"{answers[1]}: {limit.reason}" if len(runs) > 1 else limit.reason
            particulars = broken_words(run, limit) if limit.broken else unjudged_words
            details = writer.wrap((who + particulars).rstrip(": "), wide)
            line = height_of(block)
            block += [Text(left, line + i, detail, color=colour) for i, detail in enumerate(details) if detail]
        blocks.append(block)
    return blocks


def broken_words(run, limit):
    """`from 16.42 s, worst 3093 rpm at 17.10 s`, as far as known."""
    quantity = run.signals.get(limit.name) or run.measures.get(limit.name)
    parts = []
    if limit.first_time == limit.first_time:
        parts.append(f"from {limit.first_time:.2f} s")
    if quantity is not None and limit.worst == limit.worst:
        worst = "worst " + show(quantity.trade(limit.worst), quantity.unit)
        if limit.worst_time == limit.worst_time:
            worst += f" at {limit.worst_time:.2f} s"
        parts.append(worst)
    return ", ".join(parts)


def measure_cell(runs, writer):
    """Width of a column of numbers: the run's name should fit on top."""
    if len(runs) == 1:
        return 0.80
    return min(max(0.80, max(writer.width(run.name, weight="bold") for run in runs) + 0.14), 1.25)


def measure_entries(runs, writer, width):
    """A line a measure, a column a run."""
    cell = measure_cell(runs, writer)
    names = [name for name in MEASURES if any(run.measure(name) == run.measure(name) for run in runs)]
    blocks = []
    if len(runs) > 1 and names:
        blocks.append([Text(width - cell * (len(runs) - 1 - k), 0, writer.cut(run.name, cell - 0.10, weight="bold"), ha="right",
                            weight="bold") for k, run in enumerate(runs)])
    for name in names:
        label = words(name).replace("lowest low side", "low side: lowest")
        block = [Text(0.0, 0, writer.cut(label, width - cell * len(runs) + 0.1))]
        for k, run in enumerate(runs):
            unit = run.measures[name].unit if name in run.measures else "1"
            block.append(Text(width - cell * (len(runs) - 1 - k), 0, show(run.measure(name), unit), ha="right"))
        blocks.append(block)
    return blocks


class Tables:
    """All tables side by side; `height` in inches."""

    GAP = 0.30
    LEAST = 2.5  # inches that sentences need

    def __init__(self, runs, marks, notes, writer, width):
        self.texts = []  # (x, y from the top, text, look)
        self.rules = []  # (x0, x1, y)
        self.height = 0.0
        x = 0.0
        for column_width, makers in self._columns(runs, marks, writer, width):
            y = 0.0
            for head, make in makers:
                blocks = make(writer, column_width)
                count = 2 if head == "Events" and column_width > 5.6 and len(blocks) > 4 else 1
                y = self._table(x, y, column_width, head, blocks, count) + 0.1
            self.height = max(self.height, y - 0.1)
            x += column_width + self.GAP
        if notes:
            self.texts.append((0.0, self.height + 0.06, "Not drawn: " + "; ".join(notes) + ".",
                               {"color": FAINT, "size": SMALL}))
            self.height += 0.06 + LINE_HEIGHT

    def _columns(self, runs, marks, writer, width):
        """[(width, [(heading, maker of its blocks)])]: beside each other where there is room, else stacked."""
        events = [("Events", lambda writer, wide: event_entries(runs, marks, writer, wide))] if marks.rows else []
        limits = [("Limits", lambda writer, wide: limit_entries(runs, writer, wide))] \
            if any(run.limits for run in runs) else []
        measures = [("Measures", lambda writer, wide: measure_entries(runs, writer, wide))] \
            if any(run.measure(name) == run.measure(name) for run in runs for name in MEASURES) else []
        narrow = min(1.65 + measure_cell(runs, writer) * len(runs), width) if measures else self.LEAST
        arrangements = [[events, limits, measures], [events, limits + measures], [events + limits + measures]]
        for columns in arrangements:
            columns = [column for column in columns if column]
            if not columns:
                return []
            rest = width - self.GAP * (len(columns) - 1)
            if len(columns) == 1 and columns[0] is not measures:
                return [(rest, columns[0])]
            last = max(narrow, self.LEAST if columns[-1][0][0] == "Limits" else 0.0)
            others = (rest - last) / max(len(columns) - 1, 1)
            if others >= self.LEAST or len(columns) == 1:
                return [(others, column) for column in columns[:-1]] + [(last, columns[-1])]
        return []

    def _table(self, x, y, width, head, blocks, count):
        self.texts.append((x, y, head, {"weight": "bold"}))
        self.rules.append((x, x + width, y + 0.165))
        bottom = y
        for k, entries in enumerate(in_columns(blocks, count)):
            bottom = max(bottom, self._body(x + k * (width + self.GAP) / count, y + 0.2, entries))
        return bottom

    def _body(self, x, y, entries):
        bottom = y
        for line, block in entries:
            for text in block:
                look = {"color": INK, **text.look}
                self.texts.append((x + text.x, y + (line + text.line) * LINE_HEIGHT, text.text, look))
            bottom = y + (line + height_of(block)) * LINE_HEIGHT
        return bottom
