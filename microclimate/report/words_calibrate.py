"""The words of `calibrate`: what the readings taught about wind and air in the bowl, and what to read next."""

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr

from microclimate.report.words import between, glued, number
from microclimate.report.words_fieldlog import counted, reason
from microclimate.report.words_reasons import CLEAR_SKIES
from microclimate.units import Shown

WIDTH = 80
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def calibrated(
    venue: str,
    told: xr.Dataset,
    flagged: Sequence[tuple[str, str]],
    directions: Sequence[tuple[float, float]],
    visits: int | None,
    nights: int | None,
    declined: Sequence[tuple[str, str, int]],
    shown: Shown,
    path: str,
) -> str:
    """The whole answer of `calibrate`.

    Parameters
    ----------
    told : Dataset
        wind_factor and prior_wind_factor (zone, direction, quantile) [1]: wind at 2 m over the forecast's at 10 m;
        air_difference and prior_air_difference (night, quantile) [K], where there are readings of air.
    flagged : sequence
        Readings to be trusted less: where, why.
    directions : sequence
        Wind directions [degree] in which a visit helps most, each with the mean log error left after it.
    visits, nights : int or None
        How many more visits, and calm nights with readings of air, until enough is known; None: many.
    declined : sequence
        "wind" or "air", the code of what spoke against taking it, and how many visits or nights there are.
    """
    lines = [f"{venue}: what the readings say", ""]
    lines += _wrapped(
        "Wind 2 m over the grass as a share of the forecast's at 10 m, mean over all directions (nine times in ten it "
        "lies in the range):"
    )
    width = max(len(str(zone)) for zone in told["zone"].values)
    for zone in told["zone"].values:
        now, before = (_share(told[name].sel(zone=zone)) for name in ("wind_factor", "prior_wind_factor"))
        lines.append(f"  {str(zone).ljust(width)}  {now}; without readings {before}")
    if "air_difference" in told:
        lines += ["", "Air in the bowl against outside, at the last reading of each night:"]
        for night in range(told.sizes["night"]):
            now, before = (_degrees(told[name].isel(night=night), shown) for name in _AIR)
            lines.append(f"  night {night + 1}: {now}; without readings {before}")
    if flagged:
        lines += ["", "Laid aside or trusted less:", *(f"- {where}: {why}" for where, why in flagged)]
    if directions:
        lines += ["", *_wrapped("A visit to all zones would help most with wind from, in this order:")]
        lines += [
            f"- {_POINTS[round(angle / 22.5) % 16]} ({angle:.0f}°): the typical error then is a factor of "
            f"{np.exp(error):.2f}"
            for angle, error in directions
        ]
    lines += ["", *_wrapped(_more(visits, nights))]
    for what, why, count in declined:
        lines += ["", *_wrapped(_left(what, why, count))]
    lines += ["", f"Written: {path}" if path else "Nothing was written."]
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


def _more(visits: int | None, nights: int | None) -> str:
    """How much reading is still worth its while."""
    if visits == 0:
        wind = "The wind is known well enough for freezing: to a fifth or better."
    else:
        count = "More than twelve" if visits is None else f"About {visits}"
        more = "visit" if visits == 1 else "visits"
        wind = f"{count} more {more}, each with one reading a zone, would tell the wind to a fifth."
    if nights == 0:
        return wind
    count = "more than twelve" if nights is None else f"about {nights}"
    more = "night" if nights == 1 else "nights"
    return (
        f"{wind} For the air, readings inside and outside in {count} further calm, clear {more} would leave half of "
        "what is not known without any."
    )


def _left(what: str, why: str, count: int) -> str:
    name, one = {"wind": ("The wind", "visit"), "air": ("The air", "night")}[what]
    if why == "few":
        many = f"{count} {one} is" if count == 1 else f"{count} {one}s are"
        return f"{name}: not taken, {many} too few to hold some out; what was known before stays."
    if why == "unlike":
        return f"{name}: not taken, the readings go with no exchange at all; what was known before stays."
    return f"{name}: not taken, it tells {one}s that it never saw no better; what was known before stays."


_SEATS = {"seat_emissivity": "heat sent out (emissivity)", "seat_albedo": "light sent back (reflectance)"}
_AGAINST = {
    "few": "too few {of} ({count}): what was known before stays",
    "unlike": "the readings contradict each other: what was known before stays",
    "worse": "it tells {of} that it never saw no better: what was known before stays",
}


def seats(
    found: Sequence[tuple[str, str, tuple[float, float, float], tuple[float, float], str, int, int]],
    strange: Sequence[str],
    materials: Sequence[str],
) -> str:
    """What readings of seats taught.

    Parameters
    ----------
    found : sequence
        Name in the calibration file, material, value and its range, range before, code of what speaks against it
        ("" where it is taken), readings, visits.
    strange : sequence of str
        What was read that no stand is made of.
    materials : sequence of str
        What they are made of.
    """
    lines = ["What the readings of the seats say (nine times in ten the value lies in the range):"]
    for name, material, (value, low, high), before, why, readings, visits in found:
        start = f"{material}, {_SEATS[name]}: "
        if why:
            lines += _listed(start + _AGAINST[why].format(of="visits", count=visits))
        else:
            lines += _listed(
                f"{start}{value:.2f} ({low:.2f} to {high:.2f}) from {readings} readings on {visits} days; without "
                f"readings {before[0]:.2f} to {before[1]:.2f}"
            )
    for material in strange:
        lines += _listed(f"{material}: no stand is of it; they are of {', '.join(materials) or 'nothing'}")
    return "\n".join([*lines, "", ""])


def bias(
    kinds: Sequence[tuple[float, tuple[float, float], int]],
    why: str,
    before: float,
    after: float,
    shown: Shown,
) -> str:
    """What the forecasts of lowest air miss: of other nights and of clear calm ones [K], their ranges, and nights."""
    nights = sum(count for *_, count in kinds)
    lines = ["What the forecasts miss of the lowest air outside (forecast less read):"]
    if why:
        lines += _listed(_AGAINST[why].format(of="nights", count=nights))
        return "\n".join([*lines, "", ""])
    symbol = shown.symbol(_DIFFERENCE)
    for name, (value, ends, count) in zip(("other nights", "clear calm nights"), kinds, strict=True):
        now = f"{number(value, _DIFFERENCE, shown)} {symbol} ({between(*ends, _DIFFERENCE, shown)})"
        lines += _listed(f"{name}: {now} from {count}")
    typical = f"{shown.text(before, _DIFFERENCE, 2)} before, {shown.text(after, _DIFFERENCE, 2)} after"
    lines += _listed(f"typical error of nights held out: {typical}")
    return "\n".join([*lines, "", ""])


_AIR = ("air_difference", "prior_air_difference")


def _share(factor: xr.DataArray) -> str:
    low, middle, high = np.exp(np.log(factor.transpose("quantile", "direction").values).mean(axis=1))
    return f"{middle:.2f} ({low:.2f} to {high:.2f})"


def _degrees(difference: xr.DataArray, shown: Shown) -> str:
    kind = "temperature difference"
    low, middle, high = (float(value) for value in difference.values)
    symbol = shown.symbol(kind)
    return f"{number(middle, kind, shown)} {symbol} ({between(low, high, kind, shown)})"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(glued(text), WIDTH, break_on_hyphens=False)


_FACTORS = {
    "canopy_conductance_factor": "heat between leaf and soil",
    "exchange_floor_factor": "heat from the air on calm nights",
    "water_factor": "water in the root zone",
    "conductivity_factor": "conductivity of the root zone, at the water that was read",
    "longwave_offset": "longwave of the sky, W/m2 added",
}
_DECLINED = {
    "few": "there are too few nights with readings ({nights})",
    "unlike": "the readings do not go with the weather: a wrong clock, place or sensor? (`fieldlog quality` may tell)",
    "worse": "it tells nights that it never saw no better",
}


def sky_told(formula: str, days: int, errors: Mapping[str, float]) -> str:
    """What measured longwave says of the formulas of the clear sky; "" where none was measured.

    Parameters
    ----------
    formula : str
        The one taken; "" where the usual one stays.
    days : int
        Days with measured longwave.
    errors : mapping
        Root mean square error [W m-2] by formula.
    """
    if not errors:
        return ""
    told = ", ".join(f"{CLEAR_SKIES[name]} {error:.0f} W/m²" for name, error in sorted(errors.items(), key=_second))
    text = f"Heat from the sky was measured on {days} days; the formulas miss it by {told}. "
    text += f"{CLEAR_SKIES[formula]} is taken from now on." if formula else "What was used before stays."
    return "\n".join(_wrapped(text)) + "\n\n"


def _second(pair: tuple[str, float]) -> float:
    return pair[1]


def left_out(left: Mapping[tuple[str, str, str], int], shown: Shown) -> str:
    """Readings of a table that failed a check, by sensor, quantity and check, before a fit; "" where none did."""
    if not left:
        return ""
    lines = ["Left out, as the checks of the field log would flag them:"]
    for (sensor, quantity, check), count in left.items():
        name = sensor.partition("[")[0].strip().replace("_", " ")
        lines += _listed(f"{name}: {reason(check, shown, quantity)}; {counted(count, 'reading')}")
    return "\n".join([*lines, "", ""])


def from_nights(
    venue: str,
    taken: bool,
    why: str,
    nights: int,
    gain: float,
    factors: Sequence[tuple[str, float, tuple[float, float], tuple[float, float], bool]],
    zero: Sequence[tuple[str, float, int]],
    missed: tuple[str, int, float, float, float] | None,
    shown: Shown,
    path: str,
) -> str:
    """What a log of nights taught.

    Parameters
    ----------
    taken : bool
    why : str
        Code of what spoke against it.
    gain : float
        Share by which held-out nights are told better.
    factors : sequence
        Name, value, range now, range before, and whether the readings tell of it.
    zero : sequence
        Infrared sensor, offset [K], intervals of cloud and wind that it rests on.
    missed : tuple or None
        "residual", "offset" or "": what was taken of what is still missed; nights, error before and after on nights
        held out [K], offset tonight [K].
    """
    lines = [f"{venue}: what {nights} nights say", ""]
    if taken:
        lines += _wrapped(
            f"Taken: nights that the fit never saw are told {100 * gain:.0f} % better. As shares of what the venue "
            "file says (nine times in ten the value lies in the range):"
        )
        for name, value, now, before, told in factors:
            digits, usual = (1, "0") if name == "longwave_offset" else (2, "1")
            ends = (f"{now[0]:.{digits}f} to {now[1]:.{digits}f}", f"{before[0]:.{digits}f} to {before[1]:.{digits}f}")
            text = f"{_FACTORS[name]}: {value:.{digits}f} ({ends[0]}); without readings {usual} ({ends[1]})"
            lines += _listed(text if told else f"{text}: the readings tell little of it")
    else:
        lines += _wrapped(f"Not taken: {_DECLINED[why].format(nights=nights)}. What was known before stays.")
    for sensor, offset, count in zero:
        name = sensor.partition("[")[0].strip().replace("_", " ")
        if count < 50:
            text = f"{name}: only {count} dark, cloudy, windy intervals; its own offset stays unknown"
        else:
            direction = "warm" if offset > 0 else "cold"
            size = f"{number(abs(offset), _DIFFERENCE, shown)} {shown.symbol(_DIFFERENCE)}"
            text = f"{name} reads {size} too {direction}, as {count} dark, cloudy, windy intervals show"
        lines += ["", *_wrapped(text[:1].upper() + text[1:] + ".")]
    if missed is not None:
        lines += ["", *_wrapped(_missed(*missed, shown))]
    lines += ["", f"Written: {path}" if path else "Nothing was written."]
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


_DIFFERENCE = "temperature difference"


def _missed(what: str, nights: int, before: float, after: float, offset: float, shown: Shown) -> str:
    symbol = shown.symbol(_DIFFERENCE)
    errors = (
        f"{shown.text(before, _DIFFERENCE, 2)} before, {float(shown.number(after, _DIFFERENCE)):.2f} {symbol} after"
    )
    if what == "residual":
        return (
            f"What is still missed of the lowest canopy is corrected by kind of night (air, wind, cloud), as {nights} "
            f"nights taught: typical error on nights held out {errors}."
        )
    if what == "offset":
        return (
            f"The lowest canopy is moved by {shown.text(offset, _DIFFERENCE)}, as the last of {nights} nights "
            f"taught: typical error {errors}."
        )
    return (
        f"What is still missed of the lowest canopy ({shown.text(before, _DIFFERENCE, 2)}) follows no rule: left alone."
    )


def _listed(text: str) -> list[str]:
    return textwrap.wrap(glued(text), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
