"""The words of `replay`: what was run, and its scores as a table 80 columns wide."""

import textwrap
from collections.abc import Mapping

import pandas as pd

from microclimate.report.words import glued
from microclimate.report.words_reasons import assumed
from microclimate.units import Shown

WIDTH = 80
_HEADS = ("what", "subset", "n", "bias", "mae", "rmse", "corr")
_LEFT = 2  # columns of text, the others are numbers
_SHORT = {
    "surface_temperature_night_minimum": "surface, night minimum",
    "surface_temperature": "surface temperature",
    "canopy_temperature": "canopy temperature",
    "soil_temperature": "soil",
    "surface_snow_thickness": "snow depth",
    "surface_upward_sensible_heat_flux": "heat to the air",
    "surface_upward_latent_heat_flux": "latent heat",
    "downward_heat_flux_in_soil": "heat into the soil",
}


def replayed(
    venue: str,
    scores: pd.DataFrame,
    freezes: pd.DataFrame,
    notes: Mapping[str, object],
    shown: Shown,
    written: Mapping[str, str],
) -> str:
    """The whole answer of `replay`.

    Parameters
    ----------
    venue : str
    scores : DataFrame
        In the reader's units: variable, depth, depth_unit, zone, subset, zero_checked, n, bias, mae, rmse, corr, unit.
    freezes : DataFrame
        Yes/no tables, as `learn.replay.Replay` has them.
    notes : mapping
        As `learn.replay.Replay` has them.
    written : mapping
        File names and what they hold.
    """
    zones = scores["zone"].nunique() > 1
    rows = [
        _row(row, zones)
        for row in scores.to_dict("records")
        if int(row["n"]) > 0 and not str(row["subset"]).startswith("hour") and not _again(row, scores)
    ]
    lines = [f"{venue}: modelled less measured", ""]
    lines += _table(rows) if rows else ["No reading falls into the time that was run."]
    lines += _freezes(freezes)
    for sentence in _sentences(notes, scores):
        lines += ["", *textwrap.wrap(glued(sentence), WIDTH, break_on_hyphens=False)]
    said = assumed(str(notes["assumed"]).split("\n"), shown)
    if said:
        lines += ["", "Assumed:"]
        for sentence in said:
            lines += textwrap.wrap(
                glued(sentence), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False
            )
    if written:
        lines += ["", *(f"{name}: {what}" for name, what in written.items())]
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ") + "\n"


FILES = {
    "scores.csv": "this table",
    "nights.csv": "lowest surface temperature of each night, measured and modelled",
    "freezes.csv": "freeze, yes or no: hits, misses, false alarms",
    "traces.csv": "measured and modelled series",
    "replay.svg": "figure of the coldest week and of the night minima",
}


def _again(row: Mapping[object, object], scores: pd.DataFrame) -> bool:
    """A row of snow-free time where no snow lay says the same as the row of all."""
    if row["subset"] != "snow-free":
        return False
    key = ("variable", "depth", "zone", "zero_checked", "n")
    wanted = tuple(str(row[name]) for name in key)
    others = scores[scores["subset"].isin(("all", "night"))].to_dict("records")
    return any(tuple(str(other[name]) for name in key) == wanted for other in others)


def _freezes(freezes: pd.DataFrame) -> list[str]:
    """Nights below freezing, yes or no, one line for each sensor and way of telling."""
    if freezes.empty:
        return []
    lines = ["", "Below freezing at night, yes or no:"]
    for row in freezes[(freezes["nights"] == "all") & (freezes["n"] > 0)].to_dict("records"):
        checked = ", zeroed" if row["zero_checked"] == "yes" else ""
        sensor = str(row["sensor"]).partition("[")[0].strip().replace("_", " ")
        told = {"model": "", "air": ", taking the air for it"}.get(str(row["forecast"]), f", with {row['forecast']}")
        text = (
            f"{sensor}{checked}{told}: {row['n']:.0f} nights, {row['hits']:.0f} told and came, "
            f"{row['misses']:.0f} came untold, {row['false_alarms']:.0f} told and did not come, "
            f"{row['correct_negatives']:.0f} neither"
        )
        lines += textwrap.wrap(glued(text), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    return lines


def _row(row: Mapping[object, object], zones: bool) -> tuple[str, ...]:
    what = _SHORT.get(str(row["variable"]), str(row["variable"]).replace("_", " "))
    if zones and row["zone"]:
        what = f"{row['zone']}: {what}"
    depth = float(str(row["depth"]))
    if depth == depth:
        what += f" {depth:g} {row['depth_unit']}"
    if row["zero_checked"] == "yes":
        what += ", zeroed"
    numbers = [f"{float(str(row[name])):.2f}".replace("-", "\u2212") for name in ("bias", "mae", "rmse")]
    corr = float(str(row["corr"]))
    return (
        f"{what} [{_symbol(str(row['unit']))}]",
        str(row["subset"]),
        str(row["n"]),
        *numbers,
        f"{corr:.2f}".replace("-", "\u2212") if corr == corr else "?",
    )


def _symbol(unit: str) -> str:
    return {"degF": "°F", "W/m2": "W/m²"}.get(unit, unit)


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in (_HEADS, *rows)) for k in range(len(_HEADS))]

    def line(row: tuple[str, ...]) -> str:
        cells = [
            cell.ljust(width) if k < _LEFT else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return " ".join(cells)

    return [line(_HEADS), " ".join("-" * width for width in widths), *map(line, rows)]


def _sentences(notes: Mapping[str, object], scores: pd.DataFrame) -> list[str]:
    stretches = int(str(notes["stretches"]))
    found = [
        f"Run in {stretches} {'stretch' if stretches == 1 else 'stretches'} without gaps; the first "
        f"{float(str(notes['settled_days'])):g} d of each (a tenth of a short one) are not scored. Gaps up to 3 h were "
        f"bridged ({notes['bridged']} values); {notes['left_out']} steps lie in stretches too short to run."
    ]
    found.append(
        "Heat from the sky was measured."
        if notes["longwave_measured"]
        else "Heat from the sky was not measured: it was worked out, see below."
    )
    if notes["filled"]:
        gaps = ", ".join(_filled(part) for part in str(notes["filled"]).split("\n"))
        found.append(f"Where the station's file has gaps, a substitute stands: {gaps}.")
    if notes["dropped"]:
        found.append(f"Readings outside the range of their kind, left out: {notes['dropped']}.")
    if (scores["zero_checked"] == "yes").any():
        found.append(
            f"Rows marked 'zeroed' have the sensor's own offset taken off, as {notes['zero_intervals']} dark, cloudy, "
            "windy intervals show it."
        )
    return found


_SUBSTITUTES = {
    "surface_downwelling_longwave_flux_in_air": "heat from the sky by formula",
    "surface_air_pressure": "mean pressure",
    "precipitation_flux": "no rain",
    "snowfall_flux": "no snow",
}


def _filled(code: str) -> str:
    name, _, count = code.partition("=")
    return f"{_SUBSTITUTES.get(name, name.replace('_', ' '))} ({count} steps)"
