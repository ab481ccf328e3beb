"""The files of a replay, in the reader's units; each appears whole or not at all."""

import os
from pathlib import Path

import numpy as np
import pandas as pd

from microclimate.learn import figures
from microclimate.learn.replay import Replay
from microclimate.report import canvas
from microclimate.units import Shown

_DIFFERENCES = ("bias", "mae", "rmse", "rmse_of_air")
_TITLE = "Measured and modelled"
_WORDS = "Left: the coldest week, dots measured, lines modelled. Right: lowest surface temperature of each night."


def write(result: Replay, folder: Path, shown: Shown) -> list[Path]:
    """Write scores.csv, nights.csv, freezes.csv, traces.csv and replay.svg.

    Returns
    -------
    list of Path
        What was written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    drawing = canvas.svg(figures.replay(result.traces, result.nights, shown), "replay", _TITLE, _WORDS)
    texts = {
        "scores.csv": _csv(scores(result.scores, shown)),
        "nights.csv": _csv(_nights(result.nights, shown)),
        "freezes.csv": _csv(_unlabelled(result.freezes)),
        "traces.csv": _csv(_traces(result.traces, shown)),
        "replay.svg": drawing,
    }
    return [_whole(folder / name, text) for name, text in texts.items()]


def scores(table: pd.DataFrame, shown: Shown) -> pd.DataFrame:
    """Scores in the reader's units, which stand in the columns `unit` and `depth_unit`."""
    out = table.copy()
    warm = out["variable"].str.contains("temperature")
    factor = float(shown.number(1.0, "temperature difference") - shown.number(0.0, "temperature difference"))
    for name in _DIFFERENCES:
        out.loc[warm, name] = out.loc[warm, name] * factor
    units = {True: shown.unit("temperature difference").removeprefix("delta_"), False: "W/m2"}
    out["unit"] = [units[bool(w)] for w in warm]
    out.loc[out["variable"] == "surface_snow_thickness", "unit"] = "m"
    metric = shown.system == "metric"
    out["depth"] = (out["depth"] if metric else out["depth"] / 0.0254).round(4)
    out["depth_unit"] = np.where(out["depth"].notna(), "m" if metric else "in", "")
    return out.round(dict.fromkeys(_DIFFERENCES, 3) | {"corr": 4})


def _nights(table: pd.DataFrame, shown: Shown) -> pd.DataFrame:
    unit = shown.unit("temperature")
    out = _unlabelled(table.reset_index())
    for name in ("observed", "modelled", "air"):
        if name in out:
            out[name] = np.round(shown.number(out[name].astype(float), "temperature"), 2)
    for name in ("onset_observed", "onset_modelled"):
        if name in out:
            out[name] = pd.to_datetime(out[name]).dt.tz_localize("UTC").dt.tz_convert(shown.time_zone)
    if "night" in out:
        out["night"] = pd.to_datetime(out["night"]).dt.date
    return out.rename(columns={name: f"{name} [{unit}]" for name in ("observed", "modelled", "air")})


def _unlabelled(table: pd.DataFrame) -> pd.DataFrame:
    """Names of sensors without the unit of the file they came from."""
    if "sensor" not in table:
        return table
    return table.assign(sensor=table["sensor"].str.replace(r"\s*\[[^\]]*\]", "", regex=True))


def _traces(pairs: pd.DataFrame, shown: Shown) -> pd.DataFrame:
    out = pd.DataFrame(
        index=pd.DatetimeIndex(pairs.index).tz_localize("UTC").strftime("%Y-%m-%dT%H:%MZ").rename("time")
    )
    for name in pairs:
        label = str(name)
        values = pairs[name].to_numpy(dtype=float)
        if "temperature" in label:
            place, _, role = label.rpartition(" ") if label.endswith(("measured", "modelled")) else (label, "", "")
            head = f"{place.partition('[')[0].strip()} {role}".strip()
            out[f"{head} [{shown.unit('temperature')}]"] = np.round(shown.number(values, "temperature"), 3)
        else:
            out[label] = np.round(values, 3)
    return out.reset_index()


def _csv(table: pd.DataFrame) -> str:
    return table.to_csv(index=False, lineterminator="\n")


def _whole(path: Path, text: str) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path
