"""A run file whose texts are all one hostile text: title, messages, limits, long names, names of signals.

usage: _markup.py RUN.h5 OUT.h5 TEXT
"""
import os
import shutil
import sys

import h5py

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "cli"))
import _seal  # noqa: E402

shutil.copyfile(sys.argv[1], sys.argv[2])
text = sys.argv[3]
with _seal.changed(sys.argv[2]) as file:
    for name in ["title", "history", "source", "case", "status_message"]:
        file.attrs[name] = text
    for path in ["events/message", "events/name", "limits/sentence", "solver/state_name"]:
        file[path][:] = [text] * len(file[path])
    for item in list(file.values()) + list(file["measures"].values()) + list(file["ledger"].values()):
        if isinstance(item, h5py.Dataset) and "long_name" in item.attrs:
            item.attrs["long_name"] = text
    file.move("line_pressure_difference", text.replace("/", "|"))
