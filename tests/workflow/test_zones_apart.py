"""Cases held against each other: what is not known of stands, wind and air; lamps, covers and heating cell by cell."""

from datetime import date
from pathlib import Path

import demo_days
import numpy as np
import pytest

from microclimate.exposure.bowl import bowl
from microclimate.physics.light import PHOTON_SHARE_RANGE
from microclimate.report.zones import DONE
from microclimate.venue import load
from microclimate.workflow import (
    zones_apart,
    zones_beside,
    zones_cases,
    zones_covers,
    zones_done,
    zones_light,
    zones_run,
)

DEMO = Path(__file__).parents[2] / "data_demo"
LAMP = """
[[lamp]]
name = "rig"
zones = ["West flank 3"]
photon_flux = 400
heat = 180
hours = 8
"""


@pytest.fixture(scope="module")
def world():
    """Four days of the demo under lamps, run; the field as told and as held."""
    venue = load.text((DEMO / "venue.toml").read_text(encoding="utf-8") + LAMP)
    case, joined, weather, days, own = demo_days.lived(venue, date(2026, 1, 19), date(2026, 1, 22))
    field = zones_apart.Field(case, joined, weather, days)
    held = zones_apart.held(field, case, own, own.looked())
    return field, own, zones_apart.Held(held.cells, held.draws, zones_light.unsure(venue, own.skies, days))


def test_the_days_looked_at_are_the_coldest_and_the_warmest(world) -> None:
    _, own, _ = world
    low = own.days["canopy_temperature_min"].min("patch").values
    coldest, _ = own.looked()
    assert (coldest - date(2026, 1, 19)).days == int(np.argmin(low))
    among = date(2026, 1, 20), date(2026, 1, 21)
    assert all(among[0] <= day <= among[1] for day in own.looked(among))


def test_a_case_held_against_itself_does_not_differ(world) -> None:
    """The same draws and unknowns for both: not even what is not known leaves a difference."""
    field, _, held = world
    less = zones_apart.apart(held, held, field.joined)
    for name in ("light_integral", "light_unsure", "coldest", "unsure"):
        np.testing.assert_allclose(less[name].values, 0.0, atol=1e-9)


def test_what_stands_change_is_told_with_what_is_not_known(world) -> None:
    """Without stands nothing of the bowl is drawn; with them the draws of wind and air move a calm night by tenths."""
    field, own, held = world
    variant = zones_apart.might_be("without stands", field, held, own)
    assert variant.less is not None
    assert variant.less["light_integral"].values.max() < 0.3  # stands only take light, but for what bright ones send
    assert 0.02 < float(np.median(variant.less["unsure"].values)) < 2.0
    assert variant.less.attrs["coldest_day"] == own.looked()[0].isoformat()


def test_light_is_as_sure_as_stands_and_its_share_are(world) -> None:
    """Higher stands take light and brighter ones give it, everywhere where they are seen; 5 % of their height moves the
    darkest spot's light by less than its whole loss; the share that feeds runs from .41 to .48 (Akitsu et al. 2022),
    half of that is 7.8 % of any difference."""
    field, own, held = world
    unsure = held.light["light_integral"]
    assert list(unsure["unknown"].values) == list(zones_light.UNKNOWN)
    assert (unsure.sel(unknown="albedo").values > 0.0).all()
    assert unsure.sel(unknown="stand height").values.mean() < 0.0
    venue = zones_cases.without_stands(field.base.venue)
    assert zones_light.unsure(venue, own.skies, field.days).sizes["unknown"] == 0
    bare = zones_run.Case(venue, bowl(venue))
    ran = zones_run.lived(bare, field.joined, field.weather, field.days)
    less = zones_apart.apart(held, zones_apart.Held(ran.cells), field.joined)
    share = 0.5 * (PHOTON_SHARE_RANGE[1] - PHOTON_SHARE_RANGE[0]) / 0.45
    assert share == pytest.approx(0.078, abs=5e-4)
    lost = np.abs(less["light_integral"].values)
    assert (less["light_unsure"].values >= share * lost - 1e-12).all()
    darkest = int(np.argmax(lost))
    assert less["light_unsure"].values[darkest] < lost[darkest]


def test_the_mean_of_a_zone_s_cells_carries_its_unknowns(world) -> None:
    field, _, held = world
    names = [zone.name for zone in field.base.venue.field.zones]
    by_zone = zones_light.by_zone(held.light, held.cells, names)
    own = held.cells["zone"].values == 3
    wanted = held.light["sunlit_hours"].values[:, own].mean(axis=1)
    np.testing.assert_allclose(by_zone["sunlit_hours"].sel(zone=names[3]).values, wanted)


def test_lamps_light_and_warm_their_zone_alone(world) -> None:
    """400 umol/m2s for 8 h are 11.52 mol/m2 (arithmetic), as their maker has them: no range."""
    field, own, _ = world
    case = zones_run.Case(field.base.venue, field.base.bowl, added=zones_done.lamplit(field.base.venue))
    variant = zones_apart.lamplit(field, case, own)
    assert variant.key in DONE
    under = variant.less["zone"].values == [z.name for z in field.base.venue.field.zones].index("West flank 3")
    np.testing.assert_allclose(variant.less["light_integral"].values[under], 11.52)
    np.testing.assert_allclose(variant.less["light_integral"].values[~under], 0.0, atol=1e-9)
    np.testing.assert_allclose(variant.less["light_unsure"].values, 0.0, atol=1e-9)
    assert variant.less["coldest"].values[under].min() > 0.3
    assert np.abs(variant.less["coldest"].values[~under]).max() < 0.2  # the bowl's air is not changed by them


def test_a_cover_dims_and_warms_where_and_while_it_lies(world) -> None:
    """The coldest of its own days is mapped; half of the light of one of four days is an eighth of the mean day's."""
    field, own, _ = world
    venue = field.base.venue
    laid = zones_covers.spells(["growth sheet, 2026-01-21T00:00/2026-01-22T00:00"], venue)
    case = zones_run.Case(venue, field.base.bowl, plan=zones_covers.plan_of(laid))
    variant, _ = zones_apart.covered(field, case, own, laid)
    assert variant.less.attrs["coldest_day"] == "2026-01-21"
    day = sum(own.days[f"energy_{part}"].isel(day=2) for part in ("sun", "sky", "stands"))
    wanted = 2.0565 * 0.5 * float((day * field.joined["area"]).sum() / field.joined["area"].sum()) / 1e6 / 4
    assert variant.less["light_integral"].values.mean() == pytest.approx(-wanted, rel=0.02)
    assert variant.less["coldest"].values.min() > 0.0  # a mild, cloudy night: a thin sheet keeps tenths of a kelvin


def test_heating_warms_the_coldest_night(world) -> None:
    """The first night, hours after the start: little is felt yet of pipes at 250 mm or of cables under freezing trays
    (conduction alone: after 6 h 0.5 K of surface for 100 W/m2 at 250 mm, linear in the power)."""
    field, own, _ = world
    case = zones_run.Case(field.base.venue, field.base.bowl, plan=zones_done.heating)
    variant, _ = zones_apart.done("heated", field, case, own)
    np.testing.assert_allclose(variant.less["light_integral"].values, 0.0, atol=1e-12)
    assert variant.less["coldest"].values.min() > 0.0
    assert variant.less["coldest"].values.max() < 1.4 * 1.2  # what 120 W/m2 give in 12 h


def test_the_strip_beside_the_centre_is_told_from_the_run(world) -> None:
    """Its facts against the run's own and the weather's: light of open ground, the same wherever it is asked from."""
    field, own, _ = world
    found = zones_beside.beside(field, own, ("East middle 2", "West flank 4"))
    assert (found.strip, found.centre) == ("West flank 4", "East middle 2")
    assert found.season == "winter"
    assert found.noon == pytest.approx(
        90.0 - 36.1 - 20.0, abs=0.4
    )  # declination on 21 January: -20.0 (almanac, from memory)
    bare = zones_cases.without_stands(field.base.venue)
    ran = zones_run.lived(zones_run.Case(bare, bowl(bare)), field.joined, field.weather, field.days)
    strip = np.flatnonzero(own.days["zone"].values == "West flank 4")
    light = own.days["light_integral"].mean("day").values[strip].min()
    assert found.lost == pytest.approx(1.0 - light / ran.cells["light_integral"].values.mean(), abs=2e-3)
    assert found.sun[0] < found.sun[1]
    assert 0.0 < found.wind < 0.78  # at 2 m of open ground 0.75 (FAO-56 equation 47), stands take some
    assert found.longwave[1] > 0.0
    assert found.metal is None
