"""The formula of the clear sky's longwave that a place's own measured longwave bears out."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from microclimate.errors import InputError
from microclimate.schema import Site
from microclimate.venue import load
from microclimate.venue.site import ClearSky
from microclimate.weather import clear_sky, complete, read, sky

DEMO = Path(__file__).parents[2] / "data_demo"
REFERENCE = Path(__file__).parents[1] / "reference"
SITE = Site("demo", 36.10, -79.95, 273.0, "America/New_York")
LONGWAVE = complete.LONGWAVE


def _measured(formula: str, days: int = 15, noise: float = 2.0) -> xr.Dataset:
    """The demo's past with longwave as one formula has it and a pyrgeometer's noise."""
    raw = read.weather(DEMO / "past.csv", SITE).isel(time=slice(0, 24 * days))
    raw = raw.drop_vars(LONGWAVE, errors="ignore")
    made = complete.weather(raw, replace(SITE, clear_sky=formula))[LONGWAVE]
    shaken = made.values + noise * np.random.default_rng(3).standard_normal(made.shape)
    raw[LONGWAVE] = (("realization", "time"), shaken[:, -raw.sizes["time"] :])
    return raw


@pytest.mark.parametrize("formula", [name for name in sky.CLEAR_SKIES if name != sky.DEFAULT_CLEAR_SKY])
def test_the_formula_that_made_the_readings_is_found(formula: str) -> None:
    raw = _measured(formula)
    found = clear_sky.chosen(raw, SITE)
    assert min(found.errors, key=lambda name: found.errors[name]) == formula
    assert found.formula == formula
    assert found.errors[formula] == pytest.approx(2.0, rel=0.15)
    assert clear_sky.chosen(raw, replace(SITE, clear_sky=formula)).formula == ""  # it is in use already


def test_one_that_is_no_better_or_known_from_few_days_is_left() -> None:
    assert clear_sky.chosen(_measured(sky.DEFAULT_CLEAR_SKY), SITE).formula == ""
    few = clear_sky.chosen(_measured("brutsaert", days=9), SITE)
    assert (few.formula, few.days < clear_sky.FEWEST) == ("", True)
    assert clear_sky.chosen(read.weather(DEMO / "past.csv", SITE).drop_vars(LONGWAVE, errors="ignore"), SITE).days == 0


def test_measured_ground_leaves_the_usual_one() -> None:
    # Bondville, 244 days of a pyrgeometer: 18.6 (Dilley & O'Brien), 19.3 (Prata), 19.5 W/m2 (Brutsaert), cloud told by
    # the day's sun; the better formulas at many stations lie below 23 to 30 W/m2 (Flerchinger et al. 2009, from memory)
    from microclimate.learn import observed

    venue = load.venue(REFERENCE / "bondville.toml")
    found = observed.sky_formula(REFERENCE / "bondville_1998_weather.csv.gz", venue.site.site)
    assert found.formula == ""
    assert found.days > 200
    assert max(found.errors.values()) < 23.0


def test_the_venue_names_a_formula_or_what_was_learned_serves(tmp_path: Path) -> None:
    text = (DEMO / "venue.toml").read_text(encoding="utf-8")
    path, learned = tmp_path / "venue.toml", tmp_path / "calibration.toml"
    learned.write_text('format = 1\nclear_sky = "prata"\n', encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    assert load.venue(path).site.site.clear_sky == ""
    assert load.venue(path, learned).site.site.clear_sky == "prata"
    path.write_text(text.replace("[site]\n", '[site]\nclear_sky = "brutsaert"\n', 1), encoding="utf-8")
    site = load.venue(path, learned).site.site
    assert site.clear_sky == "brutsaert"
    told = complete.weather(read.weather(DEMO / "forecast.csv", SITE).drop_vars(LONGWAVE, errors="ignore"), site)
    assert "longwave=brutsaert" in told.attrs["assumed"].split("\n")
    path.write_text(text.replace("[site]\n", '[site]\nclear_sky = "brunt"\n', 1), encoding="utf-8")
    with pytest.raises(InputError, match=r"clear_sky.*\n?.*brutsaert"):
        load.venue(path)


def test_the_venue_knows_every_formula_there_is() -> None:
    assert set(ClearSky.__args__) - {""} == set(sky.CLEAR_SKIES)
