"""Holding parts and oil for one order, so that neither a pass nor another planner can give them to other work."""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from scheduler.planning.kits import Pick
from scheduler.planning.oil_kits import OilPick
from scheduler.planning.pipeline import PlannedTask, PlannedWork, picks_of_work
from scheduler.vocabulary import OrderStep, WorkOrderState
from service.keys.keeping import Caller
from service.plant_store.catalogue import load_alternates
from service.plant_store.time import from_day, to_day
from service.problems import InTheWay, KitShort
from service.stock.queries import kit_specs
from service.stock.shelves import load_shelves
from service.work_orders.history import note_step
from service.work_orders.picking import hold, save_picks
from service.work_orders.planning import open_work
from service.work_orders.tables import oil_picks, picks, tasks, work_orders
from service.work_orders.verbs import order_row, refuse_taken_over

_MAY_RESERVE = (WorkOrderState.DRAFT, WorkOrderState.ISSUED, WorkOrderState.HELD)


def reserve_kit(
    connection: sa.Connection,
    order_id: int,
    *,
    now: datetime,
    caller: Caller,
    as_far_as_possible: bool = False,
    if_version: int | None = None,
) -> None:
    """Hold the order's kit. What it has already stays; again, with nothing new on the shelves, changes nothing.

    The order comes first for everything that nobody holds, before work that is planned earlier. Raises KitShort,
    which names the other work that holds a part where the caller sees it, and holds nothing more, where a part or
    some of the oil is missing, unless `as_far_as_possible`; NotFound, ChangedMeanwhile, and InTheWay for work that
    has begun or ended.
    """
    row = order_row(connection, order_id, if_version)
    refuse_taken_over(row)
    state = WorkOrderState(row["state"])
    if state not in _MAY_RESERVE:
        allowed = " or ".join(sorted(_MAY_RESERVE))
        raise InTheWay(f"work order {order_id} is {state}; its kit is reserved while it is {allowed}", state=state)
    parts, oil = _picks_of(connection, now, order_id)
    short = [*_short_parts(connection, parts, caller), *_short_oil(oil)]
    if short and not as_far_as_possible:
        raise KitShort(f"the kit of work order {order_id} is short: {'; '.join(short)}", short=short)
    if hold(connection, parts, oil, now=now, by=caller.name):
        # kept for whoever may read this order, which tells nothing of another plant's
        readers = Caller(caller.name, caller.scopes, frozenset({row["plant"]}))
        note = "; ".join([*_short_parts(connection, parts, readers), *_short_oil(oil)])
        _plan_all(connection, now)
        _count_up(connection, order_id, row["version"])
        note_step(connection, order_id, OrderStep.KIT_RESERVED, at=now, by=caller.name, note=note or None)


def release_kit(
    connection: sa.Connection, order_id: int, *, now: datetime, by: str, if_version: int | None = None
) -> None:
    """Hold nothing for the order any more; the next to need it may have it. Raises NotFound, ChangedMeanwhile."""
    row = order_row(connection, order_id, if_version)
    refuse_taken_over(row)
    freed = 0
    for table in (picks, oil_picks):
        held = sa.update(table).where(table.c.task.in_(_of_order(order_id)), table.c.reserved_at.is_not(None))
        freed += connection.execute(held.values(reserved_at=None, reserved_by=None)).rowcount
    if freed:
        _plan_all(connection, now)
        _count_up(connection, order_id, row["version"])
        note_step(connection, order_id, OrderStep.KIT_RELEASED, at=now, by=by)


def _of_order(order_id: int) -> sa.Select[tuple[int]]:
    return sa.select(tasks.c.id).where(tasks.c.work_order == order_id, tasks.c.state == "open")


def _picks_of(
    connection: sa.Connection, now: datetime, order_id: int | None = None
) -> tuple[list[Pick], list[OilPick]]:
    """What nobody holds, given to the open work, or to that of one order alone."""
    orders, open_tasks = open_work(connection)
    order_of = {order.id: order for order in orders}
    work: PlannedWork = {
        task.subject: PlannedTask(order_of[task.order].state, order_of[task.order].planned_day, task.because)
        for task in open_tasks
        if order_id in (None, task.order)
    }
    alternates = load_alternates(connection)
    kits, shelves = kit_specs(connection, alternates), load_shelves(connection, now)
    return picks_of_work(work, kits, alternates, shelves, to_day(now))


def _plan_all(connection: sa.Connection, now: datetime) -> None:
    """The picks of all open work anew, as a pass plans them."""
    save_picks(connection, *_picks_of(connection, now))


def _short_parts(connection: sa.Connection, parts: Sequence[Pick], reader: Caller) -> list[str]:
    return [
        f"{pick.quantity} × {pick.part_number}{_held_for(connection, pick.part_number, reader)}{_until(pick)}"
        for pick in parts
        if pick.shelf is None
    ]


def _short_oil(oil: Sequence[OilPick]) -> list[str]:
    return [f"{pick.volume_L:g} L of {pick.fluid}{_until(pick)}" for pick in oil if pick.shelf is None]


def _held_for(connection: sa.Connection, part_number: str, reader: Caller) -> str:
    """Which other work holds pieces of the part, as far as the reader sees it."""
    query = (
        sa.select(tasks.c.work_order, picks.c.reserved_by, sa.func.sum(picks.c.quantity), work_orders.c.plant)
        .join(tasks, tasks.c.id == picks.c.task)
        .join(work_orders, work_orders.c.id == tasks.c.work_order)
        .where(tasks.c.state == "open", picks.c.reserved_at.is_not(None), picks.c.part_number == part_number)
        .group_by(tasks.c.work_order, picks.c.reserved_by, work_orders.c.plant)
        .order_by(tasks.c.work_order)
    )
    rows = connection.execute(query).all()
    held = [f"{count} held for work order {order} by {by}" for order, by, count, plant in rows if reader.sees(plant)]
    elsewhere = sum(count for _, _, count, plant in rows if not reader.sees(plant))
    held += [f"{elsewhere} held for other work"] if elsewhere else []
    return f" ({', '.join(held)})" if held else ""


def _until(pick: Pick | OilPick) -> str:
    if pick.arrival is None:
        return ", none on order"
    when = from_day(pick.arrival.arrives_day).date().isoformat()
    return f", arrives {when} with {pick.arrival.order}/{pick.arrival.line}"


def _count_up(connection: sa.Connection, order_id: int, version: int) -> None:
    connection.execute(sa.update(work_orders).where(work_orders.c.id == order_id).values(version=version + 1))
