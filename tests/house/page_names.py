"""What the report's page and the words of the linear answer call by name is declared somewhere: a signal, measure, event,
parameter or state that is renamed would else vanish from them without a word."""

import glob
import json
import os
import re
import subprocess
import sys

os.chdir(os.environ["SWASHLOOP_SOURCE"])
PROGRAM = os.environ["SWASHLOOP"]


def listed(what, key):
    answer = subprocess.run([PROGRAM, "list", what, "--json"], capture_output=True, text=True, check=True)
    return {row[key] for row in json.loads(answer.stdout)}


def run_events():
    """Events that a run finds of any machine."""
    with open("src/schema/run_events.c", encoding="utf-8") as file:
        return set(re.findall(r'\[NEWS_\w+\] = \{"(\w+)"', file.read()))


def declared(macro):
    """First arguments of a list's rows in models/."""
    names = set()
    for path in glob.glob("models/*/*.[ch]"):
        with open(path, encoding="utf-8") as file:
            names |= set(re.findall(rf"^ +{macro}\((\w+), ", file.read(), re.MULTILINE))
    return names


def states():
    names = declared("STATE")
    with open("models/components/relief.h", encoding="utf-8") as file:
        for ending in re.findall(r"STATE\(relief_##x##_(\w+)", file.read()):
            names |= {f"relief_a_{ending}", f"relief_b_{ending}"}
    return names


KNOWN = {
    "signal": listed("signals", "name"),
    "measure": listed("measures", "name"),
    "parameter": listed("parameters", "path"),
    "event": declared("EVENT") | {"action", "mode", "limit", "end"} | run_events(),
    "state": states(),
}

RUN = r"\w+(?:\[\d\])?"
# File, what it calls, and how; each pattern must find something.
CALLS = [
    ("src/report/page/run/groups.js", "signal", r"^  (\w+): '"),
    ("src/report/page/run/groups.js", "signal", r"\bnames: \[([^\]]*)\]"),
    ("src/report/page/run/circuit.js", "signal", r"\b(?:value|has|signal)\('(\w+)'"),
    ("src/report/page/run/events.js", "signal", rf"\b(?:upTo|downTo|change|valueOf|signalAt)\({RUN}, '(\w+)'"),
    ("src/report/page/run/events.js", "event", r"^  (\w+): \["),
    ("src/report/page/run/events.js", "event", r"\.name === '(\w+)'"),
    ("src/report/page/run/events.js", "parameter", r"\bsetting\(run, '([\w.]+)'"),
    ("src/report/page/run/*.js", "measure", rf"\bmeasureOf\({RUN}, '(\w+)'"),
    ("src/report/page/shared/*.js", "measure", rf"\bmeasureOf\({RUN}, '(\w+)'"),
    ("src/analysis/linear.c", "state", r'^      \{"(\w+)", "'),
]


def main():
    failures = 0
    for pattern, kind, how in CALLS:
        found = 0
        for path in glob.glob(pattern):
            with open(path, encoding="utf-8") as file:
                text = file.read()
            for match in re.finditer(how, text, re.MULTILINE):
                line = text.count("\n", 0, match.start()) + 1
                for name in re.findall(r"'(\w+)'", match.group(1)) or [match.group(1)]:
                    found += 1
                    if name not in KNOWN[kind]:
                        print(f"{path}:{line}: there is no {kind} {name}")
                        failures += 1
        if found == 0:
            print(f"{pattern}: no {kind} is called by {how}: this check looks for the wrong thing")
            failures += 1
    if failures:
        sys.exit(f"{failures} names are declared nowhere")


main()
