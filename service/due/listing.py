"""Reading the due list: from the last pass, or computed afresh for a moment and kept nowhere."""

from datetime import datetime

import sqlalchemy as sa

from api_schemas.due import DueItem, DueList, PassNote
from scheduler.planning.pipeline import plan
from scheduler.vocabulary import DisplayUnits
from service.cursors import read_cursor, write_cursor
from service.due.items import due_row, notes_by_position, wire_item
from service.due.planning_pass import last_pass_id, load_known
from service.due.tables import due_items, passes
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import InTheWay, NotFound

LONGEST_PAGE = 1000


def due_from_last_pass(
    connection: sa.Connection,
    caller: Caller,
    *,
    limit: int | None = None,
    cursor: str | None = None,
    plant: str | None = None,
    system: str | None = None,
) -> DueList:
    """A page of what the caller sees of the last pass's list, or of the pass that the cursor carries.

    Raises InTheWay before the first pass, NotFound where the cursor's is no longer kept.
    """
    after = None
    pass_id = last_pass_id(connection)
    if cursor:
        pass_id, *after = read_cursor(cursor, "due", int, datetime | None, str)
    if pass_id is None:
        raise no_pass_yet()
    header = connection.execute(sa.select(passes).where(passes.c.id == pass_id)).mappings().one_or_none()
    chosen = (due_items.c.pass_id == pass_id) & caller.only(due_items.c.plant)
    if plant is not None:
        chosen &= due_items.c.plant == plant
    if system is not None:
        chosen &= due_items.c.system == system
    if after is not None:
        chosen &= _later_than(*after)
    query = (
        sa.select(due_items)
        .where(chosen)
        .order_by(due_items.c.due_at.is_(None), due_items.c.due_at, due_items.c.position)
    )
    if limit is not None:
        query = query.limit(limit + 1)
    rows = connection.execute(query).mappings().all()
    if header is None or (cursor and not rows):
        raise NotFound("the pass of this cursor is no longer kept; begin again without a cursor")
    units = display_units(connection)
    page = rows if limit is None else rows[:limit]
    return DueList(
        planned=PassNote(id=pass_id, as_of=header["as_of"], cause=header["cause"]),
        items=[wire_item(row, units[row["plant"]]) for row in page],
        next=(
            write_cursor("due", pass_id, page[-1]["due_at"], page[-1]["position"]) if len(rows) > len(page) else None
        ),
    )


def _later_than(due_at: datetime | None, position: str) -> sa.ColumnElement[bool]:
    """Of the order of the list: what stands behind this one."""
    undated, behind = due_items.c.due_at.is_(None), due_items.c.position > position
    if due_at is None:
        return undated & behind
    return undated | (due_items.c.due_at > due_at) | ((due_items.c.due_at == due_at) & behind)


def due_at_moment(
    connection: sa.Connection,
    caller: Caller,
    as_of: datetime,
    *,
    plant: str | None = None,
    system: str | None = None,
) -> DueList:
    """What the caller sees of the list as it would have been computed at `as_of` from what was known then.

    Every plant is computed all the same: their lives teach each other.
    """
    known = load_known(connection, as_of)
    planned = plan(known)
    notes = notes_by_position(known.columns, planned.diagnoses, {})
    rows = [due_row(known.columns, item, notes.get(item.position, []), as_of) for item in planned.items]
    rows = [row for row in rows if caller.sees(row["plant"])]
    rows = [row for row in rows if plant in (None, row["plant"]) and system in (None, row["system"])]
    rows.sort(key=lambda row: (row["due_at"] is None, row["due_at"] or as_of, row["position"]))
    units = display_units(connection)
    return DueList(
        planned=PassNote(id=None, as_of=as_of, cause="computed for this request"),
        items=[wire_item(row, units[row["plant"]]) for row in rows],
        next=None,
    )


def no_pass_yet() -> InTheWay:
    """What is said before the first pass."""
    return InTheWay("no planning pass has run yet; run `elementdue plan` or wait for the clock")


def due_of_position(connection: sa.Connection, position: str) -> DueItem | None:
    """One position's item from the last pass; None where it is not in service."""
    query = sa.select(due_items).where(
        due_items.c.pass_id == last_pass_id(connection), due_items.c.position == position
    )
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else wire_item(row, display_units(connection)[row["plant"]])


def display_units(connection: sa.Connection) -> dict[str, DisplayUnits]:
    """Each plant's choice of units."""
    rows = connection.execute(sa.select(t.plants.c.plant, t.plants.c.display_units))
    return {row.plant: DisplayUnits(row.display_units or DisplayUnits.METRIC) for row in rows}
