"""An answer is checked when it is made, and says everything that is wrong with it at once."""

from dataclasses import replace

import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.report.answer import Answer


def test_the_coldest_zone_comes_first(answer: Answer) -> None:
    lowest = answer.risk["canopy_temperature_worst"].isel(event=0).sel(quantile=0.5)
    assert answer.coldest_first[0] == str(lowest["zone"].values[int(np.argmin(lowest.values))])
    assert sorted(answer.coldest_first) == sorted(answer.zones)
    worst = [answer.told("canopy_temperature_worst", zone, 0)[answer.middle] for zone in answer.coldest_first]
    assert worst == sorted(worst)


def test_a_zone_of_which_nothing_is_known_comes_last(unknown: Answer) -> None:
    assert unknown.coldest_first[-1] == unknown.zones[5]


def test_every_fault_is_named_at_once(answer: Answer) -> None:
    celsius = answer.curves.assign(canopy_temperature=answer.curves["canopy_temperature"] - 273.15)
    levels = answer.sky.assign_coords(quantile=[0.2, 0.4, 0.6])
    with pytest.raises(InputError) as caught:
        replace(
            answer,
            curves=celsius,
            sky=levels,
            outlines={},
            windows=answer.windows[:1],
            cells=answer.cells.assign_attrs(bearing=0.0).drop_attrs(),
        )
    text = str(caught.value)
    for part in ("a Celsius series?", "sky: quantile", "outlines", "windows", "no cell_size"):
        assert part in text


def test_dimensions_are_put_in_order(answer: Answer) -> None:
    turned = replace(answer, curves=answer.curves.transpose("time", "zone", "quantile"))
    assert turned.curves["canopy_temperature"].dims == ("zone", "quantile", "time")
    assert np.array_equal(turned.curves["canopy_temperature"], answer.curves["canopy_temperature"])
