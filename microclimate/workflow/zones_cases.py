"""Venues as they might be, for `zones` to hold against what is: no stands, other stands, covered seats."""

from collections.abc import Callable

from microclimate.venue.bowl import Bowl, Stand, StandSurface, Tier
from microclimate.venue.load import Venue

COVERED = "seat sheet"  # a woven sheet over rows and seats: emissivity .9 (from memory), albedo of a mid colour


def without_stands(venue: Venue) -> Venue:
    """The same field on open ground."""
    return venue.model_copy(update={"bowl": Bowl(ground_albedo=venue.bowl.ground_albedo)})


def with_concrete(venue: Venue) -> Venue:
    """Concrete wherever there is aluminium; seats of plastic where they were aluminium."""
    bare = {surface.name for surface in venue.bowl.surfaces if surface.like and "aluminium" in surface.like}

    def metal(name: str | None) -> bool:
        return name is not None and ("aluminium" in name or name in bare)

    def other(tier: Tier) -> Tier:
        return tier.model_copy(
            update={
                "material": "concrete" if metal(tier.material) else tier.material,
                "seats": "plastic" if metal(tier.seats) else tier.seats,
            }
        )

    return _tiers(venue, other)


def with_seats_covered(venue: Venue) -> Venue:
    """A woven sheet over every row that has seats or is of thin metal or plastic."""
    sheet = StandSurface.model_validate({"name": COVERED, "like": "plastic", "emissivity": 0.9})
    thin = {name for name in _used(venue) if venue.bowl.surface(name).thermal == "plank"}

    def other(tier: Tier) -> Tier:
        covered = tier.seats is not None or tier.material in thin
        return tier.model_copy(update={"material": COVERED, "seats": None}) if covered else tier

    made = _tiers(venue, other)
    bowl = made.bowl.model_copy(update={"surfaces": (*made.bowl.surfaces, sheet)})
    return made.model_copy(update={"bowl": bowl})


def _used(venue: Venue) -> set[str]:
    return {tier.material for stand in venue.bowl.stands for tier in stand.tiers}


def _tiers(venue: Venue, change: Callable[[Tier], Tier]) -> Venue:
    def of(stand: Stand) -> Stand:
        return stand.model_copy(update={"tiers": tuple(change(tier) for tier in stand.tiers)})

    bowl = venue.bowl.model_copy(update={"stands": tuple(of(stand) for stand in venue.bowl.stands)})
    return venue.model_copy(update={"bowl": bowl})


VARIANTS = {
    "without stands": without_stands,
    "concrete": with_concrete,
    "seats covered": with_seats_covered,
}
