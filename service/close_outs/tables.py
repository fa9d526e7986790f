"""Close-outs as they were told; the installations, readings and movements that follow name theirs as source."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

close_outs = sa.Table(
    "close_outs",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("task", sa.ForeignKey("tasks.id"), nullable=False, unique=True),
    sa.Column("work_order", sa.ForeignKey("work_orders.id"), nullable=False),
    sa.Column("position", sa.Text, nullable=False),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("told", sa.JSON, nullable=False),
    sa.Column("mismatches", sa.JSON, nullable=False),
    sa.Column("done_by", sa.Text),
    sa.Column("recorded_by", sa.Text, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
)
sa.Index("ix_close_outs_position", close_outs.c.position, close_outs.c.at)
