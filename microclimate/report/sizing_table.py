"""Every option of every climate as rows of a CSV file, in the venue's units, each column with its unit."""

import csv as writer
import io

import numpy as np

from microclimate.report.sized import Sized

_KWH = 3.6e6  # [J]


def csv(sized: Sized) -> str:
    """One row for each climate and option; what is not known is left empty."""
    shown, out = sized.shown, io.StringIO()
    temperature, depth = shown.unit("temperature"), shown.unit("depth")
    events = [f"held, {name} [1]" for name in sized.events]
    heads = (
        "climate",
        "installed [W/m2]",
        f"depth [{depth}]",
        f"pitch [{depth}]",
        f"supply [{temperature}]",
        "policy",
        "lead [h]",
        "cover",
        "held [1]",
        "held low [1]",
        "held high [1]",
        "unfrozen [1]",
        f"margin [{shown.unit('temperature difference').removeprefix('delta_')}]",
        "nights lost",
        "nights frozen",
        "run hours [h]",
        "heat [kWh]",
        "heat [kWh/m2]",
        "mean power [W/m2]",
        "highest power [W/m2]",
        "fuel or current of the plant [kWh]",
        "current of cables [kWh]",
        f"cost [{sized.currency or 'money'}]",
        "CO2 [kg]",
        "cover laid",
        "warm-up [h]",
        "holds without plant [h]",
        "recovers [h]",
        *events,
    )
    rows = writer.writer(out, lineterminator="\n")
    rows.writerow(heads)
    for climate in sized.climates:
        for number in range(climate.told.sizes["option"]):
            one, trials = climate.told.isel(option=number), climate.trials
            tried = () if trials is None else (trials.warm_up[number], trials.holds[number], trials.recovers[number])
            values = (
                float(one["power"]),
                float(shown.number(float(one["depth"]), "depth")),
                float(shown.number(float(one["pitch"]), "depth")),
                float(shown.number(float(one["supply"]), "temperature")),
                str(one["policy"].item()),
                float(one["lead"]),
                str(one["cover"].item()),
                *(float(one[name]) for name in ("held", "held_low", "held_high", "unfrozen")),
                float(shown.number(float(one["margin"]), "temperature difference")),
                *(float(one[name].mean()) for name in ("nights_lost", "nights_frozen", "run_hours")),
                float(one["heat"].mean()) / _KWH,
                float(one["heat_per_area"].mean()) / _KWH,
                float(one["power_mean"].mean()),
                float(one["power_max"].max()),
                float(one["fuel"].mean()) / _KWH,
                float(one["current"].mean()) / _KWH,
                *(float(one[name].mean()) for name in ("cost", "co2", "laid")),
                *tried,
                *(float(share) for share in one["held_by_event"].sel(event=list(sized.events)).values),
            )
            rows.writerow([climate.name, *(_cell(value) for value in values)])
    return out.getvalue()


def _cell(value: float | str) -> str:
    if isinstance(value, str):
        return value
    if np.isinf(value):
        return "never"
    return "" if np.isnan(value) else f"{value:.6g}"
