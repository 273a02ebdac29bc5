"""A python3 that has what a tool needs."""
import importlib.util
import os
import sys


def find_interpreter(tool, needed):
    """The python3 that comes first on the path need not be the one that has the packages: try the others once."""
    missing = [name for name in needed if importlib.util.find_spec(name) is None]
    if not missing:
        return
    tried = os.environ.get("SWASHLOOP_PYTHONS_TRIED", "").split(os.pathsep) + [os.path.realpath(sys.executable)]
    folders = ["/usr/bin", "/usr/local/bin"] + os.environ.get("PATH", "").split(os.pathsep)
    for folder in folders:
        candidate = os.path.realpath(os.path.join(folder, "python3"))
        if candidate not in tried and os.access(candidate, os.X_OK):
            os.environ["SWASHLOOP_PYTHONS_TRIED"] = os.pathsep.join([*tried, candidate])
            os.execv(candidate, [candidate, *sys.argv])
    packages = " ".join("python3-" + name for name in missing)
    print(f"{tool}: error: no python3 here has {' and '.join(missing)}; install: {packages}", file=sys.stderr)
    sys.exit(2)
