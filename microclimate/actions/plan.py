"""Plans: what is done to each zone, and when, as a Dataset the simulation reads."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.constants import ZERO_CELSIUS
from microclimate.schema import PLAN_VARIABLES, seal
from microclimate.venue.load import Venue

SLOT = np.timedelta64(1800, "s")  # finer hours are below the noise of 31 members
_SECONDS = 1800.0
SUPPLY = ZERO_CELSIUS + 35.0  # [K] where the venue names none: the power alone then decides

# what a plan holds where nothing is done; temperatures are inert while nothing is switched on
_NOTHING = {
    "cover": 0.0,
    "cover_raised": 0.0,
    "warm_air_flow": 0.0,
    "warm_air_temperature": ZERO_CELSIUS + 20.0,
    "heating_allowed": 0.0,
    "set_point": ZERO_CELSIUS + 4.0,
    "supply_temperature": SUPPLY,
    "skirts_closed": 0.0,
    "snow_removed": 0.0,
}


def nothing(venue: Venue, start: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The plan that does nothing, from `start` to `end` (UTC).

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`, one plan, every zone, one interval; coordinate `time` is its end and
        `time_bnds` its bounds.
    """
    return constant(venue, start, end, "nothing", {})


def constant(
    venue: Venue, start: np.datetime64, end: np.datetime64, name: str, settings: dict[str, NDArray[np.float64] | float]
) -> xr.Dataset:
    """A plan that holds the same settings from `start` to `end` (UTC) in every zone, or one value per zone.

    Parameters
    ----------
    settings : dict
        Values of `schema.PLAN_VARIABLES`, scalar or shape (zone,); what is not named is as in `nothing`.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`: (plan 1, zone, time 1).
    """
    zones = [zone.name for zone in venue.field.zones]
    values = {**_NOTHING, **settings}
    data = {
        key: (("plan", "zone", "time"), np.broadcast_to(np.asarray(value, dtype=float), (len(zones),))[None, :, None])
        for key, value in values.items()
    }
    bounds = np.array([[start, end]], dtype="datetime64[ns]")
    dataset = xr.Dataset(
        {**data, "time_bnds": (("time", "bnds"), bounds)},
        coords={"plan": [name], "zone": zones, "time": bounds[:, 1]},
    )
    return seal(dataset, PLAN_VARIABLES, "plan")


@dataclass(frozen=True)
class Choice:
    """What the search moves: one spell of one cover, and heat from an hour on.

    Times are slots: the half-hour of that number after the start of the run. Heat runs to the end of the last window.
    """

    cover: int = 0  # 0 none, else 1 + number of the cover in the venue
    on: int = 0  # it lies from the start of this slot
    off: int = 0  # and is lifted from the start of this one on
    heat: int | None = None  # heating may run from the start of this slot
    boost: float = 0.0  # [K] above each circuit's own set point, held below its ceiling

    @property
    def kind(self) -> tuple[int, bool]:
        """Which cover, and whether there is heat: plans of one kind differ in hours only."""
        return self.cover, self.heat is not None

    def without_cover(self) -> "Choice":
        """The same heat, no cover."""
        return Choice(heat=self.heat, boost=self.boost)


def slots(start: np.datetime64, end: np.datetime64) -> NDArray[np.datetime64]:
    """Ends of the slots from `start` until `end` is reached, datetime64[ns]."""
    count = int(np.ceil((end - start) / SLOT))
    return (start + np.arange(1, count + 1) * SLOT).astype("datetime64[ns]")


def laid(
    venue: Venue,
    ends: NDArray[np.datetime64],
    choices: Sequence[Choice],
    stop: int,
    probe: NDArray[np.float64] | None = None,
) -> xr.Dataset:
    """Choices side by side on the `plan` dimension.

    Parameters
    ----------
    ends : array, shape (slot,)
        As `slots` gives them.
    choices : sequence of Choice
    stop : int
        Heat ends before this slot.
    probe : array, shape (zone,), optional
        Temperature at each zone's probe at the start [K], from which a circuit with a ramp rises.

    Returns
    -------
    Dataset
        Sealed by `schema.PLAN_VARIABLES`: (plan, zone, time).
    """
    zones = venue.field.zones
    shape = (len(choices), len(zones), ends.size)
    values = {name: np.full(shape, value) for name, value in _NOTHING.items()}
    for number, choice in enumerate(choices):
        for place, zone in enumerate(zones):
            if choice.cover and covers(venue, choice.cover, zone.name):
                values["cover"][number, place, choice.on : choice.off] = choice.cover
            if choice.heat is None or zone.circuit is None:
                continue
            circuit = venue.equipment.circuit(zone.circuit)
            first = choice.heat + int(np.ceil(circuit.lag / _SECONDS))
            hours = np.arange(max(stop - first, 0)) * _SECONDS
            wanted = np.full(hours.shape, min(circuit.set_point + choice.boost, circuit.ceiling))
            if circuit.ramp is not None and probe is not None:
                base = min(max(probe[place], circuit.set_point), circuit.ceiling)
                wanted = np.minimum(wanted, base + circuit.ramp * hours / 86400.0)
            values["heating_allowed"][number, place, first:stop] = 1.0
            values["set_point"][number, place, first:stop] = wanted
            values["supply_temperature"][number, place, first:stop] = circuit.supply_temperature or SUPPLY
    data = {name: (("plan", "zone", "time"), array) for name, array in values.items()}
    coords = {"plan": np.arange(len(choices)), "zone": [zone.name for zone in zones], "time": ends}
    return seal(xr.Dataset(data, coords=coords), PLAN_VARIABLES, "plan")


def covers(venue: Venue, cover: int, zone: str) -> bool:
    """Whether a cover (1 + its number) is for a zone; one that names no zones is for all."""
    named = venue.equipment.covers[cover - 1].zones
    return not named or zone in named
