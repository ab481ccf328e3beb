"""Stubble near Bondville, Illinois, 1998: surface and soil, untuned, then one half tuned and the other half tested.

Data, screens and licence: tests/reference/README.md. Bars are those set for the work before it began; what was found is
beside each (K, hours, shares) so that a drift is seen. An infrared sensor is scored after its zero check (+0.6 K here).
"""

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from microclimate.learn import compare
from microclimate.learn.replay import Replay, replay
from microclimate.physics import longwave, vapour
from microclimate.venue.load import Venue
from tests.skill import conftest

SURFACE = "surface_temperature [degC]"


def rms(errors: pd.Series) -> float:
    return float(np.sqrt((errors.dropna() ** 2).mean()))


def winter_nights(nights: pd.DataFrame, zero_checked: str = "yes") -> pd.DataFrame:
    """October to April, screened."""
    counted = nights[(nights["screened"] == "") & (nights["zero_checked"] == zero_checked)]
    month = pd.DatetimeIndex(counted.index).month
    return counted[(month >= 10) | (month <= 4)]


def soil_error(pairs: pd.DataFrame, centimetres: int, first: str, last: str) -> pd.Series:
    """Modelled - measured between two local days (UTC-6)."""
    label = f"soil_temperature @ 0.{centimetres:02d} m [degC]"
    local = pairs.index - pd.Timedelta(hours=6)
    inside = (local > first) & (local <= last)
    return (pairs[f"{label} modelled"] - pairs[f"{label} measured"])[inside]


def test_the_zero_check_finds_what_is_known_of_this_sensor(bondville: Replay) -> None:
    # "Bondville gives about +0.6 K" by the same rule in the trial before the work
    assert bondville.notes["zero_offset"] == pytest.approx(0.6, abs=0.1)
    assert int(str(bondville.notes["zero_intervals"])) > 500


def test_night_minima_untuned(bondville: Replay) -> None:
    nights = winter_nights(bondville.nights)
    assert len(nights) > 175
    error = nights["modelled"] - nights["observed"]
    assert rms(error) <= 0.9  # bar 1.1, aim 0.9; found 0.77
    assert abs(error.mean()) <= 0.25  # found -0.12
    calm = error[nights["clear_calm"].astype(bool)]
    assert rms(calm) <= 0.7  # found 0.48
    # the model must beat taking the air for the surface by much on such nights
    assert rms(calm) < 0.4 * rms((nights["air"] - nights["observed"])[nights["clear_calm"].astype(bool)])


def test_freeze_yes_or_no_and_its_onset(bondville: Replay) -> None:
    nights = winter_nights(bondville.nights)
    offset = compare.running_offset(nights["observed"], nights["modelled"])
    assert compare.freezes(nights["observed"], offset, outside=True)["accuracy"] >= 0.97  # aim 0.99; found 0.98
    assert compare.freezes(nights["observed"], nights["modelled"])["csi"] >= 0.77  # aim 0.88; found 0.87
    hours, count = compare.onset_error(nights)
    assert count >= 20
    assert hours <= 2.5  # aim 1.0; found 1.7


@pytest.mark.parametrize(
    ("centimetres", "bar"),
    [(4, 1.6), (8, 1.1), (16, 0.9), (32, 0.8)],  # aim 1.1/0.8/0.6/0.5; found 1.38/0.99/0.70/0.58
)
def test_soil_in_autumn(bondville: Replay, centimetres: int, bar: float) -> None:
    assert rms(soil_error(bondville.traces, centimetres, "1998-09-20", "1998-12-01")) <= bar


@pytest.mark.parametrize(("centimetres", "bar"), [(8, 1.9), (16, 1.8)])  # aim 1.3/1.2; found 1.76/1.64
def test_soil_in_a_freezing_december(bondville: Replay, centimetres: int, bar: float) -> None:
    assert rms(soil_error(bondville.traces, centimetres, "1998-12-01", "1999-01-01")) <= bar


def _tuned(conductance: float, floor: float) -> Venue:
    """The station's venue with two numbers of its stubble changed."""
    venue = conftest.venue("bondville")
    turf = venue.field.turf.model_copy(update={"canopy_conductance": conductance, "exchange_floor": floor})
    zones = tuple(zone.model_copy(update={"turf": turf}) for zone in venue.field.zones)
    return venue.model_copy(update={"field": venue.field.model_copy(update={"zones": zones, "turf": turf})})


def test_one_half_tuned_the_other_half_tested(bondville: Replay) -> None:
    """Two parameters by ISO weeks odd and even; soil at 8 and 16 cm is the second constraint, so that the conductance
    of the stubble and the exchange floor cannot stand in for each other."""
    station = conftest.read("bondville")
    seen = winter_nights(bondville.nights)
    offset = float(str(bondville.notes["zero_offset"]))
    probes = ["soil_temperature @ 0.08 m [degC]", "soil_temperature @ 0.16 m [degC]"]
    measured = {sensor.label: sensor.values for sensor in station.sensors}
    minima, soil = {}, {}
    for conductance in (10.0, 14.0, 20.0):
        for floor in (3.0, 5.0, 8.0):
            told = station.modelled(_tuned(conductance, floor))
            whole = told[SURFACE].where(measured[SURFACE].reindex(told.index).notna())
            night = compare.night_of(pd.DatetimeIndex(told.index), "America/Chicago")
            minima[conductance, floor] = whole.groupby(night).min().reindex(seen.index)
            late = told.index > pd.Timestamp("1998-09-20T06:00")
            soil[conductance, floor] = pd.concat(
                [(told[probe] - measured[probe].reindex(told.index))[late] for probe in probes]
            )
    # the measured minima carry the zero check already
    assert seen["observed"].max() < measured[SURFACE].max() - offset
    found = []
    for parity in (1, 0):

        def half(index: pd.Index, wanted: int = parity) -> np.ndarray:
            return np.asarray(pd.DatetimeIndex(index).isocalendar().week % 2 == wanted)

        def cost(key: tuple[float, float], part: int = parity) -> float:
            chosen = half(seen.index, part)
            error = (minima[key] - seen["observed"])[chosen]
            ground = soil[key][half(soil[key].index, part)]
            return rms(error) ** 2 + 0.25 * rms(ground) ** 2

        best = min(minima, key=cost)
        rest = ~half(seen.index)
        error = (minima[best] - seen["observed"])[rest]
        table = compare.freezes(seen["observed"][rest], minima[best][rest])
        found.append((best, float(error.abs().mean()), rms(error), table["csi"]))
    # the worse half counts: bars .75, 1.05, .77, aims .55, .87, .88; found .59, .95, .79
    assert max(mae for _, mae, _, _ in found) <= 0.75, found
    assert max(rmse for _, _, rmse, _ in found) <= 1.05, found
    assert min(csi for *_, csi in found) >= 0.77, found


def test_longwave_from_cloud_in_oktas_costs_little(bondville: Replay, tmp_path: Path) -> None:
    """The measured longwave replaced by what an observer's oktas and the product's own formula make of it."""
    reference = conftest.REFERENCE / "bondville_1998_weather.csv.gz"
    with gzip.open(reference, "rt", encoding="utf-8") as file:
        frame = pd.read_csv(file)
    air = frame["air_temperature @ 3 m [degC]"] + 273.15
    pressure = vapour.saturation_pressure_water(air) * frame["relative_humidity @ 3 m [%]"].clip(upper=100) / 100
    clear = longwave.clear_sky_brutsaert(pressure, air)
    name = "surface_downwelling_longwave_flux_in_air [W/m2]"
    frame["cloud_area_fraction [oktas]"] = np.round(8 * longwave.cloud_from_longwave(frame[name], clear, air))
    path = tmp_path / "weather.csv"
    frame.drop(columns=name).to_csv(path, index=False)
    estimated = replay(conftest.venue("bondville"), path, conftest.REFERENCE / "bondville_1998_readings.csv.gz")
    assert not estimated.notes["longwave_measured"]
    nights, without = winter_nights(bondville.nights), winter_nights(estimated.nights)
    both = nights.index.intersection(without.index)
    loss = rms((without["modelled"] - nights["observed"])[both]) - rms((nights["modelled"] - nights["observed"])[both])
    assert loss <= 0.15  # aim 0.03; found 0.00 to 0.01
