"""The words of `zones`: who gets how much light and warmth, from where, and what that means for the grass."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.report.words import clock, day, depth, measure, sentence
from microclimate.report.zones import DONE, Variant, Zones
from microclimate.units import Shown

LEAST_BRIGHT = 15.0  # [W m-2] at the brightest spot from which light off bare metal is told; ours
LEAST = 1.15  # ratio of light below which two zones are told as alike; ours


def title(told: Zones) -> str:
    """What the page is about."""
    return f"{'Light and shade' if told.spans is None else 'Shade against sun'}, {span(told)}"


def span(told: Zones) -> str:
    """The days spoken of."""
    first, last = (
        day(np.datetime64(d.isoformat()) + np.timedelta64(12, "h"), told.shown) for d in (told.days[0], told.days[-1])
    )
    year = told.days[-1].year
    if len(told.days) == 1:
        return f"{first} {year}"
    return f"{first} to {last} {year}, {len(told.days)} days"


def headline(told: Zones) -> list[str]:
    """The darkest and the brightest zone, and what the stands take."""
    light, hours = (told.zones[name].sel(which="mean") for name in ("light_integral", "sunlit_hours"))
    dark, bright = told.names[0], told.names[-1]
    low, high = (float(light.sel(zone=z)) for z in (dark, bright))
    if high < LEAST * low:
        lines = [f"Light hardly differs over the field: {low:.1f} to {high:.1f} mol/m² a day."]
    else:
        lines = [
            f"{dark} gets the least light, {low:.1f} mol/m² a day with {float(hours.sel(zone=dark)):.1f} h of sun; "
            f"{bright} the most, {high:.1f} with {float(hours.sel(zone=bright)):.1f} h."
        ]
    cells = told.cells["light_integral"].values
    lines.append(f"From spot to spot it runs from {cells.min():.1f} to {cells.max():.1f} mol/m² a day.")
    return lines + (_colder(told) if told.spans is not None else [])


def _colder(told: Zones) -> list[str]:
    """The coldest zone, and frost or heat over the field."""
    spans, shown = told.spans, told.shown
    assert spans is not None

    def end(name: str, highest: bool) -> tuple[str, float]:
        values = spans[name].values
        k = int(np.argmax(values) if highest else np.argmin(values))
        return str(spans["zone"].values[k]), float(values[k])

    cold, night = end("night_canopy", highest=False)
    warm, mild = end("night_canopy", highest=True)
    lines = [
        f"{cold} has the coldest nights, their lowest canopy {measure(night, 'temperature', shown)} on the mean; "
        f"{warm} the mildest, {measure(mild, 'temperature', shown)}."
    ]
    zone, frost = end("hours_frost", highest=True)
    thawed = end("hours_thawed_over_frozen", highest=True)
    if frost > 0.0:
        told_of = f"Canopy below freezing for up to {frost:.0f} h, in {zone}"
        lines.append(
            sentence(f"{told_of}; thawed over frozen for up to {thawed[1]:.0f} h, in {thawed[0]}")
            if thawed[1] >= 0.5
            else sentence(told_of)
        )
    zone, hot = end("hours_shoot_hot", highest=True)
    if hot > 0.0:
        lines.append(f"Canopy too hot for shoots to grow for up to {hot:.0f} h, in {zone}.")
    return lines


def light_caption(told: Zones) -> str:
    """Over the table of light."""
    per = "that day" if len(told.days) == 1 else "a day, mean of the span"
    return f"Light by origin, {per}; each zone's mean"


def longwave_caption() -> str:
    """Over the table of longwave."""
    return "Longwave down by origin, mean of the span; each zone's mean"


def shade_title(told: Zones) -> str:
    """Over the picture of an instant."""
    assert told.shade is not None
    when = np.datetime64(str(told.shade.attrs["when"]))
    return f"Shade on {day(when, told.shown)}, {clock(when, told.shown)}"


def shade_words(told: Zones) -> str:
    """What the picture of an instant shows."""
    assert told.shade is not None
    height, azimuth = (float(told.shade.attrs[f"sun_{name}"]) for name in ("elevation", "azimuth"))
    if height <= 0.0:
        return "The sun is below the horizon."
    share = told.shade["sun_factor"].values
    area = 100.0 * float((share * told.cells["area"].values).sum() / told.cells["area"].values.sum())
    by = {z: float(share[told.cells["zone"].values == k].mean()) for k, z in enumerate(told.zones["zone"].values)}
    shaded = [str(z) for z, part in by.items() if part < 0.05]
    text = f"Sun {height:.0f}° high in the {compass(azimuth)}; {area:.0f} % of the field is in the sun"
    if shaded and len(shaded) <= 8:
        text += f"; in shade: {', '.join(shaded)}"
    return sentence(text) + bright_words(told)


def bright_words(told: Zones) -> str:
    """Where bare metal throws the sun back onto the grass at that instant; nothing where that is little."""
    assert told.shade is not None
    if "stands_high" not in told.shade:
        return ""
    low, best, high = (told.shade[f"stands_{end}"].values for end in ("low", "best", "high"))
    spot = int(best.argmax())
    if best[spot] < LEAST_BRIGHT:
        return ""
    zone = str(told.zones["zone"].values[int(told.cells["zone"].values[spot])])
    return (
        f" Bare metal throws sun onto the grass, most in {zone}: {low[spot]:.0f} to {high[spot]:.0f} W/m² at its "
        f"brightest spot, {best.mean():.0f} W/m² over the field; the mirror-like part of real seats is rarely known."
    )


def compass(azimuth: float) -> str:
    """Eight points of the compass."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return names[round(azimuth / 45.0) % 8]


def sources(told: Zones) -> list[str]:
    """What the numbers rest on."""
    lines = [
        f"Light under the weather of {told.source}."
        if told.source
        else "Light under a clear sky (no weather was given): what the place and its stands allow, not what will come.",
        "Light for growth: 2.06 mol in each MJ of daylight, 45 % of it in 400 to 700 nm and 4.57 µmol/J "
        "(McCree 1972; Thimijan and Heins 1983); the share runs from 41 to 48 % with the sky.",
        "Sun counts where its disc is seen at grass height, every ten minutes. Off stands: light that the stands send "
        "back, all bounces, the mirror-like part of bare metal among it; its bright patches move with the sun.",
    ]
    if told.spans is None:
        return lines
    begun = "was run through the weather before the span" if told.start == "past" else "began as the season has it"
    lines += [
        f"Canopy and root zone: heat balance of each patch every ten minutes, nothing done to the field; the ground "
        f"{begun}. Water in the root zone is held through the run.",
        "Lowest and highest values and hours in harm's way are those of a zone's worst patch, means those of its area.",
        "Growth index: what the day's mean air allows, a bell curve (common practice; its width from memory). Degree "
        "days: McMaster and Wilhelm 1997, method 1. Water: ASCE-EWRI 2005 for short grass, hour by hour, with the "
        "zone's own light, longwave, wind and air.",
    ]
    return lines


_MAPS: dict[str, tuple[str, str, float, int]] = {
    "light_integral": ("Light for growth", "mol/m² a day", 1.0, 1),
    "sunlit_hours": ("Hours of direct sun", "h a day", 1.0, 1),
    "energy_sun": ("Shortwave from the sun", "MJ/m² a day", 1e-6, 1),
    "energy_sky": ("Shortwave from the sky", "MJ/m² a day", 1e-6, 1),
    "energy_stands": ("Shortwave off the stands", "MJ/m² a day", 1e-6, 2),
    "sky_view_factor": ("Sky that is seen", "%", 100.0, 0),
    "longwave_sky": ("Longwave from the sky", "W/m²", 1.0, 0),
    "longwave_stands": ("Longwave from the stands", "W/m²", 1.0, 0),
}


def map_title(name: str) -> str:
    """Over a map."""
    return _MAPS[name][0]


def map_words(told: Zones, name: str) -> str:
    """What a map shows, for those who cannot see it."""
    _, unit, scale, digits = _MAPS[name]
    values = scale * told.cells[name].values
    mean = told.zones[name].sel(which="mean")
    low, high = (str(mean["zone"].values[k]) for k in (int(np.argmin(mean.values)), int(np.argmax(mean.values))))
    if np.ptp(values) < 10.0**-digits:
        return f"The same all over the field: {values.mean():.{digits}f} {unit}."
    return (
        f"From {values.min():.{digits}f} to {values.max():.{digits}f} {unit} over the field; lowest zone {low} "
        f"({scale * float(mean.min()):.{digits}f}), highest {high} ({scale * float(mean.max()):.{digits}f})."
    )


# --- the ground and the grass --------------------------------------------------------------------------------------


def warmth_caption() -> str:
    """Over the table of temperatures."""
    return "Canopy and root zone over the span"


def play_lines(told: Zones) -> list[str]:
    """Limits for play: the venue's own."""
    assert told.bears is not None
    canopy, soil = (measure(v, "temperature", told.shown) for v in (told.bears.canopy_min, told.bears.rootzone_min))
    return [
        f"Limits for play, set in the venue: canopy {canopy}, {depth(0.025, told.shown)} {soil}. They say nothing of "
        "survival."
    ]


def survival_lines(told: Zones) -> list[str]:
    """Limits of survival: the grass's own."""
    assert told.bears is not None
    bears, shown = told.bears, told.shown
    growing, hard, soil, low, high = (
        measure(v, "temperature", shown)
        for v in (bears.lt50_growing, bears.lt50_hardened, bears.kill_soil, bears.snow_mould_low, bears.snow_mould_high)
    )
    lines = [
        f"Survival of {told.grass}: half the plants die at {growing} while growing, at {hard} fully hardened; kill is "
        f"possible in soil of {soil}. These lie far below the limits for play and are not to be held against them.",
        "Hardening was not fitted on turf by anyone whose numbers were found: the range holds winter wheat's course "
        "(Bergjord and others 2008) and timothy's (Thorsen and Höglind 2010; softening as Höglind and others measured "
        "it, 2008). Margin and share hardened are told at its tender end. A field kept warm and growing is tender.",
        f"Hardening is told from {told.hardening_days} days of weather before the span, growing and tender before "
        "them; the longer, the surer.",
        f"Conditions as published, no diagnosis: pink snow mould, leaf wet between {low} and {high}, with snow or "
        f"without; grey snow mould, snow lying {bears.grey_mould_days:.0f} days or more (extension of Rutgers and Utah "
        "State universities).",
    ]
    assert told.spans is not None
    least = told.spans["margin"]
    if float(least.min()) < 0.0:
        zone = str(least["zone"].values[int(np.argmin(least.values))])
        lines.insert(1, f"In {zone} the crown was colder than what kills half the plants.")
    return lines


def growth_lines(told: Zones) -> list[str]:
    """Light against the species' need."""
    assert told.bears is not None
    bears = told.bears
    mean = told.zones["light_integral"].sel(which="mean")
    short = [str(z) for z, v in zip(mean["zone"].values, mean.values, strict=True) if v < bears.light_min]
    need = f"need of {told.grass}: {bears.light_min:.0f} mol/m² a day, {bears.light_best:.0f} for best quality"
    if bears.light_winter != bears.light_min:
        need += f", {bears.light_winter:.0f} while it hardly grows"
    if not short:
        return [sentence(f"{need}. Every zone gets the least of it")]
    named = ", ".join(short[:6]) + (f" and {len(short) - 6} more" if len(short) > 6 else "")
    return [sentence(f"{need}. Too little in {named}")]


def heat_lines(told: Zones) -> list[str]:
    """Heat against the species' limits, and where it comes from."""
    assert told.bears is not None
    bears, shown = told.bears, told.shown
    leaf, root, trouble = (
        measure(v, "temperature", shown) for v in (bears.shoot_stop_hot, bears.root_stop_hot, bears.root_trouble)
    )
    mean = told.zones.sel(which="mean")
    parts = [mean[f"energy_{part}"] for part in ("sun", "sky", "stands")]
    share = 100.0 * float((parts[2] / (parts[0] + parts[1] + parts[2])).max())
    return [
        f"Shoots stop in a canopy above {leaf}; at {depth(0.1, shown)} roots suffer above {trouble}, stop at {root}.",
        f"Light from the stands adds at most {share:.1f} % to a zone's sun and sky, their warmth at most "
        f"{float((mean['longwave_stands']).max()):.0f} W/m²; what bare metal has of it is told with --concrete.",
    ]


def variant_title(key: str) -> str:
    """Over a variant's table."""
    return {
        "without stands": "What the stands change: as it is, less the same field without them",
        "concrete": "What bare metal changes: as it is, less concrete in place of aluminium",
        "seats covered": "What bare seats change: as they are, less seats under a sheet",
        "with lamps": "What the lamps change: with them, less as it is",
        "heated": "What heating changes: with it, less as it is",
        "covered": "What the covers change: with them, less as it is",
    }[key]


def canopy_title(told: Zones, name: str) -> str:
    """Over the map of the coldest or the hottest day's canopy."""
    which = "Lowest" if name == "coldest" else "Highest"
    when = _day(str(told.cells.attrs[f"{name}_day"]), told)
    return (
        f"{which} canopy on {when}, the {'coldest' if name == 'coldest' else 'warmest'} day"
        if len(told.days) > 1
        else f"{which} canopy"
    )


def canopy_words(told: Zones, name: str) -> str:
    """What that map shows."""
    values, zone = told.cells[name].values, told.cells["zone"].values.astype(int)
    names = [str(z) for z in told.zones["zone"].values]
    ends = (int(np.argmin(values)), int(np.argmax(values)))
    low, high = (measure(float(values[k]), "temperature", told.shown) for k in ends)
    each = "Each cell run by itself for two days." if told.cells.attrs["each"] else "Each patch in one colour."
    return f"From {low} in {names[zone[ends[0]]]} to {high} in {names[zone[ends[1]]]}. {each}"


_APART = {
    "without stands": "What the stands change in {}",
    "concrete": "What bare metal, not concrete, changes in {}",
    "seats covered": "What bare seats, not covered ones, change in {}",
    "with lamps": "What the lamps change in {}",
    "heated": "What heating changes in {}",
    "covered": "What the covers change in {}",
}


def apart_title(key: str, name: str) -> str:
    """Over a map of what a variant changes."""
    return _APART[key].format("light" if name == "light_integral" else "the coldest night's canopy")


def apart_values(less: xr.Dataset, name: str, shown: Shown) -> tuple[NDArray[np.float64], NDArray[np.bool_], str]:
    """A difference in the reader's unit, where its sign is open, and what stands under its scale."""
    light = name == "light_integral"
    kind = "temperature difference"
    values = less[name].values if light else np.asarray(shown.number(less[name].values, kind), dtype=float)
    half = less["light_unsure" if light else "unsure"].values
    unsure = (np.abs(less[name].values) < half) & (half > 0.0)
    unit = "Difference in light [mol/m² a day]" if light else f"Difference in lowest canopy [{shown.symbol(kind)}]"
    return values, unsure, unit + (", hatched: sign open" if unsure.any() else "")


def apart_words(told: Zones, variant: Variant, less: xr.Dataset, name: str) -> str:
    """What that map shows, and how sure it is."""
    values, unsure, _ = apart_values(less, name, told.shown)
    versus = "With them, less as it is" if variant.key in DONE else "As it is, less that"
    share = 100.0 * float(unsure.mean())
    if name == "light_integral":
        text = f"{versus}: from {values.min():.1f} to {values.max():.1f} mol/m² a day"
        if variant.key == "with lamps":
            return f"{text}, as their maker has it."
        either = float(np.median(less["light_unsure"].values))
        what = "The share of daylight that feeds" if variant.key in DONE else "What is not known of the stands"
        text += f". {what} moves it by {either:.1f} either way; on {share:.0f} % of the field the sign is open."
        return text.replace("-", "\u2212")
    kind = "temperature difference"
    low, high = (measure(float(f(less[name].values)), kind, told.shown) for f in (np.min, np.max))
    half = measure(float(np.median(less["unsure"].values)), kind, told.shown)
    when = _day(str(less.attrs["coldest_day"]), told)
    return (
        f"{versus}, {when}: from {low} to {high}. What is not known of wind and air in the bowl moves it by "
        f"{half} either way (middle of the field's spots); on {share:.0f} % of the field the sign is open."
    )


def _day(iso: str, told: Zones) -> str:
    return day(np.datetime64(iso) + np.timedelta64(12, "h"), told.shown)


def strips_title(name: str) -> str:
    """Over the calendar strips."""
    return f"{'Lowest canopy' if name == 'strips' else 'Light'} day by day, darkest zone on top"


def strips_words(told: Zones, name: str) -> str:
    """What the strips show."""
    assert told.daily is not None
    if name != "strips":
        light = told.daily["light_integral"]
        dullest, brightest = (_day(told.days[int(f(light.mean("zone").values))].isoformat(), told) for f in _ENDS)
        return (
            f"Least light on {dullest}, most on {brightest}; from {float(light.min()):.1f} to {float(light.max()):.1f} "
            "mol/m² a day. All numbers stand in days.csv."
        )
    low = told.daily["canopy_temperature_min"]
    when = int(np.argmin(low.min("zone").values))
    frost = int((low.min("zone").values < 273.15).sum())
    return (
        f"Frost somewhere on {frost} of {len(told.days)} days; coldest on {_day(told.days[when].isoformat(), told)}, "
        f"{measure(float(low.min()), 'temperature', told.shown)}. All numbers stand in days.csv."
    )


_ENDS = (np.argmin, np.argmax)
