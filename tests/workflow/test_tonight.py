"""The demo night from end to end: what is answered, what is written, and what changes it in the right direction."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError, WeatherTooOld
from microclimate.schema import FORMAT, STATES_VARIABLES, SurfaceState
from microclimate.simulate import start_file
from microclimate.workflow.tonight import Done, tonight

DEMO = Path(__file__).parents[2] / "data_demo"
VENUE, ENSEMBLE, PAST = DEMO / "venue.toml", DEMO / "ensemble.nc", DEMO / "past.csv"
NIGHT = "2026-01-27"
NOW = datetime(2026, 1, 27, 18)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("out")


@pytest.fixture(scope="module")
def done(out: Path) -> Done:
    return tonight(VENUE, ENSEMBLE, night=NIGHT, past=PAST, out=out, now=NOW)


def test_every_zone_is_answered_in_every_window(done: Done) -> None:
    risk = done.answer.risk
    assert risk.sizes["zone"] == 24
    assert list(risk["event"].values) == ["tonight", "Midweek cup evening"]
    assert np.isfinite(risk["probability"]).all()
    np.testing.assert_allclose(risk["probability"].sum("state"), 1.0)
    assert (risk["canopy_temperature_worst"] <= risk["canopy_temperature_median"] + 1e-9).all()
    assert (risk["coverage"] == 1).all()
    for zone in risk["zone"].values:
        assert str(zone).split()[0] in done.text


def test_trays_over_draughty_air_are_the_coldest(done: Done) -> None:
    """The demo's south end lies on trays with cold air below, the rest on the ground: the column must find it."""
    coldest = done.answer.coldest_first[:4]
    assert all("South" in zone for zone in coldest)
    assert any(fact.key == "tray open below" for fact in done.answer.reasons)


def test_canopy_falls_below_the_air_under_a_clear_sky(done: Done) -> None:
    """Station statistics (USCRN 2020, 101 stations): daily surface minimum minus air minimum -6.4 K (5 %) to +0.6 K."""
    air = done.answer.sky["air_temperature"].sel(quantile=0.5).values
    canopy = done.answer.curves["canopy_temperature"].sel(quantile=0.5, zone="West middle 2").values
    dark = slice(done.answer.windows[0].start, datetime(2026, 1, 28, 12))
    lowest_air = float(done.answer.sky["air_temperature"].sel(quantile=0.5, time=dark).min())
    lowest = float(done.answer.curves["canopy_temperature"].sel(quantile=0.5, zone="West middle 2", time=dark).min())
    assert -8.0 < lowest - lowest_air < 0.6
    assert np.isfinite(air).all()
    assert np.isfinite(canopy).all()


def test_what_is_written_can_be_read(done: Done, out: Path) -> None:
    assert sorted(p.name for p in out.iterdir()) == ["briefing.html", "state.nc", "states.nc"]
    with xr.open_dataset(out / "states.nc", engine="h5netcdf") as states:
        assert states.attrs["Conventions"].startswith("CF-1")
        assert states.attrs["format"] == FORMAT
        assert set(STATES_VARIABLES) <= set(states.data_vars)
        assert states["canopy_temperature"].attrs["standard_name"] == "canopy_temperature"
        assert states["soil_temperature"].attrs["units"] == "K"
    for group in ("outcome", "risk"):
        with xr.open_dataset(out / "states.nc", group=group, engine="h5netcdf") as one:
            assert one.sizes["event"] == 2
    again = start_file.load(out / "state.nc")
    assert again["time"].values == np.datetime64("2026-01-27T17:00", "ns")
    page = (out / "briefing.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert page.count("<svg") >= 3


def test_ground_that_freezes_from_above_is_not_called_thawed(done: Done, out: Path) -> None:
    """Unfrozen at dusk and no sun since: whatever ice there is came from above, so no thawed skin lies over it."""
    with xr.open_dataset(out / "states.nc", engine="h5netcdf") as states:
        night = states.sel(time=slice(done.answer.windows[0].start, datetime(2026, 1, 28, 12))).isel(
            plan=0, realization=0
        )
        ground = ~np.char.startswith(night["zone"].values.astype(str), "South")
        state = night["surface_state"].transpose("patch", "time").values[ground]
        ice = night["frozen_fraction"].transpose("patch", "time", "layer").values[ground]
    unfrozen = ice[:, 0].max(axis=-1) < 0.05
    assert unfrozen.any()
    assert (state[unfrozen] != SurfaceState.THAWED_OVER_FROZEN).all()
    assert (state[unfrozen] == SurfaceState.CRUST).any()


def test_the_same_input_gives_the_same_answer(done: Done) -> None:
    again = tonight(VENUE, ENSEMBLE, night=NIGHT, past=PAST, now=NOW)
    # a millionth of a kelvin, not the last bit: a library's matrix product rounds by where its memory lies
    xr.testing.assert_allclose(again.answer.risk, done.answer.risk, rtol=0, atol=1e-6)


def test_a_later_run_begins_with_the_saved_state(done: Done, out: Path) -> None:
    again = tonight(VENUE, ENSEMBLE, night=NIGHT, out=out, now=NOW)
    assert again.answer.start.source == "saved"


def test_without_past_the_season_is_taken_and_said(done: Done) -> None:
    bare = tonight(VENUE, ENSEMBLE, night=NIGHT, now=NOW)
    assert bare.answer.start.source == "season"
    assert bare.answer.start.facts["spread"] > done.answer.start.facts["spread"]


def test_a_warm_reading_warms_the_root_zone() -> None:
    def deep(*texts: str) -> float:
        told = tonight(VENUE, DEMO / "forecast.csv", night=NIGHT, readings=texts, now=NOW)
        worst = told.answer.risk["soil_temperature_worst"]
        return float(worst.sel(zone="East middle 1", quantile=0.5).isel(event=0, depth=2))

    warm, cold = deep("East middle 1, 100 mm, 48 degF, 11:30"), deep("East middle 1, 100 mm, 2 degC, 11:30")
    assert warm > cold + 1.5  # 6.9 K between the readings; 20 h later much of it is left at 100 mm


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"night": "2026-02-10"}, "ends 2026-01-30T17:00 UTC"),
        ({"night": "2026-01-20"}, "begins 2026-01-27T16:00 UTC"),
        ({"night": "2026-01-27", "events": ["2026-02-01T19:00/21:00"]}, "ends 2026-01-30T17:00 UTC"),
    ],
)
def test_weather_that_does_not_reach_is_refused(change: dict[str, object], words: str, tmp_path: Path) -> None:
    with pytest.raises(WeatherTooOld, match=words):
        tonight(VENUE, ENSEMBLE, out=tmp_path / "out", now=NOW, **change)  # type: ignore[arg-type]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (["Nowhere, 100 mm, 5 degC, 11:30"], "Nowhere"),
        (["East middle 1, 100 mm, 5, 11:30", "East middle 1, 100 mm, 300 degC, 11:30"], "2 things to mend"),
    ],
)
def test_readings_that_cannot_be_used_are_named(readings: list[str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        tonight(VENUE, ENSEMBLE, night=NIGHT, readings=readings, now=NOW)


def test_progress_is_told(done: Done) -> None:
    told: list[str] = []
    say: Callable[[str], None] = told.append
    tonight(VENUE, DEMO / "forecast.csv", night=NIGHT, now=NOW, say=say)
    assert told
