"""What can hurt someone tonight, chosen by what the venue has and what the night brings.

Limits for heaters and gas: US 29 CFR 1926.154 and 1926.55 App. A as quoted in trade guides; CO 25 ppm is the lower of
the values in force in North America. The rest is common practice, no source.
"""

from collections.abc import Callable
from math import ceil

import numpy as np

from microclimate.constants import ZERO_CELSIUS
from microclimate.physics.chill import wind_chill
from microclimate.report.answer import Answer
from microclimate.report.words import measure
from microclimate.schema import Event, SurfaceState

WORTH_SAYING = 0.05  # chance from which a state's cautions are shown; ours, on the careful side
HEATER_DISTANCE = 3.048  # [m] 29 CFR 1926.154: 10 ft from a tarpaulin


def _window(answer: Answer, name: str, window: Event) -> np.ndarray:
    """The sky's series inside a window, (quantile, time)."""
    time = answer.sky["time"].values
    inside = (time >= np.datetime64(window.start, "ns")) & (time <= np.datetime64(window.end, "ns"))
    return np.asarray(answer.sky[name].values[:, inside])


def _chance(answer: Answer, state: SurfaceState) -> float:
    """The highest chance of a state or a worse one in any zone and window; 1 where nothing is known."""
    values = answer.risk["probability_reached"].isel(state=int(state)).values
    return float(np.nanmax(values)) if np.isfinite(values).any() else 1.0


def chill(answer: Answer) -> float:
    """Lowest wind chill of the median air and wind in any window. [K] NaN where it is not defined."""
    middle = int(np.argmin(np.abs(answer.sky["quantile"].values - 0.5)))
    lowest = np.inf
    for window in answer.windows:
        air, wind = (_window(answer, name, window)[middle] for name in ("air_temperature", "wind_speed"))
        index = wind_chill(air, wind)
        if np.isfinite(index).any():
            lowest = min(lowest, float(np.nanmin(index)))
    return lowest if np.isfinite(lowest) else float("nan")


def gust(answer: Answer) -> float:
    """Strongest gust that one forecast in ten, or so, has in any window. [m s-1] NaN where none is known."""
    series = [_window(answer, "wind_speed_of_gust", window) for window in answer.windows]
    values = np.concatenate([part.ravel() for part in series])
    return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")


def _slippery(answer: Answer) -> str:
    if _chance(answer, SurfaceState.COLD_AND_DRY) < WORTH_SAYING:
        return ""
    return "Frosted or wet grass, steps, ramps and metal treads are slippery: grit walkways, never the grass."


def _cold_work(answer: Answer) -> str:
    felt = chill(answer)
    words = "Nobody works on the field alone at night"
    if np.isfinite(felt) and felt < ZERO_CELSIUS:
        words += f"; wind chill down to {measure(felt, 'temperature', answer.shown)} (JAG/TI index)"
    return words + ". Gloves, hot drinks, short turns."


def _covers(answer: Answer) -> str:
    strongest = gust(answer)
    words = f" (gusts to {measure(strongest, 'speed', answer.shown)})" if np.isfinite(strongest) else ""
    return (
        f"Wind lifts and drags covers{words}: brief the crew, one caller, release the sheet rather than hold on; "
        "wet sheets are far heavier."
    )


def _vehicles(answer: Answer) -> str:
    if _chance(answer, SurfaceState.CRUST) < WORTH_SAYING:
        return ""
    return "No wheels on frozen ground, nor on ground thawed over frozen."


def _roofs(answer: Answer) -> str:
    if _chance(answer, SurfaceState.WHITE_FROST) < WORTH_SAYING:
        return ""
    return "Snow and ice slide off roofs as they thaw: close off the ground below."


_HEATERS = (
    "Heaters and warm air under covers: carbon monoxide and fire. Test the air at the start and every 4 h "
    "(carbon monoxide below 25 ppm), keep heaters {distance} from covers, never leave them unattended."
)

# (what the venue has; "" = any venue) -> sentence, '' where the night does not call for it
CAUTIONS: tuple[tuple[frozenset[str], Callable[[Answer], str]], ...] = (
    (frozenset(), _slippery),
    (frozenset(), _cold_work),
    (frozenset({"covers", "insulated covers", "inflated covers"}), _covers),
    (
        frozenset({"warm air", "inflated covers"}),
        lambda answer: _HEATERS.format(distance=measure(ceil(10 * HEATER_DISTANCE) / 10, "length", answer.shown)),
    ),
    (
        frozenset({"inflated covers"}),
        lambda _: "Nobody sleeps or works under an inflated sheet without a carbon monoxide alarm.",
    ),
    (
        frozenset({"cables"}),
        lambda _: (
            "Electric cables in wet ground: residual-current (GFCI) protection, locked out before spiking; "
            "a licensed electrician."
        ),
    ),
    (
        frozenset({"hot water", "glycol"}),
        lambda _: "Heating water scalds and is under pressure: relief valves and repairs are licensed work.",
    ),
    (frozenset({"glycol"}), lambda _: "Glycol is slippery and poisonous: contain and report spills."),
    (frozenset({"roofs"}), _roofs),
    (
        frozenset({"fuel", "warm air"}),
        lambda _: "Fuel and generators: outdoors, refuel cold, extinguisher at hand.",
    ),
    (
        frozenset({"irrigation"}),
        lambda _: "Drain or blow out hoses and pipes before the freeze; burst pipes make ice.",
    ),
    (
        frozenset({"instruments at height"}),
        lambda _: "Instruments at height: no ladders in frost or wind; roped access is licensed work.",
    ),
    (frozenset(), _vehicles),
)


def cautions(answer: Answer) -> list[str]:
    """The cautions that apply, as sentences."""
    found = []
    for needs, sentence_of in CAUTIONS:
        if not needs or needs & answer.equipment:
            found.append(sentence_of(answer))
    return [text for text in found if text]
