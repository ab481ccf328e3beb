"""What the search moves: spells of covers, heat by circuit, skirts, snow. Times are slots, half-hours of a run."""

from dataclasses import dataclass, replace

Kind = tuple[tuple[int, ...], bool, bool, bool]


@dataclass(frozen=True, order=True)
class Spell:
    """One cover lies for a while."""

    cover: int  # 1 + number of the cover in the venue
    on: int  # it lies from the start of this slot
    off: int  # and is lifted from the start of this one on
    blown: bool = False  # warm air is blown under it

    def __post_init__(self) -> None:
        if self.cover < 1:
            raise ValueError("covers count from 1")


@dataclass(frozen=True)
class Choice:
    """One candidate. Heat runs from its start to the end of the last window, less `early` slots."""

    spells: tuple[Spell, ...] = ()  # in order of time
    heat: tuple[int | None, ...] = ()  # by circuit: it may run from the start of this slot; empty: no heat
    boost: float = 0.0  # [K] above each circuit's own set point, held below its ceiling
    early: int = 0
    skirts: int | None = None  # closed from the start of this slot on
    snow: int | None = None  # cleared in this slot

    def __post_init__(self) -> None:
        object.__setattr__(self, "spells", tuple(sorted(self.spells, key=lambda spell: (spell.on, spell.cover))))
        if not self.heated:  # one way to say that nothing is heated
            for name, value in (("heat", ()), ("boost", 0.0), ("early", 0)):
                object.__setattr__(self, name, value)

    @property
    def heated(self) -> bool:
        """Whether any circuit runs."""
        return any(start is not None for start in self.heat)

    @property
    def first_heat(self) -> int | None:
        """The slot in which the first circuit starts."""
        return min((start for start in self.heat if start is not None), default=None)

    @property
    def kind(self) -> Kind:
        """Which covers, and whether there is heat: plans of one kind differ in hours only."""
        covers = sorted({2 * spell.cover + spell.blown for spell in self.spells})
        return tuple(covers), self.heated, self.skirts is not None, self.snow is not None

    def without_cover(self) -> "Choice":
        """The same, no cover."""
        return replace(self, spells=())

    def without_heat(self) -> "Choice":
        """The same, no heat."""
        return replace(self, heat=())

    def with_spell(self, number: int, spell: Spell | None) -> "Choice":
        """The same with one spell changed, or left out."""
        rest = [s for place, s in enumerate(self.spells) if place != number]
        return replace(self, spells=tuple(rest if spell is None else [*rest, spell]))

    def with_heat(self, circuit: int, start: int | None) -> "Choice":
        """The same with another start of one circuit."""
        starts = tuple(start if number == circuit else own for number, own in enumerate(self.heat))
        return replace(self, heat=starts)


NOTHING = Choice()
