"""Every function of a header is told in words: a comment stands right above it, or above the group of prototypes without
a blank line that it belongs to."""

import glob
import os
import re
import sys

os.chdir(os.environ["SWASHLOOP_SOURCE"])

# Starts of what must be told, at the left edge of a header.
FUNCTION = re.compile(r"^(?:static inline |__attribute__\(\(\w+\)\) )*(?:const |unsigned |struct |enum )*\w+ \**([a-z]\w*)\(")
NO_FUNCTION = re.compile(r"^(?:_Static_assert|typedef|return|#)")


def told(lines, at):
    """Is there a comment above line `at`, or above the prototypes that it stands in a row with?"""
    above = at - 1
    while above >= 0:
        line = lines[above]
        if line.rstrip().endswith("*/"):
            return True
        # A prototype of the same group, or the rest of one over several lines, or a line of a condition.
        in_group = line.startswith(("    ", "#if", "#endif")) or (line.rstrip().endswith((";", ",")) and line.strip() != "};")
        if not in_group:
            return False
        above -= 1
    return False


def missing(path):
    lines = open(path, encoding="utf-8").read().split("\n")
    for at, line in enumerate(lines):
        found = not NO_FUNCTION.match(line) and FUNCTION.match(line)
        if found and not told(lines, at):
            yield at + 1, found.group(1)


def main():
    headers = sorted(glob.glob("models/*/*.h") + glob.glob("src/*/*.h"))
    functions = 0
    failures = 0
    for path in headers:
        text = open(path, encoding="utf-8").read().split("\n")
        functions += sum(1 for line in text if not NO_FUNCTION.match(line) and FUNCTION.match(line))
        for line, name in missing(path):
            print(f"{path}:{line}: {name} has no comment above it")
            failures += 1
    if functions < 400:  # the pattern no longer fits the headers
        sys.exit(f"only {functions} functions found in {len(headers)} headers: this check looks for the wrong thing")
    if failures:
        sys.exit(f"{failures} of {functions} functions are not told in words")


main()
