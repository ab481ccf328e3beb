"""Forcing: sealed blocks, conserved amounts, exact limits, gaps kept."""

import numpy as np
import psychrolib
import pytest
from bowl_fakes import flat_bowl, venue, weather

from microclimate import schema
from microclimate.exposure.force import forcing
from microclimate.exposure.patches import patches


def made(bowl=None, series=None, place=None, **more):
    place = place or venue()
    bowl = bowl or flat_bowl()
    series = weather() if series is None else series
    more = {"bowl_air": False} | more
    return forcing(place, series, bowl, patches(place.field.zones, bowl, np.ones(len(bowl.cell_x))), **more)


def whole(force):
    blocks = list(force)
    assert len(blocks) >= 1
    return blocks[0]


def test_blocks_are_sealed_repeatable_and_cover_all_realizations() -> None:
    force = made(series=weather(members=5))
    object.__setattr__(force, "step", 300.0)
    first, second = list(force), list(force)
    names = np.concatenate([b["realization"].values for b in first])
    np.testing.assert_array_equal(names, np.arange(5))
    for one, two in zip(first, second, strict=True):
        assert one.identical(two)
        assert set(schema.FORCING) <= set(one.data_vars)
        assert one["zone"].dims == ("patch",)
        assert one.attrs["wind_height"] == 2.0


def test_small_blocks_give_the_same_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    bowl = flat_bowl(sky_view=0.8, height=25.0)
    one = whole(made(bowl))
    monkeypatch.setattr("microclimate.exposure.force.BLOCK_BYTES", 1.0)
    parts = list(made(bowl))
    assert [p.sizes["realization"] for p in parts] == [1, 1, 1]
    for k, part in enumerate(parts):
        for name in schema.FORCING:
            np.testing.assert_allclose(part[name].values[0], one[name].values[k], rtol=1e-12, err_msg=name)


def test_an_open_field_gets_the_weather_as_it_is() -> None:
    series = weather(members=1)
    block = whole(made(series=series))
    hours = block.sizes["time"] // 12
    for name, parts in {
        "surface_downwelling_shortwave_flux_in_air": ("shortwave_sun_down", "shortwave_sky_down"),
        "surface_downwelling_longwave_flux_in_air": ("longwave_sky_down", "longwave_stands_down"),
        "precipitation_flux": ("precipitation_flux",),
    }.items():
        total = sum(block[p].values for p in parts)[0, 0].reshape(hours, 12).mean(axis=1)
        np.testing.assert_allclose(total, series[name].values[0, 1:], rtol=1e-9, atol=1e-9, err_msg=name)
    # log law over short grass, no shelter: ln(2/.01)/ln(10/.01)
    np.testing.assert_allclose(
        block["wind_speed"].values[0, 0, 0],
        (
            0.5 * (1 / 24) * series["wind_speed"].values[0, 1]
            + (1 - 0.5 / 12) * series["wind_speed"].values[0, 0]
            + (0.5 / 12 - 0.5 / 24) * series["wind_speed"].values[0, 1]
        )
        * np.log(200)
        / np.log(1000),
        rtol=1e-6,
    )


def test_a_bowl_that_hides_nothing_agrees_with_the_short_way() -> None:
    series = weather(members=1)
    short = whole(made(flat_bowl(), series))
    long = whole(made(flat_bowl(sky_view=1.0 - 1e-7), series))
    for name in schema.FORCING:
        np.testing.assert_allclose(long[name].values, short[name].values, rtol=1e-5, atol=1e-3, err_msg=name)


def test_shade_takes_the_beam_and_says_so() -> None:
    block = whole(made(flat_bowl(sky_view=0.8, lit=0.25), weather(members=1)))
    clear = whole(made(flat_bowl(sky_view=0.8, lit=1.0), weather(members=1)))
    np.testing.assert_allclose(block["shortwave_sun_down"], 0.25 * clear["shortwave_sun_down"])
    assert block["sunlit_fraction"].max() == 0.25
    assert (block["shortwave_stands_down"].max() > 0).item()


def test_stands_shelter_and_the_calm_has_a_floor() -> None:
    series = weather(members=1)
    series["wind_speed"][:] = 0.0
    sheltered = whole(made(flat_bowl(sky_view=0.8, height=25.0), weather(members=1)))
    calm = whole(made(flat_bowl(sky_view=0.8, height=25.0), series))
    open_ = whole(made(series=weather(members=1)))
    assert (sheltered["wind_speed"] < 0.5 * open_["wind_speed"]).all()
    assert (sheltered["wind_speed_of_gust"] <= open_["wind_speed_of_gust"] + 1e-12).all()
    assert (sheltered["wind_speed_of_gust"] >= sheltered["wind_speed"]).all()
    np.testing.assert_array_equal(calm["wind_speed"], 0.2)


def test_unknown_direction_is_averaged_and_said() -> None:
    series = weather(members=1)
    series["wind_from_direction"][:] = np.nan
    force = made(flat_bowl(sky_view=0.8, height=25.0), series)
    assert np.isfinite(whole(force)["wind_speed"]).all()
    assert "bowl_wind=all_directions" in force.assumed


def test_a_gap_stays_a_gap_in_its_own_realization() -> None:
    series = weather()
    series["air_temperature"][1, 10] = np.nan
    block = whole(made(flat_bowl(sky_view=0.8, height=25.0), series))
    assert np.isnan(block["air_temperature"].values[1, :, 108:132]).all()
    assert np.isfinite(block["air_temperature"].values[[0, 2]]).all()
    assert np.isfinite(block["air_temperature"].values[1, :, :108]).all()


def test_air_below_trays_lags_by_what_the_draught_leaves() -> None:
    still = whole(made(place=venue(draught=0.0), series=weather(members=1)))
    through = whole(made(place=venue(draught=1.0), series=weather(members=1)))
    air = still["air_temperature"]
    np.testing.assert_allclose(through["under_tray_air_temperature"], air)
    assert np.ptp(still["under_tray_air_temperature"].values) < 0.8 * np.ptp(air.values)


def test_realizations_are_drawn_apart_but_a_single_run_is_the_best_guess() -> None:
    bowl = flat_bowl(sky_view=0.8, height=25.0)
    many = whole(made(bowl, weather(members=3)))
    assert len(np.unique(many["wind_speed"].values[:, 0, 0])) == 3
    same = whole(made(bowl, weather(members=3), seed=None))
    np.testing.assert_allclose(same["wind_speed"].values[0], same["wind_speed"].values[2])


def test_humidity_by_an_independent_formula() -> None:
    """psychrolib (ASHRAE Fundamentals 2017): humidity ratio from the dew point, above 0 degC (below it takes ice)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    series = weather(members=1)
    series["dew_point_temperature"][:] = 278.15
    ratio = psychrolib.GetHumRatioFromTDewPoint(5.0, 99000.0)
    found = whole(made(series=series))["specific_humidity"].values[0, 0, 0]
    assert found == pytest.approx(ratio / (1 + ratio), rel=2e-3)
