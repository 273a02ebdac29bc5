"""Makes run files for the tests of the plot tool: the layout of the real ones, numbers that a test knows."""
import h5py
import numpy

TEXT = h5py.string_dtype("utf-8")
UNITS = {  # trade unit: SI unit
    "bar": "Pa", "rpm": "rad/s", "%": "1", "km/h": "m/s", "L/min": "m3/s", "degC": "K", "s": "s", "m": "m", "kJ": "J",
    "1": "1",
}


def describe(dataset, trade_unit, long_name):
    dataset.attrs["units"] = UNITS[trade_unit]
    dataset.attrs["long_name"] = long_name
    dataset.attrs["trade_units"] = trade_unit
    if trade_unit == "bar":
        dataset.attrs["pressure_reference"] = "gauge"


def write(path, time, signals, measures=(), events=(), limits=(), title="A made-up run", status="complete"):
    """`signals` and `measures`: (name, trade unit, SI values); `events`: (time, name, message);
    `limits`: (sentence, result, level, worst, worst_time, first_time)."""
    with h5py.File(path, "w", track_order=True) as file:
        file.attrs.update({"title": title, "Conventions": "CF-1.8", "history": "made up", "source": "swashloop test",
                           "status": status, "status_message": "", "case": ""})
        file["time"] = time
        file["time"].make_scale("time")
        describe(file["time"], "s", "time since the start of the run")
        for name, unit, values in signals:
            file[name] = values
            file[name].dims[0].attach_scale(file["time"])
            describe(file[name], unit, name.replace("_", " "))
        group = file.create_group("measures")
        for name, unit, value in measures:
            group[name] = float(value)
            describe(group[name], unit, name.replace("_", " "))
        columns(file.create_group("events"), ("time", "name", "message"), events)
        columns(file.create_group("limits"), ("sentence", "result", "level", "worst", "worst_time", "first_time"), limits)


def columns(group, names, rows):
    for k, name in enumerate(names):
        values = [row[k] for row in rows]
        if name in ("name", "message", "sentence", "result"):
            group.create_dataset(name, data=numpy.array(values, dtype=object), shape=(len(values),), dtype=TEXT)
        else:
            group.create_dataset(name, data=numpy.array(values, dtype=float), shape=(len(values),))
