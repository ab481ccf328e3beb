"""Water tried before a freeze: its mass and heat against closed forms of mixing, and what cannot be asked."""

from datetime import date, datetime

import numpy as np
import pytest
import xarray as xr

from microclimate.column import layers
from microclimate.constants import HEAT_CAPACITY_WATER, LATENT_FUSION
from microclimate.errors import InputError
from microclimate.schema import Event
from microclimate.simulate import start, watering
from microclimate.venue import load
from microclimate.venue.load import Venue
from microclimate.workflow import watering as asked

RUN = (  # of 27 January from noon, the night to 10 am; clock of the US East
    date(2026, 1, 27),
    "America/New_York",
    datetime(2026, 1, 27, 17),
    (Event("tonight", datetime(2026, 1, 27, 22), datetime(2026, 1, 28, 15), "night"),),
)
VENUE = """
format = 1
name = "made up"
[site]
latitude = 36.1
longitude = -79.95
elevation = 273
time_zone = "America/New_York"
[field]
length = 100
width = 60
[[ground]]
build = "sand over gravel"
water_content = 0.12
"""


@pytest.fixture(scope="module")
def venue() -> Venue:
    return load.text(VENUE)


def ground(venue: Venue, degrees: float, frozen: float = 0.0) -> xr.Dataset:
    """One patch, the root zone at one temperature."""
    joined = xr.Dataset(coords={"zone": ("patch", ["A1"]), "zone_index": ("patch", [0]), "part": ("patch", ["sun"])})
    cut = layers.grid(venue.field.zones[0].layers, layers.COUNT)
    state = start.season(venue, joined, [cut], np.datetime64("2026-01-27"))
    full = xr.full_like(state["soil_temperature"], 1.0)
    return state.assign(soil_temperature=full * (degrees + 273.15), frozen_fraction=full * frozen)


def mass(state: xr.Dataset) -> float:
    """Water of the column [m]."""
    return float((state["water_content"] * state["thickness"]).sum())


def test_all_water_is_there_and_sinks_no_deeper_than_pores_ask(venue: Venue) -> None:
    dry = ground(venue, 5.0)
    wet = watering.watered(venue, dry, 0.004, None)
    assert mass(wet) - mass(dry) == pytest.approx(0.004, rel=1e-9)
    gained = (wet["water_content"] - dry["water_content"]).values[0, 0]
    bottom = np.cumsum(dry["thickness"].values[0])
    cut = layers.grid(venue.field.zones[0].layers, layers.COUNT)
    takes = (cut.porosity > 0.0) & np.isnan(
        cut.fixed_conductivity
    )  # the mat of the turf on top has no pores of its own
    top = bottom <= watering.SINKS + 1e-9
    assert (gained[top & takes] > 0).all()
    assert (gained[~top | ~takes] == 0).all()
    flood = watering.watered(venue, dry, 0.03, None)
    assert (flood["water_content"].values[0, 0] <= cut.porosity + 1e-12).all()
    assert mass(flood) - mass(dry) == pytest.approx(0.03, rel=1e-9)


def test_water_as_warm_as_the_ground_changes_no_temperature(venue: Venue) -> None:
    dry = ground(venue, 5.0)
    wet = watering.watered(venue, dry, 0.006, None)
    np.testing.assert_allclose(wet["soil_temperature"], dry["soil_temperature"], atol=1e-9)


def test_warm_water_mixes_by_heat_capacity(venue: Venue) -> None:
    """T = (C T0 + c w Tw) / (C + c w), layer by layer: conservation of heat without a change of phase."""
    dry = ground(venue, 4.0)
    wet = watering.watered(venue, dry, 0.006, 273.15 + 12.0)
    cut = layers.grid(venue.field.zones[0].layers, layers.COUNT)
    capacity = layers.properties(cut, dry["water_content"].values[0, 0]).capacity_unfrozen
    added = (wet["water_content"] - dry["water_content"]).values[0, 0] * 1000.0 * HEAT_CAPACITY_WATER
    expected = (capacity * 4.0 + added * 12.0) / (capacity + added)
    np.testing.assert_allclose(wet["soil_temperature"].values[0, 0] - 273.15, expected, rtol=1e-9)


def test_warm_water_on_frozen_ground_melts_what_its_heat_can(venue: Venue) -> None:
    """Ice melted = c w Tw / L, the new water itself liquid: at 0 degC nothing else takes the heat."""
    dry = ground(venue, -0.02, 0.5)
    wet = watering.watered(venue, dry, 0.004, 273.15 + 10.0)

    def ice(state: xr.Dataset) -> np.ndarray:
        return np.asarray((state["frozen_fraction"] * state["water_content"] * 1000.0).values[0, 0])

    added = (wet["water_content"] - dry["water_content"]).values[0, 0] * 1000.0
    melted = HEAT_CAPACITY_WATER * added * 10.0 / LATENT_FUSION
    # 2 %: the heat of the 0.1 K in which sand freezes stands beside the latent heat
    np.testing.assert_allclose((ice(dry) - ice(wet))[added > 0], melted[added > 0], rtol=0.02)


def test_an_hour_is_on_the_evenings_date_in_local_time() -> None:
    found = asked.asked("4 mm, 15:00", *RUN)
    assert found == asked.Asked(pytest.approx(0.004), datetime(2026, 1, 27, 20), None)
    inches = asked.asked("0.2 in, 2026-01-28T07:30, 50 degF", *RUN)
    assert inches == asked.Asked(pytest.approx(0.00508), datetime(2026, 1, 28, 12, 30), pytest.approx(283.15))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("4 mm", "an amount and an hour"),
        ("4 mm, noon", "15:00"),
        ("60 mm, 15:00", "at most 50 mm"),
        ("0 mm, 15:00", "more than 0"),
        ("4 mm, 15:00, -3 degC", "0 to 60 degC"),
        ("4 degC, 15:00", "--water"),
        ("4 mm, 2026-01-27T11:00", "is not within this run"),
        ("4 mm, 2026-01-28T09:30", "is not within this run"),
    ],
)
def test_what_is_no_watering_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        asked.asked(text, *RUN)
