"""Keeping how due dates move: a pass compares every date with the one that was last told, and writes what differs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.planning.moves import News, Told, causes_of, movement, settled
from scheduler.vocabulary import Movement, Trigger
from service.due.news import Subject, news_of
from service.due.tables import due_moves, passes
from service.plant_folder import tables as t
from service.plant_store.time import to_day

_AT_ONCE = 400


@dataclass(frozen=True, slots=True)
class _Moved:
    row: Mapping[str, Any] | sa.RowMapping
    last: sa.RowMapping | None
    before: Told | None
    after: Told | None
    movement: Movement


def keep_moves(
    connection: sa.Connection,
    pass_id: int,
    as_of: datetime,
    rows: Sequence[Mapping[str, Any]],
    systems: frozenset[str] | None,
) -> None:
    """Write a move for every date in `rows` (due items of this pass) that is no longer what was last told.

    `systems` are those that the pass planned, None for all: what it no longer lists there has left the service.
    """
    last_told = _last_told(connection, systems)
    moved: list[_Moved] = []
    for row in rows:
        last = last_told.pop(row["position"], None)
        before = None if last is None else _told_before(last)
        after = _told_now(row, as_of)
        became = movement(before, after)
        if became is not None:
            moved.append(_Moved(row, last, before, after, became))
    for last in last_told.values():
        before = _told_before(last)
        if before is not None:
            moved.append(_Moved(last, last, before, None, Movement.LEFT))
    if moved:
        news = news_of(connection, _subjects(connection, moved), as_of)
        told = [line for each in moved if (line := _move_row(each, pass_id, as_of, news)) is not None]
        if told:
            connection.execute(sa.insert(due_moves), told)


def _last_told(connection: sa.Connection, systems: frozenset[str] | None) -> dict[str, sa.RowMapping]:
    newest = sa.select(sa.func.max(due_moves.c.id)).group_by(due_moves.c.position)
    if systems is not None:
        of_systems = sa.select(t.positions.c.position).where(t.positions.c.system.in_(sorted(systems)))
        newest = newest.where(due_moves.c.position.in_(of_systems))
    query = (
        sa.select(due_moves, passes.c.newest_facts)
        .join(passes, passes.c.id == due_moves.c.pass_id)
        .where(due_moves.c.id.in_(newest))
        .order_by(due_moves.c.position)
    )
    return {row["position"]: row for row in connection.execute(query).mappings()}


def _told_before(last: sa.RowMapping) -> Told | None:
    if last["movement"] == Movement.LEFT:
        return None
    return _told(last["at"], last["to_due_at"], last["to_trigger"], last["knew"]["facts"])


def _told_now(row: Mapping[str, Any], as_of: datetime) -> Told:
    return _told(as_of, row["due_at"], row["trigger"], row["because"]["facts"])


def _told(as_of: datetime, due_at: datetime | None, trigger: str | None, facts: Mapping[str, Any]) -> Told:
    return Told(
        as_of_day=to_day(as_of),
        due_day=None if due_at is None else to_day(due_at),
        trigger=None if trigger is None else Trigger(trigger),
        facts=facts,
    )


def _subjects(connection: sa.Connection, moved: Sequence[_Moved]) -> list[Subject]:
    """The moved positions that have something to be compared with."""
    compared = {each.row["position"]: each for each in moved if each.before is not None and each.after is not None}
    subjects: list[Subject] = []
    ordered = sorted(compared)
    for begin in range(0, len(ordered), _AT_ONCE):
        query = (
            sa.select(t.positions, t.systems.c.fluid, t.plants.c.currency)
            .join(t.systems, t.systems.c.system == t.positions.c.system)
            .join(t.plants, t.plants.c.plant == t.systems.c.plant)
            .where(t.positions.c.position.in_(ordered[begin : begin + _AT_ONCE]))
        )
        for row in connection.execute(query).mappings():
            each = compared[row["position"]]
            assert each.last is not None  # noqa: S101 - it has a `before`
            subjects.append(
                Subject(
                    position=row["position"],
                    system=row["system"],
                    meter=row["meter"] or "",
                    plant=each.row["plant"],
                    currency=row["currency"] or "",
                    fluid=row["fluid"] or "",
                    part_numbers=frozenset({row["part_number"], each.row["part_number"] or row["part_number"]}),
                    pass_id=each.last["pass_id"],
                    since=each.last["newest_facts"] or {},
                )
            )
    return subjects


def _move_row(each: _Moved, pass_id: int, as_of: datetime, news: Mapping[str, News]) -> dict[str, Any] | None:
    of_position = news.get(each.row["position"], News())
    became = settled(each.before, each.after, each.movement, of_position)
    if became is None:
        return None
    last, is_told = each.last, each.before is not None
    stays = each.after is not None
    return {
        **{name: each.row[name] for name in ("position", "system", "plant", "time_zone")},
        "pass_id": pass_id,
        "at": as_of,
        "movement": became,
        "from_due_at": last["to_due_at"] if last is not None and is_told else None,
        "to_due_at": each.row["due_at"] if stays else None,
        "from_trigger": last["to_trigger"] if last is not None and is_told else None,
        "to_trigger": each.row["trigger"] if stays else None,
        "because": causes_of(each.before, each.after, of_position),
        "knew": each.row["because"] if stays else {},
    }
