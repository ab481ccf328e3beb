"""What venue, bowl and patches give whatever the weather: worked out once for all the weather that is laid on them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from microclimate.exposure import shelter
from microclimate.exposure.basin import Basin, basin
from microclimate.exposure.bowl import Bowl
from microclimate.venue.described import Venue

Array = NDArray[np.float64]

WIND_CELLS = 12  # cells a patch from which the crest is looked at


@dataclass(frozen=True, eq=False)
class Place:
    """Venue, bowl and patches. Share one between forcings (`Forcing.again`)."""

    venue: Venue
    bowl: Bowl
    patches: xr.Dataset

    @property
    def open_field(self) -> bool:
        """No stand hides any of the sky."""
        return bool((self.bowl.sky_view >= 1.0 - 1e-9).all())

    @cached_property
    def sight(self) -> Bowl:
        """The bowl as the patches see it; patches without weights are its cells."""
        return self.bowl.grouped(self.patches["weights"].values) if "weights" in self.patches else self.bowl

    @cached_property
    def crest_by_cell(self) -> tuple[Array, Array]:
        """Distance and height of the crest from every cell and direction [m]."""
        return self.bowl.crest(len(shelter.DIRECTIONS))

    @cached_property
    def crest(self) -> tuple[Array, Array, NDArray[np.int64]]:
        """Distance and height of the crest at some cells of each patch, and the patch each belongs to."""
        cell_patch = self.patches["cell_patch"].values
        chosen = [_some(np.flatnonzero(cell_patch == p), WIND_CELLS) for p in range(self.patches.sizes["patch"])]
        cells = np.concatenate(chosen)
        distance, height = self.crest_by_cell
        return distance[cells], height[cells], np.repeat(np.arange(len(chosen)), [len(c) for c in chosen])

    @cached_property
    def through(self) -> Array:
        """Share of outside air over each patch by direction (patch, direction)."""
        distance, height, patch = self.crest
        return mean_by(shelter.outside_share(distance, height), patch)

    @cached_property
    def basin(self) -> Basin | None:
        """The bowl as its air meets it; None where nothing holds air back."""
        if self.open_field:
            return None
        distance, height = self.crest_by_cell
        middle = np.argmin(self.bowl.cell_x**2 + self.bowl.cell_y**2)
        return basin(self.venue, self.bowl, distance[middle], height[middle], float(self.patches["area"].sum()))


def mean_by(values: Array, group: NDArray[np.int64]) -> Array:
    """Means of rows (row, ...) over groups 0..n-1."""
    sums = np.zeros((int(group.max()) + 1, *values.shape[1:]))
    np.add.at(sums, group, values)
    return sums / np.bincount(group)[:, None]


def _some(cells: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    """At most `most` of the cells, evenly spaced in their order."""
    if len(cells) <= most:
        return cells
    return np.asarray(cells[np.linspace(0, len(cells) - 1, most).round().astype(int)])
