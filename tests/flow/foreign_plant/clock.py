"""When something happens, when it is written down, and the ways in which that time is written."""

from __future__ import annotations

import random
from datetime import UTC, datetime, time, timedelta

from tests.flow.foreign_plant.model import Plant, System

NOON = time(12, 0)


def stamp(at: datetime, style: str) -> str:
    """A time in one of the ways that the contract takes: date, local, offset, utc."""
    if style == "date" and at.time() == NOON:
        return at.date().isoformat()
    spec = "seconds" if at.second else "minutes"
    if style == "offset":
        return at.isoformat(timespec=spec)
    if style == "utc":
        return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec=spec) + "Z"
    return at.replace(tzinfo=None).isoformat(timespec=spec)


def later(at: datetime, delay: timedelta, plant: Plant) -> datetime | None:
    """When a fact was written down: `delay` later at the plant's clock; None if that day is not over yet."""
    known = at + delay
    return known if known.date() <= plant.last_day else None


def daylight(rng: random.Random, first: int = 6, last: int = 20) -> time:
    """A time of day away from every clock change."""
    return time(rng.randint(first, last), rng.choice((0, 5, 10, 12, 20, 25, 30, 40, 45, 55)))


def system_times(system: System, every: int, clock: time) -> list[datetime]:
    """A round every so many days."""
    span = (system.plant.last_day - system.start).days
    return [system.plant.at(system.start + timedelta(days=d), clock) for d in range(1, span + 1, every)]
