"""CF NetCDF written straight through h5py.

xarray's own way through h5netcdf looks up every dimension anew for each variable: 4 000 look-ups and half a second for
the 73 variables of a night. What stands in the file is the same, and xarray reads it back so.
"""

from pathlib import Path

import h5py
import numpy as np
import xarray as xr
from xarray.conventions import cf_encoder, encode_dataset_coordinates

PACKED = {"compression": "gzip", "compression_opts": 1, "shuffle": True, "fillvalue": np.nan}
BARE = "This is a netCDF dimension but not a netCDF variable."  # the NetCDF library's mark, then the size in 10 places


def write(path: Path, groups: dict[str, xr.Dataset]) -> None:
    """Write Datasets into the groups of one file; "" is its root."""
    with h5py.File(path, "w", track_order=True) as file:
        numbers = iter(range(sum(len(dataset.dims) for dataset in groups.values())))
        for name, dataset in groups.items():
            group = file.create_group(name, track_order=True) if name else file
            _fill(group, dataset, {str(dim): next(numbers) for dim in dataset.dims})


def _fill(group: h5py.Group, dataset: xr.Dataset, number: dict[str, int]) -> None:
    """One Dataset; `number` of each of its dimensions, counted through the file."""
    variables, attributes = cf_encoder(*encode_dataset_coordinates(dataset))
    group.attrs.update(attributes)
    for dim in number:
        if dim in variables:
            _variable(group, dim, variables[dim]).make_scale(dim)
        else:
            group.create_dataset(dim, shape=(dataset.sizes[dim],), dtype=">f4").make_scale(
                f"{BARE}{dataset.sizes[dim]:10d}"
            )
        group[dim].attrs["_Netcdf4Dimid"] = np.int32(number[dim])
    for name in variables.keys() - number.keys():
        made = _variable(group, str(name), variables[name])
        for axis, dim in enumerate(variables[name].dims):
            made.dims[axis].attach_scale(group[str(dim)])


def _variable(group: h5py.Group, name: str, variable: xr.Variable) -> h5py.Dataset:
    values = np.asarray(variable.values)
    if values.dtype.kind in "OU":
        made = group.create_dataset(name, data=values.astype(object), dtype=h5py.string_dtype())
    elif values.dtype.kind == "f" and values.ndim and name not in variable.dims:
        made = group.create_dataset(name, data=values, **PACKED)
        made.attrs["_FillValue"] = values.dtype.type(np.nan)
    else:
        made = group.create_dataset(name, data=values)
    made.attrs.update(variable.attrs)
    return made
