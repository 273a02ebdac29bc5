"""What the script tests share: the program under test and a folder of their own."""
import os
import re
import subprocess
import sys
import tempfile
import unittest

ROOT = os.environ.get("SWASHLOOP_SOURCE") or os.path.dirname(
    os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAM = os.environ.get("SWASHLOOP", "")
WARNING = re.compile(r"(^|: )warning: .* \(\w+\)$")  # of plausibility
DOWNHILL = os.path.join(ROOT, "cases", "baseline", "downhill.yaml")


def need_program():
    if not os.access(PROGRAM, os.X_OK):
        print("skipped: SWASHLOOP names no program")
        sys.exit(77)


class Folder(unittest.TestCase):
    """Each test runs in a new empty folder."""

    def setUp(self):
        self.place = tempfile.TemporaryDirectory(prefix="swashloop-test-")
        self.addCleanup(self.place.cleanup)
        self.folder = self.place.name

    def path(self, name):
        return os.path.join(self.folder, name)

    def files(self):
        return sorted(os.listdir(self.folder))

    def write(self, name, text):
        with open(self.path(name), "w", encoding="utf-8") as file:
            file.write(text)
        return self.path(name)

    def run_program(self, *arguments, **options):
        options.setdefault("cwd", self.folder)
        return subprocess.run([PROGRAM, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                              timeout=120, check=False, **options)

    def start_program(self, *arguments):
        return subprocess.Popen([PROGRAM, *arguments], cwd=self.folder, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True)

    def expect(self, code, *arguments, **options):
        """Runs; checks the exit code, and that nothing but a failure talks of an error. Returns the result."""
        result = self.run_program(*arguments, **options)
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        if code == 0:
            said = [line for line in result.stderr.splitlines() if not WARNING.search(line)]
            self.assertEqual(said, [])
        return result

    def downhill_with(self, extra):
        """The downhill case, its machine found where it is, with lines added at its end."""
        with open(DOWNHILL, encoding="utf-8") as file:
            text = file.read().replace("machine: ", "machine: " + os.path.dirname(DOWNHILL) + "/")
        return self.write("case.yaml", text + "\n" + extra)
