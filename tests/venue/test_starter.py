"""The starter files load as they are; answers become files; what is not known takes the default and is listed."""

import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from microclimate.errors import InputError
from microclimate.venue import load, starter

ANSWERS = {
    "name": 'The "Old" Field',
    "units": "us",
    "position": "41.2, -96.1, 1100 ft",
    "time_zone": "America/Chicago",
    "surroundings": "town",
    "size": "120 x 53.3 yd",
    "bearing": "110",
    "zones": "4 x 6",
    "grass": "kentucky bluegrass",
    "height": "1.25 in",
    "build": "trays, open below",
    "heating": "electric cable",
    "cover": "insulated",
    "stands": "west roof, north, south",
    "stand_shape": "25 ft, 90 ft, 40 ft, bare aluminium",
}


def test_the_blank_file_loads_as_it_is() -> None:
    venue = load.text(starter.blank())
    assert len(venue.field.zones) == 12
    assert venue.bowl.kind == "none"


def test_every_commented_setting_of_the_blank_file_is_one() -> None:
    """Uncommented table by table, no line may be an unknown setting: the notes cannot go stale."""
    live = re.sub(r"^# (?=[\[\]a-z{} ]+.*(=|\]\]?( |$)|\},))", "", starter.blank(), flags=re.MULTILINE)
    live = re.sub(r"^# (?=\])", "", live, flags=re.MULTILINE)
    raw = tomllib.loads(live)
    assert {"skyline", "wall", "circuit", "plant", "cover", "crew", "limits", "prices", "event", "zone"} <= raw.keys()
    with pytest.raises(InputError) as caught:  # the three builds and the two zonings exclude each other
        load.text(live)
    assert not [str(problem) for problem in caught.value.problems if "is not a setting" in str(problem)]


def test_at_most_fifteen_questions_each_with_a_default() -> None:
    asked = starter.questions()
    assert len(asked) <= 15
    assert len({question.key for question in asked}) == len(asked)
    assert all(question.default and question.example for question in asked)


def test_nothing_known_still_makes_a_file() -> None:
    venue = load.text(starter.from_answers({}))
    assert venue.guessed == (
        "position", "time_zone", "surroundings", "size", "bearing", "grass", "height", "build", "stands",
    )  # fmt: skip
    assert starter.from_answers({"name": "don't know", "stands": "?"}) == starter.from_answers({})


def test_answers_in_feet_and_inches() -> None:
    """1100 ft = 335.3 m; 120 yd = 109.7 m; 1.25 in = 31.75 mm; 25 ft = 7.62 m (exact by the inch of 25.4 mm)."""
    venue = load.text(starter.from_answers(ANSWERS))
    assert venue.name == 'The "Old" Field'
    assert venue.shown.system == "US"
    assert venue.shown.clock == 12
    assert venue.site.elevation == pytest.approx(335.3, abs=0.05)
    assert venue.field.length == pytest.approx(120 * 0.9144)
    assert venue.field.turf.mowing_height == pytest.approx(0.03175)
    assert [stand.side for stand in venue.bowl.stands] == ["foot", "left", "right"]  # bearing 110: west is behind
    assert [stand.roof is not None for stand in venue.bowl.stands] == [True, False, False]
    assert venue.bowl.stands[0].tier_fronts[0] == pytest.approx(25 * 0.3048)
    assert venue.bowl.stands[0].top == pytest.approx(40 * 0.3048)
    assert venue.field.zones[0].base.kind == "tray over draughty air"
    assert venue.equipment.covers[0].kind == "insulated"
    assert venue.guessed == ()


@pytest.mark.parametrize("key", sorted(ANSWERS))
def test_any_one_answer_may_be_left_open(key: str) -> None:
    venue = load.text(starter.from_answers({name: value for name, value in ANSWERS.items() if name != key}))
    asked = {question.key: question for question in starter.questions()}
    assert venue.guessed == ((key,) if asked[key].wider else ())


@pytest.mark.parametrize("build", starter._BUILDS)
@pytest.mark.parametrize("heating", starter._HEATING)
def test_every_build_can_be_heated(build: str, heating: str) -> None:
    venue = load.text(starter.from_answers({"build": build, "heating": heating}))
    assert bool(venue.equipment.circuits) == (heating != "none")


@pytest.mark.parametrize(
    ("answers", "wanted"),
    [
        ({"units": "imperial"}, "Metric or US units?: 'imperial': must be one of metric, US"),
        ({"position": "north"}, "wanted two or three parts with commas between; wanted for example 41.2, -96.1"),
        ({"position": "41.2, -96.1, 12 kg"}, "'kg' is no unit known here"),
        ({"size": "105"}, "wanted two numbers with an x between"),
        ({"height": "short"}, "does not begin with a number"),
        ({"zones": "3.5 x 4"}, "wanted whole numbers"),
        ({"stand_shape": "8 m, 25 m"}, "wanted three lengths, and a material if known"),
        ({"stand_shape": "8 m, 25 m, 10 m, gold"}, "the material must be one of bare aluminium"),
        ({"stands": "left, sunny"}, "[[stand]] 2: side must be left, right, head, foot, all or a compass direction"),
        ({"colour": "green"}, "colour: is no question"),
    ],
)
def test_an_answer_that_cannot_be_used(answers: dict[str, str], wanted: str) -> None:
    with pytest.raises(InputError) as caught:
        starter.from_answers(answers)
    assert wanted in str(caught.value)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=40), st.text(max_size=20))
def test_any_name_and_any_nonsense_is_a_file_or_one_input_error(name: str, nonsense: str) -> None:
    """Property: names of any letters survive; nonsense never ends in another exception."""
    try:
        venue = load.text(starter.from_answers({"name": name, "size": nonsense}))
    except InputError:
        return
    assert venue.field.length >= venue.field.width
