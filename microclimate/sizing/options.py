"""The grid of options: what is built (designs), how it is run (policies), and which cover is laid."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from microclimate import units
from microclimate.constants import ZERO_CELSIUS
from microclimate.errors import InputError, Problem
from microclimate.venue.equipment import Circuit
from microclimate.venue.load import Venue

# Set points at the probe, below each circuit's own ceiling [K]. Frost: 2 to 4 degC in the root zone reported from one
# stadium (trade magazine); growth: 60 to 65 degF (trade paper); base: 34 degF (groundskeeper's notes); before an
# event the field is driven harder than it is held: 10 degC, ours.
FROST_HOLD, GROWTH_HOLD, BASE_HEAT, EVENT = (ZERO_CELSIUS + t for t in (3.0, 16.0, 1.1, 10.0))
NOTHING, FROST, GROWTH, LED, BASE = "no heat", "frost hold", "growth hold", "event-led", "base heat"
POLICIES = (FROST, GROWTH, LED, BASE)
LEADS = tuple(3600.0 * hours for hours in (12, 24, 48, 72))  # [s] of the event-led start where none is given: the
# surface over pipes at 250 mm needs one to three days (computed)
RAISED = 24 * 3600.0  # [s] ahead of an event base heat is raised where no lead is given; ours
POWERS = (60.0, 90.0, 120.0, 150.0)  # [W m-2] where none is given: cables 50-100, pipes 110-160 (trade)

# column steps a second and thread (measured, 2 threads busy); memory of a run in one process and of each option
RATE = 6.0e6
FORCING_SECONDS = 1.4  # of one winter on one thread
BASE_BYTES, OPTION_BYTES = 5.0e8, 2.0e6
MOST_MINUTES = 30.0  # more is only done with --yes; ours


@dataclass(frozen=True)
class Design:
    """What is built: settings of the circuits that are varied; None leaves a circuit's own."""

    power: float | None = None  # installed [W m-2]
    depth: float | None = None  # [m]
    pitch: float | None = None  # [m]
    supply: float | None = None  # [K] of the water as it enters


@dataclass(frozen=True)
class Policy:
    """How it is run."""

    kind: str = NOTHING
    lead: float = 0.0  # [s] before an event, where heat is led by it

    @property
    def led(self) -> bool:
        """Events decide when it heats."""
        return self.kind in (LED, BASE)


@dataclass(frozen=True)
class Option:
    """One thing to try: number of the design, policy, cover (0 none, else 1 + its number)."""

    design: int
    policy: Policy
    cover: int


@dataclass(frozen=True)
class Grid:
    """All that is tried."""

    designs: tuple[Design, ...]
    policies: tuple[Policy, ...]
    covers: tuple[int, ...]
    only: tuple[str, ...] = ()  # circuits that are varied; none: all

    @property
    def options(self) -> tuple[Option, ...]:
        """Without heat first, then every design with every policy; each with every cover."""
        bare = [Option(0, Policy(), cover) for cover in self.covers]
        heated = [Option(d, p, c) for d in range(len(self.designs)) for p in self.policies for c in self.covers]
        return (*bare, *heated)


@dataclass(frozen=True)
class Asked:
    """The grid as a person gives it: texts with units; what is empty takes the usual values."""

    power: str = ""
    depth: str = ""
    pitch: str = ""
    supply: str = ""
    lead: str = ""
    policy: tuple[str, ...] = ()
    covers: bool = True
    only: tuple[str, ...] = field(default=())


def grid(asked: Asked, venue: Venue) -> Grid:
    """The options asked for.

    Raises
    ------
    InputError
        Everything that is wrong with the texts, or does not fit the venue's ground and circuits.
    """
    problems: list[Problem] = []
    lists = {
        "power": _numbers("power", asked.power, "W/m2", problems),
        "depth": _numbers("depth", asked.depth, "mm", problems),
        "pitch": _numbers("pitch", asked.pitch, "mm", problems),
        "supply": _numbers("supply", asked.supply, "degC", problems),
    }
    leads = _numbers("lead", asked.lead, "h", problems)
    unknown = [name for name in asked.policy if name not in POLICIES]
    problems += [Problem("--policy", repr(name), "one of " + ", ".join(POLICIES)) for name in unknown]
    names = [circuit.name for circuit in venue.equipment.circuits]
    problems += [
        Problem("--only", f"there is no circuit {name!r}", ", ".join(names)) for name in asked.only if name not in names
    ]
    if problems:
        raise InputError("options", problems)
    powers: Sequence[float | None] = lists["power"] or POWERS
    designs = tuple(
        Design(p, d, w, s)
        for p in powers
        for d in lists["depth"] or (None,)
        for w in lists["pitch"] or (None,)
        for s in lists["supply"] or (None,)
    )
    policies = tuple(
        Policy(kind, lead)
        for kind in asked.policy or POLICIES
        for lead in (leads or LEADS if kind == LED else (leads or (RAISED,))[:1] if kind == BASE else (0.0,))
    )
    covers = tuple(range(len(venue.equipment.covers) + 1)) if asked.covers else (0,)
    made = Grid(designs, policies, covers, asked.only)
    problems = [problem for design in designs for problem in _unfit(made, design, venue)]
    if problems:
        raise InputError("options", list(dict.fromkeys(problems)))
    return made


def _numbers(name: str, text: str, unit: str, problems: list[Problem]) -> tuple[float, ...]:
    """Numbers of a list such as "150, 250 mm"; the last unit serves those before it."""
    parts = [part.strip() for part in text.replace(";", ",").split(",") if part.strip()]
    last = parts[-1].lstrip("+-0123456789.eE ") if parts else ""
    found = []
    for part in parts:
        bare = not part.lstrip("+-0123456789.eE ")
        try:
            value = units.quantity(f"{part} {last}".strip() if bare else part, unit)
        except ValueError as error:
            problems.append(Problem(f"--{name}", str(error), f'numbers such as "{_EXAMPLES[name]}"'))
            continue
        low, high = (units.quantity(bound, unit) for bound in _RANGES[name])
        if not low <= value <= high:
            bounds = " to ".join(f"{bound:g}" for bound in _RANGES[name])
            problems.append(Problem(f"--{name}", repr(part), f"{bounds} {unit}"))
        else:
            found.append(value)
    return tuple(dict.fromkeys(found))


_EXAMPLES = {
    "power": "80, 120, 160 W/m2",
    "depth": "150, 250 mm",
    "pitch": "200, 300 mm",
    "supply": "30, 40 degC",
    "lead": "12, 24, 48 h",
}
_RANGES = {"power": (1, 1000), "depth": (30, 2000), "pitch": (20, 10000), "supply": (5, 95), "lead": (1, 240)}


def _unfit(grid: Grid, design: Design, venue: Venue) -> list[Problem]:
    """What a design asks that the ground or a circuit does not bear."""
    found = []
    for circuit in varied(grid, venue):
        if design.pitch is not None and design.pitch <= circuit.pipe_outer_diameter:
            found.append(
                Problem(
                    f"--pitch, circuit {circuit.name}",
                    f"{1000 * design.pitch:g} mm",
                    f"more than the pipe, {1000 * circuit.pipe_outer_diameter:g} mm",
                )
            )
        if design.supply is not None and circuit.kind == "cable" and len(venue.equipment.circuits) == 1:
            found.append(Problem(f"--supply, circuit {circuit.name}", "is a cable", "a circuit with water or air"))
        for zone in venue.field.zones:
            bottom = sum(layer.thickness for layer in zone.layers)
            if zone.circuit == circuit.name and design.depth is not None and design.depth >= bottom:
                found.append(
                    Problem(
                        f"--depth, circuit {circuit.name}, zone {zone.name}",
                        f"heater at {1000 * design.depth:g} mm, below the profile",
                        f"less than {1000 * bottom:g} mm",
                        "give a smaller depth, or name circuits with --only",
                    )
                )
    return found


def varied(grid: Grid, venue: Venue) -> tuple[Circuit, ...]:
    """The circuits a design changes."""
    return tuple(c for c in venue.equipment.circuits if not grid.only or c.name in grid.only)


def built(grid: Grid, design: Design, venue: Venue) -> Venue:
    """The venue with a design's circuits."""
    names = {circuit.name for circuit in varied(grid, venue)}
    circuits = tuple(_changed(c, design) if c.name in names else c for c in venue.equipment.circuits)
    return venue.model_copy(update={"equipment": venue.equipment.model_copy(update={"circuits": circuits})})


def _changed(circuit: Circuit, design: Design) -> Circuit:
    supply = design.supply if circuit.kind != "cable" else None
    wanted = {
        "power": design.power,
        "depth": design.depth,
        "pitch": design.pitch,
        "supply_temperature": supply,
    }
    return circuit.model_copy(update={key: value for key, value in wanted.items() if value is not None})


@dataclass(frozen=True)
class Estimate:
    """What a grid asks of the machine."""

    column_steps: float
    minutes: float
    bytes: float  # of one process


def estimate(grid: Grid, columns: int, steps: int, winters: int, shifts: int, threads: int) -> Estimate:
    """Before anything is run; `columns` of one option, `steps` of one winter, `shifts` of the calendar."""
    tried = sum(shifts if option.policy.led else 1 for option in grid.options)
    work = float(tried) * columns * steps * winters
    seconds = work / RATE + winters * FORCING_SECONDS
    forcing = 4.0 * 10 * steps * columns * (len(grid.designs) + 3)
    return Estimate(work, seconds / threads / 60.0, BASE_BYTES + forcing + OPTION_BYTES * tried)
