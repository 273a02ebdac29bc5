"""The marks of a page, and what of it is no running text.

    <!--=name-->25.8 %<!--/-->                           a figure of the program (tools/quotes/figures.py)
    <!--measured 2026-11-25: tools/bench-->2 ms<!--/-->   measured on one machine that day, not compared

and on lines of their own

    <!-- output of the commands above -->                 the block below is what the last of them prints
    <!-- output of the commands above, exit code 1 -->    the same of a command that has to fail
    <!-- warnings of the commands above -->               what the last of them says on standard error
    <!-- measured 2026-11-25: tools/bench -->             everything down to
    <!-- end of measured -->
"""
import datetime
import os
import re

from .workshop import ROOT

FIGURE = re.compile(r"<!--=([\w.-]+)-->(.*?)<!--/-->", re.S)
MEASURED = re.compile(r"<!--measured ([^:]*): ([^>]*?)-->(.*?)<!--/-->", re.S)
REGION = re.compile(r"^<!-- measured ([^:]*): (.*?) -->\n(.*?)^<!-- end of measured -->$", re.S | re.M)
OUTPUT = re.compile(r"<!-- (output|warnings) of the commands above(?:, exit code (\d+))? -->")
# A comment at the start of a line ends the paragraph, for readers of Markdown.
AT_START = re.compile(r"^ *(?:[-*] |\d+\. )?<!--[=m/]", re.M)


def faults(page, text):
    """What is wrong with the marks of a page, one line each."""
    found = [f"{page}:{line_of(text, mark.start())}: a mark at the start of a line ends the paragraph"
             for mark in AT_START.finditer(text)]
    for mark in [*MEASURED.finditer(text), *REGION.finditer(text)]:
        place = f"{page}:{line_of(text, mark.start())}"
        try:
            datetime.date.fromisoformat(mark[1])
        except ValueError:
            found.append(f"{place}: measured '{mark[1]}': expected a date such as 2026-11-25")
        tool = mark[2].split()[0]
        if tool != "swashloop" and not os.path.exists(os.path.join(ROOT, tool)):
            found.append(f"{place}: measured by '{tool}', which is not there")
    rest = re.sub(r"`[^`]*`", "", text)
    for pattern in (REGION, MEASURED, FIGURE):
        rest = pattern.sub("", rest)
    for left in re.finditer(r"<!--(=|/|measured| measured| end of measured).*", rest):
        found.append(f"{page}: a mark without its other half: {left[0][:60]}")
    return found


def line_of(text, place):
    return text.count("\n", 0, place) + 1


def blank(match):
    """As long and with as many lines, and nothing in it."""
    return re.sub(r"[^\n]", " ", match[0])


def running_text(text):
    """A page without what is quoted, marked, code or comment; each character keeps its place."""
    for pattern in (REGION, MEASURED, FIGURE):
        text = pattern.sub(blank, text)
    text = re.sub(r"^( *)```.*?^\1```$", blank, text, flags=re.S | re.M)
    text = re.sub(r"<!--.*?-->", blank, text, flags=re.S)
    text = re.sub(r"(?<=\n\n)(?: {4}.*\n|\n(?= {4}))+", lambda block: block[0] if is_list(text, block) else blank(block), text)
    text = re.sub(r"`[^`]*`", blank, text)
    return re.sub(r"\]\([^)]*\)", blank, text)


def is_list(text, block):
    """Whether an indented block goes on with an item of a list."""
    return is_item(text[:block.start()].rstrip("\n").split("\n")[-1])


def is_item(line):
    return bool(re.match(r"(?:[-*]|\d+\.) ", line)) or (line.startswith("  ") and not line.startswith("    "))


def indented_blocks(text):
    """(line, first line) of the indented blocks that no mark stands above."""
    lines = REGION.sub(blank, text).split("\n")
    inside = fenced = False
    under = ""
    for number, line in enumerate(lines, 1):
        if line.lstrip().startswith("```"):
            fenced = not fenced
        if fenced or not line.strip():
            continue
        if line.startswith("    "):
            if not inside and not under.startswith("<!-- ") and not is_item(under) and not lines[number - 2].strip():
                yield number, line.strip()
            inside = True
        else:
            inside = False
            under = line
