"""Figures of a sizing report; each takes an Axes and gives it back. Every colour is also told by a mark or a number."""

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.dates import DateFormatter, MonthLocator
from numpy.typing import NDArray

from microclimate.report.canvas import CHANCE, INK
from microclimate.report.sized import ClimateTold, Sized

KWH = 3.6e6  # [J]
_COVERS = ("o", "s", "^", "D", "v")


def frontier(axes: Axes, sized: Sized, climate: ClimateTold) -> Axes:
    """Share of event windows held against cost: all options, those that none betters joined, the chosen one ringed."""
    told = climate.told
    cost, label = _cost(sized, told)
    held = 100.0 * told["held"].values
    covers = list(dict.fromkeys(str(name) for name in told["cover"].values))
    for number, cover in enumerate(covers):
        mine = told["cover"].values == cover
        axes.plot(
            cost[mine], held[mine], _COVERS[number % 5], ms=4, mfc="none", mec=INK, lw=0, label=cover or "no cover"
        )
    front = list(climate.frontier)
    axes.plot(cost[front], held[front], "-", color="#1d4a7c", lw=1.2)
    axes.plot(cost[climate.chosen], held[climate.chosen], "o", ms=11, mfc="none", mec="#a9763c", mew=1.6)
    axes.axhline(100.0 * sized.target, color="#a9763c", lw=0.9, ls="--")
    axes.text(0.01, 100.0 * sized.target + 1.5, "asked", color="#7d5426", transform=axes.get_yaxis_transform())
    axes.set(xlabel=label, ylabel="event windows kept, %", ylim=(-3, 104), xlim=(-0.02 * cost.max(), 1.05 * cost.max()))
    axes.legend(frameon=False, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=min(len(covers), 3))
    return axes


def _cost(sized: Sized, told: xr.Dataset) -> tuple[NDArray[np.float64], str]:
    money = told["cost"].mean("winter").values
    if np.isfinite(money).all():
        return money, f"fuel, current and crew, {sized.currency} a season"
    return told["heat"].mean("winter").values / KWH, "heat, kWh a season"


def duration(axes: Axes, climate: ClimateTold) -> Axes:
    """Highest power of each day of the chosen option, sorted, of the mean winter and of the hardest."""
    power = np.sort(climate.by_night["power"].values, axis=1)[:, ::-1]
    days = np.arange(1, power.shape[1] + 1)
    hardest = power[int(np.argmax(climate.by_night["energy"].values.sum(axis=1)))]
    axes.step(days, power.mean(axis=0), where="mid", color="#1d4a7c", label="mean winter")
    if power.shape[0] > 1:
        axes.step(days, hardest, where="mid", color="#a9763c", ls="--", label="hardest winter")
        axes.legend(frameon=False)
    installed = float(climate.told["power"].values[climate.chosen])
    if installed > 0.0:
        axes.axhline(installed, color=INK, lw=0.8, ls=":")
        axes.text(days[-1], installed, "installed", ha="right", va="bottom")
    axes.set(xlabel="days of the season", ylabel="highest power of the day, W/m²", xlim=(0, days[-1] + 1))
    axes.set_ylim(0, max(1.12 * installed, 1.1 * float(power.max()), 1.0))
    return axes


def leads(axes: Axes, climate: ClimateTold) -> Axes:
    """Share of event windows held by installed power (rows) and lead of heat that events lead (columns), numbered."""
    told = climate.told
    cover = str(told["cover"].values[climate.chosen])
    mine = (told["policy"].values == "event-led") & (told["cover"].values == cover)
    lead, power = (np.unique(told[name].values[mine]) for name in ("lead", "power"))
    grid = np.full((power.size, lead.size), np.nan)
    for number in np.flatnonzero(mine):
        row = np.searchsorted(power, told["power"].values[number])
        column = np.searchsorted(lead, told["lead"].values[number])
        grid[row, column] = np.nanmax([grid[row, column], 100.0 * told["held"].values[number]])
    axes.imshow(grid, origin="lower", aspect="auto", cmap=CHANCE, vmin=0, vmax=100)
    for row in range(power.size):
        for column in range(lead.size):
            value = grid[row, column]
            if np.isfinite(value):
                axes.text(column, row, f"{value:.0f} %", ha="center", va="center", color="white" if value > 55 else INK)
    axes.set_xticks(range(lead.size), [f"{hours:.0f}" for hours in lead])
    axes.set_yticks(range(power.size), [f"{watts:.0f}" for watts in power])
    axes.set(xlabel=f"heat starts ahead of the event, h ({cover or 'no cover'})", ylabel="installed, W/m²")
    return axes


def calendar(axes: Axes, climate: ClimateTold) -> Axes:
    """Heat of the chosen option day by day (bars, mean of winters), and the share of winters in which a day is lost."""
    energy = climate.by_night["energy"].values.mean(axis=0) / KWH
    lost = 100.0 * climate.by_night["lost"].values.mean(axis=0)
    days = climate.by_night["night"].values.astype("datetime64[D]")
    axes.bar(days, energy, width=1.0, color="#a9763c")
    axes.set_ylabel("heat, kWh/m² a day")
    axes.set_ylim(0, max(1.15 * float(energy.max()), 0.1))
    other = axes.twinx()
    other.plot(days, lost, ".", ms=3, color="#1d4a7c")
    other.set(ylabel="winters in which it is outside the limits, %", ylim=(-3, 104))
    axes.xaxis.set_major_locator(MonthLocator())  # type: ignore[no-untyped-call,unused-ignore]
    axes.xaxis.set_major_formatter(DateFormatter("%d %b"))  # type: ignore[no-untyped-call,unused-ignore]
    axes.set_xlabel("each day runs from noon to noon; dots: outside the limits at some time")
    return axes
