"""How air cools through a clear night, from readings alone."""

import numpy as np

from microclimate.physics.elementwise import Value, formula


@formula
def square_root_trend(first: Value, lowest: Value, elapsed: Value, length: Value) -> Value:
    """Temperature along a night of steady clear sky: T0 + (Tn - T0) sqrt(t / length), any one unit of temperature.

    `first` T0 two hours after sunset, `lowest` Tn at sunrise; `elapsed` t since then and `length` in one unit of time.
    Source: Snyder & de Melo-Abreu 2005, FAO ENRS 10 vol. 1, ch. 5.
    """
    return first + (lowest - first) * np.sqrt(np.maximum(elapsed, 0.0) / length)


@formula
def recurrence_chance(yearly: Value, years: Value) -> Value:
    """Chance [1] that what has a `yearly` chance [1] happens at least once in `years`: 1 - (1 - p)^n. Haan 1979."""
    return 1.0 - (1.0 - yearly) ** years
