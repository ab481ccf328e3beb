"""The state file: the ground as one run left it, for the next run to begin with. CF NetCDF, `format = 1`."""

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.column import layers
from microclimate.errors import refuse
from microclimate.schema import FORMAT, INITIAL_VARIABLES, seal

OLDEST = 36.0  # [h] an older state is not begun with


def save(states: xr.Dataset, when: np.datetime64, path: Path) -> None:
    """Write the states of one moment; the file appears whole or not at all.

    Parameters
    ----------
    states : Dataset
        `schema.INITIAL_VARIABLES`.
    when : datetime64
        UTC, of the states.
    path : Path
        `.nc`; a file of that name is replaced.
    """
    dataset = states.assign_coords(time=when.astype("datetime64[ns]")).assign_attrs(
        {**states.attrs, "format": FORMAT, "Conventions": "CF-1.11", "title": "state of the ground"}
    )
    encoding = {name: {"zlib": True, "complevel": 4} for name in INITIAL_VARIABLES}
    encoding["time"] = {"units": "seconds since 1970-01-01", "dtype": "int64"}  # type: ignore[dict-item]
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        dataset.to_netcdf(part, engine="h5netcdf", encoding=encoding)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def load(path: Path) -> xr.Dataset:
    """The states of a file, with their `time`.

    Raises
    ------
    InputError
        A file that is none of ours, is newer than this program, or holds what no ground can be.
    """
    try:
        with xr.open_dataset(path, engine="h5netcdf") as file:
            dataset = file.load()
    except (OSError, ValueError, KeyError) as error:
        raise refuse(path.name, f"cannot be read ({error})", "a state file of an earlier run") from None
    form = int(np.asarray(dataset.attrs.get("format", 0)))
    if form > FORMAT:
        raise refuse(path.name, f"format {form}", f"format {FORMAT} or older", "it was written by a newer version")
    if form < 1 or "time" not in dataset.coords:
        raise refuse(path.name, "is no state file", "a state file of an earlier run")
    return seal(dataset, INITIAL_VARIABLES, path.name)


def moment(states: xr.Dataset) -> np.datetime64:
    """When saved states were (UTC)."""
    return np.datetime64(int(states["time"].values.astype("datetime64[ns]").astype("int64")), "ns")


def age(states: xr.Dataset, when: np.datetime64) -> float:
    """Age of saved states [h] at `when` (UTC); negative when they are of a later moment."""
    return float((when - moment(states)) / np.timedelta64(1, "h"))


def matched(saved: xr.Dataset, patches: xr.Dataset, cuts: Sequence[layers.Grid]) -> xr.Dataset | None:
    """Saved states on the patches and layers of a run, or None where they are of another field.

    A patch takes the saved patch of its zone and part, or the first of its zone; other layers are read off in between.
    """
    have = list(zip(saved["zone"].values, _parts(saved), strict=True))
    rows = []
    for zone, part in zip(patches["zone"].values, _parts(patches), strict=True):
        same = [row for row, key in enumerate(have) if key == (zone, part)]
        like = same or [row for row, key in enumerate(have) if key[0] == zone]
        if not like:
            return None
        rows.append(like[0])
    chosen = saved.isel(patch=rows)
    depth = np.stack([cut.depth for cut in cuts])
    if chosen["depth"].shape == depth.shape and np.allclose(chosen["depth"], depth, atol=1e-6):
        return chosen
    names = [name for name, var in INITIAL_VARIABLES.items() if "layer" in var.dims]
    laid = {
        name: (
            ("realization", "patch", "layer"),
            np.stack(
                [
                    [np.interp(depth[p], chosen["depth"].values[p], row) for row in chosen[name].values[:, p]]
                    for p in range(len(rows))
                ],
                axis=1,
            ),
        )
        for name in names
    }
    rest = chosen.drop_vars([*names, "depth", "thickness"], errors="ignore")
    return rest.assign(laid).assign_coords(depth=(("patch", "layer"), depth))


def _parts(dataset: xr.Dataset) -> list[str]:
    if "part" not in dataset.coords:
        return [""] * dataset.sizes["patch"]
    return [str(part) for part in dataset["part"].values]
