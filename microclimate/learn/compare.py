"""Modelled against measured: scores by subset, night minima, freeze yes/no, and the zero check of an infrared sensor.

Series are pandas, by UTC stamps at the END of intervals; temperatures in K. A night is 18-08 local standard time.
"""

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from microclimate.constants import ZERO_CELSIUS
from microclimate.fieldlog.clock import zone_of

NIGHT_START, NIGHT_END = 18, 8  # [h] local standard time
NIGHT_PRESENT = 0.9  # share of a night's intervals that must be there (ours)
CLEAR, CALM = 0.25, 2.0  # [1] cloud index from longwave and [m s-1] wind at 2 m of a clear calm night (ours)
RIMED = 2.0  # [K] a night whose median surface is this much warmer than the air has a rimed or snowed sensor (ours), as
ICED, ICED_SHARE = 5.0, 0.1  # [K], [1] has one that is so much warmer, in frost, for so much of the night (ours)
BAND = 0.5  # [K] within it a freeze cannot be judged
OFFSET_RATE = 0.25  # share of a night's error that the running offset takes up
ZERO_CLOUD, ZERO_WIND, ZERO_COUNT = 0.9, 5.0, 50  # [1] cloud, [m s-1] wind at 10 m, intervals wanted (ours)
_DARK = 5.0  # [W m-2] shortwave below which it is dark


def local_standard(times: pd.DatetimeIndex, time_zone: str) -> pd.DatetimeIndex:
    """UTC stamps as naive local standard time, the year round.

    Standard time is the smaller of the zone's January and July offsets in the year of the first stamp.
    """
    zone = zone_of(time_zone)
    year = times[0].year if len(times) else 2000
    offsets = [datetime(year, month, 1, tzinfo=UTC).astimezone(zone).utcoffset() for month in (1, 7)]
    return times + pd.Timedelta(min(offset for offset in offsets if offset is not None))


def night_of(times: pd.DatetimeIndex, time_zone: str) -> pd.DatetimeIndex:
    """The date of the evening of each stamp's night, NaT by day."""
    local = local_standard(times, time_zone)
    shifted = local - pd.Timedelta(hours=NIGHT_START) - pd.Timedelta(nanoseconds=1)  # the stamp ends its interval
    inside = (shifted - shifted.normalize()) < pd.Timedelta(hours=24 - NIGHT_START + NIGHT_END)
    return pd.DatetimeIndex(np.where(inside, shifted.normalize(), np.datetime64("NaT")))


def cold_season(times: pd.DatetimeIndex, latitude: float) -> np.ndarray:
    """True in October to April, half a year later in the southern hemisphere."""
    month = times.month.to_numpy()
    return (month >= 10) | (month <= 4) if latitude >= 0.0 else (month >= 4) & (month <= 10)


def zero_check(
    surface: pd.Series, air: pd.Series, cloud: pd.Series, wind_10m: pd.Series, shortwave: pd.Series, latitude: float
) -> tuple[float, int]:
    """Offset of an infrared surface sensor, and the number of intervals it rests on.

    Under thick cloud and wind the surface is as warm as the air, so what is left is the sensor's own: the median of
    surface - air over dark intervals of the cold season with cloud >= 0.9 and wind >= 5 m/s at 10 m. With fewer than 50
    such intervals the offset is 0. Thresholds are ours, no source.

    Returns
    -------
    tuple
        Offset [K], number of intervals.
    """
    frame = pd.DataFrame({"d": surface - air, "cloud": cloud, "wind": wind_10m, "sun": shortwave}).dropna()
    times = pd.DatetimeIndex(frame.index)
    chosen = frame[
        cold_season(times, latitude)
        & (frame["sun"] < _DARK).to_numpy()
        & (frame["cloud"] >= ZERO_CLOUD).to_numpy()
        & (frame["wind"] >= ZERO_WIND).to_numpy()
    ]
    count = len(chosen)
    return (float(chosen["d"].median()) if count >= ZERO_COUNT else 0.0), count


def scores(observed: pd.Series, modelled: pd.Series) -> dict[str, float]:
    """Count, bias (model - measured), mean absolute error, rmse and correlation of the pairs that are complete."""
    pair = pd.DataFrame({"o": observed, "m": modelled}).dropna()
    error = pair["m"] - pair["o"]
    spread = bool(len(pair) > 2 and pair["o"].std() > 0 and pair["m"].std() > 0)
    return {
        "n": len(pair),
        "bias": float(error.mean()),
        "mae": float(error.abs().mean()),
        "rmse": float(np.sqrt((error**2).mean())),
        "corr": float(pair["o"].corr(pair["m"])) if spread else np.nan,
    }


def table(
    observed: pd.Series, modelled: pd.Series, subsets: Mapping[str, pd.Series], labels: Mapping[str, object]
) -> list[dict[str, object]]:
    """One row of scores for each subset (True where an interval belongs to it)."""
    rows: list[dict[str, object]] = []
    for name, inside in subsets.items():
        chosen = inside.reindex(observed.index, fill_value=False).astype(bool)
        rows.append({**labels, "subset": name, **scores(observed[chosen], modelled.reindex(observed.index)[chosen])})
    return rows


def nights(
    observed: pd.Series,
    modelled: pd.Series,
    air: pd.Series,
    cloud: pd.Series,
    wind_2m: pd.Series,
    time_zone: str,
    *,
    rime: bool = True,
) -> pd.DataFrame:
    """Lowest surface temperature of each night, measured and modelled, with what kind of night it was.

    Parameters
    ----------
    observed, modelled, air : Series
        Surface and air temperature [K], same steps.
    cloud, wind_2m : Series
        Cloud index from longwave [0..1] and wind at 2 m [m s-1].
    time_zone : str
        IANA name or fixed offset.
    rime : bool
        Screen out nights of a rimed or snowed sensor: median of measured surface - air above 2 K, or above 5 K in a
        tenth of the night with the air below 0 degC; ground that nobody heats is not.

    Returns
    -------
    DataFrame
        Index the evening's date; columns observed, modelled, air [K], onset_observed, onset_modelled (UTC, first
        interval below 0 degC of a night that began above), clear_calm, screened ("" when the night counts).
    """
    frame = pd.DataFrame({"observed": observed, "modelled": modelled, "air": air, "cloud": cloud, "wind": wind_2m})
    times = pd.DatetimeIndex(frame.index)
    frame["night"] = night_of(times, time_zone)
    interval = pd.Series(times).diff().median()
    full = pd.Timedelta(hours=24 - NIGHT_START + NIGHT_END) / interval
    frame["excess"] = frame["observed"] - frame["air"]
    both = frame.dropna(subset=["night", "observed", "modelled", "air"])
    by_night = both.groupby("night")
    found = by_night[["observed", "modelled", "air"]].min()
    for name in ("observed", "modelled"):
        found[f"onset_{name}"] = _onset(both, name)
    found["clear_calm"] = night_kinds(both["night"], both["cloud"], both["wind"])
    iced = ((both["excess"] > ICED) & (both["air"] < ZERO_CELSIUS)).groupby(both["night"]).mean()
    rimed = rime & ((by_night["excess"].median() > RIMED) | (iced >= ICED_SHARE))
    short = by_night.size() < NIGHT_PRESENT * full
    words = np.where(rimed, "sensor warmer than the air: rime or snow on it", "")
    found["screened"] = np.where(short, "incomplete", words)
    return found


def _onset(both: pd.DataFrame, name: str) -> pd.Series:
    """First stamp below 0 degC of each night, NaT where there is none or the night began below it."""
    below = both[name] < ZERO_CELSIUS
    night = both["night"]
    first = below[below].groupby(night[below]).apply(lambda part: part.index[0])
    began_below = below.groupby(night).first()
    onset = pd.Series(pd.NaT, index=began_below.index, dtype="datetime64[ns]")
    onset[first.index] = first.to_numpy().astype("datetime64[ns]")
    return onset.where(~began_below)


def night_kinds(night_of: pd.Series, cloud: pd.Series, wind_2m: pd.Series) -> pd.Series:
    """Whether each night was clear and calm: mean cloud index below 0.25 and mean wind at 2 m below 2 m/s."""
    means = pd.DataFrame({"cloud": cloud, "wind": wind_2m}).groupby(night_of).mean()
    return (means["cloud"] < CLEAR) & (means["wind"] < CALM)


def running_offset(observed: pd.Series, modelled: pd.Series, rate: float = OFFSET_RATE) -> pd.Series:
    """Modelled minima with the offset that the nights before have taught; never from the night itself."""
    offset = 0.0
    out = []
    for seen, told in zip(observed, modelled, strict=True):
        out.append(told + offset)
        if np.isfinite(seen) and np.isfinite(told):
            offset += rate * (seen - told - offset)
    return pd.Series(out, index=modelled.index)


def freezes(observed: pd.Series, modelled: pd.Series, *, outside: bool = False) -> dict[str, float]:
    """The yes/no table of minima below 0 degC.

    Parameters
    ----------
    outside : bool
        Leave out nights whose modelled minimum lies within 0.5 K of 0 degC, where the words are "about even".

    Returns
    -------
    dict
        n, hits, misses, false_alarms, correct_negatives, csi, accuracy (NaN where nothing can be said).
    """
    pair = pd.DataFrame({"o": observed, "m": modelled}).dropna() - ZERO_CELSIUS
    if outside:
        pair = pair[pair["m"].abs() > BAND]
    seen, told = pair["o"] < 0.0, pair["m"] < 0.0
    hits, misses, false = int((seen & told).sum()), int((seen & ~told).sum()), int((~seen & told).sum())
    n, events = len(pair), hits + misses + false
    return {
        "n": n,
        "hits": hits,
        "misses": misses,
        "false_alarms": false,
        "correct_negatives": n - events,
        "csi": hits / events if events else np.nan,
        "accuracy": (n - misses - false) / n if n else np.nan,
    }


def onset_error(nights: pd.DataFrame) -> tuple[float, int]:
    """Mean absolute error of the onset of freezing [h], and the number of nights that have both."""
    both = nights.dropna(subset=["onset_observed", "onset_modelled"])
    hours = (both["onset_modelled"] - both["onset_observed"]).dt.total_seconds().abs() / 3600.0
    return (float(hours.mean()) if len(both) else np.nan), len(both)
