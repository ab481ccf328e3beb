"""Numbers of a weather file to SI: units judged by size as well as label, sums differenced, sentinels set aside.

A repair is made only where the numbers leave one reading; it is then stated as a code. Anything else is refused.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from microclimate import units
from microclimate.errors import Problem
from microclimate.weather.names import AMOUNT, FLUX, RAW

Floats = NDArray[np.float64]

SENTINELS = (-9999.0, -9999.9, -999.0, -999.9, -99999.0, -9900.0, -99.0, -99.9, 999.0, 999.9, 9999.0, 99999.0, 1e20)
# energy over an interval or since a start, as several services send radiation [J m-2]
ENERGY = {
    "j/m2": 1.0, "j m-2": 1.0, "j m**-2": 1.0, "w s m-2": 1.0, "ws/m2": 1.0, "kj/m2": 1e3, "kj m-2": 1e3,
    "mj/m2": 1e6, "mj m-2": 1e6, "wh/m2": 3600.0, "w h m-2": 3600.0, "kwh/m2": 3.6e6,
}  # fmt: skip
SHORTWAVE_MAX = 1600.0  # [W m-2] above any hourly mean at the ground
LONGWAVE_RANGE = (80.0, 600.0)  # [W m-2]
OFFSET = 20.0  # [W m-2] a radiometer's own night loss; below minus this it is a fault (ours)


@dataclass
class Settled:
    """One variable in SI with what was done to it."""

    values: Floats
    codes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def settle(
    name: str, values: Floats, unit: str, seconds: Floats, where: str, *, running_sum: bool | None = None
) -> Settled:
    """One variable of a file in SI.

    Parameters
    ----------
    name : str
        Canonical name, a key of `names.RAW`.
    values : (..., time)
        As the file has them, NaN where missing.
    unit : str
        As the file labels them.
    seconds : (time,) [s]
        Length of the interval each stamp ends.
    where : str
        File and column, for messages.
    running_sum : bool or None
        Whether an amount or energy counts from a start; None: judged by the numbers.
    """
    raw = RAW[name]
    done = Settled(values.astype(float, copy=True))
    if not np.isfinite(done.values).any():
        done.problems.append(
            Problem(where, "holds no value at all", "numbers", "leave the column out if there are none")
        )
        return done
    _sentinels(done, name, unit)
    if not np.isfinite(done.values).any():
        done.problems.append(Problem(where, "holds only marks for missing values", "numbers", "leave the column out"))
        return done
    if name == "thickness_of_snowfall_amount" or raw.dimensions == AMOUNT:
        _amount(done, name, unit, seconds, where, running_sum)
    elif raw.dimensions == FLUX:
        _flux(done, name, unit, seconds, where, running_sum)
    else:
        try:
            given = units.dimension(unit)
        except units.UnknownUnit:
            given = ""
        if given not in raw.dimensions:
            found = f"is in [{unit}], a {given}" if given else f"is in [{unit}], no unit known here"
            done.problems.append(Problem(where, found, f"a {raw.dimensions[0]}, as in 'name [{_example(name)}]'"))
            return done
        {"temperature": _temperature, "fraction": _fraction}.get(given, _plain)(done, name, unit, where)
    if not done.problems:
        _range(done, name, where)
    return done


def _example(name: str) -> str:
    dimension = RAW[name].dimensions[0]
    return {
        "temperature": "degC",
        "fraction": "%",
        "speed": "m/s",
        "pressure": "hPa",
        "flux": "W/m2",
        "amount": "mm",
    }.get(dimension, "degree")


def _sentinels(done: Settled, name: str, unit: str) -> None:
    """Marks such as -9999 become missing where no such value can be meant."""
    raw = RAW[name]
    try:
        low, high = (
            units.from_si([raw.low, raw.high], unit) if units.dimension(unit) in raw.dimensions else (0.0, np.inf)
        )
    except units.UnknownUnit:
        low, high = 0.0, np.inf
    if raw.dimensions == AMOUNT or raw.dimensions == FLUX:
        low, high = 0.0, np.inf
    impossible = (done.values < low) | (done.values > high)
    marked = impossible & np.isin(done.values, SENTINELS)
    if marked.any():
        done.values[marked] = np.nan
        done.codes.append(f"missing={name}:{int(marked.sum())}")


def _plain(done: Settled, name: str, unit: str, where: str) -> None:
    done.values = units.to_si(done.values, unit)


def _temperature(done: Settled, name: str, unit: str, where: str) -> None:
    given = units.known(unit)
    median, high = float(np.nanmedian(done.values)), float(np.nanmax(done.values))
    span = f"{np.nanmin(done.values):g} to {high:g}"
    if given in ("degC", "degF") and 200.0 < median < 340.0:
        done.codes.append(f"unit={name}:{given}->K")
        given = "K"
    elif given == "K" and median < 150.0:
        done.problems.append(Problem(where, f"is labelled K but runs {span}", "200 to 340 K", "label it degC or degF"))
    elif given == "degC" and high > 60.0:
        done.problems.append(Problem(where, f"is labelled degC but runs {span}", "up to 60 degC", "is it degF?"))
    done.values = units.to_si(done.values, given)


def _fraction(done: Settled, name: str, unit: str, where: str) -> None:
    given, high = units.known(unit), float(np.nanmax(done.values))
    span = f"{np.nanmin(done.values):g} to {high:g}"
    if given == "1" and 10.0 < high <= 110.0:
        done.codes.append(f"unit={name}:1->%")
        given = "%"
    elif given == "1" and high > 1.1:
        done.problems.append(
            Problem(where, f"is labelled a fraction but runs {span}", "0 to 1", "label it oktas, tenths or %")
        )
    elif given == "%" and 0.0 < high <= 1.0 and (done.values % 1.0 > 0.0).any():
        done.codes.append(f"unit={name}:%->1")
        given = "1"
    elif given == "oktas" and high == 9.0:  # 9: sky hidden, in the code tables of WMO-No. 306
        done.values = np.where(done.values == 9.0, 8.0, done.values)
    elif given in ("oktas", "tenths") and high > 10.0:
        done.problems.append(
            Problem(where, f"is labelled {given} but runs {span}", f"0 to {10 if given == 'tenths' else 8}")
        )
    done.values = units.to_si(done.values, given)


def _rises(values: Floats) -> bool:
    """Whether every row only ever rises, in at least eight steps: the mark of a sum from a start."""
    rows = values.reshape(-1, values.shape[-1])
    steps = np.diff(rows, axis=-1)
    steps = steps[np.isfinite(steps)]
    return bool(steps.size and (steps >= -1e-9 * np.nanmax(np.abs(rows))).all() and (steps > 0).sum() >= 8 * len(rows))


def _difference(values: Floats) -> Floats:
    """A sum from a start as sums over each interval; a fall is a new start."""
    before = np.concatenate([np.full((*values.shape[:-1], 1), np.nan), values[..., :-1]], axis=-1)
    steps = np.where(values < before, values, values - before)
    steps[..., 0] = np.nan  # what fell before the first stamp is not in the file
    return steps


def _flux(done: Settled, name: str, unit: str, seconds: Floats, where: str, running_sum: bool | None) -> None:
    energy = ENERGY.get(" ".join(unit.lower().split()).replace("m^2", "m2").replace("m²", "m2"))
    longwave = name == "surface_downwelling_longwave_flux_in_air"
    if energy is None:
        try:
            if units.dimension(unit) != "flux":
                raise units.UnknownUnit(unit)
        except units.UnknownUnit:
            done.problems.append(Problem(where, f"is in [{unit}]", "W/m2, or J/m2 over the interval"))
            return
        done.values = units.to_si(done.values, unit)
        top = float(np.nanmax(done.values))
        if top <= SHORTWAVE_MAX:
            return
        energy = 1.0
        taken = "J/m2"
    else:
        taken = ""
    sums = done.values * energy
    if running_sum or (running_sum is None and _rises(sums)):
        sums = _difference(sums)
        done.codes.append(f"accumulated={name}")
    flux = sums / seconds
    low, high = LONGWAVE_RANGE if longwave else (-OFFSET, SHORTWAVE_MAX)
    finite = flux[np.isfinite(flux)]
    if not finite.size or finite.min() < low or finite.max() > high:
        span = f"{np.nanmin(done.values):g} to {np.nanmax(done.values):g}"
        done.problems.append(
            Problem(where, f"is in [{unit}] and runs {span}", f"{low:g} to {high:g} W/m2", "neither W/m2 nor J/m2 fits")
        )
        return
    if taken:
        done.codes.append(f"unit={name}:{unit.strip()}->{taken}")
    done.values = flux


def _amount(done: Settled, name: str, unit: str, seconds: Floats, where: str, running_sum: bool | None) -> None:
    try:
        given = units.dimension(unit)
    except units.UnknownUnit:
        given = ""
    wanted = RAW[name].dimensions
    if given not in wanted:
        done.problems.append(
            Problem(where, f"is in [{unit}]", "mm over the interval, or mm/h" if wanted == AMOUNT else "cm")
        )
        return
    values = units.to_si(done.values, unit)
    if given == "amount rate":
        done.values = values
        return
    if given == "length" and wanted == AMOUNT:
        values = values * 1000.0  # a metre of water is 1000 kg m-2
    if running_sum or (running_sum is None and _rises(values)):
        values = _difference(values)
        done.codes.append(f"accumulated={name}")
    done.values = values if wanted != AMOUNT else values / seconds


def _range(done: Settled, name: str, where: str) -> None:
    """A little beyond the range is set to its edge and counted; more is refused."""
    raw = RAW[name]
    low, high = raw.low, raw.high
    slack = 0.0
    if raw.dimensions == FLUX and name != "surface_downwelling_longwave_flux_in_air":
        slack = OFFSET
    elif raw.dimensions == ("fraction",):
        slack = 0.02
        high = 1.0 if name == "cloud_area_fraction" else raw.high
    elif raw.dimensions == AMOUNT:
        slack = 1e-5
    elif raw.dimensions == ("angle",):
        done.values = np.where(done.values == 360.0, 0.0, done.values)
    beyond = (done.values < low) | (done.values > high)
    if not beyond.any():
        return
    far = (done.values < low - slack) | (done.values > high + slack)
    if far.any():
        shown = np.unique(done.values[far])
        unit = {"temperature": "K", "speed": "m/s", "pressure": "Pa", "angle": "degree"}.get(raw.dimensions[0], "")
        done.problems.append(
            Problem(
                where,
                f"{int(far.sum())} of {far.size} values out of range, such as {shown[0]:g} {unit}".rstrip(),
                f"{low:g} to {high:g} {unit}".rstrip(),
                "check the unit, or mark missing values as empty",
            )
        )
        return
    done.codes.append(f"clipped={name}:{int(beyond.sum())}")
    done.values = np.clip(done.values, low, high)
