"""docs/parameters.md is what the program says of its parameters: names, units, defaults and bounds. A default that is
changed on purpose is written anew by tools/make-parameters; one that is changed by accident shows here."""
import os
import subprocess
import sys

from _program import PROGRAM, ROOT, need_program

need_program()
sys.exit(subprocess.run([sys.executable, os.path.join(ROOT, "tools", "make-parameters"), "--check", "--program", PROGRAM],
                        check=False).returncode)
