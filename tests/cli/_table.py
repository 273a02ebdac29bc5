"""Reading the tables of sweeps, for tests that compare them bit by bit."""
import h5py


def columns(path):
    """name: bytes of the numbers, or list of the texts; in the order of the file. Columns of groups, too."""
    found = {}

    def take(name, dataset):
        if isinstance(dataset, h5py.Dataset):
            text = h5py.check_string_dtype(dataset.dtype)
            found[name] = list(dataset.asstr()[()]) if text else dataset[()].tobytes()
    with h5py.File(path, "r") as file:
        file.visititems(take)
    return found


def attributes(path):
    with h5py.File(path, "r") as file:
        return dict(file.attrs)


def differences(path, other):
    """Names of the columns in which two tables differ."""
    first, second = columns(path), columns(other)
    return sorted(name for name in first.keys() | second.keys() if first.get(name) != second.get(name))
