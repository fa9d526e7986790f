"""Which parts and which oil each open task is given: written as a pass planned it, and left where it is reserved."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.planning.kits import Pick, Subject
from scheduler.planning.oil_kits import OilPick
from scheduler.vocabulary import TaskKind, WorkOrderState
from service.plant_store.time import from_day
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

Rows = dict[int, list[dict[str, Any]]]


def save_picks(connection: sa.Connection, planned: Sequence[Pick], oil: Sequence[OilPick]) -> None:
    """Bring the picks of open work that has not begun in line with what is planned; the rest stays as it is."""
    task_of = _task_of(connection)
    parts_wanted: Rows = {task: [] for task in task_of.values()}
    oil_wanted: Rows = {task: [] for task in task_of.values()}
    for pick in planned:
        parts_wanted[task_of[pick.subject]].append(_pick_row(task_of[pick.subject], pick))
    for oil_pick in oil:
        oil_wanted[task_of[oil_pick.subject]].append(_oil_row(task_of[oil_pick.subject], oil_pick))
    _bring_in_line(connection, picks, parts_wanted)
    _bring_in_line(connection, oil_picks, oil_wanted)


def hold(connection: sa.Connection, parts: Sequence[Pick], oil: Sequence[OilPick], *, now: datetime, by: str) -> bool:
    """Keep what of these picks is on a shelf for their tasks alone; whether there was any."""
    task_of = _task_of(connection)
    reserved = {"reserved_at": now, "reserved_by": by}
    part_rows = [_pick_row(task_of[pick.subject], pick) | reserved for pick in parts if pick.shelf is not None]
    oil_rows = [_oil_row(task_of[pick.subject], pick) | reserved for pick in oil if pick.shelf is not None]
    for table, rows in ((picks, part_rows), (oil_picks, oil_rows)):
        if rows:
            connection.execute(sa.insert(table), rows)
    return bool(part_rows or oil_rows)


def _task_of(connection: sa.Connection) -> dict[Subject, int]:
    """The open tasks of work that has not begun."""
    open_rows = connection.execute(
        sa.select(tasks.c.id, tasks.c.system, tasks.c.position, tasks.c.kind)
        .join(work_orders, work_orders.c.id == tasks.c.work_order)
        .where(tasks.c.state == "open", work_orders.c.state != WorkOrderState.UNDERWAY)
    )
    return {(row.system, row.position, TaskKind(row.kind)): row.id for row in open_rows}


def _bring_in_line(connection: sa.Connection, table: sa.Table, wanted: Rows) -> None:
    """Write what differs, so that a pass that changes nothing leaves every row, and its number, alone."""
    planned = sa.and_(table.c.task.in_(list(wanted)), table.c.reserved_at.is_(None))
    kept: Rows = {}
    for row in connection.execute(sa.select(table).where(planned).order_by(table.c.id)).mappings():
        values = {name: value for name, value in row.items() if name not in ("id", "reserved_at", "reserved_by")}
        kept.setdefault(row["task"], []).append(values)
    changed = [task for task, rows in wanted.items() if rows != kept.get(task, [])]
    connection.execute(sa.delete(table).where(table.c.task.in_(changed), table.c.reserved_at.is_(None)))
    rows = [row for task in changed for row in wanted[task]]
    if rows:
        connection.execute(sa.insert(table), rows)


def _pick_row(task: int, pick: Pick) -> dict[str, Any]:
    shelf, arrival = pick.shelf, pick.arrival
    return {
        "task": task,
        "part_number": pick.part_number,
        "instead_of": pick.instead_of,
        "quantity": pick.quantity,
        "store": None if shelf is None else shelf.store,
        "lot": None if shelf is None else shelf.lot,
        "bin": None if shelf is None else shelf.bin,
        "arrives_at": None if arrival is None else from_day(arrival.arrives_day),
        "arrives_with": None if arrival is None else f"{arrival.order}/{arrival.line}",
    }


def _oil_row(task: int, pick: OilPick) -> dict[str, Any]:
    shelf, arrival = pick.shelf, pick.arrival
    return {
        "task": task,
        "fluid": pick.fluid,
        "volume_L": round(pick.volume_L, 6),
        "container_L": None if shelf is None else shelf.container_L,
        "store": None if shelf is None else shelf.store,
        "lot": None if shelf is None else shelf.lot,
        "arrives_at": None if arrival is None else from_day(arrival.arrives_day),
        "arrives_with": None if arrival is None else f"{arrival.order}/{arrival.line}",
    }
