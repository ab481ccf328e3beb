"""What is not known of the stands, as it moves light: the same days with field and stands a little otherwise."""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from microclimate.exposure import daylight
from microclimate.exposure.bowl import bowl as build_bowl
from microclimate.exposure.daylight import Open
from microclimate.venue.load import Venue
from microclimate.venue.unknowns import ranges
from microclimate.workflow.zones_days import Days

UNKNOWN = ("bearing", "stand height", "albedo")  # of `venue.unknowns`, those that light hangs on
TOLD = ("light_integral", "sunlit_hours")


def unsure(venue: Venue, skies: Sequence[Open], days: Days) -> xr.Dataset:
    """Half of what each of `UNKNOWN` moves the mean day of each cell from one of its ends to the other, with its sign.

    Parameters
    ----------
    venue : Venue
    skies : sequence of Open
        Of the days, one after the other.
    days : Days

    Returns
    -------
    Dataset (unknown, cell)
        `light_integral` [mol m-2], `sunlit_hours` [h]; no unknown where there are no stands.
    """
    known = [r for r in ranges(venue) if r.key in UNKNOWN] if venue.bowl.stands or venue.bowl.meshes else []
    rows: list[dict[str, np.ndarray]] = []
    for one in known:
        low, high = (_sums(end, skies, days) for end in (one.low, one.high))
        rows.append({name: 0.5 * (high[name] - low[name]) for name in TOLD})
    if not rows:
        none = _sums(venue, skies, days)
        return xr.Dataset({name: (("unknown", "cell"), np.zeros((0, len(none[name])))) for name in TOLD})
    return xr.Dataset(
        {name: (("unknown", "cell"), np.stack([row[name] for row in rows])) for name in TOLD},
        coords={"unknown": [one.key for one in known]},
    )


def _sums(venue: Venue, skies: Sequence[Open], days: Days) -> dict[str, np.ndarray]:
    """The mean day of each cell."""
    seen = build_bowl(venue)
    spans = [daylight.span(seen, sky) for sky in skies]
    return {name: np.sum([span[name].values for span in spans], axis=0) / days.count for name in TOLD}


def by_zone(unsure: xr.Dataset, cells: xr.Dataset, names: Sequence[str]) -> xr.Dataset:
    """Each zone's mean of its cells (unknown, zone)."""
    zone = cells["zone"].values.astype(int)
    found = {}
    for name in TOLD:
        values = unsure[name].values
        means = [values[:, zone == number].mean(axis=1) for number in range(len(names))]
        found[name] = (("unknown", "zone"), np.stack(means, axis=1))
    return xr.Dataset(found, coords={"zone": list(names)})
