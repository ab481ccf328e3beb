"""What is said first: the coldest zone, the chances tonight and in each event, and where it all comes from."""

from dataclasses import dataclass

import numpy as np

from microclimate.report.answer import Answer
from microclimate.report.words import (
    FROST,
    FROZEN,
    UNKNOWN,
    about_even,
    between,
    chance,
    day_clock,
    fill,
    first_state,
    measure,
    reached,
    sentence,
    span,
)
from microclimate.schema import STATE_WORDS, SurfaceState

GROUPS = {FROST: "frost, ice or snow", FROZEN: "frozen ground, ice or snow"}
DISCLAIMER = "An estimate for planning: local codes, licensed trades, referee and medical staff decide."
OLD = 12 * 3600  # [s] a forecast older than this is said to be old; ours


def title(answer: Answer, event: int) -> str:
    """Name and span of a window: 'Tonight, Tue Dec 15, 5:00 pm to Wed 9:00 am'."""
    window = answer.windows[event]
    return f"{window.name[:1].upper()}{window.name[1:]}, {span(window, answer.shown)}"


def known(answer: Answer, event: int) -> bool:
    """Whether any zone has a chance in this window."""
    return bool(np.isfinite(answer.risk["probability"].values[:, event]).any())


@dataclass(frozen=True)
class Coldest:
    """The coldest zone tonight, in words: its lowest canopy, the likely range, and when."""

    zone: str
    lowest: str
    likely: str
    when: str


def coldest(answer: Answer) -> Coldest:
    """Coldest zone, lowest canopy with its range, and the hour; "unknown" where nothing is known."""
    zone, shown = answer.coldest_first[0], answer.shown
    canopy = answer.told("canopy_temperature_worst", zone, 0)
    when: np.datetime64 = answer.told("canopy_temperature_worst_time", zone, 0).reshape(-1)[0]
    return Coldest(
        zone,
        measure(float(canopy[answer.middle]), "temperature", shown),
        between(float(canopy.min()), float(canopy.max()), "temperature", shown),
        day_clock(when, shown),
    )


def coldest_words(answer: Answer) -> str:
    """Coldest zone, lowest canopy with its range, and the hour, as a sentence."""
    cold = coldest(answer)
    if cold.lowest == UNKNOWN:
        return "Lowest canopy tonight: unknown, the forecast does not reach far enough."
    return f"Coldest: {cold.zone}. Canopy down to {cold.lowest} (likely {cold.likely}) about {cold.when}."


def most_at_risk(answer: Answer, event: int, state: SurfaceState) -> str:
    """The zone with the highest chance of a state or worse, the colder one where two are alike."""

    def risk(zone: str) -> float:
        return float(np.nan_to_num(answer.told("probability_reached", zone, event)[state], nan=-1.0))

    return max(answer.coldest_first, key=risk)


def at_most(answer: Answer, event: int, state: SurfaceState) -> tuple[str, str]:
    """The zone most at risk of a state or worse in a window, and its chance with range."""
    zone = most_at_risk(answer, event, state)
    text = reached(answer, zone, event, state)
    even = about_even(answer, zone, event)
    if even and even[0] < state <= even[1]:
        text = f"about even, {text}"
    return zone, text


def outlook(answer: Answer, event: int) -> str:
    """Chance of frost and of frozen ground in the zone most at risk, for one window."""
    if not known(answer, event):
        return "unknown, the forecast ends before the window does."
    (zone, frost), (other, frozen) = (at_most(answer, event, state) for state in (FROST, FROZEN))
    place = "" if other == zone else f" in {other}"
    return f"{zone} has a chance of {GROUPS[FROST]} of {frost}; of {GROUPS[FROZEN]} of {frozen}{place}."


def against_limit(answer: Answer, event: int) -> str:
    """How the highest chance stands to the limit the reader set; '' where none is set or nothing is known."""
    if answer.limit is None or not known(answer, event):
        return ""
    state = answer.limit.state
    chances = answer.risk["probability_reached"].values[:, event, state]
    outside = int((chances > answer.limit.chance).sum())
    words = f"{STATE_WORDS[state]} or worse, {chance(answer.limit.chance)}"
    if not outside:
        return f"All zones are within the limit you set ({words})."
    count = "1 zone is" if outside == 1 else f"{outside} of {len(answer.zones)} zones are"
    return f"{count} outside the limit you set ({words})."


def worst_zone(answer: Answer, event: int = 0) -> str:
    """The zone most at risk in a window and the area that shares its worst likely state."""
    if not known(answer, event):
        return ""
    zone = most_at_risk(answer, event, FROST)
    area = float(answer.told("worst_area", zone, event))
    state = first_state(answer, zone, event)
    return f"Worst zone: {zone}, {measure(area, 'area', answer.shown)} of it in its worst likely state ({state})."


def not_covered(answer: Answer) -> list[str]:
    """A sentence for each window that some realizations do not reach the end of."""
    lines = []
    for event, window in enumerate(answer.windows):
        share = float(answer.risk["coverage"].values[:, event].min())
        if share < 1:
            reach = chance(share) if share > 0 else "none"
            lines.append(f"{sentence(window.name)[:-1]}: {reach} of the forecasts reach its end; the rest is unknown.")
    return lines


def start_words(answer: Answer) -> str:
    """Where the start state came from and how much of tonight's range hangs on it."""
    start, shown = answer.start, answer.shown
    templates = {
        "readings": "Ground at the start: {count} readings, the last at {when:day_clock}",
        "saved": "Ground at the start: the state saved by the run of {when:day_clock}",
        "past": "Ground at the start: {days} days of past weather, run through the same ground",
        "season": "Ground at the start: no reading and no past weather, only what the season would have",
    }
    plain = {
        "readings": "Ground at the start: readings in the field",
        "saved": "Ground at the start: the state saved by an earlier run",
        "past": "Ground at the start: past weather, run through the same ground",
    }
    try:
        text = fill(templates[start.source], start.facts, shown)
    except KeyError:  # a count or time was not given
        text = plain[start.source]
    if start.facts.get("count") == 1:
        text = text.replace("1 readings, the last at", "1 reading, at")
    if "spread" in start.facts:
        text += fill(", give or take {spread:temperature difference}", start.facts, shown)
    share = chance(start.share)
    if share == UNKNOWN:
        return f"{text}. How much of tonight's range hangs on it was not worked out."
    return f"{text}. About {share} of tonight's range hangs on it.".replace("About under", "Under").replace(
        "About over", "Over"
    )


def forecast_words(answer: Answer) -> str:
    """Name, age and count of members of the forecast."""
    members = "1 run" if answer.members == 1 else f"{answer.members} members"
    if answer.issued is None:
        return f"Forecast: {answer.source}, {members}. It does not say when it was issued; make sure it is the newest."
    age = (answer.now - answer.issued).total_seconds()
    text = f"Forecast: {answer.source}, {members}, issued {day_clock(answer.issued, answer.shown)}"
    if age < 0:
        return f"{text}, later than this run: check the clock."
    return f"{text}, {_age(age)} old." + (" Fetch a newer one, if there is one." if age > OLD else "")


def _age(seconds: float) -> str:
    hours = round(seconds / 3600)
    return "under an hour" if hours < 1 else "1 hour" if hours == 1 else f"{hours} hours"


def forecast_age(answer: Answer) -> str:
    """The forecast's age alone, for the head of the page."""
    if answer.issued is None:
        return "Age of the forecast: unknown."
    age = (answer.now - answer.issued).total_seconds()
    old = "later than this run" if age < 0 else f"{_age(age)} old"
    return f"Forecast of {day_clock(answer.issued, answer.shown)}, {old}."


def made(answer: Answer) -> str:
    """When the run was made."""
    return f"Run {day_clock(answer.now, answer.shown)}; all times are the clock at the field."


def advice_words(answer: Answer) -> list[str]:
    """Each line of advice: what, where, start by, why."""
    lines = []
    for advice in answer.advice:
        where = f" ({', '.join(advice.zones)})" if advice.zones else ""
        by = f": start by {day_clock(advice.start_by, answer.shown)}" if advice.start_by else ""
        lines.append(sentence(f"{advice.action}{where}{by}; {advice.reason}" if advice.reason else advice.action + by))
    return lines
