"""`microclimate verify`: past forecasts and advice against what was read and seen since."""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import numpy as np

from microclimate.errors import refuse
from microclimate.fieldlog.store import Store
from microclimate.learn import figures_verify, told
from microclimate.learn import verify as scoring
from microclimate.report import canvas, words_verify
from microclimate.schema import SurfaceState
from microclimate.workflow import files

TROUBLE = SurfaceState.CRUST  # seen on the field, this or worse is out of the usual limits; ours


def verify(venue_path: Path, *, log: Path | None = None, out: Path | None = None) -> str:
    """Score what the log's forecasts told, and what its advice came to.

    Parameters
    ----------
    venue_path : Path
    log : Path, optional
        Else beside the venue.
    out : Path, optional
        Folder for verify_scores.csv, verify_reliability.csv, verify_roc.csv, verify_ranks.csv, verify_decisions.csv
        and, where there are pairs enough, verify.svg.

    Raises
    ------
    InputError
        There is no log.
    """
    venue = files.described(venue_path)
    path = files.log(venue_path, log)
    if not path.exists():
        raise refuse(str(path), "there is no field log", "one that `fieldlog add` or `tonight` began", "add --log")
    with Store(path) as store:
        found = told.pairs(store, raw=True)
        decided = scoring.decisions(*_advised(store), None if venue.prices is None else venue.prices.event_lost)
    done = scoring.verify(found)
    counts: dict[str, int] = {}
    for pair in found:
        counts[pair.quantity] = counts.get(pair.quantity, 0) + 1
    written = []
    if out is not None:
        files.folder(out)
        tables = {"scores": done.scores, "reliability": done.reliability, "roc": done.roc, "ranks": done.ranks}
        for name, table in {**tables, "decisions": decided}.items():
            files.write_text(table.round(4).to_csv(index=False, lineterminator="\n"), out / f"verify_{name}.csv")
            written.append(str(out / f"verify_{name}.csv"))
        scored = [name for name in counts if (done.ranks["quantity"] == name).any()]
        if scored:
            named = {name: words_verify.named(name, venue.shown) for name in scored}
            drawn = figures_verify.verify(named, done.reliability, done.roc, done.ranks)
            told_of = "Reliability, hits over false alarms, and ranks of what was told against what was read."
            with canvas.style():  # letters stay letters
                picture = canvas.svg(drawn, "verify", venue.name, told_of)
            files.write_text(picture, out / "verify.svg")
            written.append(str(out / "verify.svg"))
    return words_verify.verified(venue.name, counts, done.scores, done.reliability, decided, venue.shown, written)


def _advised(store: Store) -> tuple[list[Mapping[str, object]], dict[str, bool | None]]:
    """The last advice before each event, and whether the field was out of its limits then."""
    last: dict[str, dict[str, object]] = {}
    for row in sorted(store.rows("advice"), key=lambda row: int(row["made"])):
        last[str(row["event"])] = row
    advised: list[Mapping[str, object]] = []
    trouble: dict[str, bool | None] = {}
    for event, row in last.items():
        plan = json.loads(str(row["plan"]))
        acted = any(plan.get(deed) for deed in ("spells", "heat", "skirts", "snow"))
        advised.append({"event": event, "acted": acted, "cost": plan.get("cost"), "chance": row["chance"]})
        trouble[event] = _seen(store, event)
    return advised, trouble


def _seen(store: Store, event: str) -> bool | None:
    """Whether trouble was seen about an event: by its states, or by studs that it did not take; None: nobody looked."""
    starts = [_start(part) for part in event.split(" + ")]
    seen: list[bool] = []
    for start in filter(None, starts):
        low, high = start - 3 * 3600, start + 6 * 3600
        seen += [int(r["state"]) >= int(TROUBLE) for r in store.rows("observed_state") if low <= int(r["time"]) <= high]
        for sensor in store.sensors():
            if sensor.quantity == "takes_a_stud":
                _, values = store.values(sensor.number, np.datetime64(low, "s"), np.datetime64(high, "s"))
                seen += [bool(value < 0.5) for value in values]
    return any(seen) if seen else None


def _start(part: str) -> int | None:
    """Start of a window from how an advice names it, "name 2026-01-29T00:30Z" [s since 1970]."""
    try:
        return int(datetime.fromisoformat(part.rsplit(" ", 1)[-1].replace("Z", "+00:00")).timestamp())
    except ValueError:
        return None
