"""The words of `zones` for what is done to the field: lamps, covers, heating that stops."""

from datetime import date

import numpy as np

from microclimate.physics.light import photon_flux
from microclimate.report.tables import Table
from microclimate.report.words import clock, day, depth, measure, number, sentence
from microclimate.report.zones import Covered, ModuleRow, Zones

SOFTER = 0.3  # [K] by which a cover softens the grass, from which it is told; ours


def lamp_lines(told: Zones) -> list[str]:
    """Which zones lack light, and whether the lamps give it."""
    short = [row.zone for row in told.lamps if row.daylight + row.lamps < row.need]
    lines = [
        f"With daylight and lamps together too little in {', '.join(short[:6])}."
        if short
        else "With daylight and lamps together every zone gets the least it needs."
    ]
    if told.strongest > told.saturation:
        lines.append(
            f"The leaf uses little above {told.saturation:.0f} µmol/m² a second (light trials 2019): stronger lamps "
            "warm more than they feed."
        )
    return lines


def lamp_table(told: Zones) -> Table:
    """Daylight, lamps, need, gap, and hours of lamps that would close it."""
    rows = [
        (
            row.zone,
            f"{row.daylight:.1f}",
            f"{row.lamps:.1f}",
            f"{row.need:.1f}",
            f"{max(row.need - row.daylight, 0.0):.1f}",
            f"{row.hours:.1f}",
        )
        for row in sorted(told.lamps, key=lambda row: row.daylight)
    ]
    unit = "[mol/m²/d]"
    heads = ("Zone", f"daylight {unit}", f"lamps {unit}", f"need {unit}", f"gap {unit}", "lamp hours to close it [h/d]")
    return Table("Light against the least the grass needs", heads, tuple(rows))


def cover_lines(told: Zones) -> list[str]:
    """Each spell against what is published of how long a cover may lie."""
    hot_air, hot_time, lift, event, air_lift = told.cover_limits
    lines = []
    for spell in told.covers:
        told_of = [f"{spell.name} lies {spell.lasts / 86400.0:.1f} d without being lifted"]
        if spell.closed and spell.hot > hot_time:
            warm = measure(hot_air, "temperature", told.shown)
            told_of.append(
                f"{spell.hot / 3600.0:.0f} h of it in air above {warm}, in which a closed sheet lies a few hours at "
                "most, with people ready to lift it within half an hour of sun (supplier's guide)"
            )
        if spell.kind == "permeable" and spell.lasts > lift:
            told_of.append(f"a sheet that breathes is lifted every {lift / 86400.0:.0f} d (supplier's guide)")
        if spell.opaque and spell.lasts > event:
            told_of.append(
                f"floors and quilts lie {event / 86400.0:.0f} d as a rule: leaves starve in the dark (magazine 2015)"
            )
        if spell.sunny > 0.0:
            told_of.append(
                f"{spell.sunny / 3600.0:.0f} h in the sun under air above "
                f"{measure(air_lift, 'temperature', told.shown)}, in which covers are lifted or "
                "rolled back at midday and looked under twice a day (practice)"
            )
        if spell.late:
            told_of.append(
                "a dense cover harms from February on, as light returns: growth is weak and long, take it off before "
                "the sod thins (Agronomy Journal 63, 1971)"
            )
        if spell.softer >= SOFTER:
            told_of.append(
                f"at its end half the plants die {measure(spell.softer, 'temperature difference', told.shown)} milder "
                "than without it: warm days under a cover soften the grass (Crop Science 54, 2014)"
            )
        if spell.mould > 0.0:
            told_of.append(f"{spell.mould:.0f} h wet in the band of pink snow mould, which a cover favours (extension)")
        if spell.wet_frost:
            told_of.append("laid on a day of wet leaves and frozen under it: a sheet on a wet leaf can freeze to it")
        lines += [sentence(text) for text in told_of]
    return lines


def cover_table(told: Zones) -> Table:
    """Light lost, heat and wetness under each cover."""
    rows = [(spell.name, *_cover(spell, told)) for spell in told.covers]
    kelvin = told.shown.symbol("temperature difference")
    heads = (
        "Cover",
        "lies [d]",
        "light lost [mol/m²]",
        f"highest canopy under it [{told.shown.symbol('temperature')}]",
        f"warmer by day up to [{kelvin}]",
        "leaf wet longer [h]",
        f"kills half, milder by [{kelvin}]",
    )
    return Table("What each cover cost", heads, tuple(rows))


def _cover(spell: Covered, told: Zones) -> tuple[str, ...]:
    return (
        f"{spell.lasts / 86400.0:.1f}",
        f"{float(photon_flux(spell.lost)):.1f}",
        number(spell.warmest, "temperature", told.shown),
        number(spell.warmer, "temperature difference", told.shown),
        f"{spell.wetter:.0f}".replace("-", "\u2212"),
        number(spell.softer, "temperature difference", told.shown),
    )


def stop_title(told: Zones) -> str:
    """Over what follows when heating stops."""
    assert told.off is not None
    return f"After heating stops on {day(told.off, told.shown)}, {clock(told.off, told.shown)}"


def stop_lines(told: Zones) -> list[str]:
    """Play and survival apart."""
    assert told.bears is not None
    play, growing = (measure(v, "temperature", told.shown) for v in (told.bears.rootzone_min, told.bears.lt50_growing))
    return [
        f"Limit for play: {play} at the shallowest depth told. Survival: half of a growing, heated grass dies when "
        f"the crown falls to {growing}; a heated field is tender, and that limit counts for it.",
        "Heating held its set points from the first day told. What follows is looked at for "
        f"{max(row.ahead for row in told.stopped):.0f} h of the weather given, nothing else done.",
    ]


def stop_table(told: Zones) -> Table:
    """Hours each zone holds."""
    rows = [
        (
            row.zone,
            number(row.begin, "temperature", told.shown),
            *(_hours(v, row.ahead) for v in (row.play, row.frost, row.growing, row.hardened)),
        )
        for row in sorted(told.stopped, key=lambda row: np.nan_to_num(row.frost, nan=1e9))
    ]
    unit = told.shown.symbol("temperature")
    heads = (
        "Zone",
        f"{depth(0.025, told.shown)} then [{unit}]",
        "to limit for play [h]",
        "to frost [h]",
        "to kill, growing [h]",
        "to kill, hardened [h]",
    )
    return Table("Hours after heating stops", heads, tuple(rows))


def _hours(value: float, ahead: float) -> str:
    return f"over {ahead:.0f}" if np.isnan(value) else f"{value:.0f}"


TOLD = 10  # modules named in a list; ours


def module_lines(told: Zones) -> list[str]:
    """How modules are counted, and what edge modules have more."""
    outer = [row for row in told.modules if row.edge]
    lines = [
        "Modules are row and number: rows from the left side, numbers from the foot end, as seen along the long axis.",
        "Warmth is that of at most five days up to the span's coldest, light that of the whole span; modules.csv has "
        "them all.",
    ]
    if outer:
        lines.append(f"{len(outer)} modules over air have an outer face in the open, which drains them too.")
    late = [row.name for row in told.modules if np.isnan(row.root)]
    if late:
        lines.append(sentence(f"laid after the coldest day, so not told of: {', '.join(late[:TOLD])}"))
    past = sum(row.laid is not None for row in told.modules) - len(late)
    if past:
        lines.append(
            f"{past} modules with a past of their own: run through the weather where they lay before, then here."
        )
    return lines


def module_tables(told: Zones) -> list[Table]:
    """Which modules first: the coldest, and the most shaded."""
    unit = told.shown.symbol("temperature")
    heads = (
        "Module",
        f"lowest canopy [{unit}]",
        f"lowest at {depth(0.025, told.shown)} [{unit}]",
        "light [mol/m²/d]",
        "outer face",
        f"half killed at [{unit}]",
        "laid",
    )

    def rows(ordered: list[ModuleRow]) -> tuple[tuple[str, ...], ...]:
        return tuple(
            (
                row.name,
                *(number(v, "temperature", told.shown) for v in (row.canopy, row.root)),
                f"{row.light:.1f}",
                "yes" if row.edge else "no",
                number(row.lt50, "temperature", told.shown),
                "" if row.laid is None else _day(row.laid, told),
            )
            for row in ordered[:TOLD]
        )

    known = [row for row in told.modules if np.isfinite(row.root)]
    cold = sorted(known, key=lambda row: (round(row.root, 2), row.canopy))
    dark = sorted(known, key=lambda row: row.light)
    bare = sorted(known, key=lambda row: row.margin)
    tender = Table("Nearest to what kills half the plants first", heads, rows(bare))
    return [Table("Coldest first", heads, rows(cold)), Table("Most shaded first", heads, rows(dark)), tender]


def _day(when: date, told: Zones) -> str:
    return day(np.datetime64(when.isoformat()) + np.timedelta64(12, "h"), told.shown).partition(" ")[2]
