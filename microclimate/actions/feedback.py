"""What a heated field gives to the bowl's air: fed back for the plan that is advised.

The search runs all its plans under one bowl air, that of a field as it lies. Heat under open sky warms that air by
up to some kelvins on a calm night, the canopy by some 0.1 K (neglect measured by the benchmark `air`). A cover holds
the heat back, but a bed that was warm under it gives it all once it is off: 0.2 K. So a plan advised with heat is run
once more under the air it makes itself.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace

import xarray as xr

from microclimate.actions import groups
from microclimate.actions.case import Case
from microclimate.actions.choice import Choice
from microclimate.simulate import run

FLUXES = ["sensible_heat_up", "latent_heat_up"]


def field_flux(case: Case, choice: Choice) -> xr.Dataset:
    """Area means (realization, time) [W m-2] of sensible and latent heat that the field gives under a plan."""
    pairs = [(0, r) for r in range(case.initial.sizes["realization"])]
    initial, plan = case.initial.isel(patch=case.patches), case.dataset([choice])
    _, states = run.outcome(case.venue, case.few, initial, plan, case.windows, states=pairs, single=True)
    assert states is not None
    area = xr.DataArray(groups.areas(case.venue, case.blocks[0], case.patches), dims="patch")
    parts = states[FLUXES].isel(plan=0)
    return (parts * (area / area.sum())).sum("patch", skipna=False)


def fed(case: Case, choice: Choice, forced: Callable[[xr.Dataset], Iterable[xr.Dataset]]) -> Case:
    """The case under the bowl air that a plan makes itself.

    Parameters
    ----------
    case : Case
    choice : Choice
    forced : callable
        The forcing anew, given the field's own fluxes (`exposure.force.forcing`'s `field_flux`).
    """
    return replace(case, blocks=tuple(forced(field_flux(case, choice))))
