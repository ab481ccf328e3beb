"""Stands that cannot be, and a skyline read from a spot: what is refused, and in whose name."""

import drawn
import pytest

from microclimate.errors import InputError
from microclimate.venue import load

STAND = """
[[stand]]
name = "East"
side = "left"
setback = 7
[[stand.tier]]
front_height = 5
tread = 0.8
riser = 0.4
rows = 10
"""
UPPER = "[[stand.tier]]\nsetback = {setback}\nfront_height = {height}\ntread = 0.8\nriser = 0.5\nrows = 5\n"
SKYLINE = "[skyline]\ndistance = 20\nangles = [[0, 10], [120, 5], [240, 8]]\n"
ZONES = '[[zone]]\nname = "goal"\noutline = [[-50, -30], [50, -30], [50, 30], [-50, 30]]\n'


def refused(more: str) -> str:
    with pytest.raises(InputError) as caught:
        load.text(drawn.HEAD.format(field="") + more)
    return str(caught.value)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (UPPER.format(setback=-4, height=9), ["[[stand]] 1, tier 2: cuts into the rows below it", "raise it"]),
        (
            UPPER.format(setback=1, height=2),
            ["[[stand]] 1, tier 2: front_height 2 m is below", "from the field upwards"],
        ),
        (
            "[stand.roof]\ndepth = 8\nheight_front = 12\nheight_back = 7\n",
            ["[[stand]] 1, roof: lies below the seats or too close", "above the field"],
        ),
    ],
)
def test_a_stand_that_runs_into_itself(more: str, words: list[str]) -> None:
    told = refused(STAND + more)
    for word in words:
        assert word in told


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("spot = [69.8, 0]\n", ["[skyline]: the spot lies beyond what hides the sky", "from the field's centre"]),
        ('zone = "gaol"\n', ["[skyline]: there is no zone 'gaol'", "goal"]),
        ('zone = "goal"\nspot = [3, 0]\n', ["[skyline]: has both spot and zone", "one of them"]),
    ],
)
def test_a_skyline_from_nowhere(more: str, words: list[str]) -> None:
    told = refused(SKYLINE + more + ZONES)
    for word in words:
        assert word in told


def test_a_skyline_read_in_a_zone_is_one_read_at_its_middle() -> None:
    """Walls, to the last digit, are those of the same angles from the zone's middle."""
    halves = (
        '[[zone]]\nname = "a"\noutline = [[-50, -30], [0, -30], [0, 30], [-50, 30]]\n'
        '[[zone]]\nname = "b"\noutline = [[0, -30], [50, -30], [50, 30], [0, 30]]\n'
    )
    head = drawn.HEAD.format(field="")
    by_zone, by_spot, centre = (
        load.text(head + SKYLINE + more + halves).bowl.walls for more in ('zone = "b"\n', "spot = [25, 0]\n", "")
    )
    assert by_zone == by_spot
    assert by_zone != centre
