"""The few numbers of wind and air in the bowl that the briefing says, with their range over the realizations."""

import numpy as np
import xarray as xr

from microclimate.exposure import shelter
from microclimate.exposure.force import Forcing

QUANTILES = (0.05, 0.5, 0.95)
VISIBLE_FILM = 0.01  # [kg m-2] of frost on seats that a hand feels; ours


def told(forcing: Forcing, when: np.datetime64) -> xr.Dataset:
    """Wind factor, air difference and frost on seats at one time.

    Parameters
    ----------
    forcing : Forcing
    when : datetime64
        UTC; the step that ends nearest to it is taken.

    Returns
    -------
    Dataset
        (quantile): wind_factor [1], wind at 2 m in the bowl over that of the forecast at its own height, all directions
        alike; wind_factor_now, for the wind of that time; air_difference [K], bowl air less forecast. Scalars:
        frost_on_seats [1], share of realizations with it; open_top [1], median share of the exchange that passes;
        wind [m s-1], median of the forecast. attrs: time, assumed.
    """
    steps = forcing.steps
    at = int(np.abs(steps.time - when).argmin())
    area = forcing.patches["area"].values / float(forcing.patches["area"].sum())
    ratio = float(forcing.site_wind(np.ones(1))[0]) * shelter.to_patch_height()
    differences, now, frost, top, winds = [], [], [], [], []
    for part in forcing.parts():
        laid = forcing.laid(part)
        air, wind = (laid.point[name][:, at] for name in ("air_temperature", "wind_speed"))
        inside = forcing.bowl_inside(laid)
        winds.append(wind)
        if forcing.open_field:
            now.append(np.full(len(air), ratio))
        else:
            share = shelter.lookup(forcing.shelter[part], laid.point["direction"])[:, :, at]
            now.append(ratio * share @ area)
        if inside is None:
            differences.append(np.zeros(len(air)))
            continue
        seats = forcing.basin.stands.surfaces.floor < 0.5 if forcing.basin is not None else np.zeros(0, bool)
        differences.append(inside.temperature[:, at] - air)
        cold = inside.surfaces[:, seats, at] < 273.15
        frost.append((cold & (inside.film[:, seats, at] > VISIBLE_FILM)).any(axis=1))
        top.append(inside.shut[:, at])
    always = ratio * (np.ones((1, 1)) if forcing.open_field else forcing.shelter.mean(axis=-1) @ area[:, None])
    quantiles = {
        "wind_factor": (np.nanquantile(always, QUANTILES), "1"),
        "wind_factor_now": (np.nanquantile(np.concatenate(now), QUANTILES), "1"),
        "air_difference": (np.nanquantile(np.concatenate(differences), QUANTILES), "K"),
    }
    scalars = {
        "frost_on_seats": (float(np.mean(np.concatenate(frost))) if frost else 0.0, "1"),
        "open_top": (float(np.nanmedian(np.concatenate(top))) if top else 1.0, "1"),
        "wind": (float(np.nanmedian(np.concatenate(winds))), "m s-1"),
    }
    return xr.Dataset(
        {name: ("quantile", value, {"units": unit}) for name, (value, unit) in quantiles.items()}
        | {name: ((), value, {"units": unit}) for name, (value, unit) in scalars.items()},
        coords={"quantile": list(QUANTILES)},
        attrs={"time": str(steps.time[at]), "assumed": forcing.assumed},
    )


def rose(forcing: Forcing) -> xr.Dataset:
    """Shelter factor by zone and direction with its range over the realizations (quantile, zone, direction) [1]."""
    names = forcing.patches["zone"].values
    zones = list(dict.fromkeys(names))
    table = np.ones((1, len(names), len(shelter.DIRECTIONS))) if forcing.open_field else forcing.shelter
    area = forcing.patches["area"].values
    by_zone = np.stack([np.average(table[:, names == z], axis=1, weights=area[names == z]) for z in zones], axis=1)
    return xr.Dataset(
        {
            "shelter_factor": (
                ("quantile", "zone", "direction"),
                np.quantile(by_zone, QUANTILES, axis=0),
                {"units": "1"},
            )
        },
        coords={"quantile": list(QUANTILES), "zone": zones, "direction": shelter.DIRECTIONS},
    )
