"""The words of `zones`: who gets how much light and warmth, from where, and what that means for the grass."""

import numpy as np

from microclimate.report.words import clock, day, sentence
from microclimate.report.zones import Zones

LEAST = 1.15  # ratio of light below which two zones are told as alike; ours


def title(told: Zones) -> str:
    """What the page is about."""
    return f"Light and shade, {span(told)}"


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
    return sentence(text)


def compass(azimuth: float) -> str:
    """Eight points of the compass."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return names[round(azimuth / 45.0) % 8]


def sources(told: Zones) -> list[str]:
    """What the numbers rest on."""
    return [
        f"Light under the weather of {told.source}."
        if told.source
        else "Light under a clear sky (no weather was given): what the place and its stands allow, not what will come.",
        "Light for growth: 2.06 mol in each MJ of daylight, 45 % of it in 400 to 700 nm and 4.57 µmol/J "
        "(McCree 1972; Thimijan and Heins 1983); the share runs from 41 to 48 % with the sky.",
        "Sun counts where its disc is seen at grass height, every ten minutes. Off stands: light that the stands send "
        "back, all bounces, as if matte; bare metal also throws bright patches that move with the sun.",
    ]


_MAPS = {
    "light_integral": ("Light for growth", "mol/m² a day", 1.0, 1),
    "sunlit_hours": ("Hours of direct sun", "h a day", 1.0, 1),
    "energy_stands": ("Light from the stands", "MJ/m² a day", 1e-6, 2),
    "sky_view_factor": ("Sky that is seen", "%", 100.0, 0),
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
