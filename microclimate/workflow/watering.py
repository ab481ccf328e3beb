"""`--water`: the night once more with water put on the field at an hour, beside the night without."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import xarray as xr

from microclimate import units
from microclimate.actions import plan as plans
from microclimate.errors import refuse
from microclimate.exposure.force import Forcing
from microclimate.report.watered import Seen, Watered
from microclimate.risk import outlook
from microclimate.schema import Event, SurfaceState
from microclimate.simulate import run, watering
from microclimate.venue.events import utc
from microclimate.venue.load import Venue

MOST = 0.05  # [m] ours: more is a flood
TOP = 0.05  # [m] in which ice is told
AFTER = timedelta(hours=1)  # a window that ends sooner after it is not told of
WANTED = '"4 mm, 15:00" or "4 mm, 2026-01-27T15:00, 8 degC"'


@dataclass(frozen=True)
class Asked:
    """Water to try."""

    amount: float  # [m]
    moment: datetime  # UTC
    temperature: float | None  # [K]


def asked(text: str, evening: date, time_zone: str, begin: datetime, spans: Sequence[Event]) -> Asked:
    """What is asked for, held against the run that is to come.

    Parameters
    ----------
    text : str
        "4 mm, 15:00", with a date or a temperature if wanted.
    evening : date
        On which an hour without a date lies.
    begin : datetime
        Of the run, UTC.
    spans : sequence of Event
        Its windows.

    Raises
    ------
    InputError
        When the text is none of that, or the moment lies outside the run, or no window ends after it.
    """
    parts = [part.strip() for part in text.split(",")]
    try:
        if not 2 <= len(parts) <= 3:
            raise ValueError("an amount and an hour are wanted")
        amount = units.quantity(parts[0], "mm")
        clock = parts[1] if "T" in parts[1] else f"{evening.isoformat()}T{parts[1].zfill(5)}"
        moment = utc(datetime.fromisoformat(clock), time_zone)
        warm = units.quantity(parts[2], "degC") if len(parts) == 3 else None
    except ValueError as error:
        raise refuse(f"--water {text!r}", str(error), WANTED) from None
    if not 0.0 < amount <= MOST:
        raise refuse(f"--water {text!r}", "the amount is out of range", f"more than 0, at most {1000 * MOST:g} mm")
    if warm is not None and not 273.15 <= warm <= 333.15:
        raise refuse(f"--water {text!r}", "the temperature is out of range", "0 to 60 degC")
    last = max(span.end for span in spans) - AFTER
    if not begin <= moment < last:
        local = f"{begin:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC"
        raise refuse(f"--water {text!r}", f"{moment:%Y-%m-%d %H:%M} UTC is not within this run", local)
    return Asked(amount, moment, warm)


def tried(
    venue: Venue,
    forcing: Forcing,
    initial: xr.Dataset,
    spans: tuple[Event, ...],
    water: Asked,
    chosen: int,
) -> Watered:
    """The windows that end after the watering, without and with it."""
    blocks = list(forcing)
    time = blocks[0]["time"].values
    first = int(np.searchsorted(time, np.datetime64(water.moment, "ns"), side="right"))
    later = tuple(span for span in spans if span.end > water.moment + AFTER)
    ahead = [block.isel(time=slice(first, None)) for block in blocks]
    state = initial
    if first:
        state = run.final_states(venue, [block.isel(time=slice(0, first)) for block in blocks], initial)
    plan = plans.nothing(venue, time[max(first - 1, 0)], time[-1])
    seen = [
        _seen(venue, ahead, ground, later, plan, chosen)
        for ground in (state, watering.watered(venue, state, water.amount, water.temperature))
    ]
    rows = tuple((span.name, seen[0][k], seen[1][k]) for k, span in enumerate(later))
    return Watered(water.amount, water.moment, water.temperature, rows)


def _seen(
    venue: Venue, blocks: list[xr.Dataset], ground: xr.Dataset, spans: tuple[Event, ...], plan: xr.Dataset, chosen: int
) -> list[Seen]:
    outcome, states = run.outcome(venue, blocks, ground, plan, spans, states=[(0, chosen)])
    assert states is not None
    risk = outlook.assess(outcome)
    member = ground.isel(realization=[min(chosen, ground.sizes["realization"] - 1)])
    water = member["water_content"].transpose("realization", "patch", "layer").values[0]
    deep = np.broadcast_to(ground["depth"].values, water.shape) <= TOP
    frozen = states["frozen_fraction"].isel(plan=0, realization=0).transpose("time", "patch", "layer").values
    ice = (frozen * water * np.broadcast_to(ground["thickness"].values, water.shape) * deep).sum(axis=-1).max(axis=-1)
    found = []
    for k, span in enumerate(spans):
        one = risk.isel(event=k)
        last = min(int(np.searchsorted(states["time"].values, np.datetime64(span.end, "ns"))), ice.size - 1)
        frozen_layer = one["probability_reached"].isel(state=int(SurfaceState.FROZEN_LAYER))
        found.append(
            Seen(
                float(frozen_layer.max()),
                float(one["canopy_temperature_worst"].sel(quantile=0.5).min()),
                float(one["soil_temperature_worst"].isel(depth=0).sel(quantile=0.5).min()),
                1000.0 * float(ice[last]),
            )
        )
    return found
