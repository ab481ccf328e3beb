"""What a venue file becomes: SI numbers, geometry, clock times, digests."""

import math
import pickle
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from microclimate import units
from microclimate.errors import InputError
from microclimate.venue import events, faults, load
from microclimate.venue.bowl import RoughStand, side_name
from microclimate.venue.described import Venue, VenueFile
from microclimate.venue.equipment import Circuit
from microclimate.venue.field import signed_area
from microclimate.venue.model import Unit

PLOT = """
name = "Weather plot"
[site]
latitude = 59.9
longitude = 10.7
elevation = 90
time_zone = "Europe/Oslo"
[field]
length = 12
width = 10
"""


def plot(more: str = "") -> Venue:
    return load.text(PLOT + more)


def test_a_venue_without_stands_is_an_open_lawn() -> None:
    venue = plot()
    assert venue.bowl.kind == "none"
    assert [zone.name for zone in venue.field.zones] == ["A1"]
    assert venue.field.zones[0].area == pytest.approx(120.0)
    assert venue.assumed == ("no [[ground]] is given: native soil is taken",)


@pytest.mark.parametrize(
    ("surface", "low", "high"),
    # heat passage leaf to soil [W/m2K]: lawn 5 (Moene & van Dam 2014), meadow 5-10, stubble 10-20, bare soil 15
    # (weather-model table, from memory)
    [("mown turf", 4, 6), ("meadow", 5, 10), ("stubble", 10, 20), ("bare soil", 15, 15)],
)
def test_the_kind_of_surface_sets_the_canopy(surface: str, low: float, high: float) -> None:
    turf = plot(f'[turf]\nsurface = "{surface}"').field.turf
    assert low <= turf.canopy_conductance <= high


def test_leaf_area_and_roughness_follow_the_height_of_cut() -> None:
    """FAO-56 (Allen et al. 1998): 24 h and 0.123 h; at 25 mm 0.6 and 3.075 mm."""
    turf = plot('[turf]\nmowing_height = "1 in"').field.turf
    assert turf.leaf_area == pytest.approx(24 * 0.0254)
    assert turf.roughness_length == pytest.approx(0.123 * 0.0254)


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_marks_and_tabs_do_not_matter(tmp_path: Path, ends: str, mark: str) -> None:
    path = tmp_path / "venue.toml"
    content = mark + PLOT.replace(" = ", "\t=\t").replace("\n", ends)
    path.write_bytes(content.encode("utf-8"))
    assert load.venue(path).digest() == plot().digest()


@given(st.floats(2.0, 100.0), st.sampled_from(["m", "ft", "yd", "cm", "in"]))
@settings(max_examples=40, deadline=None)
def test_a_length_is_the_same_in_any_unit(metres: float, unit: str) -> None:
    """Property: text in any unit gives the metres (factors exact by definition of the inch)."""
    assert Unit("m", 2, 100).convert(f"{float(units.from_si(metres, unit))!r} {unit}") == pytest.approx(
        metres, rel=1e-12
    )


def test_temperatures_are_kelvin_and_differences_are_differences() -> None:
    """40 degF = 277.594 K; 9 degF a day = 5 K a day."""
    circuit = Circuit.model_validate({"name": "a", "set_point": "40 degF", "ceiling": "61 degF", "ramp": "9 degF"})
    assert circuit.set_point == pytest.approx(277.5944, abs=1e-4)
    assert circuit.ramp == pytest.approx(5.0)


def test_what_stays_in_the_unit_of_its_name() -> None:
    venue = plot('[crew]\nearliest = 7\nnotice = 3\n[[cover]]\nname = "a"\nkind = "permeable"\nminutes = "1.5 h"')
    assert venue.equipment.covers[0].minutes == 90.0
    assert venue.crew.earliest == 7.0
    assert venue.crew.notice == 3 * 3600.0


def test_every_setting_has_a_description() -> None:
    seen: set[type[BaseModel]] = set()
    bare: list[str] = []

    def visit(model: type[BaseModel]) -> None:
        for name, field in model.model_fields.items():
            inner = faults._model_in(field.annotation)
            if inner is None and not field.description:
                bare.append(f"{model.__name__}.{name}")
            elif inner is not None and inner not in seen:
                seen.add(inner)
                visit(inner)

    visit(VenueFile)
    assert bare == []
    assert len(seen) > 15


@given(st.floats(0, 359), st.sampled_from(["north", "east", "south", "west"]))
@settings(max_examples=80, deadline=None)
def test_a_compass_side_is_the_one_that_looks_that_way(bearing: float, word: str) -> None:
    """Property: the side's outward direction is within 45 degrees of the word, else it is refused as a tie."""
    ways = {"head": bearing, "right": bearing + 90, "foot": bearing + 180, "left": bearing + 270}
    azimuth = {"north": 0, "east": 90, "south": 180, "west": 270}[word]
    try:
        side = side_name(word, bearing)
    except ValueError:
        assert abs(bearing % 90 - 45) < 1.01
        return
    assert abs((ways[side] - azimuth + 180) % 360 - 180) <= 45


@given(st.floats(0, 40), st.floats(2, 60), st.floats(1, 40))
@settings(max_examples=60, deadline=None)
def test_a_rough_stand_has_its_top_row_where_it_was_seen(first: float, depth: float, height: float) -> None:
    """Property: distance and height of the first and the top row come out again."""
    rough = RoughStand(first_row_distance=first, top_row_distance=first + depth, top_row_height=height)
    keys = rough.expanded()
    (tier,) = keys["tiers"]
    assert keys["setback"] == first
    assert first + (tier["rows"] - 1) * tier["tread"] == pytest.approx(first + depth)
    assert tier["front_height"] + (tier["rows"] - 1) * tier["riser"] == pytest.approx(height)


def test_rough_stands_with_roofs_pass_the_rules() -> None:
    venue = plot(
        '[[stand]]\nside = "east"\n[stand.rough]\nfirst_row_distance = 5\ntop_row_distance = "80 ft"\n'
        'top_row_height = 12\nroof = true\nseat = "bare aluminium"\n'
    )
    (stand,) = venue.bowl.stands
    assert venue.bowl.kind == "separate stands"
    assert stand.side == "right"  # bearing 0: east is to the right
    assert stand.rough
    assert stand.roof is not None
    assert "stand 1 is described roughly: rows, parapet and roof are guessed" in venue.assumed


def test_tiers_stand_behind_each_other() -> None:
    """Arithmetic: 4 + 10 x 0.8 = 12, + 2 = 14, + 5 x 1 = 19 m; tops 1 + 9 x 0.4 and 8 + 4 x 0.5 m."""
    venue = plot(
        '[[stand]]\nside = "head"\nsetback = 4\n'
        "[[stand.tier]]\nfront_height = 1\ntread = 0.8\nriser = 0.4\nrows = 10\n"
        "[[stand.tier]]\nsetback = 2\nfront_height = 8\ntread = 1\nriser = 0.5\nrows = 5\n"
    )
    (stand,) = venue.bowl.stands
    assert stand.tier_fronts == pytest.approx((4.0, 14.0))
    assert stand.back == pytest.approx(19.0)
    assert [tier.top for tier in stand.tiers] == pytest.approx([4.6, 10.0])
    assert (stand.start, stand.end) == (-5.0, 5.0)


@given(st.lists(st.floats(0, 40), min_size=8, max_size=8), st.floats(-4, 4), st.floats(0, 359))
@settings(max_examples=30, deadline=None)
def test_a_skyline_is_seen_again_from_its_spot(angles: list[float], x: float, bearing: float) -> None:
    """Property: from the spot, each wall's top shows the angle that was read in its direction."""
    pairs = [[45.0 * i, angle] for i, angle in enumerate(angles)]
    text = PLOT.replace("[field]", f"[field]\nbearing = {bearing}")
    venue = load.text(f"{text}[skyline]\nspot = [{x}, 1.0]\ndistance = 20\nangles = {pairs}")
    seen = {}
    for wall in venue.bowl.walls:
        ends = [math.atan2(p[1] - 1.0, p[0] - x) for p in (wall.start, wall.end)]
        middle = ends[0] + 0.5 * ((ends[1] - ends[0] + math.pi) % (2 * math.pi) - math.pi)
        (x0, y0), (x1, y1) = wall.start, wall.end
        across = (x1 - x0) * math.sin(middle) - (y1 - y0) * math.cos(middle)
        reach = ((x1 - x0) * (y0 - 1.0) - (y1 - y0) * (x0 - x)) / across
        azimuth = round((bearing - math.degrees(middle)) % 360.0, 3) % 360.0
        seen[azimuth] = math.degrees(math.atan2(wall.top - 1.6, reach))
    for azimuth, angle in pairs:
        assert seen[azimuth] == pytest.approx(angle, abs=1e-6)


def test_zones_that_leave_some_of_the_field_untold() -> None:
    venue = plot('[[zone]]\nname = "a"\noutline = [[-6, -5], [0, -5], [0, 5], [-6, 5]]')
    assert "zones cover 50 % of the field: nothing is told of the rest" in venue.assumed


def test_outlines_run_counter_clockwise_whatever_the_file_says() -> None:
    venue = plot('[[zone]]\nname = "a"\noutline = [[-6, -5], [-6, 5], [0, 5], [0, -5]]')
    assert signed_area(venue.field.zones[0].polygon) == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("outlines", "wanted"),
    [
        ("[[-6, -5], [0, -5], [0, 5], [-6, 5]] [[-1, -5], [6, -5], [6, 5], [-1, 5]]", "[[zone]] 2: b overlaps a"),
        ("[[-6, -5], [0, -5], [0, 5], [-6, 5]] [[0, -5], [9, -5], [6, 5], [0, 5]]", "[[zone]] 2: b leaves the field"),
        ("[[-6, -5], [0, 5], [0, -5], [-5, 5]] [[1, -5], [6, -5], [6, 5]]", "[[zone]] 1: the outline of a crosses"),
        ("[[-6, -5], [0, -5], [-3, -5]] [[1, -5], [6, -5], [6, 5]]", "[[zone]] 1: the outline of a encloses no area"),
    ],
)
def test_outlines_that_cannot_be(outlines: str, wanted: str) -> None:
    first, second = outlines.split("]] [[")
    tables = f'[[zone]]\nname = "a"\noutline = {first}]]\n[[zone]]\nname = "b"\noutline = [[{second}\n'
    with pytest.raises(InputError) as caught:
        plot(tables)
    assert [line for line in map(str, caught.value.problems) if wanted in line]


@pytest.mark.parametrize(
    ("kind", "setback", "radius", "wanted"),
    [
        ("rounded rectangle", 3, 15, "with this setback corner_radius may be at most 10.2 m"),  # 3 (2 + sqrt 2)
        ("oval", 8, 15, "the corners of the field lie outside the first row"),
    ],
)
def test_a_field_outside_the_bowl(kind: str, setback: float, radius: float, wanted: str) -> None:
    ring = (
        f'[bowl]\nkind = "{kind}"\ncorner_radius = {radius}\n[[stand]]\nside = "all"\nsetback = {setback}\n'
        "[[stand.tier]]\nfront_height = 1\ntread = 0.8\nriser = 0.4\nrows = 10\n"
    )
    big = PLOT.replace("length = 12", "length = 105").replace("width = 10", "width = 68")
    with pytest.raises(InputError) as caught:
        load.text(big + ring)
    assert wanted in str(caught.value)
    wider = ring.replace(f"setback = {setback}", "setback = 25")
    assert load.text(big + wider).bowl.kind == kind


RING = (
    '[bowl]\nkind = "rounded rectangle"\n[[stand]]\nside = "all"\nsetback = 15\n'
    "[[stand.tier]]\nfront_height = 1\ntread = 0.8\nriser = 0.4\nrows = 10\n"
)


def test_a_gap_may_be_named_by_the_compass() -> None:
    venue = plot(RING + '[[gap]]\nside = "south"\nwidth = 4\n')
    assert venue.bowl.gaps[0].side == "foot"


@pytest.mark.parametrize(
    ("gap", "wanted"),
    [
        ('side = "head"\nwidth = 11', "[[gap]] 1: reaches past the corner of the field, 5 m from the middle"),
        ('side = "head"\ncentre = 4\nwidth = 4', "[[gap]] 1: reaches past the corner"),
        ('side = "all"\nwidth = 4', "[[gap]] 1: side must be one side"),
        ('side = "up"\nwidth = 4', "[[gap]] 1: side must be left, right, head, foot, all or a compass direction"),
    ],
)
def test_gaps_that_cannot_be(gap: str, wanted: str) -> None:
    with pytest.raises(InputError) as caught:
        plot(f"{RING}[[gap]]\n{gap}\n")
    assert len(caught.value.problems) == 1
    assert wanted in str(caught.value)


def test_a_horseshoe_opens_where_the_compass_says() -> None:
    ring = RING.replace('"rounded rectangle"', '"horseshoe"\nopen_end = "east"')
    assert plot(ring).bowl.open_end == "right"


def test_local_clock_times_become_utc() -> None:
    """Oslo is UTC+1 in winter, +2 in summer; an end before the start's hour is on the next day."""
    venue = plot(
        '[[event]]\nname = "b"\nstart = 2026-07-01T19:30:00\nend = "21:30"\n'
        '[[event]]\nname = "a"\nstart = "2026-01-28 22:30"\nend = 00:30:00\n'
        '[[event]]\nname = "c"\nstart = 2026-10-25T02:30:00+01:00\nend = 2026-10-25T05:00:00\n'
    )
    assert [(event.name, event.start, event.end) for event in venue.events] == [
        ("a", datetime(2026, 1, 28, 21, 30), datetime(2026, 1, 28, 23, 30)),
        ("b", datetime(2026, 7, 1, 17, 30), datetime(2026, 7, 1, 19, 30)),
        ("c", datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 4, 0)),
    ]


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2030, 12, 31)),
    st.sampled_from(["America/New_York", "Europe/Oslo", "Australia/Lord_Howe", "Asia/Kolkata"]),
)
@settings(max_examples=100, deadline=None)
def test_utc_comes_back_as_the_clock_showed_it(local: datetime, zone: str) -> None:
    """Property: any clock time that exists once returns to itself; the others are refused."""
    try:
        utc = events.utc(local, zone)
    except ValueError:
        later = local.replace(tzinfo=ZoneInfo(zone)) + timedelta(hours=3)
        earlier = local.replace(tzinfo=ZoneInfo(zone)) - timedelta(hours=3)
        assert later.utcoffset() != earlier.utcoffset()
        return
    assert utc.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) == local


def test_a_calendar_file(tmp_path: Path) -> None:
    path = tmp_path / "season.toml"
    path.write_text('[[event]]\nname = "a"\nstart = 2026-01-28T19:30:00\nend = 21:30:00\n', encoding="utf-8")
    (event,) = load.events(path, "America/New_York")
    assert event.start == datetime(2026, 1, 29, 0, 30)
    path.write_text(
        '[[event]]\nstart = 2026-01-28T19:30:00\nend = 2026-01-27T19:30:00\ntitle = "b"\n', encoding="utf-8"
    )
    with pytest.raises(InputError, match="title is not a setting"):
        load.events(path, "America/New_York")


def test_layers_on_the_ground_reach_down_and_trays_do_not() -> None:
    deep = plot('[[ground]]\nbuild = "sand over gravel"').field.zones[0]
    assert sum(layer.thickness for layer in deep.layers) == pytest.approx(2.5)
    tray = plot('[[ground]]\nbuild = "tray"\nbase = "tray over still air"').field.zones[0]
    assert sum(layer.thickness for layer in tray.layers) == pytest.approx(0.21)
    board = plot('[[ground]]\nbuild = "sand on soil"\nbase = "insulated"').field.zones[0]
    assert [layer.material for layer in board.layers] == ["thatch", "sand mix", "board", "clay loam"]


def test_measured_water_goes_into_the_root_zone_alone() -> None:
    zone = plot('[[ground]]\nbuild = "sand over gravel"\nwater_content = "22 %"').field.zones[0]
    water = {layer.material: layer.water_content for layer in zone.layers}
    assert water["sand mix"] == pytest.approx(0.22)
    assert water["gravel"] == pytest.approx(0.03)


def test_another_grass_on_one_zone_keeps_the_rest_of_the_turf() -> None:
    venue = plot(
        '[turf]\ncanopy_conductance = 4\n[[ground]]\nbuild = "native soil"\nspecies = "bermudagrass"\n'
        'mowing_height = "12 mm"'
    )
    turf = venue.field.zones[0].turf
    assert (turf.species, turf.mowing_height, turf.canopy_conductance) == ("bermudagrass", 0.012, 4.0)
    assert venue.species(turf).warm_season


def test_a_material_of_the_venue_may_correct_the_table() -> None:
    venue = plot(
        '[[material]]\nname = "old benches"\nlike = "bare aluminium"\nemissivity = 0.4\n'
        '[[stand]]\nside = "left"\nsetback = 4\n'
        '[[stand.tier]]\nfront_height = 1\ntread = 0.8\nriser = 0.4\nrows = 4\nmaterial = "old benches"\n'
    )
    surface = venue.bowl.surface("old benches")
    assert (surface.emissivity, surface.albedo) == (0.4, venue.bowl.surface("bare aluminium").albedo)


def test_a_venue_survives_the_trip_to_another_process() -> None:
    venue = plot('[[event]]\nstart = 2026-01-28T19:30:00\nend = 21:30:00\n[[ground]]\nbuild = "tray"')
    again = pickle.loads(pickle.dumps(venue))
    assert again == venue
    assert again.digest() == venue.digest()


STAND = (
    '[[stand]]\nname = "x"\nside = "left"\nsetback = 4\n'
    '[[stand.tier]]\nfront_height = 1\ntread = 0.8\nriser = 0.4\nrows = 4\nmaterial = "wood"\n'
)


@pytest.mark.parametrize(
    ("old", "new", "moved"),
    [
        ('name = "x"', 'name = "y"', {"all"}),
        ("riser = 0.4", "riser = 0.41", {"geometry", "all"}),
        ("length = 12", "length = 13", {"geometry", "all"}),
        ('material = "wood"', 'material = "plastic"', {"material", "all"}),
        ("[[stand]]", "[bowl]\nground_albedo = 0.3\n[[stand]]", {"material", "all"}),
        ("[[stand]]", "[limits]\ncanopy_min = 2\n[[stand]]", {"all"}),
        ("[[stand]]", '[[ground]]\nbuild = "tray"\n[[stand]]', {"all"}),
        ("elevation = 90", "elevation = 90.0", set()),
        ("elevation = 90", "elevation = 91", {"site", "all"}),
    ],
)
def test_a_digest_moves_with_its_part_and_with_nothing_else(old: str, new: str, moved: set[str]) -> None:
    before, after = load.text(PLOT + STAND), load.text((PLOT + STAND).replace(old, new))
    parts = ("site", "geometry", "material", "all")
    assert {part for part in parts if before.digest(part) != after.digest(part)} == moved
