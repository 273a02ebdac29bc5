"""The checksum behind a finished file, after docs/files.md, with nothing of the program: a test that changes a file on
purpose seals it again, so that it is read for what it holds."""
import contextlib
import os
import zlib

try:
    import h5py
except ImportError:
    h5py = None

SIZE = 64


def seal_of(body):
    return f"\nswashloop seal: crc32 {zlib.crc32(body):08x} over {len(body):020d} bytes\n".encode()


def is_sealed(path):
    with open(path, "rb") as file:
        content = file.read()
    return content[-SIZE:] == seal_of(content[:-SIZE])


@contextlib.contextmanager
def changed(path):
    """An h5py file to change; sealed when done."""
    with h5py.File(path, "r+") as file:
        yield file
    with open(path, "rb") as file:
        body = file.read()
    if body[-SIZE:].startswith(b"\nswashloop seal"):
        body = body[:-SIZE]
    with open(path, "wb") as file:
        file.write(body + seal_of(body))


def unseal(path):
    """As a part of a killed run: no seal, and nothing says that there was one."""
    with h5py.File(path, "r+") as file:
        del file.attrs["checksum"]
    assert not is_sealed(path) and os.path.getsize(path) > 0
