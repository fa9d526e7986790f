"""What became of a work order, step by step: who did it, when, and why. Nothing here is ever changed."""

from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.work_orders import HistoryEntry
from scheduler.vocabulary import OrderStep
from service.database import UtcTime, metadata

order_history = sa.Table(
    "order_history",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("work_order", sa.ForeignKey("work_orders.id"), nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("step", sa.Text, nullable=False),
    sa.Column("task", sa.Integer),
    sa.Column("note", sa.Text),
)
sa.Index("ix_order_history_work_order", order_history.c.work_order)


def note_step(
    connection: sa.Connection,
    order: int,
    step: OrderStep,
    *,
    at: datetime,
    by: str,
    task: int | None = None,
    note: str | None = None,
) -> None:
    """Written in the transaction of the step."""
    values = {"work_order": order, "at": at, "by": by, "step": step, "task": task, "note": note}
    connection.execute(sa.insert(order_history).values(**values))


def history_of(connection: sa.Connection, order: int, zone: ZoneInfo) -> list[HistoryEntry]:
    """From the first step on, in the plant's zone."""
    query = sa.select(order_history).where(order_history.c.work_order == order).order_by(order_history.c.id)
    return [
        HistoryEntry(
            at=row["at"].astimezone(zone),
            by=row["by"],
            step=OrderStep(row["step"]),
            task=row["task"],
            note=row["note"],
        )
        for row in connection.execute(query).mappings()
    ]
