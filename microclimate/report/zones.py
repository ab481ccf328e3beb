"""What `zones` may tell: light, heat and growth of each zone over a span of days, as Datasets, and the columns of its
tables with their units. Screen, page and CSV files read the same columns, so that they cannot differ."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import xarray as xr

from microclimate.report.tables import Table, csv_text
from microclimate.report.words import UNKNOWN, number
from microclimate.units import Shown


@dataclass(frozen=True)
class Zones:
    """A finished run of `zones`.

    cells (cell): `x`, `y` [m], `zone`, and per day: `sunlit_hours` [h], `energy_sun`, `energy_sky`, `energy_stands`,
    `longwave_sky`, `longwave_stands`, `light_integral` [mol m-2], `sky_view_factor`; attributes as `answer.CELLS`.
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
    assumed: tuple[str, ...] = ()

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

    def headed(self, shown: Shown, *, plain: bool = False) -> str:
        """The head with its unit; `plain` as the package's own readers of CSV files understand it."""
        if self.kind:
            return f"{self.head} [{shown.unit(self.kind) if plain else shown.symbol(self.kind)}]"
        unit = self.unit.replace("²", "2") if plain else self.unit
        return f"{self.head} [{unit}]" if unit else self.head

    def text(self, value: float, shown: Shown) -> str:
        """The number as printed, without its unit."""
        if self.kind:
            found = number(value, self.kind, shown)
        else:
            scaled = round(value * self.scale, self.digits) + 0.0 if np.isfinite(value) else np.nan
            found = UNKNOWN if np.isnan(scaled) else f"{scaled:.{self.digits}f}".replace("-", "\u2212")
        return "?" if found == UNKNOWN else found

    def plain(self, value: float, shown: Shown) -> str:
        """The number for a CSV file, five figures, empty where it is not known."""
        if not np.isfinite(value):
            return ""
        return f"{float(shown.number(value, self.kind)) if self.kind else value * self.scale:.5g}"


MJ, KINDS = 1e-6, ("mean", "lowest", "highest")
SUNLIT = Column("sunlit_hours", "sun", "h/d")
SUN = Column("energy_sun", "from sun", "MJ/m²/d", MJ, 2)
SKY = Column("energy_sky", "from sky", "MJ/m²/d", MJ, 2)
STANDS = Column("energy_stands", "from stands", "MJ/m²/d", MJ, 2)
LIGHT = Column("light_integral", "light", "mol/m²/d")
VIEW = Column("sky_view_factor", "sky seen", "%", 100.0, 0)
LONG_SKY = Column("longwave_sky", "sky", "W/m²", 1.0, 0)
LONG_STANDS = Column("longwave_stands", "stands", "W/m²", 1.0, 0)


def by_zone(told: xr.Dataset, names: Sequence[str], columns: Sequence[Column], shown: Shown, caption: str) -> Table:
    """One row for each zone, from variables (zone,)."""
    rows = []
    for zone in names:
        one = told.sel(zone=zone)
        rows.append((zone, *(column.text(float(one[column.name]), shown) for column in columns)))
    return Table(caption, ("Zone", *(column.headed(shown) for column in columns)), tuple(rows))


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
