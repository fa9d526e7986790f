"""What stands around a close-out that was recorded before: the stay it ended, the one it began, what followed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn
from scheduler.vocabulary import MeterReadingKind
from service.close_outs.known import current_stay, last_removal
from service.close_outs.subject import Subject
from service.close_outs.tables import close_outs, happened
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import told_by
from service.plant_store.meters import MeterObservation
from service.plant_store.time import to_day
from service.problems import InTheWay

_SAME_MOMENT_D = 1e-7


@dataclass(frozen=True, slots=True)
class Stays:
    """`begun` is the stay that the close-out began, None where it changed nothing.

    `earlier` is what sat there before it, or sits there where it changed nothing; None where nothing is known.
    """

    earlier: sa.RowMapping | None
    begun: sa.RowMapping | None
    removed_before: datetime | None

    @property
    def next_change_at(self) -> datetime | None:
        """When the element that the close-out fitted came out again."""
        return None if self.begun is None else self.begun["removed_at"]


def stays_around(connection: sa.Connection, row: sa.RowMapping, *, changed: bool) -> Stays:
    """The stays of the close-out `row`, as they stand; `changed` is whether it says that it began one.

    Raises InTheWay where that one is not on record any more.
    """
    position, at = row["position"], row["at"]
    if not position:
        return Stays(None, None, None)
    if not changed:
        return Stays(current_stay(connection, position), None, last_removal(connection, position))
    begun = _stay(connection, position, t.installations.c.fitted_at == at)
    if begun is None:
        told = f"the element that close-out {row['id']} fitted at {at.isoformat(timespec='minutes')}"
        raise InTheWay(f"{told} is not on record there any more; correct the installations by an import")
    stays = t.installations
    earlier = _stay(connection, position, sa.and_(stays.c.removed_at == at, stays.c.fitted_at < at))
    return Stays(earlier, begun, last_removal(connection, position, fitted_before=at))


def later_change(connection: sa.Connection, row: sa.RowMapping, at: datetime) -> str:
    """The change at `at` in the position of `row`, in words that name its close-out."""
    query = sa.select(close_outs.c.id).where(
        close_outs.c.position == row["position"], close_outs.c.at == at, close_outs.c.id != row["id"], happened()
    )
    found = connection.scalar(query)
    when = at.isoformat(timespec="minutes")
    return f"the change of {when} that was imported" if found is None else f"close-out {found} of {when}"


def close_out_that_says(connection: sa.Connection, row: sa.RowMapping, day: float | None) -> str:
    """' (close-out 8)' where another one of the system was at that very moment, else ''."""
    if day is None:
        return ""
    others = sa.select(close_outs.c.id, close_outs.c.at).where(
        close_outs.c.system == row["system"], close_outs.c.id != row["id"], happened()
    )
    found = [each.id for each in connection.execute(others) if abs(to_day(each.at) - day) < _SAME_MOMENT_D]
    return f" (close-out {', '.join(map(str, found))})" if found else ""


def own_hours(
    connection: sa.Connection, row: sa.RowMapping, standing: CloseOutIn, subject: Subject, stays: Stays
) -> Sequence[MeterObservation]:
    """What the meter is known to have shown only because the close-out says so, once for each record of it."""
    if standing.hours is None:
        return []
    told = MeterObservation(
        (subject.system, subject.meter), row["at"], False, MeterReadingKind.READING, standing.hours
    )
    records = int(stays.begun is not None and stays.begun["fitted_hours"] == standing.hours)
    records += int(
        stays.begun is not None and stays.earlier is not None and stays.earlier["removed_hours"] == standing.hours
    )
    if other_with_hours(connection, row, subject, standing.hours) is None:
        readings = t.meter_readings
        query = sa.select(sa.func.count()).where(
            current_rows(readings),
            told_by(readings, _source(row)),
            readings.c.system == subject.system,
            readings.c.meter == subject.meter,
            readings.c.at == row["at"],
            readings.c.hours == standing.hours,
        )
        records += connection.scalar(query) or 0
    return [told] * records


def other_with_hours(connection: sa.Connection, row: sa.RowMapping, subject: Subject, hours: float) -> int | None:
    """Another close-out that read the same on the same meter at the same moment."""
    read = others_read(connection, row, subject, row["at"])
    return next((id_ for id_, other_h in read if other_h == hours), None)


def others_read(
    connection: sa.Connection, row: sa.RowMapping, subject: Subject, at: datetime
) -> list[tuple[int, float]]:
    """The other close-outs that read the same meter at the moment `at`, and what they read."""
    positions = t.positions
    query = (
        sa.select(close_outs.c.id, close_outs.c.told, positions.c.meter)
        .outerjoin(positions, positions.c.position == close_outs.c.position)
        .where(close_outs.c.system == row["system"], close_outs.c.at == at, close_outs.c.id != row["id"], happened())
        .order_by(close_outs.c.id)
    )
    return [
        (id_, told["hours"])
        for id_, told, meter in connection.execute(query)
        if told.get("hours") is not None and (meter or "") == subject.meter
    ]


def _stay(connection: sa.Connection, position: str, which: sa.ColumnElement[Any]) -> sa.RowMapping | None:
    stays = t.installations
    query = sa.select(stays).where(current_rows(stays), stays.c.position == position, which)
    return connection.execute(query.order_by(stays.c.fitted_at.desc())).mappings().first()


def _source(row: sa.RowMapping) -> str:
    return f"close-out {row['id']}"
