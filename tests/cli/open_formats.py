"""The run file through readers that are not ours: h5py, xarray with both engines, netCDF4, ncdump."""
import shutil
import subprocess
import unittest

from _program import DOWNHILL, Folder, need_program

GROUPS = ("measures", "events", "ledger", "ledger/from_release", "limits", "parameters", "solver")


def module(name):
    try:
        return __import__(name)
    except ImportError:
        return None


class OpenFormats(Folder):
    def setUp(self):
        super().setUp()
        self.expect(0, "run", DOWNHILL, "-o", "run.h5", "--set", "simulation.end_time=6 s", "--quiet")
        self.file = self.path("run.h5")

    def test_h5py(self):
        h5py = module("h5py") or self.skipTest("no h5py")
        with h5py.File(self.file, "r") as run:
            self.assertEqual(run.attrs["status"], "complete")
            self.assertEqual(run.attrs["Conventions"], "CF-1.8")
            self.assertIn("pump", run.attrs["case"])
            self.assertEqual(run["line_a_pressure"].attrs["units"], "Pa")
            self.assertEqual(run["line_a_pressure"].attrs["pressure_reference"], "gauge")
            self.assertEqual(run["line_a_pressure"].dims[0][0], run["time"])
            self.assertEqual(run["time"][0], 0.0)
            self.assertEqual(run["time"][-1], 6.0)
            for name, dataset in run["measures"].items():
                self.assertEqual(dataset.shape, (), name)
                self.assertEqual(dataset[()] != dataset[()], "reason" in dataset.attrs, name)

    def test_xarray(self):
        xarray = module("xarray") or self.skipTest("no xarray")
        for engine, needs in (("netcdf4", "netCDF4"), ("h5netcdf", "h5netcdf")):
            if module(needs) is None:
                continue
            with xarray.open_dataset(self.file, engine=engine) as run:
                self.assertEqual(run.line_a_pressure.dims, ("time",))
                self.assertEqual(float(run.line_a_pressure.sel(time=6.0)), float(run.line_a_pressure[-1]))
            for group in GROUPS:
                with xarray.open_dataset(self.file, engine=engine, group=group) as part:
                    part.load()

    def test_netcdf_may_add_to_it(self):
        netcdf = module("netCDF4") or self.skipTest("no netCDF4")
        with netcdf.Dataset(self.file, "a") as run:
            run.createVariable("added", "f8", ("time",))[:] = 1.0
        with netcdf.Dataset(self.file) as run:
            self.assertEqual(len(run["added"]), len(run["time"]))

    def test_ncdump(self):
        if shutil.which("ncdump") is None:
            self.skipTest("no ncdump")
        text = subprocess.run(["ncdump", "-h", self.file], stdout=subprocess.PIPE, text=True, check=True).stdout
        self.assertIn("time = UNLIMITED", text)
        self.assertNotIn("phony", text)
        for group in ("measures", "events", "ledger", "limits", "parameters", "solver"):
            self.assertIn(f"group: {group} {{", text)


if __name__ == "__main__":
    need_program()
    unittest.main()
