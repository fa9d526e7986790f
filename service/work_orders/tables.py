"""Work orders, tasks and picks. One open task per position (or system) and kind of work is a constraint."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

work_orders = sa.Table(
    "work_orders",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("plant", sa.ForeignKey("plants.plant"), nullable=False),
    sa.Column("system", sa.ForeignKey("systems.system"), nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("planned_for", UtcTime, nullable=False),
    sa.Column("stop_starts_at", UtcTime),
    sa.Column("stop_ends_at", UtcTime),
    sa.Column("raised_at", UtcTime, nullable=False),
    sa.Column("raised_by", sa.Text, nullable=False),
    sa.Column("issued_at", UtcTime),
    sa.Column("issued_by", sa.Text),
    sa.Column("started_at", UtcTime),
    sa.Column("started_by", sa.Text),
    sa.Column("ended_at", UtcTime),
    sa.Column("note", sa.Text),
    sa.Column("acknowledged_at", UtcTime),
    sa.Column("acknowledged_by", sa.Text),
    sa.Column("external_ref", sa.Text),
    sa.Column("version", sa.Integer, nullable=False),
)
sa.Index("ix_work_orders_state", work_orders.c.state, work_orders.c.planned_for)

NOT_DONE = "not_done"
"""The state of a task that was left undone with a reason; the others are open, done, withdrawn."""

tasks = sa.Table(
    "tasks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("work_order", sa.ForeignKey("work_orders.id"), nullable=False),
    sa.Column("system", sa.ForeignKey("systems.system"), nullable=False),
    sa.Column("position", sa.Text, nullable=False),  # '' for work on the whole system
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),  # open, done, not_done, withdrawn
    sa.Column("due_at", UtcTime, nullable=False),
    sa.Column("trigger", sa.Text),
    sa.Column("because", sa.JSON, nullable=False),
    sa.Column("proposal", sa.JSON),
    sa.Column("opened_at", UtcTime, nullable=False),
    sa.Column("ended_at", UtcTime),
)
_is_open = tasks.c.state == "open"
sa.Index(
    "uq_tasks_open",
    tasks.c.system,
    tasks.c.position,
    tasks.c.kind,
    unique=True,
    sqlite_where=_is_open,
    postgresql_where=_is_open,
)
sa.Index("ix_tasks_work_order", tasks.c.work_order)

picks = sa.Table(
    "picks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("task", sa.ForeignKey("tasks.id"), nullable=False),
    sa.Column("part_number", sa.Text, nullable=False),
    sa.Column("instead_of", sa.Text),
    sa.Column("quantity", sa.Integer, nullable=False),
    sa.Column("store", sa.Text),  # null: nothing on the shelf for it, a shortage
    sa.Column("lot", sa.Text),
    sa.Column("bin", sa.Text),
    sa.Column("arrives_at", UtcTime),
    sa.Column("arrives_with", sa.Text),
    sa.Column("reserved_at", UtcTime),  # null: planned, and planned anew by every pass
    sa.Column("reserved_by", sa.Text),
)
sa.Index("ix_picks_task", picks.c.task)

oil_picks = sa.Table(
    "oil_picks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("task", sa.ForeignKey("tasks.id"), nullable=False),
    sa.Column("fluid", sa.Text, nullable=False),
    sa.Column("volume_L", sa.Double, nullable=False),
    sa.Column("container_L", sa.Double),
    sa.Column("store", sa.Text),  # null: a shortage, as of picks
    sa.Column("lot", sa.Text),
    sa.Column("arrives_at", UtcTime),
    sa.Column("arrives_with", sa.Text),
    sa.Column("reserved_at", UtcTime),
    sa.Column("reserved_by", sa.Text),
)
sa.Index("ix_oil_picks_task", oil_picks.c.task)
