"""The periods of a demand forecast: weeks or months of the plant's calendar from a moment on."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from scheduler.planning.plant_columns import Floats
from service.plant_folder import tables as t
from service.plant_store.time import to_day


class PeriodKind(StrEnum):
    WEEK = "week"
    MONTH = "month"


USUAL_AHEAD = {PeriodKind.WEEK: 26, PeriodKind.MONTH: 12}
"""How many periods are shown where nobody says."""

MOST_AHEAD = {PeriodKind.WEEK: 104, PeriodKind.MONTH: 24}


@dataclass(frozen=True, slots=True)
class Periods:
    """Consecutive periods; the first is what is left of the one that runs. `edge_at` has one more."""

    kind: PeriodKind
    zone: ZoneInfo
    edge_at: tuple[datetime, ...]

    def edge_d(self) -> Floats:
        """Days from the first moment, (W + 1,)."""
        days = np.array([to_day(at) for at in self.edge_at])
        return np.asarray(days - days[0])


def periods_from(as_of: datetime, zone: ZoneInfo, kind: PeriodKind, ahead: int) -> Periods:
    """`ahead` periods from `as_of` on. Weeks begin on Monday (ISO 8601), months on the first, at 0:00 plant time.

    >>> saturday = datetime(2026, 3, 28, 12, tzinfo=ZoneInfo("UTC"))
    >>> weeks = periods_from(saturday, ZoneInfo("Europe/Oslo"), PeriodKind.WEEK, 2)
    >>> [at.isoformat() for at in weeks.edge_at[1:]]
    ['2026-03-30T00:00:00+02:00', '2026-04-06T00:00:00+02:00']
    """
    edges = [as_of.astimezone(zone)]
    while len(edges) <= ahead:
        edges.append(_next_start(edges[-1], zone, kind))
    return Periods(kind, zone, tuple(edges))


def _next_start(at: datetime, zone: ZoneInfo, kind: PeriodKind) -> datetime:
    day = at.date()
    if kind is PeriodKind.WEEK:
        first = day + timedelta(days=7 - day.weekday())
    else:
        first = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return datetime(first.year, first.month, first.day, tzinfo=zone)


def planners_zone(connection: sa.Connection) -> ZoneInfo | None:
    """The zone whose calendar the periods follow: the first plant's; stock is shared by all. None without one."""
    name = connection.scalar(sa.select(t.plants.c.time_zone).order_by(t.plants.c.plant).limit(1))
    return None if name is None else ZoneInfo(name)
