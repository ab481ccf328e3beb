"""Readings laid over a first guess of the ground: optimal interpolation over zones and depth.

Gandin 1963; Daley 1991 (Atmospheric Data Analysis, ch. 4): x + K (y - H x), K = B H' (H B H' + R)^-1. Every member
is drawn to the readings with their own error laid over it (Burgers et al. 1998, Mon. Weather Rev. 126:1719), so that
the spread that is left is the one to be believed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from microclimate.fieldlog.readings import Spot

Array = NDArray[np.float64]

# all ours, no source
SHALLOWEST = 0.10  # [m] depths z, Z share (z + this) / (Z + this) of their error: deep down only slow errors are left,
# and those reach as far up and down as they are deep
LIKE_ZONES, OTHER_ZONES = 0.6, 0.3  # correlation of the errors of two zones of one build, and of two builds
DRIFT = 1.0  # [K/h] at the surface: how fast a reading ages, less with depth
DRIFT_SCALE = 0.10  # [m] its damping (a daily wave's is 0.1 m)
CARRIED = 0.2  # of that drift that is left where the column itself carried the guess to the reading's time
OLDEST = 12.0  # [h] readings further from the start than this are left out


@dataclass(frozen=True)
class Grid:
    """What the first guess stands on."""

    depth: Array  # (patch, layer) [m]
    zone: NDArray[np.str_]  # (patch,)
    build: NDArray[np.int_]  # (patch,) zones of equal number are built alike


def usable(readings: Sequence[Spot], when: np.datetime64, kinds: Sequence[str]) -> list[Spot]:
    """The readings of these kinds taken within 12 h of the start."""
    return [
        spot for spot in readings if spot.kind in kinds and abs((spot.time - when) / np.timedelta64(1, "h")) <= OLDEST
    ]


def adjusted(
    guess: Array,
    spread: Array,
    grid: Grid,
    readings: Sequence[Spot],
    when: np.datetime64,
    seed: int,
    change: Mapping[np.datetime64, Array],
) -> Array:
    """The first guess drawn to the readings.

    Parameters
    ----------
    guess : (realization, patch, layer)
        Soil temperature [K].
    spread : (patch, layer)
        Standard deviation of its error [K].
    grid : Grid
        Depths, zones and builds of the guess.
    readings : sequence of Spot
        Temperatures, `usable` at `when`; a reading on the leaf counts for the top layer.
    when : datetime64
        UTC, of the guess.
    seed : int
        For the order in which reading errors are laid over the realizations.
    change : mapping
        By time of a reading, what the column has the ground do from `when` until then (patch, layer) [K]; a reading
        of another time is held against the guess as it is, and weighs less the farther it is from `when`.

    Returns
    -------
    (realization, patch, layer)
        Soil temperature [K].
    """
    count = guess.shape[0]
    if not readings:
        return guess
    rows = [_patches(grid, spot) for spot in readings]
    depths = np.array([spot.depth for spot in readings])
    told = np.array([spot.value for spot in readings])
    # what the guess says at each reading's place, over the patches of its zone
    said = np.stack([_said(guess, grid, spot, change.get(spot.time)) for spot in readings], axis=-1)
    sd = np.array(
        [
            np.mean([np.interp(depth, grid.depth[patch], spread[patch]) for patch in patches])
            for patches, depth in zip(rows, depths, strict=True)
        ]
    )
    first = np.array([patches[0] for patches in rows])
    hours = np.array([abs((spot.time - when) / np.timedelta64(1, "h")) for spot in readings])
    error = np.array([spot.error for spot in readings])
    left = np.array([CARRIED if spot.time in change else 1.0 for spot in readings])
    error = np.hypot(error, left * DRIFT * hours * np.exp(-depths / DRIFT_SCALE))
    between = _zones(grid, first, first) * _depths(depths, depths)
    gain_right = np.linalg.inv(sd[:, None] * between * sd + np.diag(error**2))
    noise = normal_scores(count, len(readings), seed) * error
    innovation = (told + noise - said) @ gain_right.T  # (realization, reading)
    out = guess.copy()
    for patch in range(guess.shape[1]):
        shared = _zones(grid, np.array([patch]), first)[0] * _depths(grid.depth[patch], depths)
        gain = spread[patch][:, None] * shared * sd  # (layer, reading)
        out[:, patch] += innovation @ gain.T
    return out


def _said(guess: Array, grid: Grid, spot: Spot, change: Array | None) -> Array:
    """(realization,) what the guess has at a reading's place, over its zone's patches, and at its time if known."""
    here = []
    for patch in _patches(grid, spot):
        moved = 0.0 if change is None else np.interp(spot.depth, grid.depth[patch], change[patch])
        here.append(_at(guess[:, patch], grid.depth[patch], spot.depth) + moved)
    found: Array = np.mean(here, axis=0)
    return found


def factor(readings: Sequence[Spot], grid: Grid, water_content: Array) -> Array:
    """Measured over assumed water content, by patch [1]; 1 where no reading of the zone or its like speaks.

    `water_content` (patch, layer) [m3 m-3]; `readings` of water content.
    """
    ratio = np.ones(grid.depth.shape[0])
    told: dict[int, list[float]] = {}
    same: dict[str, list[float]] = {}
    for spot in readings:
        patch = _patches(grid, spot)[0]
        assumed = float(np.interp(spot.depth, grid.depth[patch], water_content[patch]))
        share = spot.value / max(assumed, 1e-3)
        same.setdefault(spot.zone, []).append(share)
        told.setdefault(int(grid.build[patch]), []).append(share)
    for patch in range(ratio.size):
        shares = same.get(str(grid.zone[patch])) or told.get(int(grid.build[patch]))
        if shares:
            ratio[patch] = float(np.mean(shares))
    return ratio


def normal_scores(count: int, columns: int, seed: int) -> Array:
    """Evenly laid standard normal values (realization, column), each column in its own order; 0 for a single one."""
    scores: Array = ndtri((np.arange(count) + 0.5) / count)
    random = np.random.default_rng(seed)
    return np.stack([random.permutation(scores) for _ in range(columns)], axis=-1)


def _patches(grid: Grid, spot: Spot) -> NDArray[np.int_]:
    return np.flatnonzero(grid.zone == spot.zone)


def _at(profiles: Array, depth: Array, wanted: float) -> Array:
    """(realization, layer) at one depth, straight lines between layers."""
    right = int(np.clip(np.searchsorted(depth, wanted), 1, depth.size - 1))
    share = np.clip((wanted - depth[right - 1]) / (depth[right] - depth[right - 1]), 0.0, 1.0)
    found: Array = (1.0 - share) * profiles[:, right - 1] + share * profiles[:, right]
    return found


def _depths(one: Array, other: Array) -> Array:
    here, there = one[:, None] + SHALLOWEST, other + SHALLOWEST
    shared: Array = np.minimum(here, there) / np.maximum(here, there)
    return shared


def _zones(grid: Grid, one: NDArray[np.int_], other: NDArray[np.int_]) -> Array:
    same_zone = grid.zone[one][:, None] == grid.zone[other]
    same_build = grid.build[one][:, None] == grid.build[other]
    return np.where(same_zone, 1.0, np.where(same_build, LIKE_ZONES, OTHER_ZONES))
