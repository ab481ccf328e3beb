"""The limits that `zones` goes by, each with where it comes from: play, survival and growth apart."""

from dataclasses import dataclass

from microclimate.report.words import depth, measure
from microclimate.units import Shown

TEMPERATURE = "temperature"
# what each is, in the order told; one for play says nothing of survival, and the other way round
PLAY = {"canopy_min": "canopy at least", "rootzone_min": "25 mm at least"}
SURVIVAL = {
    "lt50_growing": "half the plants die while growing, crown",
    "lt50_hardened": "half the plants die fully hardened, crown",
    "kill_soil": "kill possible, soil",
    "snow_mould_low": "pink snow mould, leaf wet above",
    "snow_mould_high": "pink snow mould, leaf wet below",
}
GROWTH = {
    "light_min": "light, least",
    "light_winter": "light, least while it hardly grows",
    "light_best": "light, best quality",
    "shoot_stop_cold": "at 100 mm shoots stop below",
    "root_stop_cold": "at 100 mm roots stop below",
    "root_growth_low": "at 100 mm roots grow best from",
    "root_growth_high": "at 100 mm roots grow best up to",
    "root_trouble": "at 100 mm roots suffer above",
    "root_stop_hot": "at 100 mm roots stop above",
    "shoot_stop_hot": "shoots stop in a canopy above",
    "growth_best": "growth index best at a mean air of",
    "degree_day_base": "degree days count from",
}


@dataclass(frozen=True)
class Limit:
    """One limit: its key, its number [K, mol m-2], and source and confidence, empty where the venue has set it."""

    key: str
    value: float
    source: str = ""
    confidence: str = ""


def lines(limits: tuple[Limit, ...], grass: str, shown: Shown) -> list[str]:
    """One line for each source and kind of limit."""
    by_key = {limit.key: limit for limit in limits}
    found = []
    for kind, named in (("For play", PLAY), (f"Survival of {grass}", SURVIVAL), (f"Growth of {grass}", GROWTH)):
        groups: dict[tuple[str, str], list[str]] = {}
        for key, what in named.items():
            limit = by_key[key]
            groups.setdefault((limit.source, limit.confidence), []).append(_said(limit, what, shown))
        for (source, confidence), said in groups.items():
            where = f"{_plain(source, shown)}; confidence {confidence}" if source else "set in the venue"
            found.append(f"{kind}: {', '.join(said)} ({where}).")
    return found


def _said(limit: Limit, what: str, shown: Shown) -> str:
    if "light" in limit.key:
        return f"{what} {limit.value:.0f} mol/m² a day"
    return f"{_plain(what, shown)} {measure(limit.value, TEMPERATURE, shown)}"


def _plain(text: str, shown: Shown) -> str:
    for metres in (0.1, 0.025):
        text = text.replace(f"{1000 * metres:.0f} mm", depth(metres, shown))
    return text
