"""The task of a job that never happened: open again in an order that is open, else left to the next pass."""

from datetime import datetime

import sqlalchemy as sa

from scheduler.vocabulary import OrderStep, WorkOrderState
from service.close_outs.subject import Subject
from service.work_orders.history import note_step
from service.work_orders.planning import has_done_work
from service.work_orders.tables import tasks, work_orders

_ENDED = frozenset({WorkOrderState.DONE, WorkOrderState.WITHDRAWN})


def give_task_back(connection: sa.Connection, subject: Subject, now: datetime, by: str) -> None:
    """An ended order stays ended: a pass raises its work again while there is a reason for it."""
    order = connection.execute(sa.select(work_orders).where(work_orders.c.id == subject.order)).mappings().one()
    is_open = WorkOrderState(order["state"]) not in _ENDED and not _is_raised_again(connection, subject)
    values = {"state": "open", "ended_at": None} if is_open else {"state": "withdrawn", "ended_at": now}
    connection.execute(sa.update(tasks).where(tasks.c.id == subject.task).values(**values))
    step, note = (OrderStep.TASK_OPEN_AGAIN, None) if is_open else (OrderStep.TASK_NOT_DONE, "it never happened")
    note_step(connection, subject.order, step, at=now, by=by, task=subject.task, note=note)
    if order["state"] == WorkOrderState.DONE and not has_done_work(connection, [subject.order]):
        connection.execute(
            sa.update(work_orders)
            .where(work_orders.c.id == subject.order)
            .values(state=WorkOrderState.WITHDRAWN, ended_at=now, version=order["version"] + 1)
        )
        note_step(connection, subject.order, OrderStep.WITHDRAWN, at=now, by=by, note="nothing of it was done")


def _is_raised_again(connection: sa.Connection, subject: Subject) -> bool:
    """Whether the same work is open already: there is one open task of a kind in a place."""
    place = "" if subject.position is None else subject.position["position"]
    query = sa.select(tasks.c.id).where(
        tasks.c.system == subject.system,
        tasks.c.position == place,
        tasks.c.kind == subject.kind,
        tasks.c.state == "open",
    )
    return connection.execute(query).first() is not None
