"""Hours of work as a drawn strip: a line for each job, a bar for each hour, as tall as the share of zones that hold."""

import numpy as np
from matplotlib.axes import Axes

from microclimate.report.canvas import GRID, INK
from microclimate.report.words import day, local, sentence
from microclimate.report.worked import Worked
from microclimate.units import Shown

BAR, TALL = "#1d4a7c", 0.84


def title(shown: Shown) -> str:
    """Title of the figure."""
    return "Hours of work, job by job"


def note() -> str:
    """How to read it."""
    return "A bar as tall as its line: all zones are within the job's limits in that hour; lower: a part of them."


def description(told: Worked, shown: Shown) -> str:
    """What it shows, for a reader who cannot see it."""
    parts = []
    for k, job in enumerate(told.jobs):
        whole, some = int(told.holds[k].all(axis=0).sum()), int(told.holds[k].any(axis=0).sum())
        parts.append(f"{job}: {some} of {told.hours.size} hours somewhere, {whole} all over the field")
    return sentence("; ".join(parts))


def draw(axes: Axes, told: Worked, shown: Shown) -> Axes:
    """One hue; day and hour are the venue's."""
    hours, count = np.arange(told.hours.size), len(told.jobs)
    for row, (job, holds) in enumerate(zip(told.jobs, told.holds, strict=True)):
        base = float(count - 1 - row)
        axes.bar(hours, TALL * holds.mean(axis=0), width=1.0, bottom=base, align="edge", color=BAR, linewidth=0.0)
        axes.plot([0, hours.size], [base, base], color=INK, linewidth=0.6)
        axes.annotate(sentence(job)[:-1], (0, base), xytext=(-4, 4), textcoords="offset points", ha="right", fontsize=8)
    _clock(axes, told, shown)
    axes.set_xlim(0, hours.size)
    axes.set_ylim(-0.05, count)
    axes.set_yticks([])
    axes.spines[["top", "right", "left"]].set_visible(False)
    return axes


def _clock(axes: Axes, told: Worked, shown: Shown) -> None:
    """Midnights as lines with the day's name, noons between them."""
    moments = [local(hour, shown) for hour in told.hours]
    for place, moment in enumerate(moments):
        if moment.hour == 0:
            axes.axvline(place, color=GRID, linewidth=0.9, zorder=0)
    noons = [place for place, moment in enumerate(moments) if moment.hour == 12]
    names = [f"{'noon' if shown.clock == 12 else '12:00'}\n{day(told.hours[place], shown)}" for place in noons]
    axes.set_xticks(noons, names, fontsize=8)
