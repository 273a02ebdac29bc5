"""Every function of a header is told in words: a comment stands right above it, or above the group of prototypes without
a blank line that it belongs to. And a file that a comment names is there."""

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


# A file of ours, as comments name it; not after a sign of a pattern or a path outside.
FILE = re.compile(r"(?<![\w/.*<{$%-])([A-Za-z_][\w/-]*\.(?:c|h|py|mjs|js|sh|cmake|css))(?![\w*])")
MADE = {"unit_factors.c", "page_files.c", "build_id.c"}  # by the build


def strangers():
    """(path, name) of files that comments name and that are nowhere."""
    files = [os.path.join(folder, name) for room in ("models", "src", "tests", "tools") for folder, _, names in os.walk(room)
             for name in names if "node_modules" not in folder]
    known = {os.path.basename(path) for path in files} | MADE
    count = 0
    for path in files:
        if not re.search(r"\.(c|h|js|mjs)$", path):
            continue
        with open(path, encoding="utf-8") as file:
            comments = re.findall(r"/\*.*?\*/|^ *//.*", file.read(), re.S if path[-1] in "ch" else re.M)
        for name in FILE.findall("\n".join(comments)):
            count += 1
            if os.path.basename(name) not in known or "/" in name and not any(("/" + other).endswith("/" + name) for other in files):
                yield path, name
    if count < 100:
        sys.exit(f"comments name only {count} files: this check looks for the wrong thing")


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
    lost = list(strangers())
    for path, name in lost:
        print(f"{path}: a comment names {name}, which is not there")
    if failures or lost:
        sys.exit(f"{failures} of {functions} functions are not told in words, {len(lost)} files not there")


main()
