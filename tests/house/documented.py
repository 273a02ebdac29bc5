"""What there is has its test and its words: each component a unit test that calls its kernels and a row in
docs/physics.md with its laws, each command its section and each of its options a place in docs/, each method its page.
Then the same checks over a copy with one thing taken away at a time: each must complain."""
import glob
import os
import re
import sys

ROOT = os.environ.get("SWASHLOOP_SOURCE") or os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
# Choices that are switches: their name says all.
SWITCH = {"no", "yes", "off", "on"}


def read_tree():
    """path: text of all that is looked at"""
    tree = {}
    for pattern in ("models/*/*.[ch]", "src/cli/*.[ch]", "src/schema/simulation.h", "tests/unit/*.c", "docs/*.md"):
        for path in glob.glob(os.path.join(ROOT, pattern)):
            with open(path, encoding="utf-8") as file:
                tree[os.path.relpath(path, ROOT)] = file.read()
    return tree


def code_of(text):
    return re.sub(r"/\*.*?\*/", " ", text, flags=re.S)


def choices_of(text):
    """(name, values) of each CHOICE row"""
    return [(m[1], m[2].split("|")) for m in re.finditer(r'\bCHOICE\((\w+), \w+,\s*"([^"]+)"', text)]


def components(tree):
    tests = {path: code_of(text) for path, text in tree.items() if re.match(r"tests/unit/test_(models|laws)_", path)}
    rows = [line for line in tree["docs/physics.md"].splitlines() if line.startswith("|")]
    found = sorted(path for path in tree if path.startswith("models/components/"))
    if len(found) < 20 or not tests:
        yield f"only {len(found)} components and {len(tests)} tests of them were found: this test looks in the wrong place"
    for path in found:
        header = os.path.basename(path)
        kernels = re.findall(r"^static inline [^;{=]*?(\w+)\(", code_of(tree[path]), re.M)
        if kernels and not any(f'"{header}"' in text and re.search(rf"\b({'|'.join(kernels)})\(", text)
                               for text in tests.values()):
            yield f"{path}: no tests/unit/test_models_*.c or test_laws_*.c includes {header} and calls a kernel of it"
        own = [row for row in rows if re.search(rf"\b{re.escape(header)}\b", row.split("|")[2])]
        if not own:
            yield f"{path}: no row of the table in docs/physics.md names {header}"
            continue
        for name, values in choices_of(tree[path]):
            for word in [name] + [value for value in values if value not in SWITCH]:
                if not re.search(rf"(?<!\w){re.escape(word)}(?!\w)", own[0]):
                    yield f"{path}: the row of {header} in docs/physics.md lacks the choice {name}: {', '.join(values)} ({word})"


def methods(tree):
    for name, values in choices_of(tree["src/schema/simulation.h"]):
        for value in values:
            if not any(re.search(rf"\b{value}\b", tree[page]) for page in ("docs/numerics.md", "docs/case-files.md")):
                yield f"simulation.{name}: neither docs/numerics.md nor docs/case-files.md tells of '{value}'"
    for path in ("models/transmission/transmission.h", "models/rig/valve_rig.c"):
        for name, values in choices_of(tree[path]):
            if not all(re.search(rf"\b{value}\b", "".join(t for p, t in tree.items() if p.startswith("docs/"))) for value in values):
                yield f"{path}: no page tells of the choice {name}: {', '.join(values)}"


def commands(tree):
    page = tree["docs/commands.md"]
    table = re.search(r"^static const struct command_row commands\[\] = \{(.*?)^\};", tree["src/cli/main.c"], re.S | re.M)
    names = re.findall(r'^ *\{"(\w+)",', table[1], re.M) if table else []
    if len(names) < 10:
        yield "src/cli/main.c: the table of commands was not found"
    headings = {word for line in re.findall(r"^## (.*)$", page, re.M) for word in re.split(r", | and ", line)}
    docs = "\n".join(text for path, text in tree.items() if path.startswith("docs/"))
    for name in names:
        if name not in headings:
            yield f"docs/commands.md: no section of '{name}'"
        if not re.search(rf"^swashloop {name} ", page, re.M):
            yield f"docs/commands.md: the list on top lacks 'swashloop {name}'"
        source = tree.get(f"src/cli/command_{name}.c", "")
        for option in set(re.findall(r'\bOPTION_\w+\(\s*"([\w-]+)"', source)):
            if not re.search(rf"--{option}(?![\w-])", docs):
                yield f"src/cli/command_{name}.c: no page in docs/ tells of --{option}"


def complaints(tree):
    return [*components(tree), *methods(tree), *commands(tree)]


def changed(tree, path, pattern, by):
    text = re.sub(pattern, by, tree[path], flags=re.M)
    if text == tree[path]:
        sys.exit(f"nothing in {path} fits {pattern}: this test cannot show that it fails")
    return {**tree, path: text}


def main():
    tree = read_tree()
    found = complaints(tree)
    print(*found, sep="\n", end="\n" if found else "")
    relief_tests = {path: text.replace('"flushing.h"', '"nothing.h"') if path.startswith("tests/unit/") else text
                    for path, text in tree.items()}
    without = {
        "no test_models_": relief_tests,
        "no row of the table": changed(tree, "docs/physics.md", r"\brelief\.h\b", "other.h"),
        "lacks the choice law": changed(tree, "docs/physics.md", r"poppet\b", "other"),
        "lacks the choice fresh": changed(tree, "models/components/relief.h", r"^  CHOICE\(law,",
                                          r'  CHOICE(fresh, A, "one|two", "", "x") CHOICE(law,'),
        "tells of 'unheard_of'": changed(tree, "src/schema/simulation.h", r"bdf\|", "bdf|unheard_of|"),
        "no section of 'fit'": changed(tree, "docs/commands.md", r"^(## .*), fit$", r"\1"),
        "lacks 'swashloop fit'": changed(tree, "docs/commands.md", r"^swashloop fit .*$", ""),
        "no section of 'fresh'": changed(tree, "src/cli/main.c", r'^    \{"fit",', r'    {"fresh", f, ""},\n    {"fit",'),
        "tells of --fresh": changed(tree, "src/cli/command_run.c", r"\bOPTION_(\w+)\(\s*\"", r'OPTION_\1("fresh", OPTION_\1("'),
    }
    silent = [words for words, other in without.items()
              if not any(words.replace("no test_models_", "includes flushing.h") in each for each in complaints(other))]
    for words in silent:
        print(f"a tree that should be told '{words}' is not")
    return 1 if found or silent else 0


if __name__ == "__main__":
    sys.exit(main())
