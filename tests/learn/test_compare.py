"""Scores, nights, freeze tables and the zero check, on numbers worked out by hand and by an independent library."""

import numpy as np
import pandas as pd
import pytest
import scores.continuous
import xarray as xr

from microclimate.learn import compare

HALF_HOURS = pd.date_range("1998-01-01T00:30", "1998-01-05T00:00", freq="30min")


def test_scores_agree_with_an_independent_library() -> None:
    random = np.random.default_rng(1)
    seen = pd.Series(270 + random.normal(size=400))
    told = seen + 0.5 + random.normal(size=400)
    seen[3], told[7] = np.nan, np.nan
    found = compare.scores(seen, told)
    both = (~seen.isna() & ~told.isna()).to_numpy()
    a, b = xr.DataArray(told.to_numpy()[both], dims="n"), xr.DataArray(seen.to_numpy()[both], dims="n")
    assert found["n"] == 398
    assert found["rmse"] == pytest.approx(float(scores.continuous.rmse(a, b)), rel=1e-12)
    assert found["mae"] == pytest.approx(float(scores.continuous.mae(a, b)), rel=1e-12)
    assert found["bias"] == pytest.approx(float(scores.continuous.additive_bias(a, b)), rel=1e-12)
    pearson = float(scores.continuous.correlation.pearsonr(a, b))
    assert found["corr"] == pytest.approx(pearson, rel=1e-9)


def test_scores_of_nothing_are_unknown() -> None:
    found = compare.scores(pd.Series([np.nan, 1.0]), pd.Series([1.0, np.nan]))
    assert found["n"] == 0
    assert np.isnan(found["rmse"])


def test_a_night_is_18_to_08_local_standard_time() -> None:
    # Chicago, standard time UTC-6 the year round: 18:00 is 00:00 UTC; a stamp is the END of its interval
    times = pd.DatetimeIndex(["1998-07-02T00:00", "1998-07-02T00:30", "1998-07-02T14:00", "1998-07-02T14:30"])
    nights = compare.night_of(times, "America/Chicago")
    assert pd.isna(nights[0])
    assert nights[1] == nights[2] == pd.Timestamp("1998-07-01")
    assert pd.isna(nights[3])


def test_cold_season_of_both_halves_of_the_earth() -> None:
    times = pd.DatetimeIndex(["2020-01-15", "2020-05-15", "2020-07-15", "2020-10-15"])
    assert compare.cold_season(times, 40.0).tolist() == [True, False, False, True]
    assert compare.cold_season(times, -40.0).tolist() == [False, True, True, True]


def series(values: object) -> pd.Series:
    return pd.Series(np.broadcast_to(np.asarray(values, dtype=float), HALF_HOURS.shape).copy(), index=HALF_HOURS)


def test_the_zero_check_finds_a_sensor_s_offset() -> None:
    air = series(275.0)
    offset, count = compare.zero_check(air + 0.7, air, series(1.0), series(6.0), series(0.0), 40.0)
    assert offset == pytest.approx(0.7)
    assert count == len(HALF_HOURS)


@pytest.mark.parametrize(("cloud", "wind", "sun"), [(0.8, 6.0, 0.0), (1.0, 4.0, 0.0), (1.0, 6.0, 50.0)])
def test_the_zero_check_wants_cloud_wind_and_darkness(cloud: float, wind: float, sun: float) -> None:
    air = series(275.0)
    offset, count = compare.zero_check(air + 0.7, air, series(cloud), series(wind), series(sun), 40.0)
    assert (offset, count) == (0.0, 0)


def test_the_zero_check_wants_fifty_intervals() -> None:
    air = series(275.0)
    cloud = series(0.0)
    cloud.iloc[:49] = 1.0
    offset, count = compare.zero_check(air + 0.7, air, cloud, series(6.0), series(0.0), 40.0)
    assert (offset, count) == (0.0, 49)


def test_nights_and_their_screens() -> None:
    hour = ((HALF_HOURS - pd.Timedelta(hours=6)).hour).to_numpy()
    air = series(274.0)
    cold = np.where((hour >= 20) | (hour < 6), 271.0, 275.0)
    seen, told = series(cold), series(cold + 0.5)
    local = HALF_HOURS - pd.Timedelta(hours=6)
    second = (local > "1998-01-02T18:00") & (local <= "1998-01-03T08:00")
    seen[second] = 277.0  # warmer than the air by 3 K: rime
    third = (local > "1998-01-03T18:00") & (local <= "1998-01-03T21:00")
    seen[third] = np.nan  # 6 of 28 half hours gone
    found = compare.nights(seen, told, air, series(0.1), series(1.0), "America/Chicago")
    assert [str(day.date()) for day in found.index] == ["1997-12-31", "1998-01-01", "1998-01-02", "1998-01-03"]
    assert found["screened"].tolist()[1] == ""
    assert "rime" in found["screened"].iloc[2]
    assert found["screened"].iloc[3] == "incomplete"
    first = found.iloc[1]
    assert first["observed"] == 271.0
    assert first["modelled"] == 271.5
    assert first["clear_calm"]
    assert first["onset_observed"] == pd.Timestamp("1998-01-02T02:00")  # the half hour that ends after 20:00


def test_the_running_offset_learns_only_from_the_nights_before() -> None:
    seen, told = pd.Series([1.0, 1.0, np.nan, 1.0]), pd.Series([0.0, 0.0, 0.0, 0.0])
    # 0; .25 * 1; then .25 + .25 * .75, kept through the night without a reading
    assert compare.running_offset(seen, told).tolist() == pytest.approx([0.0, 0.25, 0.4375, 0.4375])


def test_the_yes_no_table() -> None:
    seen = 273.15 + pd.Series([-1.0, -1.0, 1.0, 1.0, -0.2])
    told = 273.15 + pd.Series([-2.0, 1.0, -1.0, 2.0, -0.3])
    found = compare.freezes(seen, told)
    assert (found["hits"], found["misses"], found["false_alarms"], found["correct_negatives"]) == (2, 1, 1, 1)
    assert found["csi"] == pytest.approx(2 / 4)
    assert found["accuracy"] == pytest.approx(3 / 5)
    outside = compare.freezes(seen, told, outside=True)
    assert (outside["n"], outside["hits"]) == (4, 1)


def test_onset_error() -> None:
    nights = pd.DataFrame(
        {
            "onset_observed": pd.to_datetime(["1998-01-01T22:00", None, "1998-01-03T22:00"]),
            "onset_modelled": pd.to_datetime(["1998-01-01T23:00", "1998-01-02T22:00", "1998-01-03T19:00"]),
        }
    )
    assert compare.onset_error(nights) == (2.0, 2)
