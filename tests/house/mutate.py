"""tests/mutate can tell a mutant that tests notice from one that they do not: on a tree of a few lines that is made
here, each planted mutant must come out as it should."""
import collections
import importlib.machinery
import importlib.util
import os
import shutil
import sys
import tempfile
import types

sys.dont_write_bytecode = True
ROOT = os.environ.get("SWASHLOOP_SOURCE") or os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
if not all(shutil.which(each) for each in ("cmake", "ninja", "cc")):
    print("skipped: needs cmake, ninja and a compiler")
    sys.exit(77)
loader = importlib.machinery.SourceFileLoader("mutate", os.path.join(ROOT, "tests", "mutate"))
mutate = importlib.util.module_from_spec(importlib.util.spec_from_loader("mutate", loader))
loader.exec_module(mutate)

FILES = {
    "CMakeLists.txt": """cmake_minimum_required(VERSION 3.25)
project(small LANGUAGES C)
include_directories(models/lib)
add_library(small STATIC src/run/small.c)
add_subdirectory(tests)
""",
    "tests/CMakeLists.txt": "add_executable(unit_small unit/test_small.c)\ntarget_link_libraries(unit_small small)\n",
    "models/lib/small.h": """#ifndef SMALL_H
#define SMALL_H
/* Comments, "strings" and what is included stay: 1 + 2. */
static inline int mean(int a, int b) {
  return (a + b) / 2;
}
int untested(int a);
int endless(int a);
#endif
""",
    "src/run/small.c": """#include "small.h"

int untested(int a) {
  return a * 7;
}

int endless(int a) {
  while (a > 0) {
    a -= 1;
  }
  return sizeof(int[5]) > 0 ? mean(a, a) : 9;
}
""",
    "tests/unit/test_small.c": """#include "small.h"
int main(void) {
  return mean(4, 8) == 6 && endless(3) == 0 && untested(0) == 0 ? 0 : 1;
}
""",
}
# (file, text before, text after): outcome
EXPECTED = {
    ("models/lib/small.h", "return (a + b) / 2;", "return (a - b) / 2;"): ("killed", "unit_small"),
    ("src/run/small.c", "return a * 7;", "return a * 8;"): ("survived", ""),
    ("src/run/small.c", "return sizeof(int[5]) > 0 ? mean(a, a) : 9;",
     "return sizeof(int[5]) > 0 ? mean(a, a) : 8;"): ("same code", ""),
    ("src/run/small.c", "a -= 1;", "a += 1;"): ("killed", "unit_small (time)"),
}


def main():
    failures = 0
    with tempfile.TemporaryDirectory() as root:
        for name, text in FILES.items():
            path = os.path.join(root, name)
            os.makedirs(os.path.dirname(path), exist_ok=True)
            with open(path, "w", encoding="utf-8") as file:
                file.write(text)
        # The counter may not wrap round before the time is up.
        mutate.LEAST_TIME = 0.5
        arguments = types.SimpleNamespace(count=100, seed="1", only="", again=False, fresh=False, jobs=1, list=False,
                                          talk=False)
        found = mutate.work(arguments, root)
        by_text = {(e["file"], e["before"], e["after"]): (e["outcome"], e["by"]) for e in found}
        for key, outcome in EXPECTED.items():
            got = by_text.get(key)
            # Compilers may turn an endless loop into one that ends: then the answer is wrong.
            if got != outcome and not (outcome[1].endswith("(time)") and got == ("killed", "unit_small")):
                print(f"{key}: {got}, not {outcome}")
                failures += 1
        if any(e["before"].startswith("/*") or "#include" in e["before"] for e in found):
            print("a comment or an include was changed")
            failures += 1
        said = []
        mutate.show(found, said.append)
        survivors = collections.Counter(e["outcome"] for e in found)["survived"]
        if sum("survives" in line for line in said) != survivors or not any(
                line.startswith("src/run/small.c:4: constant: survives") for line in said):
            print("the survivors are not told:", *said, sep="\n")
            failures += 1
        # Called again, all is known and nothing is built.
        shutil.rmtree(os.path.join(root, "build", "mutate", "tree-1"))
        if mutate.work(arguments, root) != found or os.path.exists(os.path.join(root, "build", "mutate", "tree-1")):
            print("a second call does not go on from the outcomes of the first")
            failures += 1
    return 1 if failures else 0


sys.exit(main())
