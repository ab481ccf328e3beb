"""Tables of materials and thresholds: each default lies in the published or stated range that stands beside it."""

import csv
from importlib.resources import files

import pytest

from microclimate import units
from microclimate.physics import ladder
from microclimate.venue import limits
from microclimate.venue.bowl import StandSurface
from microclimate.venue.field import SURFACES
from microclimate.venue.ground import BUILDS, Ground, depth
from microclimate.venue.materials import GROUND, STANDS


@pytest.mark.parametrize(
    ("value", "low", "high", "source"),
    [
        (GROUND["sand mix"].porosity, 0.35, 0.55, "USGA recommendations 2018: total porosity"),
        (GROUND["sand mix"].water_content, 0.12, 0.19, "Crop Science 2018: middle class of a sand field"),
        (GROUND["concrete"].conductivity, 1.15, 2.5, "ISO 10456, from memory: medium to reinforced"),
        (GROUND["board"].conductivity, 0.025, 0.045, "ISO 10456, from memory"),
        (STANDS["anodised aluminium"].emissivity, 0.834, 0.856, "Lawrence Berkeley Laboratory, anodised profiles"),
        (STANDS["bare aluminium"].emissivity, 0.09, 0.3, "handbook: commercial sheet to roughened"),
        (STANDS["weathered aluminium"].emissivity, 0.2, 0.4, "handbook: oxidised"),
        (STANDS["painted metal"].emissivity, 0.92, 0.94, "handbook: lacquered"),
        (STANDS["concrete"].emissivity, 0.92, 0.97, "handbook"),
        (STANDS["concrete"].albedo, 0.14, 0.55, "Adv. Mater. Sci. Eng. 2012:523051 table 3; new concrete .55"),
        (STANDS["grass bank"].albedo, 0.18, 0.25, "the same table: grass .21"),
        (SURFACES["mown turf"]["albedo"], 0.19, 0.23, "measured lawn .19, ASCE/FAO reference .23"),
        (SURFACES["mown turf"]["emissivity"], 0.97, 0.98, "Agronomy Journal 58, 1966"),
        (SURFACES["mown turf"]["exchange_floor"], 2.0, 3.0, "Jordan 1991: 2; a measured lawn 2-3"),
        (SURFACES["mown turf"]["resistance_day"], 50.0, 70.0, "ASCE 2005 hourly reference 50; FAO-56 70"),
        (SURFACES["mown turf"]["resistance_night"], 200.0, 200.0, "ASCE 2005 hourly reference"),
        (
            depth(Ground.model_validate({"build": "sand over gravel"}).layers[:2]),
            0.275,
            0.325,
            "USGA 2018: 300 ± 25 mm",
        ),
        (Ground.model_validate({"build": "sand over gravel"}).layers[2].thickness, 0.1, 0.2, "USGA 2018: >= 100 mm"),
        (depth(Ground.model_validate({"build": "sand on soil"}).layers), 0.20, 0.30, "trade magazine: 8-12 in"),
        (depth(Ground.model_validate({"build": "tray"}).layers), 0.15, 0.30, "common practice, no source"),
    ],
)
def test_a_default_is_in_its_stated_range(value: float, low: float, high: float, source: str) -> None:
    assert low - 1e-9 <= value <= high + 1e-9, source


def test_air_filled_pores_of_the_sand_mix_are_as_published() -> None:
    """USGA 2018: 15 to 30 % of the volume filled with air when drained."""
    sand = GROUND["sand mix"]
    assert 0.15 <= sand.porosity - sand.water_content <= 0.30


def test_no_layer_holds_more_water_than_pores() -> None:
    assert all(material.water_content <= material.porosity for material in GROUND.values())


def test_dry_density_agrees_with_porosity_for_mineral_soils() -> None:
    """Solids of quartz and clay minerals weigh 2600 to 2700 kg/m3 (textbook value 2650)."""
    for name in ("sand mix", "gravel", "loam", "clay loam"):
        material = GROUND[name]
        assert 2600 <= material.dry_density / (1 - material.porosity) <= 2720, name


@pytest.mark.parametrize("name", STANDS)
def test_every_stand_material_is_a_legal_surface(name: str) -> None:
    surface = StandSurface.model_validate({"name": name, "like": name})
    assert surface.albedo == STANDS[name].albedo


def test_metal_does_not_send_out_what_it_fails_to_mirror() -> None:
    """Kirchhoff holds per wavelength alone: emissivity of metal is far from 1 - albedo, on both sides."""
    bare, coated = STANDS["bare aluminium"], STANDS["anodised aluminium"]
    assert bare.emissivity < 0.6 * (1 - bare.albedo)
    assert coated.emissivity > 1.5 * (1 - coated.albedo)


@pytest.mark.parametrize("build", BUILDS)
def test_builds_begin_with_thatch(build: str) -> None:
    assert Ground.model_validate({"build": build}).layers[0].material == "thatch"


def test_every_threshold_has_a_source_a_confidence_and_lies_in_its_range() -> None:
    for row in limits.THRESHOLDS.values():
        assert row.source, row.name
        assert row.confidence in ("high", "medium", "low"), row.name
        assert row.low is None or row.low <= row.value, row.name
        assert row.high is None or row.value <= row.high, row.name


def test_the_table_has_no_name_twice_and_no_row_too_many() -> None:
    text = files("microclimate.venue").joinpath("thresholds.csv").read_text(encoding="utf-8")
    names = [row["name"] for row in csv.DictReader(text.splitlines())]
    assert len(names) == len(set(names)) == len(limits.THRESHOLDS)


def test_limits_take_their_defaults_from_the_table() -> None:
    found = limits.Limits.model_validate({})
    shared = limits.THRESHOLDS.keys() & type(found).model_fields.keys()
    assert len(shared) == len(type(found).model_fields)
    for name in shared:
        row = limits.THRESHOLDS[name]
        assert getattr(found, name) == pytest.approx(units.quantity(row.value, row.unit)), name


def test_the_ladder_and_the_limits_agree_on_their_defaults() -> None:
    """The two homes of these numbers are held together: `physics` cannot read a file, `venue` does."""
    found = limits.Limits.model_validate({})
    ours = (found.snow_amount, found.ice_film_amount, found.frozen_fraction, found.frost_amount)
    assert (*ours, pytest.approx(found.near_freezing - 273.15)) == ladder.THRESHOLDS


@pytest.mark.parametrize(
    ("grass", "celsius"),
    # university agronomist's bulletin, degF: 5..-4, -4..-22, 14, and laboratory LT50 for bermudagrass
    [
        ("perennial ryegrass", (-20, -15)),
        ("Kentucky bluegrass", (-30, -20)),
        ("tall fescue", (-10, -10)),
        ("bermudagrass", (-10.3, -6.9)),
    ],
)
def test_winter_kill_of_hardened_grass(grass: str, celsius: tuple[float, float]) -> None:
    low, high = celsius
    assert low - 1e-9 <= limits.SPECIES[grass].lt50_hardened - 273.15 <= high + 1e-9


def test_a_growing_grass_is_killed_sooner_than_a_hardened_one() -> None:
    assert all(grass.lt50_growing > grass.lt50_hardened for grass in limits.SPECIES.values())
