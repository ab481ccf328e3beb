"""Uses of the field: local clock times in the file, UTC in the package."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator

from microclimate import schema
from microclimate.venue.kit import Floor
from microclimate.venue.model import Model

LONGEST = timedelta(hours=16)  # ours: a longer event is taken for a slip of the pen
EARLIEST = timedelta(days=3)  # ours: no walk-through is earlier


class EventTable(Model):
    """[[event]] as the file has it."""

    name: str = Field("event", min_length=1, description="printed in every answer")
    start: datetime = Field(description="local date and time, for example 2026-01-21T19:30")
    end: datetime | time = Field(description="local date and time, or the time alone")
    kind: str = Field("game", description="game, training, concert, ...: printed only")
    gates: datetime | time | None = Field(None, description="when the gates open: printed only")
    warm_up: datetime | time | None = Field(None, description="when the field is warmed up on: covers are off by then")
    walk_through: datetime | time | None = Field(None, description="when the field is walked: covers are off then")

    @field_validator("start", "end", "gates", "warm_up", "walk_through", mode="before")
    @classmethod
    def _text(cls, value: Any) -> Any:
        """Text such as '2026-01-21 19:30' or '21:30', or a TOML date and time."""
        if isinstance(value, date) and not isinstance(value, datetime):
            raise ValueError("must have a time of day, for example 2026-01-21T19:30")
        if isinstance(value, str) and ":" in value and len(value) <= 5:
            return time.fromisoformat(value.zfill(5))
        if isinstance(value, str):
            try:
                return datetime.fromisoformat(value)
            except ValueError:
                raise ValueError("must be a date and time such as 2026-01-21T19:30") from None
        if not isinstance(value, datetime | time):
            raise ValueError("must be a date and time such as 2026-01-21T19:30")
        return value


class EventFile(Model):
    """A calendar file: nothing but [[event]] and [[floor]] tables."""

    format: int = Field(1, ge=1, description="of this file")
    event: tuple[EventTable, ...] = Field((), description="[[event]]")
    floor: tuple[Floor, ...] = Field((), description="[[floor]]")


def utc(local: datetime, time_zone: str) -> datetime:
    """A local clock time as naive UTC.

    Raises
    ------
    ValueError
        When the clock shows that time twice or never (a change to or from summer time).
    """
    if local.tzinfo is not None:
        return local.astimezone(UTC).replace(tzinfo=None)
    zone = ZoneInfo(time_zone)
    first, second = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first.astimezone(zone).replace(tzinfo=None) != local:
        raise ValueError(f"{local:%Y-%m-%d %H:%M} does not exist in {time_zone}: the clock skips it; give an offset")
    if first != second:
        raise ValueError(
            f"{local:%Y-%m-%d %H:%M} comes twice in {time_zone}: the clock goes back; "
            f"write it with its offset, for example {local.replace(tzinfo=zone).isoformat(timespec='minutes')}"
        )
    return first.replace(tzinfo=None)


def event(table: EventTable, time_zone: str) -> schema.Event:
    """The event in UTC.

    Raises
    ------
    ValueError
        When it ends before it starts, is longer than 16 h, or a clock time is double or missing.
    """
    start = utc(table.start, time_zone)
    if isinstance(table.end, datetime):
        end = utc(table.end, time_zone)
    else:
        day = table.start.date() + timedelta(days=table.end < table.start.time())
        end = utc(datetime.combine(day, table.end, tzinfo=table.start.tzinfo), time_zone)
    marks = tuple(
        (name, _before(moment, table.start, time_zone))
        for name, moment in (("gates", table.gates), ("warm-up", table.warm_up), ("walk-through", table.walk_through))
        if moment is not None
    )
    if end <= start:
        raise ValueError("end must be later than start")
    if end - start > LONGEST:
        hours = (end - start).total_seconds() / 3600.0
        raise ValueError(f"lasts {hours:.0f} h, from start to end; wanted at most 16 h")
    for name, moment in marks:
        if not start - EARLIEST <= moment <= start:
            raise ValueError(f"{name.replace('-', '_')} must lie before start, at most {EARLIEST.days} days")
    return schema.Event(table.name, start, end, table.kind, marks)


def _before(moment: datetime | time, start: datetime, time_zone: str) -> datetime:
    """A clock time on the day of the start, or a moment of its own, as UTC."""
    if isinstance(moment, datetime):
        return utc(moment, time_zone)
    return utc(datetime.combine(start.date(), moment, tzinfo=start.tzinfo), time_zone)
