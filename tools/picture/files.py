"""Files of the tools: HDF5 read whole, its checksum verified; outputs that never replace what no tool made; work over
files that may be anything in a process of its own."""
import functools
import os
import re
import resource
import signal
import stat
import sys
import tempfile
import zlib

from .errors import BAD_INPUT, BAD_OUTPUT, PlotError

SEAL = re.compile(rb"\nswashloop seal: crc32 ([0-9a-f]{8}) over ([0-9]{20}) bytes\n\Z")
SEAL_SIZE = 64
# What stands in a file of each format that a tool has written.
MARKS = {"png": b"tEXtSoftware\x00swashloop", "svg": b"swashloop", "pdf": b"/Creator (swashloop)",
         "csv": b"# swashloop output: trace"}

# Far beyond what honest files of their size take.
SECONDS, BYTES_A_SECOND = 300, 1000000
BYTES, BYTES_FOR_A_BYTE = 6 << 30, 16


def read_whole(path):
    if not os.path.exists(path):
        raise PlotError(f"{path}: no such file")
    try:
        with open(path, "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise PlotError(f"{path}: no regular file")
            return file.read()
    except OSError as reason:
        if not os.access(path, os.R_OK):
            raise PlotError(f"{path}: may not be read") from reason
        raise PlotError(f"{path}: {reason.strerror}") from reason
    except MemoryError as reason:
        raise PlotError(f"{path}: larger than there is memory", 1) from reason


def check_seal(path, content):
    """True with a seal that holds, False without one."""
    tail = content[-SEAL_SIZE:]
    match = SEAL.search(tail)
    if match:
        if int(match.group(2)) == len(content) - SEAL_SIZE and \
                int(match.group(1), 16) == zlib.crc32(memoryview(content)[:-SEAL_SIZE]):
            return True
    elif b"swashloop seal" not in tail and b"crc32" not in tail:
        return False
    raise PlotError(f"{path}: it is damaged: its bytes are not those that were written (checksum)")


@functools.lru_cache(maxsize=None)
def open_h5(path):
    """The file as it is on the disk now; from here on nothing of it is read again."""
    import h5py

    content = read_whole(path)
    sealed = check_seal(path, content)
    try:
        file = h5py.File(h5py.h5f.open_file_image(content))
        if not sealed and "checksum" in file.attrs:
            raise PlotError(f"{path}: it was cut off, or changed by another program after it was written")
        return file
    except (OSError, RuntimeError, ValueError) as reason:
        raise PlotError(f"{path}: not an HDF5 file, or cut short") from reason


def check_output(path, kind, reads, force):
    """Refuse to lose what is read, or what no tool has made."""
    try:
        found = os.stat(path)
    except FileNotFoundError:
        if os.path.islink(path):
            raise PlotError(f"{path} cannot be written: it is a link to nothing", BAD_OUTPUT) from None
        return
    except OSError as reason:
        raise PlotError(f"{path}: could not be written: {reason.strerror}", BAD_OUTPUT) from reason
    for name in reads:
        if os.path.exists(name) and os.path.samestat(found, os.stat(name)):
            raise PlotError(f"writing {path} would lose {name}, which is read; choose another name")
    if not stat.S_ISREG(found.st_mode):
        raise PlotError(f"{path} cannot be replaced: it is no regular file", BAD_OUTPUT)
    if force or found.st_size == 0:
        return
    if not found.st_mode & 0o222:
        raise PlotError(f"{path} is there and write-protected; --force replaces it")
    with open(path, "rb") as file:
        if MARKS[kind] not in file.read():
            raise PlotError(f"{path} is there and no {kind} file of this tool; --force replaces it")


def write_output(path, kind, reads, force, save):
    """`save(file)` beside the final name first, so that a failure leaves no half file; permissions are kept, a link is
    written through."""
    check_output(path, kind, reads, force)
    path = os.path.realpath(path) if os.path.islink(path) else path
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=os.path.dirname(path) or ".", suffix="." + kind)
        with os.fdopen(handle, "wb") as file:
            save(file)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, stat.S_IMODE(os.stat(path).st_mode) if os.path.exists(path) else 0o666 & ~mask)
        os.replace(temporary, path)
        temporary = None
    except OSError as reason:
        raise PlotError(f"{path}: could not be written: {reason.strerror}", BAD_OUTPUT) from reason
    finally:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)


def _bound(what, most):
    soft, hard = resource.getrlimit(what)
    if soft == resource.RLIM_INFINITY or soft > most:
        resource.setrlimit(what, (most, hard))


def guarded(main, arguments, name):
    """Run `main(arguments)` in a process of its own: a damaged file can bring the file library down, keep it busy for
    ever or have it ask for all memory."""
    sys.stdout.flush()
    size = sum(os.path.getsize(path) for path in arguments if os.path.isfile(path))
    child = os.fork()
    if child == 0:
        status = 1
        try:
            _bound(resource.RLIMIT_CORE, 0)
            _bound(resource.RLIMIT_CPU, SECONDS + size // BYTES_A_SECOND)
            _bound(resource.RLIMIT_AS, BYTES + BYTES_FOR_A_BYTE * size)
            status = main(arguments)
            sys.stdout.flush()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0 if end.code is None else BAD_INPUT
        except MemoryError:
            print(f"{name}: error: out of memory", file=sys.stderr)
        except BaseException:
            sys.excepthook(*sys.exc_info())
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status or 0)
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: os.kill(child, signal.SIGINT))
    while True:
        try:
            _, status = os.waitpid(child, 0)
            break
        except KeyboardInterrupt:
            continue
    if os.WIFEXITED(status):
        return os.WEXITSTATUS(status)
    if os.WTERMSIG(status) == signal.SIGINT:
        return 130
    words = "came to no end" if os.WTERMSIG(status) == signal.SIGXCPU else "gave up"
    print(f"{name}: error: one of the files cannot be read: damaged so badly that the file library {words}",
          file=sys.stderr)
    return BAD_INPUT
