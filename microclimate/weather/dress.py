"""One run dressed into members: errors correlated in time, growing with lead, physical by construction.

In unbounded latents z = (T, ln(depression + 0.5 K), ln u, probit of cloud):

    z_i(t) = zc + w (z_f - zc) + sqrt(w) sigma(h) ( sqrt(rho) S_i + sqrt(1 - rho) O_i(t) )

O an AR(1) of e-folding time tau, S fixed for the run, w = s_c^2 / (s_c^2 + sigma^2) the pull to the climate (1 where no
climate is given: a forecast of a service is taken as already shrunk). The same seed draws the same error for the same
valid hour in every issue, so that advice changes only where the forecast did.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]

CALMEST = 0.3  # [m s-1] wind below this counts as this in the logarithm (ours: a cup starts at about it)
DEPRESSION = 0.5  # [K] added before the logarithm
DRIEST = 35.0  # [K] the widest depression a member may have (ours)
CLOUD_EDGE = 0.03  # clear and overcast lie this far inside the probit's range
DUSK = 4.0  # [h] over which the link with cloud comes and goes (ours)
FARTHEST = 240.0  # [h] beyond ten days a forecast knows no less than the season does: 5.2 K by then (ours)
SPIN_UP = 72  # [h] after which the AR(1) has forgotten where it began (tau <= 8 h)


@dataclass(frozen=True)
class Error:
    """Standard deviation `base + rate h` (of the variance, where `of_variance`) and the shape in time."""

    base: float
    rate: float  # [per hour of lead]
    slow: float  # share of the variance that is the same through the run
    tau: float  # [h]
    link: float  # correlation with the cloud error at night
    of_variance: bool = False

    def sigma(self, lead: Floats) -> Floats:
        """Standard deviation at a lead [h]; it grows in from nothing over the first six hours and stops at ten days."""
        size = self.base + self.rate * np.clip(lead, 0.0, FARTHEST)
        return (np.sqrt(size) if self.of_variance else size) * np.sqrt(np.clip(lead / 6.0, 0.0, 1.0))


# T: mean absolute errors of 1.5, 1.8, 2.1, 2.5 K at 12, 24, 48, 72 h x 1.25 (trade figures, from memory) and 2.63 K
# measured at 48 h on a real 8-member set. The others: no source; bounded by climatological spreads of 0.75, 0.63, 1.34.
ERRORS = {
    "temperature": Error(2.6, 0.1, 0.5, 8.0, 0.4, of_variance=True),
    "depression": Error(0.30, 0.003, 0.5, 8.0, -0.3),
    "wind": Error(0.30, 0.002, 0.3, 6.0, 0.0),
    "cloud": Error(0.6, 0.006, 0.3, 6.0, 1.0),
}
CLOUD_UNKNOWN = 1.34  # sd of the cloud latent where no cloud is forecast: its climatological spread at one station


@dataclass(frozen=True)
class Latents:
    """Unbounded images of temperature [K], dew point [K], wind [m s-1] and cloud [1]; any shape."""

    temperature: Floats
    depression: Floats
    wind: Floats
    cloud: Floats

    def weather(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Back: temperature, dew point (never above it), wind (> 0), cloud (0 to 1)."""
        below = np.clip(np.exp(self.depression) - DEPRESSION, 0.0, DRIEST)
        cloud = np.clip((ndtr(self.cloud) - CLOUD_EDGE) / (1.0 - 2.0 * CLOUD_EDGE), 0.0, 1.0)
        return self.temperature, self.temperature - below, np.exp(self.wind), cloud


def latents(temperature: Floats, dew_point: Floats, wind: Floats, cloud: Floats) -> Latents:
    """The latents of weather: [K], [K], [m s-1], [1]."""
    return Latents(
        temperature,
        np.log(np.maximum(temperature - dew_point, 0.0) + DEPRESSION),
        np.log(np.maximum(wind, CALMEST)),
        np.asarray(ndtri(CLOUD_EDGE + (1.0 - 2.0 * CLOUD_EDGE) * cloud)),
    )


@dataclass(frozen=True)
class Climate:
    """Mean and spread of the latents for each valid time: what a forecast that knows nothing would say."""

    mean: Latents  # (time,)
    spread: Latents  # (time,) or scalars


def dressed(
    run: Latents,
    times: NDArray[np.datetime64],
    lead: Floats,
    night: NDArray[np.bool_],
    count: int,
    seed: int,
    *,
    climate: Climate | None = None,
    wider: float = 1.0,
    cloud_unknown: bool = False,
) -> tuple[Latents, Floats, Floats]:
    """Members of one run, with the centre and the spread of each time's temperature.

    Parameters
    ----------
    run : Latents
        (time,).
    times : (time,) datetime64, UTC
    lead : (time,) [h]
        Since the run began; 0 or less: no error.
    night : (time,) bool
        Sun down: cloud then warms.
    count, seed : int
    climate : Climate, optional
        To pull towards.
    wider : float
        Multiplies every standard deviation.
    cloud_unknown : bool
        No cloud was forecast: its whole climatological spread is drawn.

    Returns
    -------
    Latents
        (realization, time).
    (time,), (time,) [K]
        Centre and standard deviation of temperature, after the pull.
    """
    draws = {name: _noise(error, times, count, seed, number) for number, (name, error) in enumerate(ERRORS.items())}
    dark = _eased(night, times)
    made: dict[str, Floats] = {}
    middle, spread = run.temperature, np.zeros(len(times))
    for name, error in ERRORS.items():
        link = error.link * dark
        shock = draws["cloud"] if name == "cloud" else link * draws["cloud"] + np.sqrt(1.0 - link**2) * draws[name]
        sigma = error.sigma(lead) * wider
        if name == "cloud" and cloud_unknown:
            sigma = np.maximum(sigma, CLOUD_UNKNOWN)
        forecast = getattr(run, name)
        if climate is None:
            centre = forecast
        else:
            usual, wide = getattr(climate.mean, name), getattr(climate.spread, name)
            pull = wide**2 / (wide**2 + sigma**2)
            centre, sigma = usual + pull * (forecast - usual), np.sqrt(pull) * sigma
        made[name] = centre + sigma * shock
        if name == "temperature":
            middle, spread = centre, sigma
    return Latents(**made), middle, spread


def _eased(night: NDArray[np.bool_], times: NDArray[np.datetime64]) -> Floats:
    """Night as 0 to 1, eased over `DUSK`, so that no member jumps at sunset."""
    hours = (times - times[0]) / np.timedelta64(1, "h")
    step = float(np.median(np.diff(hours))) if len(hours) > 1 else 1.0
    half = max(round(DUSK / step / 2.0), 0)
    padded = np.pad(night.astype(float), half, mode="edge")
    return np.asarray(np.convolve(padded, np.full(2 * half + 1, 1.0 / (2 * half + 1)), mode="valid"))


def _noise(error: Error, times: NDArray[np.datetime64], count: int, seed: int, number: int) -> Floats:
    """Unit-variance noise (realization, time): a slow part and an AR(1), the same for the same UTC hour."""
    hours = (times - np.datetime64("1970-01-01T00", "h")) / np.timedelta64(1, "h")
    first, last = int(np.floor(hours[0])) - SPIN_UP, int(np.ceil(hours[-1]))
    days = range(first // 24, last // 24 + 1)
    shocks = np.concatenate(
        [np.random.default_rng([seed, number, day + 1_000_000]).standard_normal((count, 24)) for day in days], axis=1
    )
    memory = float(np.exp(-1.0 / error.tau))
    fast = np.empty_like(shocks)
    fast[:, 0] = shocks[:, 0]
    for step in range(1, shocks.shape[1]):
        fast[:, step] = memory * fast[:, step - 1] + np.sqrt(1.0 - memory**2) * shocks[:, step]
    at = hours - days[0] * 24
    left = np.clip(np.floor(at).astype(int), 0, fast.shape[1] - 2)
    part = at - left
    between = fast[:, left] * (1.0 - part) + fast[:, left + 1] * part
    # a straight line between two correlated values has less variance than they: put it back
    between /= np.sqrt((1.0 - part) ** 2 + part**2 + 2.0 * part * (1.0 - part) * memory)
    slow = np.random.default_rng([seed, number]).standard_normal((count, 1))
    return np.asarray(np.sqrt(error.slow) * slow + np.sqrt(1.0 - error.slow) * between)


def spread_evenly(paths: Floats, window: NDArray[np.bool_], ramp: Floats, centre: float, scale: float) -> Floats:
    """Members' temperatures moved so that their night minima are the quantiles of N(centre, scale^2).

    Noise makes the lowest of many hours too cold; the order of the members is kept (rank mapping, as in ensemble
    copula coupling), each is moved by one number times `ramp`.

    Parameters
    ----------
    paths : (realization, time) [K]
    window : (time,) bool
        The night whose minimum counts.
    ramp : (time,)
        0 to 1, how much of a member's move applies.
    centre, scale : float [K]
        Of the calibrated night minimum.

    Returns
    -------
    (realization, time) [K]
    """
    count = len(paths)
    target = centre + scale * ndtri((np.arange(count) + 0.5) / count)
    moved = paths.copy()
    for _ in range(30):  # the minimum may wander into the ramp: a few passes settle it
        lowest = moved[:, window].min(axis=1)
        wanted = np.empty(count)
        wanted[np.argsort(lowest, kind="stable")] = target
        gap = wanted - lowest
        if np.abs(gap).max() < 1e-3:
            break
        moved += gap[:, None] * ramp
    return moved
