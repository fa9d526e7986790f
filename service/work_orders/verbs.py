"""What a person does with a work order: issue, start, hold, release, withdraw, and answer a pass's proposal."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.vocabulary import OrderStep, WorkOrderState
from service.conditional import refuse_another_version
from service.plant_store.time import from_day
from service.problems import InTheWay, NotFound
from service.work_orders.history import note_step
from service.work_orders.planning import has_done_work
from service.work_orders.tables import NOT_DONE, tasks, work_orders

_S = WorkOrderState


@dataclass(frozen=True, slots=True)
class Verb:
    """From which states a person may go to which."""

    name: str
    from_states: frozenset[WorkOrderState]
    to_state: WorkOrderState
    step: OrderStep


ISSUE = Verb("issue", frozenset({_S.DRAFT}), _S.ISSUED, OrderStep.ISSUED)
START = Verb("start", frozenset({_S.ISSUED}), _S.UNDERWAY, OrderStep.STARTED)
HOLD = Verb("hold", frozenset({_S.ISSUED, _S.UNDERWAY}), _S.HELD, OrderStep.HELD)
RELEASE = Verb("release", frozenset({_S.HELD}), _S.ISSUED, OrderStep.RELEASED)
WITHDRAW = Verb("withdraw", frozenset({_S.DRAFT, _S.ISSUED, _S.HELD}), _S.WITHDRAWN, OrderStep.WITHDRAWN)


def do(
    connection: sa.Connection,
    order_id: int,
    verb: Verb,
    *,
    now: datetime,
    by: str,
    note: str | None = None,
    if_version: int | None = None,
) -> None:
    """Take the order to the verb's state; doing it again changes nothing.

    Raises NotFound, ChangedMeanwhile where `if_version` is not the order's, InTheWay from any other state.
    """
    row = order_row(connection, order_id, if_version)
    state = WorkOrderState(row["state"])
    if state is verb.to_state:
        return
    refuse_taken_over(row)
    if state not in verb.from_states:
        allowed = " or ".join(sorted(verb.from_states))
        raise InTheWay(f"work order {order_id} is {state}; '{verb.name}' needs it to be {allowed}", state=state.value)
    values: dict[str, Any] = {"state": verb.to_state, "version": row["version"] + 1}
    if note is not None:
        values["note"] = note
    if verb is ISSUE:
        values |= {"issued_at": now, "issued_by": by}
    elif verb is START:
        values |= {"started_at": now, "started_by": by}
    elif verb is WITHDRAW:
        values["ended_at"] = now
        _end_open_tasks(connection, order_id, now)
    connection.execute(sa.update(work_orders).where(work_orders.c.id == order_id).values(**values))
    note_step(connection, order_id, verb.step, at=now, by=by, note=note)


def accept_proposals(
    connection: sa.Connection, order_id: int, *, now: datetime, by: str, if_version: int | None = None
) -> None:
    """Do what the last pass proposed for this issued order: withdraw tasks whose reason is gone, plan it earlier."""
    row = order_row(connection, order_id, if_version)
    refuse_taken_over(row)
    if row["state"] != WorkOrderState.ISSUED:
        raise InTheWay(f"work order {order_id} is {row['state']}; proposals are for issued work")
    of_order = sa.select(tasks).where(tasks.c.work_order == order_id, tasks.c.state == "open")
    open_tasks = connection.execute(of_order).mappings().all()
    proposed = [task for task in open_tasks if task["proposal"] is not None]
    if not proposed:
        raise InTheWay(f"work order {order_id} has no proposal to accept")
    withdrawn = [task["id"] for task in proposed if task["proposal"]["change"] == "withdraw"]
    moves = [task["proposal"]["planned_day"] for task in proposed if task["proposal"]["change"] == "move"]
    values: dict[str, Any] = {"version": row["version"] + 1}
    connection.execute(
        sa.update(tasks).where(tasks.c.id.in_(withdrawn)).values(state="withdrawn", ended_at=now, proposal=None)
    )
    for task in proposed:
        if task["proposal"]["change"] == "move":
            moved = {"due_at": from_day(task["proposal"]["due_day"]), "proposal": None}
            connection.execute(sa.update(tasks).where(tasks.c.id == task["id"]).values(**moved))
    if moves:
        values |= {"planned_for": from_day(min(moves)), "stop_starts_at": None, "stop_ends_at": None}
    if len(withdrawn) == len(open_tasks):
        is_done = bool(has_done_work(connection, [order_id]))
        values |= {"state": WorkOrderState.DONE if is_done else WorkOrderState.WITHDRAWN, "ended_at": now}
    connection.execute(sa.update(work_orders).where(work_orders.c.id == order_id).values(**values))
    note_step(connection, order_id, OrderStep.PROPOSAL_ACCEPTED, at=now, by=by)
    if "state" in values:
        note_step(connection, order_id, OrderStep(values["state"]), at=now, by=by)


_MAY_BE_LEFT = (WorkOrderState.ISSUED, WorkOrderState.UNDERWAY, WorkOrderState.HELD)


def leave_undone(
    connection: sa.Connection,
    order_id: int,
    task_id: int,
    why: str,
    *,
    now: datetime,
    by: str,
    if_version: int | None = None,
) -> None:
    """End a task that was not done, with the reason; its order ends with its last open task. Again changes nothing.

    Raises NotFound where the order has no such task, InTheWay where it ended otherwise or the order was never issued.
    """
    row = order_row(connection, order_id, if_version)
    refuse_taken_over(row)
    of_order = sa.select(tasks).where(tasks.c.work_order == order_id, tasks.c.id == task_id)
    task = connection.execute(of_order).mappings().one_or_none()
    if task is None:
        raise NotFound(f"work order {order_id} has no task {task_id}")
    if task["state"] == NOT_DONE:
        return
    if task["state"] != "open" or WorkOrderState(row["state"]) not in _MAY_BE_LEFT:
        says = f"task {task_id} is {task['state']} in work order {order_id}, which is {row['state']}"
        raise InTheWay(f"{says}; an open task of issued work can be left undone", state=row["state"])
    connection.execute(
        sa.update(tasks).where(tasks.c.id == task_id).values(state=NOT_DONE, ended_at=now, proposal=None)
    )
    note_step(connection, order_id, OrderStep.TASK_NOT_DONE, at=now, by=by, task=task_id, note=why)
    values: dict[str, Any] = {"version": row["version"] + 1}
    still_open = sa.select(tasks.c.id).where(tasks.c.work_order == order_id, tasks.c.state == "open")
    if connection.execute(still_open).first() is None:
        is_done = bool(has_done_work(connection, [order_id]))
        state = WorkOrderState.DONE if is_done else WorkOrderState.WITHDRAWN
        values |= {"state": state, "ended_at": now}
        note_step(connection, order_id, OrderStep(state), at=now, by=by)
    connection.execute(sa.update(work_orders).where(work_orders.c.id == order_id).values(**values))


def order_row(connection: sa.Connection, order_id: int, if_version: int | None = None) -> sa.RowMapping:
    """Raises NotFound, and ChangedMeanwhile where `if_version` is not the order's."""
    row = connection.execute(sa.select(work_orders).where(work_orders.c.id == order_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no work order {order_id}")
    refuse_another_version(f"work order {order_id}", row["version"], if_version)
    return row


def refuse_taken_over(row: sa.RowMapping) -> None:
    """Raises InTheWay, naming the holder, for an order that another system has: it is changed there."""
    if row["acknowledged_at"] is not None:
        since = row["acknowledged_at"].isoformat(timespec="seconds")
        says = f"work order {row['id']} was taken over by {row['acknowledged_by']} as '{row['external_ref']}' {since}"
        raise InTheWay(
            f"{says}; it is changed there, closed out here, or given back first",
            acknowledged_by=row["acknowledged_by"],
            external_ref=row["external_ref"],
        )


def _end_open_tasks(connection: sa.Connection, order_id: int, now: datetime) -> None:
    open_tasks = sa.update(tasks).where(tasks.c.work_order == order_id, tasks.c.state == "open")
    connection.execute(open_tasks.values(state="withdrawn", ended_at=now, proposal=None))
