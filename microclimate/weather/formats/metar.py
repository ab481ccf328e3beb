"""METAR reports of an airport, as text: what was observed, for the start state and the nowcast. No network, no table.

Temperatures in whole degrees are replaced by the tenths of the remark group (T01721083) where a report has it. A
report says the day of the month only: month and year come from a date line before it (`2026/01/28 12:53`), from a
`# month: 2026-01` line or from a date in the file's name, and roll over with the days. Cloud is the middle of each okta
class, the greatest of the layers. WMO-No. 306, FM 15; remarks by US practice (Federal Meteorological Handbook No. 1).
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from microclimate.errors import Problem
from microclimate.weather.table import Column, Table

_REPORT = re.compile(r"(?:^|[\s,])(?:METAR |SPECI )?(?:COR )?([A-Z][A-Z0-9]{3}) (\d{2})(\d{2})(\d{2})Z (.*)$")
_DATE = re.compile(r"(\d{4})[-/](\d{2})[-/](\d{2})")
_NAME_DATE = re.compile(r"(?:19|20)\d{2}[-_]?(?:0[1-9]|1[0-2])(?:[-_]?(?:0[1-9]|[12]\d|3[01]))?")
_WIND = re.compile(r"\b(\d{3}|VRB)(\d{2,3})(?:G(\d{2,3}))?(KT|MPS|KMH)\b")
_TEMPERATURE = re.compile(r"(?:^|\s)(M?\d{2})/(M?\d{2})?(?=\s|$)")
_TENTHS = re.compile(r"\bT([01])(\d{3})([01])(\d{3})\b")
_RAIN = re.compile(r"\bP(\d{4})\b")
_CLOUD = re.compile(r"\b(SKC|CLR|NSC|NCD|CAVOK|FEW|SCT|BKN|OVC|VV)(?=\d{3}|///|\s|$)")
_PRESSURE = re.compile(r"\b(?:Q(\d{4})|A(\d{4}))\b")

OKTAS = {"FEW": 1.5, "SCT": 3.5, "BKN": 6.0, "OVC": 8.0, "VV": 8.0}
SPEED = {"KT": 1852.0 / 3600.0, "MPS": 1.0, "KMH": 1.0 / 3.6}  # [m s-1]
INCH_OF_MERCURY = 3386.389  # [Pa]
HUNDREDTH_INCH = 0.254  # [kg m-2]


@dataclass
class _Report:
    time: datetime
    temperature: float = np.nan
    dew: float = np.nan
    wind: float = np.nan
    gust: float = np.nan
    direction: float = np.nan
    pressure: float = np.nan
    cloud: float = np.nan
    rain: float = np.nan


def known(head: bytes) -> bool:
    """Whether text holds a METAR report in its first lines."""
    try:
        lines = head.decode("ascii", errors="strict").splitlines()[:20]
    except UnicodeDecodeError:
        return False
    return any(_REPORT.search(line) for line in lines)


def table(data: bytes, path: Path) -> Table:
    """METAR text before its numbers are judged."""
    where = path.name
    lines = data.decode("ascii", errors="replace").replace("\r", "").split("\n")
    beside, whole_month = _near(where)
    reports: list[_Report] = []
    stations: set[str] = set()
    problems: list[Problem] = []
    for line in _joined(lines):
        found = _REPORT.search(line)
        dated = _DATE.search(line[: found.start(1)] if found else line)
        if dated:
            beside, whole_month = datetime(int(dated[1]), int(dated[2]), int(dated[3]), 12, tzinfo=UTC), False
        elif line.lower().startswith("# month:"):
            beside, whole_month = _near(line)
        if not found:
            continue
        station, day, hour, minute, body = found.groups()
        if beside is None:
            cure = "put a line '# month: 2026-01' before the reports, or the date in the file's name"
            problems.append(
                Problem(where, f"'{station} {day}{hour}{minute}Z' says no month", "a month and a year", cure)
            )
            break
        time = _placed(beside, int(day), int(hour), int(minute), whole_month)
        if time is None:
            problems.append(
                Problem(where, f"'{station} {day}{hour}{minute}Z' is no time near {beside:%Y-%m}", "day and time")
            )
            continue
        beside, whole_month = time, False
        stations.add(station)
        reports.append(_read(time, body))
    if len(stations) > 1:
        named = ", ".join(sorted(stations)[:6])
        problems.append(
            Problem(where, f"holds {len(stations)} stations ({named})", "one station", "keep the nearest one")
        )
    made = _table(sorted(reports, key=lambda report: report.time), where)
    made.source = f"METAR {min(stations, default='')} ({where})"
    made.problems = problems
    return made


def _joined(lines: list[str]) -> list[str]:
    """Reports that go on in indented lines, as one line each."""
    out: list[str] = []
    for line in lines:
        if line[:1] in (" ", "\t") and line.strip() and out:
            out[-1] += " " + line.strip()
        else:
            out.append(line.strip().rstrip("="))
    return out


def _near(text: str) -> tuple[datetime | None, bool]:
    """The date a text names, and whether it names a whole month only."""
    found = _NAME_DATE.search(text)
    if not found:
        return None, False
    digits = re.sub(r"\D", "", found[0])
    return datetime(int(digits[:4]), int(digits[4:6]), int(digits[6:8] or 15), 12, tzinfo=UTC), len(digits) == 6


def _placed(beside: datetime, day: int, hour: int, minute: int, whole_month: bool) -> datetime | None:
    """The time nearest to `beside` that has this day of the month, or the one in its own month."""
    best: datetime | None = None
    for months in (0,) if whole_month else (-1, 0, 1):
        index = beside.year * 12 + beside.month - 1 + months
        try:
            time = datetime(index // 12, index % 12 + 1, day, hour, minute, tzinfo=UTC)
        except ValueError:
            continue
        if best is None or abs(time - beside) < abs(best - beside):
            best = time
    return best if best is not None and abs(best - beside) < timedelta(days=20) else None


def _read(time: datetime, body: str) -> _Report:
    report = _Report(time)
    main, _, remarks = body.partition(" RMK")
    main = re.split(r" (?:TEMPO|BECMG|NOSIG)\b", main)[0]
    if wind := _WIND.search(main):
        report.wind = float(wind[2]) * SPEED[wind[4]]
        report.gust = float(wind[3]) * SPEED[wind[4]] if wind[3] else np.nan
        report.direction = np.nan if wind[1] == "VRB" else float(wind[1])
    if pair := _TEMPERATURE.search(main):
        report.temperature = float(pair[1].replace("M", "-"))
        report.dew = float(pair[2].replace("M", "-")) if pair[2] else np.nan
    if tenths := _TENTHS.search(remarks):
        report.temperature = float(tenths[2]) / (-10.0 if tenths[1] == "1" else 10.0)
        report.dew = float(tenths[4]) / (-10.0 if tenths[3] == "1" else 10.0)
    if layers := _CLOUD.findall(main):
        report.cloud = max(OKTAS.get(layer, 0.0) for layer in layers)
    if pressure := _PRESSURE.search(main):
        report.pressure = float(pressure[1]) * 100.0 if pressure[1] else float(pressure[2]) / 100.0 * INCH_OF_MERCURY
    if rain := _RAIN.search(remarks):
        report.rain = float(rain[1]) * HUNDREDTH_INCH
    return report


def _table(reports: list[_Report], where: str) -> Table:
    picks = [
        ("air_temperature", "degC", "temperature"),
        ("dew_point_temperature", "degC", "dew"),
        ("wind_speed", "m/s", "wind"),
        ("wind_speed_of_gust", "m/s", "gust"),
        ("wind_from_direction", "degree", "direction"),
        ("air_pressure_at_mean_sea_level", "Pa", "pressure"),
        ("cloud_area_fraction", "oktas", "cloud"),
        ("precipitation_flux", "mm", "rain"),
    ]
    latest: dict[datetime, _Report] = {report.time: report for report in reports}  # a correction comes later
    rows = list(latest.values())
    columns = []
    for name, unit, field in picks:
        values = np.array([getattr(row, field) for row in rows], float)
        if name == "precipitation_flux" and np.isfinite(values).any():
            values = np.where(np.isnan(values), 0.0, values)  # the group is left out where nothing fell
        if np.isfinite(values).any():
            columns.append(Column(name, unit, values, f"{where}: {field}", running_sum=False))
    times = np.array([row.time.replace(tzinfo=None) for row in rows], dtype="datetime64[ns]")
    return Table(times, columns, where, wind_height=10.0, temperature_height=2.0)
