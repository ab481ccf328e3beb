"""The days that `zones` speaks of: local days of a span, the weather that covers them, and its stretches."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from microclimate.errors import InputError, Problem, refuse
from microclimate.schema import WEATHER, Site
from microclimate.weather import assumed

LONGEST = 400  # days of a span: ours
STRETCH = 20  # days that are run at once: memory; ours
LONGEST_GAP = np.timedelta64(6, "h")  # that is filled from the days beside it; a longer one is refused: ours
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Days:
    """Whole local days, the first and the last included."""

    first: date
    last: date
    time_zone: str

    @property
    def count(self) -> int:
        """How many."""
        return (self.last - self.first).days + 1

    @property
    def dates(self) -> list[date]:
        """Each of them."""
        return [self.first + k * _DAY for k in range(self.count)]

    @property
    def edges(self) -> NDArray[np.datetime64]:
        """Local midnights from the first day's to that after the last, UTC (day + 1,)."""
        return np.array([midnight(self.first + k * _DAY, self.time_zone) for k in range(self.count + 1)])

    def of(self, times: NDArray[np.datetime64]) -> NDArray[np.int64]:
        """Number of the day that intervals ending at `times` (UTC) belong to; -1 and `count` lie outside."""
        return np.asarray(np.searchsorted(self.edges, times, side="left") - 1, dtype=np.int64)

    def stretches(self, days: int = STRETCH) -> list["Days"]:
        """The span cut into parts of at most `days`."""
        starts = range(0, self.count, days)
        return [
            Days(self.first + k * _DAY, min(self.first + (k + days - 1) * _DAY, self.last), self.time_zone)
            for k in starts
        ]


def midnight(day: date, time_zone: str) -> np.datetime64:
    """The moment at which a local day begins, UTC."""
    local = pd.Timestamp(datetime(day.year, day.month, day.day)).tz_localize(
        ZoneInfo(time_zone), nonexistent="shift_forward", ambiguous=True
    )
    return np.datetime64(local.tz_convert("UTC").tz_localize(None), "ns")


def asked(first: str | None, last: str | None, time_zone: str, today: date, weather: xr.Dataset | None) -> Days:
    """The days of `--from` and `--to`; without them all whole days of the weather, or today.

    Raises
    ------
    InputError
        A text that is no date, an end before the beginning, a span too long, or weather without one whole day.
    """
    problems: list[Problem] = []
    given = [_date(text, name, problems) for text, name in ((first, "--from"), (last, "--to"))]
    if problems:
        raise InputError("zones", problems)
    begin, end = given
    if weather is None:
        begin = begin or end or today
        end = end or begin
    else:
        whole = _whole(weather, time_zone)
        if whole is not None:
            begin = begin or (whole[0] if end is None else min(whole[0], end))
            end = end or max(whole[1], begin)
        begin, end = begin or end, end or begin
        if begin is None or end is None:
            raise refuse(_named(weather), "does not hold one whole local day", "a day from midnight to midnight")
    if end < begin:
        raise refuse("--to", f"{end} lies before --from {begin}", "the same day or a later one")
    if (end - begin).days + 1 > LONGEST:
        raise refuse("--from, --to", f"span {(end - begin).days + 1} days", f"at most {LONGEST} days")
    return Days(begin, end, time_zone)


def _date(text: str | None, name: str, problems: list[Problem]) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        problems.append(Problem(name, repr(text), "a day such as 2026-01-21"))
        return None


def moment(text: str, time_zone: str, option: str = "--at") -> pd.Timestamp:
    """The UTC instant of an option such as `--at`, given in local time.

    Raises
    ------
    InputError
        When the text is no date with a time, or a time that the clocks leave out.
    """
    try:
        found = datetime.fromisoformat(text.strip().replace(" ", "T"))
        if "T" not in text.strip().replace(" ", "T"):
            raise ValueError("no time of day")
        if found.tzinfo is not None:
            return pd.Timestamp(found).tz_convert("UTC")
        local = pd.Timestamp(found).tz_localize(ZoneInfo(time_zone), nonexistent="raise", ambiguous=True)
        return local.tz_convert("UTC")
    except (ValueError, pd.errors.OutOfBoundsDatetime):
        raise refuse(option, repr(text), "a local date and time such as 2026-01-21T10:30") from None


def _whole(weather: xr.Dataset, time_zone: str) -> tuple[date, date] | None:
    """First and last local day that lies wholly within the weather."""
    zone = ZoneInfo(time_zone)

    def local(time: np.datetime64) -> datetime:
        return pd.Timestamp(time, tz="UTC").tz_convert(zone).to_pydatetime()

    begin, end = local(weather["time"].values[0]), local(weather["time"].values[-1])
    first = begin.date() if midnight(begin.date(), time_zone) >= weather["time"].values[0] else begin.date() + _DAY
    last = end.date() - _DAY
    return (first, last) if last >= first else None


def covering(weather: xr.Dataset, days: Days) -> xr.Dataset:
    """The weather, a typical year carried on into the year before or after, that reaches over the days without a gap.

    Gaps longer than reading bridges (3 h) and up to `LONGEST_GAP` are filled with the mean of the same hours of the day
    before and the day after, and counted in the attribute `assumed`.

    Raises
    ------
    InputError
        Where it does not: what it holds, or where its first gap lies.
    """
    begin, end = days.edges[0], days.edges[-1]
    years = [0]
    if "typical_year=" in str(weather.attrs.get("assumed", "")):
        length = np.timedelta64(365, "D")
        first, last = weather["time"].values[0], weather["time"].values[-1]
        years = list(range(int((begin - first) // length), int((end - last) // length) + 2))
    if years != [0]:
        weather = _carried(weather, sorted({*years, 0}))
    times = weather["time"].values
    if weather["time"].values[0] > begin or times[-1] < end:
        held = " to ".join(
            str(t.astype("datetime64[m]")).replace("T", " ") for t in (weather["time"].values[0], times[-1])
        )
        wanted = " to ".join(str(t.astype("datetime64[m]")).replace("T", " ") for t in (begin, end))
        raise refuse(_named(weather), f"holds {held} UTC", f"{wanted} UTC", "choose other days with --from and --to")
    one = _filled(weather.isel(realization=[0]), begin, end)
    inside = (times > begin) & (times <= end + np.timedelta64(1, "h"))
    known = {name: np.isfinite(one[name].values[0]) for name in WEATHER}
    if not known["wind_from_direction"].any():  # shelter is then the mean over all directions
        del known["wind_from_direction"]
    missing = ~np.logical_and.reduce(list(known.values()))
    if (missing & inside).any():
        gap = times[np.flatnonzero(missing & inside)[0]].astype("datetime64[m]")
        told = f"misses values from {str(gap).replace('T', ' ')} UTC on"
        raise refuse(_named(weather), told, "days without a gap", "choose other days with --from and --to")
    return one


def _filled(one: xr.Dataset, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The weather with short gaps between `begin` and `end` filled from the same hours of the days beside them."""
    times, day = one["time"].values, np.timedelta64(1, "D")
    step = times[1] - times[0]
    beside = [np.searchsorted(times, times + way * day) for way in (-1, 1)]
    there = [k < len(times) for k in beside]
    beside = [np.minimum(k, len(times) - 1) for k in beside]
    same = np.logical_and.reduce(
        [t & (times[k] == times + way * day) for t, k, way in zip(there, beside, (-1, 1), strict=True)]
    )
    inside = (times > begin) & (times <= end + np.timedelta64(1, "h")) & same
    values, codes = {}, []
    for name in WEATHER:
        series = one[name].transpose("realization", "time").values[0]
        gaps = ~np.isfinite(series)
        short = gaps & inside & (_runs(gaps) * step <= LONGEST_GAP)
        turned = np.exp(1j * np.radians(series)) if name == "wind_from_direction" else series
        mean = 0.5 * (turned[beside[0]] + turned[beside[1]])
        mean = np.degrees(np.angle(mean)) % 360.0 if name == "wind_from_direction" else mean
        short &= np.isfinite(mean)
        if short.any():
            values[name] = (("realization", "time"), np.where(short, mean, series)[None], one[name].attrs)
            codes.append(f"day_beside={name}:{int(short.sum())}")
    return assumed.note(one.assign(values), codes)


def _runs(gaps: NDArray[np.bool_]) -> NDArray[np.int64]:
    """For each step in a gap how many steps that gap has, else 0."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], gaps, [False]]).astype(int)))
    found = np.zeros(len(gaps), dtype=np.int64)
    for first, last in edges.reshape(-1, 2):
        found[first:last] = last - first
    return found


def _carried(weather: xr.Dataset, years: list[int]) -> xr.Dataset:
    """The same year again and again, each 365 days after the one before."""
    length = np.timedelta64(365, "D")
    parts: list[xr.Dataset] = []
    for year in years:
        moved = weather.assign_coords(time=weather["time"] + year * length)
        if "time_bnds" in weather:
            moved["time_bnds"] = (weather["time_bnds"].dims, weather["time_bnds"].values + year * length)
        if parts:  # a year's last label is the next one's first hour but one
            moved = moved.isel(time=moved["time"].values > parts[-1]["time"].values[-1])
        parts.append(moved)
    return xr.concat(parts, "time", data_vars="minimal", coords="minimal", compat="override", join="outer")


def part(weather: xr.Dataset, begin: np.datetime64, end: np.datetime64) -> xr.Dataset:
    """The stamps that reach from `begin` to `end`."""
    times = weather["time"].values
    first = max(0, int(np.searchsorted(times, begin, side="right")) - 1)
    return weather.isel(time=slice(first, int(np.searchsorted(times, end)) + 1))


def assumptions(weather: xr.Dataset) -> tuple[str, ...]:
    """Codes of what was assumed of the weather; gaps left outside the days are none of it."""
    codes = str(weather.attrs.get("assumed", "")).split("\n")
    return tuple(code for code in codes if code and not code.startswith("gap="))


def _named(weather: xr.Dataset) -> str:
    return str(weather.attrs.get("source", "weather")) or "weather"


def today(now: datetime, site: Site) -> date:
    """The local date of naive UTC `now`."""
    return pd.Timestamp(now, tz="UTC").tz_convert(ZoneInfo(site.time_zone)).date()
