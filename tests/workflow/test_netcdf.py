"""The writer of results against xarray's own, by what stands in the file."""

from pathlib import Path

import h5py
import numpy as np
import xarray as xr

from microclimate.workflow import netcdf


def _night() -> xr.Dataset:
    """A bit of all that results hold: floats and times with gaps, whole numbers, flags, words, bare dimensions."""
    times = np.datetime64("2026-01-27T17:05", "ns") + np.arange(3) * np.timedelta64(300, "s")
    gappy = np.array([[280.0, np.nan, 1e-9], [1.0, 2.0, 3.0]])
    return xr.Dataset(
        {
            "canopy_temperature": (("patch", "time"), gappy, {"units": "K", "long_name": "Temperatur · °"}),
            "single": (("patch", "time"), gappy.astype(np.float32)),
            "state": ("patch", np.array([3, 8], np.int8), {"flag_values": np.arange(2, dtype=np.int8)}),
            "covered": ("patch", np.array([True, False])),
            "onset_time": ("patch", np.array([times[1], np.datetime64("NaT", "ns")])),
            "share": ((), 0.5),
        },
        coords={"time": times, "zone": ("patch", ["A1", "East flank ö"]), "depth": ("layer", [0.01, 0.05])},
        attrs={"step": 300.0, "format": 1, "assumed": "a=b\nc", "Conventions": "CF-1.11"},
    )


def test_a_file_holds_what_xarray_would_write(tmp_path: Path) -> None:
    night = _night()
    groups = {"": night, "risk": night[["state"]].isel(patch=slice(1)), "outcome": night.drop_vars("time")}
    netcdf.write(tmp_path / "ours.nc", groups)
    for name, dataset in groups.items():
        kept = {str(n): {"_FillValue": np.nan} for n, v in dataset.data_vars.items() if v.dtype.kind == "f"}
        theirs = tmp_path / "theirs.nc"
        dataset.to_netcdf(theirs, mode="a" if name else "w", group=name or None, engine="h5netcdf", encoding=kept)
        for decoded in (False, True):
            found, wanted = (
                xr.load_dataset(path, group=name or None, engine="h5netcdf", decode_cf=decoded)
                for path in (tmp_path / "ours.nc", theirs)
            )
            xr.testing.assert_identical(found, wanted)
            assert {n: v.dtype for n, v in found.variables.items()} == {n: v.dtype for n, v in wanted.variables.items()}


def test_dimensions_are_those_of_the_netcdf_library(tmp_path: Path) -> None:
    """NetCDF-4 file format: a scale for each dimension, numbered through the file, bare ones marked."""
    netcdf.write(tmp_path / "ours.nc", {"": _night(), "risk": _night()})
    with h5py.File(tmp_path / "ours.nc") as file:
        numbers = [int(g[d].attrs["_Netcdf4Dimid"]) for g in (file, file["risk"]) for d in ("patch", "time", "layer")]
        assert sorted(numbers) == list(range(6))
        for name in ("patch", "time", "layer"):
            assert h5py.h5ds.is_scale(file[name].id)
        mark = "This is a netCDF dimension but not a netCDF variable.         2"
        assert file["patch"].attrs["NAME"] == mark.encode()
        assert file["canopy_temperature"].dims[1][0] == file["time"]
        assert file["canopy_temperature"].compression == "gzip"
