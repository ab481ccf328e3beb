"""The words of `zones` for two zones held together, their order with what is not known, and where probes belong."""

import numpy as np

from microclimate.report.tables import Table
from microclimate.report.words import measure, number, sentence
from microclimate.report.zones import LIGHT, SUNLIT, TEMPERATURE, WARMTH, Column, Zones

SHARP = 0.1  # share of a zone's area from which its shadow edge is worth a sentence; ours


def compared(told: Zones) -> Table:
    """Two zones side by side, their difference, and its range."""
    assert told.compare is not None
    first, second = told.compare
    rows = []
    for column in (SUNLIT, LIGHT):
        a, b = (float(told.zones[column.name].sel(zone=zone, which="mean")) for zone in (first, second))
        rows.append(_row(column, told, a, b, _light_range(told, column.name, first, second, a - b)))
    if told.spans is not None:
        for column in WARMTH:
            a, b = (float(told.spans[column.name].sel(zone=zone)) for zone in (first, second))
            rows.append(_row(column, told, a, b, _range(told, column.name, first, second, a - b)))
    return Table(f"{first} and {second}", ("What", first, second, "Difference", "Range"), tuple(rows))


def _light_range(told: Zones, name: str, first: str, second: str, apart: float) -> tuple[float, float] | None:
    """The difference with what is not known of the stands, and for photons of their share in daylight."""
    if told.light_unsure is None:
        return None
    moved = (told.light_unsure[name].sel(zone=first) - told.light_unsure[name].sel(zone=second)).values
    share = told.light_share * apart if name == LIGHT.name else 0.0
    half = float(np.hypot(np.sqrt((moved**2).sum()), share))
    return apart - half, apart + half


def _row(column: Column, told: Zones, a: float, b: float, ends: tuple[float, float] | None) -> tuple[str, ...]:
    shown = told.shown
    if column.kind != TEMPERATURE:
        apart = f"{a - b:.{column.digits}f}".replace("-", "\u2212")
        span = "" if ends is None else f"{ends[0]:.1f} to {ends[1]:.1f}".replace("-", "\u2212")
    else:
        apart = measure(a - b, "temperature difference", shown)
        kind = "temperature difference"
        span = "" if ends is None else f"{number(ends[0], kind, shown)} to {measure(ends[1], kind, shown)}"
    return (column.headed(shown), column.text(a, shown), column.text(b, shown), apart, span)


def _range(told: Zones, name: str, first: str, second: str, middle: float) -> tuple[float, float] | None:
    """The difference with the scatter of the draws about it."""
    if told.ranked is None or name not in told.ranked:
        return None
    apart = (told.ranked[name].sel(zone=first) - told.ranked[name].sel(zone=second)).values
    about = apart - np.median(apart)
    return middle + float(about.min()), middle + float(about.max())


def compared_lines(told: Zones) -> list[str]:
    """How the ranges came about, and spots within each zone."""
    assert told.compare is not None
    light = told.zones["light_integral"]
    ends = {z: [float(light.sel(zone=z, which=k)) for k in ("lowest", "highest")] for z in told.compare}
    spots = (f"{zone} {low:.1f} to {high:.1f}" for zone, (low, high) in ends.items())
    lines = [f"Light from spot to spot [mol/m²/d]: {', '.join(spots)}."]
    if told.light_unsure is not None and told.light_unsure.sizes["unknown"]:
        lines.append(
            "Range of sun and light: field turned by 2°, stands 5 % lower or higher, 0.15 darker or brighter (more "
            "where they were told roughly), and the share of daylight that feeds the grass."
        )
    if told.ranked is not None:
        count, days = told.ranked.sizes["draw"], int(told.ranked.attrs["days"])
        lines.append(
            f"Range of temperatures: {count} draws of what is not known of wind and air in the bowl, over "
            f"{days} {'day' if days == 1 else 'days'} up to the coldest. Where it holds 0, the zones do not differ for "
            "sure."
        )
    return lines


def order(told: Zones) -> Table:
    """All zones, the coldest night first, with the places they hold over the draws."""
    assert told.ranked is not None
    ranked = told.ranked.sortby("rank")
    rows = [
        (str(zone), str(int(middle)), f"{int(low)} to {int(high)}" if low != high else str(int(low)))
        for zone, middle, low, high in zip(
            ranked["zone"].values, *(ranked[n].values for n in ("rank", "rank_low", "rank_high")), strict=True
        )
    ]
    return Table(
        "By the lowest canopy of its nights, 1 the coldest", ("Zone", "Place", "Place over the draws"), tuple(rows)
    )


def order_lines(told: Zones) -> list[str]:
    """Which zones are surely colder than the rest."""
    assert told.ranked is not None
    ranked = told.ranked.sortby("rank")
    best = ranked["zone"].values[ranked["rank_low"].values == 1]
    if len(best) == 1:
        return [f"{best[0]} is the coldest in every draw."]
    return [f"The coldest is one of {', '.join(map(str, best))}: the draws do not tell them apart."]


def edge_lines(told: Zones) -> list[str]:
    """Zones in which a point reading cannot stand for its surroundings."""
    sharp = [zone for zone, share in told.edges.items() if share >= SHARP]
    if not sharp:
        return ["In no zone does a shadow edge make point readings unreliable over a tenth of it or more."]
    told_of = ", ".join(f"{zone} ({100 * told.edges[zone]:.0f} % of it)" for zone in sharp[:8])
    return [
        f"A shadow edge makes a point reading unreliable in {told_of}: within {measure(2.5, 'length', told.shown)} the "
        "hours of sun change by one or more. Read on both sides of it."
    ]


def probe_lines(told: Zones) -> list[str]:
    """Where probes belong."""
    lines = []
    for why, x, y, zone in told.probes:
        why = f"{why} of the steepest shadow edge" if why in ("lit side", "shaded side") else why
        along = (
            f"{measure(abs(x), 'length', told.shown)} {'towards the head end' if x >= 0 else 'towards the foot end'}"
        )
        across = f"{measure(abs(y), 'length', told.shown)} to the {'left' if y >= 0 else 'right'}"
        lines.append(sentence(f"{why}: {zone}, {along} and {across} of the centre"))
    lines.append(
        "Depths 25, 50 and 100 mm, tips level in undisturbed sand, cables away from the pipes (practice)."
        if told.shown.system == "metric"
        else "Depths 1, 2 and 4 in, tips level in undisturbed sand, cables away from the pipes (practice)."
    )
    return lines
