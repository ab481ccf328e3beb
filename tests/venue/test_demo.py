"""The demo's venue is what its description promises; the same venue in US units is the same place."""

import re
from pathlib import Path

import pytest

from microclimate.venue import load, summary, unknowns
from microclimate.venue.described import Venue

DEMO = Path(__file__).parents[2] / "data_demo" / "venue.toml"


@pytest.fixture(scope="module")
def demo() -> Venue:
    return load.venue(DEMO)


@pytest.fixture(scope="module")
def in_feet() -> Venue:
    """The demo with every metric text written in US units."""
    per = {"m": ("ft", 1 / 0.3048), "mm": ("in", 1 / 25.4)}
    text = DEMO.read_text(encoding="utf-8").replace('units = "metric"\nclock = 24', 'units = "US"\nclock = 12')

    def change(match: re.Match[str]) -> str:
        unit, factor = per[match[2]]
        return f'"{float(match[1]) * factor!r} {unit}"'

    changed, count = re.subn(r'"([-\d.]+) (m|mm)"', change, text)
    assert count > 25
    return load.text(changed)


def test_four_separate_stands_of_unequal_height_one_roofed(demo: Venue) -> None:
    assert demo.bowl.kind == "separate stands"
    assert {stand.side for stand in demo.bowl.stands} == {"left", "right", "head", "foot"}
    assert len({round(stand.top, 1) for stand in demo.bowl.stands}) == 4
    assert sum(stand.roof is not None for stand in demo.bowl.stands) == 1


def test_bare_metal_on_one_side_only(demo: Venue) -> None:
    bare = {
        stand.side
        for stand in demo.bowl.stands
        for tier in stand.tiers
        if "bare aluminium" in (tier.material, tier.seats)
    }
    assert bare == {"right"}


def test_one_goal_end_on_trays_the_rest_sand_over_gravel(demo: Venue) -> None:
    trays = [zone for zone in demo.field.zones if zone.base.over_air]
    assert len(demo.field.zones) == 24
    assert len(trays) == 4
    assert all(max(x for x, _ in zone.polygon) < -demo.field.length / 4 for zone in trays)  # all at the foot end
    rest = [zone for zone in demo.field.zones if zone not in trays]
    assert all([layer.material for layer in zone.layers][1:3] == ["sand mix", "gravel"] for zone in rest)


def test_two_circuits_a_permeable_and_an_insulated_cover(demo: Venue) -> None:
    assert {zone.circuit for zone in demo.field.zones} == {circuit.name for circuit in demo.equipment.circuits}
    assert len(demo.equipment.circuits) == 2
    assert {cover.kind for cover in demo.equipment.covers} == {"permeable", "insulated"}


def test_zones_tile_the_field(demo: Venue) -> None:
    assert sum(zone.area for zone in demo.field.zones) == pytest.approx(demo.field.length * demo.field.width)


def test_a_midweek_evening_in_january(demo: Venue) -> None:
    (game,) = demo.events
    assert game.start.isoformat() == "2026-01-29T00:30:00"  # 19:30 on the 28th, five hours behind UTC
    assert (game.end - game.start).total_seconds() == 2 * 3600


def test_the_place_is_that_of_the_weather(demo: Venue) -> None:
    """36.10 N, 79.95 W, 273 m: header of the typical-year file that the demo's weather is cut from."""
    site = demo.site.site
    assert (site.latitude, site.longitude, site.elevation) == (36.10, -79.95, 273.0)


def test_feet_and_inches_give_the_same_place(demo: Venue, in_feet: Venue) -> None:
    for one, other in zip(demo.bowl.stands, in_feet.bowl.stands, strict=True):
        assert other.tier_fronts == pytest.approx(one.tier_fronts)
        assert other.top == pytest.approx(one.top)
    for one_zone, other_zone in zip(demo.field.zones, in_feet.field.zones, strict=True):
        assert [layer.thickness for layer in other_zone.layers] == pytest.approx(
            [layer.thickness for layer in one_zone.layers]
        )
    assert in_feet.digest("material") == demo.digest("material")


def test_the_summary_speaks_the_readers_units(demo: Venue, in_feet: Venue) -> None:
    metric = "\n".join(text for _, text in summary.lines(demo))
    american = "\n".join(text for _, text in summary.lines(in_feet))
    assert "106 m × 68 m" in metric
    assert "set point 4.0 °C" in metric
    assert not re.search(r"\d (ft|in|°F|mph)", metric)
    assert "348 ft × 223 ft" in american  # 106 m and 68 m over 0.3048
    assert "set point 39.2 °F" in american
    assert not re.search(r"\d (m|mm|°C|m/s)\b", american)


def test_the_summary_counts_heat_by_area(demo: Venue) -> None:
    """120 W/m2 on 20 of 24 equal zones of 106 x 68 m = 720.8 kW."""
    heating = [text for heading, text in summary.lines(demo) if heading == "heating"]
    assert "= 721 kW" in heating[0]


def test_second_looks() -> None:
    text = (
        DEMO.read_text(encoding="utf-8")
        .replace('power = "900 kW"', 'power = "500 kW"')
        .replace('ceiling = "16 degC"', 'ceiling = "24 degC"', 1)
        .replace("people = 10\nnotice", "people = 3\nnotice")
    )
    notes = summary.notes(load.text(text))
    assert notes == (
        "the circuits can take 817 kW, the plant gives 500 kW: not all can run in full at once",
        "circuit middle: the ceiling 24.0 °C is above 20.0 °C, where the roots of this grass suffer",
        "cover growth sheet takes 4 people, the crew has 3",
        "cover quilt takes 10 people, the crew has 3",
    )


def test_every_unknown_moves_the_venue_both_ways_and_only_its_part(demo: Venue) -> None:
    found = unknowns.ranges(demo)
    assert {item.key for item in found} == {
        "water", "draught", "canopy", "still air", "surroundings", "stand height", "bearing", "emissivity", "albedo",
        "cover",
    }  # fmt: skip
    for item in found:
        assert len({demo.digest(), item.low.digest(), item.high.digest()}) == 3, item.key
        shape = demo.digest("geometry") != item.low.digest("geometry")
        assert shape == (item.key in ("stand height", "bearing")), item.key
        made_of = demo.digest("material") != item.low.digest("material")
        assert made_of == (item.key in ("emissivity", "albedo")), item.key


def test_what_was_not_known_has_a_wider_range(demo: Venue) -> None:
    guessed = demo.model_copy(update={"guessed": ("stands", "build", "bearing", "surroundings", "grass")})
    for usual, wide in (
        (usual, wide)
        for usual in unknowns.ranges(demo)
        for wide in unknowns.ranges(guessed)
        if usual.key == wide.key in ("stand height", "bearing")
    ):
        assert wide.guessed
        assert not usual.guessed

        def span(item: unknowns.Range) -> float:
            if item.key == "bearing":
                return (item.high.field.bearing - item.low.field.bearing) % 360
            return item.high.bowl.stands[0].top - item.low.bowl.stands[0].top

        assert span(wide) > 3 * span(usual)


def test_taller_stands_keep_their_roof_clear(demo: Venue) -> None:
    """The roof rises with the top row, so the variant is still a legal venue: same clearance."""
    item = next(item for item in unknowns.ranges(demo) if item.key == "stand height")
    for venue in (demo, item.low, item.high):
        stand = venue.bowl.stands[0]
        assert stand.roof is not None
        assert stand.roof.height_back - stand.top == pytest.approx(20.5 - 15.78)
