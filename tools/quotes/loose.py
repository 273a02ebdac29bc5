"""Numbers with units, and blocks of output, that nothing on a page marks: each is told, or allowed for a reason.

tools/quotes/allowed.txt says what is allowed: under a head `[page] reason` texts parted by semicolons, each of which
holds the number and as many words around it as are needed to tell it from others. What no page uses is told as well.
"""
import glob
import os
import re

from .marks import indented_blocks, line_of, running_text
from .workshop import ROOT, QuoteError

ALLOWED = os.path.join(ROOT, "tools", "quotes", "allowed.txt")
# Made from the program as a whole by tools of their own, and held against it by tests.
MADE_ELSEWHERE = ("docs/parameters.md", "docs/validation.md")

UNITS = r"""mbar|bar/s|bar|MPa|Pa|psi|rpm|km/h|m/s|L/min|L/s|L|cm3/rev|cm3|m3|mm2/s|mm2|mm|km|ms/s|ms|us|µs|ns|min|m|s|hours|h|
    kW|kJ|kHz|kN|kB|kg|W|J|Hz|%|per\ mille|degC|°C|K|t|N\ m|N|rad/s|1/s|deg|MB|GB|MiB|bytes|steps|cases|rows|runs|
    restarts|evaluations|times|instants|seeds|mutants""".replace("\n    ", "")
NUMBER = r"[-+±]?\d+(?:[ .]\d+)*(?:e[-+]?\d+)?"
QUANTITY = re.compile(rf"(?<![\w.,^]){NUMBER}(?: ?(?:to|and|or|of|by|,) {NUMBER})*[ \n]?(?:{UNITS})(?![\w/])")
# A block that begins with one of these is something to type, not something printed.
TYPED = re.compile(r"(?:swashloop|tools/|tests/|cmake|ctest|build/|models/|src/|simulation: |title: )")


class Allowed:
    def __init__(self):
        self.texts = {}
        self.used = set()
        page = None
        with open(ALLOWED, encoding="utf-8") as file:
            for number, line in enumerate(file, 1):
                line = line.strip()
                head = re.fullmatch(r"\[(\S+)\] (.+)", line)
                if head:
                    page = head[1]
                elif line and not line.startswith("#"):
                    if page is None:
                        raise QuoteError(f"allowed.txt:{number}: no [page] with a reason above")
                    self.texts.setdefault(page, []).extend(part.strip() for part in line.split(";") if part.strip())

    def covers(self, page, text, start, end):
        """Whether the number at start:end lies within an allowed text."""
        covered = False
        for allowed in self.texts.get(page, ()):
            pattern = r"\s+".join(re.escape(word) for word in allowed.split())
            for place in re.finditer(rf"(?<![\w.]){pattern}(?!\w)", text):
                if place.start() <= start and end <= place.end():
                    self.used.add((page, allowed))
                    covered = True
        return covered

    def left(self):
        return [f"tools/quotes/allowed.txt: [{page}] '{text}' covers nothing" for page, texts in self.texts.items()
                for text in texts if (page, text) not in self.used]


def in_page(page, text, allowed):
    running = running_text(text)
    found = [f"{page}:{line_of(text, number.start())}: '{' '.join(number[0].split())}' is not marked"
             for number in QUANTITY.finditer(running) if not allowed.covers(page, running, number.start(), number.end())]
    for line, first in indented_blocks(text):
        if not TYPED.match(first) and not allowed.covers(page, first, 0, len(first)):
            found.append(f"{page}:{line}: the block '{first[:40]}' is neither typed nor marked as output")
    return found


def in_case(page, text, allowed):
    """Numbers in comments of a case that neither it nor its machine sets."""
    comments = "\n".join(re.sub(r"^[^#]*#?", "", line) if "#" in line else "" for line in text.split("\n"))
    code = "\n".join(line.split("#")[0] for line in text.split("\n"))
    machine = re.search(r"machine: (\S+)", code)
    if machine:
        with open(os.path.join(ROOT, os.path.dirname(page), machine[1]), encoding="utf-8") as file:
            code += "\n".join(line.split("#")[0] for line in file)
    return [f"{page}:{line_of(comments, number.start())}: '{' '.join(number[0].split())}' in a comment, and the case does not set it"
            for number in QUANTITY.finditer(comments)
            if not set_in(code, number[0]) and not allowed.covers(page, comments, number.start(), number.end())]


def set_in(code, quantity):
    """Whether the case sets just this; a downgrade of 25 % stands there as -25 %."""
    return re.search(rf"(?<![\w.]){re.escape(' '.join(quantity.split()))}(?!\w)", code) is not None


def cases():
    return sorted(os.path.relpath(path, ROOT)
                  for path in glob.glob(os.path.join(ROOT, "cases", "**", "*.yaml"), recursive=True))
