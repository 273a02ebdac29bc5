"""Commands of the pages, run once each in one folder that has `cases` in it, and what they answer."""
import json
import os
import re
import shlex
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.realpath(__file__))))
PROGRAM = os.path.abspath(os.environ.get("SWASHLOOP") or os.path.join(ROOT, "build", "release", "swashloop"))
# 4: a limit of the case is broken, 6: one could not be judged; the answer is whole all the same.
WHOLE = (0, 4, 6)


class QuoteError(Exception):
    """What the pages say cannot be made: told in one line."""


class Workshop:
    def __init__(self, folder):
        self.folder = folder
        self.done = {}
        self.documents = {}
        self.writers = {}
        self.warnings = {}
        os.symlink(os.path.join(ROOT, "cases"), os.path.join(folder, "cases"))

    def path(self, name):
        return os.path.join(self.folder, name)

    def run(self, command, codes=WHOLE):
        """What `swashloop ...` or `tools/...` prints; of a command that has to fail, what it says of it."""
        if command in self.done:
            return self.done[command]
        words = shlex.split(command)
        self.claim_output(command, words)
        environment = dict(os.environ, SWASHLOOP=PROGRAM, NO_COLOR="1")
        environment.pop("SWASHLOOP_PYTHONS_TRIED", None)  # of this process; the tools look for themselves
        if words[0] == "swashloop":
            words[0] = PROGRAM
        elif words[0].startswith("tools/"):
            words[0] = os.path.join(ROOT, words[0])
        else:
            raise QuoteError(f"'{command}': neither swashloop nor one of the tools")
        result = subprocess.run(words, cwd=self.folder, env=environment, stdin=subprocess.DEVNULL, text=True,
                                capture_output=True, check=False)
        if result.returncode not in codes:
            raise QuoteError(f"'{command}' gives {result.returncode}: {result.stderr.strip()[-500:]}")
        self.warnings[command] = result.stderr
        self.done[command] = result.stdout if result.returncode in WHOLE else result.stderr
        return self.done[command]

    def claim_output(self, command, words):
        """Two commands that write one file would make the answer depend on their order."""
        for flag, name in zip(words, words[1:]):
            if flag == "-o" and self.writers.setdefault(name, words[0:2] + sorted(set(words[2:]) - {"--json"})) != \
                    words[0:2] + sorted(set(words[2:]) - {"--json"}):
                raise QuoteError(f"'{command}': another command writes {name}, too")

    def document(self, command, codes=WHOLE):
        """The JSON document of a command."""
        if command not in self.documents:
            self.documents[command] = json.loads(self.run(command + " --json", codes))
        return self.documents[command]

    def columns(self, command, name):
        """The file that a command writes: every column by its path, texts decoded."""
        key = command, name
        if key not in self.documents:
            import h5py
            self.run(command)
            found = {}

            def visit(path, item):
                if isinstance(item, h5py.Dataset):
                    found[path] = item.asstr()[()] if h5py.check_string_dtype(item.dtype) else item[()]

            with h5py.File(self.path(name)) as file:
                file.visititems(visit)
            self.documents[key] = found
        return self.documents[key]

    def setting(self, case, path):
        """What a case says of a parameter, every default told: '420 bar'."""
        section = ""
        for line in self.run(f"swashloop check {case} --resolved").splitlines():
            found = re.match(r"( *)([\w.]+): *(.*)$", line)
            if found and not found[1]:
                section = found[2]
                if path == section:
                    return found[3]
            elif found and path == f"{section}.{found[2]}":
                return found[3]
        raise QuoteError(f"{case}: nothing is set for '{path}'")


def complain(text):
    print(f"make-docs: {text}", file=sys.stderr)
