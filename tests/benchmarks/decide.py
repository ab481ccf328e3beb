"""Advice over a winter of nights at two sites against rules, perfect foresight and the full grid.

    python tests/benchmarks/decide.py [--part winter|issues|demo ...] [--every N] [--seeds N]

How a night is made: `decide_season.py`; one that is told of again and again: `decide_issues.py`. Regret is the cost
above the cheapest plan for what came, as a share of the same of the naive rule "cover if the forecast's lowest air is
below +2 degC"; losses of 20,000 and 100,000 against crew of 280 a movement. Ends with one JSON line; exit status 1 when
a bar is missed.
"""

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from microclimate.actions import cost, latest, moves, schedule
from microclimate.actions.case import Case
from microclimate.actions.choice import NOTHING, Choice, Spell
from microclimate.actions.cost import OUTSIDE, Table
from tests.benchmarks import decide_issues
from tests.benchmarks.bars import Bars
from tests.benchmarks.decide_season import SITES, Night, Truth, fixed_plans, prices, season

DEMO = Path(__file__).parents[2] / "data_demo"
LOSSES = (20_000.0, 100_000.0)
TOLERATED = 0.05
WRONG = (
    Truth(air=1.0), Truth(air=-1.0), Truth(resistance=0.5), Truth(resistance=2.0), Truth(wind=0.5), Truth(wind=1.75),
    Truth(power=0.75),
)  # fmt: skip
WRONG_EVERY = 4  # of the plans that perfect foresight has to choose from, where the world is another
AGAIN = 3  # only every third of the nights is told of again and again
HARD = 8  # nights on which the search is held against the full grid
PARTS = ("winter", "issues", "demo")
POLICIES = ("advised", "naive", "thermostat", "nothing", "perfect")


@dataclass
class Season:
    """What one site and seed gave; every list has one entry a night."""

    name: str
    cost: dict[tuple[str, float], list[float]] = field(default_factory=dict)
    energy: dict[tuple[str, float], list[float]] = field(default_factory=dict)
    outside: dict[tuple[str, float], list[float]] = field(default_factory=dict)
    fixed: dict[float, list[dict[Choice, float]]] = field(default_factory=lambda: {loss: [] for loss in LOSSES})
    claimed: dict[float, list[float]] = field(default_factory=lambda: {loss: [] for loss in LOSSES})
    wrong: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    chances: list[tuple[float, float]] = field(default_factory=list)  # told, came
    starts: list[tuple[float, float, bool, float]] = field(default_factory=list)  # sure, told, in time, early [h]
    plans: list[int] = field(default_factory=list)
    search: list[float] = field(default_factory=list)
    reprice: list[float] = field(default_factory=list)

    def add(self, policy: str, loss: float, table: Table, plan: int) -> None:
        """One night of one policy, as it came."""
        key = (policy, loss)
        self.cost.setdefault(key, []).append(float(spent(table, loss)[plan]))
        self.energy.setdefault(key, []).append(float(table.energy[plan, 0]))
        self.outside.setdefault(key, []).append(float(table.state[plan, 0].max() >= OUTSIDE))


def spent(table: Table, loss: float) -> NDArray[np.float64]:
    """What each plan cost in the one realization that came."""
    return np.asarray(sum(cost.costs(table, prices(loss)).values()))[:, 0]


def played(job: tuple[str, int, int]) -> Season:
    """One site and seed through its winter."""
    name, seed, every = job
    found = Season(name)
    hard: list[tuple[float, Night]] = []
    for night in season(name, seed, every):
        loss = LOSSES[0]
        case = night.case(loss, TOLERATED)
        table = schedule.search(case)
        real = night.truth(loss)
        named = fixed_plans(real)
        named["naive"] = named["cover"] if night.coldest < 2.0 else NOTHING
        came = real.table(list(dict.fromkeys([*named.values(), *table.choices])))
        place = {choice: k for k, choice in enumerate(came.choices)}
        for loss in LOSSES:
            began = time.perf_counter()
            first = int(cost.order(table, TOLERATED, prices(loss))[0])
            found.reprice.append(time.perf_counter() - began)
            chosen = {"advised": table.choices[first], **{p: named[p] for p in POLICIES[1:4]}}
            for policy, choice in chosen.items():
                found.add(policy, loss, came, place[choice])
            found.add("perfect", loss, came, int(np.argmin(spent(came, loss))))
            found.fixed[loss].append(dict(zip(came.choices, spent(came, loss), strict=True)))
            share = cost.honest(table, TOLERATED, prices(loss))[1]
            assert share is not None
            found.claimed[loss].append(share)
        worst = came.state.max(axis=(1, 2))
        told = cost.chance(table)
        found.chances += [(float(told[k]), float(worst[place[c]] >= OUTSIDE)) for k, c in enumerate(table.choices)]
        found.plans.append(len(table))
        _starts(found, case, real)
        first = int(cost.order(table, TOLERATED, prices(LOSSES[0]))[0])
        _wrong(found, night, [table.choices[first], named["naive"], *came.choices[::WRONG_EVERY]])
        if seed == 1:
            hard.append((float(cost.chance(table)[table.choices.index(NOTHING)]), night))
    if seed == 1:
        for _, night in sorted(hard, key=lambda pair: -pair[0] * (pair[0] < 0.95))[: HARD // 2]:
            found.search.append(_against_grid(night))
    return found


def _wrong(found: Season, night: Night, some: Sequence[Choice]) -> None:
    """The same choices where the world is not as the column has it: the advised plan, the naive one, and others."""
    few = list(dict.fromkeys(some))
    for truth in WRONG:
        price = spent(night.truth(LOSSES[0], truth).table(few), LOSSES[0])
        own, naive = (float(price[few.index(choice)]) for choice in some[:2])
        found.wrong.setdefault(str(truth), []).append((own, naive, float(price.min())))


def _starts(found: Season, case: Case, real: Case) -> None:
    """Latest start of heat alone, told from the members, held against what came."""
    plan = Choice(heat=(0,), boost=8.0)
    told = latest.deadlines(case, plan)[0]
    hours = [slot for slot in case.allow.heat if slot % latest.EVERY == 0]
    came = real.table([*(replace(plan, heat=(hour,)) for hour in hours), NOTHING])
    worst = came.state.max(axis=(1, 2))
    slots = np.array(hours, dtype=float)
    own = latest.latest(worst[:-1, None] < told.state, worst[-1:] < told.state, slots)[0]
    for sure, by in zip(latest.SURE, told.by, strict=True):
        if not isinstance(by, str):
            slot = (np.datetime64(by, "ns") - case.clock.start) / np.timedelta64(1800, "s")
            early = 0.5 * (own - slot) if np.isfinite(own) else np.nan
            found.starts.append((sure, float(slot), bool(own >= slot), float(early)))


def _against_grid(night: Night) -> float:
    """What the search loses against the full grid, as a share of what the best plan gains."""
    case = night.case(LOSSES[0], 1.0)  # by cost alone: what is searched for is what the grid is ranked by
    table = schedule.search(case)
    mine = table.choices[int(cost.order(table, 1.0, case.prices)[0])]
    lay, lift = case.allow.lay[0], case.allow.lift[0]
    spells = [Choice((Spell(1, on, off),)) for on in lay[::3] for off in lift[::3]]
    spells = [NOTHING, *(spell for spell in spells if case.possible(spell))]
    spells = spells[:: max(1, len(spells) // 61)]
    heats = [((), 0.0), *(((hour,), boost) for hour in case.allow.heat[::6] for boost in moves.BOOSTS)]
    grid = list(dict.fromkeys(replace(s, heat=h, boost=b) for s in spells for h, b in heats))
    whole = table
    for first in range(0, len(grid), 250):
        whole = whole.joined(case.table(grid[first : first + 250]))
    price = cost.expected(whole, case.prices)
    assert price is not None
    idle, own = price[whole.choices.index(NOTHING)], price[whole.choices.index(mine)]
    return float((own - price.min()) / max(idle - price.min(), 1e-9))


def regret(seasons: Sequence[Season], policy: str, loss: float) -> float:
    """Cost above perfect foresight as a share of the naive rule's, mean of the sites."""
    shares = []
    for name in SITES:
        total = {p: sum(sum(s.cost[p, loss]) for s in seasons if s.name == name) for p in (policy, "naive", "perfect")}
        shares.append((total[policy] - total["perfect"]) / max(total["naive"] - total["perfect"], 1e-9))
    return float(np.mean(shares))


def best_fixed(seasons: Sequence[Season], loss: float) -> float:
    """Regret of the advice over that of the one plan that would have been cheapest every night of the winter."""
    shares = []
    for name in SITES:
        nights = [night for s in seasons if s.name == name for night in s.fixed[loss]]
        common = set.intersection(*(set(night) for night in nights))
        cheapest = min(sum(night[choice] for night in nights) for choice in common)
        own, perfect = (sum(sum(s.cost[p, loss]) for s in seasons if s.name == name) for p in ("advised", "perfect"))
        shares.append((own - perfect) / max(cheapest - perfect, 1e-9))
    return float(np.mean(shares))


def total(seasons: Sequence[Season], what: str, policy: str, loss: float) -> float:
    """Sum over all nights."""
    return float(sum(sum(getattr(s, what)[policy, loss]) for s in seasons))


def told_again(rows: Bars, events: Sequence[decide_issues.Told]) -> None:
    """All rows that come from events that are told of again and again."""

    def over(way: str, what: str) -> list[float]:
        return [value for event in events for value in getattr(event.paths[way], what)]

    spent = {way: sum(over(way, "cost")) for way in decide_issues.WAYS}
    restless = {way: sum(count >= 2 for count in over(way, "changes")) for way in decide_issues.WAYS}
    best = sum(sum(event.perfect) for event in events)
    less = restless["remembered"] / max(restless["memoryless"], 1) - 1.0
    why = f"{restless['remembered']} against {restless['memoryless']} of {len(over('once', 'cost'))} nights"
    rows.row("nights with two or more changes of advice, against memoryless", less, "1", "<= -0.3 (-0.5)", why)
    more = spent["remembered"] / spent["memoryless"] - 1.0
    rows.row("cost of the same, against memoryless", more, "1", "<= 0")
    twice = (spent["twice"] - best) / max(spent["once"] - best, 1e-9) - 1.0
    rows.row("looking at 48 h and again at 24 h against once: regret", twice, "1", "<= 0 (-0.3)")


def full_advice() -> tuple[float, float]:
    """Wall time [s] and peak memory [MB] of the demo night with advice, best of three processes."""
    arguments = ["tonight", str(DEMO / "venue.toml"), "--weather", str(DEMO / "ensemble.nc"), "--advise"]
    arguments += ["--past", str(DEMO / "past.csv"), "--night", "2026-01-27"]
    walls, peaks = [], []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(4):  # the first may compile
            began = time.perf_counter()
            child = subprocess.Popen(
                [sys.executable, "-m", "microclimate", *arguments, "--out", folder], stdout=subprocess.DEVNULL
            )
            _, status, usage = os.wait4(child.pid, 0)
            if status:
                raise SystemExit("tonight --advise failed")
            walls.append(time.perf_counter() - began)
            peaks.append(usage.ru_maxrss / 1024.0)
    return min(walls[1:]), max(peaks)


def told(rows: Bars, seasons: Sequence[Season]) -> None:
    """All rows that come from the winters."""
    for loss, bar, aim, fixed in ((LOSSES[0], 0.30, 0.15, 0.7), (LOSSES[1], 0.12, 0.05, 0.7)):
        rows.row(
            f"regret over the naive rule, loss {loss:,.0f}",
            regret(seasons, "advised", loss),
            "1",
            f"<= {bar:g} ({aim:g})",
        )
        rows.row(
            f"regret over the best fixed plan, loss {loss:,.0f}", best_fixed(seasons, loss), "1", f"<= {fixed:g} (0.4)"
        )
        used = [total(seasons, "energy", policy, loss) for policy in ("advised", "thermostat")]
        rows.row(
            f"energy against a 4 degC thermostat, loss {loss:,.0f}", used[0] / used[1] - 1.0, "1", "<= -0.25 (-0.4)"
        )
        out = {policy: total(seasons, "outside", policy, loss) for policy in POLICIES}
        more = out["advised"] - out["thermostat"]
        rows.row(f"events outside more than the thermostat's, loss {loss:,.0f}", more, "1", "<= 0")
        share = out["advised"] / max(out["naive"], 1.0)
        rows.row(f"events outside over the naive rule's, loss {loss:,.0f}", share, "1", "<= 0.3 (0.1)")
        more = (out["advised"] - out["perfect"]) * len(SITES) / len(seasons)
        rows.row(f"events outside more than perfect foresight's, a winter, loss {loss:,.0f}", more, "1", "<= 3 (1)")
        claimed = sum(sum(s.claimed[loss]) for s in seasons)
        gap = abs(claimed / total(seasons, "cost", "advised", loss) - 1.0)
        why = f"one event more or less is {loss / total(seasons, 'cost', 'advised', loss):.2f} of it"
        rows.row(f"claimed against realised cost, loss {loss:,.0f}", gap, "1", "<= 0.35 (0.15)", why)
    wrong = [np.array([v for s in seasons for v in s.wrong.get(str(truth), [])]).sum(axis=0) for truth in WRONG]
    worst = max((own - best) / (naive - best) for own, naive, best in wrong)
    rows.row("regret over the naive rule with wrong physics, worst of seven", float(worst), "1", "<= 0.35 (0.2)")
    starts = [row for s in seasons for row in s.starts]
    for sure, bar, aim in ((0.90, 0.88, 0.90), (0.95, 0.92, 0.95)):
        mine = [row for row in starts if row[0] == sure]
        rows.row(
            f"latest start at {sure:.0%}: in time",
            float(np.mean([row[2] for row in mine])),
            "1",
            f">= {bar:g} ({aim:g})",
            f"{sum(row[2] for row in mine)} of {len(mine)} nights for which an hour was told",
        )
    early = [row[3] for row in starts if row[0] == 0.95 and np.isfinite(row[3])]
    rows.row("latest start at 95%: early", float(np.mean(early)), "h", "<= 14 (9)")
    chances = np.array([pair for s in seasons for pair in s.chances])
    score, base = ((chances[:, 0] - chances[:, 1]) ** 2).mean(), chances[:, 1].var()
    rows.row("chance of an event outside limits: Brier skill", float(1.0 - score / base), "1", ">= 0.5 (0.65)")
    searched = float(np.mean([x for s in seasons for x in s.search]))
    rows.row("search: loss against the full grid", searched, "1", "<= 0.01 (0.001)")
    rows.row(
        "search: plans simulated, mean", float(np.mean([n for s in seasons for n in s.plans])), "1", "<= 300 (120)"
    )
    rows.row("new prices without a new run", max(t for s in seasons for t in s.reprice), "s", "<= 0.2 (0.05)")


def _worked(work: Callable[[Any], Any], jobs: Sequence[Any]) -> Iterator[Any]:
    """Each job in a process of its own, two at a time; how far it has come goes to standard error."""
    began = time.perf_counter()
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        for done, found in enumerate(pool.map(work, jobs), 1):
            print(f"{done} of {len(jobs)}, {time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
            yield found


def main() -> int:
    """All rows; 1 when one is missed."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=3, help="every n-th night of the winter")
    parser.add_argument("--seeds", type=int, default=3, help="draws of forecast errors")
    parser.add_argument("--part", nargs="+", choices=PARTS, default=PARTS, help="only these rows")
    given = parser.parse_args()
    jobs = [(name, seed, given.every) for seed in range(1, given.seeds + 1) for name in SITES]
    rows = Bars("decide")
    if "winter" in given.part:
        told(rows, list(_worked(played, jobs)))
    if "issues" in given.part:
        again = [(name, seed, AGAIN * given.every, LOSSES[0], TOLERATED) for name, seed, _ in jobs]
        told_again(rows, list(_worked(decide_issues.told, again)))
    if "demo" in given.part:
        wall, memory = full_advice()
        rows.row("full advice for the demo night", wall, "s", "<= 8")
        rows.row("full advice for the demo night", memory, "MB", "<= 700")
    return rows.end()


if __name__ == "__main__":
    sys.exit(main())
