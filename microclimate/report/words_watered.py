"""The words of watering that was tried: what it does to heat and ice, never whether to do it."""

from microclimate.report.watered import Seen, Watered
from microclimate.report.words import chance, day_clock, depth, measure, number, sentence
from microclimate.units import Shown

TOP = 0.05  # [m] in which ice is told
LEAST = 0.05  # [kg m-2] of ice below which there is none to speak of


def title(told: Watered, shown: Shown) -> str:
    """What was tried."""
    amount = (
        f"{number(told.amount, 'depth', shown)} mm" if shown.system == "metric" else f"{told.amount / 0.0254:.2f} in"
    )
    warm = "" if told.temperature is None else f" at {measure(told.temperature, 'temperature', shown)}"
    return f"Tried, not advised: {amount} of water{warm}, {day_clock(told.when, shown)}"


def lines(told: Watered, shown: Shown) -> list[str]:
    """Each window without and with the water, and what the figures leave out."""
    found = []
    for name, dry, wet in told.windows:
        pairs = [
            f"chance of a frozen layer or worse {chance(dry.frozen)} without, {chance(wet.frozen)} with it",
            _pair("lowest canopy", dry.canopy, wet.canopy, shown),
            _pair(f"root zone at {depth(0.025, shown)}", dry.soil, wet.soil, shown),
            _ice(dry, wet, shown),
        ]
        found.append(sentence(f"{name}: {'; '.join(pairs)}"))
    found.append(
        "A layer counts as frozen by the share of its water that is ice: more water can lower that chance and still "
        "make a harder plate, since frozen sand is the harder the more water it holds (impact tests of three soils): "
        "measure it."
    )
    found.append("The water is held where it sank to; what drains meanwhile is not followed.")
    return found


def _pair(what: str, dry: float, wet: float, shown: Shown) -> str:
    return f"{what} {measure(dry, 'temperature', shown)} without, {measure(wet, 'temperature', shown)} with it"


def _ice(dry: Seen, wet: Seen, shown: Shown) -> str:
    where = f"ice in the top {depth(TOP, shown)} when it ends"
    if dry.ice < LEAST:
        return f"{where}: none without, {'none' if wet.ice < LEAST else 'some'} with it"
    change = 100.0 * (wet.ice / dry.ice - 1.0)
    if abs(change) < 0.5:
        return f"{where}: as much with it as without"
    return f"{where}: {abs(change):.0f} % {'more' if change > 0 else 'less'} with it (middle forecast)"
