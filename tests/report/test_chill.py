"""Wind chill against the chart that came with the index."""

import numpy as np
import pytest

from microclimate.physics.chill import CALM, wind_chill
from microclimate.units import from_si, to_si

# degF, mph -> degF: rows of the chart of the index of 2001 as two public copies print it (rounded to whole degrees)
CHART = [(40, 5, 36), (30, 10, 21), (20, 20, 4), (0, 15, -19), (-20, 40, -57), (10, 60, -19), (-45, 60, -98)]


@pytest.mark.parametrize(("air", "wind", "felt"), CHART)
def test_the_chart(air: float, wind: float, felt: float) -> None:
    """Half a degree of rounding, and 0.3 because the chart's Fahrenheit form has rounded coefficients of its own."""
    index = from_si(wind_chill(to_si(air, "degF"), to_si(wind, "mph")), "degF")
    assert float(index) == pytest.approx(felt, abs=0.8)


def test_undefined_in_calm_and_in_mild_air() -> None:
    assert np.isnan(wind_chill(270.0, CALM - 0.01))
    assert np.isnan(wind_chill(284.0, 5.0))
    assert np.isnan(wind_chill(np.nan, 5.0))


def test_more_wind_feels_colder() -> None:
    felt = wind_chill(268.0, np.linspace(CALM, 20.0, 50))
    assert (np.diff(felt) < 0).all()
