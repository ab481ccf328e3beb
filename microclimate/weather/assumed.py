"""Codes of everything a weather series was given beyond what its file said; `report` turns them into sentences.

A code is `key` or `key=value`, one a line in `attrs["assumed"]`. Values never hold a line break.
"""

from collections.abc import Iterable, Mapping

import xarray as xr

CODES: Mapping[str, str] = {
    # time
    "naive_times": "stamps without offset were read in this time zone",
    "date_order": "day first | month first, as the stamps themselves show",
    "unsorted_rows": "rows were put in order of time",
    "duplicate_rows": "so many rows said the same twice and were dropped",
    "coarse_step_h": "the file's longest step [h], brought to one hour",
    "labels": "sunshine is labelled by the start of its interval: amounts and means moved to their end",
    "typical_year": "months of different years, set into this year",
    # repairs and gaps
    "missing": "variable:count, values marked as missing",
    "bridged": "variable:count, steps filled between neighbours at most 3 h apart",
    "gap": "variable:count, steps left unknown because the gap is longer than 3 h",
    "day_beside": "variable:count, steps of gaps of at most 6 h filled from the same hours of the days beside them",
    "unit": "variable:label->taken, a unit that the numbers' size contradicts",
    "accumulated": "variable, a running sum that was differenced",
    "clipped": "variable:count, values a little beyond their range, set to its edge",
    "ignored": "a column or variable of the file that nothing here uses",
    "grid_point": "the file's point nearest to the venue, and its distance [km]",
    "unequal_members": "so many members end early",
    "dead_members": "so many members hold no value at all and were left out",
    # completed
    "dew_point": "from relative_humidity | from daily_minimum temperature",
    "pressure": "from elevation | from sea_level",
    "wind_height": "height of the wind taken [m]",
    "temperature_height": "height of the air temperature taken [m]",
    "direction": "unknown",
    "calm_direction": "so many calm steps carry the direction before them",
    "gust": "times the mean wind",
    "cloud": "from shortwave | from longwave | unknown",
    "shortwave": "from cloud | from direct and diffuse",
    "split": "global into direct and diffuse, by whom",
    "longwave": "clear-sky formula taken with cloud",
    "precipitation": "none_given",
    "snow": "told from rain by wet_bulb",
    "snow_density": "fresh snow [kg m-3] that turned depth into water",
    "precipitation_unit": "what the numbers show against the label",
    # members
    "dressed": "members made from one run with the stated error model",
    "wider": "the error model times this",
    "pooled": "sources put together",
    "not_dressed": "variables that all members share",
    "bias": "local correction of the night's lowest [K]",
    "bias_nights": "how many nights read here it was learned from",
    "offline": "no new forecast could be had: age of the one kept [h]",
    "source_lost": "a source of several that could not be had",
    "nowcast": "evening readings pulled the night's curve by this [K]",
    "typed_by_hand": "one night from a low and a high",
}


def note(dataset: xr.Dataset, codes: Iterable[str]) -> xr.Dataset:
    """The Dataset with more codes, each once, in the order they came."""
    have = [line for line in str(dataset.attrs.get("assumed", "")).split("\n") if line]
    for code in codes:
        key = code.partition("=")[0]
        if key not in CODES:
            raise KeyError(f"{key!r} is not described in weather.assumed")
        if code not in have:
            have.append(code)
    return dataset.assign_attrs(assumed="\n".join(have))


def codes(dataset: xr.Dataset) -> dict[str, list[str]]:
    """The codes of a Dataset as key -> values ('' where a code has none)."""
    found: dict[str, list[str]] = {}
    for line in str(dataset.attrs.get("assumed", "")).split("\n"):
        if line:
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found
