"""Made-up hours of work; no number here is a result of the package."""

import numpy as np

from microclimate.report.worked import Condition, Job, Worked

HOURS = np.datetime64("2026-12-15T22", "h") + np.arange(36) * np.timedelta64(1, "h")  # 17:00 local to 5:00, two days on
JOBS: dict[Job, tuple[Condition, ...]] = {
    "mowing": (Condition("dry", 0.01, "ours"), Condition("vehicles", 273.15, "a study"), Condition("light")),
    "line marking": (Condition("air", 278.15, "common practice, no source"), Condition("leaf", 273.15, "ours")),
    "spraying": (Condition("ground", 273.15, "a study"), Condition("crew")),
    "clearing snow": (Condition("snow", 0.025, "a magazine"), Condition("gust", 6.0, "yours")),
}

SCARCE = {job: conditions[0] for job, conditions in JOBS.items()}


def worked() -> Worked:
    """Mowing in both zones from 10 to 12, in one to 13, on the 16th; marking over midnight; the others never."""
    share = np.zeros((len(JOBS), 2, HOURS.size))
    share[0, 0, 17:20] = 0.9
    share[0, 1, 17:19] = 0.85
    share[1, :, 5:9] = 1.0
    share[2] = 0.79
    frost = np.zeros(HOURS.size)
    frost[8:15] = 0.4
    frost[30:] = 0.1
    return Worked(HOURS, ("North", "South"), JOBS, share, 0.8, frost, np.full(HOURS.size, 271.15), 0.15, SCARCE)
