"""Where a search starts and what lies one step from a plan: hours, set point, single circuits, covers, skirts, snow."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from microclimate.actions.case import Case
from microclimate.actions.choice import Choice, Spell
from microclimate.actions.constraints import slots_of_work

STEPS = (8, 4, 2, 1)
HEAT_STEP = 2  # slots: heat moves by an hour at least, less is below the noise of 31 realizations; covers by one slot
BOOSTS = (0.0, 4.0, 8.0)  # [K] above the circuits' own set points
EARLY = (0, 4, 8)  # slots that heat ends before the last window does
SHORT = 8  # slots; a start plan does not lift a cover sooner than four hours after it lies, where it can


def starts(case: Case) -> list[Choice]:
    """Plans to start from: each cover early and late, heat at once and later, and both together."""
    allow, found = case.allow, []
    heats = [heat(case, allow.heat[len(allow.heat) * k // 3]) for k in range(3)] if allow.heat else []
    found += [Choice(heat=h) for h in dict.fromkeys(heats)] + [Choice(heat=h, boost=BOOSTS[-1]) for h in heats[:1]]
    for number in range(len(case.venue.equipment.covers)):
        laid = [Choice((spell,)) for spell in spells(case, number)]
        found += laid
        found += [replace(c, heat=heats[0], boost=boost) for c in laid[:2] for boost in BOOSTS[:2] if heats]
        found += [replace(c, heat=heats[0]) for c in laid[2:4] if heats]
    simple = [c for c in found if worth(case, c) and case.possible(c)]
    return simple + [c for c in _besides(case, simple) if case.possible(c)]


def heat(case: Case, start: int) -> tuple[int | None, ...]:
    """All circuits from one slot on."""
    return (start,) * len(case.venue.equipment.circuits)


def _besides(case: Case, simple: Sequence[Choice]) -> list[Choice]:
    """Skirts and the clearing of snow, alone and beside the first plan with heat."""
    hot = next((c for c in simple if c.heated), Choice())
    closed = skirts(case)
    found = [replace(base, skirts=closed) for base in dict.fromkeys((Choice(), hot)) if closed is not None]
    if case.allow.snow and case.snowy:
        clear = case.allow.snow[-1]
        found += [replace(base, snow=clear) for base in dict.fromkeys((Choice(), hot))]
    return found


def skirts(case: Case) -> int | None:
    """The first slot from which skirts can be closed; None where there are none."""
    trays = any(zone.base.over_air for zone in case.venue.field.zones)
    return case.allow.skirts[0] if trays and case.allow.skirts else None


def spells(case: Case, number: int) -> list[Spell]:
    """Of one cover: laid first, at the middle and last, each time lifted as late and as early as may be."""
    ons, offs = case.allow.lay[number], case.allow.lift[number]
    found = []
    for on in dict.fromkeys(ons[place] for place in (0, len(ons) // 2, -1) if ons):
        possible = [off for off in offs if case.possible(Choice((Spell(number + 1, on, off),)))]
        long = [off for off in possible if off >= on + SHORT] or possible
        found += [Spell(number + 1, on, off) for off in dict.fromkeys((*long[-1:], *long[:1]))]
    blown = case.venue.equipment.covers[number].warm_air_flow is not None
    return found + [replace(spell, blown=True) for spell in found[:2] if blown]


def worth(case: Case, choice: Choice) -> bool:
    """Whether every cover that has yet to be laid lies for as long at least as laying and lifting it take; ours."""
    covers = case.venue.equipment.covers
    new = [spell for spell in choice.spells if not case.clock.lies(spell)]
    return all(s.off - s.on >= 2 * slots_of_work(covers[s.cover - 1]) for s in new)


def neighbours(case: Case, centre: Choice, step: int) -> Iterable[Choice]:
    """Plans one step away in one coordinate, and those with one thing switched off or on."""
    yield from _covered(case, centre, step)
    yield from _heated(case, centre, step)
    if (closed := skirts(case)) is not None:
        yield replace(centre, skirts=closed if centre.skirts is None else None)
    if case.allow.snow and case.snowy:
        if centre.snow is None:
            yield replace(centre, snow=case.allow.snow[-1])
        else:
            yield replace(centre, snow=None)
            for by in (-step, step):
                yield replace(centre, snow=_near(case.allow.snow, centre.snow + by))


def _covered(case: Case, centre: Choice, step: int) -> Iterable[Choice]:
    allow = case.allow
    for number, spell in enumerate(centre.spells):
        ons, offs = allow.lay[spell.cover - 1], allow.lift[spell.cover - 1]
        for by in (-step, step):
            yield centre.with_spell(number, replace(spell, on=_near(ons, spell.on + by)))
            yield centre.with_spell(number, replace(spell, off=_near(offs, spell.off + by)))
        yield centre.with_spell(number, None)
        if case.venue.equipment.covers[spell.cover - 1].warm_air_flow is not None:
            yield centre.with_spell(number, replace(spell, blown=not spell.blown))
    for place in range(len(allow.lay)):
        found = spells(case, place)
        for spell in found[:2]:  # in place of what lies, and beside it
            yield replace(centre, spells=(spell,))
        if centre.spells and step == STEPS[0]:
            for spell in found:
                yield replace(centre, spells=(*centre.spells, spell))


def _heated(case: Case, centre: Choice, step: int) -> Iterable[Choice]:
    allow = case.allow
    if not allow.heat:
        return
    if not centre.heated:
        yield replace(centre, heat=heat(case, allow.heat[0]))
        return
    for by in (-step, step) if step >= HEAT_STEP else ():
        moved = tuple(None if start is None else _near(allow.heat, start + by) for start in centre.heat)
        yield replace(centre, heat=moved)
        if len(centre.heat) > 1 and step == STEPS[1]:
            for circuit, start in enumerate(centre.heat):
                if start is not None:
                    yield centre.with_heat(circuit, _near(allow.heat, start + by))
    if len(centre.heat) > 1:
        for circuit, start in enumerate(centre.heat):
            yield centre.with_heat(circuit, centre.first_heat if start is None else None)
    yield from (replace(centre, boost=boost) for boost in BOOSTS if boost != centre.boost)
    if step == STEPS[-1]:
        yield from (replace(centre, early=early) for early in EARLY if early != centre.early)
    yield centre.without_heat()


def _near(allowed: Sequence[int], wanted: int) -> int:
    """The allowed slot nearest to the wanted one, or that itself where none is."""
    return min(allowed, key=lambda slot: abs(slot - wanted)) if allowed else wanted
