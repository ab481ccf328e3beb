"""The traced bowl, its air and the grass together: a closed bowl against the same field in open country."""

import tomllib
from datetime import datetime
from unittest.mock import patch

import air_venue
import numpy as np
import pytest
import xarray as xr
from air_nights import clear_night as night
from bowl_fakes import weather

from microclimate import schema
from microclimate.actions.plan import constant, nothing
from microclimate.constants import ZERO_CELSIUS
from microclimate.exposure import shelter, sky
from microclimate.exposure.force import forcing
from microclimate.exposure.told import rose, told
from microclimate.simulate import run, start
from microclimate.venue.calibration import Calibration, LearnedAir, LearnedWind, text

DAWN = np.datetime64("2025-01-16T12:00")


def canopy(kind: str, series: xr.Dataset, exchange_floor: float = 3.0, **more) -> float:
    """Lowest canopy of the middle zone [K]."""
    place = air_venue.venue(kind, exchange_floor=exchange_floor)
    force = forcing(place, series, air_venue.bowl(kind), **more)
    begin = series["time"].values[0]
    initial = start.states(place, force.patches, series.sizes["realization"], begin)
    window = schema.Event("night", datetime(2025, 1, 15, 21), DAWN.item())
    outcome, _ = run.outcome(place, force, initial, nothing(place, begin, series["time"].values[-1]), [window])
    lowest = outcome["canopy_temperature_min"].isel(plan=0, realization=0, event=0)
    return float(lowest.values[outcome["zone"].values == "middle"].mean())


def test_the_sheltered_clear_night_is_colder_in_wind_and_milder_in_calm() -> None:
    """Bowl less open field, clear sky: -1 to -4 K at 4 m/s; at 0.5 m/s the stands' warmth alone gives 0 to +1.5 K;
    under cloud within 1 K (an idealised trial; sheltered sites cool faster: J. Appl. Meteorol., clear nights). The
    bowl's own colder air takes some of the calm night's gain away again, but never more than it is colder itself.
    Whether gain or loss wins there hangs on the grass's exchange in a calm: the next test and the benchmark `air`."""
    in_open = {case: canopy("none", night(*case)) for case in ((4.0, 0.72), (0.5, 0.72), (4.0, 0.95))}
    windy, calm, cloudy = (canopy("closed", night(*case)) - lowest for case, lowest in in_open.items())
    stands_alone = canopy("closed", night(0.5, 0.72), bowl_air=False) - in_open[0.5, 0.72]
    force = forcing(air_venue.venue("closed"), night(0.5, 0.72), air_venue.bowl("closed"))
    laid = force.laid(slice(0, 1))
    coldest_air = (force.bowl_inside(laid).temperature - laid.point["air_temperature"]).min()
    assert -4.0 <= windy <= -1.0
    assert 0.0 <= stands_alone <= 1.5
    assert stands_alone + coldest_air <= calm < stands_alone
    assert abs(cloudy) <= 1.0


def test_gain_or_loss_of_a_calm_night_hangs_on_the_grass_exchange_in_a_calm() -> None:
    """An idealised trial whose grass exchanged 0.3 to 1.5 W m-2 K-1 in a calm found the bowl +0.9 K milder at 0.5 m/s
    under an even sky: with those two the same comes out here from either side. Measured lawns have 2 to 3 (2 over
    snow: Jordan 1991): the more exchange, the more the canopy follows the bowl's colder air."""
    series = night(0.5, 0.72)
    with patch.object(sky, "low_sky_slope", lambda down, air: np.zeros(np.shape(down))):
        gains = [canopy("closed", series, k) - canopy("none", series, k) for k in (0.3, 1.5, 3.0)]
    assert gains[0] > 0.9 > gains[1] > gains[2]


def test_bowl_air_has_both_signs_by_material() -> None:
    differences = {
        material: float(
            told(forcing(air_venue.venue("closed", material), night(0.8), air_venue.bowl("closed", material)), DAWN)[
                "air_difference"
            ].sel(quantile=0.5)
        )
        for material in ("bare aluminium", "painted metal")
    }
    assert differences["bare aluminium"] > differences["painted metal"] + 0.5
    assert differences["painted metal"] < -0.5


def test_strong_wind_brings_the_outside_air_in() -> None:
    found = told(forcing(air_venue.venue("closed"), night(25.0), air_venue.bowl("closed")), DAWN)
    assert abs(float(found["air_difference"].sel(quantile=0.5))) < 0.15


def test_the_open_end_stands_in_the_air_outside_when_the_wind_blows_in() -> None:
    """Air over a patch = bowl + m (outside - bowl), m = Eu (b + (1 - b) Ed), E(x) = 1 - exp(-(x / 10)^1.6), b = .6.

    Worked by hand for the horseshoe open to the north: from the middle of its north zone the south crest is
    118 m off and 22 m over the grass, x = 5.4, E = .31. North wind: Eu = 1, Ed = .31, m = .6 + .4 x .31 = .72; south
    wind: Eu = .31, Ed = 1, m = .31. Within .05: the fan of 20 degrees also sees corners, and each patch its own.
    """
    series = night(0.8)
    series["wind_from_direction"][:] = 0.0
    force = forcing(air_venue.venue(), series, air_venue.bowl())
    distance, height, patch = force.place.crest
    shares = shelter.outside_share(distance, height)
    zone = force.patches["zone"].values
    north = shares[zone[patch] == "north"].mean(axis=0)
    assert north[0] == pytest.approx(0.72, abs=0.05)
    assert north[36] == pytest.approx(0.31, abs=0.05)
    laid = force.laid(slice(0, 1))
    own, outside = force.bowl_inside(laid).temperature[0], laid.point["air_temperature"][0]
    air = next(iter(force))["air_temperature"].values[0]
    share = np.stack([shares[patch == p].mean(axis=0)[0] for p in range(len(zone))])
    np.testing.assert_allclose(air, own + share[:, None] * (outside - own), rtol=0, atol=1e-9)
    assert np.abs(own - outside).max() > 0.5  # or the line above would say nothing
    assert share[zone == "north"].mean() > share[zone == "middle"].mean() > share[zone == "south"].mean()


def test_wind_factor_is_largest_along_the_open_axis() -> None:
    table = rose(forcing(air_venue.venue(), night(3.0), air_venue.bowl()))["shelter_factor"].sel(quantile=0.5)
    north = table.sel(zone="north")
    assert int(np.argmax(north.values)) in (*range(4), *range(69, 72))
    assert float(north.max()) > 2.0 * float(north.min())


def test_air_of_the_forecast_can_be_had_for_comparison() -> None:
    series = night(0.5)
    plain = next(iter(forcing(air_venue.venue(), series, air_venue.bowl(), bowl_air=False)))
    own = next(iter(forcing(air_venue.venue(), series, air_venue.bowl())))
    open_ = next(iter(forcing(air_venue.venue("none"), series, air_venue.bowl("none"))))
    np.testing.assert_allclose(plain["air_temperature"].values[:, :1], open_["air_temperature"].values[:, :1])
    assert np.abs(own["air_temperature"].values - plain["air_temperature"].values).max() > 0.3


def test_a_heated_field_warms_the_calm_bowl_through_its_flux() -> None:
    series = night(0.5)
    force = forcing(air_venue.venue("closed"), series, air_venue.bowl("closed"))
    count = len(force.steps.time)
    shape = (1, 1, count)
    dims = ("plan", "realization", "time")

    def flux(value: float) -> xr.Dataset:
        return xr.Dataset(
            {"sensible_heat_up": (dims, np.full(shape, value)), "latent_heat_up": (dims, np.zeros(shape))}
        )

    warm, none = (
        told(forcing(air_venue.venue("closed"), series, air_venue.bowl("closed"), field_flux=flux(v)), DAWN)
        for v in (50.0, 0.0)
    )
    gain = float((warm["air_difference"] - none["air_difference"]).sel(quantile=0.5))
    assert 0.5 < gain < 6.0


def passes(heated: bool) -> list[np.ndarray]:
    """Lowest canopy by patch of three runs, each forced with the flux of the one before; heat begins in a warm bed."""
    place, series = air_venue.venue("closed"), night(0.5)
    force = forcing(place, series, air_venue.bowl("closed"))
    begin, end = series["time"].values[[0, -1]]
    initial = start.states(place, force.patches, 1, begin)
    if heated:
        warm = ZERO_CELSIUS + 18.0 - 16.0 * np.exp(-initial["depth"] / 0.1)
        initial = initial.assign(soil_temperature=np.maximum(initial["soil_temperature"], warm))
    plan = constant(place, begin, end, "heat", {"heating_allowed": float(heated), "set_point": ZERO_CELSIUS + 18.0})
    window = schema.Event("night", datetime(2025, 1, 15, 21), DAWN.item())
    area = force.patches["area"] / force.patches["area"].sum()
    lowest: list[np.ndarray] = []
    flux = None
    for _ in range(3):
        again = forcing(place, series, air_venue.bowl("closed"), force.patches, field_flux=flux)
        outcome, states = run.outcome(place, again, initial, plan, [window], states=[(0, 0)])
        lowest.append(outcome["canopy_temperature_min"].values.ravel())
        parts = states[["sensible_heat_up", "latent_heat_up"]]
        flux = (parts * xr.DataArray(area.values, dims="patch")).sum("patch")
    return lowest


@pytest.mark.parametrize("heated", [False, True])
def test_a_third_pass_of_the_fields_own_flux_moves_no_canopy(heated: bool) -> None:
    """Run, force again with the flux of that run, run, and once more: the last two agree within 0.05 K."""
    lowest = passes(heated)
    assert np.abs(lowest[2] - lowest[1]).max() <= 0.05
    # one way: what is neglected without heat, and what a search may be wrong by before its plan is fed back
    assert np.abs(lowest[1] - lowest[0]).max() <= (0.2 if heated else 0.15)


def test_realizations_carry_what_is_not_known_of_the_bowl() -> None:
    found = told(forcing(air_venue.venue("closed"), night(0.8, members=30), air_venue.bowl("closed")), DAWN)
    low, middle, high = found["air_difference"].values
    assert high - low > 1.0
    assert low < middle < high
    factor = found["wind_factor"].values
    assert factor[2] / factor[0] > 1.5


def test_what_was_learned_is_applied_and_narrows() -> None:
    place = air_venue.venue("closed")
    wind = LearnedWind.model_validate(
        {
            "least": 0.4, "reach": 10, "dead_end": 0.6, "covariance": [0.01, 0, 0, 0, 0.01, 0, 0, 0, 0.01],
            "offset": {"middle": [0.2]}, "spread": {name: [0.05] for name in ("south", "middle", "north")},
        }
    )  # fmt: skip
    exchange = LearnedAir.model_validate(
        {
            "top": 0.03, "shut": 0.3, "calm": 0.003, "plume": 0.055, "seats": 1.0,
            "covariance": [0.01 if i % 5 == 0 else 0.0 for i in range(16)],
        }
    )  # fmt: skip
    taught = place.model_copy(
        update={"calibration": Calibration.model_validate({}).model_copy(update={"wind": wind, "air": exchange})}
    )
    before, after = (told(forcing(v, night(0.8, members=30), air_venue.bowl("closed")), DAWN) for v in (place, taught))
    assert np.ptp(after["wind_factor"].values) < 0.5 * np.ptp(before["wind_factor"].values)
    assert float(after["wind_factor"].sel(quantile=0.5)) > float(before["wind_factor"].sel(quantile=0.5))
    assert abs(float(after["air_difference"].sel(quantile=0.5))) < abs(
        float(before["air_difference"].sel(quantile=0.5))
    )
    single = forcing(taught, night(0.8), air_venue.bowl("closed"))
    distance, height, patch = single.place.crest
    learned = shelter.Wind(0.4, 10.0, 0.6)
    table = shelter.factor(distance, height, learned)
    middle = single.patches["zone"].values == "middle"
    by_patch = np.stack([table[patch == p].mean(axis=0) for p in range(len(middle))])
    np.testing.assert_allclose(single.shelter[0][middle], by_patch[middle] * np.exp(0.2), rtol=1e-9)


def test_a_calibration_file_comes_back_as_it_was_written() -> None:
    made = Calibration.model_validate(
        {
            "wind_factor": 0.9,
            "wind": {
                "least": 0.3, "reach": 9.5, "dead_end": 0.55, "covariance": [0.01] * 9,
                "offset": {"North goal": [0.1, -0.2]}, "spread": {"North goal": [0.2, 0.2]},
                "readings": 24, "visits": 4,
            },
        }
    )  # fmt: skip
    assert Calibration.model_validate(tomllib.loads(text(made))) == made


@pytest.mark.parametrize("name", ["under_tray_air_temperature", "longwave_stands_down"])
def test_forcing_of_the_traced_bowl_is_complete(name: str) -> None:
    block = next(iter(forcing(air_venue.venue(), weather(members=2), air_venue.bowl())))
    assert np.isfinite(block[name].values).all()
