"""What an option does hour by hour."""

import sys
from pathlib import Path

import numpy as np
import pytest

from microclimate.exposure.bowl import bowl
from microclimate.sizing import options as opt
from microclimate.sizing import winters
from microclimate.sizing.programme import COVER_BELOW, Kind, programme
from microclimate.sizing.reduced import reduced

sys.path.insert(0, str(Path(__file__).parent))
import lawn

HOUR = np.timedelta64(1, "h")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    climate = lawn.climate(tmp_path_factory.mktemp("r") / "r.csv", years=1)
    venue = lawn.venue()
    return reduced(venue, bowl(venue), climate), winters.of_winter(climate, 0).weather


def _plan(season, *kinds):  # type: ignore[no-untyped-def]
    site, weather = season
    return programme(site, weather, kinds, [lawn.evening(20)])


def test_zones_alike_become_one_group_with_all_their_area(season) -> None:  # type: ignore[no-untyped-def]
    site, _ = season
    assert site.members == {"pipes": ("West", "East")}
    assert site.heated_area == pytest.approx(60 * 40)


def test_heat_led_by_an_event_runs_from_its_lead_to_its_end(season) -> None:  # type: ignore[no-untyped-def]
    plan = _plan(season, Kind(opt.Policy(opt.LED, 24 * 3600.0), 0), Kind(opt.Policy(opt.LED, 24 * 3600.0), 0, 3)).plan
    ends = plan["time"].values
    for number, shift in ((0, 0), (1, 3)):
        on = ends[plan["heating_allowed"].values[number, 0] > 0]
        start = np.datetime64(f"2025-12-{20 + shift}T18:00")
        assert on[0] == start - 24 * HOUR + HOUR  # ends of hours
        assert on[-1] == start + 2 * HOUR


def test_set_points_stay_below_the_ceiling_and_base_heat_rises_for_events(season) -> None:  # type: ignore[no-untyped-def]
    plan = _plan(season, Kind(opt.Policy(opt.GROWTH), 0), Kind(opt.Policy(opt.BASE, 24 * 3600.0), 0)).plan
    ceiling = season[0].venue.equipment.circuits[0].ceiling
    assert (plan["set_point"].values[0] == min(opt.GROWTH_HOLD, ceiling)).all()
    wanted = plan["set_point"].values[1, 0]
    assert (wanted == opt.EVENT).sum() == 26  # a day ahead and two hours
    assert set(np.unique(wanted)) == {opt.BASE_HEAT, opt.EVENT}


def test_a_cover_lies_on_cold_nights_and_never_in_an_event(season) -> None:  # type: ignore[no-untyped-def]
    site, weather = season
    made = programme(site, weather, [Kind(opt.Policy(), 1)], [lawn.evening(20, (19, 21))])
    down = made.plan["cover"].values[0, 0] > 0
    ends = weather["time"].values[1:]
    event = (ends > np.datetime64("2025-12-20T17:00")) & (ends <= np.datetime64("2025-12-20T22:00"))
    assert not down[event].any()
    local = (ends - ends.astype("datetime64[D]")) / HOUR + 1.0
    assert not down[(local >= 10) & (local <= 14)].any()  # laid an hour and a half before sunset, lifted after sunrise
    assert down[(local <= 4) & (np.arange(ends.size) > 24)].mean() > 0.9
    assert made.laid[0] >= 25
    assert made.covered_hours[0] == down.sum()
    warm = weather.copy(deep=True)
    warm["air_temperature"] = warm["air_temperature"] * 0 + COVER_BELOW + 0.1
    assert programme(site, warm, [Kind(opt.Policy(), 1)], []).laid[0] == 0
    windy = weather.copy(deep=True)
    windy["wind_speed_of_gust"] = windy["wind_speed_of_gust"] * 0 + 20.0
    assert programme(site, windy, [Kind(opt.Policy(), 1)], []).laid[0] == 0
