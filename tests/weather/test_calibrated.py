"""The calibrated minima: nothing known too early, biases gone, the spread honest; on made-up places of known truth."""

from datetime import timedelta

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import norm

from microclimate.schema import Site
from microclimate.weather.ensemble import calibrate, probability_below

Floats = NDArray[np.float64]

SITE = Site("place", 47.0, 11.0, 600.0, "UTC")


def _place(
    seed: int, nights: int = 200, bias: float = 3.0, members: int = 8
) -> tuple[Floats, Floats, NDArray[np.datetime64]]:
    """A synoptic memory of three days, a forecast error of 2.5 K with memory 0.35, too narrow and biased members."""
    rng = np.random.default_rng(seed)
    weather, error = np.zeros(nights), np.zeros(nights)
    for night in range(1, nights):
        weather[night] = 0.72 * weather[night - 1] + 5.0 * np.sqrt(1 - 0.72**2) * rng.normal()
        error[night] = 0.35 * error[night - 1] + 2.5 * np.sqrt(1 - 0.35**2) * rng.normal()
    truth = 275.0 - 5.0 * np.cos(2 * np.pi * np.arange(nights) / 365.25) + weather
    forecast = truth + bias + error
    times = np.datetime64("2024-11-01T06", "ns") + np.arange(nights) * np.timedelta64(1, "D")
    return forecast[:, None] + 0.7 * rng.normal(size=(nights, members)), truth, times


def _made(members: Floats, observed: Floats, times: NDArray[np.datetime64], hours: int = 24) -> xr.Dataset:
    return calibrate(
        xr.DataArray(members, dims=("night", "realization")),
        xr.DataArray(observed, dims="night"),
        xr.DataArray(times, dims="night"),
        SITE,
        newest_pair=timedelta(hours=hours),
    )


def _crps(made: xr.Dataset, truth: Floats) -> Floats:
    z = (truth - made["mean"].values) / made["scale"].values
    return made["scale"].values * (z * (2 * norm.cdf(z) - 1) + 2 * norm.pdf(z) - 1 / np.sqrt(np.pi))


@pytest.mark.parametrize("hours", [24, 48, 72])
def test_nothing_is_learned_from_what_was_not_known(hours: int) -> None:
    members, truth, times = _place(1)
    first = _made(members, truth, times, hours)
    changed = truth.copy()
    row = 120
    changed[row:] += 30.0 * np.sign(np.cos(np.arange(len(truth) - row)))
    second = _made(members, changed, times, hours)
    same = row + hours // 24  # the first row that may know the changed reading is `row` + the lag
    for name in ("mean", "scale", "members"):
        assert (first[name].values[:same] == second[name].values[:same]).all()
    assert abs(float(first["mean"][same] - second["mean"][same])) > 0.01
    assert first["nights"].values[100] == 100 - hours // 24 + 1


def test_rows_may_be_judged_alone_without_the_later_ones() -> None:
    members, truth, times = _place(2)
    whole = _made(members, truth, times)
    part = _made(members[:90], np.append(truth[:89], np.nan), times[:90])
    for name in ("mean", "scale"):
        assert part[name].values == pytest.approx(whole[name].values[:90], abs=1e-12)


def test_a_biased_narrow_ensemble_becomes_honest() -> None:
    pit, ours, raw = [], [], []
    for seed in range(20):
        members, truth, times = _place(seed, bias=-6.0 + 0.6 * seed)
        made = _made(members, truth, times)
        later = slice(20, None)
        pit.append(norm.cdf((truth - made["mean"].values) / made["scale"].values)[later])
        ours.append(_crps(made, truth)[later].mean())
        spread = np.abs(members[:, :, None] - members[:, None, :]).mean(axis=(1, 2))
        raw.append((np.abs(members - truth[:, None]).mean(axis=1) - 0.5 * spread)[later].mean())
    levels = np.concatenate(pit)
    assert np.mean((levels > 0.1) & (levels < 0.9)) == pytest.approx(0.80, abs=0.04)  # 3,600 nights, correlated
    # the best possible knows the error's memory: sd 2.34 K and the climate, CRPS about 0.56 x 2.2
    assert np.mean(ours) < 1.45
    assert (np.array(ours) < np.array(raw)).mean() >= 0.9


def test_one_night_is_worth_something() -> None:
    better = []
    for seed in range(40):
        members, truth, times = _place(seed, nights=3, bias=8.0)
        made = _made(members, truth, times)
        better.append(abs(float(made["mean"][1]) - truth[1]) < abs(members[1].mean() - truth[1]))
    assert np.mean(better) > 0.8


def test_gaps_missing_members_and_broken_readings() -> None:
    members, truth, times = _place(4)
    holed, broken = members.copy(), truth.copy()
    holed[50, :3] = np.nan
    holed[60] = np.nan
    broken[70] = -9999.0
    broken[80] = np.nan
    made = _made(holed, broken, times)
    assert np.isnan(made["mean"].values[60])
    assert np.isfinite(np.delete(made["mean"].values, 60)).all()
    assert np.isnan(made["members"].values[50, :3]).all()
    assert np.isfinite(made["members"].values[50, 3:]).all()
    wild = truth.copy()
    wild[100] += 40.0  # a stuck sensor that stays within what is possible teaches little
    assert abs(float(_made(members, wild, times)["mean"][101] - _made(members, truth, times)["mean"][101])) < 6.0


def test_members_keep_their_order_and_become_the_quantiles() -> None:
    members, truth, times = _place(5)
    made = _made(members, truth, times)
    order = made["members"].values.argsort(axis=1)
    assert (order == members.argsort(axis=1)).all()
    row = 150
    centre, wide = float(made["mean"][row]), float(made["scale"][row])
    assert np.sort(made["members"].values[row]) == pytest.approx(norm.ppf((np.arange(8) + 0.5) / 8, centre, wide))


def test_the_chance_is_that_of_the_normal() -> None:
    members, truth, times = _place(6)
    made = _made(members, truth, times)
    chance = probability_below(made, 273.15)
    assert chance.values == pytest.approx(norm.cdf((273.15 - made["mean"].values) / made["scale"].values))
    assert chance.dims == ("valid_time",)


@pytest.mark.parametrize("count", [1, 8])
def test_like_members_and_a_single_one_are_no_trouble(count: int) -> None:
    members, truth, times = _place(7, members=1)
    made = _made(np.repeat(members, count, axis=1), truth, times)
    assert np.isfinite(made["scale"].values).all()
    assert (made["scale"].values > 0.5).all()


def test_no_reading_at_all_leaves_the_raw_mean_with_a_wide_range() -> None:
    members, _, times = _place(8, nights=5)
    made = _made(members, np.full(5, np.nan), times)
    assert (made["scale"].values > 4.0).all()
    assert (made["nights"].values == 0).all()
    assert float(made["mean"][0]) == pytest.approx(members[0].mean())
