"""The field log for other programs: one long table for spreadsheets, one CF file with a group for each quantity."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from microclimate.fieldlog.kinds import KINDS
from microclimate.fieldlog.store import Store
from microclimate.fieldlog.tables import FORMAT, HISTORY
from microclimate.units import Shown

# quantities that are CF standard names as they stand, with their CF unit
STANDARD = {
    "soil_temperature": "K", "canopy_temperature": "K", "surface_temperature": "K", "air_temperature": "K",
    "dew_point_temperature": "K", "relative_humidity": "1", "wind_speed": "m s-1", "wind_speed_of_gust": "m s-1",
    "wind_from_direction": "degree", "surface_air_pressure": "Pa", "surface_snow_thickness": "m",
    "surface_downwelling_shortwave_flux_in_air": "W m-2", "surface_downwelling_longwave_flux_in_air": "W m-2",
    "surface_upwelling_longwave_flux_in_air": "W m-2", "surface_upward_sensible_heat_flux": "W m-2",
    "surface_upward_latent_heat_flux": "W m-2", "downward_heat_flux_in_soil": "W m-2",
    "volume_fraction_of_condensed_water_in_soil": "1",
}  # fmt: skip
TABLES = tuple(name for name in HISTORY if name not in ("reading", "flag", "sensor"))


def table(store: Store, shown: Shown) -> pd.DataFrame:
    """Every reading, one row each, also those that are flagged, superseded or withdrawn.

    Returns
    -------
    DataFrame
        time (UTC), local_time, sensor, quantity, zone, depth [m, above ground negative], value and unit (SI), shown and
        shown_unit (the reader's), error, flags, source, line, detail.
    """
    key = ["sensor", "time", "source"]
    sensors = pd.DataFrame(store.rows("sensor"), columns=["id", "name", "quantity", "zone", "depth"])
    rows = pd.DataFrame(store.rows("reading"), columns=["sensor", "time", "value", "error", "source", "line", "detail"])
    flags = pd.DataFrame(store.rows("flag"), columns=["sensor", "time", "source", "reason"])
    sources = pd.DataFrame(store.rows("source"), columns=["id", "name"])
    lifted = {(*(row[name] for name in key), row["check_name"]) for row in store.rows("lifted")}
    flags["reason"] = [
        f"{reason} (lifted)" if (*place, reason.split(":")[0]) in lifted else reason
        for *place, reason in flags[[*key, "reason"]].itertuples(index=False)
    ]
    flagged = flags.groupby(key)["reason"].agg("; ".join).rename("flags").reset_index()
    out = rows.merge(flagged, how="left", on=key).merge(
        sensors.rename(columns={"id": "sensor", "name": "sensor_name"}), on="sensor"
    )
    out = out.merge(sources.rename(columns={"id": "source", "name": "file"}), on="source")
    stamps = pd.to_datetime(out["time"].astype("int64"), unit="s", utc=True)
    kinds = out["quantity"].map(lambda name: KINDS[name].dimension)
    reader = out["value"].astype(float).copy()
    unit = out["quantity"].map(lambda name: KINDS[name].unit)
    told = unit.copy()
    for dimension in set(kinds) & {"temperature", "temperature difference", "speed", "pressure", "energy"}:
        rows_of = kinds == dimension
        reader[rows_of] = shown.number(out.loc[rows_of, "value"].astype(float), dimension)
        told[rows_of] = shown.unit(dimension)
    found = pd.DataFrame(
        {
            "time": stamps.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "local_time": stamps.dt.tz_convert(shown.time_zone).dt.strftime("%Y-%m-%d %H:%M:%S%z"),
            "sensor": out["sensor_name"],
            "quantity": out["quantity"],
            "zone": out["zone"],
            "depth": out["depth"],
            "value": out["value"],
            "unit": unit,
            "shown": reader.round(3),
            "shown_unit": told,
            "error": out["error"],
            "flags": out["flags"].astype(object).fillna(""),
            "source": out["file"],
            "line": out["line"],
            "detail": out["detail"],
        }
    )
    return found.sort_values(["quantity", "zone", "depth", "sensor", "time"], kind="stable", ignore_index=True)


def others(store: Store) -> Iterator[tuple[str, pd.DataFrame]]:
    """The other tables that hold anything: notes, forecasts, what was told, advised, done and seen."""
    for name in TABLES:
        rows = store.rows(name)
        if rows:
            frame = pd.DataFrame(rows)
            for column in ("time", "made", "issued", "valid", "start", "finish", "added"):
                if column in frame:
                    stamps = pd.to_datetime(frame[column].astype("int64"), unit="s", utc=True)
                    frame[column] = stamps.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
            yield name, frame


def netcdf(store: Store, path: Path) -> int:
    """Write a CF file of time series, a group for each quantity (contiguous ragged arrays). Gives the count of groups.

    Readings that were superseded or withdrawn are left out; flagged ones are in, marked by `flag`.
    """
    grouped: dict[str, list[tuple[str, str, float, np.ndarray, np.ndarray, np.ndarray]]] = {}
    for sensor in store.sensors():
        times, values = store.values(sensor.number, flagged=True)
        good, _ = store.values(sensor.number)
        grouped.setdefault(sensor.quantity, []).append(
            (sensor.name, sensor.zone, sensor.depth, times, values, ~np.isin(times, good))
        )
    root = xr.Dataset(attrs={"Conventions": "CF-1.11", "format": FORMAT, "featureType": "timeSeries"})
    root.to_netcdf(path, mode="w", engine="h5netcdf")
    for quantity, parts in sorted(grouped.items()):
        unit = STANDARD.get(quantity, KINDS[quantity].unit)
        attrs = {"units": unit, "coordinates": "time", "ancillary_variables": "flag"}
        if quantity in STANDARD:
            attrs["standard_name"] = quantity
        dataset = xr.Dataset(
            {
                quantity: ("obs", np.concatenate([p[4] for p in parts]), attrs),
                "flag": (
                    "obs",
                    np.concatenate([p[5] for p in parts]).astype("int8"),
                    {"flag_values": np.array([0, 1], "int8"), "flag_meanings": "unflagged flagged"},
                ),
                "row_size": ("sensor", [len(p[3]) for p in parts], {"sample_dimension": "obs"}),
                "sensor_name": ("sensor", [p[0] for p in parts], {"cf_role": "timeseries_id"}),
                "zone": ("sensor", [p[1] for p in parts]),
                "depth": (
                    "sensor",
                    [p[2] for p in parts],
                    {"units": "m", "positive": "down", "standard_name": "depth"},
                ),
            },
            coords={
                "time": (
                    "obs",
                    np.concatenate([p[3] for p in parts]).astype("datetime64[s]").astype("int64"),
                    {"units": "seconds since 1970-01-01 00:00:00", "calendar": "standard", "standard_name": "time"},
                )
            },
            attrs={"featureType": "timeSeries"},
        )
        packed = {name: {"zlib": True, "complevel": 1} for name in (quantity, "flag")}
        dataset.to_netcdf(path, mode="a", group=quantity, engine="h5netcdf", encoding=packed)
    return len(grouped)
