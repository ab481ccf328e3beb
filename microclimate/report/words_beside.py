"""A span of the zones beside what practitioners expect of stadiums: the number, what is found, and why it differs."""

from dataclasses import dataclass

from microclimate.report.words import between, measure, number, sentence
from microclimate.units import Shown

KELVIN = "temperature difference"
KEPT = 0.6  # share of the open zone's sun from which a strip is told as hardly shaded; ours
DEEP = (0.40, 0.85)  # light lost under stands: UK light trials 2019
NOON = {"winter": (5.0, 15.0), "summer": (10.0, 20.0)}  # [K] sun over shade, clear days: from memory
TURF_OVER_AIR = 8.0  # [K] 37 degC on a clear day of 29 degC: University of Nebraska extension, one infrared set
HOT_AIR = 298.15  # [K] from which that is worth holding beside: ours
DESERT = 2.8  # [K] on-field air over stations in five desert venues: Arizona State University study
POOL = 5.0  # [K] between two heights of a shallow basin: Agric. Forest Meteorology 203 (2015)
WIND = (0.2, 0.5)  # of the open wind: from memory; no measured ratio on a field was found
METAL = 29.0  # [W m-2] less longwave under bare metal: worked out for stands that fill 40 % of the sky


@dataclass(frozen=True)
class Beside:
    """What a span shows of the darkest patch of one zone (the strip) and the middle of another, in the open."""

    strip: str
    centre: str
    season: str  # winter, summer, or between
    lost: float  # share of open ground's light that the strip lacks
    from_sky: float  # share of open ground's light that comes from the sky
    sky_seen: float  # share of the sky that the strip sees
    sun: tuple[float, float]  # strip's and centre's [h] a day
    noon: float  # sun's height at noon in the middle of the span [degree]
    day: float  # most that a day's highest canopy of the strip lies under the centre's [K]
    night: float  # lowest canopy of the nights, strip less centre, mean [K]
    longwave: tuple[float, float]  # stands give the strip, and their hiding of the sky takes from it [W m-2]
    frost: float | None  # strip over centre, on days with frost [h]; None without
    hottest: tuple[float, float]  # highest canopy of the centre, and the outside air's of that day [K]
    bowl_day: float  # the day's highest air over the field less outside, mean [K]
    bowl_night: float  # most that a night's lowest air over the field lies under that outside [K]
    wind: float  # mean wind at 2 m over the field, of that at 10 m outside
    metal: float | None = None  # most longwave that a zone lacks for bare metal in place of concrete [W m-2]


def title() -> str:
    """Over the lines."""
    return "Beside what practitioners expect"


def lines(told: Beside, shown: Shown) -> list[str]:
    """One line for each number that the span can be held against."""
    found = [_light(told), *_sun(told), *_noon(told, shown), *_frost(told), _night(told, shown)]
    found += [*_turf(told, shown), *_bowl(told, shown), _wind(told, shown), *_metal(told)]
    return [sentence(f"{expected}: {here}. {sentence(why)}") for expected, here, why in found]


Row = tuple[str, str, str]


def _shaded(told: Beside) -> bool:
    return told.sun[0] < KEPT * told.sun[1]


def _light(told: Beside) -> Row:
    expected = f"Light lost in deep stand shade, {100 * DEEP[0]:.0f} to {100 * DEEP[1]:.0f} % (light trials 2019)"
    here = f"here {100 * told.lost:.0f} % at the darkest of {told.strip}"
    if DEEP[0] - 0.05 <= told.lost <= DEEP[1] + 0.05:
        return expected, here, "as expected"
    share, seen = 100.0 * told.from_sky, 100.0 * told.sky_seen
    sky = f"{share:.0f} % of the span's light came from the sky, of which it sees {seen:.0f} %"
    if _shaded(told):
        return expected, here, f"the stands hide the sun, but {sky}; the trade's number is that of a clear day"
    kept = f"it keeps {told.sun[0]:.1f} of {told.sun[1]:.1f} h of sun"
    return expected, here, f"{kept}, as no stand hides the middle of the day, and {sky}"


def _sun(told: Beside) -> list[Row]:
    if told.season != "winter":
        return []
    expected = "A stand towards the equator shades a strip for weeks round the solstice (practice)"
    here = f"here {told.sun[0]:.1f} h of sun a day, {told.sun[1]:.1f} h in {told.centre}"
    if told.sun[0] < 0.3 * told.sun[1]:
        return [(expected, here, "as expected")]
    return [(expected, here, f"no stand that high lies towards the equator: the noon sun stands {told.noon:.0f}° high")]


def _noon(told: Beside, shown: Shown) -> list[Row]:
    if told.season not in NOON:
        return []
    low, high = NOON[told.season]
    span = between(low, high, KELVIN, shown)
    expected = f"Sunlit leaf over shaded at {told.season} noon, clear days, {span} (from memory)"
    here = f"here the day's highest differs by up to {measure(told.day, KELVIN, shown)}"
    if told.day >= low:
        return [(expected, here, "as expected" if told.day <= high else "more: calm, clear and dry days do that")]
    if _shaded(told):
        return [(expected, here, "a mown leaf stays near the air in wind; more wants a calm clear day and dry ground")]
    return [(expected, here, f"the noon sun, {told.noon:.0f}° high, reaches the strip too")]


def _frost(told: Beside) -> list[Row]:
    if told.frost is None:
        return []
    expected = "Frost lies an hour or more longer in shade (greens under trees)"
    here = f"here {told.frost:.1f} h a day with frost".replace("-", "\u2212")
    if told.frost >= 0.8:
        return [(expected, here, "as expected")]
    return [(expected, here, "frost ends with the morning's sun and warmth; shade later in the day does not count")]


def _night(told: Beside, shown: Shown) -> Row:
    gives, takes = told.longwave
    expected = "Nights beside a stand, warmer by its wall or colder for its shelter, both are published"
    here = f"here {measure(told.night, KELVIN, shown)} against {told.centre}"
    why = f"the stands give {gives:.0f} W/m² of longwave there for {takes:.0f} of sky that they hide, and take wind"
    return expected, here, why


def _turf(told: Beside, shown: Shown) -> list[Row]:
    canopy, air = told.hottest
    if air < HOT_AIR:
        return []
    over = canopy - air
    expected = f"Turf {measure(TURF_OVER_AIR, KELVIN, shown)} over the air on a clear hot day (one infrared set)"
    here = (
        f"here {measure(over, KELVIN, shown)}, at {number(canopy, 'temperature', shown)} under air of "
        f"{measure(air, 'temperature', shown)}"
    )
    near = abs(over - TURF_OVER_AIR) <= 3.0
    return [(expected, here, "as expected" if near else "wind, water in the ground and the sky of the day decide")]


def _bowl(told: Beside, shown: Shown) -> list[Row]:
    rows = []
    if told.season == "summer":
        expected = f"Air on the field {measure(DESERT, KELVIN, shown)} over a station by day (five desert venues)"
        here = f"here {measure(told.bowl_day, KELVIN, shown)} at the day's highest"
        near = abs(told.bowl_day - DESERT) <= 1.5
        why = "as expected" if near else "a growing field cools its bowl, and this one is open to the wind"
        rows.append((expected, here, why))
    expected = f"Cold air gathers, up to {measure(POOL, KELVIN, shown)} in a shallow basin on calm clear nights (2015)"
    here = f"here the coldest night's air is {measure(told.bowl_night, KELVIN, shown)} under that outside"
    near = told.bowl_night >= 0.5 * POOL
    why = "as expected" if near else "that basin was closed and hundreds of metres wide; wind and gaps empty this one"
    return [*rows, (expected, here, why)]


def _wind(told: Beside, shown: Shown) -> Row:
    low, high = WIND
    above, here_at = (measure(height, "length", shown) for height in (10.0, 2.0))
    expected = f"Wind on the field, {low:g} to {high:g} of the open wind at {above} (from memory)"
    here = f"here {told.wind:.2f} at {here_at}"
    if low <= told.wind <= high:
        return expected, here, "as expected; a reading on the field narrows it"
    why = "stands on some sides only let more wind in" if told.wind > high else "deep stands let less wind in"
    return expected, here, f"{why}; a reading on the field narrows it"


def _metal(told: Beside) -> list[Row]:
    if told.metal is None:
        return []
    expected = f"Bare metal, {METAL:.0f} W/m² less longwave on the grass than concrete (for 40 % of the sky filled)"
    here = f"here {told.metal:.0f} W/m² at most"
    near = abs(told.metal - METAL) <= 8.0
    filled = 100.0 * (1.0 - told.sky_seen)
    why = "as expected" if near else f"the strip's stands fill {filled:.0f} % of its sky, and not all of them are metal"
    return [(expected, here, why)]
