"""The hardest file to draw: a run of 60 s at 1 kHz whose histories are all noise, with one spike of one sample in each.

usage: _noise.py RUN.h5 OUT.h5
"""
import os
import shutil
import sys

import h5py
import numpy

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "cli"))
import _seal  # noqa: E402

SAMPLES = 60001
shutil.copyfile(sys.argv[1], sys.argv[2])
random = numpy.random.default_rng(7)
with _seal.changed(sys.argv[2]) as file:
    names = [name for name, item in file.items() if isinstance(item, h5py.Dataset) and name != "time"]
    assert len(names) >= 30
    file["time"].resize((SAMPLES,))
    file["time"][:] = numpy.arange(SAMPLES) * 1e-3
    for number, name in enumerate(names):
        values = random.standard_normal(SAMPLES)
        values[12345 + 100 * number] = 40.0 + number
        file[name].resize((SAMPLES,))
        file[name][:] = values
    del file["events"], file["limits"], file["measures"]
    file.attrs["status"] = "running"  # as of a run that was killed, which has no marked points
