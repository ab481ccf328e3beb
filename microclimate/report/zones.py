"""What `zones` may tell: light, heat and growth of each zone over a span of days, as Datasets, and the columns of its
tables with their units. Screen, page and CSV files read the same columns, so that they cannot differ."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import xarray as xr

from microclimate.report.tables import Table, csv_text
from microclimate.report.words import UNKNOWN, depth, number
from microclimate.report.words_beside import Beside
from microclimate.report.words_limits import Limit
from microclimate.schema import REPORT_DEPTHS
from microclimate.units import Shown

DONE = ("with lamps", "heated", "covered")  # variants that are something done, not something built


@dataclass(frozen=True)
class Variant:
    """The same field as it might be: `light` (zone) of the mean day, `spans` (zone) or None without weather.

    less (cell): as it is, less the variant: `light_integral` [mol m-2 d-1]; with weather `coldest`, `unsure` [K].
    """

    key: str
    light: xr.Dataset
    spans: xr.Dataset | None
    less: xr.Dataset | None = None


@dataclass(frozen=True)
class Lit:
    """One zone's light a day [mol m-2]: from the sky, from lamps, its need; lamp hours that would close the gap."""

    zone: str
    daylight: float
    lamps: float
    need: float
    hours: float


@dataclass(frozen=True)
class Covered:
    """One cover's spell."""

    name: str
    kind: str
    lasts: float  # [s]
    lost: float  # light [J m-2]
    warmest: float  # highest canopy under it [K]
    warmer: float  # than without it, at most [K]
    wetter: float  # leaf [h]
    mould: float  # in the band of pink snow mould [h]
    softer: float  # what kills half the plants, milder at its end than without it [K]
    hot: float  # in hot air [s]
    sunny: float  # in the sun under air that asks for lifting [s]
    closed: bool  # lets no air through
    wet_frost: bool  # laid on a day of wet leaves, frozen under it
    opaque: bool
    late: bool  # dense, and lying as light returns


@dataclass(frozen=True)
class Stopped:
    """One zone after heating stops: 25 mm then [K]; hours to the limit for play, to frost at 25 mm, and to what kills
    half of a growing and of a hardened grass (NaN: not in the hours looked ahead)."""

    zone: str
    begin: float
    play: float
    frost: float
    growing: float
    hardened: float
    heated: bool
    ahead: float = 168.0  # hours looked ahead


@dataclass(frozen=True)
class ModuleRow:
    """One portable module: address, lowest canopy and 25 mm [K], light a day [mol m-2], an outer face in the open; what
    kills half its plants (tender end) and how much milder the crown stayed on the coldest day [K]; when it was laid,
    where that is known."""

    name: str
    canopy: float
    root: float
    light: float
    edge: bool
    lt50: float
    margin: float
    laid: date | None


@dataclass(frozen=True)
class Bears:
    """What the grass needs and bears, and the venue's limits for play, each apart [K, mol m-2]."""

    light_min: float
    light_best: float
    light_winter: float
    lt50_growing: float
    lt50_hardened: float
    kill_soil: float
    canopy_min: float  # for play
    rootzone_min: float  # for play
    shoot_stop_cold: float
    shoot_stop_hot: float
    root_stop_hot: float
    root_trouble: float
    snow_mould_low: float
    snow_mould_high: float
    grey_mould_days: float  # [d]


@dataclass(frozen=True)
class Zones:
    """A finished run of `zones`.

    cells (cell): `x`, `y` [m], `zone`, and per day: `sunlit_hours` [h], `energy_sun`, `energy_sky`, `energy_stands`,
    `longwave_sky`, `longwave_stands`, `light_integral` [mol m-2], `sky_view_factor`, with weather `coldest`, `hottest`
    (lowest canopy of the coldest, highest of the hottest day) [K]; attributes as `answer.CELLS`, with those two days.
    zones (zone, which): the same, mean, lowest and highest of the zone's cells. shade (cell): `sun_factor`.
    """

    venue: str
    shown: Shown
    days: tuple[date, ...]
    source: str | None  # name of the weather file; None: a clear sky
    outlines: Mapping[str, Sequence[tuple[float, float]]]
    cells: xr.Dataset
    zones: xr.Dataset
    shade: xr.Dataset | None = None
    spans: xr.Dataset | None = None  # (zone): `zonal.over_span`; None without weather
    daily: xr.Dataset | None = None  # (zone, day): `zonal.by_day`
    variants: tuple[Variant, ...] = ()
    compare: tuple[str, str] | None = None
    ranked: xr.Dataset | None = None  # `zonal.ranked`
    light_unsure: xr.Dataset | None = None  # (unknown, zone): half of what each moves light and sun by
    light_share: float = 0.0  # half the range of the photons in daylight, as a share of them
    edges: Mapping[str, float] = field(default_factory=dict)  # share of each zone where sun changes within a step
    probes: tuple[tuple[str, float, float, str], ...] = ()  # why, x, y [m], zone
    lamps: tuple[Lit, ...] = ()
    saturation: float = 650.0  # [umol m-2 s-1] of light that the grass can use
    strongest: float = 0.0  # [umol m-2 s-1] of the venue's lamps
    covers: tuple[Covered, ...] = ()
    # hot air [K], its time, lift, event [s], air in which to lift in the sun [K]
    cover_limits: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    stopped: tuple[Stopped, ...] = ()
    modules: tuple[ModuleRow, ...] = ()
    off: np.datetime64 | None = None
    grass: str = ""
    bears: Bears | None = None
    start: str = "season"  # what the ground began from: past or season
    assumed: tuple[str, ...] = ()
    beside: Beside | None = None
    limits: tuple[Limit, ...] = ()
    hardening_days: int = 0  # of weather before the span, from which hardening is told

    @property
    def names(self) -> list[str]:
        """The zones, the one with the least light first."""
        light = self.zones["light_integral"].sel(which="mean").values
        return [str(self.zones["zone"].values[k]) for k in np.argsort(light, kind="stable")]


@dataclass(frozen=True)
class Column:
    """One column: the variable, its head, and how its SI number is shown.

    unit: text printed in the head. scale: SI number times this is what is printed; a `kind` of `units` instead lets
    the reader's own units rule.
    """

    name: str
    head: str
    unit: str = ""
    scale: float = 1.0
    digits: int = 1
    kind: str = ""
    per: str = ""  # after the reader's unit
    fine: tuple[int, int] | None = None  # digits for a metric and a US reader, where `kind` has too few

    def headed(self, shown: Shown, *, plain: bool = False) -> str:
        """The head with its unit; `plain` in letters of ASCII, as spreadsheets want them."""
        head = self.head
        for metres in REPORT_DEPTHS:
            head = head.replace(f"{1000 * metres:.0f} mm", depth(metres, shown))
        if self.kind:
            unit = shown.unit(self.kind).removeprefix("delta_") if plain else shown.symbol(self.kind)
            return f"{head} [{unit}{self.per}]"
        unit = self.unit.replace("²", "2") if plain else self.unit
        return f"{head} [{unit}]" if unit else head

    def text(self, value: float, shown: Shown) -> str:
        """The number as printed, without its unit."""
        if self.kind and self.fine is None:
            found = number(value * self.scale, self.kind, shown)
        elif self.kind and self.fine is not None:
            digits = self.fine[shown.system == "US"]
            scaled = round(float(shown.number(value * self.scale, self.kind)), digits) + 0.0
            found = UNKNOWN if np.isnan(scaled) else f"{scaled:.{digits}f}".replace("-", "\u2212")
        else:
            scaled = round(value * self.scale, self.digits) + 0.0 if np.isfinite(value) else np.nan
            found = UNKNOWN if np.isnan(scaled) else f"{scaled:.{self.digits}f}".replace("-", "\u2212")
        return "?" if found == UNKNOWN else found

    def plain(self, value: float, shown: Shown) -> str:
        """The number for a CSV file, five figures, empty where it is not known."""
        if not np.isfinite(value):
            return ""
        scaled = value * self.scale
        return f"{float(shown.number(scaled, self.kind)) if self.kind else scaled:.5g}"


MJ, KINDS = 1e-6, ("mean", "lowest", "highest")
SUNLIT = Column("sunlit_hours", "sun", "h/d")
SUN = Column("energy_sun", "from sun", "MJ/m²/d", MJ, 2)
SKY = Column("energy_sky", "from sky", "MJ/m²/d", MJ, 2)
STANDS = Column("energy_stands", "from stands", "MJ/m²/d", MJ, 2)
LIGHT = Column("light_integral", "light", "mol/m²/d")
VIEW = Column("sky_view_factor", "sky seen", "%", 100.0, 0)
LONG_SKY = Column("longwave_sky", "longwave from sky", "W/m²", 1.0, 0)
LONG_STANDS = Column("longwave_stands", "longwave from stands", "W/m²", 1.0, 0)


TEMPERATURE = "temperature"
CANOPY_LOW = Column("canopy_lowest", "lowest canopy", kind=TEMPERATURE)
NIGHT = Column("night_canopy", "mean of lowest", kind=TEMPERATURE)
CANOPY = Column("canopy_mean", "mean canopy", kind=TEMPERATURE)
CANOPY_HIGH = Column("canopy_highest", "highest canopy", kind=TEMPERATURE)
COLDEST = Column("coldest", "lowest canopy, coldest day", kind=TEMPERATURE)
HOTTEST = Column("hottest", "highest canopy, warmest day", kind=TEMPERATURE)
ROOT_LOW = Column("root_lowest", "lowest at 25 mm", kind=TEMPERATURE)
ROOT = Column("root_mean", "mean at 100 mm", kind=TEMPERATURE)
ROOT_HIGH = Column("root_highest", "highest at 100 mm", kind=TEMPERATURE)
FROST = Column("hours_frost", "canopy below freezing", "h", 1.0, 0)
FROZEN = Column("hours_frozen", "ground frozen", "h", 1.0, 0)
THAWED = Column("hours_thawed_over_frozen", "thawed over frozen", "h", 1.0, 0)
OUTSIDE = Column("hours_outside", "outside limits for play", "h", 1.0, 0)
LT50_LOW = Column("lt50_low", "half killed at, from", kind=TEMPERATURE)
LT50 = Column("lt50", "half killed at, to", kind=TEMPERATURE)
MARGIN = Column("margin", "least margin", kind="temperature difference")
HARD = Column("hardening_index", "hardened", "%", 100.0, 0)
WET = Column("wet_a_day", "leaf wet", "h/d", 1.0, 1)
MOULD = Column("hours_mould", "wet in pink mould's band", "h", 1.0, 0)
SNOW = Column("snow_run", "snow in a row", "d", 1.0, 0)
GROWTH = Column("growth_index", "growth index", "%", 100.0, 0)
DEGREES = Column("degree_days", "degree days", kind="temperature difference", per=" d", fine=(0, 0))
COLD = Column("hours_shoot_cold", "too cold for shoots", "h", 1.0, 0)
ROOT_COLD = Column("hours_root_cold", "too cold for roots", "h", 1.0, 0)
HOT = Column("hours_shoot_hot", "too hot for shoots", "h", 1.0, 0)
ROOT_HOT = Column("hours_root_hot", "too hot for roots", "h", 1.0, 0)
TROUBLE = Column("hours_root_trouble", "roots suffer", "h", 1.0, 0)
WATER = Column("reference_evaporation", "reference water loss", kind="depth", scale=1e-3, fine=(0, 1))

WARMTH = (CANOPY_LOW, NIGHT, CANOPY, CANOPY_HIGH, ROOT_LOW, ROOT, ROOT_HIGH)
PLAY = (FROST, FROZEN, THAWED, OUTSIDE)
SURVIVAL = (LT50_LOW, LT50, MARGIN, HARD, WET, MOULD, SNOW)
GROW = (LIGHT, GROWTH, DEGREES, COLD, ROOT_COLD, WATER)
HEAT = (CANOPY_HIGH, HOT, ROOT_HIGH, TROUBLE, ROOT_HOT)


def by_zone(told: xr.Dataset, names: Sequence[str], columns: Sequence[Column], shown: Shown, caption: str) -> Table:
    """One row for each zone, from variables (zone,); what is the same in every zone goes into the caption."""
    texts = {c: [c.text(float(told[c.name].sel(zone=zone)), shown) for zone in names] for c in columns}
    alike = [c for c in columns if len(names) > 2 and len(set(texts[c])) == 1]
    kept = [c for c in columns if c not in alike] or [columns[0]]
    same = ", ".join(f"{c.headed(shown)} {texts[c][0]}" for c in alike if c not in kept)
    rows = tuple((zone, *(texts[c][k] for c in kept)) for k, zone in enumerate(names))
    heads = ("Zone", *(c.headed(shown) for c in kept))
    return Table(f"{caption}. The same in every zone: {same}" if same else caption, heads, rows)


def csv_of(told: xr.Dataset, names: Sequence[str], columns: Sequence[Column], shown: Shown) -> str:
    """The same as text for a spreadsheet; over (zone, which) each column comes as mean, lowest and highest."""
    spread = "which" in told.dims
    heads = ["zone"]
    for column in columns:
        head = column.headed(shown, plain=True)
        heads += [f"{which} {head}" for which in KINDS] if spread else [head]
    rows = []
    for zone in names:
        one = told.sel(zone=zone)
        row = [zone]
        for column in columns:
            values = [float(one[column.name].sel(which=k)) for k in KINDS] if spread else [float(one[column.name])]
            row += [column.plain(value, shown) for value in values]
        rows.append(row)
    return csv_text(heads, rows)


def cells_csv(cells: xr.Dataset, names: Sequence[str], columns: Sequence[Column], shown: Shown) -> str:
    """Every cell as text for a spreadsheet; `names` in the order that `cells["zone"]` counts in."""
    place = (Column("x", "towards the head end", kind="length"), Column("y", "to the left", kind="length"))
    told = (*place, *columns)
    values = [cells[column.name].values for column in told]
    rows = [
        [names[int(zone)], *(c.plain(float(v[k]), shown) for c, v in zip(told, values, strict=True))]
        for k, zone in enumerate(cells["zone"].values)
    ]
    return csv_text(["zone", *(column.headed(shown, plain=True) for column in told)], rows)


DAILY = (
    SUNLIT,
    SUN,
    SKY,
    STANDS,
    LIGHT,
    Column("air_temperature", "mean air", kind=TEMPERATURE),
    Column("canopy_temperature_min", "lowest canopy", kind=TEMPERATURE),
    Column("canopy_temperature", "mean canopy", kind=TEMPERATURE),
    Column("canopy_temperature_max", "highest canopy", kind=TEMPERATURE),
    FROST,
    FROZEN,
    THAWED,
    OUTSIDE,
    WET,
    MOULD,
    Column("hours_snow", "snow lying", "h", 1.0, 0),
    GROWTH,
    DEGREES,
    COLD,
    ROOT_COLD,
    HOT,
    TROUBLE,
    ROOT_HOT,
    WATER,
    HARD,
    LT50_LOW,
    LT50,
)
_AT_DEPTH = ("soil_temperature_min", "soil_temperature", "soil_temperature_max")


def days_csv(daily: xr.Dataset, names: Sequence[str], shown: Shown) -> str:
    """Every zone's days as text for a spreadsheet, one row a zone and day."""
    columns = [replace(column, name="hours_wet") if column is WET else column for column in DAILY]
    depths = [
        (Column(name, f"{which} at {1000 * d:.0f} mm", kind=TEMPERATURE), k)
        for name, which in zip(_AT_DEPTH, ("lowest", "mean", "highest"), strict=True)
        for k, d in enumerate(REPORT_DEPTHS)
    ]
    heads = ["zone", "day", *(c.headed(shown, plain=True) for c in (*columns, *(c for c, _ in depths)))]
    rows = []
    for zone in names:
        one = daily.sel(zone=zone)
        values = [one[c.name].values for c in columns] + [one[c.name].isel(depth=k).values for c, k in depths]
        for place, when in enumerate(daily["day"].values):
            cells = [
                c.plain(float(v[place]), shown)
                for c, v in zip((*columns, *(c for c, _ in depths)), values, strict=True)
            ]
            rows.append([zone, str(when)[:10], *cells])
    return csv_text(heads, rows)


def modules_csv(rows: Sequence[ModuleRow], shown: Shown) -> str:
    """Every module as text for a spreadsheet."""
    unit = shown.unit(TEMPERATURE)
    heads = [
        "row",
        "number",
        f"lowest canopy [{unit}]",
        f"lowest at {depth(REPORT_DEPTHS[0], shown)} [{unit}]",
        "light [mol/m2/d]",
        "outer face",
        f"half killed at, tender end [{unit}]",
        f"margin on the coldest day [{shown.unit('temperature difference').removeprefix('delta_')}]",
        "laid",
    ]
    lines = []
    for row in rows:
        at, _, number = row.name.partition("-")
        low = (f"{float(shown.number(v, TEMPERATURE)):.5g}" for v in (row.canopy, row.root, row.lt50))
        canopy, root, lt50 = low
        margin = f"{float(shown.number(row.margin, 'temperature difference')):.5g}"
        laid = "" if row.laid is None else row.laid.isoformat()
        lines.append([at, number, canopy, root, f"{row.light:.5g}", "yes" if row.edge else "no", lt50, margin, laid])
    return csv_text(heads, lines)
