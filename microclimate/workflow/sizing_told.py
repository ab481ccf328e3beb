"""From results of sizing to what its report may say."""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np
import xarray as xr

from microclimate.report import sizing_page, sizing_table
from microclimate.report.sized import CircuitTold, ClimateTold, NightTold, Sized, TrialsTold, WinterTold
from microclimate.schema import Event
from microclimate.sizing import answers, circuit, money, sensitivity, trials
from microclimate.sizing import options as opt
from microclimate.sizing.reduced import Reduced
from microclimate.sizing.winter_run import Job
from microclimate.sizing.winters import Climate
from microclimate.venue.load import Venue
from microclimate.workflow import files

SOIL = 280.15  # [K] between the pipes at full load; ours
SAND = 1.4  # [W m-1 K-1] moist sand round the pipes (from memory, .6 to 2.0)
FILM = 12.0  # [W m-2 K-1] from surface to air and sky, light wind (trial)


def climate(
    found: Climate, site: Reduced, grid: opt.Grid, jobs: Sequence[Job], parts: Sequence[xr.Dataset], target: float
) -> ClimateTold:
    """The answer for one climate."""
    told = answers.answers(site, grid, parts)
    chosen = answers.smallest(told, target)
    night, number = found.night, answers.nearest(told) if chosen is None else chosen
    return ClimateTold(
        found.name,
        found.far,
        found.typical,
        found.begin,
        found.begin + timedelta(days=found.season.days - 1),
        tuple(WinterTold(w.name, w.coverage, w.lowest) for w in found.winters),
        tuple(WinterTold(w.name, w.coverage, w.lowest) for w in found.left_out),
        found.filled,
        None
        if night is None
        else NightTold(night.years, night.lowest, night.low, night.high, night.winters, night.short),
        told,
        number,
        chosen is not None,
        answers.smallest(told, target, "unfrozen"),
        tuple(int(n) for n in answers.frontier(told)),
        tuple(code for code in str(found.weather.attrs.get("assumed", "")).split("\n") if code),
        _trials(jobs, grid),
        _by_night(site, parts, number),
        tuple(_row(name, one) for name, one in sensitivity.variants(jobs, grid.options[number], grid)),
        _priced(site, grid, parts, target),
    )


def _priced(
    site: Reduced, grid: opt.Grid, parts: Sequence[xr.Dataset], target: float
) -> tuple[tuple[float, int, float], ...]:
    """What is chosen, and what it costs, where fuel and current are cheaper and dearer."""
    found = []
    for factor in (1.0 - sensitivity.PRICE, 1.0 + sensitivity.PRICE):
        told = sensitivity.dearer(site, grid, parts, factor)
        if told is not None:
            number = answers.smallest(told, target)
            number = answers.nearest(told) if number is None else number
            found.append((factor, number, float(told["cost"][number].mean())))
    return tuple(found)


def _trials(jobs: Sequence[Job], grid: opt.Grid) -> TrialsTold:
    """Both trials in the coldest winter, by option."""
    found = trials.trials(min(jobs, key=lambda job: job.climate.winters[0].lowest))
    rows = []
    for option in grid.options:
        place = option.design, grid.covers.index(option.cover)
        bare = option.policy.kind == opt.NOTHING
        rows.append([np.nan] * 3 if bare else [found.warm_up[place], found.holds[place], found.recovers[place]])
    columns = (tuple(float(value) for value in column) for column in zip(*rows, strict=True))
    return TrialsTold(found.lowest, trials.OUTAGE, *columns)


def _by_night(site: Reduced, parts: Sequence[xr.Dataset], option: int) -> xr.Dataset:
    """Energy and power of the chosen option over the heated area, (winter, night)."""
    names = [str(name) for name in parts[0]["group"].values]
    area = np.array([site.area[name] if name in site.heated else 0.0 for name in names])
    share = area / area.sum()

    def mean(name: str) -> np.ndarray:
        return np.stack([share @ one[name].values[option] for one in parts])

    limits = site.venue.limits
    lost = [
        (
            (one["night_canopy"].values[option] < limits.canopy_min)
            | (one["night_soil"].values[option] < limits.rootzone_min)
            | (one["night_state"].values[option] >= answers.OUTSIDE)
        ).any(axis=0)
        for one in parts
    ]
    dims = ("winter", "night")
    return xr.Dataset(
        {"energy": (dims, mean("energy")), "power": (dims, mean("power")), "lost": (dims, np.stack(lost))},
        coords={"night": parts[0]["night"].values, "winter": [str(one.attrs["winter"]) for one in parts]},
    )


def sized(
    venue: Venue,
    cases: Sequence[tuple[Reduced, tuple[Event, ...], tuple[int, ...]]],
    told: Sequence[ClimateTold],
    grid: opt.Grid,
    target: float,
    planned: bool,
    given: bool,
) -> Sized:
    """All that was asked; circuits are those of the first climate's choice."""
    (site, events, shifts), first, plant = cases[0], told[0], venue.equipment.plant
    option = grid.options[first.chosen]
    known = circuit.installed(plant, site.heated_area)
    return Sized(
        venue.name,
        venue.shown,
        "" if venue.prices is None else venue.prices.currency,
        target,
        venue.limits.canopy_min,
        venue.limits.rootzone_min,
        site.heated_area,
        float(np.sum(list(site.area.values()))),
        site.members,
        "" if plant is None else plant.kind,
        1.0 if plant is None else plant.efficiency,
        planned,
        tuple(event.name for event in events),
        given,
        shifts,
        max((policy.lead for policy in grid.policies), default=0.0),
        tuple((one.how, one.value, one.low, one.high) for one in known),
        _circuits(site, grid, option, 0.3 if plant is None else plant.glycol),
        tuple(told),
    )


def _row(name: str, told: xr.Dataset) -> tuple[str, float, float, float]:
    """Share held, heat and cost of one variant."""
    heat = float(told["heat_per_area"].mean()) / money.JOULES
    return name, float(told["held"].values[0]), heat, float(told["cost"].mean())


def _circuits(site: Reduced, grid: opt.Grid, option: opt.Option, glycol: float) -> tuple[CircuitTold, ...]:
    """Hydraulics of every circuit with water."""
    built = opt.built(grid, grid.designs[option.design], site.venue)
    found = []
    for one in built.equipment.circuits:
        area = sum(site.area[zone.name] for zone in site.venue.field.zones if zone.circuit == one.name)
        if one.kind != "hydronic" or area <= 0.0:
            continue
        h = circuit.hydraulics(one, area, glycol, SOIL, SAND, FILM)
        found.append(CircuitTold(one.name, h.heat, h.pipe, h.loops, h.loop, h.flow, h.drop, h.supply, h.back, h.ripple))
    return tuple(found)


def written(sized: Sized, out: Path) -> str:
    """Write the page and the table; say where."""
    files.folder(out)
    files.write_text(sizing_page.page(sized), out / "sizing.html")
    files.write_text(sizing_table.csv(sized), out / "sizing.csv")
    return f"\nReport: {out / 'sizing.html'}\nTable: {out / 'sizing.csv'}\n"
