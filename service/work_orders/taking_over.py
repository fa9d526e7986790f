"""Orders that another system takes over, and gives back: meanwhile neither a pass nor a person changes them here."""

from datetime import datetime

import sqlalchemy as sa

from scheduler.vocabulary import OrderStep, WorkOrderState
from service.problems import InTheWay
from service.work_orders.history import note_step
from service.work_orders.tables import tasks, work_orders
from service.work_orders.verbs import order_row, refuse_taken_over


def acknowledge(
    connection: sa.Connection,
    order_id: int,
    external_ref: str,
    *,
    by: str,
    now: datetime,
    if_version: int | None = None,
) -> None:
    """Another system has it from now on, as `external_ref`; saying so again changes nothing.

    Only issued work can be taken over: whether a draft is wanted decides who plans, and work underway or held is in
    somebody's hands. Parts and oil that are reserved stay reserved. Raises NotFound, ChangedMeanwhile, InTheWay.
    """
    row = order_row(connection, order_id)
    if row["acknowledged_at"] is not None and row["external_ref"] == external_ref:
        return  # whatever If-Match says: what it asks for has been done (RFC 9110, 13.1.1)
    order_row(connection, order_id, if_version)
    refuse_taken_over(row)
    if row["state"] != WorkOrderState.ISSUED:
        says = f"work order {order_id} is {row['state']}; it is taken over while it is {WorkOrderState.ISSUED}"
        raise InTheWay(says, state=row["state"])
    open_tasks = sa.update(tasks).where(tasks.c.work_order == order_id, tasks.c.state == "open")
    connection.execute(open_tasks.values(proposal=None))  # it was for a person here
    _change(connection, row, at=now, by=by, external_ref=external_ref)
    note_step(connection, order_id, OrderStep.ACKNOWLEDGED, at=now, by=by, note=external_ref)


def give_back(
    connection: sa.Connection,
    order_id: int,
    external_ref: str,
    why: str | None,
    *,
    by: str,
    now: datetime,
    if_version: int | None = None,
) -> None:
    """It is an issued order of ours again; giving it back again changes nothing.

    Raises NotFound, ChangedMeanwhile, InTheWay where it was taken over under another code, or has ended.
    """
    row = order_row(connection, order_id)
    if row["acknowledged_at"] is None:
        return
    order_row(connection, order_id, if_version)
    if row["external_ref"] != external_ref:
        refuse_taken_over(row)
    if row["ended_at"] is not None:
        says = f"work order {order_id} is {row['state']}: nothing of it is left to give back"
        raise InTheWay(says, state=row["state"])
    _change(connection, row, at=None, by=None, external_ref=None)
    note = external_ref if why is None else f"{external_ref}: {why}"
    note_step(connection, order_id, OrderStep.GIVEN_BACK, at=now, by=by, note=note)


def _change(
    connection: sa.Connection, row: sa.RowMapping, *, at: datetime | None, by: str | None, external_ref: str | None
) -> None:
    values = {"acknowledged_at": at, "acknowledged_by": by, "external_ref": external_ref}
    changed = sa.update(work_orders).where(work_orders.c.id == row["id"])
    connection.execute(changed.values(**values, version=row["version"] + 1))
