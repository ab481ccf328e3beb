"""What holds for every formula: one text for numbers, arrays and kernels; NaN in, NaN out; finite in its range."""

from collections.abc import Callable
from typing import Any

import formulas
import numpy as np
import pytest
from numba import njit
from numpy.testing import assert_allclose

ALL = list(formulas.formulas())
COUNT = 7
# an argument that these formulas may not look at, because another one decides
DECIDED = {
    "canopy.surface_resistance": {"day", "night"},
    "cover.air_layer_convection": {"heat_up"},
    "cover.air_layer_conductance": {"heat_up"},
    # several answers, of which an argument need not touch all
    "cover.absorbed_between": {"upper_top", "upper_under", "lower_through", "lower_top", "lower_under", "ground"},
    "cover.wetted_longwave": {"through", "emissivity", "top", "under"},
    "cover.wetted_shortwave": {"albedo", "drops"},
    "cover.gap_humidity": {"below_held", "below_gives", "under_held", "under_gives", "face", "vent", "outside"},
    "snow.aged_albedo": {"melting"},
    "snow.aged_albedo_class": {"melting"},
}
# made for lanes, which hold no missing number: there a place in a table must stay inside it whatever happens
IN_LANES = {
    "canopy.fast_wet_share",
    "turbulence.transfer_place",
    "turbulence.fast_transfer",
    "turbulence.fast_free_convection_conductance",
}


def one(given: list[Any], place: int) -> list[Any]:
    """The numbers at one place of every array of inputs."""
    return [value if np.size(value) != COUNT else float(value[place]) for value in given]


@pytest.mark.parametrize(("name", "function"), ALL, ids=[name for name, _ in ALL])
def test_numbers_and_arrays_agree(name: str, function: Callable[..., Any]) -> None:
    given = formulas.inputs(function, COUNT)
    together = np.asarray(function(*given))
    alone = [np.asarray(function(*one(given, place))) for place in range(COUNT)]
    assert np.isfinite(together).all(), f"{name} is not finite in its range: {given}"
    assert_allclose(together, np.stack(alone, axis=-1), rtol=1e-13, atol=1e-300)


@pytest.mark.parametrize(("name", "function"), [pair for pair in ALL if pair[0] not in IN_LANES])
def test_nothing_known_gives_nothing(name: str, function: Callable[..., Any]) -> None:
    given = formulas.inputs(function, COUNT)
    for place, argument in enumerate(formulas.names(function)):
        if argument in formulas.FIXED or argument in DECIDED.get(name, set()):
            continue
        broken = list(given)
        broken[place] = given[place] * np.nan
        assert np.isnan(np.asarray(function(*broken), dtype=float)).all(), f"{name} hides a missing {argument}"


def _module(name: str) -> str:
    return name.split(".")[0]


@pytest.mark.parametrize("room", sorted({_module(name) for name, _ in ALL}))
def test_kernels_agree(room: str) -> None:
    """All formulas of a file compiled into one kernel, and called with the numbers the arrays were called with."""
    members = [(name, function) for name, function in ALL if _module(name) == room]
    given = [formulas.inputs(function, COUNT) for _, function in members]
    lines, scope = ["def kernel(inputs):"], {}
    for index, (_, function) in enumerate(members):
        scope[f"f{index}"] = function
        call = ", ".join(f"inputs[{index}][{k}]" for k in range(len(formulas.names(function))))
        lines.append(f"    r{index} = f{index}({call})")
    lines.append(f"    return ({', '.join(f'r{i}' for i in range(len(members)))},)")
    exec("\n".join(lines), scope)
    kernel = njit(scope["kernel"])
    for place in range(COUNT):
        found = kernel(tuple(tuple(one(each, place)) for each in given))
        for (name, function), each, result in zip(members, given, found, strict=True):
            wanted = function(*one(each, place))
            assert_allclose(result, wanted, rtol=1e-11, atol=1e-300, err_msg=name)
