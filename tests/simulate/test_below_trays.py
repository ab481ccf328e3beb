"""Warm air below trays: what the fan delivers is taken up by the trays, gone out or leaked, to rounding."""

import numpy as np
import pytest

from microclimate.column import rows
from microclimate.errors import InputError
from microclimate.simulate import columns as col
from microclimate.simulate import loop, run
from microclimate.venue.ground import Base
from tests.simulate import world as w


@pytest.mark.parametrize("flow", [2.0, 15.0, 200.0])
@pytest.mark.parametrize("closed", [0.0, 1.0])
def test_heat_below_trays_is_given_lost_or_leaked(flow: float, closed: float) -> None:
    """Delivered = into the trays + out with the air + leaked unused, at any temperature of the trays (1e-12).

    The mixed air's temperature follows from its own balance: flow (Tw - T) = leak (T - out) + U (T - tray).
    """
    base = {"kind": "heated air below", "air_temperature": 20.0, "air_flow": flow, "air_leak": 0.25}
    venue = w.venue(w.zone(build="tray", base=base))
    fixed = col.columns(venue, np.array([0]), w.initial(venue), 10.0, 2.0)
    surface = np.zeros((rows.VARIABLES, 3))
    surface[: rows.GIVEN] = fixed.given[0][:, None]
    outside, tray = -6.0, np.array([-3.0, 4.0, 12.0])
    surface[rows.BELOW], surface[rows.SKIRTS] = outside, closed
    loop._surroundings(surface)
    into = surface[rows.BELOW_CONDUCTANCE] * (surface[rows.BELOW] - tray)
    air = tray + into / fixed.given[0][rows.BELOW_CLOSED if closed else rows.BELOW_OPEN]
    leak = fixed.given[0][rows.BELOW_LEAK] * (0.2 if closed else 1.0)
    delivered = 1206.0 * flow / 3600.0 * (20.0 - outside)
    out = (leak + 0.75 * 1206.0 * flow / 3600.0) * (air - outside)
    np.testing.assert_allclose(into + out + 0.25 * delivered, delivered, rtol=1e-12)


def test_more_air_warms_trays_more_and_skirts_that_shut_better_keep_it() -> None:
    coldest = []
    for flow, closed in ((1.0, 0.0), (10.0, 0.0), (10.0, 1.0), (100.0, 1.0)):
        base = {"kind": "heated air below", "air_temperature": 20.0, "air_flow": flow}
        venue = w.venue(w.zone(build="tray", base=base))
        forcing = w.forcing(24.0, air_temperature=268.0, under_tray_air_temperature=268.0)
        told, _ = run.outcome(
            venue, [forcing], w.initial(venue), w.plan(venue, skirts_closed=closed), [w.window(0, 24)]
        )
        coldest.append(float(told["soil_temperature_min"].sel(depth=0.1).squeeze()))
    assert np.all(np.diff(coldest) > 0.05)


@pytest.mark.parametrize(
    ("base", "wanted"),
    [
        ({"kind": "tray over still air", "air_flow": 10.0}, "air_flow belongs to 'heated air below' only"),
        ({"kind": "heated air below", "air_temperature": 15.0, "air_leak": 0.2}, "air_leak goes with air_flow"),
        ({"kind": "heated air below", "air_flow": 10.0}, "air_temperature is missing"),
    ],
)
def test_air_that_cannot_be_is_refused(base: dict[str, object], wanted: str) -> None:
    with pytest.raises((InputError, ValueError), match=wanted):
        Base.model_validate(base)
