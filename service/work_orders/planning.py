"""Between the planner's work and the tables: what is open, and writing only what a pass changes."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.planning.kits import RENEWS
from scheduler.planning.stops import Stop
from scheduler.planning.wanted_work import Look
from scheduler.planning.work_orders import DraftOrder, OpenOrder, OpenTask, WantedTask, WorkPlan
from scheduler.vocabulary import OrderStep, TaskKind, WorkOrderState
from service.close_outs.tables import close_outs, happened
from service.diagnoses.tables import diagnoses
from service.plant_store.time import from_day, to_day
from service.work_orders.history import note_step
from service.work_orders.tables import tasks, work_orders

_ISSUED_BY = "plant setting issue_ahead"

OPEN_STATES = tuple(
    state.value
    for state in (WorkOrderState.DRAFT, WorkOrderState.ISSUED, WorkOrderState.UNDERWAY, WorkOrderState.HELD)
)


def open_work(connection: sa.Connection) -> tuple[tuple[OpenOrder, ...], tuple[OpenTask, ...]]:
    """Every order and task that is not ended."""
    orders = connection.execute(
        sa.select(work_orders).where(work_orders.c.state.in_(OPEN_STATES)).order_by(work_orders.c.id)
    ).mappings()
    open_tasks = connection.execute(sa.select(tasks).where(tasks.c.state == "open").order_by(tasks.c.id)).mappings()
    return (
        tuple(
            OpenOrder(
                id=row["id"],
                plant=row["plant"],
                system=row["system"],
                state=WorkOrderState(row["state"]),
                acknowledged=row["acknowledged_at"] is not None,
                planned_day=to_day(row["planned_for"]),
                stop=_stop(row),
            )
            for row in orders
        ),
        tuple(
            OpenTask(
                id=row["id"],
                order=row["work_order"],
                system=row["system"],
                position=row["position"],
                kind=TaskKind(row["kind"]),
                due_day=to_day(row["due_at"]),
                proposal=row["proposal"],
                because=row["because"],
            )
            for row in open_tasks
        ),
    )


def looks_done(connection: sa.Connection) -> dict[Look, float]:
    """Of each diagnosis that stands: the last day on which the look that it asks for was done, told since."""
    look = sa.and_(
        tasks.c.system == diagnoses.c.system,
        tasks.c.position == diagnoses.c.position,
        tasks.c.kind.not_in(RENEWS),
    )
    query = (
        sa.select(
            diagnoses.c.system,
            diagnoses.c.position,
            tasks.c.kind,
            diagnoses.c.code,
            sa.func.max(close_outs.c.at).label("at"),
        )
        .join(tasks, look)
        .join(close_outs, close_outs.c.task == tasks.c.id)
        .where(diagnoses.c.cleared_at.is_(None), close_outs.c.recorded_at >= diagnoses.c.raised_at, happened())
        .group_by(diagnoses.c.system, diagnoses.c.position, tasks.c.kind, diagnoses.c.code)
    )
    return {
        (row.system, row.position, TaskKind(row.kind), row.code): to_day(row.at) for row in connection.execute(query)
    }


def save_work(connection: sa.Connection, plan: WorkPlan, now: datetime, by: str) -> None:
    """Raise, move, issue and withdraw drafts, and keep the proposals for issued work.

    An order whose tasks or proposals are others than before has a new version: who read the earlier one looks again.
    """
    changed = _orders_of(connection, plan.withdrawn_tasks)
    _end(connection, tasks, plan.withdrawn_tasks, state="withdrawn", now=now)
    for draft in plan.drafts:
        order = _raise(connection, draft, now, by) if draft.id is None else _move(connection, draft, now, by)
        for task_id, task in draft.tasks:
            _keep_task(connection, order, task_id, task, now)
        if draft.id is not None and any(task_id is None for task_id, _ in draft.tasks):
            changed.add(order)
    for proposal in plan.proposals:
        task_row = connection.execute(sa.select(tasks).where(tasks.c.id == proposal.task)).mappings().one()
        if task_row["proposal"] != proposal.proposal:
            connection.execute(sa.update(tasks).where(tasks.c.id == proposal.task).values(proposal=proposal.proposal))
            changed.add(task_row["work_order"])
    changed -= set(plan.withdrawn_orders)  # these have theirs below
    connection.execute(
        sa.update(work_orders).where(work_orders.c.id.in_(sorted(changed))).values(version=work_orders.c.version + 1)
    )
    partly_done = has_done_work(connection, plan.withdrawn_orders)
    untouched = set(plan.withdrawn_orders) - partly_done
    for ended, state in ((untouched, WorkOrderState.WITHDRAWN), (partly_done, WorkOrderState.DONE)):
        _end(connection, work_orders, sorted(ended), state=state, now=now)
        for order in sorted(ended):
            note_step(connection, order, OrderStep(state), at=now, by=by, note="its reason is gone")


def has_done_work(connection: sa.Connection, orders: Iterable[int]) -> set[int]:
    """Those of `orders` of which a task has been done: with its last open task gone, such an order is done."""
    chosen = tasks.c.work_order.in_(list(orders))
    return set(connection.scalars(sa.select(tasks.c.work_order).where(chosen, tasks.c.state == "done")))


def _orders_of(connection: sa.Connection, task_ids: Iterable[int]) -> set[int]:
    return set(connection.scalars(sa.select(tasks.c.work_order).where(tasks.c.id.in_(list(task_ids)))))


def _stop(row: sa.RowMapping) -> Stop | None:
    if row["stop_starts_at"] is None:
        return None
    return Stop(to_day(row["stop_starts_at"]), to_day(row["stop_ends_at"]))


def _end(connection: sa.Connection, table: sa.Table, ids: Iterable[int], *, state: str, now: datetime) -> None:
    values: dict[str, Any] = {"state": state, "ended_at": now}
    if table is work_orders:
        values["version"] = work_orders.c.version + 1
    chosen = list(ids)
    if chosen:
        connection.execute(sa.update(table).where(table.c.id.in_(chosen)).values(**values))


def _order_values(draft: DraftOrder) -> dict[str, Any]:
    return {
        "planned_for": from_day(draft.planned_day),
        "stop_starts_at": None if draft.stop is None else from_day(draft.stop.start_day),
        "stop_ends_at": None if draft.stop is None else from_day(draft.stop.end_day),
    }


def _issued(now: datetime) -> dict[str, Any]:
    return {"state": WorkOrderState.ISSUED, "issued_at": now, "issued_by": _ISSUED_BY}


def _raise(connection: sa.Connection, draft: DraftOrder, now: datetime, by: str) -> int:
    values = {
        "plant": draft.plant,
        "system": draft.system,
        "state": WorkOrderState.DRAFT,
        "raised_at": now,
        "raised_by": by,
        "version": 1,
    }
    values |= _order_values(draft) | (_issued(now) if draft.issue else {})
    raised = connection.execute(sa.insert(work_orders).values(**values)).inserted_primary_key
    assert raised is not None  # noqa: S101 - an insert of one row has its key
    order = int(raised[0])
    note_step(connection, order, OrderStep.RAISED, at=now, by=by)
    if draft.issue:
        note_step(connection, order, OrderStep.ISSUED, at=now, by=_ISSUED_BY)
    return order


def _move(connection: sa.Connection, draft: DraftOrder, now: datetime, by: str) -> int:
    assert draft.id is not None  # noqa: S101 - the caller raises new ones
    stands = connection.execute(sa.select(work_orders).where(work_orders.c.id == draft.id)).mappings().one()
    values = {name: value for name, value in _order_values(draft).items() if stands[name] != value}
    if values:
        note_step(connection, draft.id, OrderStep.MOVED, at=now, by=by)
    if draft.issue:
        values |= _issued(now)
        note_step(connection, draft.id, OrderStep.ISSUED, at=now, by=_ISSUED_BY)
    if values:
        values["version"] = stands["version"] + 1
        connection.execute(sa.update(work_orders).where(work_orders.c.id == draft.id).values(**values))
    return draft.id


def _keep_task(connection: sa.Connection, order: int, task_id: int | None, task: WantedTask, now: datetime) -> None:
    values = {
        "work_order": order,
        "due_at": from_day(task.due_day),
        "trigger": task.trigger,
        "because": task.because,
    }
    if task_id is not None:
        connection.execute(sa.update(tasks).where(tasks.c.id == task_id).values(**values))
        return
    values |= {"system": task.system, "position": task.position, "kind": task.kind, "state": "open", "opened_at": now}
    connection.execute(sa.insert(tasks).values(**values))
