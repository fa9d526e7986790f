"""Reading how due dates moved: one position's history, and what became of every date over a span."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.due import PassNote
from api_schemas.due_history import Cause, DueChange, DueChanges, DueHistory, DueMove
from api_schemas.moments import LATEST
from scheduler.planning.moves import LEAST_SHIFT_D
from scheduler.vocabulary import DisplayUnits, Movement
from service.cursors import read_cursor, write_cursor
from service.due.listing import display_units, no_pass_yet
from service.due.move_wording import says_why
from service.due.planning_pass import last_pass_id
from service.due.since import Since, told_since
from service.due.tables import due_moves, passes
from service.due.wording import Wording
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import NotFound

Row = sa.RowMapping

_TOLD_FIRST = (Movement.NEW, Movement.EARLIER, Movement.LATER, Movement.DONE)
_ORDER = {movement: place for place, movement in enumerate(dict.fromkeys((*_TOLD_FIRST, *Movement)))}


def history_of(connection: sa.Connection, position: str, *, limit: int, cursor: str | None = None) -> DueHistory:
    """A page of a position's history, newest first. Raises NotFound for an unknown position."""
    if connection.scalar(sa.select(t.positions.c.position).where(t.positions.c.position == position)) is None:
        raise NotFound(f"there is no position '{position}'")
    query = sa.select(due_moves).where(due_moves.c.position == position)
    if cursor is not None:
        query = query.where(due_moves.c.id < read_cursor(cursor, "history", int)[0])
    rows = connection.execute(query.order_by(due_moves.c.id.desc()).limit(limit + 1)).mappings().all()
    page, units = rows[:limit], display_units(connection)
    return DueHistory(
        position=position,
        items=[_move(row, units[row["plant"]]) for row in page],
        next=write_cursor("history", page[-1]["id"]) if len(rows) > limit else None,
    )


def changes_since(
    connection: sa.Connection,
    caller: Caller,
    since: Since,
    *,
    limit: int | None = None,
    cursor: str | None = None,
    plant: str | None = None,
    system: str | None = None,
) -> DueChanges:
    """What became of the dates that the caller sees, up to the last pass or the one that the cursor carries.

    Raises InTheWay before the first pass, NotFound where there is none of the cursor.
    """
    after = None
    pass_id = last_pass_id(connection)
    if cursor:
        pass_id, *after = read_cursor(cursor, "changes", int, int, datetime | None, str)
    if pass_id is None:
        raise no_pass_yet()
    header = connection.execute(sa.select(passes).where(passes.c.id == pass_id)).mappings().one_or_none()
    if header is None:
        raise NotFound("there is no pass of this cursor; begin again without a cursor")
    told = told_since(connection, since, pass_id, header["as_of"])
    query = sa.select(due_moves).where(told, caller.only(due_moves.c.plant))
    if plant is not None:
        query = query.where(due_moves.c.plant == plant)
    if system is not None:
        query = query.where(due_moves.c.system == system)
    rows = connection.execute(query.order_by(due_moves.c.position, due_moves.c.id)).mappings().all()
    units = display_units(connection)
    found = [
        change
        for _, lines in groupby(rows, key=lambda row: str(row["position"]))
        for change in _net(list(lines), units)
    ]
    found.sort(key=_place)
    rest = found if after is None else [change for change in found if _place(change) > _behind(*after)]
    page = rest if limit is None else rest[:limit]
    return DueChanges(
        since=since.asked,
        planned=PassNote(id=pass_id, as_of=header["as_of"], cause=header["cause"]),
        items=page,
        next=_cursor_behind(pass_id, page[-1]) if len(page) < len(rest) else None,
    )


Place = tuple[int, bool, datetime, str]


def _place(change: DueChange) -> Place:
    """Where the change stands in the list."""
    return _behind(_ORDER[change.movement], _date_of(change), change.position)


def _behind(order: int, date: datetime | None, position: str) -> Place:
    return order, date is None, date or LATEST, position


def _date_of(change: DueChange) -> datetime | None:
    return change.from_ if change.to is None else change.to


def _cursor_behind(pass_id: int, last: DueChange) -> str:
    return write_cursor("changes", pass_id, _ORDER[last.movement], _date_of(last), last.position)


def _net(lines: Sequence[Row], units: dict[str, DisplayUnits]) -> Iterable[DueChange]:
    """What the lines of one position come to."""
    first, last = lines[0], lines[-1]
    changed = _change_of_element(lines)
    if changed is not None:
        yield _change(lines, changed, Movement.DONE, changed["from_due_at"], None, units)
        if last["movement"] not in (Movement.LEFT, Movement.UNDATED):
            yield _change(lines, changed, Movement.NEW, None, last["to_due_at"], units)
            return
    is_here = last["movement"] not in (Movement.LEFT, Movement.UNDATED)
    if first["movement"] == Movement.NEW:
        if is_here:
            yield _change(lines, first, Movement.NEW, None, last["to_due_at"], units)
    elif not is_here:
        yield _change(lines, last, Movement(last["movement"]), first["from_due_at"], None, units)
    else:
        net = _net_movement(first, last)
        if net is not None:
            telling = max(lines, key=lambda line: (line["movement"] == net, _shift(line), line["id"]))
            yield _change(lines, telling, net, first["from_due_at"], last["to_due_at"], units)


def _change_of_element(lines: Sequence[Row]) -> Row | None:
    """The last line with which an element was changed: at once, or taken out and followed by another."""
    for place in range(len(lines) - 1, -1, -1):
        line = lines[place]
        followed = any(later["movement"] == Movement.NEW for later in lines[place + 1 :])
        if line["movement"] == Movement.DONE or (line["movement"] == Movement.UNDATED and followed):
            return line
    return None


def _shift(line: Row) -> timedelta:
    if line["from_due_at"] is None or line["to_due_at"] is None:
        return timedelta.max
    moved_by: timedelta = line["to_due_at"] - line["from_due_at"]
    return abs(moved_by)


def _net_movement(first: Row, last: Row) -> Movement | None:
    was, is_now = first["from_due_at"], last["to_due_at"]
    if was is not None and is_now is not None and abs(is_now - was) > timedelta(days=LEAST_SHIFT_D):
        return Movement.EARLIER if is_now < was else Movement.LATER
    if (was is None) is not (is_now is None):
        return Movement.EARLIER if was is None else Movement.LATER
    return None if first["from_trigger"] == last["to_trigger"] else Movement.OTHER_TRIGGER


def _change(
    lines: Sequence[Row],
    telling: Row,
    movement: Movement,
    was: datetime | None,
    is_now: datetime | None,
    units: dict[str, DisplayUnits],
) -> DueChange:
    zone = ZoneInfo(telling["time_zone"])
    is_new, is_over = movement is Movement.NEW, movement in (Movement.DONE, Movement.UNDATED, Movement.LEFT)
    begun_from = telling if is_over else lines[0]
    return DueChange(
        position=telling["position"],
        system=telling["system"],
        plant=telling["plant"],
        at=telling["at"].astimezone(zone),
        movement=movement,
        from_=None if was is None else was.astimezone(zone),
        to=None if is_now is None else is_now.astimezone(zone),
        from_trigger=None if is_new else begun_from["from_trigger"],
        to_trigger=None if is_over else lines[-1]["to_trigger"],
        because=_causes(telling, units[telling["plant"]]),
        moves=len(lines),
    )


def _move(row: Row, display: DisplayUnits) -> DueMove:
    zone = ZoneInfo(row["time_zone"])

    def at(name: str) -> Any:
        return None if row[name] is None else row[name].astimezone(zone)

    return DueMove(
        position=row["position"],
        at=at("at"),
        movement=row["movement"],
        from_=at("from_due_at"),
        to=at("to_due_at"),
        from_trigger=row["from_trigger"],
        to_trigger=row["to_trigger"],
        because=_causes(row, display),
    )


def _causes(row: Row, display: DisplayUnits) -> list[Cause]:
    words = Wording(ZoneInfo(row["time_zone"]), display)
    return [Cause(code=cause["code"], says=says_why(words, cause)) for cause in row["because"]]
