"""Console blocks: what stands under `<!-- output of the commands above -->`."""
import re
import tempfile
import textwrap

from .marks import OUTPUT
from .workshop import WHOLE, QuoteError, Workshop

WIDTH = 116
# What is measured, not computed: it stays as it stands on the page.
MEASURED = re.compile(r"[\d.]+ m?s of processor time(?:, \d+ ns for each right-hand side with everything counted in)?")


def commands_before(lines, at):
    """The commands of the block above line `at`, indented or between fences; continued lines joined."""
    end = at
    while end > 0 and not is_command(lines[end - 1]):
        end -= 1
    start = end
    while start > 0 and lines[start - 1].strip() and not lines[start - 1].startswith("```"):
        start -= 1
    found = []
    for line in lines[start:at]:
        text = line.strip()
        if not text or text.startswith("```"):
            break
        if found and found[-1].endswith("\\"):
            found[-1] = found[-1][:-1] + text
        else:
            found.append(text)
    return [command.split("   #")[0].strip() for command in found if is_command(command)]


def is_command(line):
    return bool(re.match(r"swashloop [a-z]", line.strip()))


def output_of(commands, mark, workshop, page):
    code = int(mark[2]) if mark[2] else None
    printed = ""
    for command in commands:
        last = command == commands[-1]
        printed = workshop.run(command, (code,) if last and code is not None else WHOLE)
    if mark[1] == "warnings":
        printed = workshop.warnings[commands[-1]]
    lines = [line.rstrip() for line in printed.splitlines() if not line.startswith("file ")]
    text = "\n".join(folded for line in lines for folded in fold(line)).strip("\n")
    if not text:
        raise QuoteError(f"{page}: '{commands[-1]}' prints nothing")
    return ["    " + line if line else "" for line in text.split("\n")]


def fold(line):
    """Sentences that run over the page's width; tables are narrower."""
    return textwrap.wrap(line, WIDTH, break_long_words=False, break_on_hyphens=False) if len(line) > WIDTH else [line]


def written(page, text):
    """The page with its blocks made anew, and how many there are."""
    lines = text.split("\n")
    made = []
    at = blocks = 0
    with tempfile.TemporaryDirectory(prefix="swashloop-docs-") as folder:
        workshop = Workshop(folder)
        while at < len(lines):
            made.append(lines[at])
            at += 1
            mark = OUTPUT.fullmatch(made[-1])
            if not mark:
                continue
            commands = commands_before(lines, at - 1)
            if not commands:
                raise QuoteError(f"{page}:{at}: no commands above the mark")
            end = at
            while end < len(lines) and (lines[end].startswith("    ") or not lines[end]):
                end += 1
            new = output_of(commands, mark, workshop, page)
            measured = MEASURED.search("\n".join(lines[at:end]))
            if measured:
                new = [MEASURED.sub(measured[0], line) for line in new]
            made += ["", *new, ""]
            at = end
            blocks += 1
    return "\n".join(made), blocks
